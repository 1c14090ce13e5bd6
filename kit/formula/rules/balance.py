"""Does the formula add up: the total, the q.s. line, negative lines."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.composition import Composition
from kit.formula.model import FormulaModel
from kit.formula.rules import limits
from kit.formula.rules.findings import Finding, digits, names
from kit.formula.rules.judged import Judged, Number
from kit.formula.rules.judged import total as sum_of_lines
from kit.units import plain


def total(composition: Composition) -> Iterable[Finding]:
    """The lines must add up to 100.00 within 0.01, on the stored decimals and not on rounded ones."""
    found = composition.total
    off = found - limits.TOTAL
    if abs(off) > limits.TOTAL_TOLERANCE:
        words = (
            f"The lines add up to {plain(found)} %, not to 100.00 %: {plain(abs(off))} % too "
            f"{'much' if off > 0 else 'little'}. Correct a line, or make water the q.s. line."
        )
        yield Finding("stop", "formula.total", words, value=found, limit=limits.TOTAL, source="arithmetic")


def total_judged(composition: Composition) -> Iterable[Judged]:
    """The total, at both ends of its tolerance."""
    del composition
    ends = (limits.TOTAL - limits.TOTAL_TOLERANCE, limits.TOTAL + limits.TOTAL_TOLERANCE)
    yield Judged(Number((sum_of_lines,)), ends)


def negative(composition: Composition) -> Iterable[Finding]:
    """No line can be below zero; most often the q.s. water is, because the other lines pass 100 %."""
    for line in composition.lines:
        if line.pct < 0:
            water = line.material.is_water
            words = (
                f"{line.material.name} comes to {digits(line.pct)} %: the other lines add up to "
                f"{digits(composition.total - line.pct)} %. Lower them until something is left for it."
            )
            yield Finding(
                "stop",
                "formula.negative_water" if water else "formula.negative_line",
                words,
                (line.material.key,),
                value=line.pct,
                limit=Decimal(0),
                source="arithmetic",
            )


def qs_lines(formula: FormulaModel) -> Iterable[Finding]:
    """At most one line may be q.s.; what it takes up must be above zero."""
    lines = formula.qs_lines
    if len(lines) > 1:
        words = (
            f"{len(lines)} lines are q.s. ({names(line.material.name for line in lines)}), so no percentage of them "
            "is determined. Give all but one its percentage. Nothing else was reviewed."
        )
        yield Finding(
            "stop",
            "formula.qs_two",
            words,
            tuple(line.material.key for line in lines),
            Decimal(len(lines)),
            Decimal(1),
            "arithmetic",
        )
    elif lines and formula.qs_pct == 0:
        name = lines[0].material.name
        words = (
            f"Nothing is left for the q.s. line, {name}: the other lines add up to 100 %. Lower them, or take it out."
        )
        yield Finding("stop", "formula.qs_zero", words, (lines[0].material.key,), Decimal(0), None, "arithmetic")
