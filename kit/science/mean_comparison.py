"""Several means compared at once: against one control, all pairs, or each with a scatter of its own.

Plain floats in, frozen results out. All intervals of one call hold together. Two means alone are in `statistics`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.simultaneous import (
    check_confidence,
    critical_value,
    enough_df,
    range_critical,
    range_probability,
    within_probability,
)
from kit.science.statistics import FoundDifference, MeanSD, mean_sd, pooled_sd, welch
from kit.show import Worded

TWO_SIDED, GREATER, LESS = "two-sided", "greater", "less"
SIDES = (TWO_SIDED, GREATER, LESS)

# Below this share of the values a standard error is rounding, not scatter (as R's t.test has it).
_ROUNDING = 10 * 2.0**-52
_PLACES = 6  # of loadings and degrees of freedom: what differs by rounding only is asked once


@dataclass(frozen=True, slots=True, repr=False)
class SimultaneousDifference(FoundDifference, Worded):
    """One of several differences of means whose intervals hold together. All in the unit of the values but df and p.

    Parameters
    ----------
    first, second : int            Which samples: mean of the first less mean of the second. Against a control the
                                   second is -1.
    difference : float             The difference.
    low, high : float, None        Simultaneous interval; infinite at the open end of a one-sided one; None with a
                                   `reason`.
    half_width : float, None       Half of it; None for a one-sided one.
    df : float, None               Degrees of freedom of the scatter.
    standard_error : float, None   Of the difference.
    critical : float, None         Standard errors from the difference to an end of the interval.
    p : float, None                As if it were the only difference.
    p_adjusted : float, None       With all of them in view.
    confidence : float             That all intervals hold, such as 0.95.
    reason : str                   Why there is no interval, empty when there is one.
    loadings : tuple of float      Of all that share the control, as of `simultaneous.within_probability`; empty where
                                   each has a scatter of its own.
    """

    first: int
    second: int
    difference: float
    low: float | None
    high: float | None
    half_width: float | None
    df: float | None
    standard_error: float | None
    critical: float | None
    p: float | None
    p_adjusted: float | None
    confidence: float
    reason: str = ""
    loadings: tuple[float, ...] = ()

    @property
    def words(self) -> str:
        """The difference with its interval, or why there is none."""
        if self.low is None:
            return f"{self.difference:.4g}, without an interval: {self.reason}"
        together = f"{100 * self.confidence:.3g} % for all together"
        return f"{self.difference:.4g} ({self.low:.4g} to {self.high:.4g}, {together}; p {self.p_adjusted:.3g})"


def dunnett(
    groups: Sequence[Sequence[float]],
    control: Sequence[float],
    *,
    confidence: float = 0.95,
    sd: float | None = None,
    df: float | None = None,
    side: str = TWO_SIDED,
) -> tuple[SimultaneousDifference, ...]:
    """Each of several means against one control, sizes equal or not.

    Parameters
    ----------
    groups : sequence of sequences of float   The samples that are set against the control. [unit]
    control : sequence of float               The control's values. [unit]
    confidence : float                        That all intervals hold together.
    sd, df : float                            Standard deviation of single values and its degrees of freedom from
                                              outside, such as pooled with earlier controls; pooled over the samples
                                              themselves when omitted. [unit]
    side : str                                "two-sided", "greater" (is a mean above the control's?) or "less".

    Returns
    -------
    tuple of SimultaneousDifference   In the order of the groups; without intervals, and with a reason, where no scatter
                                      is known.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`, `statistics.side`,
               `statistics.scatter_halves`.

    Notes
    -----
    C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096; Biometrics 20 (1964) 482.
    """
    samples, reference = [mean_sd(group) for group in groups], mean_sd(control)
    scatter, freedom, reason = _scatter([*groups, control], sd, df)
    pairs = [(index, -1, found, reference) for index, found in enumerate(samples)]
    if reason:
        return tuple(_without(*pair, confidence, reason) for pair in pairs)
    errors = [scatter * math.sqrt(1 / found.n + 1 / reference.n) for found in samples]
    loadings = tuple(math.sqrt(found.n / (found.n + reference.n)) for found in samples)
    gaps = [found.mean - reference.mean for found in samples]
    return against_control(gaps, errors, loadings, freedom, confidence=confidence, side=side)


def against_control(
    differences: Sequence[float],
    standard_errors: Sequence[float],
    loadings: Sequence[float],
    df: float | Sequence[float],
    *,
    confidence: float = 0.95,
    side: str = TWO_SIDED,
) -> tuple[SimultaneousDifference, ...]:
    """Simultaneous intervals of differences against one control from their standard errors.

    Parameters
    ----------
    differences : sequence of float       [unit]
    standard_errors : sequence of float   [unit]
    loadings : sequence of float          As of `simultaneous.within_probability`.
    df : float, sequence of float         Degrees of freedom of the scatter they share, or of each.
    confidence, side : float, str         As of `dunnett`.

    Returns
    -------
    tuple of SimultaneousDifference   In the same order; without an interval, and with a reason, below one degree of
                                      freedom.

    Raises
    ------
    KitError   `statistics.confidence`, `statistics.side`.
    """
    if side not in SIDES:
        raise KitError(
            f"a side {side!r}",
            where="comparison with a control",
            allowed=", ".join(SIDES),
            mend="name one of these",
            code="statistics.side",
        )
    loads = tuple(sorted(round(load, _PLACES) for load in loadings))
    each = [df] * len(differences) if isinstance(df, int | float) else df
    told = zip(differences, standard_errors, each, strict=True)
    return tuple(_beside_control(index, *one, loads, confidence, side) for index, one in enumerate(told))


def tukey(
    groups: Sequence[Sequence[float]], *, confidence: float = 0.95, sd: float | None = None, df: float | None = None
) -> tuple[SimultaneousDifference, ...]:
    """All pairs of means, sizes equal or not.

    Parameters
    ----------
    groups : sequence of sequences of float   Two samples or more. [unit]
    confidence : float                        That all intervals hold together.
    sd, df : float                            As of `dunnett`. [unit]

    Returns
    -------
    tuple of SimultaneousDifference   Later sample less earlier one: 1 less 0, 2 less 0, 2 less 1, and so on.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`, `statistics.scatter_halves`.

    Notes
    -----
    J. W. Tukey 1953; for unequal sizes C. Y. Kramer, Biometrics 12 (1956) 307, which is then a little conservative.
    """
    samples = [mean_sd(group) for group in groups]
    scatter, freedom, reason = _scatter(groups, sd, df)
    pairs = [(j, i, samples[j], samples[i]) for j in range(len(samples)) for i in range(j)]
    if reason:
        return tuple(_without(*pair, confidence, reason) for pair in pairs)
    if not pairs:
        return ()
    critical = range_critical(len(samples), float(freedom), confidence) / math.sqrt(2)
    found = []
    for first, second, one, other in pairs:
        gap, error = one.mean - other.mean, scatter * math.sqrt(1 / one.n + 1 / other.n)
        t, reach = abs(gap) / error, critical * error
        adjusted = max(0.0, 1 - range_probability(t * math.sqrt(2), len(samples), freedom))
        alone = _tail(t, freedom, True)
        found.append(
            SimultaneousDifference(
                first,
                second,
                gap,
                gap - reach,
                gap + reach,
                reach,
                freedom,
                error,
                critical,
                alone,
                max(alone, adjusted),
                confidence,
            )
        )
    return tuple(found)


def welch_each(
    groups: Sequence[Sequence[float]], control: Sequence[float], *, confidence: float = 0.95
) -> tuple[SimultaneousDifference, ...]:
    """Each of several means against one control by Welch, for samples that do not scatter alike.

    Parameters
    ----------
    groups : sequence of sequences of float   [unit]
    control : sequence of float               [unit]
    confidence : float                        That all intervals hold together.

    Returns
    -------
    tuple of SimultaneousDifference   Intervals by Bonferroni, adjusted p by Holm, Scand. J. Stat. 6 (1979) 65: a p
                                      below 0.05 may so stand beside an interval that just reaches zero. Without an
                                      interval where a sample has one value; the others are adjusted for all the same.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`.
    """
    each = 1 - (1 - check_confidence(confidence)) / max(len(groups), 1)
    alone = [welch(group, control, each) for group in groups]
    adjusted = holm([found.p for found in alone])
    return tuple(
        SimultaneousDifference(
            index,
            -1,
            found.difference,
            found.low,
            found.high,
            found.half_width,
            found.df,
            found.standard_error,
            None if found.half_width is None else found.half_width / found.standard_error,
            found.p,
            adjusted[index],
            confidence,
            found.reason,
        )
        for index, found in enumerate(alone)
    )


def holm(p_values: Sequence[float | None]) -> list[float | None]:
    """Probabilities adjusted for their number by Holm's steps, in the order given; None stays None and counts.

    Parameters
    ----------
    p_values : sequence of float, None   [-]
    """
    order = sorted((p, index) for index, p in enumerate(p_values) if p is not None)
    adjusted: list[float | None] = [None] * len(p_values)
    highest = 0.0
    for rank, (p, index) in enumerate(order):
        highest = max(highest, min(1.0, p * (len(p_values) - rank)))
        adjusted[index] = highest
    return adjusted


def _beside_control(
    index: int, gap: float, error: float, df: float, loads: tuple[float, ...], confidence: float, side: str
) -> SimultaneousDifference:
    if not enough_df(df):
        reason = "less than one degree of freedom tells the scatter"
        return SimultaneousDifference(
            index, -1, gap, None, None, None, None, None, None, None, None, confidence, reason
        )
    two_sided = side == TWO_SIDED
    critical = critical_value(loads, round(float(df), _PLACES), confidence, two_sided=two_sided)
    far = gap / error * (-1 if side == LESS else 1)
    bound, reach = abs(far) if two_sided else far, critical * error
    alone = _tail(bound, df, two_sided)
    together = 1 - within_probability(bound, loads, df, two_sided=two_sided)
    return SimultaneousDifference(
        index,
        -1,
        gap,
        gap - reach if side != LESS else -math.inf,
        gap + reach if side != GREATER else math.inf,
        reach if two_sided else None,
        df,
        error,
        critical,
        alone,
        max(alone, together),  # the integral is good to nine digits, a very small p to all of them
        confidence,
        loadings=loads,
    )


def _scatter(
    groups: Sequence[Sequence[float]], sd: float | None, df: float | None
) -> tuple[float | None, float | None, str]:
    """SD, degrees of freedom, and why there is none."""
    if (sd is None) != (df is None):
        raise KitError(
            "a standard deviation without its degrees of freedom, or the other way round",
            where="several means compared",
            allowed="both sd and df, or neither",
            mend="give both: how well the scatter is known decides the interval",
            code="statistics.scatter_halves",
        )
    if sd is None:
        pool = pooled_sd(groups)
        sd, df = pool.sd, pool.df
    elif not 0 <= sd < math.inf or math.isnan(df):
        raise KitError(
            f"a standard deviation of {sd} with {df} degrees of freedom",
            where="several means compared",
            allowed="a finite standard deviation, not below zero, and a number of degrees of freedom",
            mend="leave both out where they are not known",
            code="statistics.not_finite",
        )
    if sd is None or df < 1:
        return None, None, "no scatter is known: nothing was repeated"
    largest = max(abs(value) for group in groups for value in group)
    if sd <= _ROUNDING * largest:
        return None, None, "the pooled values are constant: their scatter is not known"
    return sd, df, ""


def _without(
    first: int, second: int, one: MeanSD, other: MeanSD, confidence: float, reason: str
) -> SimultaneousDifference:
    check_confidence(confidence)
    empty = (None,) * 8
    return SimultaneousDifference(first, second, one.mean - other.mean, *empty, confidence, reason)


def _tail(bound: float, df: float, two_sided: bool) -> float:
    from scipy.special import stdtr

    return float((2 if two_sided else 1) * stdtr(min(df, 1e12), -bound))
