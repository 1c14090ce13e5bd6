"""What the weighings of a batch add up to, and what its targets are after a line was over-weighed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from kit.bench.sheet import SheetLine
from kit.labbook.ledger import Effective


def weighed_g(entries: Iterable[Effective]) -> dict[tuple[str, str], Decimal]:
    """Phase and material to the mass weighed so far, portions summed, voided weighings left out. [g]"""
    sums: dict[tuple[str, str], Decimal] = {}
    for item in entries:
        if item.kind == "weigh" and item.stands:
            place = (item.body["phase"], item.body["material"])
            sums[place] = sums.get(place, Decimal(0)) + Decimal(item.body["mass_g"])
    return sums


def rescaled_by(entries: Iterable[Effective]) -> Fraction:
    """By how much all targets are made bigger, because over-weighed lines were answered so; 1 where none was."""
    factor = Fraction(1)
    for item in entries:
        if item.kind == "over-weighing" and item.stands and item.body["choice"] == "rescale":
            factor *= Fraction(item.body["factor"])
    return factor


def as_planned_now(line: SheetLine, entries: Iterable[Effective]) -> SheetLine:
    """A line of the sheet with its target as it stands now, rounded to what its balance shows."""
    factor = rescaled_by(entries)
    if factor == 1:
        return line
    target = Fraction(line.target_g) * factor
    return replace(line, target_g=line.balance.rounded(Decimal(target.numerator) / Decimal(target.denominator)))
