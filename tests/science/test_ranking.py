"""Ranks and ratings of a panel. Referees: scipy.stats, every order counted by loops, published formulae."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.errors import KitError
from kit.science.ranking import friedman, page, within_ranks
from kit.science.ranking_incomplete import skillings_mack
from kit.science.ratings import signed_rank

marks = st.integers(1, 5)


def tables(products: int, most: int = 9):
    return st.lists(st.lists(marks, min_size=products, max_size=products), min_size=2, max_size=most)


@given(tables(4))
@settings(max_examples=60, deadline=None)
def test_friedman_is_that_of_scipy_ties_included(rows):
    found = friedman(rows)
    if found.reason:
        assert all(len(set(row)) == 1 for row in rows)
        return
    peer = stats.friedmanchisquare(*zip(*rows, strict=True))
    assert found.statistic == pytest.approx(peer.statistic, rel=1e-9, abs=1e-9)
    assert found.p_chi2 == pytest.approx(peer.pvalue, rel=1e-9, abs=1e-12)


def by_every_order(rows: list[list[float]]) -> float:
    """Share of all orders of each row's ranks whose sums spread at least as far as those found."""
    ranks = [within_ranks(row) for row in rows]
    middle = len(rows) * (len(rows[0]) + 1) / 2
    spread = sum((sum(column) - middle) ** 2 for column in zip(*ranks, strict=True))
    every = list(itertools.product(*[list(itertools.permutations(row)) for row in ranks]))
    found = [sum((sum(column) - middle) ** 2 for column in zip(*order, strict=True)) for order in every]
    return sum(other >= spread - 1e-9 for other in found) / len(every)


@pytest.mark.parametrize(
    "rows",
    [
        [[1, 2, 3]] * 3,  # by hand: 6 of 216
        [[1, 2, 3], [1, 3, 2], [2, 1, 3], [1, 2, 3]],
        [[5, 5, 1], [4, 2, 1], [3, 3, 2], [5, 4, 4]],
        [[1, 2, 3, 4], [2, 1, 3, 4], [1, 2, 4, 3]],
    ],
)
def test_the_exact_probability_is_the_count_of_all_orders(rows):
    assert friedman(rows).p_exact == pytest.approx(by_every_order(rows), rel=1e-9)
    if rows[0] == rows[-1] == [1, 2, 3] and len(rows) == 3:
        assert friedman(rows).p_exact == pytest.approx(6 / 216, rel=1e-9)


def test_a_large_panel_falls_back_on_chi_square():
    drawn = np.random.default_rng(2)
    rows = [list(drawn.permutation(5)) for _ in range(30)]
    found = friedman(rows)
    assert found.p_exact is None and found.p == found.p_chi2


def test_ranks_of_level_values():
    assert within_ranks([3, 1, 3, 2]) == (3.5, 1, 3.5, 2)


@given(tables(3), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_the_order_of_assessors_and_any_rising_scale_change_nothing(rows, drawn):
    mixed = list(rows)
    drawn.shuffle(mixed)
    found = friedman(rows)
    for other in (friedman(mixed), friedman([[mark**3 + 2 for mark in row] for row in rows])):
        assert replace(other, p_exact=None) == replace(found, p_exact=None)
        assert other.p_exact == pytest.approx(found.p_exact, rel=1e-9) if found.p_exact else other.p_exact is None


@given(tables(3))
@settings(max_examples=40, deadline=None)
def test_products_swapped_swap_the_sums_and_nothing_else(rows):
    one, other = friedman(rows), friedman([row[::-1] for row in rows])
    assert one.rank_sums == other.rank_sums[::-1]
    assert one.statistic == pytest.approx(other.statistic) if one.statistic is not None else other.statistic is None


def test_least_differences():
    """12 assessors, 4 products: 1.95996 sqrt(12 x 4 x 5 / 6) = 12.396; for all pairs q(4, inf) = 3.633 (tables) times
    sqrt(12 x 4 x 5 / 12) = 4.4721 is 16.25."""
    found = friedman([[1, 2, 3, 4]] * 11 + [[1, 2, 4, 3]])
    assert found.least_difference() == pytest.approx(12.396, abs=1e-3)
    assert found.least_difference_of_all() == pytest.approx(16.25, abs=0.01)
    assert found.rank_sums == (12, 24, 37, 47)
    assert set(found.pairs(24.0)) == {(0, 2), (0, 3)}


def test_page_is_that_of_scipy():
    drawn = np.random.default_rng(4)
    rows = [list(drawn.permutation(4) + 1) for _ in range(9)]
    found, peer = page(rows, [0, 1, 2, 3]), stats.page_trend_test(np.array(rows), ranked=True, method="asymptotic")
    assert found.statistic == peer.statistic
    assert found.p == pytest.approx(peer.pvalue, rel=1e-9)
    turned = page(rows, [3, 2, 1, 0])
    assert turned.statistic - turned.mean == pytest.approx(found.mean - found.statistic)


def test_an_incomplete_row_is_left_out_and_named():
    rows = [[1, 2, 3], [1, None, 2], [2, 1, 3], [1, 3, 2]]
    found = friedman(rows)
    assert (found.left_out, found.assessors) == ((1,), 3)
    assert found.statistic == friedman([rows[0], *rows[2:]]).statistic


def test_incomplete_ranks_are_tested_with_their_gaps():
    """Without gaps and ties it is Friedman's. With gaps, two products: 5 of 6 assessors judged both, 4 to 1: the sign
    test's (4 - 1)^2 / 5 = 1.8."""
    drawn = np.random.default_rng(3)
    rows = [list(map(float, drawn.permutation(4))) for _ in range(7)]
    assert skillings_mack(rows).statistic == pytest.approx(friedman(rows).statistic, rel=1e-9)
    gaps = [[1, 2], [1, 2], [1, 2], [1, 2], [2, 1], [1, None]]
    found = skillings_mack(gaps)
    assert (found.assessors, found.df) == (5, 1)
    assert found.statistic == pytest.approx(1.8, rel=1e-9)
    assert found.p == pytest.approx(stats.chi2.sf(1.8, 1), rel=1e-9)


def test_balanced_incomplete_blocks_are_durbins():
    """Durbin: T = 12 (t - 1) / (r t (k^2 - 1)) sum (R - r (k + 1) / 2)^2; t = 4, k = 3, r = 3, R = 3, 6, 7, 8:
    12 x 3 / (3 x 4 x 8) x (9 + 0 + 1 + 4) = 5.25."""
    rows = [[1, 2, 3, None], [1, 2, None, 3], [1, None, 2, 3], [None, 2, 2.5, 1]]
    sums = [3, 6, 8, 7]
    ranks = [within_ranks([mark for mark in row if mark is not None]) for row in rows]
    assert sum(map(sum, ranks)) == sum(sums) == 24
    assert skillings_mack(rows).statistic == pytest.approx(5.25, rel=1e-9)


def test_groups_that_nobody_compared_have_a_reason():
    assert "no assessor compared" in skillings_mack([[1, 2, None, None], [None, None, 1, 2]]).reason
    assert "two products" in skillings_mack([[1, None], [None, 2]]).reason
    assert friedman([[1, None], [None, 2]]).reason == "no assessor judged every product"
    assert friedman([[1, 2], [None, 2]]).reason == "1 assessor judged every product; it takes two"
    assert friedman([[2, 2], [1, 1]]).reason == "every assessor put all products level"
    assert page([[2, 2], [1, 1]], [0, 1]).p is None


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: friedman([[1, 2], [1, 2, 3]]), "panel.rows"),
        (lambda: friedman([]), "panel.rows"),
        (lambda: friedman([[1], [1]]), "panel.rows"),
        (lambda: friedman([[1, math.nan], [1, 2]]), "panel.not_finite"),
        (lambda: page([[1, 2], [1, 2]], [0, 0]), "panel.order"),
        (lambda: signed_rank([1, 2], [1]), "panel.pairs"),
        (lambda: signed_rank([], []), "panel.pairs"),
        (lambda: signed_rank([1, math.inf], [1, 2]), "panel.not_finite"),
        (lambda: signed_rank([1, 2], [2, 1], confidence=1), "statistics.confidence"),
    ],
)
def test_what_is_no_ranking_is_refused(call, code):
    with pytest.raises(KitError) as caught:
        call()
    assert caught.value.code == code


def _signs(count: int):
    return itertools.product((False, True), repeat=count)


@given(st.lists(st.tuples(marks, marks), min_size=2, max_size=9))
@settings(max_examples=60, deadline=None)
def test_signed_ranks_with_ties_are_counted_over_every_sign(pairs):
    first, second = zip(*pairs, strict=True)
    found = signed_rank(first, second)
    if found.reason:
        assert first == second
        return
    steps = [one - other for one, other in pairs if one != other]
    ranks = within_ranks([abs(step) for step in steps])
    up = sum(rank for rank, step in zip(ranks, steps, strict=True) if step > 0)
    every = [sum(rank for rank, sign in zip(ranks, signs, strict=True) if sign) for signs in _signs(len(ranks))]
    least = min(up, sum(ranks) - up)
    p = min(1.0, 2 * sum(total <= least + 1e-9 for total in every) / len(every))
    assert found.p == pytest.approx(p, rel=1e-9)
    assert (found.higher, found.lower, found.equal) == (
        sum(one > other for one, other in pairs),
        sum(one < other for one, other in pairs),
        sum(one == other for one, other in pairs),
    )


def test_signed_ranks_with_ties_are_those_of_scipy_permuted():
    first, second = [5, 4, 4, 3, 5, 2, 4, 5], [3, 4, 3, 4, 2, 2, 3, 4]
    moved = [(one, other) for one, other in zip(first, second, strict=True) if one != other]
    peer = stats.wilcoxon(*zip(*moved, strict=True), method=stats.PermutationMethod(n_resamples=np.inf))
    assert signed_rank(first, second).p == pytest.approx(peer.pvalue, rel=1e-9)


def test_signed_ranks_without_ties_are_the_exact_ones():
    drawn = np.random.default_rng(6)
    first, second = drawn.normal(0.4, 1, 14), drawn.normal(0, 1, 14)
    assert signed_rank(first, second).p == pytest.approx(stats.wilcoxon(first, second, method="exact").pvalue, rel=1e-9)


def test_shift_and_interval_by_hand():
    """Differences 1 to 6: 21 means of two, from 1 to 6, the middle one 3.5. Below 6 pairs, 95 % cannot be held; with 6
    the least sum has a chance of 1/64 = 1.6 %, so the whole range from 1 to 6 holds 97 %."""
    found = signed_rank([1, 2, 3, 4, 5, 6], [0] * 6)
    assert (found.shift, found.low, found.high) == (3.5, 1.0, 6.0)
    assert found.p == pytest.approx(2 / 64)
    short = signed_rank([1, 2, 3], [0, 0, 0])
    assert (short.shift, short.low, short.high) == (2.0, None, None)


def test_the_interval_of_the_shift_holds_what_it_says(thorough):
    """Rounded normal marks, true shift 1: at least 95 % of intervals hold it."""
    drawn = np.random.default_rng(8)
    count = 2000 if thorough else 300
    held = 0
    for _ in range(count):
        step = np.round(drawn.normal(1, 1.2, 12))
        found = signed_rank(step, np.zeros(12))
        held += found.low <= 1 <= found.high
    assert held / count > 0.95 - 2 * math.sqrt(0.05 * 0.95 / count)
