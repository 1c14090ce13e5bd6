"""Charts of the control batch over days: limits from its own moving range, and the constants charts rest on.

The constants are integrals over the normal distribution, not a table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from kit.errors import KitError
from kit.science.statistics import mean_sd
from kit.show import Worded

_NODES = 200
_FAR = 8.5
_ROUNDING = 10 * 2.0**-52  # of the values: jumps below it are none


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Constants of control charts for subgroups of n values; all without unit.

    Parameters
    ----------
    n : int            Values in a subgroup.
    d2, d3 : float     Mean and standard deviation of the range of n standard normal values.
    c4 : float         Mean of their sample standard deviation.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def a2(self) -> float:
        """Limits of means from the mean range."""
        return 3 / (self.d2 * math.sqrt(self.n))

    @property
    def a3(self) -> float:
        """Limits of means from the mean standard deviation."""
        return 3 / (self.c4 * math.sqrt(self.n))

    @property
    def b3(self) -> float:
        """Lower limit of standard deviations."""
        return max(0.0, 1 - 3 * math.sqrt(1 - self.c4**2) / self.c4)

    @property
    def b4(self) -> float:
        """Upper limit of standard deviations."""
        return 1 + 3 * math.sqrt(1 - self.c4**2) / self.c4

    @property
    def d3_limit(self) -> float:
        """Lower limit of ranges, D3."""
        return max(0.0, 1 - 3 * self.d3 / self.d2)

    @property
    def d4_limit(self) -> float:
        """Upper limit of ranges, D4."""
        return 1 + 3 * self.d3 / self.d2

    @property
    def e2(self) -> float:
        """Limits of single values from the mean range."""
        return 3 / self.d2


@dataclass(frozen=True, slots=True, repr=False)
class IndividualsChart(Worded):
    """Single values in order with limits from their moving range. All in the unit of the values.

    Parameters
    ----------
    mean : float                   Centre line.
    moving_range : float, None     Mean of the ranges of neighbours; None for one value.
    sigma : float, None            Standard deviation that the moving range stands for.
    low, high : float, None        Limits of single values, three sigma.
    range_high : float, None       Upper limit of the moving range.
    outside : tuple of int         Places of values outside their limits.
    range_outside : tuple of int   Places of values that jumped from the one before by more than the range's limit.
    lag_one : float, None          Correlation of neighbours; None where it cannot be told.
    reason : str                   Why a part is missing.
    """

    mean: float
    moving_range: float | None
    sigma: float | None
    low: float | None
    high: float | None
    range_high: float | None
    outside: tuple[int, ...]
    range_outside: tuple[int, ...]
    lag_one: float | None
    reason: str = ""

    @property
    def words(self) -> str:
        """Limits, and what lies outside."""
        if self.reason:
            return self.reason
        told = f"mean {self.mean:.6g}, limits {self.low:.6g} to {self.high:.6g}"
        places = ", ".join(str(place + 1) for place in self.outside)
        return f"{told}; outside: {places}" if places else f"{told}; nothing outside"


@lru_cache(maxsize=64)
def chart_constants(n: int) -> ChartConstants:
    """Constants for subgroups of n values, by integration.

    Parameters
    ----------
    n : int   2 or more.

    Raises
    ------
    KitError   `chart.size`.

    Notes
    -----
    L. H. C. Tippett, Biometrika 17 (1925) 364.
    """
    import numpy as np
    from scipy.special import gammaln, ndtr

    if n < 2:
        raise KitError(
            f"a subgroup of {n}", where="control chart", allowed="2 values or more", mend="", code="chart.size"
        )
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    place, weight = _FAR * place, _FAR * weight
    below = ndtr(place)
    d2 = float(weight @ (1 - (1 - below) ** n - below**n))
    # E[range^2] = 2 x integral over x < y; the inner one on its own nodes between x and the far end
    inner = 0.5 * (place[None, :] / _FAR + 1) * (_FAR - place[:, None]) + place[:, None]
    above = ndtr(inner)
    joint = 1 - above**n - (1 - below[:, None]) ** n + (above - below[:, None]) ** n
    width = 0.5 * (_FAR - place) / _FAR
    square = 2 * float(weight @ ((joint @ weight) * width))
    c4 = math.sqrt(2 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))
    return ChartConstants(n, d2, math.sqrt(square - d2 * d2), c4)


def individuals_chart(values: Sequence[float]) -> IndividualsChart:
    """Limits of single values in their order, such as the control batch of each day.

    Parameters
    ----------
    values : sequence of float   In order. [unit]

    Returns
    -------
    IndividualsChart   Without limits for one value, or where all are alike.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`.

    Notes
    -----
    W. A. Shewhart's chart with the moving range of two, d2 = 1.128 and D4 = 3.267.
    """
    found = mean_sd(values)
    jumps = [abs(later - earlier) for earlier, later in pairwise(values)]
    if not jumps or max(jumps) <= _ROUNDING * max(map(abs, values)):
        reason = "one value has no limits" if not jumps else "all values are alike: their scatter is not known"
        return IndividualsChart(found.mean, 0.0 if jumps else None, *(None,) * 4, (), (), None, reason)
    constants, mean_jump = chart_constants(2), math.fsum(jumps) / len(jumps)
    sigma = mean_jump / constants.d2
    low, high, most = found.mean - 3 * sigma, found.mean + 3 * sigma, constants.d4_limit * mean_jump
    outside = tuple(place for place, value in enumerate(values) if not low <= value <= high)
    jumped = tuple(place + 1 for place, jump in enumerate(jumps) if jump > most)
    return IndividualsChart(found.mean, mean_jump, sigma, low, high, most, outside, jumped, lag_one(values))


def lag_one(values: Sequence[float]) -> float | None:
    """Correlation of every value with the one before; None for fewer than two values or all alike. [-]

    Parameters
    ----------
    values : sequence of float   In order. [unit]

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12.
    """
    start = values[0] if len(values) else 0.0
    shifted = [value - start for value in values]
    mean = mean_sd(shifted).mean
    away = [value - mean for value in shifted]
    squares = math.fsum(part * part for part in away)
    if not squares:
        return None
    return math.fsum(one * other for one, other in pairwise(away)) / squares
