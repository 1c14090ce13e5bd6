"""Weighted least squares of one model on many curves at once: Levenberg-Marquardt with bounds, and its standard errors.

Arrays in, frozen results out. c curves, n readings in each (those that a curve lacks have weight zero), p parameters.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError

Function = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]

_EPS = 2.0**-52
# A gradient whose cosine with the residuals is below the first has arrived; below the second it counts as arrived.
_ARRIVED, _NEAR = 1e-10, 1e-6
_EXACT = 8 * _EPS  # residuals below this share of the readings are rounding
_LEAST_DAMPING, _MOST_DAMPING = 1e-18, 1e14
_POLISHES = 4
# Columns of a scaled Jacobian nearer to each other than this leave their parameters untold.
_SINGULAR = 1e-9


@dataclass(frozen=True, slots=True)
class Solution:
    """The best parameters of every curve, with what is needed to judge them.

    Parameters
    ----------
    parameters : array, (c, p)      As the function takes them.
    squares : array, (c,)           Weighted sum of squared residuals.
    residuals : array, (c, n)       Weight times (observed less fitted).
    jacobian : array, (c, n, p)     Weight times the derivative of the fitted value by each parameter.
    at_lower, at_upper : array, (c, p)   Whether a parameter lies on its bound and the data would have it beyond.
    converged : array, (c,)         Whether no step brings the sum of squares further down.
    """

    parameters: np.ndarray
    squares: np.ndarray
    residuals: np.ndarray
    jacobian: np.ndarray
    at_lower: np.ndarray
    at_upper: np.ndarray
    converged: np.ndarray


def complex_step(values: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Function:
    """Add the Jacobian to a model that has only values, by the complex step: exact to rounding for analytic functions.

    Parameters
    ----------
    values : callable   (x, parameters) -> values, with shapes (c, n), (c, p) -> (c, n); it must take complex numbers.
    """

    def function(x: np.ndarray, parameters: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        columns = []
        for index in range(parameters.shape[1]):
            moved = parameters.astype(complex)
            moved[:, index] += 1e-40j
            columns.append(values(x, moved).imag / 1e-40)
        return values(x, parameters), np.stack(columns, axis=-1)

    return function


def least_squares(
    function: Function,
    x: np.ndarray,
    observed: np.ndarray,
    weight: np.ndarray,
    start: np.ndarray,
    lower: np.ndarray | float = -np.inf,
    upper: np.ndarray | float = np.inf,
    *,
    damping: float = 100.0,
    iterations: int = 500,
) -> Solution:
    """Fit a model to every curve.

    Parameters
    ----------
    function : callable               (x, parameters) -> (values, jacobian), shapes (c, n), (c, p) -> (c, n), (c, n, p);
                                      it is called with some of the curves, too.
    x, observed, weight : array, (c, n)   A weight is one over the standard deviation of a reading; zero leaves it out.
    start : array, (c, p)             Within the bounds.
    lower, upper : array, (p,) or (c, p)   Bounds; equal ones hold a parameter.
    damping : float                   Of the first step, in squares of the Jacobian's columns: large for a start far
                                      off, a thousandth for one near the minimum.
    iterations : int                  After which a curve counts as not converged.

    Raises
    ------
    KitError   `fit.shape`.

    Notes
    -----
    Levenberg (1944), Q. Appl. Math. 2:164; Marquardt (1963), J. SIAM 11:431; scaling by the largest column norms so far
    as More (1978), Lecture Notes in Mathematics 630:105; damping after Nielsen (1999), report IMM-REP-1999-05. Each
    step is solved by QR, never by normal equations. A step is cut off at the bounds, and a parameter that would be
    pushed beyond its bound rests there. The last steps are undamped.
    """
    if not (x.shape == observed.shape == weight.shape and start.shape[:1] == x.shape[:1] and x.ndim == start.ndim == 2):
        raise KitError(
            f"arrays of shapes {x.shape}, {observed.shape}, {weight.shape} and {start.shape} do not fit together",
            where="least squares",
            allowed="x, observed and weight of shape (curves, readings), start of shape (curves, parameters)",
            mend="give every curve one row; fill a short one up with weight zero",
            code="fit.shape",
        )
    with np.errstate(all="ignore"):  # a trial far off may overflow: its sum of squares is infinite and it is not taken
        descent = _Descent(function, x, observed, weight, start, lower, upper, damping)
        for _ in range(iterations):
            if descent.done.all():
                break
            descent.step(np.flatnonzero(~descent.done))
        for _ in range(_POLISHES):
            descent.polish()
        return descent.solution()


def standard_errors(
    solution: Solution, readings: np.ndarray, told: np.ndarray, scatter: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of the parameters from the weighted Jacobian, and their standard errors.

    Parameters
    ----------
    solution : Solution
    readings : array, (c,)          Readings with a weight in each curve.
    told : array of bool, (c, p)    Parameters that were free and lie on no bound; the others are taken as known.
    scatter : array, (c,)           Standard deviation of a weighted residual; from the residuals themselves when None.

    Returns
    -------
    tuple   Covariance, (c, p, p), and standard errors, (c, p); not a number where a parameter is not told, where there
            is no spare reading, or where the readings do not tell the parameters apart.
    """
    df = readings - told.sum(axis=1)
    with np.errstate(all="ignore"):
        if scatter is None:
            scatter = np.sqrt(solution.squares / df)
        scatter = np.where(df > 0, scatter, np.nan)
        size = np.linalg.norm(solution.jacobian, axis=1)
        usable = told & np.isfinite(size) & (size > 0)
        scaled = np.where(usable[:, None, :], solution.jacobian / np.where(usable, size, 1.0)[:, None, :], 0.0)
        count = told.shape[1]
        rest = np.eye(count) * np.where(usable, 0.0, 1.0)[:, None, :]
        _, singular, right = np.linalg.svd(np.concatenate([scaled, rest], axis=1), full_matrices=False)
        distinct = singular[:, -1] > _SINGULAR * singular[:, 0]
        spread = right.swapaxes(1, 2) / np.where(distinct[:, None], singular, np.nan)[:, None, :]
        spread = spread / np.where(usable, size, np.nan)[:, :, None] * scatter[:, None, None]
        # What the readings leave open is open for all parameters that hang together with it.
        spread = np.where((usable | ~told).all(axis=1)[:, None, None], spread, np.nan)
        covariance = np.einsum("cik,cjk->cij", spread, spread)
        return covariance, np.sqrt(np.einsum("cii->ci", covariance))


class _Descent:
    """The state of every curve on its way down."""

    def __init__(self, function, x, observed, weight, start, lower, upper, damping) -> None:
        self.function, self.x, self.observed, self.weight = function, x, observed, weight
        self.lower = np.broadcast_to(np.asarray(lower, dtype=float), start.shape)
        self.upper = np.broadcast_to(np.asarray(upper, dtype=float), start.shape)
        self.parameters = np.clip(np.array(start, dtype=float), self.lower, self.upper)
        self.residuals, self.jacobian = self._evaluate(slice(None), self.parameters)
        self.squares = _finite_squares(self.residuals)
        self.scale = np.zeros_like(self.parameters)
        self.damping = np.full(len(start), float(damping))
        self.growth = np.full(len(start), 2.0)
        self.least = _EXACT**2 * ((weight * observed) ** 2).sum(axis=1)
        self.done = ~np.isfinite(self.squares) | ~np.isfinite(self.jacobian).all(axis=(1, 2))
        self.lost = self.done.copy()

    def _evaluate(self, rows, parameters: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Weighted residuals and Jacobian; what has no weight counts for nothing, whatever the function gives there."""
        values, jacobian = self.function(self.x[rows], parameters)
        weight = self.weight[rows]
        counts = weight > 0
        residuals = np.where(counts, weight * (self.observed[rows] - values), 0.0)
        return residuals, np.where(counts[..., None], weight[..., None] * jacobian, 0.0)

    def step(self, rows: np.ndarray) -> None:
        """One damped step of these curves."""
        residuals, jacobian, parameters = self.residuals[rows], self.jacobian[rows], self.parameters[rows]
        gradient = np.einsum("cnp,cn->cp", jacobian, residuals)
        free = self._free(rows, parameters, gradient)
        size = np.linalg.norm(jacobian, axis=1)
        self.scale[rows] = scale = np.maximum(self.scale[rows], size)
        scale = np.where(scale > 0, scale, 1.0)
        arrived = _cosine(gradient, size, self.squares[rows], free) <= _ARRIVED
        arrived |= self.squares[rows] <= self.least[rows]
        wanted = _solve(jacobian * free[:, None, :], residuals, scale * np.sqrt(self.damping[rows])[:, None])
        trial = np.clip(parameters + wanted, self.lower[rows], self.upper[rows])
        moved = trial - parameters
        small = (np.abs(moved) <= 2 * _EPS * np.abs(parameters)).all(axis=1)
        new_residuals, new_jacobian = self._evaluate(rows, trial)
        new_squares = _finite_squares(new_residuals, new_jacobian)
        along = np.einsum("cnp,cp->cn", jacobian, moved)
        predicted = 2 * (gradient * moved).sum(axis=1) - (along**2).sum(axis=1)
        better = new_squares < self.squares[rows]
        ratio = np.where(predicted > 0, (self.squares[rows] - new_squares) / predicted, 0.0)
        self._take(rows[better], trial[better], new_residuals[better], new_jacobian[better], new_squares[better])
        self._damp(rows, better, ratio)
        self.done[rows] = arrived | small | (self.damping[rows] > _MOST_DAMPING)

    def _free(self, rows, parameters: np.ndarray, gradient: np.ndarray) -> np.ndarray:
        """Parameters that may move: those on a bound only inwards."""
        low = (parameters <= self.lower[rows]) & (gradient <= 0)
        high = (parameters >= self.upper[rows]) & (gradient >= 0)
        return ~(low | high)

    def _take(self, rows, parameters, residuals, jacobian, squares) -> None:
        self.parameters[rows], self.residuals[rows], self.jacobian[rows] = parameters, residuals, jacobian
        self.squares[rows] = squares

    def _damp(self, rows: np.ndarray, better: np.ndarray, ratio: np.ndarray) -> None:
        damping, growth = self.damping[rows], self.growth[rows]
        eased = damping * np.clip(1 - (2 * ratio - 1) ** 3, 1 / 10, 2)
        self.damping[rows] = np.maximum(np.where(better, eased, damping * growth), _LEAST_DAMPING)
        self.growth[rows] = np.where(better, 2.0, 2 * growth)

    def polish(self) -> None:
        """An undamped step of every curve: near the end a sum of squares is too flat to show which step is better."""
        gradient = np.einsum("cnp,cn->cp", self.jacobian, self.residuals)
        free = self._free(slice(None), self.parameters, gradient)
        size = np.linalg.norm(self.jacobian, axis=1)
        near = ~self.lost & (_cosine(gradient, size, self.squares, free) <= _NEAR)
        rows = np.flatnonzero(near)
        if not rows.size:
            return
        floor = np.where(size[rows] > 0, size[rows], 1.0) * 1e-14
        wanted = _solve(self.jacobian[rows] * free[rows][:, None, :], self.residuals[rows], floor)
        trial = np.clip(self.parameters[rows] + wanted, self.lower[rows], self.upper[rows])
        residuals, jacobian = self._evaluate(rows, trial)
        squares = _finite_squares(residuals, jacobian)
        kept = squares <= self.squares[rows] * (1 + 1e-11)
        self._take(rows[kept], trial[kept], residuals[kept], jacobian[kept], squares[kept])

    def solution(self) -> Solution:
        """What was reached."""
        gradient = np.einsum("cnp,cn->cp", self.jacobian, self.residuals)
        free = self._free(slice(None), self.parameters, gradient)
        size = np.linalg.norm(self.jacobian, axis=1)
        converged = (_cosine(gradient, size, self.squares, free) <= _NEAR) | (self.squares <= 100 * self.least)
        return Solution(
            parameters=self.parameters,
            squares=self.squares,
            residuals=self.residuals,
            jacobian=self.jacobian,
            at_lower=self.parameters <= self.lower,
            at_upper=self.parameters >= self.upper,
            converged=converged & ~self.lost,
        )


def _solve(jacobian: np.ndarray, residuals: np.ndarray, diagonal: np.ndarray) -> np.ndarray:
    """Least squares of jacobian @ step = residuals with diagonal * step = 0 below it, curve by curve, by QR."""
    count = diagonal.shape[1]
    stacked = np.concatenate([jacobian, np.eye(count) * diagonal[:, None, :]], axis=1)
    scale = np.linalg.norm(stacked, axis=1)  # a triangle with even columns keeps its digits
    q, triangle = np.linalg.qr(stacked / scale[:, None, :])
    right = np.einsum("cnp,cn->cp", q[:, : residuals.shape[1]], residuals)
    return np.linalg.solve(triangle, right[..., None])[..., 0] / scale


def _cosine(gradient: np.ndarray, size: np.ndarray, squares: np.ndarray, free: np.ndarray) -> np.ndarray:
    """The largest cosine between the residuals and a column of the Jacobian that may move: zero at the minimum."""
    whole = size * np.sqrt(squares)[:, None]
    cosine = np.where(free & (whole > 0), np.abs(gradient) / np.where(whole > 0, whole, 1.0), 0.0)
    return cosine.max(axis=1, initial=0.0)


def _finite_squares(residuals: np.ndarray, jacobian: np.ndarray | None = None) -> np.ndarray:
    squares = np.einsum("cn,cn->c", residuals, residuals)
    finite = np.isfinite(squares)
    if jacobian is not None:
        finite &= np.isfinite(jacobian).all(axis=(1, 2))
    return np.where(finite, squares, np.inf)
