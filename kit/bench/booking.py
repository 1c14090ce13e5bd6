"""To which line of a formula a material books that was poured in rather than weighed for a phase."""

from __future__ import annotations

from decimal import Decimal

from kit.formula.formula import Formula
from kit.formula.material import Material

Home = tuple[str, Material, str]  # phase, material, kind of phase


def booked_as(formula: Formula, material: Material) -> tuple[tuple[Material, Decimal], ...]:
    """What a poured-in material books to: itself if the formula has a line of it, else what it was mixed from. [%]"""
    if any(line.material.key == material.key for _, line in formula.placed_lines()):
        return ((material, Decimal(100)),)
    return material.weighed_as()


def line_home(formula: Formula, material: Material | None) -> Home | None:
    """The formula's line that a material joins, or the water line when no material is named; None where there is none.

    Water joins any water line. Of several lines the q.s. line comes first, then the largest.
    """
    placed = list(formula.placed_lines())
    fitting = [(phase, line) for phase, line in placed if material is not None and line.material.key == material.key]
    if not fitting and (material is None or material.is_water):
        fitting = [(phase, line) for phase, line in placed if line.material.is_water]
    if not fitting:
        return None
    phase, line = max(fitting, key=lambda item: (item[1].qs, item[1].pct or Decimal(0)))
    return phase.name, line.material, phase.kind


def home(formula: Formula, material: Material) -> Home:
    """The formula's line that a material joins, else its place in the phase for adjusters."""
    return line_home(formula, material) or (adjust_phase(formula), material, "adjust")


def adjust_phase(formula: Formula) -> str:
    """Name of the phase for adjusters: the formula's own, else the next free letter."""
    for phase in formula.phases:
        if phase.kind == "adjust":
            return phase.name
    names = {phase.name for phase in formula.phases}
    return next((letter for letter in "DEFGHIJKLMNOPQRSTUVWXYZ" if letter not in names), "adjusters")
