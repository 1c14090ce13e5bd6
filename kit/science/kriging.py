"""A response surface that also follows what no polynomial does: a trend and, around the batches, local departures.

Universal kriging: y = trend + local departure + effect of the day + scatter of the batch. What cannot be known from a
few batches (how far a departure reaches in each factor, how much is scatter, how much the day) is not chosen but
averaged over: a fixed, spread-out sample of it is weighted by how well it explains the batches. Arrays in, frozen
results out.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError
from kit.science.number_text import plural

_SAMPLE = 64
# Reach of a departure as a share of the range, in the middle and by a factor either way; scatter and day as shares of
# all variance. Wide on purpose (own choice).
_REACH, _REACH_SPREAD = 1.5, 0.8
_SCATTER_SHARE = (0.003, 0.5)
_DAY_SHARE = (0.005, 0.5)
_JITTER = 1e-9
_NEGLIGIBLE = 2e-3  # of the largest weight


@dataclass(frozen=True, slots=True)
class KrigingPrediction:
    """What is said of some points, on the scale of the values.

    Parameters
    ----------
    mean : array, (m,)             Of batches of an average day.
    standard_error : array, (m,)   Of that mean.
    batch_sd : float               Scatter of one new batch on a new day around it.
    df : float                     Of Student's t.
    """

    mean: np.ndarray
    standard_error: np.ndarray
    batch_sd: float
    df: float


@dataclass(frozen=True, slots=True)
class _Look:
    """Points as the batches see them, under each reach: likeness, weights, what the trend leaves open, means."""

    places: np.ndarray
    near: np.ndarray
    told: np.ndarray
    open: np.ndarray
    means: np.ndarray


@dataclass(frozen=True)
class Kriging:
    """A fitted surface.

    Parameters
    ----------
    points : array, (n, k)       Coordinates of the batches, each factor over a range of about 1.
    values : array, (n,)         Observed.
    weights : array, (s,)        Of what is kept of the sample, adding up to 1.
    reach : array, (s, k)        How far a departure reaches in each factor.
    variance : array, (s,)       Of one batch about the trend.
    scatter, day : array, (s,)   Shares of it.
    df : int                     Batches less terms of the trend.
    trend : array, (n, p)        Terms of the trend at the batches.
    """

    points: np.ndarray
    values: np.ndarray
    weights: np.ndarray
    reach: np.ndarray
    variance: np.ndarray
    scatter: np.ndarray
    day: np.ndarray
    df: int
    trend: np.ndarray
    _solved: tuple[np.ndarray, ...]

    @property
    def batch_sd(self) -> float:
        """Scatter of batches of one setting, the day included."""
        return math.sqrt(float(self.weights @ (self.variance * (self.scatter + self.day))))

    @property
    def left_out_r2(self) -> float:
        """Share of the scatter of the values that is explained when each batch is left out in turn; 1 at most. [-]"""
        inverse, _, spread, left = self._solved
        weighted = inverse @ self.trend
        own = np.diagonal(inverse, axis1=1, axis2=2) - ((weighted @ spread) * weighted).sum(axis=2)
        missed = self.weights @ (left / np.maximum(own, 1e-12))
        total = float(((self.values - self.values.mean()) ** 2).sum())
        return 1 - float((missed**2).sum()) / total if total > 0 else 0.0

    def predict(self, points: np.ndarray, trend: np.ndarray) -> KrigingPrediction:
        """What is said of some points.

        Parameters
        ----------
        points : array, (m, k)   Coordinates as of the fit.
        trend : array, (m, p)    Terms of the trend there.
        """
        return self._said(self._look(points, trend))

    def covariance(
        self, points: np.ndarray, trend: np.ndarray, others: np.ndarray, other_trend: np.ndarray
    ) -> np.ndarray:
        """Covariance of the mean at some points with that at others, (m, o).

        Parameters
        ----------
        points, others : array, (m, k) and (o, k)         Coordinates as of the fit.
        trend, other_trend : array, (m, p) and (o, p)     Terms of the trend there.
        """
        return self._shared(self._look(points, trend), self._look(others, other_trend))

    def predict_beside(
        self, points: np.ndarray, trend: np.ndarray, others: np.ndarray, other_trend: np.ndarray
    ) -> tuple[KrigingPrediction, KrigingPrediction, np.ndarray]:
        """What is said of some points and of others, and the covariance of the one with the other, at once.

        Parameters
        ----------
        points, others : array, (m, k) and (o, k)         Coordinates as of the fit.
        trend, other_trend : array, (m, p) and (o, p)     Terms of the trend there.
        """
        first, second = self._look(points, trend), self._look(others, other_trend)
        return self._said(first), self._said(second), self._shared(first, second)

    def _look(self, points: np.ndarray, trend: np.ndarray) -> _Look:
        inverse, coefficients, _, left = self._solved
        places = np.asarray(points, dtype=float)
        near = self._near(places)
        told = near @ inverse
        means = coefficients @ trend.T + (near @ left[:, :, None])[:, :, 0]
        return _Look(places, near, told, trend[None] - told @ self.trend, means)

    def _said(self, look: _Look) -> KrigingPrediction:
        # variance: departure less what the batches say of it, and what the trend leaves open
        spread = self._solved[2]
        rest = (1 - self.scatter - self.day)[:, None] - (look.told * look.near).sum(axis=2)
        rest = rest + ((look.open @ spread) * look.open).sum(axis=2)
        mean = self.weights @ look.means
        variance = self.weights @ (np.maximum(rest, 0.0) * self.variance[:, None] + (look.means - mean) ** 2)
        return KrigingPrediction(mean, np.sqrt(variance), self.batch_sd, float(self.df))

    def _shared(self, first: _Look, second: _Look) -> np.ndarray:
        spread, apart = self._solved[2], first.means - self.weights @ first.means
        own = np.array_equal(second.places, self.points)  # the batches themselves: worked out already
        found = first.near if own else self._share * _alike(first.places, second.places, self.reach)
        found = found - first.told @ second.near.transpose(0, 2, 1)
        found = found + (first.open @ spread) @ second.open.transpose(0, 2, 1)
        within = np.tensordot(self.weights * self.variance, found, axes=1)
        return within + (self.weights[:, None] * apart).T @ (second.means - self.weights @ second.means)

    @property
    def _share(self) -> np.ndarray:
        return (1 - self.scatter - self.day)[:, None, None]

    def _near(self, places: np.ndarray) -> np.ndarray:
        return self._share * _alike(places, self.points, self.reach)


def fit_kriging(
    points: Sequence[Sequence[float]],
    y: Sequence[float],
    trend: Sequence[Sequence[float]],
    *,
    days: Sequence[Hashable] | None = None,
    known_sd: float | None = None,
    known_df: float | None = None,
) -> Kriging:
    """Fit a surface to batches.

    Parameters
    ----------
    points : (n, k)                Coordinates, each factor over a range of about 1.
    y : sequence of float          On the scale where scatter is even: ln of a ratio property.
    trend : (n, p)                 Terms of the trend at the batches.
    days : sequence                A label a batch; a day has an effect of its own, drawn anew for each.
    known_sd, known_df : float     Scatter of batches known from elsewhere, that of days in it, on the scale of y, and
                                   its df.

    Raises
    ------
    KitError   `kriging.few` with two batches or fewer more than terms of the trend.

    Notes
    -----
    Departures by the Matern function with 5/2; weights by the restricted likelihood (Handcock and Stein 1993,
    Technometrics 35:403). Variance is integrated out, which leaves Student's t.
    """
    made, values, terms = (np.asarray(given, dtype=float) for given in (points, y, trend))
    df = len(values) - terms.shape[1]
    if df < 2:
        raise KitError(
            f"{plural(len(values), 'batch', 'batches')} for a trend of {plural(terms.shape[1], 'term')}",
            where="fit_kriging()",
            allowed=f"{terms.shape[1] + 2} batches or more",
            mend="make more batches, or take a constant trend",
            code="kriging.few",
        )
    same_day = _same(days, len(values))
    reach, scatter, day = _sample(made.shape[1], with_days=bool((same_day - np.eye(len(values))).any()))
    likeness = _alike(made, made, reach)
    covariance = (1 - scatter - day)[:, None, None] * likeness + day[:, None, None] * same_day[None]
    covariance = covariance + (scatter[:, None, None] + _JITTER) * np.eye(len(values))[None]
    lower = np.linalg.cholesky(covariance)
    inverse = np.linalg.inv(covariance)
    weighted = np.einsum("sij,jp->sip", inverse, terms)
    information = np.einsum("ip,siq->spq", terms, weighted)
    spread = np.linalg.inv(information)
    coefficients = np.einsum("spq,siq,i->sp", spread, weighted, values)
    residuals = values[None] - coefficients @ terms.T
    left = np.einsum("sij,sj->si", inverse, residuals)
    squares = np.maximum(np.einsum("si,si->s", residuals, left), 1e-300)
    variance = squares / df
    log_size = 2 * np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1) + np.linalg.slogdet(information)[1]
    log_weight = -0.5 * (df * np.log(squares) + log_size)
    if known_sd and known_df:
        ratio = variance * (scatter + day) / known_sd**2
        log_weight = log_weight - 0.25 * known_df * np.log(ratio) ** 2
    weights = np.exp(log_weight - log_weight.max())
    kept = weights > _NEGLIGIBLE
    return Kriging(
        made,
        values,
        weights[kept] / weights[kept].sum(),
        reach[kept],
        variance[kept],
        scatter[kept],
        day[kept],
        df,
        terms,
        (inverse[kept], coefficients[kept], spread[kept], left[kept]),
    )


def _same(days: Sequence[Hashable] | None, count: int) -> np.ndarray:
    if days is None:
        return np.eye(count)
    return np.array([[float(one == other) for other in days] for one in days])


def _sample(factors: int, *, with_days: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A fixed sample of reach, share of the scatter and share of the day."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    drawn = qmc.Sobol(factors + 2, scramble=True, rng=np.random.default_rng(7)).random(_SAMPLE)
    drawn = np.clip(drawn, 1e-3, 1 - 1e-3)
    reach = _REACH * np.exp(_REACH_SPREAD * ndtri(drawn[:, :factors]))
    scatter = _log_uniform(drawn[:, factors], *_SCATTER_SHARE)
    day = _log_uniform(drawn[:, factors + 1], *_DAY_SHARE) if with_days else np.zeros(_SAMPLE)
    most = np.maximum(scatter + day, 0.9) / 0.9  # something is left for the surface
    return reach, scatter / most, day / most


def _log_uniform(drawn: np.ndarray, low: float, high: float) -> np.ndarray:
    return low * (high / low) ** drawn


def _alike(first: np.ndarray, second: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """How alike two sets of points are under every reach, (s, m, n): 1 at the same point, 0 far away."""
    squares = (first[:, None, :] - second[None, :, :]) ** 2
    far = 5 * ((1 / reach**2) @ squares.reshape(-1, squares.shape[2]).T)  # five times the squared distance
    root = np.sqrt(far)
    return ((1 + root + far / 3) * np.exp(-root)).reshape(len(reach), len(first), len(second))
