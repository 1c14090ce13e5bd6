"""How many batches it takes to find a difference: two means, several means, two shares."""

from __future__ import annotations

import math
from collections.abc import Callable

from kit.errors import KitError
from kit.science.required import require_positive
from kit.science.simultaneous import check_confidence, shifted_within

_MOST = 1e7
_FEWEST = 1.5  # batches an arm: with fewer there is not one degree of freedom, and two are made anyway


def batches_for_two_means(difference_in_sd: float, *, power: float = 0.8, confidence: float = 0.95) -> float:
    """Batches an arm, two arms, to find a difference; round it up.

    Parameters
    ----------
    difference_in_sd : float   True difference over the standard deviation of batches, above zero. [-]
    power : float              Chance to find it.
    confidence : float         Of the two-sided interval.

    Raises
    ------
    KitError   `science.not_positive`, `statistics.confidence`, `sample_size.power`, `sample_size.too_many`.

    Notes
    -----
    J. Cohen, Statistical Power Analysis, 2nd ed. 1988, chapter 2.
    """
    from scipy.special import stdtrit

    require_positive("number of batches", difference_in_sd=difference_in_sd)
    upper = (1 + check_confidence(confidence)) / 2

    def found(n: float) -> float:
        df = 2 * n - 2
        return 1 - float(shifted_within(float(stdtrit(df, upper)), difference_in_sd * math.sqrt(n / 2), df))

    return _least(found, power, confidence, _FEWEST)


def batches_for_several_means(arms: int, effect: float, *, power: float = 0.8, confidence: float = 0.95) -> float:
    """Batches an arm for the F test of one-way analysis of variance; round it up.

    Parameters
    ----------
    arms : int           Two or more.
    effect : float       Standard deviation of the true means (over their number) over that of batches, above zero. [-]
    power : float        Chance to find that they differ.
    confidence : float   One less the chance to find a difference that is not there.

    Raises
    ------
    KitError   `science.not_positive`, `statistics.confidence`, `sample_size.power`, `sample_size.too_many`,
               `sample_size.arms`.

    Notes
    -----
    J. Cohen, Statistical Power Analysis, 2nd ed. 1988, chapter 8.
    """
    from scipy.special import fdtri, ncfdtr

    require_positive("number of batches", effect=effect)
    check_confidence(confidence)
    if arms < 2:
        raise KitError(f"{arms} arm", where="number of batches", allowed="2 or more", mend="", code="sample_size.arms")

    def found(n: float) -> float:
        df = arms * (n - 1)
        bound = float(fdtri(arms - 1, df, confidence))
        return 1 - float(ncfdtr(arms - 1, df, effect * effect * arms * n, bound))

    return _least(found, power, confidence, 1.2)


def answers_for_two_shares(one: float, other: float, *, power: float = 0.8, confidence: float = 0.95) -> float:
    """Answers a side to tell two shares apart; round it up.

    Parameters
    ----------
    one, other : float   The two true shares, different, between 0 and 1. [-]
    power : float        Chance to find that they differ.
    confidence : float   Of the two-sided test.

    Raises
    ------
    KitError   `statistics.confidence`, `sample_size.power`, `sample_size.shares`.

    Notes
    -----
    Normal approximation. J. L. Fleiss, Statistical Methods for Rates and Proportions, 2nd ed. 1981, chapter 3.
    """
    from scipy.special import ndtri

    if not (0 < one < 1 and 0 < other < 1 and one != other):
        raise KitError(
            f"shares of {one} and {other}",
            where="number of answers",
            allowed="two different shares between 0 and 1",
            mend="state the shares that are to be told apart",
            code="sample_size.shares",
        )
    _check_power(power, confidence)
    z, beyond = float(ndtri((1 + check_confidence(confidence)) / 2)), float(ndtri(power))
    middle = (one + other) / 2
    spread = z * math.sqrt(2 * middle * (1 - middle)) + beyond * math.sqrt(one * (1 - one) + other * (1 - other))
    return (spread / (one - other)) ** 2


def _least(found: Callable[[float], float], power: float, confidence: float, start: float) -> float:
    """The number at which the power is reached, as a real number."""
    from scipy.optimize import brentq

    _check_power(power, confidence)
    if found(start) >= power:
        return start
    high = 4.0
    while found(high) < power:
        high *= 2
        if high > _MOST:
            raise KitError(
                "more batches than anybody can make",
                where="number of batches",
                allowed="a difference that is not small beside the scatter",
                mend="look for a larger difference, or measure with less scatter",
                code="sample_size.too_many",
            )
    return float(brentq(lambda n: found(n) - power, start, high, xtol=1e-7))


def _check_power(power: float, confidence: float) -> None:
    if not 1 - confidence < power < 1:
        raise KitError(
            f"a chance of {power} to find a difference",
            where="number of batches",
            allowed=f"above {1 - confidence:g} and below 1",
            mend="0.8 is usual: found four times in five",
            code="sample_size.power",
        )
