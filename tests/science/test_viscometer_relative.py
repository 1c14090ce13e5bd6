from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.viscometer_relative import disc_stress_pa, flow_index, relative_flow_curve

SPEEDS = [1, 2, 5, 10, 20]


@given(index=st.floats(0.1, 1.0), at_one=st.floats(1, 20))
def test_the_flow_index_is_the_slope_whatever_the_spindle(index, at_one):
    slope, error = flow_index(SPEEDS, [at_one * speed**index for speed in SPEEDS])
    assert slope == pytest.approx(index, abs=1e-9)
    assert error == pytest.approx(0, abs=1e-6)


def test_its_standard_error_is_that_of_a_straight_line():
    """Against scipy.stats.linregress on the logarithms."""
    from scipy.stats import linregress

    torques = [12.1, 14.8, 20.3, 24.9, 31.6]
    peer = linregress([math.log(speed) for speed in SPEEDS], [math.log(torque) for torque in torques])
    slope, error = flow_index(SPEEDS, torques)
    assert slope == pytest.approx(peer.slope, rel=1e-9)
    assert error == pytest.approx(peer.stderr, rel=1e-9)


def test_the_shear_thinning_index_of_a_conditioner():
    """n 0.30: viscosity falls fivefold over a decade of speed, 10^0.7 = 5.01."""
    slope, _ = flow_index([1, 10, 100], [10, 10 * 10**0.3, 10 * 10**0.6])
    assert 10 ** (1 - slope) == pytest.approx(5.01, abs=0.01)


def test_a_curve_of_a_disc_is_marked_relative():
    curve = relative_flow_curve("disc 5", SPEEDS, [10 * speed**0.3 for speed in SPEEDS])
    assert curve.shear_stress_pa[0] == pytest.approx(10.5)
    # by hand: 0.263 x (1/0.3)^0.771 = 0.263 x 2.530 = 0.6654 1/s at 1 rpm
    assert curve.shear_rate_per_s[0] == pytest.approx(0.6654, abs=5e-4)
    assert curve.limits[0].startswith("relative")


def test_another_spring_scales_the_stress():
    assert disc_stress_pa("disc 5", 10, "HB") == pytest.approx(8 * disc_stress_pa("disc 5", 10))


@pytest.mark.parametrize(
    ("speeds", "torques"),
    [([1, 2], [10, 12]), ([1, 2, 5], [10, 12]), ([1, 1, 1], [10, 11, 12]), ([1, 2, 5], [10, 0, 12]), ([], [])],
)
def test_too_few_or_impossible_readings_are_refused(speeds, torques):
    with pytest.raises(KitError) as error:
        flow_index(speeds, torques)
    assert error.value.code == "viscometer.speeds"


def test_a_torque_that_falls_with_speed_is_no_flow_curve():
    with pytest.raises(KitError) as error:
        relative_flow_curve("disc 5", [1, 2, 5], [30, 25, 20])
    assert error.value.code == "viscometer.not_thinning"


@pytest.mark.parametrize("name", ["T-bar C", "cylinder 2"])
def test_only_discs_have_a_stress_constant(name):
    with pytest.raises(KitError) as error:
        disc_stress_pa(name, 50)
    assert error.value.code == "viscometer.relative_geometry"
