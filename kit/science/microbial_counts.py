"""Plate counts, below or above what the plates can tell as well, and the log reductions between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.show import Worded

BOUNDS = ("", "<", ">")
_INFINITE = math.inf


@dataclass(frozen=True, slots=True, repr=False)
class Count(Worded):
    """A count of living cells: a number, or one side of it where the plates tell no more. [CFU/g]

    `bound` is "" for a number, "<" below the detection limit, ">" above what can be counted.

    Raises
    ------
    KitError   `challenge.count` for a number that is not above 0 or an unknown bound.
    """

    cfu_per_g: float
    bound: str = ""

    def __post_init__(self) -> None:
        if self.bound not in BOUNDS or not 0 < self.cfu_per_g < _INFINITE:
            raise KitError(
                f"{self.bound}{self.cfu_per_g:g} is not a count",
                allowed="a number above 0, or one with < or > before it",
                mend='where nothing grew write the detection limit of the plates, such as "<10"',
                code="challenge.count",
            )

    @property
    def log_low(self) -> float:
        """Least its decimal logarithm can be. [log CFU/g]"""
        return -_INFINITE if self.bound == "<" else math.log10(self.cfu_per_g)

    @property
    def log_high(self) -> float:
        """Most its decimal logarithm can be. [log CFU/g]"""
        return _INFINITE if self.bound == ">" else math.log10(self.cfu_per_g)

    def __str__(self) -> str:
        return f"{self.bound}{self.cfu_per_g:g}"


@dataclass(frozen=True, slots=True, repr=False)
class Reduction(Worded):
    """A log reduction between its least and its greatest possible value; the same where both counts are numbers.

    Infinite ends say that a count below or above the plates' range sets no limit.
    """

    low: float
    high: float

    def __str__(self) -> str:
        if self.low == self.high:
            return f"{self.low:.3f}"
        if math.isinf(self.low) and math.isinf(self.high):
            return "not known"
        return f">= {self.low:.3f}" if math.isinf(self.high) else f"<= {self.high:.3f}"


def log_reduction(initial: Count, later: Count) -> Reduction:
    """Log reduction from one count to a later one, R = lg N0 - lg Nx.

    Parameters
    ----------
    initial : Count   The inoculum in the product, or an earlier count.
    later : Count     The count of the day.

    Returns
    -------
    Reduction   Left open to the side that a count below or above the plates' range leaves open.

    Examples
    --------
    >>> print(log_reduction(Count(5e5), Count(10, "<")))
    >= 4.699
    """
    return Reduction(initial.log_low - later.log_high, initial.log_high - later.log_low)
