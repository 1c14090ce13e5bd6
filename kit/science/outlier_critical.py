"""How far out the furthest value lies: for information, never a reason by itself to leave it out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.simultaneous import check_confidence
from kit.science.statistics import mean_sd
from kit.show import Worded

_ROUNDING = 10 * 2.0**-52  # of the values: a scatter below it is none
FEWEST = 6
"""With fewer values statistics alone say nothing about an outlier (common practice, no source)."""


@dataclass(frozen=True, slots=True, repr=False)
class FurthestValue(Worded):
    """The value furthest from the mean.

    Parameters
    ----------
    place : int               Its place.
    distance : float, None    From the mean in standard deviations (G); None for fewer than three values or all alike.
    critical : float, None    G that normal values pass with the chance alpha.
    alpha : float             Such as 0.05.
    n : int                   Values.
    """

    place: int
    distance: float | None
    critical: float | None
    alpha: float
    n: int

    @property
    def stands_out(self) -> bool:
        """Whether it lies further out than chance allows."""
        return self.distance is not None and self.distance > self.critical

    @property
    def words(self) -> str:
        """What was found, and that it takes a physical reason to leave a value out."""
        if self.distance is None:
            return "too few values, or all alike: nothing can be said about the furthest"
        told = (
            f"value {self.place + 1} lies {self.distance:.3g} SD from the mean ({self.critical:.3g} at {self.alpha:g})"
        )
        few = f", with fewer than {FEWEST} values least of all" if self.n < FEWEST else ""
        return f"{told}: it stays unless there is a physical reason{few}"


def grubbs_critical(n: int, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """The distance of the furthest value in standard deviations that is passed with a chance alpha. [-]

    Parameters
    ----------
    n : int            Values, 3 or more.
    alpha : float      Between 0 and 1.
    two_sided : bool   Whether the furthest to either side is looked at; else the largest (or the smallest) alone.

    Raises
    ------
    KitError   `outlier.size`, `statistics.confidence`.

    Notes
    -----
    F. E. Grubbs, Technometrics 11 (1969) 1; NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
    """
    from scipy.special import stdtrit

    check_confidence(1 - alpha)
    if n < 3:
        raise KitError(
            f"{n} values", where="furthest value", allowed="3 or more", mend="make more batches", code="outlier.size"
        )
    t = float(stdtrit(n - 2, 1 - alpha / (2 * n if two_sided else n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def furthest_value(values: Sequence[float], alpha: float = 0.05) -> FurthestValue:
    """The value furthest from the mean, for information.

    Parameters
    ----------
    values : sequence of float   [unit]
    alpha : float                Chance to call one out among normal values.

    Returns
    -------
    FurthestValue   Nothing is ever left out by it.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`.
    """
    found = mean_sd(values)
    place = max(range(found.n), key=lambda index: abs(values[index] - found.mean))
    if found.n < 3 or found.sd <= _ROUNDING * max(map(abs, values)):
        return FurthestValue(place, None, None, alpha, found.n)
    distance = abs(values[place] - found.mean) / found.sd
    return FurthestValue(place, distance, grubbs_critical(found.n, alpha), alpha, found.n)
