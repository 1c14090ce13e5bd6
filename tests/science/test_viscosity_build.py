"""Viscosity build with age."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from kit.errors import KitError
from kit.science.viscosity_build import FAST, SLOW, fit_build

AGES = np.array([1, 4, 8, 24, 48, 72, 168.0])


def build(ages, start, settled, time):
    return settled + (start - settled) * np.exp(-ages / time)


def noisy(seed, sd=0.02, ages=AGES, start=8000.0, settled=16000.0, time=24.0):
    return build(ages, start, settled, time) * np.exp(np.random.default_rng(seed).normal(0, sd, ages.size))


def test_exact_curve_and_its_ages():
    """After 24 ln 2 = 16.64 h half is done, after 24 ln 20 = 71.9 h nineteen twentieths."""
    found = fit_build(AGES, build(AGES, 8000, 16000, 24))
    assert found.ok and found.grows
    assert (found.start_mpa_s, found.settled_mpa_s, found.time_constant_h) == pytest.approx((8000, 16000, 24), rel=1e-8)
    assert found.age_at_share(0.5) == pytest.approx(16.636, abs=0.001)
    assert found.age_at_share(0.95) == pytest.approx(71.898, abs=0.001)
    assert found.at(24) == pytest.approx(16000 - 8000 / math.e)
    assert found.at(0.5) is None and found.at(200) is None


@pytest.mark.parametrize("seed", range(4))
def test_values_and_errors_as_scipy(seed):
    read = noisy(seed)
    expected, covariance = curve_fit(build, AGES, read, (8e3, 16e3, 24), sigma=read, ftol=1e-14, xtol=1e-14, gtol=1e-14)
    found = fit_build(AGES, read)
    assert (found.start_mpa_s, found.settled_mpa_s, found.time_constant_h) == pytest.approx(tuple(expected), rel=1e-6)
    errors = (found.start_error_mpa_s, found.settled_error_mpa_s, found.time_constant_error_h)
    assert errors == pytest.approx(tuple(np.sqrt(np.diag(covariance))), rel=1e-4)
    left = build(AGES, *expected) / read - 1
    assert found.residual_sd == pytest.approx(math.sqrt(left @ left / 4), rel=1e-6)
    assert found.df == 4
    assert "settles at" in str(found)


def test_a_fall_has_its_sign():
    found = fit_build(AGES, build(AGES, 16000, 12000, 30))
    assert found.ok and found.grows is False
    assert found.settled_mpa_s == pytest.approx(12000)


@pytest.mark.parametrize(
    ("ages", "read", "said"),
    [
        ([], [], "read at 0 ages"),
        ([1, 24], [8000, 12000], "read at 2 ages"),
        ([1, 24, 72], [8000, 12000, 15000], "read at 3 ages"),
        ([1, 1, 24, 24, 72, 72], [8000, 8100, 12000, 12100, 15000, 15100], "read at 3 ages"),
        ([1, 24, 72, 168], [8000] * 4, "no change"),
        ([1, 24, 72, 168], [8000, math.nan, 12000, 14000], "not a viscosity"),
        ([1, 24, 72, 168], [8000, -1, 12000, 14000], "not a viscosity"),
        ([-1, 24, 72, 168], [8000, 9000, 12000, 14000], "not a number of hours"),
        ([1, 24, math.nan, 168], [8000, 9000, 12000, 14000], "not a number of hours"),
    ],
)
def test_what_cannot_be_told(ages, read, said):
    found = fit_build(ages, read)
    assert not found.ok
    assert said in found.reason and said in str(found)
    assert found.settled_mpa_s is found.time_constant_h is found.grows is found.age_at_share(0.5) is None
    assert found.at(24) is None


def test_noise_alone_is_no_build():
    """An F test at one in twenty: of 100 runs without change about five may pass it, and few of these are told."""
    found = [fit_build(AGES, noisy(seed, settled=8000.0)) for seed in range(100)]
    assert sum(fit.ok for fit in found) <= 10
    assert sum("stands out from the scatter" in fit.reason for fit in found) > 80


def test_still_building():
    ages = np.array([1, 4, 8, 12, 24.0])
    found = fit_build(ages, 8000 + 100 * ages)
    assert (found.at_bound, found.settled_mpa_s) == (SLOW, None)
    assert "still building" in found.reason


def test_over_by_the_second_age():
    found = fit_build([0, 24, 48, 72, 168], [8000, 16000, 16010, 15990, 16005])
    assert (found.at_bound, found.settled_mpa_s) == (FAST, None)
    assert "over by the second age" in found.reason


def test_lists_that_do_not_fit_are_refused():
    for told in (([1, 2], [1]), ([[1]], [[2]])):
        with pytest.raises(KitError) as refused:
            fit_build(*told)
        assert refused.value.code == "build.readings"
