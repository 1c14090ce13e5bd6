"""Ratings of two products by the same assessors: Wilcoxon's signed ranks, exact, with the shift and its interval.

Ratings are ordinal. The test asks only that a larger step is a larger step; the shift takes the steps of the scale as
equal, and says so where it is printed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.ranking import within_ranks

_MOST_EXACT = 200  # pairs; the distribution is counted over the sums of ranks
_ROUNDING = 1e-9
_DIGITS = 12  # of the largest rating: 3.3 less 3.2 is then the same step as 4.4 less 4.3


@dataclass(frozen=True, slots=True)
class SignedRank:
    """First less second product, pair by pair.

    Parameters
    ----------
    higher, lower, equal : int     Assessors who rated the first higher, lower and the same.
    statistic : float, None        Sum of the ranks of positive differences.
    p : float, None                Two-sided. [-]
    shift : float, None            Middle of all means of two differences (Hodges and Lehmann). [steps of the scale]
    low, high : float, None        Its interval; None where so few pairs allow none.
    confidence : float             Wanted, such as 0.95; the interval holds at least so much.
    reason : str                   Why nothing can be told; empty where something can.
    """

    higher: int
    lower: int
    equal: int
    statistic: float | None
    p: float | None
    shift: float | None
    low: float | None
    high: float | None
    confidence: float
    reason: str = ""

    @property
    def assessors(self) -> int:
        """Pairs in all."""
        return self.higher + self.lower + self.equal


def signed_rank(first: Sequence[float], second: Sequence[float], confidence: float = 0.95) -> SignedRank:
    """Wilcoxon's signed-rank test of paired ratings.

    Parameters
    ----------
    first, second : sequence of float   Ratings of the two products, assessor by assessor.
    confidence : float                  Of the interval of the shift, between 0 and 1.

    Returns
    -------
    SignedRank   With a `reason` where nobody rated the two differently.

    Raises
    ------
    KitError   `panel.pairs` for lists of different length or none; `panel.not_finite`; `statistics.confidence`.

    Notes
    -----
    Wilcoxon (1945), Biometrics Bulletin 1:80; equal ratings are left out of the ranks as he did. The probability is
    counted over all signs of the ranks as they are, ties included. Interval: Hodges and Lehmann (1963), with the
    counts of a distribution without ties, so that it holds at least what it says.
    """
    if len(first) != len(second) or len(first) == 0:
        raise KitError(
            f"{len(first)} ratings of the first and {len(second)} of the second product",
            where="paired ratings",
            mend="give both ratings of every assessor",
            code="panel.pairs",
        )
    if not all(map(math.isfinite, (*first, *second))):
        raise KitError("a rating is not a number", where="paired ratings", code="panel.not_finite")
    differences = _steps(first, second)
    if not 0 < confidence < 1:
        raise KitError(f"a confidence of {confidence}", allowed="between 0 and 1", code="statistics.confidence")
    moved = [step for step in differences if step]
    counts = (sum(step > 0 for step in moved), sum(step < 0 for step in moved), len(differences) - len(moved))
    shift, low, high = _shift(differences, confidence)
    if not moved:
        return SignedRank(*counts, None, None, shift, low, high, confidence, "every assessor rated the two the same")
    ranks = within_ranks([abs(step) for step in moved])
    statistic = math.fsum(rank for rank, step in zip(ranks, moved, strict=True) if step > 0)
    return SignedRank(*counts, statistic, _two_sided(ranks, statistic), shift, low, high, confidence)


def _steps(first: Sequence[float], second: Sequence[float]) -> list[float]:
    """First less second, so that equal steps of the scale are equal numbers."""
    size = max(map(abs, (*first, *second)))
    places = _DIGITS - math.ceil(math.log10(size)) if size else 0
    return [round(float(one) - float(other), places) for one, other in zip(first, second, strict=True)]


def _two_sided(ranks: Sequence[float], statistic: float) -> float:
    """Twice the smaller tail over all signs."""
    total = math.fsum(ranks)
    smaller = min(statistic, total - statistic)
    if len(ranks) > _MOST_EXACT:
        from scipy.special import ndtr

        sd = math.sqrt(math.fsum(rank * rank for rank in ranks)) / 2
        return float(min(1.0, 2 * ndtr((smaller + 0.5 - total / 2) / sd)))
    ways = _sums([round(2 * rank) for rank in ranks])
    return float(min(1.0, 2 * ways[: math.floor(2 * smaller + _ROUNDING) + 1].sum()))


def _sums(steps: Sequence[int]):
    """Probability of each sum when every step counts or not with a chance of one half."""
    import numpy as np

    ways = np.zeros(sum(steps) + 1)
    ways[0] = 1.0
    for step in steps:
        moved = ways.copy()
        moved[step:] += ways[: len(ways) - step]
        ways = moved / 2
    return ways


def _shift(differences: Sequence[float], confidence: float) -> tuple[float, float | None, float | None]:
    """Middle of the means of all two differences, each with itself too, and the interval between two of them."""
    n = len(differences)
    means = sorted((differences[i] + differences[j]) / 2 for i in range(n) for j in range(i, n))
    middle = len(means) // 2
    shift = means[middle] if len(means) % 2 else (means[middle - 1] + means[middle]) / 2
    cut = _cut(n, (1 - confidence) / 2)
    if cut is None:
        return shift, None, None
    return shift, means[cut], means[len(means) - 1 - cut]


def _cut(n: int, outside: float) -> int | None:
    """How many means are cut off at either end; None where even the whole range holds too little."""
    if n > _MOST_EXACT:
        from scipy.special import ndtri

        sd = math.sqrt(n * (n + 1) * (2 * n + 1) / 24)
        return max(0, math.floor(n * (n + 1) / 4 + float(ndtri(outside)) * sd - 0.5))
    below = _sums(range(1, n + 1)).cumsum()
    fits = [place for place, share in enumerate(below) if share <= outside]
    return fits[-1] if fits else None
