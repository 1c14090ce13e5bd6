"""Ranks of a panel in which not every assessor judged every product: the test of Skillings and Mack."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.ranking import Rows, checked_rows, within_ranks

_RANK_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class IncompleteRanking:
    """Whether products differ, from rows with gaps.

    Parameters
    ----------
    statistic : float, None   Chi-square under chance. [-]
    df : int                  Products less one.
    p : float, None           By the chi-square approximation. [-]
    scores : tuple of float   Weighted sum of ranks about their middle, by product; above 0 for large ranks.
    assessors : int           Rows with two products or more.
    reason : str              Why nothing can be told; empty where something can.
    """

    statistic: float | None
    df: int
    p: float | None
    scores: tuple[float, ...]
    assessors: int
    reason: str = ""


def skillings_mack(rows: Rows) -> IncompleteRanking:
    """Whether products differ, also where assessors judged only some of them.

    Parameters
    ----------
    rows : sequence of rows   Assessors by products; None where a product was not judged.

    Returns
    -------
    IncompleteRanking   Without gaps and ties the statistic is Friedman's. With a `reason` where no row has two
                        products, or the products fall into groups that no assessor compared.

    Raises
    ------
    KitError   `panel.rows` for rows of different length or fewer than two products; `panel.not_finite`.

    Notes
    -----
    Skillings and Mack (1981), Technometrics 23:171. Ties share their mean rank, which the variance does not know of:
    with many ties the probability is too large.
    """
    products = checked_rows(rows)
    judged = [_judged(row) for row in rows]
    used = [(places, ranks) for places, ranks in judged if len(places) > 1]
    scores = [0.0] * products
    together = [[0] * products for _ in range(products)]
    for places, ranks in used:
        weight = math.sqrt(12 / (len(places) + 1))
        for place, rank in zip(places, ranks, strict=True):
            scores[place] += weight * (rank - (len(places) + 1) / 2)
            for other in places:
                together[place][other] += -1 if other != place else len(places) - 1
    told = tuple(scores)
    if not used:
        return IncompleteRanking(None, products - 1, None, told, 0, "no assessor judged two products")
    return _tested(told, together, products - 1, len(used))


def _judged(row: Sequence[float | None]) -> tuple[list[int], tuple[float, ...]]:
    places = [place for place, value in enumerate(row) if value is not None]
    return places, within_ranks([row[place] for place in places])


def _tested(scores: tuple[float, ...], together: list[list[int]], df: int, assessors: int) -> IncompleteRanking:
    import numpy as np
    from scipy.special import chdtrc

    covariance = np.array(together, dtype=float)
    if np.linalg.matrix_rank(covariance, tol=_RANK_TOLERANCE * covariance.max()) < df:
        reason = "the products fall into groups that no assessor compared"
        return IncompleteRanking(None, df, None, scores, assessors, reason)
    statistic = float(np.array(scores) @ np.linalg.pinv(covariance, hermitian=True) @ np.array(scores))
    return IncompleteRanking(statistic, df, float(chdtrc(df, statistic)), scores, assessors)
