"""Lots: what the certificate of a delivery or the label of a stock solution says, held against what the form claims."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from kit.errors import MaterialError
from kit.formula.lots import Lot
from kit.formula.material import Material
from kit.formula.rules.findings import PRACTICE, Finding, Review, digits, keys, names, source_of


def review_lots(
    materials: Iterable[Material], lots: Iterable[Lot], *, on: str | date, stock_days: int | None = None
) -> Review:
    """The lots at hand held against the supply forms they belong to.

    Parameters
    ----------
    materials : iterable of Material   The supply forms to be weighed, as their suppliers describe them.
    lots : iterable of Lot             Those at hand; several of one form are each looked at.
    on : str or date                   The day of weighing, YYYY-MM-DD.
    stock_days : int                   Age from which a lab-made solution is old; absent, age is not judged. [d]

    Returns
    -------
    Review   Findings on forms without a lot, expired lots, old solutions, contents outside the usual spread and amines
             without an amine value.

    Raises
    ------
    MaterialError   `material.lot` for a day that cannot be read, or a lot whose parts cannot be those of its form.
    """
    forms, held = list(materials), list(lots)
    today = _day(on)
    by_key = {material.key: material for material in forms}
    own = [(by_key[lot.material], lot) for lot in held if lot.material in by_key]
    findings = [
        *_missing(forms, held),
        *_expired(own, today),
        *_old(own, today, stock_days),
        *_outside(own),
        *_amine_value(own),
        *_undated(own),
    ]
    return Review("the lots", tuple(findings))


def _day(on: str | date) -> date:
    try:
        return on if isinstance(on, date) else date.fromisoformat(on)
    except ValueError:
        raise MaterialError(
            f"the day is {on!r}",
            where="review of the lots",
            allowed="YYYY-MM-DD",
            mend='write for example "2027-03-31"',
            code="material.lot",
        ) from None


def _missing(forms: Sequence[Material], held: Sequence[Lot]) -> Iterable[Finding]:
    there = {lot.material for lot in held}
    lacking = [material for material in forms if material.key not in there and not material.is_water]
    if lacking:
        words = (
            f"No lot is named for {names((material.name for material in lacking), most=6)}: the batch can then "
            "be neither "
            "traced nor made again from the same delivery. Read the number off each label."
        )
        yield Finding("note", "lot.missing", words, keys(lacking), source=PRACTICE)


def _expired(own: Sequence[tuple[Material, Lot]], today: date) -> Iterable[Finding]:
    late = [(material, lot) for material, lot in own if lot.is_expired(today)]
    if late:
        told = names((f"{material.name}, lot {lot.lot} ({lot.expiry})" for material, lot in late), most=6)
        words = f"Past its date on {today.isoformat()}: {told}. Take a fresh lot, or have it tested and released again."
        yield Finding("caution", "lot.expired", words, keys(material for material, _ in late), source=PRACTICE)


def _old(own: Sequence[tuple[Material, Lot]], today: date, stock_days: int | None) -> Iterable[Finding]:
    """Old only against an age that was stated: no age holds for all stock solutions."""
    if stock_days is None:
        return
    old = [
        (material, lot, (today - date.fromisoformat(lot.made_on)).days)
        for material, lot in own
        if material.made_from and lot.made_on
    ]
    old = [item for item in old if item[2] > stock_days]
    if old:
        told = names((f"{material.name}, lot {lot.lot} ({days} days)" for material, lot, days in old), most=6)
        words = f"Older than the {stock_days} days stated for a stock solution: {told}. Titrate it, or make a new one."
        yield Finding("caution", "lot.stock_old", words, keys(material for material, *_ in old), source=PRACTICE)


def _outside(own: Sequence[tuple[Material, Lot]]) -> Iterable[Finding]:
    """A content outside the usual spread is another product, or a slip of the pen: one finding a lot."""
    for material, lot in own:
        fact = material.active_range
        if fact is None or not lot.states_parts:
            continue
        active = material.with_lot(lot).active_pct
        bound = fact.low if fact.low is not None and active < fact.low else fact.high
        if bound is not None and (active > bound if bound is fact.high else active < bound):
            words = (
                f"{material.name}, lot {lot.lot}: {digits(active, bound)} % active, outside the usual "
                f"{fact.words()}. Read "
                "the certificate again; if it is right, work the grams out anew from this lot."
            )
            yield Finding("caution", "lot.active_range", words, (material.key,), active, bound, source_of(fact))


def _amine_value(own: Sequence[tuple[Material, Lot]]) -> Iterable[Finding]:
    lacking = [
        material
        for material, lot in own
        if lot.amine_value is None and any(part.substance.category == "amine surfactant" for part in material.parts)
    ]
    if lacking:
        words = (
            f"The lot of {names(material.name for material in lacking)} states no amine value: the acid it "
            "needs is then "
            "known to some 3 % only. Equivalent weight = 56,110 / amine value."
        )
        yield Finding("note", "lot.amine_value", words, keys(lacking), source=PRACTICE)


def _undated(own: Sequence[tuple[Material, Lot]]) -> Iterable[Finding]:
    undated = [material for material, lot in own if not lot.expiry and not lot.made_on]
    if undated:
        words = f"whether the lot of {names(material.name for material in undated)} is in date"
        about = keys(undated)
        yield Finding("note", "facts.unknown", f"Not checked, because a fact is unknown: {words}.", about)
