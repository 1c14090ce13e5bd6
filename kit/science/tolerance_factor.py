"""How many standard deviations around a mean hold most single values, when both come from few values."""

from __future__ import annotations

import math

from kit.errors import KitError
from kit.science.simultaneous import check_confidence, shifted_below


def two_sided_tolerance(n: int, coverage: float, confidence: float) -> float:
    """The factor k: mean ± k SD holds a share of all single values. [-]

    Parameters
    ----------
    n : int              Values that mean and SD come from, 2 or more.
    coverage : float     Share of single values, between 0 and 1.
    confidence : float   That it is at least this share.

    Raises
    ------
    KitError   `tolerance.size`, `statistics.confidence`.

    Notes
    -----
    W. G. Howe, J. Am. Stat. Assoc. 64 (1969) 610, an approximation good to about 1 % from ten values on; NIST/SEMATECH
    e-Handbook of Statistical Methods, 7.2.6.3.
    """
    from scipy.special import chdtri, ndtri

    _checked(n, coverage, confidence)
    z = float(ndtri((1 + coverage) / 2))
    return z * math.sqrt((n - 1) * (1 + 1 / n) / float(chdtri(n - 1, confidence)))


def one_sided_tolerance(n: int, coverage: float, confidence: float) -> float:
    """The factor k: mean + k SD lies above a share of all single values. Exact for normal values. [-]

    Parameters
    ----------
    n : int              Values that mean and SD come from, 2 or more.
    coverage : float     Share of single values, between 0 and 1.
    confidence : float   That it is at least this share.

    Raises
    ------
    KitError   `tolerance.size`, `statistics.confidence`.

    Notes
    -----
    Noncentral t; NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtri

    _checked(n, coverage, confidence)
    shift = float(ndtri(coverage)) * math.sqrt(n)

    def short_of(bound: float) -> float:
        return float(shifted_below(bound, shift, n - 1)) - confidence

    low, high = -1.0, 1.0
    while short_of(low) > 0:
        low *= 2
    while short_of(high) < 0:
        high *= 2
    return float(brentq(short_of, low, high, xtol=1e-10)) / math.sqrt(n)


def _checked(n: int, coverage: float, confidence: float) -> None:
    if n < 2:
        raise KitError(
            f"{n} value" if n == 1 else f"{n} values",
            where="tolerance factor",
            allowed="2 values or more",
            mend="one value has no scatter of its own",
            code="tolerance.size",
        )
    check_confidence(coverage)
    check_confidence(confidence)
