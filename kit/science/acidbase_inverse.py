"""The inverse of the solve: how much strong acid or base gives a mixture a pH. Exact, without a search over pH."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from kit.science.acidbase_input import Given, read_input
from kit.science.acidbase_iteration import HALVINGS, MOST_STEPS, Functions, Point, Problem, arrays, terms_at
from kit.science.acidbase_systems import AcidBaseError
from kit.science.acidbase_terms import coefficient_slope

LOWEST_PH, HIGHEST_PH = -1.0, 15.0
_DONE = 1e-13


def strong_ions_for_ph(
    totals: Mapping,
    ph,
    temp_c=25.0,
    activity: str = "davies",
    spectators_z2_mol_per_kg=0.0,
    pka_shifts: Mapping | None = None,
):
    """Net charge of strong ions that brings a mixture to a pH: what `solve` would be given to answer that pH.

    Parameters
    ----------
    totals : mapping                            System to its total, float or array. [mol/kg water]
    ph : float or array                         To be reached. [-]
    temp_c : float or array                     [degC]
    activity : str                              "davies", "debye-hueckel" or "ideal".
    spectators_z2_mol_per_kg : float or array   Sum of c z^2 of ions without a net charge. [mol/kg water]
    pka_shifts : mapping, None                  As in `kit.science.acidbase.solve`. [-]

    Returns
    -------
    float or array   Positive for strong base, negative for strong acid. [mol/kg water]

    Raises
    ------
    AcidBaseError   `ph.target`, `ph.amount`, `ph.temperature`, `ph.name`, `ph.shape`.
    ActivityError   `ph.activity`.

    Examples
    --------
    >>> from kit.science.acidbase import AcidSystem
    >>> round(strong_ions_for_ph({AcidSystem("lactic acid", (3.86,)): 0.1}, 3.778), 3)
    0.05
    """
    import numpy as np

    wanted = np.asarray(ph, dtype=float)
    check_target(wanted, "strong_ions_for_ph")
    given = read_input(totals, np.zeros(wanted.shape or (1,)), temp_c, activity, spectators_z2_mol_per_kg, pka_shifts)
    h = 10.0 ** -np.broadcast_to(wanted, given.shape).ravel()
    found = _needed(given, h).charge
    only_numbers = (
        given.shape == (1,)
        and wanted.ndim == 0
        and not _has_array(totals, temp_c, spectators_z2_mol_per_kg, *(pka_shifts or {}).values())
    )
    return float(found[0]) if only_numbers else found.reshape(given.shape)


def check_target(ph, where: str) -> None:
    """Refuse what cannot be the pH of anything in water.

    Parameters
    ----------
    ph : float or array   [-]
    where : str           Name of the call.

    Raises
    ------
    AcidBaseError   `ph.target`.
    """
    inside = (ph >= LOWEST_PH) & (ph <= HIGHEST_PH)
    if not (inside if isinstance(inside, bool) else inside.all()):
        raise AcidBaseError(
            f"pH {ph} cannot be a target", where=where, allowed=f"{LOWEST_PH:g} to {HIGHEST_PH:g}", code="ph.target"
        )


def _has_array(totals: Mapping, *others) -> bool:
    return any(getattr(value, "ndim", 0) or isinstance(value, (list, tuple)) for value in (*totals.values(), *others))


class _Needed(NamedTuple):
    """Strong ions at a trial ionic strength, the ionic strength that follows, and its slope."""

    charge: object
    strength: object
    slope: object


def _needed(given: Given, h) -> _Needed:
    """The strong ions at the ionic strength that agrees with them: Newton's method, bisection where it fails."""
    import numpy as np

    functions, problem = arrays(), given.problem()
    strength = problem.ions.half_strength + sum(0.5 * amount for amount in given.amounts) + 0.001
    done = np.zeros(strength.shape, dtype=bool)
    for _ in range(MOST_STEPS):
        here = _at(problem, h, strength, functions)
        step = (here.strength - strength) / np.maximum(1 - here.slope, 0.2)
        done |= abs(step) <= _DONE * (1 + strength)
        strength = np.where(done, strength, np.maximum(strength + step, 0.1 * strength))
        if done.all():
            break
    else:
        strength = np.where(done, strength, _bisected(problem, h, functions))
    return _at(problem, h, strength, functions)


def _at(problem: Problem, h, strength, functions: Functions) -> _Needed:
    here, root, _ = terms_at(problem, Point(h, strength), functions)
    charge = here.negative - here.positive
    slope = coefficient_slope(problem.water, root, strength)
    sign = 2 * (charge >= 0) - 1.0
    own = slope * (here.strength_t + 0.5 * sign * (here.negative_t - here.positive_t))
    return _Needed(charge, here.strength + 0.5 * abs(charge), own)


def _bisected(problem: Problem, h, functions: Functions):
    """Ionic strength by bisection: what follows from a trial value is bounded."""
    import numpy as np

    low = np.zeros_like(h)
    high = 1 + 4 * (h + problem.water.product / h) + 2 * problem.ions.half_strength
    for acid in problem.acids:
        largest = max(abs(acid.charge), abs(acid.charge - len(acid.constants)))
        high = high + acid.total * (largest * largest + largest)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        more = _at(problem, h, middle, functions).strength > middle
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return 0.5 * (low + high)
