"""The lines of a formula taken apart by place, and put together again with other percentages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction

from kit.formula.composition import apportion
from kit.formula.material import Material
from kit.formula.model import FormulaModel, Line, Phase

Place = tuple[str, str]  # phase name, material key


@dataclass(frozen=True)
class Edit:
    """What becomes of the lines of a formula.

    Parameters
    ----------
    new : dict         Place to its new percentage; a place may hold several lines of one material. [% w/w]
    added : dict       Place to the material that is not there yet.
    kinds : dict       Phase name to its new kind.
    gone : set         Places whose lines are taken out even when q.s.
    scaled : dict      Place to the factor its lines are scaled by; elsewhere the largest line takes the difference.
    pinned : dict      Place to the number of one of its lines (from 0) and that line's own percentage.
    """

    new: Mapping[Place, Decimal]
    added: Mapping[Place, Material] = field(default_factory=dict)
    kinds: Mapping[str, str] = field(default_factory=dict)
    gone: frozenset[Place] = frozenset()
    scaled: Mapping[Place, Fraction] = field(default_factory=dict)
    pinned: Mapping[Place, Mapping[int, Decimal]] = field(default_factory=dict)


def resolved(formula: FormulaModel) -> dict[Place, Decimal]:
    """Every line's percentage by phase and material, q.s. worked out; lines of one material in one phase add up."""
    pcts: dict[Place, Decimal] = {}
    composition = formula.composition()
    for line in composition.lines:
        place = (line.phase, line.material.key)
        pcts[place] = pcts.get(place, Decimal(0)) + line.pct
    return pcts


def rebuilt(formula: FormulaModel, edit: Edit) -> FormulaModel:
    """The formula with an edit made to its lines; lines it does not speak of stay as they are, digit for digit."""
    phases = [
        Phase(phase.name, edit.kinds.get(phase.name, phase.kind), _lines(phase, edit)) for phase in formula.phases
    ]
    known = {phase.name for phase in formula.phases}
    for name in dict.fromkeys(place[0] for place in edit.added if place[0] not in known):
        lines = tuple(Line(material, edit.new[place]) for place, material in edit.added.items() if place[0] == name)
        phases.append(Phase(name, edit.kinds[name], lines))
    named = {
        name for step in formula.steps for name in (step.phase, *dict(step.temps_c))
    }  # a step may still speak of an empty phase
    return replace(formula, phases=tuple(phase for phase in phases if phase.lines or phase.name in named))


def _lines(phase: Phase, edit: Edit) -> tuple[Line, ...]:
    spread = {place: _spread(phase, place, edit) for place in edit.new if place[0] == phase.name}
    lines = []
    for line in phase.lines:
        place = (phase.name, line.material.key)
        kept = spread[place].pop(0) if place in spread else line
        if kept is not None:
            lines.append(kept)
    extra = [Line(material, edit.new[place]) for place, material in edit.added.items() if place[0] == phase.name]
    return (*lines, *extra)


def _spread(phase: Phase, place: Place, edit: Edit) -> list[Line | None]:
    """The lines of one place with their new percentages, in order; None for a line that goes."""
    lines = [line for line in phase.lines if line.material.key == place[1]]
    total = edit.new[place]
    if place in edit.gone or not lines:
        return [None] * len(lines)
    pcts = [line.pct for line in lines]
    for index, pct in edit.pinned.get(place, {}).items():
        pcts[index] = pct
    if None in pcts:  # the q.s. line of the place takes what the others leave
        factor = edit.scaled.get(place, Fraction(1))
        pcts = [pct if pct is None or factor == 1 else _rounded(Fraction(pct) * factor) for pct in pcts]
    elif sum(pcts) != total:
        pcts = _scaled(pcts, total) if place in edit.scaled and len(pcts) > 1 else _moved(pcts, total)
    return [
        line if line.qs or line.pct == pct else replace(line, pct=pct) if pct else None
        for line, pct in zip(lines, pcts, strict=True)
    ]


def _scaled(pcts: list[Decimal], total: Decimal) -> list[Decimal]:
    before = sum(pcts)
    if not before:
        return [total, *pcts[1:]]
    return apportion([Fraction(pct) * Fraction(total) / Fraction(before) for pct in pcts], total, decimals(total))


def _rounded(pct: Fraction) -> Decimal:
    return Decimal(round(pct * 10**4)).scaleb(-4)


def _moved(pcts: list[Decimal], total: Decimal) -> list[Decimal]:
    if len(pcts) == 1:
        return [total]
    largest = max(range(len(pcts)), key=lambda index: pcts[index])
    new = pcts[largest] + total - sum(pcts)
    if new < 0:
        return _scaled(pcts, total)
    return [new if index == largest else pct for index, pct in enumerate(pcts)]


def decimals(*pcts: Decimal) -> int:
    """Decimals that hold these percentages exactly, at least four."""
    return max(4, *(-pct.as_tuple().exponent for pct in pcts))


def pinned(formula: FormulaModel, wanted: Mapping[Place, Decimal]) -> FormulaModel:
    """The formula with its q.s. line fixed where q.s. would not give what is wanted, as when the total is not 100."""
    found = resolved(formula)
    off = {
        place: pct - found.get(place, Decimal(0))
        for place, pct in wanted.items()
        if pct != found.get(place, Decimal(0))
    }
    if not off:
        return formula
    phases = tuple(
        replace(
            phase,
            lines=tuple(
                replace(line, qs=False, pct=formula.qs_pct + off.get((phase.name, line.material.key), Decimal(0)))
                if line.qs
                else line
                for line in phase.lines
            ),
        )
        for phase in formula.phases
    )
    return replace(formula, phases=phases)
