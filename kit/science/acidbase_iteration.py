"""Newton's method on pH and ionic strength together, for one mixture in floats or for thousands in arrays.

Both ways run the same arithmetic (`advance`). In arrays a mixture that has converged is taken out and no longer
touched, so that what it comes to does not depend on its neighbours. What does not converge goes to nested bisection,
which cannot fail: at a fixed ionic strength the charge falls with pH, and the ionic strength is bounded.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from kit.science.acidbase_terms import Acid, Ions, Terms, Water, coefficient_slope, inverse_coefficient, terms
from kit.science.activity import HELD_AT

MOST_STEPS = 60
_LONGEST = 4.0  # of one step in ln a_H
_SHORTEST = 1e-3  # that the longest step may become, so that a small step is no trap
_STEP_DONE = 1e-7  # in ln a_H and relative in ionic strength; the next step would be about its square
_ROUNDING = 8 * 2.0**-52
_LEAST_STRENGTH = 1e-9
HALVINGS = 60
_START_H = 1e-5


class Point(NamedTuple):
    """A trial point: activity of hydrogen ions [-], ionic strength [mol/kg], and the step in ln a_H that led there."""

    h: object
    strength: object
    last: object = 0.0


class Limits(NamedTuple):
    """Between which activity of hydrogen ions the solution lies. [-]"""

    low: object
    high: object


class Problem(NamedTuple):
    """One mixture or many, as the solver takes them."""

    water: Water
    acids: list[Acid]
    ions: Ions
    limits: Limits


class Functions(NamedTuple):
    """The three functions that floats and arrays do not share."""

    root: Callable
    least: Callable
    most: Callable


FLOATS = Functions(math.sqrt, min, max)


def arrays() -> Functions:
    """The functions for arrays."""
    import numpy as np

    return Functions(np.sqrt, np.minimum, np.maximum)


def limits_of(water: Water, acids: list[Acid], ions: Ions) -> Limits:
    """Hydrogen activities that give more positive, and more negative, charge than the rest could balance. [-]"""
    most = ions.positive + ions.negative + 1
    for acid in acids:
        most = most + acid.total * max(abs(acid.charge), abs(acid.charge - len(acid.constants)))
    return Limits(water.product / (4 * most), 4 * most)


def start(problem: Problem) -> Point:
    """Where the iteration begins: slightly acid, and the ionic strength of the ions that do not react."""
    strength = problem.ions.half_strength + 0.001
    for acid in problem.acids:
        strength = strength + 0.25 * acid.total
    return Point(_START_H + 0 * strength, strength, _LONGEST + 0 * strength)


def terms_at(problem: Problem, point: Point, functions: Functions) -> tuple[Terms, object, object]:
    """Terms at a point, with the held root of the ionic strength and t."""
    root = functions.root(functions.least(point.strength, HELD_AT))
    t = inverse_coefficient(problem.water, root)
    return terms(point.h, t, problem.water, problem.acids, problem.ions), root, t


def advance(problem: Problem, point: Point, functions: Functions) -> tuple[Point, object]:
    """One step: the next point, and whether it is the last.

    Solved is 2 artanh((P - N)/(P + N)) = ln(P/N) = 0, nearly straight in pH over the whole range, with P and N the
    positive and negative charge; the artanh is its Pade approximant, exact at the solution.
    """
    least, most = functions.least, functions.most
    here, root, _ = terms_at(problem, point, functions)
    slope = coefficient_slope(problem.water, root, point.strength)
    excess = (here.positive - here.negative) / (here.positive + here.negative)
    square = excess * excess
    charge = 2 * excess * (15 - 4 * square) / (15 - 9 * square)
    charge_h = here.positive_h / here.positive - here.negative_h / here.negative
    charge_i = (here.positive_t / here.positive - here.negative_t / here.negative) * slope
    missing = here.strength - point.strength
    own = most(1 - here.strength_t * slope, 0.2)
    along = most(charge_h + charge_i * here.strength_h / own, 0.2 * charge_h)
    wanted = -(charge + charge_i * missing / own) / along
    # A step back is at most half as long as the one before, so that no two points send the iteration to each other.
    longest = least(most(abs(point.last) * (2 - 1.5 * (wanted * point.last < 0)), _SHORTEST), _LONGEST)
    step = most(least(wanted, longest), -longest)
    strength_step = (missing + here.strength_h * step) / own
    growth = (1 + 0.125 * step) / (1 - 0.125 * step)
    growth = growth * growth
    h = most(least(point.h * (growth * growth), problem.limits.high), problem.limits.low)
    strength = most(point.strength + strength_step, 0.1 * point.strength + _LEAST_STRENGTH)
    close = (abs(wanted) <= _STEP_DONE) & (abs(strength_step) <= _STEP_DONE * (1e-3 + strength))
    rounded = (abs(excess) <= _ROUNDING) & (abs(missing) <= _ROUNDING * (1 + strength))
    return Point(h, strength, step), close | rounded


def iterate(problem: Problem) -> tuple[Point, bool]:
    """Solve one mixture in floats; False where it did not converge."""
    point, done = start(problem), False
    for _ in range(MOST_STEPS):
        point, done = advance(problem, point, FLOATS)
        if done:
            break
    return point, done


def iterate_arrays(problem: Problem) -> tuple[Point, object]:
    """Solve many mixtures in arrays of one dimension; False in the second array where one did not converge."""
    import numpy as np

    functions, point = arrays(), start(problem)
    found = Point(point.h.copy(), point.strength.copy())
    left = np.arange(point.h.size)
    for _ in range(MOST_STEPS):
        point, done = advance(problem, point, functions)
        if not done.any():
            continue
        ended = left[done]
        found.h[ended], found.strength[ended] = point.h[done], point.strength[done]
        going = ~done
        left, point, problem = left[going], Point(*_taken(point, going)), taken(problem, going)
        if not left.size:
            break
    found.h[left], found.strength[left] = point.h, point.strength
    converged = np.ones(found.h.size, dtype=bool)
    converged[left] = False
    return found, converged


def taken(problem: Problem, which) -> Problem:
    """The mixtures of a problem that an index or mask picks; what is common to all stays as it is."""
    return Problem(
        Water(*_taken(problem.water, which)),
        [
            Acid(acid.charge, tuple(_taken(acid.constants, which)), *_taken((acid.total,), which))
            for acid in problem.acids
        ],
        Ions(*_taken(problem.ions, which)),
        Limits(*_taken(problem.limits, which)),
    )


def _taken(values, which) -> list:
    return [value[which] if getattr(value, "ndim", 0) else value for value in values]


def bisect(problem: Problem) -> Point:
    """Solve mixtures in arrays by nested bisection: ionic strength outside, hydrogen activity inside."""
    import numpy as np

    functions, limits = arrays(), problem.limits
    most = problem.ions.half_strength + 0.5 * limits.high
    for acid in problem.acids:
        largest = max(abs(acid.charge), abs(acid.charge - len(acid.constants)))
        most = most + acid.total * largest * largest
    low, high = np.zeros_like(most), most * 1.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        balanced = _balance(problem, middle, functions)
        more = terms_at(problem, balanced, functions)[0].strength > middle
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return _balance(problem, 0.5 * (low + high), functions)


def _balance(problem: Problem, strength, functions: Functions) -> Point:
    """The point at which charges balance at a fixed ionic strength."""
    import numpy as np

    low, high = np.broadcast_arrays(*problem.limits, strength)[:2]
    for _ in range(HALVINGS):
        middle = np.sqrt(low * high)
        here = terms_at(problem, Point(middle, strength), functions)[0]
        acid = here.positive < here.negative
        low, high = np.where(acid, middle, low), np.where(acid, high, middle)
    return Point(np.sqrt(low * high), strength)
