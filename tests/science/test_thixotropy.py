"""Hysteresis between the curve up and the curve down, and recovery after shear."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.flow_curve import FlowCurve
from kit.science.thixotropy import hysteresis, recovery


def test_area_by_hand():
    """Up 10, 20, 40 Pa at 0... 1, 2, 4 1/s; down 8, 16, 40. Gap 2, 4, 0: (2 + 4)/2 x 1 + (4 + 0)/2 x 2 = 7 Pa/s. Under
    the curve up 15 + 60 = 75: 9.33 %."""
    found = hysteresis(FlowCurve([1, 2, 4], [10, 20, 40]), FlowCurve([4, 2, 1], [40, 16, 8]))
    assert found.area_pa_per_s == pytest.approx(7)
    assert found.share == pytest.approx(7 / 75)
    assert (found.slowest_per_s, found.fastest_per_s, found.crosses) == (1, 4, False)
    assert found.standard_error_pa_per_s is None
    assert str(found) == "7 Pa/s between 1 and 4 1/s, 9.3% of the area under the curve up"


def test_sign_and_crossing():
    up, down = FlowCurve([1, 2, 4], [10, 20, 40]), FlowCurve([1, 2, 4], [8, 16, 40])
    assert hysteresis(down, up).area_pa_per_s == pytest.approx(-7)
    # gap 2, 0, -2: 1 - 2 = -1
    crossing = hysteresis(up, FlowCurve([1, 2, 4], [8, 20, 42]))
    assert crossing.crosses and crossing.area_pa_per_s == pytest.approx(-1)
    assert "cross" in str(crossing)


def test_other_rates_down_and_a_shorter_window():
    """Straight lines 10 x rate and 8 x rate: gap 2 x rate, area between 1 and 3 of rate² = 8."""
    found = hysteresis(FlowCurve([0.5, 1, 2, 3.0], [5, 10, 20, 30]), FlowCurve([1, 1.7, 4], [8, 13.6, 32]))
    assert found.area_pa_per_s == pytest.approx(8)
    assert (found.slowest_per_s, found.fastest_per_s) == (1, 3)


def test_error_of_the_area():
    """By hand for 1, 2, 4 1/s: weights 0.5, 1.5, 1; with 2 % a reading up 0.02 x sqrt(5² + 30² + 40²) = 1.005, down
    0.02 x sqrt(4² + 24² + 40²) = 0.9365; together 1.374 Pa/s."""
    up, down = FlowCurve([1, 2, 4], [10, 20, 40]), FlowCurve([1, 2, 4], [8, 16, 40])
    error = hysteresis(up, down, 0.02).standard_error_pa_per_s
    assert error == pytest.approx(math.hypot(1.005, 0.9365), rel=1e-3)
    # and by drawing readings
    rng = np.random.default_rng(2)
    drawn = [
        hysteresis(
            FlowCurve([1, 2, 4], [10, 20, 40] * (1 + rng.normal(0, 0.02, 3))),
            FlowCurve([1, 2, 4], [8, 16, 40] * (1 + rng.normal(0, 0.02, 3))),
        ).area_pa_per_s
        for _ in range(600)
    ]
    assert np.std(drawn) == pytest.approx(error, rel=0.1)


def test_a_reading_repeated_counts_as_its_mean():
    up, down = FlowCurve([1, 2, 2, 4], [10, 19, 21, 40]), FlowCurve([1, 2, 4], [8, 16, 40])
    assert hysteresis(up, down).area_pa_per_s == pytest.approx(7)
    assert hysteresis(up, down, 0.02).standard_error_pa_per_s < math.hypot(1.005, 0.9365)


@pytest.mark.parametrize(
    ("up", "down", "said"),
    [
        (([1, 2], [5, 9]), ([3, 4], [5, 9]), "fewer than three rates"),
        (([1, 2], [5, 9]), ([1, 2], [4, 9]), "fewer than three rates"),
        (([1, 2, 4], [5, math.nan, 9]), ([1, 2, 4], [4, 5, 9]), "curve up: reading 2"),
        (([1, 2, 4], [5, 6, 9]), ([1, 2, 4], [4, -5, 9]), "curve down: reading 2 has a negative"),
    ],
)
def test_no_area(up, down, said):
    found = hysteresis(FlowCurve(*up), FlowCurve(*down), 0.02)
    assert found.area_pa_per_s is found.share is found.standard_error_pa_per_s is None
    assert said in str(found)


@given(st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_units_of_the_area(stress, rate):
    up, down = FlowCurve([1, 2, 4], [10, 20, 40]), FlowCurve([1, 2, 4], [8, 16, 40])
    scaled = [FlowCurve(curve.shear_rate_per_s * rate, curve.stress_pa * stress) for curve in (up, down)]
    assert hysteresis(*scaled).area_pa_per_s == pytest.approx(7 * stress * rate)
    assert hysteresis(*scaled).share == pytest.approx(7 / 75)


def test_recovery_by_hand():
    """40 Pa·s before; 10, 24, 36 at 10, 60, 180 s: 25, 60, 90 %. Half is back at 10 + 50 x 25/35 = 45.7 s."""
    found = recovery(40.0, [10, 60, 180], [10, 24, 36], 0.03)
    assert found.shares == pytest.approx((0.25, 0.6, 0.9))
    assert found.standard_errors == pytest.approx((0.25 * 0.0424264, 0.6 * 0.0424264, 0.9 * 0.0424264))
    assert found.time_to(0.5) == pytest.approx(45.714, abs=0.001)
    assert found.time_to(0.2) == 10
    assert found.time_to(0.95) is None
    assert recovery(40.0, [10], [10]).standard_errors is None


@pytest.mark.parametrize(
    ("before", "times", "after", "said"),
    [
        (40, [], [], "no reading"),
        (0, [10], [20], "not a viscosity"),
        (40, [10, 20], [20, math.nan], "not a viscosity"),
        (40, [10, 20], [20, -1], "not a viscosity"),
        (40, [20, 10], [20, 30], "do not rise"),
        (40, [10, 10], [20, 30], "do not rise"),
        (40, [-1, 10], [20, 30], "do not rise"),
    ],
)
def test_no_recovery(before, times, after, said):
    found = recovery(before, times, after)
    assert said in found.reason
    assert found.shares == () and found.time_to(0.5) is None


def test_lists_that_do_not_fit_are_refused():
    with pytest.raises(KitError) as refused:
        recovery(40, [10, 20], [20])
    assert refused.value.code == "flow.readings"
