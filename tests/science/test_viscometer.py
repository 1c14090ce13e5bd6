from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.viscometer import (
    flow_point,
    full_scale_mpa_s,
    judge_torque,
    relative_error_pct,
    settings_for,
    viscosity_mpa_s,
)
from kit.science.viscometer_parts import (
    COAXIAL,
    GEOMETRIES,
    spindle,
    spindle_constant,
    spindles,
    spring,
    springs,
)


def code_of(call, *arguments) -> str:
    with pytest.raises(KitError) as error:
        call(*arguments)
    return error.value.code


def test_a_disc_at_10_rpm():
    """By hand: K 4,000, 47.5 %, 10 rpm: 19,000 mPa.s; full scale 40,000."""
    constant = spindle_constant("rv", "Disc 5")
    assert viscosity_mpa_s(constant, 47.5, 10) == pytest.approx(19_000)
    assert full_scale_mpa_s(constant, 10) == pytest.approx(40_000)


def test_the_same_spindle_has_another_constant_on_another_spring():
    assert spindle_constant("HB", "disc 5") / spindle_constant("RV", "disc 5") == pytest.approx(8)
    assert spindle_constant("LV", "disc 5") / spindle_constant("RV", "disc 5") == pytest.approx(0.09373)


@pytest.mark.parametrize(("torque", "error"), [(10, 10), (20, 5), (50, 2), (90, 1.11)])
def test_the_error_from_full_scale(torque, error):
    """1 % of full scale over the torque: 10 % at 10, 5 % at 20, 1.1 % at 90."""
    assert relative_error_pct(torque) == pytest.approx(error, abs=0.005)
    assert relative_error_pct(torque, accuracy_pct=0.5) == pytest.approx(error / 2, abs=0.005)


@pytest.mark.parametrize(
    ("torque", "state", "inside"),
    [
        (-0.3, "below", False),
        (9.9, "below", False),
        (10, "low", True),
        (50, "good", True),
        (90, "high", True),
        (100, "high", True),
        (101, "above", False),
    ],
)
def test_the_window_of_torque(torque, state, inside):
    judged = judge_torque(torque)
    assert (judged.state, judged.inside) == (state, inside)
    assert judged.words.endswith(".")


def test_outside_the_window_it_says_what_to_do():
    assert "larger spindle" in judge_torque(5).words
    assert "smaller spindle" in judge_torque(101).words
    assert judge_torque(0).relative_error_pct is None


@pytest.mark.parametrize("torque", [0, -3])
def test_a_torque_that_is_not_above_zero_asks_for_the_zero(torque):
    judged = judge_torque(torque)
    assert (judged.state, judged.inside) == ("below", False)
    assert "Set the zero" in judged.words
    assert "larger spindle" not in judged.words
    assert str(judged) == repr(judged) == judged.words


def test_a_torque_that_is_no_number_is_refused():
    assert code_of(judge_torque, math.nan) == "science.not_finite"


def test_a_negative_torque_gives_no_value():
    assert code_of(viscosity_mpa_s, 4000, -1, 10) == "science.negative"
    assert code_of(viscosity_mpa_s, 4000, 50, 0) == "science.not_positive"


@pytest.mark.parametrize("name", ["disc 5", "T-bar C", "cylinder 4"])
def test_only_coaxial_cylinders_give_true_rates(name):
    assert code_of(flow_point, "RV", name, 50, 10) == "viscometer.relative"
    assert not spindle(name).gives_true_rates
    assert "relative" in spindle(name).words


def test_geometries_are_those_that_are_known():
    assert {item.geometry for item in spindles().values()} == set(GEOMETRIES)
    assert spindle("small sample 31").geometry == COAXIAL
    assert spindle("small sample 31").gives_true_rates


def test_springs_by_their_torque():
    ordered = sorted(springs().values(), key=lambda one: one.torque_n_m)
    assert [one.name for one in ordered] == ["LV", "RV", "HA", "HB"]
    assert spring("HA").torque_n_m == pytest.approx(2 * spring("RV").torque_n_m)


def test_an_unknown_spindle_or_spring_lists_the_known_ones():
    assert code_of(spindle, "disc 9") == "viscometer.spindle"
    assert code_of(spring, "XX") == "viscometer.spring"


def test_settings_for_an_expected_viscosity():
    """By hand for 15,000 mPa.s: disc 5 (4,000) at 10 rpm 37.5 % and 20 rpm 75 %; disc 4 (2,000) at 5 rpm 37.5 %, 10 rpm
    75 %."""
    found = settings_for(15_000, {"disc 4": 2000, "disc 5": 4000}, [5, 10, 20])
    assert {(one.spindle, one.rpm, one.torque_pct) for one in found} == {
        ("disc 4", 10, 75.0),
        ("disc 5", 20, 75.0),
        ("disc 4", 5, 37.5),
        ("disc 5", 10, 37.5),
    }
    assert found[0].torque_pct == max(one.torque_pct for one in found)
    assert settings_for(15e6, {"disc 4": 2000}) == ()


@given(
    torque=st.floats(0.1, 100),
    rpm=st.floats(0.3, 200),
    names=st.sampled_from([(a, b) for a in springs() for b in spindles()]),
)
def test_value_and_constant_are_two_sides_of_one_equation(torque, rpm, names):
    constant = spindle_constant(*names)
    value = viscosity_mpa_s(constant, torque, rpm)
    assert value * rpm / torque == pytest.approx(constant)
    assert value <= full_scale_mpa_s(constant, rpm) * (1 + 1e-12)


@given(torque=st.floats(0.1, 100), rpm=st.floats(0.3, 200), name=st.sampled_from(sorted(springs())))
def test_a_true_point_has_the_viscosity_of_the_reading(torque, rpm, name):
    point = flow_point(name, "small sample 31", torque, rpm)
    value = viscosity_mpa_s(spindle_constant(name, "small sample 31"), torque, rpm)
    assert point.viscosity_mpa_s == pytest.approx(value)
