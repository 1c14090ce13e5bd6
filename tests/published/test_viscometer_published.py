"""Viscometers against standards and makers' pages."""

from __future__ import annotations

import math

import pytest

from kit.science.viscometer import flow_point, full_scale_mpa_s, viscosity_mpa_s
from kit.science.viscometer_coaxial import CoaxialCylinders
from kit.science.viscometer_oil import check_with_oil
from kit.science.viscometer_parts import spindle_constant, spring
from kit.science.viscometer_relative import disc_rate_per_s, disc_stress_pa, newtonian_rate_per_rpm


def test_the_standard_coaxial_geometry():
    """ISO 3219 and DIN 53019-1: rate 1.291 a rpm [1/s], stress 0.0446 M / R3 [Pa] (recomputed 1.2908 and 0.04461)."""
    radius = 0.0125
    geometry = CoaxialCylinders.standard(radius)
    assert geometry.representative_rate_per_s(1) == pytest.approx(1.2908, rel=2e-4)
    assert geometry.representative_stress_pa(1e-3) == pytest.approx(0.04461 * 1e-3 / radius**3, rel=5e-4)
    assert geometry.is_narrow


# Oil-field viscometer, sleeve of 18.415 mm turning around a bob of 17.245 mm.
SLEEVE_AND_BOB = CoaxialCylinders(17.245e-3, 18.415e-3, 38.0e-3)


@pytest.mark.parametrize(
    ("rpm", "rate"), [(3, 5.11), (6, 10.21), (100, 170.23), (200, 340.46), (300, 510.69), (600, 1021.38)]
)
def test_the_rates_of_an_oil_field_viscometer(rpm, rate):
    """ISO 10414-1, API RP 13B-1: 1.7023 a rpm [1/s]."""
    assert SLEEVE_AND_BOB.inner_rate_per_s(rpm) == pytest.approx(rate, rel=1e-3)


def test_the_stress_of_an_oil_field_viscometer():
    """Instruction manual of a six-speed viscometer, Table 7-3: 386 dyn cm a degree, 1,533 dyn/cm2 at 300 degrees, that
    is 0.511 Pa a degree. By hand, the bob's length alone takes 386e-7 / (2 pi 0.038 0.017245^2) = 0.5436 Pa: ends 6 %
    more."""
    torque_n_m = 386e-7
    alone = CoaxialCylinders(17.245e-3, 18.415e-3, 38.0e-3, end_effect=1.0).inner_stress_pa(torque_n_m)
    assert alone == pytest.approx(0.5436, rel=1e-3)
    with_ends = CoaxialCylinders(17.245e-3, 18.415e-3, 38.0e-3, end_effect=1.064).inner_stress_pa(torque_n_m)
    assert with_ends == pytest.approx(0.1 * 1533 / 300, rel=5e-3)
    # made so that a degree at 300 rpm is 1 mPa.s
    assert 1000 * with_ends / SLEEVE_AND_BOB.inner_rate_per_s(300) == pytest.approx(1.0, rel=5e-3)


def test_a_reading_on_another_sleeve_and_spring():
    """Manual of an oil-field rheometer, appendix B: S theta f C = 0.5 x 189 x 5 x 0.315 = 149 mPa.s. C of R2-B1 is
    0.315; as 100 K torque / rpm: K = 300 f C a degree."""
    assert viscosity_mpa_s(300 * 5 * 0.315, 189, 600) == pytest.approx(149, abs=0.5)


def test_the_makers_example_for_a_small_sample_chamber():
    """Instruction manual of a rheometer, calculations page: LV, spindle 31, 30 rpm, 62.3 %: 622.9 mPa.s, 10.2 1/s and
    63.5 dyn/cm2 (6.35 Pa)."""
    assert viscosity_mpa_s(spindle_constant("LV", "small sample 31"), 62.3, 30) == pytest.approx(622.9, abs=0.1)
    point = flow_point("LV", "small sample 31", 62.3, 30)
    assert point.shear_rate_per_s == pytest.approx(10.2, abs=1e-9)
    assert point.shear_stress_pa == pytest.approx(6.35, abs=0.005)
    assert point.viscosity_mpa_s == pytest.approx(622.9, abs=0.1)


DISCS = {
    "disc 1": (100, 0.035, 0.35),
    "disc 2": (400, 0.119, 0.2975),
    "disc 3": (1000, 0.279, 0.279),
    "disc 4": (2000, 0.539, 0.2695),
    "disc 5": (4000, 1.05, 0.2625),
    "disc 6": (10000, 2.35, 0.235),
    "disc 7": (40000, 8.4, 0.21),
}


@pytest.mark.parametrize(("name", "expected"), DISCS.items())
def test_discs_on_the_rv_spring(name, expected):
    """P. Mitschka, Rheol. Acta 21 (1982) 207-209; ISO 2555:2018: constant, Pa a percent, and 1/s a rpm without
    thinning."""
    constant, stress, rate = expected
    assert spindle_constant("RV", name) == pytest.approx(constant)
    assert disc_stress_pa(name, 1.0) == pytest.approx(stress)
    assert newtonian_rate_per_rpm(name) == pytest.approx(rate, rel=1e-3)


def test_the_common_rate_of_the_discs_lies_among_them():
    """Briggs and Steffe 1997: 0.263 a rpm without thinning; the seven discs lie at 0.21 to 0.35."""
    assert disc_rate_per_s(1.0, 1.0) == pytest.approx(0.263)
    assert disc_rate_per_s(10.0, 0.3) == pytest.approx(2.63 * math.exp(0.771 * math.log(1 / 0.3)), rel=1e-6)


def test_the_full_scale_torque_of_spring_rv():
    """7.187e-4 N m; a spring LV has 673.7 dyn cm, 6.737e-5 N m (makers' data, from memory)."""
    assert spring("RV").torque_n_m == pytest.approx(7.187e-4, rel=1e-3)
    assert spring("LV").torque_n_m == pytest.approx(6.737e-5, rel=1e-3)


@pytest.mark.parametrize(("rpm", "low", "high"), [(30, 12393, 13047), (20, 12293, 13147), (12, 12093, 13347)])
def test_the_limits_of_a_check_with_oil(rpm, low, high):
    """Laboratory instruction: oil of 12,720 mPa.s, cylinder 4 with a full scale of 20,000 mPa.s at 30 rpm (K 6,000):
    12,393 to 13,047 at 30 rpm, 12,293 to 13,147 at 20, 12,093 to 13,347 at 12."""
    constant = 20_000 * 30 / 100
    assert full_scale_mpa_s(constant, 30) == 20_000
    assert check_with_oil(12_720, 12_720, constant, rpm).limits_mpa_s == pytest.approx((low, high), abs=0.6)
    assert check_with_oil(12_720, high - 1, constant, rpm).agrees
    assert not check_with_oil(12_720, high + 1, constant, rpm).agrees


def test_cylinder_4_on_spring_lv_has_the_full_scale_of_that_instruction():
    assert full_scale_mpa_s(spindle_constant("LV", "cylinder 4"), 30) == pytest.approx(20_000, rel=1e-3)
