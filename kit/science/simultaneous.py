"""The chance that several t values at once stay within a bound, by deterministic integration.

Two families: comparisons that share a control (t values correlated as the product of two loadings), and all pairs of
means (the studentized range); and one t value whose truth is not zero, for the chance to find a difference. No random
numbers: the same question has the same answer, to about nine digits of the probability.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from kit.errors import KitError
from kit.science.bracketed_root import bracketed_root

_NODES = 64
_FEW_DF = 4  # below it the tails of t are so heavy that the scatter takes twice the places
_SHARPEST = 0.55  # of a step, in standard normals, that one panel of places follows to nine digits
_MEANS_A_PANEL = 12  # whose largest of all is followed likewise
_TAIL = 1e-17  # of chi left out on either side
_FAR = 8.5  # of a standard normal: the rest is below 1e-16
_CLOSEST = 0.99999  # a loading of one would divide by zero


def within_probability(
    bound: float, loadings: Sequence[float], df: float = math.inf, *, two_sided: bool = True
) -> float:
    """Probability that every one of k correlated t values stays within a bound. [-]

    Parameters
    ----------
    bound : float                 At least 0 where two-sided.
    loadings : sequence of float  One a t value, each between -1 and 1: the correlation of two is their product. For k
                                  means of n_i values against a control of n_0 it is sqrt(n_i / (n_i + n_0)).
    df : float                    Degrees of freedom of the scatter they share; infinite where it is known.
    two_sided : bool              Whether -bound counts too; else only what lies above the bound is out.

    Raises
    ------
    KitError   `statistics.df` for degrees of freedom that are not above zero.

    Notes
    -----
    C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096, and Biometrics 20 (1964) 482 for unequal sizes: given the shared
    part and the scatter the t values are independent, which leaves two integrals; both by Gauss and Legendre.
    """
    import numpy as np
    from scipy.special import ndtr

    load, times = np.unique(np.clip(np.asarray(loadings, dtype=float), -_CLOSEST, _CLOSEST), return_counts=True)
    load = load[:, None, None]
    own = np.sqrt(1 - load * load)
    # a loading near one makes the inner chance a step: the nearer, the more places it takes to follow it
    shared, weight = _normal_nodes(_panels(float((np.abs(load) / own).max(initial=0.0)) * _SHARPEST))
    scatter, scatter_weight = _scatter_nodes(_checked(df))
    middle, reach = load * shared[None, :, None] / own, bound * scatter[None, None, :] / own
    inside = ndtr(reach - middle) - (ndtr(-reach - middle) if two_sided else 0.0)
    return float(weight @ np.prod(inside ** times[:, None, None], axis=0) @ scatter_weight)


def shifted_within(bound, shift: float, df: float = math.inf):
    """Probability that a t value stays within a bound when the truth lies off by a shift. [-]

    Parameters
    ----------
    bound : float or array   To either side of zero.
    shift : float            True difference over its true standard error (noncentral t).
    df : float               Degrees of freedom of the scatter.

    Returns
    -------
    float or array   As the bound.

    Raises
    ------
    KitError   `statistics.df`.
    """
    import numpy as np
    from scipy.special import ndtr

    scatter, weight = _scatter_nodes(_checked(df))
    reach = np.asarray(bound)[..., None] * scatter
    return (ndtr(reach - shift) - ndtr(-reach - shift)) @ weight


def shifted_below(bound, shift: float, df: float = math.inf):
    """Probability that a t value stays below a bound when the truth lies off by a shift. [-]

    Parameters
    ----------
    bound : float or array   On one side only.
    shift : float            True difference over its true standard error (noncentral t).
    df : float               Degrees of freedom of the scatter.

    Returns
    -------
    float or array   As the bound.

    Raises
    ------
    KitError   `statistics.df`.
    """
    import numpy as np
    from scipy.special import ndtr

    scatter, weight = _scatter_nodes(_checked(df))
    return ndtr(np.asarray(bound)[..., None] * scatter - shift) @ weight


@lru_cache(maxsize=4096)
def critical_value(
    loadings: tuple[float, ...], df: float = math.inf, confidence: float = 0.95, *, two_sided: bool = True
) -> float:
    """The bound that all of several correlated t values stay within with a given probability. [-]

    Parameters
    ----------
    loadings : tuple of float   As of `within_probability`.
    df : float                  Degrees of freedom of the scatter, 1 or more.
    confidence : float          For all of them together, between 0 and 1.
    two_sided : bool            Whether differences to either side count.

    Raises
    ------
    KitError   `statistics.df`, `statistics.confidence`.
    """
    from scipy.special import stdtrit

    _enough(df)
    sides = 2 if two_sided else 1
    one, each = (1 - check_confidence(confidence)) / sides, (1 - confidence) / sides / len(loadings)
    low, high = (float(stdtrit(min(df, 1e12), 1 - tail)) for tail in (one, each))
    if len(loadings) == 1:
        return low
    return _root(lambda bound: within_probability(bound, loadings, df, two_sided=two_sided) - confidence, low, high)


def either_side_critical(loadings: tuple[float, ...], df: float = math.inf, confidence: float = 0.95) -> float:
    """The one-sided bound that all of several t values stay within, whichever side each of them is held against. [-]

    Parameters
    ----------
    loadings : tuple of float   As of `within_probability`, all above zero: the t values share a control.
    df : float                  Degrees of freedom of the scatter, 1 or more.
    confidence : float          For all of them together, between 0 and 1.

    Raises
    ------
    KitError   `statistics.df`, `statistics.confidence`.

    Notes
    -----
    Dunnett's one-sided bound is for all on the same side. Of two held against opposite sides the correlation turns
    round, which needs a little more, most where both sides weigh alike; by D. Slepian, Bell Syst. Tech. J. 41 (1962)
    463, it holds then for all on the same side too.
    """
    one, other = [], []  # sides that weigh alike are the worst
    for load in sorted(loadings, reverse=True):
        (one if sum(one) <= sum(other) else other).append(load)
    return critical_value((*one, *(-load for load in other)), df, confidence, two_sided=False)


def range_probability(bound: float, means: int, df: float = math.inf) -> float:
    """Probability that the range of some means, over the standard error of one, stays below a bound. [-]

    Parameters
    ----------
    bound : float   The studentized range q, not below zero.
    means : int     How many means, 2 or more.
    df : float      Degrees of freedom of the scatter.

    Raises
    ------
    KitError   `statistics.df`.

    Notes
    -----
    The integral of H. L. Harter, Ann. Math. Stat. 31 (1960) 1122, by Gauss and Legendre.
    """
    from scipy.special import ndtr

    shared, weight = _normal_nodes(_panels(means / _MEANS_A_PANEL))
    scatter, scatter_weight = _scatter_nodes(_checked(df))
    inside = (ndtr(shared)[:, None] - ndtr(shared[:, None] - bound * scatter[None, :])) ** (means - 1)
    return float(means * (weight @ inside @ scatter_weight))


@lru_cache(maxsize=4096)
def range_critical(means: int, df: float = math.inf, confidence: float = 0.95) -> float:
    """The studentized range q that is not passed with a given probability. [-]

    Parameters
    ----------
    means : int          2 or more.
    df : float           Degrees of freedom of the scatter, 1 or more.
    confidence : float   Between 0 and 1.

    Raises
    ------
    KitError   `statistics.df`, `statistics.confidence`.
    """
    from scipy.special import stdtrit

    pairs, df = means * (means - 1) / 2, _enough(df)
    tails = (1 - check_confidence(confidence)) / 2, (1 - confidence) / 2 / pairs
    low, high = (math.sqrt(2) * float(stdtrit(min(df, 1e12), 1 - tail)) for tail in tails)
    if means == 2:
        return low
    return _root(lambda bound: range_probability(bound, means, df) - confidence, low, high)


def enough_df(df: float) -> bool:
    """Whether a scatter has the one degree of freedom that an interval needs.

    Parameters
    ----------
    df : float   Whole or, where it was estimated, not; a rounding error below one is one.
    """
    return df >= 1 - 1e-6


def check_confidence(confidence: float) -> float:
    """The confidence itself, where it is one.

    Raises
    ------
    KitError   `statistics.confidence`.
    """
    if not 0 < confidence < 1:
        raise KitError(
            f"a confidence of {confidence} is not possible",
            where="intervals that hold together",
            allowed="between 0 and 1, such as 0.95",
            mend="give the confidence as a fraction",
            code="statistics.confidence",
        )
    return confidence


def _root(missing, low: float, high: float) -> float:
    """Where the probability is reached: between the bound of one t value and that of Bonferroni."""
    return bracketed_root(missing, low * (1 - 1e-9), high * (1 + 1e-9), xtol=1e-10, rtol=1e-12)


def _enough(df: float) -> float:
    """Degrees of freedom that a bound can be worked out for: below one the tails outrun the integral."""
    if not enough_df(df):
        raise KitError(
            f"{df} degrees of freedom",
            where="intervals that hold together",
            allowed="1 or more",
            mend="repeat a batch: less than one degree of freedom tells no scatter",
            code="statistics.df",
        )
    return df


def _checked(df: float) -> float:
    if not df > 0:
        raise KitError(
            f"{df} degrees of freedom",
            where="intervals that hold together",
            allowed="above 0",
            mend="repeat a batch: without repeats the scatter is not known",
            code="statistics.df",
        )
    return df


def _panels(sharper: float) -> int:
    """Panels of places, doubled until they are so many times as close; a few counts only, which are kept."""
    return 1 << max(0, math.ceil(math.log2(max(sharper, 1.0))))


@lru_cache(maxsize=16)
def _normal_nodes(panels: int):
    """Places and weights of a standard normal, in so many panels side by side."""
    import numpy as np

    place, weight = np.polynomial.legendre.leggauss(_NODES)
    half = _FAR / panels
    middles = -_FAR + half * (2 * np.arange(panels) + 1)
    place = (middles[:, None] + half * place[None, :]).ravel()
    return place, half * np.tile(weight, panels) * np.exp(-0.5 * place * place) / math.sqrt(2 * math.pi)


@lru_cache(maxsize=512)
def _scatter_nodes(df: float):
    """Places and weights of an estimated standard deviation over the true one: the root of chi squared over df."""
    import numpy as np
    from scipy.special import gammainccinv, gammaincinv, gammaln

    if df > 1e7:
        return np.ones(1), np.ones(1)
    low = math.sqrt(2 * float(gammaincinv(df / 2, _TAIL)) / df)
    high = math.sqrt(2 * float(gammainccinv(df / 2, _TAIL)) / df)
    place, weight = np.polynomial.legendre.leggauss(2 * _NODES if df < _FEW_DF else _NODES)
    # squared steps: close together near zero, where a heavy tail of t comes from
    step = 0.5 * (place + 1)
    scatter = low + (high - low) * step * step
    log_density = (
        (df / 2) * math.log(df / 2) + math.log(2) - float(gammaln(df / 2)) + (df - 1) * np.log(scatter)
        - df * scatter * scatter / 2
    )  # fmt: skip
    weight = 0.5 * weight * 2 * step * (high - low) * np.exp(log_density)
    return scatter, weight / weight.sum()
