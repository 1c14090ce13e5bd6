"""What a spec asks for that a rule can hold against the composition: its pH lines."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.formula.model import SpecLine


def ph_lines(spec: Sequence[SpecLine]) -> list[SpecLine]:
    """The lines of a spec that bound the pH."""
    return [
        line
        for line in spec
        if line.property.strip().lower() == "ph" and (line.low is not None or line.high is not None)
    ]


def ph_bounds(line: SpecLine) -> tuple[Decimal, Decimal]:
    """Low and high of a pH line; a one-sided line is judged at the side it names."""
    return (line.low if line.low is not None else line.high), (line.high if line.high is not None else line.low)
