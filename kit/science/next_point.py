"""Which point next: the one that can be hoped to better the best batch, or that settles a question.

Pure: coordinates of tried and possible points, what was observed, and goals in; frozen picks out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kit.science.goal_surfaces import Outlook, Surfaces, scaled, trend_terms

NO_GAIN = 0.002  # an expected gain of desirability below this is none (own choice)
_OUT_OF_REACH = 0.05  # chance that the mean of any point meets the goal, below which it is out of reach (own choice)


@dataclass(frozen=True)
class Unreached:
    """A goal that no possible point is likely to meet.

    Parameters
    ----------
    goal : str           The response; empty where each goal can be met and all together cannot.
    chance : float       The largest chance of any point that its mean meets it.
    nearest : int        The point whose predicted middle comes nearest.
    """

    goal: str
    chance: float
    nearest: int


def unreached(surfaces: Surfaces, outlook: Outlook) -> tuple[Unreached, ...]:
    """The goals that no point of an outlook is likely to meet; none where all can be met together.

    Parameters
    ----------
    surfaces : Surfaces
    outlook : Outlook     Of the possible points.
    """
    found = []
    for name, chance in outlook.met.items():
        if chance.max() < _OUT_OF_REACH:
            short = surfaces.observed[name].goal.short_of(outlook.middle[name])
            found.append(Unreached(name, float(chance.max()), int(np.argmin(short))))
    if not found and outlook.met_all.max() < _OUT_OF_REACH:
        found.append(Unreached("", float(outlook.met_all.max()), int(np.argmin(outlook.short))))
    return tuple(found)


def best_points(
    surfaces: Surfaces, possible: np.ndarray, count: int = 1, *, seed: int = 0
) -> tuple[tuple[int, Outlook], ...]:
    """The possible points of the largest expected improvement, one after another.

    Parameters
    ----------
    surfaces : Surfaces
    possible : array, (m, k)   Coordinates.
    count : int                How many to pick; each further one takes those before as made and come out as predicted.
    seed : int                 Of the draws.

    Returns
    -------
    tuple of pairs   Index of the point, and the outlook at the moment it was picked; fewer where nothing is left.
    """
    points = np.asarray(possible, dtype=float)
    free = np.ones(len(points), dtype=bool)
    picked = []
    now = surfaces
    for _ in range(min(count, len(points))):
        outlook = now.outlook(points, seed=seed)
        # where no gain is in sight the most desirable point is taken or the one that comes nearest; the reason says so
        merit = outlook.improvement
        if unreached(surfaces, outlook):
            merit = -outlook.short
        elif merit[free].max() <= NO_GAIN:
            merit = outlook.expected
        index = int(np.argmax(np.where(free, merit, -np.inf)))
        picked.append((index, outlook))
        free[index] = False
        if len(picked) < count:
            now = now.with_believed(points[index])
    return tuple(picked)


def settling_points(surfaces: Surfaces, name: str, at: np.ndarray, possible: np.ndarray) -> tuple[int, float, float]:
    """The possible point whose batch narrows most what is said of one response at one place.

    Parameters
    ----------
    surfaces : Surfaces
    name : str                 The response in question.
    at : array, (k,)           The place.
    possible : array, (m, k)   Coordinates.

    Returns
    -------
    tuple   Index of the point; half-width of the 95 % interval of the mean at the place now and after, on the scale of
            the fit. It does not depend on what the batch will show.
    """
    from scipy.special import stdtrit

    fit = surfaces.fits[name]
    terms = fit.trend.shape[1]
    place, points = np.asarray(at, dtype=float)[None], np.asarray(possible, dtype=float)
    first, rest = (scaled(some, surfaces.parts) for some in (place, points))
    first_trend, rest_trend = (trend_terms(some, surfaces.parts, terms) for some in (place, points))
    now = float(fit.predict(first, first_trend).standard_error[0])
    own = fit.predict(rest, rest_trend).standard_error ** 2
    shared = fit.covariance(first, first_trend, rest, rest_trend)[0]
    gain = shared**2 / (own + fit.batch_sd**2)
    index = int(np.argmax(gain))
    after = math.sqrt(max(now**2 - gain[index], 0.0))
    return index, now * float(stdtrit(fit.df, 0.975)), after * float(stdtrit(fit.df + 1, 0.975))
