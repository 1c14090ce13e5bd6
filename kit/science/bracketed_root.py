"""Where a continuous function crosses zero between two ends, without loading a library of optimisers for it.

Pages find a handful of roots each; `scipy.optimize` takes longer to load than a page takes to be worked out.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from kit.errors import KitError

_MOST = 200  # steps; bisection alone needs fewer than 100 for any two ends of double precision that do not span zero


def bracketed_root(
    function: Callable[[float], float], low: float, high: float, *, xtol: float = 1e-12, rtol: float = 1e-14
) -> float:
    """The root that lies between two ends of different sign.

    Parameters
    ----------
    function : callable   Continuous, of one number.
    low, high : float     Ends, at which the function has different signs or is zero.
    xtol, rtol : float    The root is known to xtol + rtol |root|.

    Raises
    ------
    KitError   `science.bracket` where both ends have the same sign, or one of them is not a number.

    Notes
    -----
    T. R. Chandrupatla, Advances in Engineering Software 28 (1997) 145: inverse quadratic interpolation where its
    condition holds, bisection elsewhere; the bracket is kept throughout.
    """
    newest, other = float(low), float(high)
    at_newest, at_other = function(newest), function(other)
    for end, value in ((newest, at_newest), (other, at_other)):
        if value == 0:
            return end
    if math.isnan(at_newest) or math.isnan(at_other) or (at_newest > 0) == (at_other > 0):
        raise _no_bracket(low, high, at_newest, at_other)
    share = 0.5
    for _ in range(_MOST):
        tried = newest + share * (other - newest)
        at_tried = function(tried)
        if (at_tried > 0) == (at_newest > 0):
            last, at_last = newest, at_newest
        else:
            last, at_last, other, at_other = other, at_other, newest, at_newest
        newest, at_newest = tried, at_tried
        best, at_best = (newest, at_newest) if abs(at_newest) < abs(at_other) else (other, at_other)
        limit = (xtol + rtol * abs(best)) / 2
        least = limit / abs(other - newest) if other != newest else 1.0
        if least > 0.5 or at_best == 0:
            return best
        share = min(max(_share(newest, other, last, at_newest, at_other, at_last), least), 1 - least)
    return best


def _share(newest: float, other: float, last: float, at_newest: float, at_other: float, at_last: float) -> float:
    """How far along the bracket to try next."""
    along, up = (newest - other) / (last - other), (at_newest - at_other) / (at_last - at_other)
    if not (up * up < along and (1 - up) ** 2 < 1 - along):
        return 0.5
    return at_newest / (at_other - at_newest) * at_last / (at_other - at_last) + (last - newest) / (
        other - newest
    ) * at_newest / (at_last - at_newest) * at_other / (at_last - at_other)


def _no_bracket(low: float, high: float, at_low: float, at_high: float) -> KitError:
    return KitError(
        f"the function is {at_low:.3g} at {low:.6g} and {at_high:.3g} at {high:.6g}",
        where="a root between two ends",
        allowed="different signs at the two ends",
        mend="give ends on either side of the root",
        code="science.bracket",
    )
