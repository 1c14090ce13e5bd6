"""Is anything there to preserve the product, and does it work at the pH asked for.

Whether it does preserve is for a challenge test, never for arithmetic.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.charge import shares_of
from kit.formula.composition import Composition, Share
from kit.formula.material import Fact, Material
from kit.formula.model import SpecLine
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, keys, names, source_of
from kit.formula.rules.judged import Judged, Number
from kit.formula.rules.spec import ph_bounds, ph_lines
from kit.formula.water_activity import activity_parts, water_activity
from kit.science.ionisation import unionised_fraction

_TEST = (
    "No computed number replaces a laboratory challenge test; until one is passed the product is for the bench only."
)
_LOW_RISK = "iso-29621"


def preserved(composition: Composition) -> Iterable[Finding]:
    """A product with free water needs a preservative of its own; what an extract brings for itself does not count."""
    activity = None if bought_for(composition, "preservative") else water_activity(composition)
    if activity is None:
        return
    value, boosters = Decimal(f"{activity:.4f}"), bought_for(composition, "preservative booster")
    limit = Decimal(str(limits.WATER_ACTIVITY))
    held = f"water activity {digits(value, limit)} (computed from the humectants, an upper estimate)"
    if activity <= limits.WATER_ACTIVITY:
        words = (
            f"No preservative, {held}: at {limit} and below little grows in it, but a film of condensed water may. "
            f"Measure the water activity. {_TEST}"
        )
        yield Finding("caution", "preservation.low_activity", words, (), value, limit, _LOW_RISK)
    elif boosters:
        words = (
            f"No preservative, only boosters ({names(material.name for material in boosters)}), with {held}, above "
            f"{limit}. Add a preservative that works at the pH of the product. {_TEST}"
        )
        yield Finding("caution", "preservation.booster_only", words, keys(boosters), value, limit, _LOW_RISK)
    else:
        words = (
            f"No preservative, with {held}, above {limit}: microbes grow in it, and humectants at conditioner "
            "levels do "
            f"not stop them. Add a system that works at the pH of the product. {_TEST}"
        )
        yield Finding("stop", "preservation.none", words, (), value, limit, _LOW_RISK)


def preserved_judged(composition: Composition) -> Iterable[Judged]:
    """The water activity, where nothing preserves."""
    if not bought_for(composition, "preservative") and shares_of(composition, "water"):
        yield Judged(Number(*activity_parts(composition)), (limits.WATER_ACTIVITY,))


def works_at_ph(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """An acid preservative works as the un-ionised acid: its share at the upper end of the pH asked for."""
    acids = acid_preservatives(composition)
    for line in ph_lines(spec) if acids else ():
        ph = ph_bounds(line)[1]
        told = [(share, fact, unionised_pct(fact, ph)) for share, fact in acids]
        idle = [item for item in told if item[2] < limits.UNIONISED_PCT]
        if idle:
            yield _idle(composition, line, ph, idle)
        elif len(acids) == len(_preservatives(composition)):
            yield _working(line, ph, told)


def acid_preservatives(composition: Composition) -> list[tuple[Share, Fact]]:
    """The preservatives the formula is made with that are acids or their salts, each with its pKa."""
    return [(share, share.substance.pka[0]) for share in _preservatives(composition) if _constant(share) is not None]


def unionised_pct(pka: Fact, ph: Decimal) -> Decimal:
    """Share of an acid preservative that is un-ionised. [%]"""
    constant = pka.value if pka.value is not None else pka.high if pka.high is not None else pka.low
    return Decimal(f"{100 * unionised_fraction(float(ph), float(constant)):.6g}")


def bought_for(composition: Composition, category: str) -> list[Material]:
    """The supply forms present whose active part is of a category."""
    return [
        material
        for material in composition.materials()
        if composition.pct(material.key) > 0
        and any(part.role == "active" and part.substance.category == category for part in material.parts)
    ]


def _preservatives(composition: Composition) -> list[Share]:
    """Preservative parts that come in as the active part of a supply form."""
    active = {
        part.inci
        for material in bought_for(composition, "preservative")
        for part in material.parts
        if part.role == "active"
    }
    return [share for share in shares_of(composition, "preservative") if share.substance.inci in active]


def _constant(share: Share) -> Fact | None:
    return share.substance.pka[0] if share.substance.pka else None


def _idle(composition: Composition, line: SpecLine, ph: Decimal, idle: list[tuple[Share, Fact, Decimal]]) -> Finding:
    worst = min(idle, key=lambda item: item[2])
    others = [share.substance.inci for share in _preservatives(composition)]
    left = [inci for inci in others if inci not in {share.substance.inci for share, *_ in idle}]
    rest = f"That leaves {names(left)}." if left else f"Nothing else preserves the product. {_TEST}"
    words = (
        f"At pH {ph}, the upper end of the spec ({line.words()}), {_shares(idle)}: an acid preservative works as the "
        f"un-ionised acid, and below {limits.UNIONISED_PCT} % hardly. Lower the pH, or take one that works "
        f"there. {rest}"
    )
    about = brought(share for share, *_ in idle)
    source = f"{PRACTICE}; {source_of(worst[1])}" if source_of(worst[1]) != PRACTICE else PRACTICE
    return Finding(
        "caution" if left else "stop", "preservation.ph", words, about, worst[2], limits.UNIONISED_PCT, source
    )


def _working(line: SpecLine, ph: Decimal, told: list[tuple[Share, Fact, Decimal]]) -> Finding:
    words = (
        f"All preservatives are acids, which work as the un-ionised acid. At pH {ph}, the upper end of the spec "
        f"({line.words()}), {_shares(told)}: hold the pH. {_TEST}"
    )
    return Finding("note", "preservation.acids_only", words, brought(share for share, *_ in told), source=PRACTICE)


def _shares(told: list[tuple[Share, Fact, Decimal]]) -> str:
    return names(
        (
            f"{share.substance.inci} ({digits(share.pct)} % in the product) is {_short(pct)} % un-ionised "
            f"(pKa {fact.words()})"
            for share, fact, pct in told
        ),
        most=6,
    )


def _short(pct: Decimal) -> str:
    """A share for reading: whole above 10 %, one decimal below."""
    return digits(pct, limits.UNIONISED_PCT, 0 if pct > 10 and abs(pct - limits.UNIONISED_PCT) > 1 else 1)
