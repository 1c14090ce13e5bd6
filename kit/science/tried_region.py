"""The region that was tried: whether a point lies among the points of a design, or beyond all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

HULL = "beyond the batches that were made"
LEVERAGE = "rests on less than the least supported batch does"

_TOUCHES = 1e-7  # of the tried range: a point this near to the hull lies on it


def inside_hull(
    points: Sequence[Sequence[float]], tried: Sequence[Sequence[float]], slack: float = _TOUCHES
) -> np.ndarray:
    """Whether points lie in the convex hull of the tried ones: whether they are a weighted mean of them.

    Parameters
    ----------
    points : (points, factors)   To be judged.
    tried : (runs, factors)      Levels that were made; they may lie in a plane or on a line, as mixtures do.
    slack : float                A point this near to the hull, as a share of the tried ranges, still lies in it.

    Returns
    -------
    array of bool, (points,)

    Notes
    -----
    Weights of at least zero that add up to one: the linear programme of the hull, solved as non-negative least squares.
    """
    import numpy as np
    from scipy.optimize import nnls

    made, asked = (np.atleast_2d(np.asarray(values, dtype=float)) for values in (tried, points))
    low, span = made.min(axis=0), np.ptp(made, axis=0)
    scale = np.where(span > 0, span, 1.0)
    made, asked = (made - low) / scale, (asked - low) / scale
    boxed = ((asked >= -slack) & (asked <= np.where(span > 0, 1, 0) + slack)).all(axis=1)
    made = np.unique(made, axis=0)
    columns = np.vstack([made.T, np.ones(len(made))])
    found = np.zeros(len(asked), dtype=bool)
    for index in np.flatnonzero(boxed):
        found[index] = nnls(columns, np.append(asked[index], 1.0))[1] <= slack
    return found


def outside_words(
    points: Sequence[Sequence[float]], tried: Sequence[Sequence[float]], slack: float = _TOUCHES
) -> tuple[str, ...]:
    """For each point why it lies outside the tried region by its levels; empty inside.

    Parameters
    ----------
    points : (points, factors)   To be judged.
    tried : (runs, factors)      Levels that were made.
    slack : float                As of `inside_hull`.
    """
    return tuple("" if inside else HULL for inside in inside_hull(points, tried, slack))
