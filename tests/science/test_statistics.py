"""Statistics against general-purpose libraries that were written by others, and at the edges of what data allow."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ttest_ind
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from kit.errors import KitError
from kit.science.statistics import mean_sd, pooled_sd, pooled_two_sample, welch

SIZES = [(2, 2), (2, 5), (3, 3), (5, 2), (7, 19), (30, 4)]


def samples(n1: int, n2: int, seed: int) -> tuple[list[float], list[float]]:
    random = numpy.random.default_rng(seed)
    return list(random.normal(9.8, 0.08, n1)), list(random.normal(9.9, 0.35, n2))


@pytest.mark.parametrize(("n1", "n2"), SIZES)
@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("confidence", [0.90, 0.95, 0.99])
def test_welch_agrees_with_scipy_and_statsmodels(n1, n2, seed, confidence):
    a, b = samples(n1, n2, seed)
    ours = welch(a, b, confidence)
    theirs = ttest_ind(a, b, equal_var=False)
    interval = theirs.confidence_interval(confidence)
    assert (ours.t, ours.df, ours.p) == pytest.approx((theirs.statistic, theirs.df, theirs.pvalue), rel=1e-9)
    assert (ours.low, ours.high) == pytest.approx((interval.low, interval.high), rel=1e-9, abs=1e-12)
    other = CompareMeans(DescrStatsW(a), DescrStatsW(b)).tconfint_diff(alpha=1 - confidence, usevar="unequal")
    assert (ours.low, ours.high) == pytest.approx(other, rel=1e-9, abs=1e-12)
    assert ours.standard_error == pytest.approx(
        math.sqrt(numpy.var(a, ddof=1) / n1 + numpy.var(b, ddof=1) / n2), rel=1e-12
    )
    assert math.copysign(1, ours.difference) == math.copysign(1, numpy.mean(a) - numpy.mean(b))
    assert ours.excludes_zero is bool(theirs.pvalue < 1 - confidence)


@pytest.mark.parametrize(("n1", "n2"), SIZES)
@pytest.mark.parametrize("seed", range(5))
def test_pooling_two_samples_agrees_with_students_t_of_scipy_and_statsmodels(n1, n2, seed):
    a, b = samples(n1, n2, seed)
    pool = pooled_sd([a, b])
    assert pool.df == n1 + n2 - 2
    ours = pooled_two_sample(mean_sd(a).mean - mean_sd(b).mean, n1, n2, *pool)
    theirs = ttest_ind(a, b, equal_var=True)
    assert (ours.t, ours.df, ours.p) == pytest.approx((theirs.statistic, theirs.df, theirs.pvalue), rel=1e-9)
    other = CompareMeans(DescrStatsW(a), DescrStatsW(b)).tconfint_diff(usevar="pooled")
    assert (ours.low, ours.high) == pytest.approx(other, rel=1e-9, abs=1e-12)


def test_a_pool_from_elsewhere_worked_by_hand():
    # groups 1 3 | 2 2 5 | 7: means 2, 3, 7; squares 1+1 | 1+1+4 | 0 = 8; df 1 + 2 + 0 = 3
    pool = pooled_sd([[1.0, 3.0], [2.0, 2.0, 5.0], [7.0]])
    assert pool.df == 3
    assert pool.sd == pytest.approx(math.sqrt(8 / 3), rel=1e-14)


def test_mean_and_sd_worked_by_hand():
    # 4.59 and 4.57: mean 4.58, each 0.01 away, squares 0.0002 over 1 degree of freedom: 0.014142
    result = mean_sd([4.59, 4.57])
    assert result.mean == pytest.approx(4.58, abs=1e-12)
    assert result.sd == pytest.approx(0.0141421, abs=1e-7)


@given(st.lists(st.integers(-(10**6), 10**6), min_size=2, max_size=30), st.integers(-(10**9), 10**9))
def test_sd_against_exact_fractions_and_far_from_zero(values, shift):
    shifted = [Fraction(value) + shift for value in values]
    mean = sum(shifted) / len(shifted)
    exact = sum((value - mean) ** 2 for value in shifted) / (len(shifted) - 1)
    ours = mean_sd([float(value) for value in shifted])
    assert ours.mean == pytest.approx(float(mean), rel=1e-14, abs=1e-6)
    assert ours.sd == pytest.approx(math.sqrt(exact), rel=1e-9, abs=1e-6)


@given(st.permutations([8800.0, 15600.0, 19000.0, 19600.0, 20080.0]))
def test_order_of_values_changes_nothing_at_all(values):
    assert mean_sd(values) == mean_sd([8800.0, 15600.0, 19000.0, 19600.0, 20080.0])


def test_one_value_gives_a_difference_without_an_interval_and_says_why():
    result = welch([9.5], [9.8, 9.9])
    assert result.difference == pytest.approx(-0.35)
    assert (result.low, result.high, result.df, result.half_width, result.t, result.p, result.excludes_zero) == (
        None,
    ) * 7
    assert "one value" in result.reason


def test_constant_data_give_no_interval_of_width_zero():
    result = welch([4.6, 4.6], [4.5, 4.5, 4.5])
    assert result.difference == pytest.approx(0.1)
    assert result.low is None
    assert "constant" in result.reason
    # one constant sample is no hindrance: all error and all degrees of freedom come from the other one
    assert welch([4.6, 4.6], [4.4, 4.5, 4.6]).df == pytest.approx(2)


def test_constant_but_for_rounding_counts_as_constant():
    tenth = [0.1 + 0.2, 0.3]  # 0.30000000000000004 and 0.3
    assert welch(tenth, [0.7, 0.7]).low is None


def test_no_pool_gives_no_interval():
    assert pooled_sd([[1.0], [2.0]]) == (None, 0)
    result = pooled_two_sample(0.2, 1, 1, None, 0)
    assert (result.low, result.reason) == (None, "no scatter is known: nothing was repeated")
    assert "constant" in pooled_two_sample(0.2, 2, 2, 0.0, 2).reason


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_refused(bad):
    for call in (
        lambda: mean_sd([1.0, bad]),
        lambda: pooled_sd([[1.0, 2.0], [bad]]),
        lambda: welch([1.0, 2.0], [bad, 1.0]),
        lambda: pooled_two_sample(bad, 1, 1, 0.1, 5),
        lambda: pooled_two_sample(0.1, 1, 1, bad, 5),
    ):
        with pytest.raises(KitError) as problem:
            call()
        assert problem.value.code == "statistics.not_finite"


def test_empty_samples_impossible_sizes_and_confidences_are_refused():
    cases = {
        "statistics.empty": [lambda: mean_sd([]), lambda: welch([], [1.0, 2.0]), lambda: pooled_sd([[1.0, 2.0], []])],
        "statistics.sample_size": [lambda: pooled_two_sample(0.1, 0, 1, 0.1, 5)],
        "statistics.confidence": [
            lambda: welch([1.0, 2.0], [3.0, 5.0], 95),
            lambda: welch([1.0], [2.0], 1.0),
            lambda: pooled_two_sample(0.1, 1, 1, 0.1, 5, 0.0),
        ],
    }
    for code, calls in cases.items():
        for call in calls:
            with pytest.raises(KitError) as problem:
                call()
            assert problem.value.code == code
