"""The first-order change over age that settles: start, end and rate, each batch with a start of its own."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from kit.science.drift import read_over_age, within_batches
from kit.science.student_t import t_quantile
from kit.show import Fielded

SAME_VALUE_PH = 0.02
"""pH readings that all lie within this of each other hold no change to fit: a last figure either way."""

SLOW, FAST = "slow", "fast"

# A curve slower than the first is a straight line in the data; one faster than the second is over by the second age.
_SLOWEST, _FASTEST = 0.05, math.log(100)
_GRID = 160


@dataclass(frozen=True, slots=True, repr=False)
class FirstOrder(Fielded):
    """start + change x (1 - exp(-rate x age)), each batch with a start of its own. Parts that cannot be told are None.

    Parameters
    ----------
    start : float, None             At age zero, mean of the batches. [unit]
    change : float, None            From age zero to the end, negative for a fall. [unit]
    rate_per_d : float, None        [1/d]
    start_error, change_error, rate_error : float, None   Standard errors. [as the values]
    rate_low, rate_high : float, None   Profile interval of the rate; None at an end that the data leave open. [1/d]
    residual_sd : float, None       Scatter about the curve. [unit]
    df : int                        Readings less unknowns.
    at_bound : str                  "slow" or "fast" when the rate lies at the end of what these ages can tell.
    reason : str                    Why a part is missing.
    """

    start: float | None = None
    change: float | None = None
    rate_per_d: float | None = None
    start_error: float | None = None
    change_error: float | None = None
    rate_error: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None
    residual_sd: float | None = None
    df: int = 0
    at_bound: str = ""
    reason: str = ""

    @property
    def settled(self) -> float | None:
        """Where it settles, mean of the batches. [unit]"""
        return None if self.start is None else self.start + self.change

    @property
    def half_life_d(self) -> float | None:
        """When half of the change is done. [d]"""
        return None if self.rate_per_d is None else math.log(2) / self.rate_per_d

    def at(self, age_d):
        """The curve at an age, mean of the batches.

        Parameters
        ----------
        age_d : float or array   [d]

        Returns
        -------
        float or array   [unit]
        """
        return self.start - self.change * np.expm1(-self.rate_per_d * age_d)


def fit_first_order(
    ages_d: Sequence[float],
    values: Sequence[float],
    batches: Sequence[Hashable] | None = None,
    *,
    start: float | None = None,
    same_value: float = SAME_VALUE_PH,
    confidence: float = 0.95,
) -> FirstOrder:
    """Fit a first-order change to readings over age.

    Parameters
    ----------
    ages_d : sequence of float    [d]
    values : sequence of float    Read at each. [unit]
    batches : sequence            The batch of each reading; all one batch when None.
    start : float                 The value at age zero where it is known; fitted, batch by batch, when None. [unit]
    same_value : float            Values within this of each other hold no change. [unit]
    confidence : float            Of the interval of the rate.

    Returns
    -------
    FirstOrder   With `reason` where something cannot be told: too few ages, no change, no spare reading.

    Raises
    ------
    KitError   `drift.readings`.

    Notes
    -----
    For each rate the start and the change follow by linear least squares, so the rate is searched alone, over all that
    these ages can tell: from a curve that is 5 % done over the whole span to one that is 99 % done by the second age.
    Standard errors are those of the linearised model; the interval of the rate is the profile one.
    """
    ages, read, groups = read_over_age(ages_d, values, batches)
    groups = groups if start is None else groups[:, :0]
    read = read - (start or 0.0)
    reason = _untold(ages, read, groups, start, same_value)
    if reason:
        return FirstOrder(reason=reason)
    problem = _Problem(ages, read, groups)
    log_rate, at_bound = problem.best(*rate_bounds(ages, start))
    return problem.told(log_rate, at_bound, start, confidence)


def standard_errors(jacobian: np.ndarray, residuals: np.ndarray) -> tuple[np.ndarray | None, float | None]:
    """Standard errors of fitted unknowns and the scatter about the fit, from the linearised model.

    Parameters
    ----------
    jacobian : array, (n, p)    Derivative of each fitted value by each unknown.
    residuals : array, (n,)     Read less fitted.

    Returns
    -------
    tuple   Errors, shape (p,), None where the readings do not tell the unknowns apart; residual standard deviation,
            None without a spare reading.
    """
    df = residuals.size - jacobian.shape[1]
    if df < 1:
        return None, None
    scatter = math.sqrt(float(residuals @ residuals) / df)
    scale = np.linalg.norm(jacobian, axis=0)
    if np.any(scale == 0):
        return None, scatter
    _, triangle = np.linalg.qr(jacobian / scale)
    if abs(np.diag(triangle)).min() < 1e-10:
        return None, scatter
    inverse = np.linalg.inv(triangle)
    return scatter * np.linalg.norm(inverse, axis=1) / scale, scatter


def rate_bounds(ages: np.ndarray, start: float | None = None) -> tuple[float, float]:
    """Natural logarithms of the slowest and the fastest rate that some ages can tell. [ln 1/d]

    Parameters
    ----------
    ages : array    Three different ones at least. [d]
    start : float   The value at age zero where it is known: zero is then an age too. [unit]
    """
    distinct = np.unique(ages if start is None else np.append(ages, 0.0))
    first_gap, span = float(distinct[1] - distinct[0]), float(distinct[-1] - distinct[0])
    return math.log(_SLOWEST / span), math.log(_FASTEST / first_gap)


class _Problem:
    """Readings over age, and for each rate the best start and change."""

    def __init__(self, ages: np.ndarray, read: np.ndarray, groups: np.ndarray) -> None:
        self.ages, self.read, self.groups = ages, read, groups

    def solve(self, log_rate: float) -> tuple[np.ndarray, np.ndarray]:
        """Starts and change, and what is left, at a rate."""
        done = -np.expm1(-math.exp(log_rate) * self.ages)
        design = np.column_stack([self.groups, done])
        found = np.linalg.lstsq(design, self.read, rcond=None)[0]
        return found, self.read - design @ found

    def squares(self, log_rate: float) -> float:
        """Sum of squares left at a rate."""
        left = self.solve(log_rate)[1]
        return float(left @ left)

    def best(self, low: float, high: float) -> tuple[float, str]:
        """The rate with the least squares between two bounds (all logarithms), and whether it is one of them."""
        self.grid = np.linspace(low, high, _GRID)
        self.on_grid = np.array([self.squares(point) for point in self.grid])
        index = int(self.on_grid.argmin())
        if index in (0, _GRID - 1):
            return float(self.grid[index]), SLOW if index == 0 else FAST
        bounds = float(self.grid[index - 1]), float(self.grid[index + 1])
        return self._polished(self._narrowed(*bounds), *bounds), ""

    def _narrowed(self, low: float, high: float) -> float:
        """The lowest sum of squares between two bounds, to a millionth of them: finer grids laid one in another."""
        for _ in range(6):
            points = np.linspace(low, high, 21)
            index = int(np.argmin([self.squares(point) for point in points]))
            low, high = float(points[max(index - 1, 0)]), float(points[min(index + 1, 20)])
        return (low + high) / 2

    def _polished(self, log_rate: float, low: float, high: float) -> float:
        """Gauss-Newton steps to the last digits: a search of values alone stops at half of them."""
        for _ in range(20):
            found, left = self.solve(log_rate)
            step = float(np.linalg.lstsq(self._jacobian(log_rate, found), left, rcond=None)[0][-1])
            step /= math.exp(log_rate)
            if not low < log_rate + step < high:
                return log_rate
            log_rate += step
            if abs(step) < 1e-13:
                return log_rate
        return log_rate

    def _jacobian(self, log_rate: float, found: np.ndarray) -> np.ndarray:
        rate = math.exp(log_rate)
        by_rate = found[-1] * self.ages * np.exp(-rate * self.ages)
        return np.column_stack([self.groups, -np.expm1(-rate * self.ages), by_rate])

    def told(self, log_rate: float, at_bound: str, start: float | None, confidence: float) -> FirstOrder:
        """The fit at a rate, with what can be said of its errors."""
        found, left = self.solve(log_rate)
        jacobian = self._jacobian(log_rate, found)
        df = left.size - jacobian.shape[1]
        reason = "as many unknowns as readings: the curve goes through all of them" if df < 1 else ""
        errors, scatter = standard_errors(jacobian, left)
        if at_bound == FAST and df > 0:  # the change is over and has an error; only its rate has none
            errors, _ = standard_errors(jacobian[:, :-1], left)
        elif at_bound:
            errors = None
        low, high = self._rate_interval(log_rate, df, confidence) if df > 0 else (None, None)
        count = self.groups.shape[1]
        return FirstOrder(
            start=float(found[:count].mean()) if start is None else start,
            change=float(found[-1]),
            rate_per_d=math.exp(log_rate),
            start_error=None if errors is None or not count else float(np.linalg.norm(errors[:count]) / count),
            change_error=None if errors is None else float(errors[count]),
            rate_error=None if errors is None or at_bound else float(errors[count + 1]),
            rate_low=low,
            rate_high=high,
            residual_sd=scatter,
            df=df,
            at_bound=at_bound,
            reason=reason,
        )

    def _rate_interval(self, log_rate: float, df: int, confidence: float) -> tuple[float | None, float | None]:
        """Rates whose sum of squares stays below that of the best by the t rule; None at an open end."""
        allowed = self.squares(log_rate) * (1 + t_quantile(df, confidence) ** 2 / df)
        return self._end(log_rate, allowed, -1), self._end(log_rate, allowed, 1)

    def _end(self, log_rate: float, allowed: float, way: int) -> float | None:
        beyond = [
            point
            for point, squares in zip(self.grid, self.on_grid, strict=True)
            if (point - log_rate) * way > 0 and squares > allowed
        ]
        if not beyond or self.squares(log_rate) >= allowed:
            return None
        outer = min(beyond, key=lambda point: abs(point - log_rate))
        return math.exp(self._crossing(log_rate, float(outer), allowed))

    def _crossing(self, inside: float, outside: float, allowed: float) -> float:
        """Where the sum of squares passes what is allowed, by halving (scipy.optimize takes long to load)."""
        for _ in range(60):
            middle = (inside + outside) / 2
            inside, outside = (middle, outside) if self.squares(middle) <= allowed else (inside, middle)
        return (inside + outside) / 2


def _untold(ages: np.ndarray, read: np.ndarray, groups: np.ndarray, start: float | None, same_value: float) -> str:
    distinct = np.unique(ages if start is None else np.append(ages, 0.0))
    if distinct.size < 3:
        held = {0: "no age", 1: "one age"}.get(int(distinct.size), "two ages")
        return f"{held}: a start, a rate and an end need readings at three"
    if np.linalg.matrix_rank(np.column_stack([groups, ages, ages**2])) < groups.shape[1] + 2:
        return "no batch was read at three ages, and the ages of different batches do not join"
    swing = within_batches(read, groups) if start is None else np.append(read, 0.0)
    if float(np.ptp(swing)) <= same_value:
        return f"all values lie within {same_value:g}: there is no change to fit"
    return ""
