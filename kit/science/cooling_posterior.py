"""What the readings of a cooling batch say of its law: a best fit for every hypothesis and how likely each is.

Bayes' rule by a normal approximation about the best fit of each hypothesis; `kit.science.cooling_draws` puts it right.
h hypotheses, n readings, p parameters.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.science.cooling_law import AMBIENT, EXCESS, LATENT, RATE, START, VAPOUR, WIDTH
from kit.science.cooling_prior import CLOCK_VARIANCE_MIN, THERMOMETER, Hypotheses
from kit.science.cooling_slopes import Traces

Trace = Callable[[np.ndarray, np.ndarray], Traces]
_ITERATIONS = 15
_ARRIVED = 0.02  # change of the objective below which a fit has arrived: a fiftieth of what matters to a weight
_STUCK = 1e3  # damping above which it stays where it is


@dataclass(frozen=True, slots=True)
class Noise:
    """How readings scatter about a curve: the thermometer's error, and a clock that runs unevenly.

    Parameters
    ----------
    turn : array, (n, n)       Orthogonal; turns residuals into independent ones.
    uneven : array, (n,)       Variance of each turned residual that the clock explains. [degC2]
    reach : array, (n,)        Covariance of each reading with the clock's error at the last one. [degC min]
    elapsed_min : float        From the first reading to the last. [min]
    thermometer_c : float      Standard deviation of a reading. [degC]
    """

    turn: np.ndarray
    uneven: np.ndarray
    reach: np.ndarray
    elapsed_min: float
    thermometer_c: float

    @property
    def variance(self) -> np.ndarray:
        """Variance of each turned residual. [degC2]"""
        return self.uneven + self.thermometer_c**2


def noise(times_min: np.ndarray, slopes_c_min: np.ndarray, thermometer_c: float) -> Noise:
    """The scatter of readings about a curve of these slopes.

    Parameters
    ----------
    times_min, slopes_c_min : array, (n,)   Minutes after the first reading, and dT/dt there. [min, degC/min]
    thermometer_c : float                   Standard deviation of a reading. [degC]

    Notes
    -----
    The clock runs ahead or behind by a Brownian motion B; a reading is then off by B dT/dt.
    """
    shared = CLOCK_VARIANCE_MIN * np.minimum.outer(times_min, times_min)
    values, vectors = np.linalg.eigh(shared * np.outer(slopes_c_min, slopes_c_min))
    reach = CLOCK_VARIANCE_MIN * times_min * slopes_c_min
    return Noise(vectors, np.maximum(values, 0), reach, float(times_min[-1]), thermometer_c)


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings ready for a fit: one log for all hypotheses (l = 1), or to each its own (l = h).

    Parameters
    ----------
    temps_c : array, (l, n)       [degC]
    turn : array, (l, n, n)       Turns residuals into independent ones of variance 1.
    log_variance : array, (l,)    ln of the variances, added up.
    """

    temps_c: np.ndarray
    turn: np.ndarray
    log_variance: np.ndarray

    def of(self, which: np.ndarray) -> Readings:
        """Those of some hypotheses.

        Parameters
        ----------
        which : array of int   Numbers of the hypotheses.
        """
        if len(self.turn) == 1:
            return self
        return Readings(self.temps_c[which], self.turn[which], self.log_variance[which])


def readings(temps_c: np.ndarray, scatter: Noise, room_for: int = 0) -> Readings:
    """Readings with their scatter.

    Parameters
    ----------
    temps_c : array, (n,)   [degC]
    scatter : Noise         Their scatter.
    room_for : int          Filled up to this many with readings that do not count.
    """
    missing = max(room_for - len(temps_c), 0)
    turn = np.pad(scatter.turn / np.sqrt(scatter.variance), (0, missing))
    return Readings(np.pad(temps_c, (0, missing))[None], turn[None], np.log(scatter.variance).sum(keepdims=True))


@dataclass(frozen=True, slots=True)
class Fits:
    """The best fit of every hypothesis.

    Parameters
    ----------
    hypotheses : Hypotheses        What was fitted.
    best : array, (h, p)           Parameters of the largest posterior density.
    covariance : array, (h, p, p)  Of the normal approximation about it.
    fitted_c : array, (h, n)       Temperatures of the best fit. [degC]
    log_evidence : array, (h,)     ln of the chance of the hypothesis times that of the readings under it, up to a
                                   constant that all share.
    """

    hypotheses: Hypotheses
    best: np.ndarray
    covariance: np.ndarray
    fitted_c: np.ndarray
    log_evidence: np.ndarray

    def part(self, which: np.ndarray) -> Fits:
        """Those of some hypotheses.

        Parameters
        ----------
        which : array of bool, (h,)   Which to keep.
        """
        numbers = [self.best[which], self.covariance[which], self.fitted_c[which], self.log_evidence[which]]
        return Fits(self.hypotheses.part(which), *numbers)


def fit(given: Hypotheses, read: Readings, trace: Trace, start: np.ndarray | None = None) -> Fits:
    """Fit every hypothesis by damped Gauss-Newton steps.

    Parameters
    ----------
    given : Hypotheses                 What is supposed.
    read : Readings                    What was read.
    trace : function                   Of parameters and the numbers of their hypotheses, to the curves at the times of
                                       the readings.
    start : array, (h, p), optional    Where to start; the means of the prior if not given.
    """
    descent = _Descent(given, read, trace, within(given.mean.copy() if start is None else start.copy()))
    for _ in range(_ITERATIONS):
        open_ones = np.flatnonzero(~descent.done)
        if not len(open_ones):
            break
        descent.step(open_ones)
    return descent.fits()


class _Descent:
    """Damped Gauss-Newton on every hypothesis at once, in units of the prior's deviations; those arrived rest."""

    def __init__(self, given: Hypotheses, read: Readings, trace: Trace, x: np.ndarray) -> None:
        self.given, self.read, self.trace, self.x = given, read, trace, x
        self.damping = np.full(len(x), 1e-3)
        self.done = np.zeros(len(x), dtype=bool)
        self.state = self.look(x, np.arange(len(x)))

    def look(self, x: np.ndarray, which: np.ndarray) -> list[np.ndarray]:
        """Objective, residuals and their derivatives in units of their deviations, and the fitted temperatures."""
        sd, read = self.given.sd[which], self.read.of(which)
        traced = self.trace(x, which)
        residual = ((read.temps_c - traced.temps_c)[:, None, :] @ read.turn)[:, 0]
        pulled = (x - self.given.mean[which]) / sd
        value = 0.5 * ((residual**2).sum(axis=1) + (pulled**2).sum(axis=1))
        return [value, residual, np.swapaxes(read.turn, 1, 2) @ traced.slopes * sd[:, None, :], traced.temps_c]

    def bend(self, jacobian: np.ndarray) -> np.ndarray:
        """Curvature of the objective."""
        return np.swapaxes(jacobian, 1, 2) @ jacobian + np.eye(jacobian.shape[2])

    def step(self, which: np.ndarray) -> None:
        value, residual, jacobian, _ = (part[which] for part in self.state)
        x, sd = self.x[which], self.given.sd[which]
        gradient = (residual[:, None, :] @ jacobian)[:, 0] + (self.given.mean[which] - x) / sd
        damped = self.bend(jacobian)
        size = np.arange(damped.shape[1])
        damped[:, size, size] *= 1 + self.damping[which, None]
        moved = within(x + np.linalg.solve(damped, gradient[..., None])[..., 0] * sd)
        new = self.look(moved, which)
        gain = value - new[0]
        better = gain >= 0
        taken = which[better]
        self.x[taken] = moved[better]
        for part, fresh in zip(self.state, new, strict=True):
            part[taken] = fresh[better]
        self.damping[which] = np.where(better, self.damping[which] / 10, self.damping[which] * 10)
        self.done[which] = (abs(gain) < _ARRIVED) | (self.damping[which] > _STUCK)

    def fits(self) -> Fits:
        value, _, jacobian, fitted = self.state
        bend = self.bend(jacobian)
        sd = self.given.sd
        covariance = np.linalg.inv(bend) * sd[:, :, None] * sd[:, None, :]
        evidence = self.given.log_chance - value - 0.5 * np.linalg.slogdet(bend)[1] - 0.5 * self.read.log_variance
        return Fits(self.given, self.x, covariance, fitted, evidence)


def within(x: np.ndarray) -> np.ndarray:
    """Parameters kept where the law means something; changed in place.

    Parameters
    ----------
    x : array, (c, p)   As `kit.science.cooling_law.NAMES`, then the changes.
    """
    x[:, RATE] = np.clip(x[:, RATE], -9, 2)
    x[:, EXCESS] = np.clip(x[:, EXCESS], -0.5, 1)
    x[:, LATENT] = np.clip(x[:, LATENT], -14, 3)
    x[:, WIDTH] = np.clip(x[:, WIDTH], -2, 2)
    x[:, VAPOUR] = np.clip(x[:, VAPOUR], -0.25, 0.95)  # below zero too, lest the edge pull a covered batch aside
    x[:, AMBIENT] = np.minimum(x[:, AMBIENT], x[:, START] - 4)
    return x


def likeliest_thermometer(residual_c: np.ndarray, scatter: Noise) -> float:
    """The thermometer's standard deviation that fits residuals and prior best. [degC]

    Parameters
    ----------
    residual_c : array, (n,)   Reading less fit. [degC]
    scatter : Noise            How the clock shares in them.
    """
    believed, worth = THERMOMETER
    grid = np.geomspace(0.05, 2.0, 60)
    turned = (residual_c @ scatter.turn)[:, None] ** 2
    variance = scatter.uneven[:, None] + grid**2
    score = -0.5 * (turned / variance + np.log(variance)).sum(axis=0)
    score += -worth * np.log(grid) - 0.5 * worth * believed**2 / grid**2
    return float(grid[np.argmax(score)])
