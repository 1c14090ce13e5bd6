"""Batches within days: restricted likelihood for one random factor, with standard errors that hold for few of either.

The variance of days over that of batches is one number, so the likelihood is maximised along one line: no start, no
iteration that fails, and zero is an answer like any other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kit.science.bracketed_root import bracketed_root

_GRID = np.concatenate([[0.0], np.geomspace(1e-5, 1e6, 111)])
_SAME = 1e-9  # eigenvalues closer than this to each other, or to zero, are equal
_ROUNDING = 10 * 2.0**-52


@dataclass(frozen=True, slots=True, eq=False)
class RandomFactorFit:
    """A linear model whose error is that of a group, such as a day, plus that of the single value.

    Parameters
    ----------
    coefficients : array (p,)        Of the fixed part. [unit]
    group_variance : float           Between groups; zero where the data ask for none. [unit squared]
    residual_variance : float        Within. [unit squared]
    covariance : array (p, p)        Of the coefficients, made larger for the estimated variances. [unit squared]
    plain_covariance : array (p, p)  As if the variances were known. [unit squared]
    log_likelihood : float           Restricted, with its constants.
    slopes : array (2, p, p)         How the plain covariance changes with either variance.
    information : array (2, 2)       Expected information on the two variances.
    """

    coefficients: np.ndarray
    group_variance: float
    residual_variance: float
    covariance: np.ndarray
    plain_covariance: np.ndarray
    log_likelihood: float
    slopes: np.ndarray
    information: np.ndarray

    def contrast(self, weights) -> tuple[float, float, float]:
        """A combination of the coefficients: estimate [unit], standard error [unit], degrees of freedom.

        Parameters
        ----------
        weights : array (p,)   [-]

        Notes
        -----
        M. G. Kenward and J. H. Roger, Biometrics 53 (1997) 983; for a single combination their degrees of freedom are
        those of Satterthwaite with the expected information.
        """
        weights = np.asarray(weights, dtype=float)
        plain = weights @ self.plain_covariance @ weights
        slope = np.array([weights @ part @ weights for part in self.slopes])
        df = 2 * plain * plain / (slope @ np.linalg.solve(self.information, slope))
        return (
            float(weights @ self.coefficients),
            math.sqrt(float(weights @ self.covariance @ weights)),
            float(df),
        )


@dataclass(frozen=True, slots=True, eq=False)
class RandomFactorLayout:
    """Which value has which fixed part and which group: all that a fit needs but the values, worked out once.

    Parameters
    ----------
    fixed : array (n, p)    Model matrix of the fixed part.
    groups : array (n, g)   Zeros and ones: the group of each value.
    basis : array (n, n-p)  Directions that the fixed part leaves free, turned so that groups act along them singly.
    spread : array (n-p,)   How much of the group variance each of them carries.
    """

    fixed: np.ndarray
    groups: np.ndarray
    basis: np.ndarray
    spread: np.ndarray

    def fit(self, values) -> RandomFactorFit | None:
        """The fit to some values.

        Parameters
        ----------
        values : array (n,)   [unit]

        Returns
        -------
        RandomFactorFit   None where nothing scatters within a group.
        """
        values = np.asarray(values, dtype=float)
        squares = (self.basis.T @ values) ** 2
        if squares.sum() <= (_ROUNDING * np.abs(values).max()) ** 2:
            return None
        ratio = _best_ratio(self.spread, squares)
        if ratio is None:
            return None
        residual = float((squares / (1 + ratio * self.spread)).mean())
        return self.at(values, ratio, residual)

    def at(self, values, ratio: float, residual: float) -> RandomFactorFit:
        """Coefficients and covariances at given variances.

        Parameters
        ----------
        values : array (n,)   [unit]
        ratio : float         Group variance over residual variance. [-]
        residual : float      Residual variance. [unit squared]

        Returns
        -------
        RandomFactorFit
        """
        alike = self.groups @ self.groups.T
        inverse = np.linalg.inv(residual * (np.eye(len(values)) + ratio * alike))
        weighted = inverse @ self.fixed
        plain = np.linalg.inv(self.fixed.T @ weighted)
        coefficients = plain @ (weighted.T @ values)
        scale = residual * (1 + ratio * self.spread)
        parts = np.stack([self.spread / scale, 1 / scale])
        information = 0.5 * parts @ parts.T
        sides = [alike @ weighted, weighted]  # either derivative of the covariance, times V^-1 X
        first = [-weighted.T @ side for side in sides]
        grown = _grown(plain, inverse, sides, first, np.linalg.inv(information))
        slopes = np.stack([-plain @ part @ plain for part in first])
        free = self.spread.size
        _, volume = np.linalg.slogdet(self.fixed.T @ self.fixed)
        likelihood = -0.5 * (free * math.log(2 * math.pi) + np.log(scale).sum() + free + volume)
        return RandomFactorFit(
            coefficients, ratio * residual, residual, grown, plain, float(likelihood), slopes, information
        )


def random_factor_layout(fixed, groups) -> RandomFactorLayout | None:
    """The layout of a linear model whose error is that of a group plus that of the single value.

    Parameters
    ----------
    fixed : array (n, p)    Model matrix of the fixed part, of full rank.
    groups : array (n, g)   Zeros and ones: the group of each value.

    Returns
    -------
    RandomFactorLayout   None where the two variances cannot be told apart: no group holds two values that the fixed
                         part does not use up, or no two groups can be compared.

    Notes
    -----
    H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545.
    """
    fixed, groups = np.asarray(fixed, dtype=float), np.asarray(groups, dtype=float)
    if fixed.shape[0] - fixed.shape[1] < 2:
        return None
    free = np.linalg.qr(fixed, mode="complete")[0][:, fixed.shape[1] :]
    seen = free.T @ groups
    spread, turned = np.linalg.eigh(seen @ seen.T)
    spread = np.where(spread < _SAME, 0.0, spread)
    return None if np.ptp(spread) < _SAME else RandomFactorLayout(fixed, groups, free @ turned, spread)


def _best_ratio(spread: np.ndarray, squares: np.ndarray) -> float | None:
    """Group variance over residual variance where the restricted likelihood is largest."""
    free = spread.size

    def cost(ratio):
        scale = 1 + np.multiply.outer(ratio, spread)
        return np.log(scale).sum(-1) + free * np.log((squares / scale).sum(-1))

    def slope(ratio: float) -> float:
        scale = 1 + ratio * spread
        return float((spread / scale).sum() - free * (squares * spread / scale**2).sum() / (squares / scale).sum())

    best = int(np.argmin(cost(_GRID)))
    if best == _GRID.size - 1:
        return None  # nothing scatters within a group
    low, high = _GRID[max(best - 1, 0)], _GRID[best + 1]
    if slope(low) >= 0:
        return float(low)
    return bracketed_root(slope, low, high, xtol=1e-14, rtol=1e-12)


def _grown(plain, inverse, sides, first, uncertain) -> np.ndarray:
    """The covariance of the coefficients made larger because the two variances are estimated."""
    added = np.zeros_like(plain)
    for i in range(2):
        for j in range(2):
            both = sides[i].T @ inverse @ sides[j]
            added += uncertain[i, j] * (both - first[i] @ plain @ first[j])
    return plain + 2 * plain @ added @ plain
