"""What the batches say of possible points: predictions, what can be expected of each, and what a batch there would add.

Pure: coordinates of tried and possible points, what was observed, and goals in; frozen outlooks out.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from kit.errors import KitError
from kit.science.desirability import Goal, combined
from kit.science.expected_desirability import expected_power, expected_whole
from kit.science.expected_improvement import student_draws
from kit.science.kriging import Kriging, fit_kriging
from kit.science.number_text import plural
from kit.science.response_solve import told_together

_DRAWS, _FEW_DRAWS = 128, 16
_SPARE = 3  # batches beyond the terms of a trend before the trend is used (own choice)


@dataclass(frozen=True)
class Observed:
    """One response of the batches, with its goal.

    Parameters
    ----------
    values : sequence of float   One a batch; None where it was not read. [unit]
    goal : Goal                  What is wanted of it. [unit]
    log : bool                   Whether scatter is a share of the value.
    known_sd, known_df : float   Scatter known from elsewhere, on the scale of the fit.
    """

    values: Sequence[float | None]
    goal: Goal
    log: bool = False
    known_sd: float | None = None
    known_df: float | None = None


@dataclass(frozen=True)
class Outlook:
    """What is known of possible points, one number a point.

    Parameters
    ----------
    middle : dict of array             Response to its predicted middle. [unit]
    low, high : dict of array          95 % interval of one new batch. [unit]
    desirability : array               Of the predicted middles.
    expected : array                   Desirability to be expected, what is not known of the middles counted.
    best_batch : int                   The batch so far of which most is to be expected.
    best, best_expected : float        Its desirability, of its predicted middle, and what is to be expected of it.
    improvement : array                By how much what can be expected of the best batch grows on average.
    chance : array                     That a point is better than what can be expected of the best.
    met : dict of array                Response to the chance that its mean meets its goal at all.
    met_all : array                    The same of all goals together.
    short : array                      How far the predicted middles fall short of the limits, in widths of the goals.
    """

    middle: dict[str, np.ndarray]
    low: dict[str, np.ndarray]
    high: dict[str, np.ndarray]
    desirability: np.ndarray
    expected: np.ndarray
    best: float
    best_expected: float
    best_batch: int
    improvement: np.ndarray
    chance: np.ndarray
    met: dict[str, np.ndarray]
    met_all: np.ndarray
    short: np.ndarray


@dataclass(frozen=True)
class _View:
    """One response: at possible and tried points, after a further batch (draws, m, batches and it), as it may be."""

    name: str
    middle: np.ndarray
    low: np.ndarray
    high: np.ndarray
    single: np.ndarray
    short: np.ndarray
    expected: np.ndarray
    after: np.ndarray
    possible: np.ndarray


@dataclass(frozen=True)
class Surfaces:
    """The fitted surface of every response, and where its terms come from.

    Parameters
    ----------
    observed : dict          Response to what was observed.
    fits : dict of Kriging   One a response.
    tried : array, (n, k)    Coordinates of the batches.
    parts : int              Leading coordinates that are parts of a mixture: their sum is fixed.
    days : dict              Response to the day of each batch it was read of; None where days do not count.
    """

    observed: Mapping[str, Observed]
    fits: dict[str, Kriging]
    tried: np.ndarray
    parts: int
    days: dict[str, tuple[Hashable, ...] | None]

    def outlook(self, points: np.ndarray, *, seed: int = 0) -> Outlook:
        """What can be said of possible points.

        Parameters
        ----------
        points : array, (m, k)   Coordinates.
        seed : int               Of the draws that the improvement is averaged over.

        Notes
        -----
        The improvement is that of the best batch as it will be known: a batch at the point is drawn, its scatter
        included, what can then be expected of the batches made is worked out anew, and the gain of the best is
        averaged. So a batch made again counts for what it confirms, and scatter is never taken for gain (Frazier,
        Powell and Dayanik 2009, INFORMS Journal on Computing 21:599; here among the batches made and the new one).
        """
        asked = np.asarray(points, dtype=float)
        names, count = list(self.observed), len(asked)
        draws = student_draws(_DRAWS, len(names), [self.fits[name].df for name in names], seed=seed)
        importance = [self.observed[name].goal.importance for name in names]
        powers = np.array(importance) / sum(importance)
        views = [self._view(name, asked, draws[:, place], powers[place]) for place, name in enumerate(names)]
        whole = combined([view.single for view in views], importance)
        expected = expected_whole([view.expected for view in views])
        short = np.tensordot(powers, [view.short for view in views], axes=1)
        hope = expected[count:]
        # where nothing can be expected of any batch, the one that comes nearest
        best_batch = int(np.argmax(hope if hope.max() > 0 else -short[count:]))
        best, best_expected = (float(part[count + best_batch]) for part in (whole, expected))
        after = expected_whole([view.after for view in views])  # (draws, m, batches and the new one)
        possible = combined([view.possible for view in views], importance)
        return Outlook(
            {view.name: view.middle for view in views},
            {view.name: view.low for view in views},
            {view.name: view.high for view in views},
            whole[:count],
            expected[:count],
            best,
            best_expected,
            best_batch,
            # against the best batch under the same draws, so that what few draws miss is missed on both sides
            (after.max(axis=2) - after[:, :, best_batch]).mean(axis=0),
            (possible > best_expected).mean(axis=0),
            {view.name: (view.possible > 0).mean(axis=0) for view in views},
            (possible > 0).mean(axis=0),
            short[:count],
        )

    def _view(self, name: str, points: np.ndarray, draws: np.ndarray, power: float) -> _View:
        """One response at the possible points and the tried ones, now and after a batch at each possible one."""
        from scipy.special import stdtrit

        fit, seen = self.fits[name], self.observed[name]
        terms = fit.trend.shape[1]
        new, made, moved = fit.predict_beside(
            scaled(points, self.parts),
            trend_terms(points, self.parts, terms),
            scaled(self.tried, self.parts),
            trend_terms(self.tried, self.parts, terms),
        )
        back = np.exp if seen.log else np.asarray
        wide = float(stdtrit(fit.df, 0.975)) * np.hypot(new.standard_error, fit.batch_sd)
        variance = new.standard_error**2
        shift = np.hstack([moved, variance[:, None]]) / np.sqrt(variance + fit.batch_sd**2)[:, None]
        few = draws[:_FEW_DRAWS, None, None]
        now = np.hstack([np.broadcast_to(made.mean, moved.shape), new.mean[:, None]])
        open_now = np.hstack([np.broadcast_to(made.standard_error**2, moved.shape), variance[:, None]])
        open_then = np.sqrt(np.maximum(open_now - shift**2, 0.0))

        both = np.concatenate([new.mean, made.mean])

        def expected(mean: np.ndarray, spread: np.ndarray) -> np.ndarray:
            return expected_power(seen.goal, power, mean, spread, fit.df, log=seen.log)

        return _View(
            name,
            back(new.mean),
            back(new.mean - wide),
            back(new.mean + wide),
            seen.goal.of(back(both)),
            seen.goal.short_of(back(both)),
            expected(both, np.concatenate([new.standard_error, made.standard_error])),
            expected(now[None] + few * shift[None], open_then),
            seen.goal.of(back(new.mean[None] + draws[:, None] * new.standard_error[None])),
        )

    def with_believed(self, point: np.ndarray) -> Surfaces:
        """The same after a batch at a point that comes out as predicted, on a day of its own: the next goes elsewhere.

        Parameters
        ----------
        point : array, (k,)   Coordinates.
        """
        fits, days = {}, {}
        for name, fit in self.fits.items():
            seen, place = self.observed[name], scaled(point[None], self.parts)
            row = trend_terms(point[None], self.parts, fit.trend.shape[1])
            value = float(fit.predict(place, row).mean[0])
            days[name] = None if self.days[name] is None else (*self.days[name], object())
            fits[name] = fit_kriging(
                np.vstack([fit.points, place]),
                [*fit.values, value],
                np.vstack([fit.trend, row]),
                days=days[name],
                known_sd=seen.known_sd,
                known_df=seen.known_df,
            )
        return replace(self, fits=fits, days=days)


def fit_surfaces(
    tried: Sequence[Sequence[float]],
    observed: Mapping[str, Observed],
    *,
    parts: int = 0,
    days: Sequence[Hashable] | None = None,
    factors: Sequence[str] = (),
) -> Surfaces:
    """Fit every response.

    Parameters
    ----------
    tried : (n, k)     Coordinates of the batches: shares of a mixture first, other factors coded -1 to 1.
    observed : dict    Response to what was observed.
    parts : int        How many coordinates are parts of a mixture.
    days : sequence    The day of each batch.
    factors : sequence of str   Their names, for the words.

    Raises
    ------
    KitError   `next.few` where a response was read of too few batches, with how many are needed, or of batches that
               never varied a factor by itself.
    """
    points = np.atleast_2d(np.asarray(tried, dtype=float))
    fits, on = {}, {}
    names = list(factors) if factors else [f"factor {place + 1}" for place in range(points.shape[1])]
    for name, seen in observed.items():
        rows = [index for index, value in enumerate(seen.values) if value is not None]
        linear = points.shape[1] + (0 if parts else 1)
        if len(rows) < _least(linear):
            raise KitError(
                f"{name} was read of {plural(len(rows), 'batch', 'batches')}",
                where="next trial",
                allowed=f"{_least(linear)} batches or more, for {plural(points.shape[1], 'factor')}",
                mend="plan a first set of batches that covers the region",
                code="next.few",
            )
        lines = trend_terms(points[rows], parts, linear)
        together = told_together(lines, names if parts else ["the constant", *names])
        if together:
            raise KitError(
                f"{name}: {_together(together)} in the batches it was read of",
                where="next trial",
                allowed="batches that vary every factor by itself",
                mend="plan a first set of batches that covers the region",
                code="next.few",
            )
        terms = linear if len(rows) >= linear + _SPARE else 1
        values = [math.log(seen.values[row]) if seen.log else float(seen.values[row]) for row in rows]
        on[name] = None if days is None else tuple(days[row] for row in rows)
        fits[name] = fit_kriging(
            scaled(points[rows], parts),
            values,
            trend_terms(points[rows], parts, terms),
            days=on[name],
            known_sd=seen.known_sd,
            known_df=seen.known_df,
        )
    return Surfaces(dict(observed), fits, points, parts, on)


def _together(groups: Sequence[Sequence[str]]) -> str:
    told = []
    for group in groups:
        own = [name for name in group if name != "the constant"]
        told.append(f"{own[0]} is the same" if len(own) == 1 else f"{' and '.join(own)} cannot be told apart")
    return ", ".join(told)


def _least(linear: int) -> int:
    """Batches without which a suggestion would be a guess: as many as a straight line in every factor has terms."""
    return max(linear, 4)


def trend_terms(points: np.ndarray, parts: int, terms: int) -> np.ndarray:
    """Terms of the trend: a constant, or straight lines; the parts of a mixture hold the constant."""
    ones = np.ones((len(points), 1))
    if terms == 1:
        return ones
    return points if parts else np.hstack([ones, points])


def scaled(points: np.ndarray, parts: int) -> np.ndarray:
    """Coordinates over a range of about 1: coded factors run from -1 to 1."""
    out = np.array(points, dtype=float)
    out[:, parts:] = out[:, parts:] / 2
    return out
