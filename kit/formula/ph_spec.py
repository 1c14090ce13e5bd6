"""The pH lines of a spec, and their ends."""

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


def highest_ph(spec: Sequence[SpecLine]) -> Decimal | None:
    """The highest pH that any line allows; None when none bounds it from above.

    There an amine carries least, a carboxylate most, and least of an acid preservative is un-ionised.
    """
    return max((line.high for line in ph_lines(spec) if line.high is not None), default=None)
