"""Designs for a curved response: central composite and Box-Behnken.

Box and Wilson (1951), J. Royal Stat. Soc. B 13:1; Box and Hunter (1957), Ann. Math. Stat. 28:195; Box and Behnken
(1960), Technometrics 2:455.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import combinations, product

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count
from kit.science.design_factorial import fractional_factorial, two_level_factorial
from kit.science.design_layout import Design

ROTATABLE = "rotatable"
FACE = "face"
ORTHOGONAL = "orthogonal"
SPHERICAL = "spherical"
ALPHAS = (ROTATABLE, FACE, ORTHOGONAL, SPHERICAL)
"""How far out the axial runs lie."""

# Sets of factors that take all combinations of low and high together while the others stay at 0. Three, four and five
# factors: all pairs. Six: the triple (0, 1, 3) moved on by one factor at a time, so that factors three apart meet twice
# and all others once. Seven: the seven lines of a plane of seven points, in which each two factors meet once.
_BLOCKS = {
    3: tuple(combinations(range(3), 2)),
    4: tuple(combinations(range(4), 2)),
    5: tuple(combinations(range(5), 2)),
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}


def central_composite(
    names: Iterable[str], alpha: str | float = ROTATABLE, centre: int = 3, *, fraction: bool = False
) -> Design:
    """Corners, two runs on each axis, and centre points: enough for a full quadratic model.

    Parameters
    ----------
    names : iterable of str   Factors, 2 to 8.
    alpha : str, float        Distance of the axial runs from the centre: ROTATABLE, the fourth root of the number of
        corners; FACE, 1, so that no level passes the range; ORTHOGONAL, which leaves the squares uncorrelated;
        SPHERICAL, as far as the corners; or a number. [half ranges]
    centre : int              Centre points.
    fraction : bool           The smallest fraction of resolution V or more in place of all corners, from 5 factors on.

    Raises
    ------
    KitError   `design.names`, `design.count`, `design.alpha`.
    """
    factors = factor_names(names)
    require_count("central composite", least=2, most=8, factors=len(factors))
    require_count("central composite", least=0, centre=centre)
    smaller = fraction and len(factors) >= 5
    corners = fractional_factorial(factors, resolution=5) if smaller else two_level_factorial(factors)
    distance = _alpha(alpha, len(corners), len(factors), centre)
    axial = [
        tuple(sign * distance if index == other else 0.0 for other in range(len(factors)))
        for index in range(len(factors))
        for sign in (-1.0, 1.0)
    ]
    levels = (*corners.levels, *axial, *[(0.0,) * len(factors)] * centre)
    notes = []
    if distance > 1:
        notes.append(
            f"The axial runs lie at {distance:.4f}, beyond the range: set the range so that they can still be made."
        )
    if centre < 2:
        notes.append("Without repeated centre points nothing tells lack of fit from scatter.")
    return Design(
        factors,
        levels,
        title=f"central composite of {len(factors)} factors, alpha {distance:.4f}",
        generators=corners.generators,
        notes=tuple(notes),
    )


def _alpha(told: str | float, corners: int, factors: int, centre: int) -> float:
    if told == ROTATABLE:
        return corners**0.25
    if told == FACE:
        return 1.0
    if told == SPHERICAL:
        return math.sqrt(factors)
    if told == ORTHOGONAL:  # the squares are uncorrelated when F N = (F + 2 alpha^2)^2
        return math.sqrt((math.sqrt(corners * (corners + 2 * factors + centre)) - corners) / 2)
    if not isinstance(told, (int, float)) or isinstance(told, bool) or not (math.isfinite(told) and told > 0):
        raise KitError(
            f"alpha is {told!r}",
            where="central composite",
            allowed=f"{', '.join(ALPHAS)}, or a number above zero",
            mend="choose one of these",
            code="design.alpha",
        )
    return float(told)


def box_behnken(names: Iterable[str], centre: int = 3) -> Design:
    """Sets of two or three factors at all their combinations of low and high, the others at 0: no extreme corner.

    Parameters
    ----------
    names : iterable of str   Factors, 3 to 7.
    centre : int              Centre points.

    Raises
    ------
    KitError   `design.names`, `design.count`.
    """
    factors = factor_names(names)
    require_count("Box-Behnken design", least=3, most=7, factors=len(factors))
    require_count("Box-Behnken design", least=0, centre=centre)
    levels = []
    for block in _BLOCKS[len(factors)]:
        for signs in product((-1.0, 1.0), repeat=len(block)):
            row = [0.0] * len(factors)
            for index, sign in zip(block, reversed(signs), strict=True):
                row[index] = sign
            levels.append(tuple(row))
    note = () if centre else ("Without centre points the quadratic model cannot be told.",)
    title = f"Box-Behnken design of {len(factors)} factors"
    return Design(factors, (*levels, *[(0.0,) * len(factors)] * centre), title=title, notes=note)
