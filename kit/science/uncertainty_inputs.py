"""What enters an uncertainty budget: a value with its standard uncertainty, from readings or from knowledge.

Terms of JCGM 100:2008: type A from readings, type B from anything else, each as one standard deviation.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.required import require_finite, require_not_negative, require_positive
from kit.science.statistics import mean_sd


@dataclass(frozen=True, slots=True)
class UncertainInput:
    """A quantity that a result depends on.

    Parameters
    ----------
    name : str                     Such as "full scale".
    value : float                  [its unit]
    standard_uncertainty : float   One standard deviation. [its unit]
    df : float                     Degrees of freedom; infinite where the uncertainty itself is taken to be known.
    kind : str                     "A" from readings, "B" from anything else.
    how : str                      Where it comes from, in words.

    Raises
    ------
    KitError   `science.not_finite`, `science.negative`, `uncertainty.df` below 1.
    """

    name: str
    value: float
    standard_uncertainty: float
    df: float = math.inf
    kind: str = "B"
    how: str = ""

    def __post_init__(self) -> None:
        require_finite(self.name or "input", value=self.value)
        require_not_negative(self.name or "input", standard_uncertainty=self.standard_uncertainty)
        if not self.df >= 1:
            raise KitError(
                f"{self.df} degrees of freedom are too few",
                where=self.name or "input",
                allowed="1 or more; infinite where the uncertainty is taken to be known",
                mend="read it at least twice, or state what is known of it",
                code="uncertainty.df",
            )


def from_readings(name: str, readings: Iterable[float]) -> UncertainInput:
    """A mean of readings with its standard uncertainty, s / sqrt(n) (type A).

    Parameters
    ----------
    name : str                     Of the input.
    readings : iterable of float   At least two, in one unit.

    Raises
    ------
    KitError   `uncertainty.readings` for fewer than two, or for readings that are all the same: the display hides their
               scatter; `statistics.empty`, `statistics.not_finite`.

    Notes
    -----
    JCGM 100:2008, 4.2.
    """
    mean, deviation, n = mean_sd(readings)
    if not deviation:
        raise KitError(
            f"{n} readings of {name} without scatter give no uncertainty",
            where="uncertainty from readings",
            allowed="at least two readings that differ",
            mend="read more often, or take half a step of the display as half width of a rectangular input",
            code="uncertainty.readings",
        )
    return UncertainInput(name, mean, deviation / math.sqrt(n), n - 1, "A", f"mean of {n} readings")


def normal(name: str, value: float, expanded: float, k: float = 2.0, df: float = math.inf) -> UncertainInput:
    """An input from a certificate that states an expanded uncertainty and its factor (type B).

    Parameters
    ----------
    name : str         Of the input.
    value : float      [unit]
    expanded : float   As printed; a standard uncertainty with k = 1. [unit]
    k : float          Factor as printed. [-]
    df : float         Degrees of freedom, where the certificate states them.

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.
    """
    require_positive(name, factor=k)
    return UncertainInput(name, value, expanded / k, df, "B", f"normal, {expanded:g} with k = {k:g}")


def rectangular(name: str, value: float, half_width: float, df: float = math.inf) -> UncertainInput:
    """An input that lies anywhere within plus and minus a half width: half width over the root of 3 (type B).

    Parameters
    ----------
    name : str           Of the input.
    value : float        [unit]
    half_width : float   [unit]
    df : float           Degrees of freedom; see `df_from_doubt`.

    Raises
    ------
    KitError   `science.negative`.

    Notes
    -----
    JCGM 100:2008, 4.3.7.
    """
    return UncertainInput(name, value, half_width / math.sqrt(3), df, "B", f"rectangular, half width {half_width:g}")


def triangular(name: str, value: float, half_width: float, df: float = math.inf) -> UncertainInput:
    """An input that lies within a half width, more likely in its middle: half width over the root of 6 (type B).

    Parameters
    ----------
    name : str           Of the input.
    value : float        [unit]
    half_width : float   [unit]
    df : float           Degrees of freedom.

    Raises
    ------
    KitError   `science.negative`.

    Notes
    -----
    JCGM 100:2008, 4.3.9.
    """
    return UncertainInput(name, value, half_width / math.sqrt(6), df, "B", f"triangular, half width {half_width:g}")


def arcsine(name: str, value: float, amplitude: float, df: float = math.inf) -> UncertainInput:
    """An input that swings to and fro, as a thermostat does: amplitude over the root of 2 (type B).

    Parameters
    ----------
    name : str          Of the input.
    value : float       [unit]
    amplitude : float   Half the swing. [unit]
    df : float          Degrees of freedom.

    Raises
    ------
    KitError   `science.negative`.

    Notes
    -----
    JCGM 100:2008, H.1.3.4.
    """
    return UncertainInput(name, value, amplitude / math.sqrt(2), df, "B", f"swinging, amplitude {amplitude:g}")


def df_from_doubt(relative_doubt: float) -> float:
    """Degrees of freedom of an uncertainty that is itself known to so much, 1 / (2 doubt2). [-]

    Parameters
    ----------
    relative_doubt : float   Such as 0.25 for "could be a quarter more or less". [-]

    Raises
    ------
    KitError   `science.not_positive`.

    Notes
    -----
    JCGM 100:2008, equation G.3.
    """
    require_positive("degrees of freedom", relative_doubt=relative_doubt)
    return 1 / (2 * relative_doubt**2)
