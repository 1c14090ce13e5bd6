"""How well a standard deviation is itself known, and several of them put together."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from kit.science.number_text import degrees
from kit.science.required import require_finite, require_not_negative, require_positive
from kit.science.simultaneous import check_confidence
from kit.science.statistics import PooledSD
from kit.show import Worded

ENOUGH_DF = 5
"""Below this many degrees of freedom a standard deviation is itself known too poorly to lean on (common practice)."""

POORLY_KNOWN = "scatter itself poorly known"


@dataclass(frozen=True, slots=True, repr=False)
class ScatterKnown(Worded):
    """A standard deviation with its interval. All but df and confidence in its own unit.

    Parameters
    ----------
    sd : float          As found.
    low, high : float   Chi-squared interval.
    df : float          Degrees of freedom.
    confidence : float  Such as 0.95.
    """

    sd: float
    low: float
    high: float
    df: float
    confidence: float

    @property
    def poorly(self) -> bool:
        """Whether it rests on fewer than five degrees of freedom."""
        return poorly_known(self.df)

    @property
    def words(self) -> str:
        """Value, interval and degrees of freedom, with the warning where it is due."""
        if not self.sd:
            return "0: all values are alike, so that their scatter is not known"
        share = f"{100 * self.confidence:.3g} %"
        told = f"{self.sd:.3g} ({share}: {self.low:.3g} to {self.high:.3g}; {degrees(self.df)})"
        return f"{told}: {POORLY_KNOWN}" if self.poorly else told


def poorly_known(df: float) -> bool:
    """Whether a scatter of so many degrees of freedom is itself known too poorly to lean on.

    Parameters
    ----------
    df : float   Whole or, where it was estimated, not; a rounding error below five is five.
    """
    return df < ENOUGH_DF - 1e-6


def sd_interval(sd: float, df: float, confidence: float = 0.95) -> ScatterKnown:
    """Interval of a standard deviation, for values that scatter normally.

    Parameters
    ----------
    sd : float           Not below zero. [unit]
    df : float           Degrees of freedom, above zero.
    confidence : float   Between 0 and 1.

    Returns
    -------
    ScatterKnown

    Raises
    ------
    KitError   `science.negative`, `science.not_positive`, `statistics.confidence`.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.8.
    """
    from scipy.special import chdtri

    require_not_negative("interval of a standard deviation", sd=sd)
    require_positive("interval of a standard deviation", df=df)
    require_finite("interval of a standard deviation", sd=sd)
    tail = (1 - check_confidence(confidence)) / 2
    squares = df * sd * sd
    low, high = (math.sqrt(squares / float(chdtri(df, upper))) for upper in (tail, 1 - tail))
    return ScatterKnown(sd, low, high, df, confidence)


def combined_sd(parts: Iterable[PooledSD]) -> PooledSD:
    """Several pooled standard deviations put together by their degrees of freedom; parts without any are left out.

    Parameters
    ----------
    parts : iterable of PooledSD   On one scale. [unit]
    """
    known = [part for part in parts if part.sd is not None and part.df > 0]
    df = sum(part.df for part in known)
    squares = math.fsum(part.df * part.sd * part.sd for part in known)
    return PooledSD(math.sqrt(squares / df) if df else None, df)
