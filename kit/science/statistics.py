"""Two means compared, with few values: differences with their intervals, and the scatter pooled over groups.

Plain floats in, frozen results out. Where the data allow no interval its parts are None and `reason` says why; input
that is no sample at all (not a number, infinite, empty) is refused.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from kit.errors import KitError
from kit.show import Worded

# Below this share of the values themselves a standard error is rounding, not scatter (the same bound as R's t.test
# uses).
_ROUNDING = 10 * 2.0**-52
_LARGEST = 1e150  # the square of a larger number is none


class MeanSD(NamedTuple):
    """Mean and sample standard deviation (n - 1) of n values; `sd` is None for a single value."""

    mean: float
    sd: float | None
    n: int


class PooledSD(NamedTuple):
    """Standard deviation within groups, pooled by degrees of freedom; `sd` is None when no group has two values."""

    sd: float | None
    df: int


class FoundDifference:
    """What every difference of means tells, from its `difference`, `standard_error`, `low` and `high`."""

    __slots__ = ()

    @property
    def t(self) -> float | None:
        """Difference over its standard error. [-]"""
        return None if self.standard_error is None else self.difference / self.standard_error

    @property
    def excludes_zero(self) -> bool | None:
        """Whether the interval leaves out "no difference"; None where there is no interval."""
        return None if self.low is None else self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True, repr=False)
class MeanDifference(FoundDifference, Worded):
    """A difference of two means with its interval. All in the unit of the values but `df` and `confidence`.

    Parameters
    ----------
    difference : float             First mean less second.
    low, high : float, None        Two-sided interval; None with a `reason`.
    half_width : float, None       Half of it.
    df : float, None               Degrees of freedom of t.
    standard_error : float, None   Of the difference.
    confidence : float             Such as 0.95.
    reason : str                   Why there is no interval, empty when there is one.
    """

    difference: float
    low: float | None
    high: float | None
    half_width: float | None
    df: float | None
    standard_error: float | None
    confidence: float
    reason: str = ""

    @property
    def p(self) -> float | None:
        """Two-sided probability of a t at least this large if the means were equal. [-]"""
        from scipy.special import stdtr

        return None if self.t is None else float(2 * stdtr(self.df, -abs(self.t)))

    @property
    def words(self) -> str:
        """The difference with its interval, or why there is none."""
        if self.low is None:
            return f"{self.difference:.4g}, without an interval: {self.reason}"
        return (
            f"{self.difference:.4g} ({self.low:.4g} to {self.high:.4g}, {100 * self.confidence:.3g} %; p {self.p:.3g})"
        )


def mean_sd(values: Iterable[float]) -> MeanSD:
    """Mean and sample standard deviation, in two passes.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`.

    Examples
    --------
    >>> mean_sd([1.0, 2.0, 3.0])
    MeanSD(mean=2.0, sd=1.0, n=3)
    """
    sample = _sample(values)
    mean, squares = _mean_and_squares(sample)
    return MeanSD(mean, math.sqrt(squares / (len(sample) - 1)) if len(sample) > 1 else None, len(sample))


def pooled_sd(groups: Iterable[Sequence[float]]) -> PooledSD:
    """Standard deviation within groups: the root of all sums of squares over all degrees of freedom.

    Groups of one value add nothing; without any group of two or more `sd` is None and `df` 0.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`.
    """
    samples = [_sample(group) for group in groups]
    df = sum(len(sample) - 1 for sample in samples)
    squares = math.fsum(_mean_and_squares(sample)[1] for sample in samples)
    return PooledSD(math.sqrt(squares / df) if df else None, df)


def welch(a: Sequence[float], b: Sequence[float], confidence: float = 0.95) -> MeanDifference:
    """Difference of two means, variances not assumed equal.

    Parameters
    ----------
    a, b : sequence of float   The two samples; they may differ in size. [unit]
    confidence : float         Of the two-sided interval, between 0 and 1.

    Returns
    -------
    MeanDifference   Mean of a less mean of b; without an interval when a sample has one value or both are constant.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`.

    Notes
    -----
    t with the degrees of freedom of Satterthwaite (1946), Biometrics Bulletin 2:110; Welch (1947), Biometrika 34:28.
    With two values against two that scatter alike the interval covers more often than it says (97.7 for 95 %); with
    two against many that scatter alike or less it covers less often, down to 87 %.
    """
    first, second = mean_sd(a), mean_sd(b)
    difference = first.mean - second.mean
    if first.sd is None or second.sd is None:
        return _no_interval(difference, confidence, "a sample of one value has no scatter of its own")
    variances = (first.sd * first.sd / first.n, second.sd * second.sd / second.n)
    error = math.sqrt(sum(variances))
    if error <= _ROUNDING * max(abs(first.mean), abs(second.mean)):
        return _no_interval(difference, confidence, "both samples are constant: their scatter is not known")
    # shares of the error, not variances, so that tiny numbers do not underflow
    shares = [variance / (error * error) for variance in variances]
    df = 1 / (shares[0] * shares[0] / (first.n - 1) + shares[1] * shares[1] / (second.n - 1))
    return _interval(difference, error, df, confidence)


def pooled_two_sample(
    difference: float, n1: int, n2: int, sd: float | None, df: float, confidence: float = 0.95
) -> MeanDifference:
    """Interval of a difference of two means when the scatter is known from a pool, wherever that was taken.

    Parameters
    ----------
    difference : float   First mean less second. [unit]
    n1, n2 : int         Values in either mean, at least 1.
    sd : float           Pooled standard deviation of single values. [unit]
    df : float           Its degrees of freedom.
    confidence : float   Of the two-sided interval, between 0 and 1.

    Returns
    -------
    MeanDifference   Without an interval when sd is None or zero or df is below 1.

    Raises
    ------
    KitError   `statistics.not_finite`, `statistics.sample_size`, `statistics.confidence`.
    """
    _finite([difference, *([] if sd is None else [sd]), df])
    if min(n1, n2) < 1:
        raise KitError(
            f"a mean of {min(n1, n2)} values is no mean",
            where="pooled_two_sample()",
            allowed="n1 and n2 of 1 or more",
            mend="give the number of values in each mean",
            code="statistics.sample_size",
        )
    if sd is None or df < 1:
        return _no_interval(difference, confidence, "no scatter is known: nothing was repeated")
    if sd <= 0:
        return _no_interval(difference, confidence, "the pooled values are constant: their scatter is not known")
    return _interval(difference, sd * math.sqrt(1 / n1 + 1 / n2), df, confidence)


def _interval(difference: float, error: float, df: float, confidence: float) -> MeanDifference:
    from scipy.special import stdtrit

    half = float(stdtrit(df, _upper(confidence))) * error
    return MeanDifference(difference, difference - half, difference + half, half, df, error, confidence)


def _no_interval(difference: float, confidence: float, reason: str) -> MeanDifference:
    _upper(confidence)
    return MeanDifference(difference, None, None, None, None, None, confidence, reason)


def _upper(confidence: float) -> float:
    """The probability below the upper end of a two-sided interval."""
    if not 0 < confidence < 1:
        raise KitError(
            f"a confidence of {confidence} is not possible",
            where="interval of a difference",
            allowed="between 0 and 1, such as 0.95",
            mend="give the confidence as a fraction",
            code="statistics.confidence",
        )
    return (1 + confidence) / 2


def _mean_and_squares(sample: Sequence[float]) -> tuple[float, float]:
    """Mean and sum of squared deviations, in two passes: a small scatter far from zero keeps its digits."""
    if min(sample) == max(sample):  # three times 14.42 over 3 is not 14.42 to the last digit, and no scatter
        return sample[0], 0.0
    mean = math.fsum(sample) / len(sample)
    return mean, math.fsum((value - mean) ** 2 for value in sample)


def _sample(values: Iterable[float]) -> list[float]:
    sample = [float(value) for value in values]
    if not sample:
        raise KitError(
            "there is no value in the sample",
            where="statistics",
            mend="leave an empty group out",
            code="statistics.empty",
        )
    _finite(sample)
    return sample


def _finite(values: Sequence[float]) -> None:
    for value in values:
        if not abs(value) <= _LARGEST:
            raise KitError(
                f"{value} is not a number that can be averaged",
                where="statistics",
                allowed=f"finite numbers, up to {_LARGEST:g} in size",
                mend="leave the value out and say why",
                code="statistics.not_finite",
            )
