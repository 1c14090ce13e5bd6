"""Versions of a formula: one change made, who makes room for it, and a supply form changed for another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from kit.errors import FormulaError, MaterialError
from kit.formula.composition import apportion
from kit.formula.diffs import FormulaDiff, LineChange, diff, edited_under_label
from kit.formula.lines import Edit, Place, decimals, rebuilt, resolved
from kit.formula.material import Material
from kit.formula.model import FormulaModel
from kit.units import percent

__all__ = ["FormulaDiff", "LineChange", "change", "diff", "edited_under_label", "next_version", "resolved"]


def change(
    formula: FormulaModel,
    changes: Mapping[str, object],
    *,
    absorb: str = "water",
    why: str = "",
    version: str = "",
    phase: str = "",
) -> FormulaModel:
    """A new version with some lines changed and the rest making room.

    Parameters
    ----------
    changes : dict   Material (key, name, or "phase:key" where it stands in several phases) to its new percentage,
                     "6.00 %". Where it stands on several lines of a phase this is their sum, and "phase:key#2" is the
                     second of them. "0 %" takes the line out; a material not yet in the formula is added to `phase`,
                     or to the first phase of a kind that suits it.
    absorb : str     Who takes up the change: "water" (default), "proportional" (all other lines scaled), or a line's
                     key. The two are different experiments; the version keeps which it was.
    why : str        The reason; it stays with the version.
    version : str    Label of the new version; the next number when omitted.

    Raises
    ------
    FormulaError   `formula.absorb`, `formula.line_ambiguous`, `formula.line_number`, `formula.phase`, `formula.value`.
    """
    pcts = resolved(formula)
    new: dict[Place, Decimal] = {}
    added: dict[Place, Material] = {}
    pins: dict[Place, dict[int, Decimal]] = {}
    for name, typed in changes.items():
        bare, _, count = str(name).partition("#")
        place, material = place_of(formula, bare.strip(), phase)
        pct = _percentage(formula, str(name), typed)
        if count:
            _pin(formula, place, count, pct, pins)
        else:
            new[place] = pct
        if place not in pcts and pct:
            added[place] = material
    new |= {place: _pinned_total(formula, place, lines) for place, lines in pins.items()}
    taken = sum((value - pcts.get(place, Decimal(0)) for place, value in new.items()), Decimal(0))
    room = _room(formula, pcts, new, taken, absorb)
    scaled = (
        {place: Fraction(pct) / Fraction(pcts[place]) for place, pct in room.items() if pcts[place]}
        if absorb == "proportional"
        else {}
    )
    return replace(
        rebuilt(formula, Edit(new | room, added, scaled=scaled, pinned=pins)),
        version=version or next_version(formula.version),
        parent=formula.fingerprint,
        why=why,
        absorbed_by=absorb if absorb in ("water", "proportional") else next(iter(place[1] for place in room), absorb),
        file="",
    )


def next_version(version: str) -> str:
    """The label after this one: 1 -> 2, 3b -> 3b-2."""
    if version.isdigit():
        return str(int(version) + 1)
    stem, _, count = version.rpartition("-")
    return f"{stem}-{int(count) + 1}" if stem and count.isdigit() else f"{version}-2"


def _percentage(formula: FormulaModel, name: str, typed: object) -> Decimal:
    pct = percent(typed, where=f"change() of {formula.title}, {name}")
    if pct < 0:
        raise FormulaError(
            f"{name}: {pct} % is negative",
            where=formula.title,
            allowed="0 to 100 %",
            mend="correct it",
            code="formula.value",
        )
    return pct


def _pin(formula: FormulaModel, place: Place, count: str, pct: Decimal, pins: dict[Place, dict[int, Decimal]]) -> None:
    lines = [line for phase, line in formula.placed_lines() if (phase.name, line.material.key) == place]
    fixed = [str(number) for number, line in enumerate(lines, start=1) if not line.qs]
    if count.strip() not in fixed:
        raise FormulaError(
            f"{place[1]} has no line {count.strip()!r} with a percentage of its own in phase {place[0]}",
            where=formula.title,
            allowed=", ".join(f"{place[0]}:{place[1]}#{number}" for number in fixed),
            mend="number the lines of one material from 1, in their order",
            code="formula.line_number",
        )
    pins.setdefault(place, {})[int(count) - 1] = pct


def _pinned_total(formula: FormulaModel, place: Place, pins: Mapping[int, Decimal]) -> Decimal:
    lines = [line for phase, line in formula.placed_lines() if (phase.name, line.material.key) == place]
    pcts = [formula.qs_pct if line.qs else line.pct for line in lines]
    return sum((pins.get(index, pct) for index, pct in enumerate(pcts)), Decimal(0))


def place_of(formula: FormulaModel, name: str, phase: str) -> tuple[Place, Material]:
    """The place a name such as "glycerin" or "C:glycerin" stands for, and its material; errors as in `change`."""
    named, _, key = name.partition(":")
    if named not in {place.name for place in formula.phases}:
        named, key = "", name  # a name may hold a colon of its own, as in "(30:70)"
    material = formula.find(key, where=f"change() of {formula.title}")
    homes = [place.name for place, line in formula.placed_lines() if line.material.key == material.key]
    homes = [home for home in dict.fromkeys(homes) if not (named or phase) or home in (named, phase)]
    if len(homes) > 1:
        raise FormulaError(
            f"{material.key} stands in phases {' and '.join(homes)}",
            where=formula.title,
            mend=f'name the line, for example "{homes[0]}:{material.key}"',
            code="formula.line_ambiguous",
        )
    home = homes[0] if homes else (named or phase or _suitable_phase(formula, material))
    return (formula.phase(home).name, material.key), material


def _suitable_phase(formula: FormulaModel, material: Material) -> str:
    for kind in material.phases:
        for phase in formula.phases:
            if phase.kind == kind:
                return phase.name
    raise FormulaError(
        f"no phase of the formula suits {material.key} ({', '.join(material.phases) or 'kind not known'})",
        where=formula.title,
        allowed=", ".join(phase.name for phase in formula.phases),
        mend='say which: phase="A"',
        code="formula.phase",
    )


def _room(
    formula: FormulaModel, pcts: dict[Place, Decimal], new: dict[Place, Decimal], taken: Decimal, absorb: str
) -> dict[Place, Decimal]:
    """The lines that make room for the change, with their new percentages."""
    if not taken:
        return {}
    free = {place: pct for place, pct in pcts.items() if place not in new}
    if absorb == "proportional":
        return _scaled(free, taken, formula.title)
    place = _absorbing(formula, free, absorb)
    return {place: free[place] - taken}


def _scaled(free: dict[Place, Decimal], taken: Decimal, title: str) -> dict[Place, Decimal]:
    before = sum(free.values(), Decimal(0))
    if before <= 0 or before - taken < 0:
        raise FormulaError(
            "no other line is left to make room",
            where=title,
            mend="change less, or absorb with one line",
            code="formula.absorb",
        )
    factor = Fraction(before - taken) / Fraction(before)
    places = decimals(before, taken)
    shares = [Fraction(pct) * factor for pct in free.values()]
    return dict(zip(free, apportion(shares, before - taken, places), strict=True))


def _key_of(formula: FormulaModel, absorb: str) -> str:
    """Key of the material that takes up a change; "" for a word that names none."""
    try:
        return formula.find(absorb, where=f"absorb= of {formula.title}").key
    except MaterialError as problem:
        if problem.code != "material.unknown":
            raise
        return ""


def _absorbing(formula: FormulaModel, free: dict[Place, Decimal], absorb: str) -> Place:
    lines = [((phase.name, line.material.key), line) for phase, line in formula.placed_lines()]
    if absorb == "water":
        fitting = [(place, line) for place, line in lines if line.material.is_water and place in free]
    else:
        key = _key_of(formula, absorb)
        fitting = [(place, line) for place, line in lines if line.material.key == key and place in free]
    if not fitting:
        raise FormulaError(
            f"no line can take up the change as {absorb!r}",
            where=formula.title,
            allowed='"water", "proportional" or the key of a line that is not itself changed',
            mend="name one",
            code="formula.absorb",
        )
    return max(fitting, key=lambda item: (item[1].qs, free[item[0]]))[0]
