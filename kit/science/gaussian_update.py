"""Unknowns learned from readings: prior knowledge and readings, both normal, brought together by least squares.

One forward model maps the unknowns to what would be read. Where it is a straight line the answer is exact; where it is
curved it is the most probable point with the scatter of the straight line through it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError

Forward = Callable[[np.ndarray], np.ndarray]

_STEP = 1e-4  # half-width of a central difference, in prior SDs: curvature and rounding both stay below 1e-6
_CONVERGED = 1e-4  # a step smaller than this share of the posterior scatter changes no printed digit
_MOST_CALLS = 200
_LEAST_DAMPING, _MOST_DAMPING = 1e-3, 1e12


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the unknowns are once the readings are known.

    Parameters
    ----------
    mean : array (k,)          Most probable unknowns. [unit of each unknown]
    covariance : array (k, k)  Their covariance. [products of those units]
    predicted : array (m,)     The readings as predicted from `mean`. [unit of the readings]
    residuals : array (m,)     Observed less predicted. [unit of the readings]
    prior_residuals : array (m,)   Observed less what the prior mean predicts. [unit of the readings]
    iterations : int           Calls of the forward model.
    converged : bool           Whether the last step was negligible.
    """

    mean: np.ndarray
    covariance: np.ndarray
    predicted: np.ndarray
    residuals: np.ndarray
    prior_residuals: np.ndarray
    iterations: int
    converged: bool

    @property
    def sd(self) -> np.ndarray:
        """Standard deviations of the unknowns, shape (k,). [unit of each unknown]"""
        return np.sqrt(np.diag(self.covariance))


def update(prior_mean, prior_cov, forward: Forward, observed, noise_sd) -> Posterior:
    """Bring prior knowledge and readings together.

    Parameters
    ----------
    prior_mean : array (k,)     Most probable unknowns before the readings. [unit of each unknown]
    prior_cov : array (k, k)    Their covariance, positive definite. [products of those units]
    forward : callable          From unknowns, shape (n, k), to what would be read, shape (n, m). [unit of the readings]
    observed : array (m,)       The readings. [unit of the readings]
    noise_sd : float or array   Standard deviation of a reading about the model, one or m; independent. [same unit]

    Returns
    -------
    Posterior   Mean, covariance, residuals; `converged` is False where no step lowered the misfit any more or the calls
                ran out before the steps were negligible.

    Raises
    ------
    KitError   `update.prior`, `update.readings`, `update.noise`, `update.forward`.

    Notes
    -----
    The minimum of (t - prior)' C^-1 (t - prior) + sum of (residual / noise)^2 by damped Gauss-Newton steps
    (Levenberg-Marquardt, damping by the gain ratio), in unknowns scaled by the Cholesky factor of C so that each has
    SD 1. Each step calls `forward` once, with all points of the central differences as rows. The covariance is the
    inverse of the Gauss-Newton Hessian at the minimum (Laplace's approximation). For a linear model mean and covariance
    are those of generalised least squares with the prior as further rows, in one step. It finds one minimum: with a
    curved model and a wide prior there may be others.
    """
    mean, root = _prior(prior_mean, prior_cov)
    read = _readings(observed)
    noise = _noise(noise_sd, read.size)
    search = _Search(mean, root, forward, read, noise)
    converged = search.run()
    covariance = root @ np.linalg.inv(search.hessian) @ root.T
    return Posterior(
        mean=_frozen(mean + root @ search.point),
        covariance=_frozen((covariance + covariance.T) / 2),
        predicted=_frozen(search.predicted),
        residuals=_frozen(read - search.predicted),
        prior_residuals=_frozen(search.prior_residuals),
        iterations=search.calls,
        converged=converged,
    )


class _Search:
    """The minimum of the misfit, in unknowns of prior mean 0 and prior covariance 1."""

    def __init__(self, mean, root, forward: Forward, read, noise) -> None:
        self._mean, self._root, self._forward, self._read, self._noise = mean, root, forward, read, noise
        self.calls = 0
        size = mean.size
        self._offsets = np.vstack([np.zeros((1, size)), _STEP * np.eye(size), -_STEP * np.eye(size)])
        first = self._look(np.zeros(size))
        if first is None:
            raise _refusal("forward", "the model gives no finite number at the prior mean", "a finite number a reading")
        self._stand(np.zeros(size), *first)
        self.prior_residuals = read - self.predicted

    def run(self) -> bool:
        """Step until the full step is negligible; False where it never was."""
        damping, growth = 0.0, 2.0
        while self.calls < _MOST_CALLS and damping < _MOST_DAMPING:
            full = np.linalg.solve(self.hessian, -self._gradient)
            if full @ self.hessian @ full < _CONVERGED**2:
                return True
            step = full
            if damping:
                step = np.linalg.solve(self.hessian + damping * np.eye(self.point.size), -self._gradient)
            gain = self._try(step, damping)
            if gain > 0:
                damping, growth = damping * max(1 / 3, 1 - (2 * gain - 1) ** 3), 2.0
                damping = damping if damping > _LEAST_DAMPING else 0.0
            else:
                damping, growth = max(damping, _LEAST_DAMPING) * growth, 2 * growth
        return False

    def _try(self, step, damping: float) -> float:
        """Take a step if it lowers the misfit; what it gained over what the straight line promised. [-]"""
        trial, before = self.point + step, self._now
        found = self._look(trial)
        if found is None:
            return 0.0
        promised = step @ (damping * step - self._gradient)
        gain = (before - self._misfit(trial, found[0])) / promised
        if gain > 0:
            self._stand(trial, *found)
        return float(gain)

    def _look(self, point) -> tuple[np.ndarray, np.ndarray] | None:
        """What would be read at a point (m,), and how it changes with the unknowns (m, k); None where not finite."""
        self.calls += 1
        unknowns = self._mean + (point + self._offsets) @ self._root.T
        rows = np.asarray(self._forward(unknowns), dtype=float)
        if rows.shape != (len(unknowns), self._read.size):
            raise _refusal(
                "forward",
                f"the model gives an array of shape {rows.shape} for {len(unknowns)} sets of unknowns",
                f"shape ({len(unknowns)}, {self._read.size}): a row a set, a column a reading",
            )
        if not np.isfinite(rows).all():
            return None
        size = point.size
        return rows[0], (rows[1 : size + 1] - rows[size + 1 :]).T / (2 * _STEP)

    def _stand(self, point, predicted, slopes) -> None:
        weighted = slopes / self._noise[:, None]
        self.point, self.predicted = point, predicted
        self.hessian = np.eye(point.size) + weighted.T @ weighted
        self._gradient = point - weighted.T @ ((self._read - predicted) / self._noise)
        self._now = self._misfit(point, predicted)

    def _misfit(self, point, predicted) -> float:
        return float(point @ point + np.sum(((self._read - predicted) / self._noise) ** 2))


def _prior(prior_mean, prior_cov) -> tuple[np.ndarray, np.ndarray]:
    """The prior mean (k,) and the Cholesky factor of the prior covariance (k, k)."""
    mean, covariance = np.array(prior_mean, dtype=float), np.array(prior_cov, dtype=float)
    allowed = "k means and a symmetric, positive definite matrix (k, k) of finite numbers"
    if mean.ndim != 1 or not mean.size or covariance.shape != (mean.size, mean.size):
        raise _refusal("prior", f"the prior has shapes {mean.shape} and {covariance.shape}", allowed)
    if not (np.isfinite(mean).all() and np.isfinite(covariance).all()):
        raise _refusal("prior", "the prior holds a number that is not finite", allowed)
    scale = np.sqrt(np.abs(np.diag(covariance)))
    if not np.all(np.abs(covariance - covariance.T) <= 1e-9 * np.outer(scale, scale)):
        raise _refusal("prior", "the prior covariance is not symmetric", allowed)
    try:
        return mean, np.linalg.cholesky((covariance + covariance.T) / 2)
    except np.linalg.LinAlgError:
        raise _refusal("prior", "the prior covariance is not positive definite", allowed) from None


def _readings(observed) -> np.ndarray:
    read = np.array(observed, dtype=float)
    if read.ndim != 1 or not read.size or not np.isfinite(read).all():
        raise _refusal("readings", "there is no reading, or one is not a finite number", "one finite number or more")
    return read


def _noise(noise_sd, count: int) -> np.ndarray:
    noise = np.array(noise_sd, dtype=float)
    if noise.shape not in ((), (count,)) or not np.isfinite(noise).all() or (noise <= 0).any():
        raise _refusal("noise", "the scatter of a reading is not a number above zero", f"one number, or {count}")
    return np.broadcast_to(noise, (count,))


def _frozen(array: np.ndarray) -> np.ndarray:
    kept = np.array(array)
    kept.setflags(write=False)
    return kept


def _refusal(part: str, what: str, allowed: str) -> KitError:
    return KitError(what, where="update()", allowed=allowed, mend=f"give {part} of that form", code=f"update.{part}")
