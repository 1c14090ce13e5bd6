"""Drift: the straight trend and the first-order change, against certified fits and published kinetics."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from kit.errors import KitError
from kit.science.drift import linear_trend
from kit.science.first_order import FAST, SLOW, fit_first_order

# NIST Statistical Reference Datasets, nonlinear regression, y = b1 (1 - exp(-b2 x)): certified values, standard
# deviations of the estimates and residual standard deviation. BoxBOD: higher difficulty; Misra1a: lower.
BOXBOD = ([1, 2, 3, 5, 7, 10], [109, 149, 149, 191, 213, 224])
BOXBOD_CERTIFIED = (2.1380940889e02, 5.4723748542e-01, 1.2354515176e01, 1.0455993237e-01, 1.7088072423e01)
MISRA1A = (
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78],
)
MISRA1A_CERTIFIED = (2.3894212918e02, 5.5015643181e-04, 2.7070075241e00, 7.2668688436e-06, 1.0187876330e-01)

# A constructed year of monthly readings; slope, interval and probability by statsmodels 0.15.0, ordinary least squares.
MONTHS, MONTHLY_PH = [0, 1, 2, 3, 6, 9, 12], [4.5, 4.47, 4.45, 4.43, 4.36, 4.3, 4.24]


@pytest.mark.parametrize(
    ("data", "certified"), [(BOXBOD, BOXBOD_CERTIFIED), (MISRA1A, MISRA1A_CERTIFIED)], ids=["BoxBOD", "Misra1a"]
)
def test_certified_fits(data, certified):
    found = fit_first_order(*data, start=0.0)
    told = (found.change, found.rate_per_d, found.change_error, found.rate_error, found.residual_sd)
    assert told == pytest.approx(certified, rel=1e-8)
    assert found.at_bound == found.reason == ""
    assert found.rate_low < found.rate_per_d < found.rate_high
    assert found.half_life_d == pytest.approx(math.log(2) / certified[1], rel=1e-8)


def test_a_start_that_is_not_known_is_fitted_as_scipy_fits_it():
    rng = np.random.default_rng(20260302)
    ages = np.array([0.05, 0.5, 1, 2, 3, 5, 7, 10, 14.0])
    read = 4.96 - 0.36 * (1 - np.exp(-0.55 * ages)) + rng.normal(0, 0.01, ages.size)

    def model(age, start, change, rate):
        return start + change * (1 - np.exp(-rate * age))

    expected, covariance = curve_fit(model, ages, read, p0=(5, -0.3, 0.4), ftol=1e-14, xtol=1e-14, gtol=1e-14)
    found = fit_first_order(ages, read)
    assert (found.start, found.change, found.rate_per_d) == pytest.approx(tuple(expected), rel=1e-6)
    errors = (found.start_error, found.change_error, found.rate_error)
    assert errors == pytest.approx(tuple(np.sqrt(np.diag(covariance))), rel=1e-4)
    assert found.change < 0 < found.rate_per_d
    assert found.settled == pytest.approx(4.60, abs=0.03)


def test_hydrolysis_of_methyl_acetate():
    """A textbook run: 1 mL of ester in 20 mL of 1 N acid, alkali used 19.24, 24.20, 26.60, 29.32 mL at 0, 75, 119 and
    183 min and 42.03 mL at the end. From each reading alone k = ln((42.03 - 19.24) / (42.03 - V)) / t = 0.00327,
    0.00328 and 0.00319 per min. Fitted with the end as a reading at five days (7200 min).
    """
    found = fit_first_order([0, 75, 119, 183, 7200], [19.24, 24.20, 26.60, 29.32, 42.03])
    assert 0.0031 < found.rate_per_d < 0.0034
    assert found.settled == pytest.approx(42.03, abs=0.05)
    assert found.start == pytest.approx(19.24, abs=0.15)
    assert found.change > 0


def test_batches_on_levels_of_their_own_share_the_rate():
    """Two exact curves 0.3 pH apart: pooled without their names they would scatter by 0.15."""
    ages = np.array([0, 1, 3, 7.0])
    curve = -0.4 * (1 - np.exp(-0.7 * ages))
    both = np.concatenate([4.9 + curve, 5.2 + curve])
    found = fit_first_order(np.tile(ages, 2), both, ["a"] * 4 + ["b"] * 4)
    assert (found.rate_per_d, found.change, found.start) == pytest.approx((0.7, -0.4, 5.05), rel=1e-8)
    assert found.residual_sd < 1e-9
    assert fit_first_order(np.tile(ages, 2), both).residual_sd > 0.1
    assert linear_trend(np.tile(ages, 2), both, ["a"] * 4 + ["b"] * 4).df == 5


def test_three_readings_go_through_exactly_and_say_so():
    """By hand: falls 0.42 in a day and 0.66 in seven; with x = exp(-k), 0.42 (1 - x^7) = 0.66 (1 - x) at x = 0.364."""
    found = fit_first_order([0, 1, 7], [5.86, 5.44, 5.20])
    x = math.exp(-found.rate_per_d)
    assert 0.42 * (1 - x**7) == pytest.approx(0.66 * (1 - x), rel=1e-6)
    assert x == pytest.approx(0.364, abs=0.001)
    assert (found.df, found.rate_error, found.residual_sd) == (0, None, None)
    assert "as many unknowns as readings" in found.reason


@pytest.mark.parametrize(
    ("ages", "values", "said"),
    [
        ([], [], "no age"),
        ([1.0], [4.5], "one age"),
        ([1, 1, 1], [4.5, 4.6, 4.5], "one age"),
        ([0, 7], [4.9, 4.5], "two ages"),
        ([0, 0, 7, 7], [4.9, 4.91, 4.5, 4.51], "two ages"),
        ([0, 1, 7, 14], [4.60, 4.61, 4.60, 4.61], "no change"),
        ([0, 1, 7, 14], [4.6, 4.6, 4.6, 4.6], "no change"),
    ],
)
def test_what_cannot_be_told(ages, values, said):
    found = fit_first_order(ages, values)
    assert said in found.reason
    assert found.rate_per_d is found.change is found.settled is found.half_life_d is None


def test_batches_that_share_no_age_tell_no_curve():
    found = fit_first_order([0, 1, 7], [4.9, 4.7, 4.5], ["a", "b", "c"])
    assert "no batch was read at three ages" in found.reason


def test_a_straight_fall_leaves_the_end_open():
    found = fit_first_order([0, 7, 14, 28, 56], [5.0, 4.93, 4.86, 4.72, 4.44])
    assert found.at_bound == SLOW
    assert found.change_error is found.rate_error is None
    noisy = fit_first_order([0, 7, 14, 28, 56], [5.0, 4.94, 4.85, 4.73, 4.45])
    assert noisy.rate_low is None  # the readings do not rule out that it never settles


def test_a_change_that_is_over_by_the_second_age_has_no_rate():
    """The end is the mean of 4.60, 4.62 and 4.61 whatever the rate."""
    found = fit_first_order([0, 7, 14, 28], [5.0, 4.60, 4.62, 4.61])
    assert found.at_bound == FAST
    assert found.rate_error is found.rate_high is None
    assert found.settled == pytest.approx(4.61, abs=0.005)
    assert 0 < found.change_error < 0.02


@pytest.mark.slow
def test_the_interval_of_the_rate_holds_the_truth_nineteen_times_in_twenty():
    """400 simulated runs of nine readings with 0.02 pH of noise; 95 % expected, binomial SD 1.1 %."""
    rng = np.random.default_rng(5)
    ages = np.array([0.05, 0.5, 1, 2, 3, 5, 7, 10, 14.0])
    truth = 4.9 - 0.4 * (1 - np.exp(-0.5 * ages))
    held = 0
    for _ in range(400):
        found = fit_first_order(ages, truth + rng.normal(0, 0.02, ages.size))
        held += (found.rate_low or 0) <= 0.5 <= (found.rate_high or math.inf)
    assert 0.92 <= held / 400 <= 0.98


def test_the_simple_trend():
    found = linear_trend(MONTHS, MONTHLY_PH)
    assert found.slope_per_d == pytest.approx(-0.021471, rel=1e-4)  # here per month
    assert (found.low, found.high) == pytest.approx((-0.022437, -0.020505), rel=1e-4)
    assert found.p == pytest.approx(3.107e-08, rel=1e-3)
    assert found.excludes_zero
    assert found.change == pytest.approx(-0.2577, abs=1e-4)


def test_a_trend_with_too_few_readings_has_no_interval():
    two = linear_trend([0, 7], [4.9, 4.5])
    assert (two.low, two.excludes_zero, two.df) == (None, False, 0)
    assert two.change == pytest.approx(-0.4)
    assert two.p is None
    for ages, values in (([], []), ([1], [4.5]), ([3, 3], [4.5, 4.6])):
        assert linear_trend(ages, values).slope_per_d is None
    each = linear_trend([0, 7], [4.9, 4.5], ["a", "b"])
    assert (each.slope_per_d, each.reason) == (None, "no batch was read at two ages")


def test_values_without_scatter_have_an_interval_of_no_width():
    found = linear_trend([0, 1, 2], [4.5, 4.5, 4.5])
    assert (found.slope_per_d, found.p, found.excludes_zero) == (0, 1.0, False)


@pytest.mark.parametrize("call", [linear_trend, fit_first_order])
def test_lists_that_do_not_fit_are_refused(call):
    for told in (([1, 2], [4.5]), ([1, float("nan"), 3], [4, 4, 4]), ([1, 2, 3], [4, 5, 6], ["a"]), ([[1]], [[2]])):
        with pytest.raises(KitError) as refused:
            call(*told)
        assert refused.value.code == "drift.readings"
