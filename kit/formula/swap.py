"""A change of supply form: another form of an ingredient in place of the one there, at equal active content."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from kit.errors import FormulaError
from kit.formula.composition import show_pct
from kit.formula.lines import Place, resolved
from kit.formula.material import Material
from kit.formula.model import FormulaModel
from kit.formula.molar import molar_mass
from kit.formula.versions import change, place_of
from kit.units import plain

BASES = ("equal active", "equal active mass", "equal active moles")


def swap(
    formula: FormulaModel,
    new: str,
    *,
    for_: str,
    at: str = BASES[0],
    absorb: str = "water",
    why: str = "",
    version: str = "",
) -> FormulaModel:
    """A new version with one supply form in place of another: w_new = w_old x active_old / active_new.

    Parameters
    ----------
    new : str      Supply form to use.
    for_ : str     Supply form it replaces; "phase:key" where it stands in several phases.
    at : str       "equal active" where both have the same active ingredient. Where it differs (a chloride for a
                   methosulfate), what is to be equal must be said: "equal active mass" or "equal active moles".
    absorb : str   Who takes up the difference, as in `change`.
    why : str      The reason; the two amounts when omitted.

    Returns
    -------
    FormulaModel   What a carrier or blend brings besides is in its composition; `diffs.parts_table` shows it.

    Raises
    ------
    FormulaError   `formula.swap_line` when the form to replace is not there or is q.s., `formula.swap_active` when the
                   active ingredients differ, are none, or have no known molar mass; and those of `change`.
    """
    place, old = place_of(formula, for_, "")
    wanted = formula.find(new, where=f"swap() in {formula.title}")
    _check_line(formula, place, old, wanted)
    before = resolved(formula)[place]
    after = _rounded(Fraction(before) * _ratio(old, wanted, at, formula.title))
    there = resolved(formula).get((place[0], wanted.key), Decimal(0))
    reason = f"{old.key} {show_pct(before)} % → {wanted.key} {show_pct(after)} % at {at}"
    made = change(
        _renamed(formula, place, wanted),
        {f"{place[0]}:{wanted.key}": plain(there + after)},
        absorb=absorb,
        why=why or reason,
        version=version,
    )
    return replace(made, parent=formula.fingerprint)


def _check_line(formula: FormulaModel, place: Place, old: Material, wanted: Material) -> None:
    lines = [line for phase, line in formula.placed_lines() if (phase.name, line.material.key) == place]
    if not lines or any(line.qs for line in lines) or old.key == wanted.key:
        what = f"{old.key} is {'q.s.' if lines else 'not in the formula'}"
        raise FormulaError(
            f"both forms are {old.key}" if old.key == wanted.key else what,
            where=f"swap() in {formula.title}",
            allowed="a line with a percentage, and another form",
            mend="name the line to replace in for_",
            code="formula.swap_line",
        )


def _ratio(old: Material, new: Material, at: str, title: str) -> Fraction:
    """Parts of the new form that hold as much active as one part of the old."""
    actives = [{part.inci for part in material.parts if part.role == "active"} for material in (old, new)]
    if at not in BASES or not all(actives) or (at == BASES[0] and actives[0] != actives[1]):
        names = " and ".join(f"{material.key} ({', '.join(sorted(inci)) or 'none'})" for material, inci in
                             zip((old, new), actives, strict=True))  # fmt: skip
        raise FormulaError(
            f"what is to be equal is not clear: the active parts are those of {names}",
            where=f"swap() in {title}",
            allowed=", ".join(f'at="{basis}"' for basis in BASES[1:]),
            mend="say which of the two is to be equal, or change the percentages yourself with change()",
            code="formula.swap_active",
        )
    if at == BASES[2]:
        return _moles(old, title) / _moles(new, title)
    return Fraction(old.active_pct) / Fraction(new.active_pct)


def _moles(material: Material, title: str) -> Fraction:
    """Active moles in 100 g of a form, times a constant."""
    total = Fraction(0)
    for part in material.parts:
        if part.role == "active":
            mass = molar_mass(part.substance)
            if mass is None:
                raise FormulaError(
                    f"the molar mass of {part.inci} is not known",
                    where=f"swap() in {title}",
                    allowed='at="equal active mass"',
                    mend="compare by mass, or state its molar_mass in your own materials file",
                    code="formula.swap_active",
                )
            total += Fraction(part.pct) / Fraction(mass)
    return total


def _renamed(formula: FormulaModel, place: Place, wanted: Material) -> FormulaModel:
    phases = tuple(
        replace(
            phase,
            lines=tuple(
                replace(line, material=wanted) if (phase.name, line.material.key) == place else line
                for line in phase.lines
            ),
        )
        for phase in formula.phases
    )
    return replace(formula, phases=phases)


def _rounded(pct: Fraction) -> Decimal:
    """To four decimals; fewer where the number has fewer, never less than two."""
    value = Decimal(round(pct * 10**4)).scaleb(-4)
    return value.quantize(Decimal("0.01")) if value == value.quantize(Decimal("0.01")) else value.normalize()
