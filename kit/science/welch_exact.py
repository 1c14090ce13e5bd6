"""What Welch's interval really holds and finds with few values, by integration instead of by its approximation.

Given how the two scatters share out, the degrees of freedom are a number and the difference over its error is a t: one
integral over that share is left.
"""

from __future__ import annotations

import math

from kit.errors import KitError
from kit.science.required import require_positive
from kit.science.simultaneous import check_confidence, shifted_within

_NODES = 400


def welch_coverage(n1: int, n2: int, *, sd_ratio: float = 1.0, confidence: float = 0.95) -> float:
    """Probability that Welch's interval holds the true difference. [-]

    Parameters
    ----------
    n1, n2 : int         Values in either sample, 2 or more.
    sd_ratio : float     True standard deviation of the first over that of the second. [-]
    confidence : float   That the interval claims.

    Raises
    ------
    KitError   `statistics.sample_size`, `science.not_positive`, `statistics.confidence`.
    """
    return 1 - welch_power(0.0, n1, n2, sd_ratio=sd_ratio, confidence=confidence)


def welch_power(difference: float, n1: int, n2: int, *, sd_ratio: float = 1.0, confidence: float = 0.95) -> float:
    """Probability that Welch's interval leaves out zero. [-]

    Parameters
    ----------
    difference : float   True difference over the standard deviation of the second sample. [-]
    n1, n2 : int         Values in either sample, 2 or more.
    sd_ratio : float     True standard deviation of the first over that of the second. [-]
    confidence : float   Of the interval.

    Raises
    ------
    KitError   `statistics.sample_size`, `science.not_positive`, `statistics.confidence`.
    """
    import numpy as np
    from scipy.special import betainc, betaincinv, stdtrit

    require_positive("Welch's interval", sd_ratio=sd_ratio)
    upper = (1 + check_confidence(confidence)) / 2
    if min(n1, n2) < 2:
        raise KitError(
            "a sample of one value has no scatter of its own",
            where="Welch's interval",
            allowed="2 values or more on either side",
            mend="use a pooled scatter",
            code="statistics.sample_size",
        )
    # the share of the first sample in the sum of squares follows a beta distribution; midpoints of equal probability
    # in the angle, where its density has no poles
    shape = (n1 - 1) / 2, (n2 - 1) / 2
    edges = np.sin(np.linspace(0, math.pi / 2, _NODES + 1)) ** 2
    cumulated = betainc(*shape, edges)
    weight = np.diff(cumulated)
    share = betaincinv(*shape, 0.5 * (cumulated[1:] + cumulated[:-1]))
    first, second = sd_ratio**2 * share / (n1 - 1) / n1, (1 - share) / (n2 - 1) / n2
    df = (first + second) ** 2 / (first**2 / (n1 - 1) + second**2 / (n2 - 1))
    true = sd_ratio**2 / n1 + 1 / n2
    freedom = n1 + n2 - 2
    bound = stdtrit(df, upper) * np.sqrt((first + second) * freedom / true)
    held = shifted_within(bound, difference / math.sqrt(true), freedom)
    return float(1 - weight @ held)


def welch_detectable(
    sd: float, n1: int, n2: int, *, sd_ratio: float = 1.0, power: float = 0.8, confidence: float = 0.95
) -> float:
    """The true difference that Welch's interval finds with a stated chance. [unit of sd]

    Parameters
    ----------
    sd : float           True standard deviation of the second sample. [unit]
    n1, n2 : int         Values in either sample, 2 or more.
    sd_ratio : float     True standard deviation of the first over that of the second. [-]
    power : float        Such as 0.8, above the chance of finding what is not there and below 1.
    confidence : float   Of the interval.

    Raises
    ------
    KitError   `statistics.sample_size`, `science.not_positive`, `statistics.confidence`, `detectable.power`.
    """
    from scipy.optimize import brentq

    require_positive("Welch's interval", sd=sd)

    def short_of(difference: float) -> float:
        return welch_power(difference, n1, n2, sd_ratio=sd_ratio, confidence=confidence) - power

    if not (short_of(0.0) < 0 and power < 1):
        raise KitError(
            f"a chance of {power} to find a difference",
            where="Welch's interval",
            allowed="above the chance of finding what is not there and below 1",
            mend="0.8 is usual: found four times in five",
            code="detectable.power",
        )
    high = 4.0
    while short_of(high) < 0:
        high *= 2
    return sd * float(brentq(short_of, 0.0, high, xtol=1e-9))
