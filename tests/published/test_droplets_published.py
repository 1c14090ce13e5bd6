"""Droplet sizes, creaming and centrifuge against published definitions and other programs."""

from __future__ import annotations

import pytest

from kit.science.centrifuge import relative_force, spin
from kit.science.creaming import creaming, holding_yield_pa, stokes_velocity_m_s
from kit.science.droplets import DropletCount, interface_m2_per_ml, monolayer_g_per_l

COUNT = DropletCount([0.5, 1.0, 2.0, 4.0, 8.0], [400, 300, 200, 80, 20])


@pytest.mark.parametrize(("p", "q", "expected"), [(1, 0, 1.38), (3, 2, 4.60372), (4, 3, 6.1193), (3, 0, 2.58682)])
def test_moments_of_a_count(p, q, expected):
    """ISO 9276-2 notation, worked by hand: sums n d 1380, n d2 3760, n d3 17310, n d4 105925 over 1000 droplets."""
    assert COUNT.mean(p, q).value_um == pytest.approx(expected, rel=1e-5)


def test_interface_and_its_monolayer():
    """6 x 0.1 / 2 um = 0.3 m2/mL; over 0.45 nm2 and 404.2 g/mol 0.44746 g/L."""
    interface = interface_m2_per_ml(0.1, 2.0)
    assert interface == pytest.approx(0.3, rel=1e-9)
    assert monolayer_g_per_l(interface, 0.45, 404.2) == pytest.approx(0.44746, rel=1e-4)


@pytest.mark.parametrize(
    ("diameter_um", "um_per_s"), [(0.5, -0.01063), (1, -0.04254), (2, -0.1701), (5, -1.063), (10, -4.254)]
)
def test_an_oil_droplet_in_water(diameter_um, um_per_s):
    """Stokes: oil 920, water 998.2 kg/m3, 1.0016 mPa.s; the 2 um point also by the package fluids 1.3.1, -1.701e-7
    m/s."""
    velocity = stokes_velocity_m_s(diameter_um, 920, 998.2, 1.0016e-3)
    assert velocity * 1e6 == pytest.approx(um_per_s, rel=1e-3)


def test_a_droplet_in_water_in_a_day():
    """-0.17015 um/s x 86,400 s = -14.70 mm: upwards."""
    assert creaming(2, 920, 998.2, 1.0016e-3).mm_per_day == pytest.approx(-14.701, rel=1e-3)


def test_the_yield_value_that_holds_a_droplet():
    """A. N. Beris et al., J. Fluid Mech. 158 (1985) 219: 0.048 delta rho g d = 0.00188 Pa for 50 um and 80 kg/m3."""
    assert holding_yield_pa(50, 80) == pytest.approx(0.001883, rel=0.02)
    assert holding_yield_pa(50, -80) == holding_yield_pa(50, 80)


def test_the_yield_value_by_radius():
    """0.095 r delta rho g, r 5 um, 60 kg/m3: 0.28 mPa."""
    assert holding_yield_pa(10, 60) == pytest.approx(0.095 * 5e-6 * 60 * 9.80665, rel=0.01)


def test_a_spin():
    """1.118e-5 r rpm2, the formula on rotor tables: 10 cm at 3000 rpm, 1006 g; 30 min in a plain liquid, 21.0 days."""
    assert relative_force(10, 3000) == pytest.approx(1.118e-5 * 10 * 3000**2, rel=5e-4)
    assert spin(10, 3000, 30, gel=False).equivalent_days == pytest.approx(1006 * 30 / 1440, rel=1e-3)
