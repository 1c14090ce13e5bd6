"""pH of a mixture of acids, bases and salts in water, and how firmly it is held.

Everything is per kilogram of water. Water counts at an activity of 1; ion pairs, surfaces and oil are not in it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from kit.science.acidbase_input import Given, read_input
from kit.science.acidbase_inverse import strong_ions_for_ph
from kit.science.acidbase_iteration import (
    FLOATS,
    Point,
    Problem,
    arrays,
    bisect,
    iterate,
    iterate_arrays,
    limits_of,
    taken,
    terms_at,
)
from kit.science.acidbase_systems import AcidBaseError, AcidSystem
from kit.science.acidbase_terms import Ions, Terms, coefficient_slope, shares
from kit.science.activity import HELD_AT, activity_model

__all__ = ["AcidBaseError", "AcidSystem", "Equilibrium", "solve", "strong_ions_for_ph"]

_RESIDUAL_DUE = 1e-9  # mol/kg
_LN10 = math.log(10)


@dataclass(frozen=True)
class Equilibrium:
    """A solved mixture, or many: floats for one, arrays of the shape of the input for many.

    Parameters
    ----------
    ph : float or array                          -log10 of the activity of hydrogen ions. [-]
    ionic_strength_mol_per_kg : float or array   [mol/kg water]
    charge_residual_mol_per_kg : float or array  Positive less negative charge; what rounding left. [mol/kg water]
    mass_residual_mol_per_kg : float or array    Largest difference of the forms of a system from its total. [mol/kg]
    species : dict                               Name of the system to {charge: concentration}. [mol/kg water]
    buffer_capacity_mol_per_kg : float or array  Strong base per pH unit, activity included. [mol/kg water]
    notes : tuple of str                         What limits the answer.
    """

    ph: object
    ionic_strength_mol_per_kg: object
    charge_residual_mol_per_kg: object
    mass_residual_mol_per_kg: object
    species: dict[str, dict[int, object]]
    buffer_capacity_mol_per_kg: object
    notes: tuple[str, ...] = ()


def solve(
    totals: Mapping[AcidSystem, object],
    strong_ions_mol_per_kg=0.0,
    temp_c=25.0,
    activity: str = "davies",
    spectators_z2_mol_per_kg=0.0,
    pka_shifts: Mapping[AcidSystem, object] | None = None,
) -> Equilibrium:
    """pH, ionic strength and every form of a mixture at equilibrium, or of thousands in one call.

    Parameters
    ----------
    totals : mapping                            System to its total, all forms together, float or array. [mol/kg water]
    strong_ions_mol_per_kg : float or array     Net charge of ions that never react, cations positive: 0.05 for as much
                                                sodium hydroxide; its size counts in the ionic strength. [mol/kg water]
    temp_c : float or array                     [degC]
    activity : str                              "davies", "debye-hueckel" or "ideal".
    spectators_z2_mol_per_kg : float or array   Sum of c z^2 of ions without a net charge: 0.2 for 0.1 sodium chloride.
                                                [mol/kg water]
    pka_shifts : mapping, None                  System to what is added to all its constants, float or array, where they
                                                are not known for certain. [-]

    Returns
    -------
    Equilibrium   Floats where all input was one number, else arrays of the shape that the inputs broadcast to.

    Raises
    ------
    AcidBaseError   `ph.amount`, `ph.temperature`, `ph.name`, `ph.shape`, `ph.unsolved`.
    ActivityError   `ph.activity`.

    Notes
    -----
    Charge balance with mass action, as in W. Stumm and J. J. Morgan, Aquatic Chemistry, 3rd ed., chapter 3. Davies is
    usable to 0.5 mol/kg; above, coefficients keep their value there and a note says so.

    Examples
    --------
    >>> lactic = AcidSystem("lactic acid", (3.86,))
    >>> round(solve({lactic: 0.1}, strong_ions_mol_per_kg=0.05).ph, 2)
    3.78
    """
    given = read_input(totals, strong_ions_mol_per_kg, temp_c, activity, spectators_z2_mol_per_kg, pka_shifts)
    problem = given.problem()
    if given.shape is None:
        point, converged = iterate(problem)
        if not converged:
            point = _bisected(problem)
    else:
        point, converged = iterate_arrays(problem)
        if not converged.all():
            left = bisect(taken(problem, ~converged))
            point.h[~converged], point.strength[~converged] = left.h, left.strength
    return _result(given, problem, point)


def _bisected(problem: Problem) -> Point:
    """One mixture in floats, solved by bisection."""
    import numpy as np

    ions = Ions(*(np.array([value]) for value in problem.ions))
    found = bisect(Problem(problem.water, problem.acids, ions, limits_of(problem.water, problem.acids, ions)))
    return Point(float(found.h[0]), float(found.strength[0]))


def _result(given: Given, problem: Problem, point: Point) -> Equilibrium:
    functions = FLOATS if given.shape is None else arrays()
    here, root, t = terms_at(problem, point, functions)
    residual = here.positive - here.negative
    _check_solved(residual, given.shape)
    species, missing = _species(given, problem, point, t)
    capacity = _buffer_capacity(here, coefficient_slope(problem.water, root, point.strength), given.strong_ions)
    if given.shape is None:
        ph, shaped = -math.log10(point.h), float
    else:
        import numpy as np

        ph, shaped = -np.log10(point.h), lambda value: np.broadcast_to(value, residual.shape).reshape(given.shape)
    return Equilibrium(
        shaped(ph), shaped(point.strength), shaped(residual), shaped(missing),
        {name: {charge: shaped(value) for charge, value in forms.items()} for name, forms in species.items()},
        shaped(capacity), _notes(given, point),
    )  # fmt: skip


def _check_solved(residual, shape: tuple[int, ...] | None) -> None:
    worst = abs(residual) if shape is None else abs(residual).max(initial=0.0)
    if not worst <= _RESIDUAL_DUE:
        raise AcidBaseError(
            f"No pH balances the charges within {_RESIDUAL_DUE:g} mol/kg; the best misses by {worst:g}",
            where="acid-base solve",
            mend="look at the constants and the amounts: one of them is out of the ordinary",
            code="ph.unsolved",
        )


def _species(given: Given, problem: Problem, point: Point, t) -> tuple[dict, object]:
    """Concentration of every form, and the largest difference from a total."""
    found, largest, inverse = {}, 0.0, 1 / point.h
    most = (FLOATS if given.shape is None else arrays()).most
    for system, acid in zip(given.systems, problem.acids, strict=True):
        forms = {
            charge: acid.total * share for charge, share in zip(system.charges, shares(acid, inverse, t), strict=True)
        }
        largest = most(largest, abs(sum(forms.values()) - acid.total))
        found[system.name] = forms
    return found, largest


def _buffer_capacity(here: Terms, slope, strong_ions):
    """d(strong base)/d(pH), the ionic strength that the base brings included. [mol/kg]"""
    own = 1 - here.strength_t * slope
    shift = (here.positive_t - here.negative_t) * slope / own
    sign = 2 * (strong_ions >= 0) - 1.0
    return _LN10 * (here.positive_h - here.negative_h + shift * here.strength_h) / (1 + 0.5 * sign * shift)


def _notes(given: Given, point: Point) -> tuple[str, ...]:
    notes, model = [], activity_model(given.activity)
    highest = point.strength if given.shape is None else point.strength.max(initial=0.0)
    if highest > model.valid_to:
        held = f"; activity coefficients are kept as they are at {HELD_AT:g}" if highest > HELD_AT else ""
        notes.append(f"ionic strength {highest:.2g} mol/kg: {model.title} holds to {model.valid_to:g}{held}")
    kept = [system.name for system in given.systems if _is_kept(system, given.temp_c)]
    if kept:
        notes.append(f"enthalpy not known, pKa kept at every temperature: {', '.join(kept)}")
    return tuple(notes)


def _is_kept(system: AcidSystem, temp_c) -> bool:
    if system.enthalpy_kj_mol:
        return False
    return temp_c != system.temp_c if isinstance(temp_c, float) else bool((temp_c != system.temp_c).any())
