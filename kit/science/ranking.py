"""Ranks given by a panel: whether the products differ (Friedman), which of them, and a trend expected before (Page).

One row an assessor, one column a product; a score or a rank, where only the order within a row counts. Ties share the
mean of their ranks. The chi-square and normal approximations hold for about ten assessors and more; for few products
and assessors the probability is counted out instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.panel_tests import checked_risk

_MOST_STEPS = 5e7  # of counting, a few tenths of a second; beyond them chi-square is near enough
_ROUNDING = 1e-9

Rows = Sequence[Sequence[float | None]]
"""Scores or ranks, a row an assessor; None where a product was not judged."""


@dataclass(frozen=True, slots=True)
class Ranking:
    """Rank sums and what they say. A column is a product.

    Parameters
    ----------
    rank_sums : tuple of float        By product, over the assessors that judged every product.
    assessors, products : int         Assessors counted, and products.
    statistic : float, None           Friedman's, corrected for ties. [-]
    df : int                          Its degrees of freedom.
    p_chi2 : float, None              By the chi-square approximation. [-]
    p_exact : float, None             Counted over all orders the assessors could have given; None where it was not.
    deviation : float                 Sum over assessors of the variance of their ranks: p (p + 1) / 12 each, no ties.
    left_out : tuple of int           Rows that were not complete.
    reason : str                      Why nothing can be told; empty where something can.
    """

    rank_sums: tuple[float, ...]
    assessors: int
    products: int
    statistic: float | None
    df: int
    p_chi2: float | None
    p_exact: float | None
    deviation: float
    left_out: tuple[int, ...] = ()
    reason: str = ""

    @property
    def p(self) -> float | None:
        """The exact probability where it was counted, else the approximate one. [-]"""
        return self.p_chi2 if self.p_exact is None else self.p_exact

    def critical(self, alpha: float = 0.05) -> float:
        """The value of chi-square that the statistic is held against.

        Parameters
        ----------
        alpha : float   Between 0 and 1. [-]

        Raises
        ------
        KitError   `panel.alpha`.
        """
        from scipy.special import chdtri

        return float(chdtri(self.df, checked_risk(alpha)))

    def least_difference(self, alpha: float = 0.05) -> float:
        """The least significant difference of two rank sums, for one pair at a time (ISO 8587:2006, 7.2).

        Parameters
        ----------
        alpha : float   Risk of each pair, between 0 and 1. [-]

        Raises
        ------
        KitError   `panel.alpha`.

        Notes
        -----
        z sqrt(j p (p + 1) / 6) without ties. To be used where the Friedman test itself shows a difference.
        """
        from scipy.special import ndtri

        return float(ndtri(1 - checked_risk(alpha) / 2)) * math.sqrt(2 * self.deviation)

    def least_difference_of_all(self, alpha: float = 0.05) -> float:
        """The same for all pairs at once: the risk holds for the whole table (Nemenyi 1963).

        Parameters
        ----------
        alpha : float   Risk of one wrong pair or more, between 0 and 1. [-]

        Raises
        ------
        KitError   `panel.alpha`.
        """
        from scipy.stats import studentized_range

        critical = float(studentized_range.ppf(1 - checked_risk(alpha), self.products, math.inf))
        return critical * math.sqrt(self.deviation)

    def pairs(self, difference: float) -> tuple[tuple[int, int], ...]:
        """Pairs of products whose rank sums differ by `difference` or more, the smaller sum first.

        Parameters
        ----------
        difference : float   As `least_difference` gives it.
        """
        places = sorted(range(self.products), key=lambda place: (self.rank_sums[place], place))
        return tuple(
            (first, second)
            for at, first in enumerate(places)
            for second in places[at + 1 :]
            if self.rank_sums[second] - self.rank_sums[first] >= difference - _ROUNDING
        )


@dataclass(frozen=True, slots=True)
class Trend:
    """Page's test of an order that was stated before.

    Parameters
    ----------
    statistic : float, None   L, the sum of place times rank sum.
    mean, sd : float          Of L, if the assessors ranked at random.
    p : float, None           One-sided, normal approximation. [-]
    reason : str              Why nothing can be told; empty where something can.
    """

    statistic: float | None
    mean: float
    sd: float
    p: float | None
    reason: str = ""

    def critical(self, alpha: float = 0.05) -> float:
        """The L from which on the order is shown (ISO 8587:2006): (z p (p+1) sqrt(j (p-1)) + 3 j p (p+1)^2) / 12.

        Parameters
        ----------
        alpha : float   One-sided risk, between 0 and 1. [-]

        Raises
        ------
        KitError   `panel.alpha`.
        """
        from scipy.special import ndtri

        return self.mean + float(ndtri(1 - checked_risk(alpha))) * self.sd


def friedman(rows: Rows) -> Ranking:
    """Whether products differ in the ranks of a panel.

    Parameters
    ----------
    rows : sequence of rows   Assessors by products; a row with a None is left out and named.

    Returns
    -------
    Ranking   With a `reason` where there are fewer than two complete rows, or every assessor tied all products.

    Raises
    ------
    KitError   `panel.rows` for rows of different length or fewer than two products; `panel.not_finite`.

    Notes
    -----
    Friedman (1937), J. Am. Stat. Assoc. 32:675; ties as in Conover, Practical Nonparametric Statistics.
    """
    products = checked_rows(rows)
    whole = [within_ranks(row) for row in rows if None not in row]
    left = tuple(place for place, row in enumerate(rows) if None in row)
    sums = tuple(math.fsum(column) for column in zip(*whole, strict=True)) if whole else (0.0,) * products
    middle = (products + 1) / 2
    deviation = math.fsum((rank - middle) ** 2 for row in whole for rank in row) / (products - 1)
    reason = _why_not(len(whole), deviation)
    if reason:
        return Ranking(sums, len(whole), products, None, products - 1, None, None, deviation, left, reason)
    statistic = math.fsum((total - len(whole) * middle) ** 2 for total in sums) / deviation
    from scipy.special import chdtrc

    p_chi2, p_exact = float(chdtrc(products - 1, statistic)), _counted(whole, sums)
    return Ranking(sums, len(whole), products, statistic, products - 1, p_chi2, p_exact, deviation, left)


def page(rows: Rows, order: Sequence[int]) -> Trend:
    """Whether the ranks follow an order of the products that was stated before.

    Parameters
    ----------
    rows : sequence of rows     As in `friedman`.
    order : sequence of int     Columns in the order expected, the one with the smallest rank first.

    Raises
    ------
    KitError   `panel.rows`, `panel.not_finite`; `panel.order` where the order does not name every column once.

    Notes
    -----
    Page (1963), J. Am. Stat. Assoc. 58:216.
    """
    products = checked_rows(rows)
    if sorted(order) != list(range(products)):
        raise KitError(
            f"the order {tuple(order)} does not name each of {products} products once",
            where="test of an expected order",
            mend="name every product once, the one with the smallest rank first",
            code="panel.order",
        )
    ranking = friedman(rows)
    middle = (products + 1) / 2
    squares = math.fsum((place - middle) ** 2 for place in range(1, products + 1))
    mean, sd = products * middle * middle * ranking.assessors, math.sqrt(squares * ranking.deviation)
    if ranking.reason:
        return Trend(None, mean, sd, None, ranking.reason)
    found = math.fsum(place * ranking.rank_sums[column] for place, column in enumerate(order, start=1))
    from scipy.special import ndtr

    return Trend(found, mean, sd, float(ndtr((mean - found) / sd)))


def within_ranks(row: Sequence[float]) -> tuple[float, ...]:
    """Ranks within one row, 1 for the smallest; equal values share the mean of their ranks.

    Parameters
    ----------
    row : sequence of float
    """
    below = [sum(other < value for other in row) for value in row]
    equal = [sum(other == value for other in row) for value in row]
    return tuple(less + (same + 1) / 2 for less, same in zip(below, equal, strict=True))


def checked_rows(rows: Rows) -> int:
    """The number of products.

    Parameters
    ----------
    rows : sequence of rows   Assessors by products; None where a product was not judged.

    Raises
    ------
    KitError   `panel.rows` for rows of different length or fewer than two products; `panel.not_finite`.
    """
    lengths = {len(row) for row in rows}
    if len(lengths) != 1 or min(lengths) < 2:
        raise KitError(
            "the rows have different lengths" if len(lengths) > 1 else "a ranking needs two products and one assessor",
            where="ranks of a panel",
            allowed="one row an assessor, one column a product, None where a product was not judged",
            mend="give every assessor the same columns",
            code="panel.rows",
        )
    for value in (value for row in rows for value in row if value is not None):
        if not math.isfinite(value):
            raise KitError(f"{value} is no rank and no score", where="ranks of a panel", code="panel.not_finite")
    return lengths.pop()


def _why_not(whole: int, deviation: float) -> str:
    if whole < 2:
        return f"{whole} assessor judged every product; it takes two" if whole else "no assessor judged every product"
    return "" if deviation else "every assessor put all products level"


def _counted(whole: Sequence[Sequence[float]], sums: Sequence[float]) -> float | None:
    """The share of all orders that spread the rank sums at least as far: each assessor's ranks in every order."""
    products, assessors = len(sums), len(whole)
    scale = 2 if any(rank % 1 for row in whole for rank in row) else 1  # ties have halves
    size = scale * products * assessors + 1
    if float(size) ** (products - 1) * math.factorial(products) * assessors > _MOST_STEPS:
        return None
    import itertools

    import numpy as np

    free = products - 1  # the last sum follows from the others
    ways = np.zeros((size,) * free)
    ways[(0,) * free] = 1.0
    for row in whole:
        orders = list(itertools.permutations(round(scale * rank) for rank in row))
        moved = np.zeros_like(ways)
        for order in orders:
            to = tuple(slice(step, None) for step in order[:-1])
            moved[to] += ways[tuple(slice(None, size - step) for step in order[:-1])]
        ways = moved / len(orders)
    middle = scale * assessors * (products + 1) / 2
    axes = np.meshgrid(*[np.arange(size) - middle] * free, indexing="ij")
    spread = sum(axis**2 for axis in axes) + sum(axes) ** 2
    found = sum((scale * total - middle) ** 2 for total in sums)
    return float(min(1.0, ways[spread >= found - _ROUNDING].sum()))
