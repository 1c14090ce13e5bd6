"""Usual contents and use ranges: what lies outside them is worth a look, never forbidden."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS
from kit.formula.composition import Composition, show_pct
from kit.formula.material import Fact, Material
from kit.formula.model import SpecLine
from kit.formula.network import content_pct
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, digits, keys, names, source_of
from kit.formula.rules.judged import Content, Judged, LineContent, Number
from kit.units import plain

_RINSE_OFF = "rinse-off hair"
BODY = Number((Content(("fatty alcohol", *CATIONIC_SURFACTANTS)),))
# Past these a caution stands already: by category, the bound and whether it is a lower one. [% w/w]
_HARD = {
    **{usual.categories: (usual.bound, usual.below) for usual in limits.USUAL},
    ("fatty alcohol",): (limits.ALCOHOL_PCT, False),
    CATIONIC_SURFACTANTS: (limits.CATIONIC_PCT, False),
}


def usual_contents(composition: Composition) -> Iterable[Finding]:
    """Contents by category against what no rinse-off conditioner usually passes."""
    for usual in limits.USUAL if composition.product == _RINSE_OFF else ():
        content = content_pct(composition, *usual.categories)
        if content < usual.bound if usual.below else content > usual.bound:
            side = "below" if usual.below else "above"
            found = f"{usual.title}: {digits(content, usual.bound)} %"
            words = f"{found}, {side} the usual {plain(usual.bound)} %. {usual.mend}"
            yield Finding("caution", usual.code, words, value=content, limit=usual.bound, source=PRACTICE)


def usual_contents_judged(composition: Composition) -> Iterable[Judged]:
    """The contents of the list."""
    for usual in limits.USUAL if composition.product == _RINSE_OFF else ():
        yield Judged(Number((Content(usual.categories),)), (usual.bound,))


def kind_of(composition: Composition) -> limits.Kind:
    """What a rinse-off conditioner evidently is, by its fatty alcohol and active cationic together."""
    body = BODY.of(composition)
    return next(kind for kind in limits.KINDS if kind.lipid_below is None or body < kind.lipid_below)


def usual_of_kind(composition: Composition) -> Iterable[Finding]:
    """Contents against what is usual in a conditioner of its kind: one note that names all outside."""
    if not _has_kind(composition):
        return
    kind = kind_of(composition)
    outside = [
        f"{title} {show_pct(content)} % ({_usual_words(low, high)})"
        for title, categories, low, high in kind.usual
        for content in (content_pct(composition, *categories),)
        if (content > high or (low is not None and content < low)) and not _beyond(categories, content)
    ]
    if outside:
        words = (
            f"By its fatty alcohol and active cationic, {digits(BODY.of(composition))} % together, this is a "
            f"{kind.name}. "
            f"Outside the usual for one: {names(outside, most=len(outside))}. It may be meant."
        )
        yield Finding("note", "range.kind", words, source=PRACTICE)


def usual_of_kind_judged(composition: Composition) -> Iterable[Judged]:
    """Alcohol with cationic, which makes the kind; then each content at the bounds of every kind."""
    if _has_kind(composition):
        yield Judged(BODY, tuple(kind.lipid_below for kind in limits.KINDS if kind.lipid_below is not None))
        for position, (_, categories, *_) in enumerate(limits.KINDS[0].usual):
            bounds = {bound for kind in limits.KINDS for bound in kind.usual[position][2:] if bound is not None}
            yield Judged(Number((Content(categories),)), tuple(sorted(bounds | {_HARD[categories][0]})))


def use_ranges(composition: Composition) -> Iterable[Finding]:
    """Every supply form against its usual range: one finding for what is above, one for what is below.

    What by itself passes the bound of all its kind is told there, with the reason, and not again here.
    """
    of_rinse_off = "" if composition.product == _RINSE_OFF else " The ranges are those of rinse-off conditioners."
    above, below = [], []
    for material, number, fact in _ranged(composition):
        content = number.of(composition)
        if fact.high is not None and content > fact.high:
            above += [(material, content, fact)] * (not _told_by_kind(composition, material, content))
        elif fact.low is not None and content < fact.low:
            below.append((material, content, fact))
    if above:
        yield _outside(
            "caution",
            above,
            "above",
            f"Check the percentage and the supplier's advice; a slip of the decimal looks like this.{of_rinse_off}",
        )
    if below:
        yield _outside("note", below, "below", f"It may do little at that level.{of_rinse_off}")


def use_ranges_judged(composition: Composition) -> Iterable[Judged]:
    """Every supply form at the ends of its range: only whether any is above or below counts."""
    for material, number, fact in _ranged(composition):
        if fact.high is not None:
            yield Judged(number, (fact.high,), "above")
            bound = _bound_of_kind(composition, material)
            if bound is not None:
                yield Judged(number, (bound,))
        if fact.low is not None:
            yield Judged(number, (fact.low,), "below")


def viscosity_spec(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """A viscosity asked for that no conditioner with a network has."""
    for line in spec if composition.product == _RINSE_OFF else ():
        low = limits.VISCOSITY_LOW_MPA_S
        if line.property.strip().lower() == "viscosity" and line.unit == "mPa.s" and (line.high or low) < low:
            words = (
                f"The spec asks for a viscosity of {line.words()}, below the usual {low} mPa.s. Check the limits typed."
            )
            yield Finding("caution", "range.viscosity_spec", words, (), line.high, low, PRACTICE)


def unknown(composition: Composition) -> Iterable[Finding]:
    """Ranges that could not be judged."""
    lacking = [
        material
        for material in composition.materials()
        if material.use_range is None and not material.is_water and composition.pct(material.key) > 0
    ]
    if lacking:
        told = f"use range of {names(material.name for material in lacking)}"
        yield Finding("note", "facts.unknown", told, keys(lacking))
    if composition.product != _RINSE_OFF:
        yield Finding("note", "facts.unknown", f"usual contents (none are coded for {composition.product})")


def _has_kind(composition: Composition) -> bool:
    """A formula without any cationic surfactant is no conditioner of these kinds."""
    return composition.product == _RINSE_OFF and content_pct(composition, *CATIONIC_SURFACTANTS) > 0


def _usual_words(low: Decimal | None, high: Decimal) -> str:
    return f"usual up to {plain(high)}" if low is None else f"usual {plain(low)} to {plain(high)}"


def _ranged(composition: Composition) -> Iterable[tuple[Material, Number, Fact]]:
    """The supply forms present whose use range is known, each with the content it is held against."""
    for material in composition.materials():
        if material.use_range is not None and composition.pct(material.key) > 0:
            factor = material.active_pct / 100 if _basis(material.use_range) else Decimal(1)
            yield material, Number((LineContent(material.key, factor),)), material.use_range


def _bound_of_kind(composition: Composition, material: Material) -> Decimal | None:
    """The bound that all of the kind of a material's active part together are held against. [% w/w]"""
    usual = limits.USUAL if composition.product == _RINSE_OFF else ()
    kinds = {part.substance.category for part in material.parts if part.role == "active"}
    return next((item.bound for item in usual if not item.below and kinds and kinds <= set(item.categories)), None)


def _told_by_kind(composition: Composition, material: Material, content: Decimal) -> bool:
    bound = _bound_of_kind(composition, material)
    return bound is not None and content > bound


def _beyond(categories: tuple[str, ...], content: Decimal) -> bool:
    """Whether a content is past the bound of any conditioner, which is a caution of its own."""
    bound, below = _HARD[categories]
    return content < bound if below else content > bound


def _basis(fact: Fact) -> str:
    return " as active" if "as active" in fact.conditions else ""


def _outside(severity: str, items: list[tuple[Material, Decimal, Fact]], side: str, mend: str) -> Finding:
    told = names(
        (
            f"{material.name} {show_pct(content)} %{_basis(fact)} ({_range_words(fact)})"
            for material, content, fact in items
        ),
        most=6,
    )
    worst = max(items, key=lambda item: abs(item[1] - _bound(item[2], side)) / (_bound(item[2], side) or 1))
    return Finding(
        severity,
        "range.use",
        f"{side.capitalize()} the usual use range: {told}. {mend}",
        keys(item[0] for item in items),
        worst[1],
        _bound(worst[2], side),
        source_of(worst[2]),
    )


def _bound(fact: Fact, side: str) -> Decimal:
    return fact.high if side == "above" else fact.low


def _range_words(fact: Fact) -> str:
    if fact.low is None or fact.high is None:
        return f"usual up to {plain(fact.high)}" if fact.high is not None else f"usual from {plain(fact.low)}"
    return f"usual {plain(fact.low)} to {plain(fact.high)}"
