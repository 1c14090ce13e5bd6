"""What a comparison can tell, before a gram is weighed or after: half-width, and the difference it would find.

The half-width is what an interval reaches to either side; a true difference of that size is found only about every
second time. The detectable difference is found four times in five. Both are in the unit of the scatter; where that is
in ln units (a relative scatter), `ratio_of` gives the factor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.bracketed_root import bracketed_root
from kit.science.number_text import degrees
from kit.science.required import require_positive
from kit.science.scatter_known import POORLY_KNOWN, poorly_known
from kit.science.simultaneous import check_confidence, critical_value, shifted_within
from kit.show import Worded

POWER = 0.8
"""Found four times in five."""

_FAR = 1e6  # standard errors


@dataclass(frozen=True, slots=True, repr=False)
class Resolution(Worded):
    """What a comparison of two means can tell.

    Parameters
    ----------
    half_width : float       Of the interval, to either side. [unit of sd]
    detectable : float       True difference that is found with the power stated. [unit of sd]
    sd, df : float           Scatter of batches it rests on, with its degrees of freedom. [unit]
    n_arm, n_control : int   Batches in either mean.
    comparisons : int        Arms set against the one control.
    power : float            Chance to find the detectable difference. [-]
    relative : bool          Whether sd is in ln units, so that differences are ratios.
    """

    half_width: float
    detectable: float
    sd: float
    df: float
    n_arm: int
    n_control: int
    comparisons: int
    power: float
    relative: bool

    @property
    def words(self) -> str:
        """Both in a sentence, as ratios where the scatter is relative."""
        half, found = (
            (f"a factor of {ratio_of(value):.3g}" if self.relative else f"± {value:.3g}")
            for value in (self.half_width, self.detectable)
        )
        told = (
            f"{self.n_arm} against {self.n_control} batches, {degrees(self.df)}: half-width {half}; a "
            f"difference of {found.lstrip('± ')} is found {_odds(self.power)}"
        )
        return f"{told}; {POORLY_KNOWN}" if poorly_known(self.df) else told


def half_width(sd: float, df: float, n1: int, n2: int, confidence: float = 0.95, *, comparisons: int = 1) -> float:
    """Half the interval of a difference of two means when batches scatter by sd. [unit of sd]

    Parameters
    ----------
    sd : float           Standard deviation of single batches. [unit]
    df : float           Its degrees of freedom.
    n1, n2 : int         Batches of the arm and of the control.
    confidence : float   That all intervals hold together.
    comparisons : int    Arms of n1 batches set against the one control (Dunnett).

    Raises
    ------
    KitError   `science.not_positive`, `statistics.sample_size`, `statistics.confidence`, `statistics.df` below one
               degree of freedom, `detectable.comparisons`.
    """
    error = _error(sd, df, n1, n2)
    return _critical(df, n1, n2, confidence, comparisons) * error


def detectable_difference(
    sd: float,
    df: float,
    n1: int,
    n2: int,
    *,
    power: float = POWER,
    confidence: float = 0.95,
    comparisons: int = 1,
) -> float:
    """The true difference of two means whose interval leaves out zero with a stated chance. [unit of sd]

    Parameters
    ----------
    sd : float           Standard deviation of single batches. [unit]
    df : float           Its degrees of freedom.
    n1, n2 : int         Batches of the arm and of the control.
    power : float        Chance that it is found, between 0 and 1.
    confidence : float   That all intervals hold together.
    comparisons : int    Arms of n1 batches set against the one control (Dunnett).

    Raises
    ------
    KitError   `science.not_positive`, `statistics.sample_size`, `statistics.confidence`, `statistics.df` below one
               degree of freedom, `detectable.comparisons`, `detectable.power`.

    Notes
    -----
    Noncentral t, both tails counted. J. Cohen, Statistical Power Analysis, 2nd ed. 1988, chapter 2.
    """
    error = _error(sd, df, n1, n2)
    return error * detectable_errors(_critical(df, n1, n2, confidence, comparisons), df, power=power)


def detectable_errors(critical: float, df: float, *, power: float = POWER) -> float:
    """How many standard errors a true difference must have to be found with a stated chance. [-]

    Parameters
    ----------
    critical : float   Standard errors from a difference to an end of its interval.
    df : float         Degrees of freedom of the standard error.
    power : float      Between the chance of finding nothing real and 1.

    Raises
    ------
    KitError   `detectable.power`, `science.not_positive`.
    """
    from scipy.special import stdtr

    require_positive("detectable difference", critical=critical, df=df)
    false = 2 * float(stdtr(df, -critical))
    if not false < power < 1:
        raise KitError(
            f"a chance of {power} to find a difference",
            where="detectable difference",
            allowed=f"above {false:.3g}, the chance to find what is not there, and below 1",
            mend="0.8 is usual: found four times in five",
            code="detectable.power",
        )

    def missed(shift: float) -> float:
        return float(shifted_within(critical, shift, df)) - (1 - power)

    high = critical + 1.0
    while missed(high) > 0 and high < _FAR:
        high *= 1.5
    return bracketed_root(missed, 0.0, high, xtol=1e-10)


def resolution(
    sd: float,
    df: float,
    n1: int,
    n2: int,
    *,
    power: float = POWER,
    confidence: float = 0.95,
    comparisons: int = 1,
    relative: bool = False,
) -> Resolution:
    """Half-width and detectable difference together, with their sentence.

    Parameters
    ----------
    sd, df, n1, n2 : float, float, int, int   As of `detectable_difference`.
    power, confidence : float, float          As of `detectable_difference`.
    comparisons : int                         As of `detectable_difference`.
    relative : bool                           Whether sd is in ln units, so that differences are told as ratios.

    Returns
    -------
    Resolution

    Raises
    ------
    KitError   As of `detectable_difference`.
    """
    half = half_width(sd, df, n1, n2, confidence, comparisons=comparisons)
    found = detectable_difference(sd, df, n1, n2, power=power, confidence=confidence, comparisons=comparisons)
    return Resolution(half, found, sd, df, n1, n2, comparisons, power, relative)


def ratio_of(ln_units: float) -> float:
    """The factor that a difference in ln units stands for. [-]

    Parameters
    ----------
    ln_units : float   Such as a half-width that rests on a relative scatter.
    """
    return math.exp(ln_units)


def _critical(df: float, n1: int, n2: int, confidence: float, comparisons: int) -> float:
    check_confidence(confidence)
    if comparisons < 1:
        raise KitError(
            f"{comparisons} arms set against a control",
            where="what a comparison can tell",
            allowed="1 arm or more",
            mend="give the number of arms that are set against the one control",
            code="detectable.comparisons",
        )
    return critical_value((round(math.sqrt(n1 / (n1 + n2)), 12),) * comparisons, float(df), confidence)


def _error(sd: float, df: float, n1: int, n2: int) -> float:
    require_positive("what a comparison can tell", sd=sd, df=df)
    if min(n1, n2) < 1:
        raise KitError(
            f"a mean of {min(n1, n2)} batches is no mean",
            where="what a comparison can tell",
            allowed="1 batch or more on either side",
            mend="give the number of batches in each mean",
            code="statistics.sample_size",
        )
    return sd * math.sqrt(1 / n1 + 1 / n2)


def _odds(power: float) -> str:
    return "four times in five" if power == POWER else f"{100 * power:.3g} times in a hundred"
