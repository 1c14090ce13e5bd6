"""Drift: the straight trend of a reading over age, each batch on a level of its own."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError
from kit.science.student_t import t_quantile
from kit.show import Fielded


@dataclass(frozen=True, slots=True, repr=False)
class Trend(Fielded):
    """A straight line of a value on age, each batch on a level of its own. Parts that cannot be told are None.

    Parameters
    ----------
    slope_per_d : float, None       [unit per d]
    low, high : float, None         Two-sided interval of the slope. [unit per d]
    standard_error : float, None    Of the slope. [unit per d]
    df : int                        Readings less batches less one.
    span_d : float                  From the first age to the last. [d]
    confidence : float              Such as 0.95.
    reason : str                    Why a part is missing.
    """

    slope_per_d: float | None
    low: float | None
    high: float | None
    standard_error: float | None
    df: int
    span_d: float
    confidence: float
    reason: str = ""

    @property
    def change(self) -> float | None:
        """What the line gives from the first age to the last. [unit]"""
        return None if self.slope_per_d is None else self.slope_per_d * self.span_d

    @property
    def excludes_zero(self) -> bool:
        """Whether the interval leaves out "no change"; False where there is no interval."""
        return self.low is not None and (self.low > 0 or self.high < 0)

    @property
    def p(self) -> float | None:
        """Two-sided probability of a slope at least this far from zero if there were no trend. [-]"""
        if self.standard_error is None:
            return None
        if self.standard_error == 0:
            return 0.0 if self.slope_per_d else 1.0
        from scipy.special import stdtr  # loads slowly, and no interval needs it

        return float(2 * stdtr(self.df, -abs(self.slope_per_d / self.standard_error)))


def linear_trend(
    ages_d: Sequence[float],
    values: Sequence[float],
    batches: Sequence[Hashable] | None = None,
    confidence: float = 0.95,
) -> Trend:
    """The slope of a value on age by least squares, with its t interval.

    Parameters
    ----------
    ages_d : sequence of float    [d]
    values : sequence of float    Read at each. [unit]
    batches : sequence            The batch of each reading; all one batch when None. Batches may lie on different
                                  levels: only what happens within one counts.
    confidence : float            Of the two-sided interval.

    Returns
    -------
    Trend   Without a slope when no batch was read at two ages, without an interval with too few readings.

    Raises
    ------
    KitError   `drift.readings` for lists of different length or values that are not finite.
    """
    ages, read, groups = read_over_age(ages_d, values, batches)
    span = float(np.ptp(ages)) if ages.size else 0.0
    within_ages, within_values = within_batches(ages, groups), within_batches(read, groups)
    spread = float(within_ages @ within_ages)
    if ages.size == 0 or spread <= 1e-18 * max(1.0, float(ages @ ages)):
        return Trend(None, None, None, None, 0, span, confidence, "no batch was read at two ages")
    slope = float(within_ages @ within_values) / spread
    df = ages.size - groups.shape[1] - 1
    if df < 1:
        return Trend(slope, None, None, None, df, span, confidence, "one more reading is needed for an interval")
    rest = within_values - slope * within_ages
    error = math.sqrt(float(rest @ rest) / df / spread)
    half = t_quantile(df, confidence) * error
    return Trend(slope, slope - half, slope + half, error, df, span, confidence)


def read_over_age(
    ages_d: Sequence[float], values: Sequence[float], batches: Sequence[Hashable] | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ages, values and a column of ones and zeros for each batch.

    Parameters
    ----------
    ages_d : sequence of float    [d]
    values : sequence of float    Read at each. [unit]
    batches : sequence            The batch of each reading; all one batch when None.

    Returns
    -------
    tuple of arrays   (n,), (n,) and (n, batches).

    Raises
    ------
    KitError   `drift.readings` for lists of different length or values that are not finite.
    """
    ages, read = np.asarray(ages_d, dtype=float), np.asarray(values, dtype=float)
    names = [None] * ages.size if batches is None else list(batches)
    finite = np.isfinite(ages).all() and np.isfinite(read).all()
    if ages.ndim != 1 or ages.shape != read.shape or len(names) != ages.size or not finite:
        raise KitError(
            "ages, values and batches do not fit together",
            where="drift",
            allowed="lists of one length, all numbers finite",
            mend="leave out readings without an age or a value",
            code="drift.readings",
        )
    order = list(dict.fromkeys(names))
    return (
        ages,
        read,
        np.array([[float(name == one) for one in order] for name in names]).reshape(ages.size, len(order)),
    )


def within_batches(numbers: np.ndarray, groups: np.ndarray) -> np.ndarray:
    """Numbers less the mean of their batch.

    Parameters
    ----------
    numbers : array, (n,)
    groups : array, (n, batches)   As of `read_over_age`.
    """
    if not numbers.size:
        return numbers
    return numbers - groups @ (groups.T @ numbers / groups.sum(axis=0))
