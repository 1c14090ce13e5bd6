"""Laws of a cooling batch drawn from what its readings allow: importance sampling about the best fits.

h hypotheses, n readings, p parameters, d draws.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kit.science.cooling_law import Curves, curves
from kit.science.cooling_posterior import Fits, Noise, within
from kit.science.cooling_prior import CLOCK_VARIANCE_MIN, THERMOMETER

NEGLIGIBLE = 1e-3
"""A hypothesis with less than this share is not drawn from. [-]"""
_FREEDOM = 5.0  # of the Student proposal
_SPREAD = 1.2  # how much wider than the normal approximation the proposal is
_FEWEST_DRAWS = 40  # from one that is
_CELLS = 48  # of the table of every draw


@dataclass(frozen=True, slots=True)
class Proposals:
    """Laws drawn near the best fits, not yet weighed by the readings.

    Parameters
    ----------
    parameters : array, (d, p)   As `kit.science.cooling_law.NAMES`, then the changes.
    log_ratio : array, (d,)      ln of prior over proposal.
    sets : array, (d,)           Whether the law has a shoulder.
    """

    parameters: np.ndarray
    log_ratio: np.ndarray
    sets: np.ndarray

    def padded(self, width: int) -> Proposals:
        """With as many parameters as the widest: what is missing is a change by nothing.

        Parameters
        ----------
        width : int   How many parameters.
        """
        missing = width - self.parameters.shape[1]
        return Proposals(np.pad(self.parameters, ((0, 0), (0, missing))), self.log_ratio, self.sets)


def propose(fits: Fits, share: np.ndarray, count: int, random: np.random.Generator) -> Proposals:
    """Draw laws from every hypothesis that matters, by a Student distribution about its best fit.

    Parameters
    ----------
    fits : Fits             The best fits.
    share : array, (h,)     Share of the draws for each hypothesis.
    count : int             How many draws, about.
    random : Generator      Where they come from.
    """
    kept = np.flatnonzero(share > NEGLIGIBLE)
    numbers = np.maximum(np.round(count * share[kept]).astype(int), _FEWEST_DRAWS)
    which, size = np.repeat(np.arange(len(kept)), numbers), fits.best.shape[1]
    given, of = fits.hypotheses, kept[which]
    lower = np.linalg.cholesky(fits.covariance[kept] * _SPREAD**2)
    chi = random.chisquare(_FREEDOM, len(of)) / _FREEDOM
    student = random.standard_normal((len(of), size)) / np.sqrt(chi)[:, None]
    x = fits.best[of] + (lower[which] @ student[:, :, None])[:, :, 0]
    log_proposal = -0.5 * (_FREEDOM + size) * np.log1p((student**2).sum(axis=1) / _FREEDOM) + _student_constant(size)
    log_proposal -= np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1)[which]
    log_prior = -0.5 * (((x - given.mean[of]) / given.sd[of]) ** 2).sum(axis=1) - 0.5 * size * np.log(2 * np.pi)
    log_prior += given.log_chance[of] - np.log(given.sd[of]).sum(axis=1)
    inside = within(x.copy())
    log_ratio = np.where((inside != x).any(axis=1), -np.inf, log_prior - log_proposal - np.log(numbers)[which])
    return Proposals(inside, log_ratio, given.sets[of])


@dataclass(frozen=True, slots=True)
class Draws:
    """Laws that the readings allow, each with its weight.

    Parameters
    ----------
    table : Curves                   Their curves.
    weight : array, (d,)             Adding up to one.
    clock_mean_min : array, (d,)     How far the clock is ahead at the last reading, given law and readings. [min]
    clock_sd_min : array, (d,)       And its standard deviation. [min]
    sets : array, (d,)               Whether the law has a shoulder.
    """

    table: Curves
    weight: np.ndarray
    clock_mean_min: np.ndarray
    clock_sd_min: np.ndarray
    sets: np.ndarray

    @property
    def parameters(self) -> np.ndarray:
        """As `kit.science.cooling_law.NAMES`, then the changes; array, (d, p)."""
        return self.table.parameters


def weigh(
    proposals: tuple[Proposals, ...],
    times_min: np.ndarray,
    temps_c: np.ndarray,
    scatter: Noise,
    lowest_c: float,
    random: np.random.Generator,
) -> Draws:
    """Weigh proposals by the readings.

    Parameters
    ----------
    proposals : tuple of Proposals     Of every number of changes.
    times_min, temps_c : array, (n,)   Minutes after the first reading, and the readings. [min, degC]
    scatter : Noise                    Their scatter; the thermometer's part of it is drawn as well.
    lowest_c : float                   Down to where the curves are wanted. [degC]
    random : Generator                 Where the thermometer's part comes from.
    """
    width = max(part.parameters.shape[1] for part in proposals)
    every = [part.padded(width) for part in proposals]
    table = curves(np.concatenate([part.parameters for part in every]), lowest_c, _CELLS)
    turned = (temps_c - table.temps_c(times_min)) @ scatter.turn
    sd, log_thermometer = _draw_thermometer(turned, scatter, random)
    variance = scatter.uneven + sd[:, None] ** 2
    log_weight = np.concatenate([part.log_ratio for part in every]) + log_thermometer
    log_weight -= 0.5 * (turned**2 / variance + np.log(variance)).sum(axis=1)
    weight = np.exp(log_weight - log_weight.max())
    reach = scatter.reach @ scatter.turn
    clock = (turned * reach / variance).sum(axis=1)
    spread = CLOCK_VARIANCE_MIN * scatter.elapsed_min - (reach**2 / variance).sum(axis=1)
    sets = np.concatenate([part.sets for part in every])
    return Draws(table, weight / weight.sum(), clock, np.sqrt(np.maximum(spread, 0)), sets)


def _student_constant(size: int) -> float:
    half = _FREEDOM / 2
    return math.lgamma(half + size / 2) - math.lgamma(half) - 0.5 * size * math.log(_FREEDOM * math.pi)


def _draw_thermometer(turned, scatter, random) -> tuple[np.ndarray, np.ndarray]:
    """The thermometer's deviation for each draw, and ln of prior over proposal."""
    believed, worth = THERMOMETER
    spread = 0.5 / np.sqrt(1 + (worth + turned.shape[1]) / 8)
    log_sd = np.log(scatter.thermometer_c) + spread * random.standard_normal(len(turned))
    log_prior = -worth * log_sd - 0.5 * worth * believed**2 * np.exp(-2 * log_sd)
    log_proposal = -0.5 * ((log_sd - np.log(scatter.thermometer_c)) / spread) ** 2 - np.log(spread)
    return np.exp(log_sd), log_prior - log_proposal
