"""Stirrers and densities against textbook relations worked by hand."""

from __future__ import annotations

import math

import pytest

from kit.science.density_air import air_content, fill_mass_g, volume_ml
from kit.science.mixing import (
    Liquid,
    power,
    reynolds,
    stirred_viscosity_pa_s,
    stirrer_shear_rate_per_s,
    tip_speed_m_s,
)
from kit.science.stirrers import Span, Stirrer


def test_a_pitched_blade_turbine():
    """0.1 m at 600 rpm in 1000 kg/m3 and 0.5 Pa.s, Np 1.27: pi N D 3.1416 m/s, Re 200, 1.27 x 1000 x 10^3 x 0.1^5 =
    12.7 W."""
    turbine = Stirrer("pitched blade", 0.1, power_number=Span(1.27, 1.27))
    oil = Liquid(1000, 0.5)
    assert tip_speed_m_s(0.1, 600) == pytest.approx(3.1416, abs=1e-4)
    assert reynolds(turbine, 600, oil) == pytest.approx(200)
    drawn = power(turbine, 600, 1000, oil)
    assert (drawn.power_w.low, drawn.power_w.high) == pytest.approx((12.7, 12.7))


@pytest.mark.parametrize(("diameter_m", "rpm", "m_s"), [(0.025, 8000, 10.5), (0.040, 600, 1.26)])
def test_tip_speeds_of_the_bench(diameter_m, rpm, m_s):
    """By hand: pi x 0.025 x 8000 / 60 = 10.47 and pi x 0.040 x 10 = 1.257 m/s."""
    assert tip_speed_m_s(diameter_m, rpm) == pytest.approx(m_s, abs=0.03)


def test_a_product_that_thins_around_a_turbine():
    """A. B. Metzner, R. E. Otto, AIChE J. 3 (1957) 3: ks 11.5 at 300 rpm, 57.5 1/s; 8 Pa.s^n, n 0.4: 0.7035 Pa.s, Re
    70.36. The same Reynolds number by rho N^(2-n) D2 / (K ks^(n-1))."""
    turbine = Stirrer("flat blade turbine", 0.1, metzner_otto=11.5)
    product = Liquid(990, 8.0, 0.4)
    assert stirrer_shear_rate_per_s(11.5, 300) == pytest.approx(57.5)
    assert stirred_viscosity_pa_s(turbine, 300, product) == pytest.approx(0.7035, rel=1e-4)
    assert reynolds(turbine, 300, product) == pytest.approx(70.358, rel=1e-4)
    assert reynolds(turbine, 300, product) == pytest.approx(990 * 5**1.6 * 0.01 / (8 * math.pow(11.5, -0.6)), rel=1e-9)


def test_air_from_density():
    """1 - 0.912 / 0.987 = 7.599 % by volume."""
    assert air_content(0.912, 0.987).volume_pct == pytest.approx(7.599, abs=5e-4)


def test_a_fill():
    """250 g of 0.987 g/mL take 253.293 mL, more than a bottle of 250 mL, which holds 246.75 g."""
    assert volume_ml(250, 0.987) == pytest.approx(253.293, rel=1e-5)
    assert volume_ml(250, 0.987) > 250
    assert fill_mass_g(250, 0.987) == pytest.approx(246.75, rel=1e-9)
