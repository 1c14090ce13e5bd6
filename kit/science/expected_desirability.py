"""The desirability to be expected of a value that is not known exactly: averaged over what it may be.

The desirability of a predicted middle takes the prediction for the truth. Averaged, a point on the target of which
little is known counts for less than one that is known to lie near, and a goal that ends sooner on one side is kept
away from on that side.
"""

from __future__ import annotations

import numpy as np

from kit.science.desirability import Goal

_NODES, _MEANS, _SPREADS = 32, 241, 13
_REACH = 6.0  # spreads beyond an end of the goal past which nothing changes


def expected_power(
    goal: Goal, power: float, mean: np.ndarray, spread: np.ndarray, df: float, *, log: bool = False
) -> np.ndarray:
    """The mean of a power of the desirability, by a table over means and spreads.

    Parameters
    ----------
    goal : Goal
    power : float          Its share of the importance: the mean of a product of independent powers is their product.
    mean, spread : array   Of Student's t, on the scale of the fit; they broadcast. [unit, or ln of it]
    df : float             Of Student's t.
    log : bool             Whether that scale is the natural logarithm.

    Returns
    -------
    array   0 to 1.
    """
    from scipy.special import stdtrit

    middle, wide = np.asarray(mean, dtype=float), np.asarray(spread, dtype=float)
    means, spreads = _grid(goal, middle, float(wide.max()), log=log)
    nodes = stdtrit(df, (np.arange(_NODES) + 0.5) / _NODES)
    values = means[:, None, None] + spreads[None, :, None] * nodes
    with np.errstate(over="ignore"):
        table = (goal.of(np.exp(values) if log else values) ** power).mean(axis=2)
    across = np.clip((middle - means[0]) / (means[1] - means[0]), 0, _MEANS - 1)
    along = np.sqrt(wide / spreads[-1]) * (_SPREADS - 1)
    column = np.minimum(along.astype(int), _SPREADS - 2)
    row = np.minimum(across.astype(int), _MEANS - 2)
    # between two spreads by the spread itself, as they are not evenly spaced
    part = (wide - spreads[column]) / (spreads[column + 1] - spreads[column])
    rest, flat = across - row, table.ravel()
    place = row * _SPREADS + column
    near = flat[place] * (1 - part) + flat[place + 1] * part
    far = flat[place + _SPREADS] * (1 - part) + flat[place + _SPREADS + 1] * part
    return near * (1 - rest) + far * rest


def _grid(goal: Goal, mean: np.ndarray, widest: float, *, log: bool) -> tuple[np.ndarray, np.ndarray]:
    """Means where something changes, and spreads, finer where they are small."""
    widest = max(widest, 1e-12)
    ends = [end for end in (goal.low, goal.high) if end is not None and (not log or end > 0)]
    ends = [float(np.log(end)) if log else end for end in ends] or [float(mean.min())]
    first = max(float(mean.min()), min(ends) - _REACH * widest)
    last = min(float(mean.max()), max(ends) + _REACH * widest)
    if not last > first:
        first, last = float(mean.min()), float(mean.max())
    room = 1e-9 * max(abs(first), abs(last), 1.0)
    return np.linspace(first - room, last + room, _MEANS), widest * np.linspace(0, 1, _SPREADS) ** 2


def expected_whole(parts: list[np.ndarray]) -> np.ndarray:
    """The whole of independent responses: the product of their mean powers.

    Parameters
    ----------
    parts : list of array   Of `expected_power`, the powers adding up to 1.
    """
    whole = parts[0]
    for part in parts[1:]:
        whole = whole * part
    return whole
