"""Is anything there to preserve the product, and does it work at the pH asked for.

Whether it does preserve is for a challenge test, never for arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.charge import shares_of
from kit.formula.composition import Composition, Share
from kit.formula.free_preservatives import TOO_WIDE, FreePreservative
from kit.formula.material import Fact, Material
from kit.formula.model import SpecLine
from kit.formula.ph_estimate import ph_estimate
from kit.formula.ph_spec import ph_bounds, ph_lines
from kit.formula.preservation import preservation
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, keys, names, source_of
from kit.formula.rules.judged import Judged, Number
from kit.formula.rules.predicted import predictable_judged, predicted, value_number
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
    """An acid preservative works as the un-ionised acid: its share at the highest pH asked for, else as predicted."""
    acids = acid_preservatives(composition)
    for ph, said in _judged_at(composition, spec) if acids else ():
        told = [(share, fact, unionised_pct(fact, ph)) for share, fact in acids]
        idle = [item for item in told if ph > _idle_above(item[1])]
        if idle:
            yield _idle(composition, said, idle)
        elif len(acids) == len(_preservatives(composition)):
            yield _working(composition, ph, said, told)


def works_at_ph_judged(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Judged]:
    """The predicted pH against that above which each acid is idle, where no spec bounds the pH."""
    acids = acid_preservatives(composition)
    estimate = ph_estimate(composition) if acids and not ph_lines(spec) else None
    if estimate is not None:
        yield from predictable_judged(composition)
        yield Judged(value_number(estimate), tuple(_idle_above(fact) for _, fact in acids))


def acid_preservatives(composition: Composition) -> list[tuple[Share, Fact]]:
    """The preservatives the formula is made with that are acids or their salts, each with its pKa."""
    return [(share, share.substance.pka[0]) for share in _preservatives(composition) if _constant(share) is not None]


def unionised_pct(pka: Fact, ph: Decimal | float) -> Decimal:
    """Share of an acid preservative that is un-ionised. [%]"""
    return Decimal(f"{100 * unionised_fraction(float(ph), _number(pka)):.6g}")


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


def _judged_at(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[tuple[float, str]]:
    """Each pH to judge at, with what it is; without a spec the predicted one, and none where none is predicted."""
    lines = ph_lines(spec)
    for line in lines:
        ph = ph_bounds(line)[1]
        yield float(ph), f"At pH {ph}, the upper end of the spec ({line.words()})"
    found = None if lines else predicted(composition)
    if found is not None:
        yield found.value, f"The formula has no pH spec. At the predicted pH {found.words()}"


def _idle_above(pka: Fact) -> float:
    """The pH above which too little of an acid is un-ionised: its pKa + log10(ionised / un-ionised)."""
    unionised = float(limits.UNIONISED_PCT)
    return _number(pka) + math.log10((100 - unionised) / unionised)


def _number(fact: Fact) -> float:
    return float(fact.value if fact.value is not None else fact.high if fact.high is not None else fact.low)


def _constant(share: Share) -> Fact | None:
    return share.substance.pka[0] if share.substance.pka else None


def _idle(composition: Composition, said: str, idle: list[tuple[Share, Fact, Decimal]]) -> Finding:
    worst = min(idle, key=lambda item: item[2])
    others = [share.substance.inci for share in _preservatives(composition)]
    left = [inci for inci in others if inci not in {share.substance.inci for share, *_ in idle}]
    rest = f"That leaves {names(left)}." if left else f"Nothing else preserves the product. {_TEST}"
    words = (
        f"{said}, {_shares(idle)}: an acid preservative works as the un-ionised acid, and below "
        f"{limits.UNIONISED_PCT} % hardly. Lower the pH, or take one that works there. {rest}"
    )
    about = brought(share for share, *_ in idle)
    source = f"{PRACTICE}; {source_of(worst[1])}" if source_of(worst[1]) != PRACTICE else PRACTICE
    return Finding(
        "caution" if left else "stop", "preservation.ph", words, about, worst[2], limits.UNIONISED_PCT, source
    )


def _working(composition: Composition, ph: float, said: str, told: list[tuple[Share, Fact, Decimal]]) -> Finding:
    words = (
        f"All preservatives are acids, which work as the un-ionised acid. {said}, {_shares(told)}: hold the pH. "
        f"{_free_words(composition, ph, [share.substance.inci for share, *_ in told])}{_TEST}"
    )
    return Finding("note", "preservation.acids_only", words, brought(share for share, *_ in told), source=PRACTICE)


def _free_words(composition: Composition, ph: float, incis: list[str]) -> str:
    """How much of each is free in the water, where the range is too wide to choose by; else nothing."""
    if not shares_of(composition, "water") or not 0 <= ph <= 14:
        return ""
    found = preservation(composition, ph)
    wide = [item for item in (found[inci] for inci in incis) if item.too_wide]
    return f"Share free in the water: {names(map(_free_range, wide), most=6)}, {TOO_WIDE}. " if wide else ""


def _free_range(item: FreePreservative) -> str:
    low = "not known" if item.free_low_pct is None else f"{item.free_low_pct:.1f}"
    return f"{item.inci} {low} to {item.free_high_pct:.0f} %"


def _shares(told: list[tuple[Share, Fact, Decimal]]) -> str:
    return names(
        (
            f"{share.substance.inci} ({digits(share.pct)} % in the product) is {_short(pct)} % un-ionised "
            f"(pKa {fact.words()}{', from memory' if fact.kind == 'memory' else ''})"
            for share, fact, pct in told
        ),
        most=6,
    )


def _short(pct: Decimal) -> str:
    """A share for reading: whole above 10 %, one decimal below."""
    return digits(pct, limits.UNIONISED_PCT, 0 if pct > 10 and abs(pct - limits.UNIONISED_PCT) > 1 else 1)
