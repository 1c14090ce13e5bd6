"""Temperature correction of viscosity: a measured slope, at most 3 °C, else refused."""

import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.temperature_correction import (
    correct_viscosity,
    measured_slope,
    temperature_factor,
)

TEMPS, READ = [20.0, 25.0, 30.0], [12_500.0, 10_000.0, 8_000.0]  # each 0.8 times the one before


def test_slope_by_hand():
    """ln 0.8 / 5 = -0.04463 per °C, without scatter."""
    found = measured_slope(TEMPS, READ)
    assert found.per_c == pytest.approx(-0.044629, abs=1e-6)
    assert found.standard_error_per_c == pytest.approx(0, abs=1e-12)
    assert (found.lowest_c, found.highest_c, found.df) == (20, 30, 1)


def test_slope_and_error_as_numpy():
    temps, read = [20, 22, 25, 28, 30, 25], [12_300, 11_700, 10_000, 8_700, 8_150, 10_150]
    (slope, _), covariance = np.polyfit(temps, np.log(read), 1, cov=True)
    found = measured_slope(temps, read)
    assert found.per_c == pytest.approx(slope, rel=1e-9)
    assert found.per_c < 0
    assert found.standard_error_per_c == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)
    assert "% per °C, measured between 20 and 30 °C" in str(found)


def test_the_factor_and_its_sign():
    """9,920 mPa·s at 31.6 °C with -0.045 per °C: 9,920 exp(0.297) = 13,350 at 25 °C."""
    assert 9920 * temperature_factor(-0.045, 25 - 31.6) == pytest.approx(13_350, abs=1)


def test_a_correction_within_three_degrees():
    """From 27 to 25 °C: 10,000 x 0.8^(-2/5) = 10,934; down to colder is up in viscosity."""
    slope = measured_slope(TEMPS, READ)
    found = correct_viscosity(10_000, 27.0, slope)
    assert found.corrected_mpa_s == pytest.approx(10_000 * 0.8**-0.4)
    assert found.corrected_mpa_s == pytest.approx(10_934, abs=1)
    assert (found.raw_mpa_s, found.raw_c, found.at_c, found.flag) == (10_000, 27.0, 25.0, "corrected")
    assert correct_viscosity(10_000, 23.0, slope).corrected_mpa_s == pytest.approx(10_000 * 0.8**0.4)
    assert correct_viscosity(10_000, 28.0, slope).corrected_mpa_s > found.corrected_mpa_s
    assert "corrected from" in str(found)


def test_the_error_that_the_slope_adds():
    slope = measured_slope([20, 22, 25, 28, 30, 25], [12_300, 11_700, 10_000, 8_700, 8_150, 10_150])
    found = correct_viscosity(10_000, 27.0, slope)
    assert found.standard_error_mpa_s == pytest.approx(found.corrected_mpa_s * 2 * slope.standard_error_per_c)
    assert found.standard_error_mpa_s > 0


@pytest.mark.parametrize(
    ("at", "slope", "wanted", "said"),
    [
        (31.6, measured_slope([20, 25, 35], READ), 25.0, "6.6 °C is too far"),
        (28.1, measured_slope(TEMPS, READ), 25.0, "too far"),
        (21.9, measured_slope(TEMPS, READ), 25.0, "too far"),
        (27.0, None, 25.0, "no slope was measured"),
        (27.0, measured_slope([20, 25], READ[:2]), 25.0, "at least three"),
        (27.0, measured_slope([20, 25, 30], [10_000, 9_000, 10_100]), 25.0, "as large as itself"),
        (32.0, measured_slope(TEMPS, READ), 30.0, "between 20 and 30 °C only"),
    ],
)
def test_what_is_refused(at, slope, wanted, said):
    with pytest.raises(KitError) as refused:
        correct_viscosity(9920, at, slope, wanted)
    assert refused.value.code == "viscosity.temperature"
    assert said in str(refused.value)


@pytest.mark.parametrize(("read", "at"), [(0, 25), (-1, 25), (math.nan, 25), (9000, math.nan)])
def test_no_reading_no_correction(read, at):
    with pytest.raises(KitError) as refused:
        correct_viscosity(read, at, measured_slope(TEMPS, READ))
    assert refused.value.code == "viscosity.temperature_readings"


@pytest.mark.parametrize(
    ("temps", "read", "said"),
    [
        ([20, 25], [2, 1], "at least three"),
        ([20, 20, 25, 25], [2, 2, 1, 1], "at least three"),
        ([20, 25, math.nan], [3, 2, 1], "temperature is not a number"),
        ([20, 25, 30], [3, 0, 1], "not a viscosity"),
        ([20, 25, 30], [3, math.nan, 1], "not a viscosity"),
    ],
)
def test_no_slope(temps, read, said):
    slope = measured_slope(temps, read)
    assert slope.per_c is slope.standard_error_per_c is None
    assert said in slope.reason and said in str(slope)


def test_constant_viscosity_has_no_slope():
    assert "as large as itself" in measured_slope(TEMPS, [9000] * 3).reason


def test_lists_that_do_not_fit_are_refused():
    with pytest.raises(KitError) as refused:
        measured_slope([20, 25, 30], [1, 2])
    assert refused.value.code == "viscosity.temperature_readings"
