from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.mixing import (
    Liquid,
    gap_shear_rate_per_s,
    power,
    regime,
    reynolds,
    tip_speed_m_s,
    turnovers,
    turnovers_of_flow,
)
from kit.science.stirrers import Span, Stirrer, stirrer

PLAIN = Liquid(1000, 0.001)
sizes = st.floats(0.005, 2.0)
speeds = st.floats(1.0, 20_000.0)
indices = st.floats(0.1, 1.0)


def code_of(call, *arguments, **named) -> str:
    with pytest.raises(KitError) as error:
        call(*arguments, **named)
    return error.value.code


def test_a_head_of_25_mm_at_8000_rpm():
    """By hand: pi x 0.025 x 133.33 = 10.47 m/s; over 0.2 mm 52,360 1/s."""
    assert tip_speed_m_s(0.025, 8000) == pytest.approx(10.472, abs=1e-3)
    assert gap_shear_rate_per_s(0.025, 8000, 0.2e-3) == pytest.approx(52_360, rel=1e-4)


def test_turnovers_of_a_propeller():
    """By hand: 0.5 x 10 1/s x (0.05 m)^3 x 60 s / 0.4e-3 m3 = 93.75; at 0.4 and 0.6 75 and 112.5."""
    span = turnovers(stirrer("propeller", 0.05), 600, 1.0, 0.4e-3)
    assert (span.low, span.high) == pytest.approx((75, 112.5))


def test_turnovers_of_a_measured_flow():
    """By hand: 50 L/min for 5 min through 1 L is 250 turnovers, through 45 L 5.6."""
    assert turnovers_of_flow(50, 5, 1) == pytest.approx(250)
    assert turnovers_of_flow(50, 5, 45) == pytest.approx(5.56, abs=0.01)
    assert code_of(turnovers_of_flow, 50, 5, 0) == "science.not_positive"


def test_energy_per_kg():
    """By hand: 2 W for 3 min on 0.4 kg, 900 J/kg."""
    drawn = power(Stirrer("x", 0.1, power_number=Span(2, 2)), 60, 1.0 / 1e-5, Liquid(1e5, 1e-3))
    assert drawn.power_w.low == pytest.approx(2.0)
    assert drawn.energy_j_per_kg(3, 0.4).low == pytest.approx(900)


def test_the_power_of_a_rotor_stator_head_spans_at_least_a_factor_of_2_both_ways():
    head = stirrer("rotor-stator", 0.025)
    drawn = power(head, 9000, 1000, PLAIN)
    middle = math.sqrt(3) * 1000 * 150**3 * 0.025**5
    assert drawn.power_w.low <= middle / 2 * (1 + 1e-9)
    assert drawn.power_w.high >= middle * 2 * (1 - 1e-9)
    assert any("factor of 2" in limit for limit in drawn.limits)
    measured = dataclasses.replace(head, power_number=Span(1.7, 1.7))
    spread = power(measured, 9000, 1000, PLAIN).power_w
    assert spread.high / spread.low == pytest.approx(4)


def test_without_viscosity_turbulent_flow_is_said_to_be_taken_for_granted():
    drawn = power(stirrer("propeller", 0.05), 600, 1000)
    assert drawn.reynolds is None
    assert drawn.regime == "not known"
    assert "taken for granted" in drawn.limits[0]


def test_a_thick_batch_draws_more_than_the_turbulent_number_says():
    thick = Liquid(1000, 10.0)
    blade = Stirrer("anchor", 0.1, power_number=Span(0.5, 0.5), laminar_power=200.0)
    drawn = power(blade, 60, 1000, thick)
    assert drawn.regime == "laminar"
    # by hand: Re 1000 x 1 x 0.01 / 10 = 1, Np 200.5, x 1000 x 1 x 1e-5 = 2.005 W
    assert drawn.power_w.low == pytest.approx(2.005)
    without = power(dataclasses.replace(blade, laminar_power=None), 60, 1000, thick)
    assert "lower end" in without.limits[0]


@given(size=sizes, rpm=speeds, factor=st.floats(1.1, 10.0))
def test_power_rises_with_the_cube_of_speed_and_the_fifth_power_of_size(size, rpm, factor):
    def drawn(diameter, speed):
        return power(Stirrer("x", diameter, power_number=Span(1, 2)), speed, 1000).power_w.low

    assert drawn(size, rpm * factor) / drawn(size, rpm) == pytest.approx(factor**3)
    assert drawn(size * factor, rpm) / drawn(size, rpm) == pytest.approx(factor**5)


@given(size=sizes, rpm=speeds, index=indices)
def test_the_reynolds_number_follows_the_closed_form_of_a_power_law(size, rpm, index):
    """rho N^(2-n) D2 / (K ks^(n-1)), as textbooks print it."""
    blade = Stirrer("x", size, metzner_otto=11.5)
    turns = rpm / 60
    expected = 1000 * turns ** (2 - index) * size**2 / (5.0 * 11.5 ** (index - 1))
    assert reynolds(blade, rpm, Liquid(1000, 5.0, index)) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("number", "word"), [(5, "laminar"), (500, "transitional"), (2e4, "turbulent"), (None, "not known")]
)
def test_regimes(number, word):
    assert regime(number) == word


def test_what_is_not_known_of_a_stirrer_is_refused():
    bare = Stirrer("spatula", 0.03)
    assert code_of(power, bare, 100, 1000) == "mixing.power_number"
    assert code_of(turnovers, bare, 100, 1, 1e-3) == "mixing.pumping_number"
    assert code_of(reynolds, bare, 100, Liquid(1000, 5.0, 0.3)) == "mixing.metzner_otto"
    assert reynolds(bare, 60, PLAIN) == pytest.approx(900)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_impossible_sizes_and_speeds_are_refused(bad):
    assert code_of(tip_speed_m_s, 0.05, bad) == "science.not_positive"
    assert code_of(Liquid, bad, 1.0) == "science.not_positive"
