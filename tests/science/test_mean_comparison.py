from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.errors import KitError
from kit.science.detectable import detectable_difference, half_width
from kit.science.equivalence import equivalence
from kit.science.mean_comparison import against_control, dunnett, tukey, welch_each
from kit.science.scatter_known import combined_sd, sd_interval
from kit.science.simultaneous import (
    critical_value,
    either_side_critical,
    range_critical,
    range_probability,
    shifted_within,
    within_probability,
)
from kit.science.statistics import PooledSD
from kit.science.welch_exact import welch_detectable, welch_power

GROUPS = [[9.8, 8.8, 7.7, 9.4], [12.8, 9.7, 12.2]]
CONTROL = [7.4, 8.5, 7.2]


@pytest.mark.parametrize(("means", "df"), [(3, 1), (3, 2), (4, 7), (6, 30), (10, 3)])
def test_studentized_range_as_scipy_integrates_it(means, df):
    assert range_critical(means, df) == pytest.approx(stats.studentized_range.ppf(0.95, means, df), rel=1e-7)
    assert 1 - range_probability(3.0, means, df) == pytest.approx(stats.studentized_range.sf(3.0, means, df), abs=1e-7)


def test_the_same_question_has_the_same_answer():
    """Scipy's own test draws at random: two runs differ in the fourth digit, ours in none."""
    assert dunnett(GROUPS, CONTROL) == dunnett(GROUPS, CONTROL)
    theirs = stats.dunnett(*map(np.array, GROUPS), control=np.array(CONTROL), rng=np.random.default_rng(3))
    assert [one.p_adjusted for one in dunnett(GROUPS, CONTROL)] == pytest.approx(theirs.pvalue, abs=5e-4)


@pytest.mark.parametrize("df", [1.0, 1.3, 4.5, 60.0])
def test_one_arm_alone_is_student(df):
    assert critical_value((0.5,), df) == pytest.approx(stats.t.ppf(0.975, df), rel=1e-9)
    assert either_side_critical((0.5,), df) == pytest.approx(stats.t.ppf(0.95, df), rel=1e-9)


@pytest.mark.parametrize(("loadings", "df"), [((0.7, 0.7), 3.0), ((0.4, 0.6, 0.8), 9.0), ((0.7,) * 6, 25.0)])
def test_a_bound_for_either_side_lies_between_dunnetts_and_bonferronis(loadings, df):
    same_side = critical_value(loadings, df, two_sided=False)
    each = stats.t.ppf(1 - 0.05 / len(loadings), df)
    found = either_side_critical(loadings, df)
    assert 1.01 * same_side < found < each
    # nobody's signs need more: every way to turn two or three of them (the correlation turns with them)
    for turned in itertools.product((-1, 1), repeat=len(loadings)):
        signed = tuple(sign * load for sign, load in zip(turned, loadings, strict=True))
        assert within_probability(found, signed, df, two_sided=False) > 0.95 - 2e-4


def test_noncentral_t_as_scipy_has_it_where_it_has_it():
    for df, shift, bound in ((2, 1.5, 4.3), (4, 3.0, 2.776), (10, 0.7, 2.228)):
        theirs = stats.nct.cdf(bound, df, shift) - stats.nct.cdf(-bound, df, shift)
        assert float(shifted_within(bound, shift, df)) == pytest.approx(theirs, abs=1e-9)


def test_a_detectable_difference_is_larger_than_the_half_width():
    """At the half-width the chance is near one half (54 to 61 % by noncentral t for 2, 3, 4 against as many)."""
    for n in (2, 3, 4):
        half = half_width(1.0, 2 * n - 2, n, n)
        df = 2 * n - 2
        bound, shift = stats.t.ppf(0.975, df), half * math.sqrt(n / 2)
        assert 0.5 < stats.nct.sf(bound, df, shift) < 0.62
        assert detectable_difference(1.0, df, n, n) > 1.25 * half


def test_welch_finds_what_it_plans_to_find():
    for n1, n2, ratio in ((2, 2, 1.0), (3, 4, 2.0)):
        found = welch_detectable(1.0, n1, n2, sd_ratio=ratio)
        drawn = np.random.default_rng(8)
        first = ratio * drawn.normal(size=(40_000, n1)) + found
        second = drawn.normal(size=(40_000, n2))
        theirs = stats.ttest_ind(first, second, axis=1, equal_var=False).pvalue
        assert (theirs < 0.05).mean() == pytest.approx(0.8, abs=0.006)  # three standard errors
        assert welch_power(found, n1, n2, sd_ratio=ratio) == pytest.approx(0.8, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.lists(st.floats(1, 9), min_size=2, max_size=4), min_size=2, max_size=4),
    st.floats(-50, 50),
    st.floats(0.1, 30),
)
def test_other_units_move_differences_and_nothing_else(groups, shift, scale):
    if np.std(np.concatenate([np.array(group) - np.mean(group) for group in groups])) < 1e-3:
        return
    moved = [[scale * value + shift for value in group] for group in groups]
    for one, other in zip(dunnett(groups[1:], groups[0]), dunnett(moved[1:], moved[0]), strict=True):
        assert other.difference == pytest.approx(scale * one.difference, abs=1e-9 * scale * 100)
        assert other.half_width == pytest.approx(scale * one.half_width, rel=1e-6)
        assert other.p_adjusted == pytest.approx(one.p_adjusted, abs=1e-6)


def test_arms_in_another_order_have_the_same_intervals():
    one, other = dunnett(GROUPS, CONTROL), dunnett(GROUPS[::-1], CONTROL)
    for mine, theirs in zip(one, other[::-1], strict=True):
        assert (mine.low, mine.high) == pytest.approx((theirs.low, theirs.high), rel=1e-9)


def test_more_arms_widen_every_interval():
    alone, both = dunnett(GROUPS[:1], CONTROL, sd=1.0, df=6), dunnett(GROUPS, CONTROL, sd=1.0, df=6)
    assert both[0].half_width > alone[0].half_width
    assert both[0].p == pytest.approx(alone[0].p)


@pytest.mark.parametrize(
    ("groups", "control", "says"),
    [([[1.0], [2.0]], [3.0], "nothing was repeated"), ([[1.0, 1.0]], [2.0, 2.0], "constant")],
)
def test_no_scatter_gives_no_interval_and_says_why(groups, control, says):
    for found in (*dunnett(groups, control), *tukey([*groups, control])):
        assert found.low is None and found.p is None and found.excludes_zero is None
        assert says in found.reason and says in found.words


def test_less_than_one_degree_of_freedom_gives_no_interval():
    """Of two differences one has its own 0.4 df: it is left without an interval, the other keeps Student's bound."""
    first, second = against_control([0.1, 0.2], [0.05, 0.05], (0.0, 0.0), [0.4, 8.0])
    assert (first.low, first.high, first.p_adjusted, first.df) == (None, None, None, None)
    assert first.reason == "less than one degree of freedom tells the scatter"
    assert first.difference == 0.1
    assert second.low > 0.2 - 0.05 * stats.t.ppf(1 - 0.025 / 2, 8) * (1 + 1e-6)  # no wider than Bonferroni's
    assert second.low < 0.2 - 0.05 * stats.t.ppf(0.975, 8)


def test_welch_leaves_out_only_the_arm_of_one():
    lone, other = welch_each([[1.0], [2.0, 2.5]], [3.0, 3.1])
    assert lone.low is None and "one value" in lone.reason
    # the other one by SciPy at 97.5 %, as two arms were asked for
    theirs = stats.ttest_ind([2.0, 2.5], [3.0, 3.1], equal_var=False).confidence_interval(0.975)
    assert (other.low, other.high) == pytest.approx(tuple(theirs), rel=1e-9)


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: dunnett([[1.0]], [2.0, 3.0], side="both"), "statistics.side"),
        (lambda: dunnett([[1.0]], [2.0, 3.0], sd=1.0), "statistics.scatter_halves"),
        (lambda: dunnett([[1.0, math.nan]], [2.0, 3.0]), "statistics.not_finite"),
        (lambda: dunnett([[1.0, 2.0]], [2.0, 3.0], confidence=95), "statistics.confidence"),
        (lambda: tukey([[1.0, 2.0], []]), "statistics.empty"),
        (lambda: critical_value((0.5, 0.5), 0.0), "statistics.df"),
        (lambda: critical_value((0.5, 0.5), 0.9), "statistics.df"),
        (lambda: range_critical(3, 0.4), "statistics.df"),
        (lambda: half_width(1.0, 3, 0, 1), "statistics.sample_size"),
        (lambda: detectable_difference(1.0, 3, 2, 2, power=0.01), "detectable.power"),
        (lambda: welch_power(1.0, 1, 3), "statistics.sample_size"),
        (lambda: equivalence(0.1, 0.1, 4, 0.0), "science.not_positive"),
    ],
)
def test_what_cannot_be_asked_is_refused(call, code):
    with pytest.raises(KitError) as problem:
        call()
    assert problem.value.code == code


def test_pools_are_put_together_by_their_degrees_of_freedom():
    """(2 x 1 + 6 x 4) / 8 = 3.25."""
    found = combined_sd([PooledSD(1.0, 2), PooledSD(2.0, 6), PooledSD(None, 0)])
    assert (found.sd, found.df) == (pytest.approx(math.sqrt(3.25)), 8)
    assert combined_sd([]) == (None, 0)


@given(st.floats(0.01, 100), st.integers(1, 60))
def test_the_interval_of_a_scatter_holds_it_and_narrows(sd, df):
    narrow, wide = sd_interval(sd, df + 5), sd_interval(sd, df)
    assert wide.low < sd < wide.high
    assert narrow.high / narrow.low < wide.high / wide.low
    assert wide.poorly is (df < 5)


def test_equivalence_worked_by_hand():
    """0.05 ± 1.812 x 0.04 with 10 df: -0.0225 to 0.1225, inside 0.13 and not inside 0.12."""
    assert equivalence(0.05, 0.04, 10, 0.13).shown
    found = equivalence(0.05, 0.04, 10, 0.12)
    assert (found.low, found.high) == pytest.approx((-0.0225, 0.1225), abs=1e-4)
    assert not found.shown and "not inside" in found.words
    # p: t of (0.05 - 0.12) / 0.04 = -1.75 with 10 df, 0.0553 by scipy
    assert found.p == pytest.approx(stats.t.sf(1.75, 10), rel=1e-9)
