"""Usual ranges and pH windows: what lies outside them is worth a look, never forbidden."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import Composition, show_pct
from kit.formula.material import Fact, Material
from kit.formula.model import SpecLine
from kit.formula.network import OILS, content_pct
from kit.formula.rules.findings import PRACTICE, Finding, digits, keys, names, source_of
from kit.units import plain

_WINDOWED = ("preservative", "cationic surfactant", "amine surfactant")
_PH_LOW, _PH_HIGH = Decimal(3), Decimal(7)


@dataclass(frozen=True, slots=True)
class Usual:
    """A bound on the content of some categories in a rinse-off conditioner, common practice, no source. [% w/w]"""

    code: str
    title: str
    categories: tuple[str, ...]
    bound: Decimal
    mend: str
    below: bool = False


USUAL = (
    Usual(
        "range.water",
        "Water of all sources",
        ("water",),
        Decimal(60),
        "The network needs water to swell; check the other lines.",
        True,
    ),
    Usual(
        "range.oil",
        "Oils, esters and silicones",
        OILS,
        Decimal(10),
        "Oil dissolves the network: expect a thinner product. Lower it.",
    ),
    Usual(
        "range.thickener",
        "Thickeners and cationic polymers",
        ("thickener", "cationic polymer"),
        Decimal(1),
        "Stringy feel. Lower it.",
    ),
    Usual("range.humectant", "Humectants", ("humectant",), Decimal(15), "Tacky, and still no preservative. Lower it."),
    Usual(
        "range.chelator",
        "Chelator, active",
        ("chelator",),
        Decimal("0.5"),
        "More does not help; salt thins the gel. Lower it.",
    ),
    Usual(
        "range.fragrance",
        "Fragrance",
        ("fragrance",),
        Decimal("1.5"),
        "It thins the gel and brings allergens. Lower it.",
    ),
)


def usual_contents(composition: Composition) -> Iterable[Finding]:
    """Contents by category against what is usual in a rinse-off conditioner."""
    for usual in USUAL if composition.product == "rinse-off hair" else ():
        content = content_pct(composition, *usual.categories)
        if content < usual.bound if usual.below else content > usual.bound:
            side = "below" if usual.below else "above"
            found = f"{usual.title}: {digits(content, usual.bound)} %"
            words = f"{found}, {side} the usual {plain(usual.bound)} %. {usual.mend}"
            yield Finding("caution", usual.code, words, value=content, limit=usual.bound, source=PRACTICE)


def use_ranges(composition: Composition) -> Iterable[Finding]:
    """Every supply form against its usual range: one finding for what is above, one for what is below."""
    above, below = [], []
    for material in composition.materials():
        content, fact = _content(composition, material), material.use_range
        if fact is None or content <= 0:
            continue
        if fact.high is not None and content > fact.high:
            above.append((material, content, fact))
        elif fact.low is not None and content < fact.low:
            below.append((material, content, fact))
    if above:
        yield _outside(
            "caution",
            above,
            "above",
            "Check the percentage and the supplier's advice; a slip of the decimal looks like this.",
        )
    if below:
        yield _outside("note", below, "below", "It may do little at that level.")


def ph_spec(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """The pH asked for must lie in the range a conditioner can have."""
    del composition
    for line in _ph_lines(spec):
        low, high = _bounds(line)
        if low < _PH_LOW or high > _PH_HIGH:
            words = (
                f"The spec asks for pH {line.words()}; a conditioner outside {_PH_LOW} to {_PH_HIGH} is unusual. "
                "Check the limits typed."
            )
            yield Finding("caution", "range.ph_spec", words, source=PRACTICE)


def ph_windows(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """The pH asked for must lie in the window where each material works."""
    for line in _ph_lines(spec):
        low, high = _bounds(line)
        bad = [
            material
            for material in composition.materials()
            if material.ph_window is not None
            and composition.pct(material.key) > 0
            and _outside_window(material.ph_window, low, high)
        ]
        if bad:
            yield _window_finding(line, low, high, bad)


def unknown(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """Ranges and windows that could not be judged."""
    lacking = [material for material in composition.materials() if material.use_range is None and not material.is_water]
    if lacking:
        yield Finding(
            "note", "facts.unknown", f"use range of {names(material.name for material in lacking)}", keys(lacking)
        )
    windowed = [material for material in composition.materials() if material.ph_window is not None]
    if windowed and not _ph_lines(spec):
        yield Finding(
            "note",
            "facts.unknown",
            f"pH windows of {names(material.name for material in windowed)} (the formula has no pH spec)",
            keys(windowed),
        )
    open_ones = [
        material for material in composition.materials() if material.ph_window is None and _needs_window(material)
    ]
    if open_ones:
        yield Finding(
            "note", "facts.unknown", f"pH window of {names(material.name for material in open_ones)}", keys(open_ones)
        )
    if composition.product != "rinse-off hair":
        yield Finding("note", "facts.unknown", f"usual contents (none are coded for {composition.product})")


def _content(composition: Composition, material: Material) -> Decimal:
    as_active = material.use_range is not None and _basis(material.use_range)
    return composition.pct(material.key) * (material.active_pct / 100 if as_active else 1)


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


def _ph_lines(spec: Sequence[SpecLine]) -> list[SpecLine]:
    return [
        line
        for line in spec
        if line.property.strip().lower() == "ph" and (line.low is not None or line.high is not None)
    ]


def _bounds(line: SpecLine) -> tuple[Decimal, Decimal]:
    """Low and high of a pH line; a one-sided line is judged at the side it names."""
    return (line.low if line.low is not None else line.high), (line.high if line.high is not None else line.low)


def _outside_window(window: Fact, low: Decimal, high: Decimal) -> bool:
    return (window.high is not None and high > window.high) or (window.low is not None and low < window.low)


def _window_finding(line: SpecLine, low: Decimal, high: Decimal, bad: list[Material]) -> Finding:
    told = names((f"{material.name} (pH {_window_words(material.ph_window)})" for material in bad), most=6)
    first = bad[0].ph_window
    over = first.high is not None and high > first.high
    mend = (
        "An acid preservative works as the un-ionised acid only: lower the pH, or take one that works there."
        if any(map(_is_acid_preservative, bad))
        else ("Move the pH, or take another material.")
    )
    return Finding(
        "caution",
        "range.ph_window",
        f"The spec asks for pH {line.words()}, outside the window of {told}. {mend}",
        keys(bad),
        high if over else low,
        first.high if over else first.low,
        source_of(first),
    )


def _window_words(window: Fact) -> str:
    if window.low is None or window.high is None:
        return f"{plain(window.high)} and below" if window.high is not None else f"{plain(window.low)} and above"
    return f"{plain(window.low)} to {plain(window.high)}"


def _needs_window(material: Material) -> bool:
    return _category(material) in _WINDOWED


def _is_acid_preservative(material: Material) -> bool:
    return any(
        part.role == "active" and part.substance.category == "preservative" and part.substance.pka
        for part in material.parts
    )


def _category(material: Material) -> str:
    """The category of the part the form is bought for."""
    return next((part.substance.category for part in material.parts if part.role == "active"), "")
