from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.api import OLS
from statsmodels.regression.mixed_linear_model import MixedLM

from kit.errors import KitError
from kit.science.mixed_batches import SINGULAR, mixed_model
from kit.science.reml import random_factor_layout
from kit.science.same_day import loadings_of, paired, same_day
from kit.science.statistics import PooledSD
from kit.science.variance_components import one_way

VALUES = [9.85, 9.87, 9.90, 10.05, 10.10, 9.78, 9.80, 9.96, 9.69, 9.74]
ARMS = list("CCTTTCUTCU")
DAYS = [1, 1, 1, 2, 2, 2, 2, 3, 3, 3]


def columns(labels):
    names = list(dict.fromkeys(labels))
    return np.array([[float(label == name) for name in names] for label in labels]), names


def test_unequal_counts_are_the_least_squares_of_statsmodels_with_a_level_for_every_day():
    arms, names = columns(ARMS)
    days, _ = columns(DAYS)
    theirs = OLS(VALUES, np.hstack([arms[:, 1:], days])).fit()
    found = same_day(VALUES, ARMS, DAYS, "C")
    assert found.arms == tuple(names[1:]) == ("T", "U")
    assert found.df == theirs.df_resid
    for place, one in enumerate(found.differences):
        assert one.difference == pytest.approx(theirs.params[place], rel=1e-9)
        assert one.standard_error == pytest.approx(theirs.bse[place], rel=1e-9)


@given(st.lists(st.floats(-3, 3), min_size=3, max_size=3))
@settings(deadline=None)
def test_what_a_day_does_cancels(effects):
    moved = [value + effects[day - 1] for value, day in zip(VALUES, DAYS, strict=True)]
    for one, other in zip(
        same_day(VALUES, ARMS, DAYS, "C").differences, same_day(moved, ARMS, DAYS, "C").differences, strict=True
    ):
        assert other.difference == pytest.approx(one.difference, abs=1e-9)
        assert other.half_width == pytest.approx(one.half_width, rel=1e-6)


def test_one_of_each_on_every_day_is_the_paired_test():
    first, second = [4.71, 4.69, 4.80, 4.60], [4.60, 4.55, 4.66, 4.52]
    pairs = paired(first, second)
    blocks = same_day([*first, *second], list("TTTTCCCC"), [1, 2, 3, 4] * 2, "C").differences[0]
    assert (blocks.low, blocks.high, blocks.df) == pytest.approx((pairs.low, pairs.high, pairs.df), rel=1e-9)


def test_an_arm_that_no_day_links_is_told_apart():
    found = same_day([1.0, 1.1, 1.3, 1.2, 2.0], list("CTCTU"), [1, 1, 2, 2, 3], "C")
    assert found.arms == ("T",) and found.not_linked == ("U",)
    assert "U: made on no day that links it to the control" in found.words
    nothing = same_day([1.0, 1.1, 2.0, 2.1], list("CCTT"), [1, 1, 2, 2], "C")
    assert nothing.differences == () and "no day links an arm" in nothing.reason


def test_a_scatter_within_days_from_elsewhere_is_pooled():
    """Two days, control and arm once each: 1 df of its own; with 9 from elsewhere 10."""
    values = [1.0, 1.2, 1.5, 1.6]
    alone = same_day(values, list("CTCT"), [1, 1, 2, 2], "C")
    pooled = same_day(values, list("CTCT"), [1, 1, 2, 2], "C", within_day=PooledSD(0.05, 9))
    assert (alone.df, pooled.df) == (1, 10)
    assert pooled.sd == pytest.approx(math.sqrt((alone.sd**2 + 9 * 0.05**2) / 10))


def test_constant_and_unrepeated_days_say_so():
    assert "constant" in same_day([1.0, 1.2, 1.5, 1.7, 2.0, 2.2], list("CTCTCT"), [1, 1, 2, 2, 3, 3], "C").reason
    assert "nothing was repeated" in same_day([1.0, 1.2], list("CT"), [1, 1], "C").reason
    assert paired([1.0], [2.0]).low is None
    assert "constant" in paired([1.0, 2.0], [1.5, 2.5]).reason


def test_restricted_likelihood_as_statsmodels_finds_it():
    drawn = np.random.default_rng(4)
    arms, _ = columns(list("CTUCTUTUCCTU"))
    days, _ = columns([1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 5, 5])
    values = drawn.normal(size=12) + 2 * drawn.normal(size=5) @ days.T
    ours = random_factor_layout(arms, days).fit(values)
    theirs = MixedLM(values, arms, groups=days.argmax(1)).fit(reml=True)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-7)
    assert ours.group_variance == pytest.approx(float(theirs.cov_re[0, 0]), rel=1e-3)
    assert ours.residual_variance == pytest.approx(theirs.scale, rel=1e-3)
    assert ours.coefficients == pytest.approx(theirs.fe_params, rel=1e-4)


def test_where_days_do_not_differ_their_variance_is_zero():
    # day means alike by making, arms within days far apart
    found = mixed_model([1.0, 1.4, 1.1, 1.3, 0.9, 1.5], list("CTCTCT"), [1, 1, 2, 2, 3, 3], control="C")
    assert found.day_sd == 0
    assert "no difference between days was seen" in found.words
    assert found.differences[0].difference == pytest.approx(0.4)


def test_readings_of_a_batch_are_averaged_before_anything_else():
    once = mixed_model([1.0, 1.2, 1.5, 1.8, 2.1, 2.2], list("CTCTCT"), [1, 1, 2, 2, 3, 3], control="C")
    batches = ["a", "a", "b", "c", "d", "e", "f"]
    twice = mixed_model(
        [0.9, 1.1, 1.2, 1.5, 1.8, 2.1, 2.2], list("CCTCTCT"), [1, 1, 1, 2, 2, 3, 3], batches, control="C"
    )
    assert twice.n_batches == once.n_batches == 6
    assert twice.differences[0].df == pytest.approx(once.differences[0].df)
    assert twice.differences[0].half_width == pytest.approx(once.differences[0].half_width)


@pytest.mark.parametrize(
    ("arms", "days"),
    [("CCTT", [1, 2, 3, 4]), ("CCTT", [1, 1, 1, 1]), ("CT", [1, 1]), ("CCTT", [1, 1, 2, 2])],
)
def test_what_cannot_be_told_apart_says_so(arms, days):
    found = mixed_model([1.0, 1.2, 1.5, 1.7][: len(arms)], list(arms), days, control="C")
    assert found.differences == () and found.reason == SINGULAR == found.words


def test_refusals():
    cases = {
        "mixed.batch": lambda: mixed_model([1.0, 2.0], list("CT"), [1, 1], ["a", "a"], control="C"),
        "mixed.control": lambda: mixed_model([1.0, 2.0], list("CT"), [1, 1], control="X"),
        "statistics.pairs": lambda: paired([1.0], [1.0, 2.0]),
        "statistics.not_finite": lambda: same_day([1.0, math.inf], list("CT"), [1, 1], "C"),
    }
    for code, call in cases.items():
        with pytest.raises(KitError) as problem:
            call()
        assert problem.value.code == code


def test_loadings_give_back_correlations_that_are_products():
    loads = np.array([0.9, 0.5, 0.7, 0.3])
    related = np.outer(loads, loads)
    np.fill_diagonal(related, 1.0)
    assert loadings_of(4.0 * related) == pytest.approx(tuple(loads), abs=1e-4)


def test_one_way_says_what_is_missing():
    assert "one group alone" in one_way([[1.0, 2.0]]).reason
    assert "no group holds two values" in one_way([[1.0], [2.0]]).reason
    assert one_way([[1.0, 3.0], [1.0, 3.0]]).between_variance == 0
