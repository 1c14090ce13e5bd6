"""The pH a spec asks for against what the materials stand: windows, esterquats, amidoamines."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS, shares_of, surfactant_class
from kit.formula.composition import Composition
from kit.formula.material import Fact, Material
from kit.formula.model import SpecLine
from kit.formula.ph_spec import ph_bounds, ph_lines
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, brought, keys, names, source_of
from kit.formula.rules.preservation import acid_preservatives, bought_for
from kit.units import plain

_WINDOWED = ("preservative", *CATIONIC_SURFACTANTS)


def asked(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """The pH asked for must lie in the range a conditioner can have."""
    for line in ph_lines(spec):
        low, high = ph_bounds(line)
        for severity, (least, most) in (("caution", limits.PH_OUTER), ("note", limits.PH_INNER)):
            if low < least or high > most:
                words = (
                    f"The spec asks for pH {line.words()}; a conditioner outside {least} to {most} is unusual. "
                    "Check the limits typed."
                )
                yield Finding(severity, "range.ph_spec", words, source=PRACTICE)
                break
    del composition


def windows(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """The pH asked for must lie in the window where each material works.

    Acid preservatives are judged by what is un-ionised, ester quaternaries and amidoamines by their own rules.
    """
    elsewhere = set(_judged_elsewhere(composition))
    for line in ph_lines(spec):
        low, high = ph_bounds(line)
        bad = [
            material
            for material in composition.materials()
            if material.ph_window is not None
            and material.key not in elsewhere
            and composition.pct(material.key) > 0
            and _outside(material.ph_window, low, high)
        ]
        if bad:
            yield _window_finding(line, low, high, bad)


def esterquat(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """An ester quaternary hydrolyses above its narrow window: the viscosity goes, and fatty acid smells."""
    forms = _of_class(composition, "esterquat")
    for line in ph_lines(spec) if forms else ():
        high = ph_bounds(line)[1]
        over = [material for material in forms if high > _esterquat_top(material)]
        if over:
            top = min(map(_esterquat_top, over))
            words = (
                f"The spec asks for pH {line.words()}; {names(material.name for material in over)} is an ester "
                f"quaternary and stands at most pH {plain(top)}: above it the ester hydrolyses within weeks, the "
                "viscosity collapses and it smells of fatty acid. Lower the pH, or take a quaternary without ester."
            )
            source = next((source_of(item.ph_window) for item in over if item.ph_window is not None), PRACTICE)
            yield Finding("caution", "charge.esterquat_ph", words, keys(over), high, top, source)


def amidoamine(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """An amidoamine loses its charge as the pH rises: above 5.5 less of it works, above 6.5 it is a wax."""
    shares = shares_of(composition, "amine surfactant")
    for line in ph_lines(spec) if shares else ():
        high = ph_bounds(line)[1]
        if high > limits.AMINE_PH:
            severity, limit, mean = (
                ("stop", limits.AMINE_PH_STOP, "too little of it is acidified, and the batch parts")
                if high > limits.AMINE_PH_STOP
                else ("caution", limits.AMINE_PH, "it is cationic only where acid holds it so, and is used below that")
            )
            words = (
                f"The spec asks for pH {line.words()}; {names(share.substance.inci for share in shares)} is an amine: "
                f"above pH {limit} {mean}. Lower the pH, or take a quaternary."
            )
            yield Finding(severity, "charge.amine_ph", words, brought(shares), high, limit, PRACTICE)


def unknown(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """Windows that could not be judged."""
    present = [material for material in composition.materials() if composition.pct(material.key) > 0]
    windowed = [material for material in present if material.ph_window is not None]
    if windowed and not ph_lines(spec):
        yield Finding(
            "note",
            "facts.unknown",
            f"pH windows of {names(material.name for material in windowed)} (the formula has no pH spec)",
            keys(windowed),
        )
    elsewhere = set(_judged_elsewhere(composition))
    open_ones = [
        material
        for material in present
        if material.ph_window is None and material.key not in elsewhere and _needs_window(material)
    ]
    if open_ones:
        told = f"pH window of {names(material.name for material in open_ones)}"
        yield Finding("note", "facts.unknown", told, keys(open_ones))


def _judged_elsewhere(composition: Composition) -> Iterable[str]:
    acids = {share.substance.inci for share, _ in acid_preservatives(composition)}
    for material in bought_for(composition, "preservative"):
        if any(part.role == "active" and part.inci in acids for part in material.parts):
            yield material.key
    yield from keys(_of_class(composition, "esterquat"))
    yield from keys(bought_for(composition, "amine surfactant"))


def _of_class(composition: Composition, wanted: str) -> list[Material]:
    return [
        material
        for material in composition.materials()
        if composition.pct(material.key) > 0
        and any(part.role == "active" and surfactant_class(part.substance) == wanted for part in material.parts)
    ]


def _esterquat_top(material: Material) -> Decimal:
    window = material.ph_window
    return window.high if window is not None and window.high is not None else limits.ESTERQUAT_PH


def _outside(window: Fact, low: Decimal, high: Decimal) -> bool:
    return (window.high is not None and high > window.high) or (window.low is not None and low < window.low)


def _window_finding(line: SpecLine, low: Decimal, high: Decimal, bad: list[Material]) -> Finding:
    told = names((f"{material.name} (pH {_window_words(material.ph_window)})" for material in bad), most=6)
    first = bad[0].ph_window
    over = first.high is not None and high > first.high
    return Finding(
        "caution",
        "range.ph_window",
        f"The spec asks for pH {line.words()}, outside the window of {told}. Move the pH, or take another material.",
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
    """Whether the part the form is bought for works in a window of pH only."""
    category = next((part.substance.category for part in material.parts if part.role == "active"), "")
    return category in _WINDOWED
