"""Where did the conditions of a cooling batch change? One more at a time, for as long as the readings ask for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.science.cooling_posterior import Fits, Noise, fit, likeliest_thermometer, noise, readings
from kit.science.cooling_prior import THERMOMETER, Changes, Hypotheses, hypotheses
from kit.science.cooling_slopes import traces

MOST_CHANGES = 3
_TRIAL = 0.3  # ln of the factor to start from
_LIKELY = 0.5  # more likely than not: the change is reported
_FORLORN = 9.0  # a hypothesis that is exp(9) times less likely than the best is let go
_SCREENED = 4  # places looked at closely, besides the two newest intervals


@dataclass(frozen=True, slots=True)
class Found:
    """Every hypothesis worth keeping, fitted under one scatter.

    Parameters
    ----------
    scatter : Noise             Of the readings about the best fit.
    levels : tuple of Fits      With no, one, two, ... changes.
    changes : Changes           Those that are more likely than not.
    """

    scatter: Noise
    levels: tuple[Fits, ...]
    changes: Changes


@dataclass(frozen=True, slots=True)
class Log:
    """A cooling log with what was told about it.

    Parameters
    ----------
    times_min, temps_c : array, (n,)   Minutes after the first reading, and the readings. [min, degC]
    room : pair of float               Mean and standard deviation of the surroundings, or None. [degC]
    setting : pair of float            The same of the setting temperature, or None. [degC]
    suspects : frozenset of int        Numbers of the readings after which the pace was seen to change.
    """

    times_min: np.ndarray
    temps_c: np.ndarray
    room: tuple[float, float] | None = None
    setting: tuple[float, float] | None = None
    suspects: frozenset[int] = frozenset()

    @property
    def lowest_c(self) -> float:
        """A little below all readings. [degC]"""
        return float(self.temps_c.min()) - 1.0

    def fit(self, scatter: Noise, changes: tuple[Changes, ...], start: np.ndarray | None = None) -> Fits:
        """Fit every setting temperature with each of these sets of changes."""
        given = hypotheses(self.times_min, float(self.temps_c[0]), self.room, self.setting, changes, self.suspects)
        return self._fitted(scatter, given, start)

    def refit(self, scatter: Noise, level: Fits) -> Fits:
        """Fit the same hypotheses under another scatter, from where they are."""
        return self._fitted(scatter, level.hypotheses, level.best)

    def _fitted(self, scatter: Noise, given: Hypotheses, start: np.ndarray | None) -> Fits:
        trace = lambda x, _: traces(x, self.times_min, self.lowest_c)  # noqa: E731
        return fit(given, readings(self.temps_c, scatter), trace, start)


def search(log: Log) -> Found:
    """Find the changes of conditions that the readings ask for.

    Parameters
    ----------
    log : Log   At least two readings.
    """
    scatter = _first_scatter(log)
    base = log.fit(scatter, ((),))
    scatter = _scatter_of(log, base, scatter)
    base = log.refit(scatter, base)
    levels, accepted = [base], ()
    while len(accepted) < MOST_CHANGES:
        places = _places(log, base, scatter, accepted)
        if not places:
            break
        tried = _with_one_more(log, base, scatter, accepted, places)
        better = tried if tried.log_evidence.max() > base.log_evidence.max() else base
        scatter = _scatter_of(log, better, scatter)
        base = log.refit(scatter, base)
        more = log.refit(scatter, _likely_ones(tried))
        levels.append(more)
        if _share(more, base) <= _LIKELY:
            break
        accepted = more.hypotheses.changes[int(np.argmax(more.log_evidence))]
        base = log.refit(scatter, tried.part(np.array([where == accepted for where in tried.hypotheses.changes])))
    return Found(scatter, (*(log.refit(scatter, level) for level in levels[:-1]), levels[-1]), accepted)


def _likely_ones(level: Fits) -> Fits:
    return level.part(level.log_evidence > level.log_evidence.max() - _FORLORN)


def _share(one: Fits, other: Fits) -> float:
    top = max(one.log_evidence.max(), other.log_evidence.max())
    first, second = (np.exp(level.log_evidence - top).sum() for level in (one, other))
    return float(first / (first + second))


def _first_scatter(log: Log) -> Noise:
    """Before any fit: slopes of a straight line through ln(T - room)."""
    room = 21.0 if log.room is None else log.room[0]
    above = np.maximum(log.temps_c - room, 2.0)
    rate = -np.polyfit(log.times_min, np.log(above), 1)[0]
    return noise(log.times_min, -max(rate, 1e-4) * above, THERMOMETER[0])


def _scatter_of(log: Log, level: Fits, before: Noise) -> Noise:
    fitted = level.fitted_c[int(np.argmax(level.log_evidence))]
    slopes = np.gradient(fitted, log.times_min)
    scatter = noise(log.times_min, slopes, before.thermometer_c)
    return noise(log.times_min, slopes, likeliest_thermometer(log.temps_c - fitted, scatter))


def _places(log: Log, level: Fits, scatter: Noise, accepted: Changes) -> list[int]:
    """Intervals in which one more change would help most, by a linear estimate at the two best fits."""
    first = accepted[-1][0] + 2 if accepted else 1
    candidates = np.arange(first, len(log.times_min) - 1)
    if not len(candidates):
        return []
    gain = np.zeros(len(candidates))
    for index in np.argsort(-level.log_evidence)[:3]:
        gain = np.maximum(gain, _gains(log, level, scatter, index, candidates))
    best = candidates[np.argsort(-gain)[:_SCREENED]]
    return sorted({*best.tolist(), *candidates[-2:].tolist(), *(log.suspects & set(candidates.tolist()))})


def _gains(log, level, scatter, index, candidates) -> np.ndarray:
    """Fall of the objective by a small change after each candidate, the other parameters free to follow."""
    x, sd = level.best[index], level.hypotheses.sd[index]
    turn = scatter.turn / np.sqrt(scatter.variance)
    middles = (log.times_min[candidates] + log.times_min[candidates + 1]) / 2
    traced = traces(np.array([[*x, 0.0, middle] for middle in middles]), log.times_min, log.lowest_c)
    columns = (traced.slopes[0, :, : len(x)] * sd).T @ turn
    steps = traced.slopes[:, :, len(x)] @ turn
    residual = (log.temps_c - traced.temps_c[0]) @ turn
    inner = np.linalg.inv(columns @ columns.T + np.eye(len(x)))
    free = steps - steps @ columns.T @ inner @ columns
    pull = (level.hypotheses.mean[index] - x) / sd
    score = free @ residual - steps @ columns.T @ inner @ pull
    return score**2 / np.maximum((free * steps).sum(axis=1) + 2.0, 1e-9)


def _with_one_more(log, level, scatter, accepted, places) -> Fits:
    """Fit one more change in each place, from where the fits without it ended."""
    changes, starts = [], []
    for place in places:
        middle = (log.times_min[place] + log.times_min[place + 1]) / 2
        for way in (-1, 1):
            changes.append((*accepted, (place, way)))
            starts.append(np.hstack([level.best, np.tile([_TRIAL * way, middle], (len(level.best), 1))]))
    return log.fit(scatter, tuple(changes), np.concatenate(starts))
