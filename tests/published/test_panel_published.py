"""Panel tests against printed tables and examples.

ISO 4120:2021, table A.1 (triangle; the rows n = 10 to 60 are identical in the FAO document V7180E, appendix A).
ISO 5495:2005, two-sided table: its rows are recomputed, the table itself was not read.
ISO 8587:2006, annex A: eight assessors, five products, rank sums 17, 31, 32, 23, 17.
"""

from __future__ import annotations

import pytest

from kit.science import panel_tests as tests
from kit.science.panel_tests import minimum_right, panel_test
from kit.science.ranking import friedman, page

# ISO 4120:2021, table A.1: n, then the minimum at alpha 0.10, 0.05, 0.01, 0.001
TRIANGLE = """
6 5 5 6 -
10 6 7 8 9
12 7 8 9 10
18 10 10 12 13
20 10 11 13 14
24 12 13 15 16
30 14 15 17 19
36 17 18 20 22
48 21 22 25 27
60 26 27 30 33
"""
# two-sided paired tests: n, then the minimum in agreement at alpha 0.10, 0.05, 0.01
PAIRED = """
6 6 6 -
10 9 9 10
12 10 10 11
18 13 14 15
20 15 15 17
24 17 18 19
30 20 21 23
36 24 25 27
48 31 32 34
60 37 39 41
"""


def rows(text: str) -> list[list[int | None]]:
    return [[None if cell == "-" else int(cell) for cell in line.split()] for line in text.split("\n") if line]


@pytest.mark.parametrize("row", rows(TRIANGLE), ids=lambda row: str(row[0]))
def test_triangle_table(row):
    assert [minimum_right(tests.TRIANGLE, row[0], alpha) for alpha in (0.1, 0.05, 0.01, 0.001)] == row[1:]


@pytest.mark.parametrize("row", rows(PAIRED), ids=lambda row: str(row[0]))
def test_two_sided_paired_table(row):
    for task in (tests.PREFERENCE, tests.PAIRED_TWO_SIDED):
        assert [minimum_right(task, row[0], alpha) for alpha in (0.1, 0.05, 0.01)] == row[1:]


def test_triangle_of_36_with_19_right():
    """pd = 1.5 pc - 0.5; upper bound 0.29167 + 1.645 x 1.5 x sqrt(0.52778 x 0.47222 / 36) = 0.4970."""
    found = panel_test(tests.TRIANGLE, 19, 36, alpha=0.01)
    assert found.p == pytest.approx(0.012499, rel=1e-3)
    assert found.shown is False
    assert found.share().value == pytest.approx(0.52778, rel=1e-4)
    upper = found.discriminators(sides=1, method=tests.NORMAL)
    assert upper.value == pytest.approx(0.29167, rel=1e-4)
    assert upper.high == pytest.approx(0.4970, rel=1e-3)
    assert panel_test(tests.TRIANGLE, 19, 36).shown is True  # 18 are needed at 5 %


# The annex gives the rank sums; these rankings without ties have them.
ANNEX_A = [
    [1, 5, 4, 2, 3],
    [3, 5, 2, 4, 1],
    [2, 3, 5, 4, 1],
    [2, 5, 3, 1, 4],
    [4, 1, 5, 2, 3],
    [1, 5, 3, 4, 2],
    [3, 4, 5, 2, 1],
    [1, 3, 5, 4, 2],
]


def test_ranking_example_of_annex_a():
    """F = 12 (17^2 + 31^2 + 32^2 + 23^2 + 17^2) / (8 x 5 x 6) - 3 x 8 x 6 = 10.60; LSD = 1.96 sqrt(8 x 5 x 6 / 6)."""
    found = friedman(ANNEX_A)
    assert found.rank_sums == (17, 31, 32, 23, 17)
    assert found.statistic == pytest.approx(10.60, abs=1e-3)
    assert found.critical(0.05) == pytest.approx(9.4877, abs=1e-3)
    assert found.p_chi2 == pytest.approx(0.03145, abs=1e-4)
    assert found.least_difference(0.05) == pytest.approx(12.3961, abs=1e-3)
    apart = {frozenset(pair) for pair in found.pairs(found.least_difference(0.05))}
    assert apart == {frozenset(pair) for pair in ((0, 1), (0, 2), (4, 1), (4, 2))}


def test_expected_order_of_eight_by_five():
    """L = (1.645 x 5 x 6 x sqrt(8 x 4) + 3 x 8 x 5 x 36) / 12 = 383.26."""
    found = page(ANNEX_A, [0, 4, 3, 1, 2])
    assert found.critical(0.05) == pytest.approx(383.26, abs=0.02)
    assert found.statistic == 17 * 1 + 17 * 2 + 23 * 3 + 31 * 4 + 32 * 5


def test_ties_are_corrected_for():
    """Constructed scores of six assessors and four products; chi-square by scipy 1.17.1 friedmanchisquare."""
    scores = [[9, 7, 8, 6], [8, 6, 7, 6], [7, 7, 8, 5], [9, 6, 8, 7], [8, 7, 6, 6], [9, 8, 9, 7]]
    found = friedman(scores)
    assert found.rank_sums == (22, 12, 18, 8)
    assert found.df == 3
    assert found.statistic == pytest.approx(12.42857, rel=1e-4)
    assert found.p_chi2 == pytest.approx(0.0060504, rel=1e-4)
