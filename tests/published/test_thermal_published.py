"""Water, glycerol, melts, mixing and cooling against published values; each source stands beside its numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.science.activity import water_permittivity
from kit.science.cooling import newton_minutes, newton_rate, scaled_rate_by_mass
from kit.science.heat_balance import Stream, mixed_temperature
from kit.science.thermal_facts import density_of, thermal_facts
from kit.science.thermophysical import (
    glycerol_water_viscosity,
    saturation_pressure,
    water_density_metrological,
    water_heat_capacity,
    water_viscosity,
    water_volume_ratio,
)
from kit.science.time_at_temperature import equivalent_exposure
from kit.science.water_ionisation import water_density
from kit.science.water_loss import estimated_loss, evaporation_flux

TEMPS_C = (5, 10, 15, 20, 25, 30, 40, 50, 60, 75, 85)

# IAPWS-95 (R6-95(2018)) at 0.101325 MPa. [kg/m3]
DENSITY = (999.967, 999.702, 999.103, 998.207, 997.048, 995.649, 992.216, 988.035, 983.196, 974.843, 968.611)
# IAPWS R12-08 with the IAPWS-95 density; 1.0016 at 20 degC is the reference of ISO/TR 3666. [mPa s]
VISCOSITY = (1.5182, 1.3059, 1.1376, 1.0016, 0.89, 0.7972, 0.6527, 0.5465, 0.466, 0.3774, 0.3331)
# IAPWS-95. [J/(g K)]
HEAT_CAPACITY = (4.205, 4.1952, 4.1885, 4.1841, 4.1813, 4.1798, 4.1794, 4.1813, 4.185, 4.1932, 4.2007)


def test_water_density():
    assert [water_density(float(temp)) for temp in TEMPS_C] == pytest.approx(DENSITY, abs=0.02)


def test_water_viscosity():
    assert [water_viscosity(temp) for temp in TEMPS_C] == pytest.approx(VISCOSITY, rel=0.002)


def test_water_heat_capacity():
    """The smallest lies at 35 degC: 0.02 J/(g K) below the ends, seven tolerances away from a constant."""
    found = [water_heat_capacity(temp) for temp in TEMPS_C]
    assert found == pytest.approx(HEAT_CAPACITY, abs=0.003)
    assert np.argmin(found) in (5, 6)


def test_functions_take_arrays():
    temps = np.array(TEMPS_C, dtype=float)
    assert water_heat_capacity(temps) == pytest.approx(HEAT_CAPACITY, abs=0.003)
    assert water_viscosity(temps) == pytest.approx(VISCOSITY, rel=0.002)
    assert saturation_pressure(temps)[-2] == pytest.approx(38_595, rel=1e-3)


def test_hot_water_fills_more():
    """IAPWS-95: 20 to 75 degC swells water by 1.02397; the other way round it shrinks."""
    assert water_volume_ratio(20.0, 75.0) == pytest.approx(1.02397, abs=0.0002)
    assert water_volume_ratio(75.0, 20.0) < 1


def test_water_density_of_the_metrologists():
    """M. Tanaka et al. 2001, Metrologia 38:301 (constants from memory): 999.97495 is its largest value."""
    found = [water_density_metrological(temp) for temp in (4, 20, 25, 40)]
    assert found == pytest.approx([999.9749, 998.2067, 997.047, 992.2152], abs=0.001)


@pytest.mark.parametrize(
    ("temp_c", "expected"),
    [
        (20.0, (1.005, 1.297, 1.741, 2.455, 6.002, 10.91, 60.86, 1414.0)),
        (40.0, (0.6546, 0.8265, 1.075, 1.452, 3.111, 5.125, 21.12, 282.4)),
    ],
)
def test_glycerol_in_water(temp_c, expected):
    """N.-S. Cheng 2008, Ind. Eng. Chem. Res. 47:3285-3288. [mPa s]"""
    shares = (0, 0.1, 0.2, 0.3, 0.5, 0.6, 0.8, 1.0)
    assert [glycerol_water_viscosity(share, temp_c) for share in shares] == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(
    ("name", "expected"),
    [("Glycerin", (1261.3, 1258.1, 1248.4)), ("Propylene Glycol", (1036.3, 1032.6, 1021.1))],
)
def test_densities_of_glycols(name, expected):
    """VDI Heat Atlas and Perry's Handbook as carried in thermo 0.6.1; glycerol at 20 degC is 1261.1 in Bosart and
    Snoddy 1927 (from memory). The tolerance is half the fall from 20 to 40 degC."""
    assert [density_of(name, temp) for temp in (20, 25, 40)] == pytest.approx(expected, rel=0.002)
    assert density_of("Glycerin", 20) == pytest.approx(1261.1, rel=0.0005)
    assert density_of("Glycerin", 32.5) == pytest.approx((1258.1 + 1248.4) / 2)


def test_density_of_isopropyl_alcohol():
    """Perry's Handbook as carried in thermo 0.6.1; 785.5 at 20, 780.9 at 25 degC in the CRC Handbook, from memory."""
    assert [density_of("Isopropyl Alcohol", temp) for temp in (20, 25)] == pytest.approx((785.5, 780.9), rel=0.002)
    assert thermal_facts("Isopropyl Alcohol")["density_25"].value == pytest.approx(781.8)


@pytest.mark.parametrize("name", ["Stearyl Alcohol", "Cetearyl Alcohol"])
def test_a_set_fatty_alcohol_lies_between_its_melt_and_its_crystal(name):
    """0.884 to 0.906 g/cm3, Handbook of Pharmaceutical Excipients, 5th edition, Stearyl Alcohol, true density.

    The densest it can be is a crystal of cetyl alcohol: a 8.980, b 4.939, c 87.91 angstrom, beta 122.63 degrees, Z 8
    [V. Metivaud et al., Chem. Mater. 17 (2005) 3302], 242.44 g/mol; the least dense the melt, 0.811.
    """
    volume = 8.980 * 4.939 * 87.91 * math.sin(math.radians(122.63)) * 1e-24
    crystal = 8 * 242.44 / (6.02214e23 * volume)
    assert crystal == pytest.approx(0.981, abs=0.002)
    fact = thermal_facts(name)["density_25"]
    assert (fact.low, fact.high, fact.unit) == (884.0, 906.0, "kg/m3")
    assert 811 < fact.low < fact.high < 1000 * crystal


@pytest.mark.parametrize(
    ("name", "melting_c", "fusion_j_g", "fusion_kj_mol", "molar_mass"),
    [
        ("Cetyl Alcohol", 49.5, 138.6, 33.6, 242.44),
        ("Stearyl Alcohol", 59.5, 166.4, 45.0, 270.49),
        ("Stearic Acid", 69.3, 215.1, 61.2, 284.48),
        ("Benzoic Acid", 122.4, 147.6, 18.02, 122.12),
    ],
)
def test_melts(name, melting_c, fusion_j_g, fusion_kj_mol, molar_mass):
    """CRC Handbook as carried in chemicals 1.5.2; J/g and kJ/mol are held together by the molar mass."""
    facts = thermal_facts(name)
    assert facts["melting"].value == pytest.approx(melting_c, abs=0.1)
    assert facts["melting"].unit == "degC"
    assert facts["heat_of_fusion"].value == pytest.approx(fusion_j_g, rel=0.003)
    assert facts["heat_of_fusion"].value == pytest.approx(fusion_kj_mol * 1000 / molar_mass, rel=0.001)


def test_liquid_fatty_alcohols_against_the_authors_correlation():
    """Van Miltenburg et al. 2003: Cp = -265.2 + 27.41 n + 0.02501 n T + 0.96196 T, J/(mol K). The other values come
    from another compilation: they agree within 1 %."""
    for name, carbons, molar_mass in (("Cetyl Alcohol", 16, 242.44), ("Behenyl Alcohol", 22, 326.60)):
        for temp_c in (50, 75):
            kelvin = temp_c + 273.15
            molar = -265.2 + 27.41 * carbons + 0.02501 * carbons * kelvin + 0.96196 * kelvin
            assert thermal_facts(name)[f"heat_capacity_{temp_c}"].value == pytest.approx(molar / molar_mass, rel=0.01)


def test_three_streams():
    """700 g of 4.19 and 200 g of 2.1 at 78 degC, 100 g of 4.18 at 22 degC: sum of m c (T - T_mix) is zero at
    (700 4.19 78 + 200 2.1 78 + 100 4.18 22) / (2933 + 420 + 418) = 270,730 / 3771 = 71.793."""
    streams = [Stream("a", 700, 78, 4.19), Stream("b", 200, 78, 2.1), Stream("c", 100, 22, 4.18)]
    assert mixed_temperature(streams).temp_c == pytest.approx(71.793, abs=0.001)
    assert mixed_temperature(streams).temp_c == pytest.approx(270_730 / 3771, abs=1e-3)


def test_the_cup_of_coffee():
    """OpenStax Calculus Volume 1, section 6.8 (from memory), in degrees Fahrenheit: 200 falls to 180 in 2 min at 70."""
    rate = newton_rate(2, 200, 180, 70)
    assert rate == pytest.approx(0.08353, abs=1e-5)
    assert [newton_minutes(temp, 200, 70, rate) for temp in (175, 155)] == pytest.approx([2.557, 5.087], abs=0.001)


def test_a_bench_batch_and_the_same_25_times_as_heavy():
    """ln(53 / 18) / 0.030 = 36.0 min; k falls by 25^(1/3) = 2.924: 105 min."""
    assert newton_minutes(40, 75, 22, 0.030) == pytest.approx(36.0, abs=0.01)
    assert newton_minutes(40, 75, 22, scaled_rate_by_mass(0.030, 400, 10_000)) == pytest.approx(105.3, abs=0.1)


def test_half_an_hour_hot():
    """exp(85,000 / 8.314 (1 / 298.15 - 1 / 348.15)) = 137.8: 30 min at 75 degC are 68.9 h at 25 degC."""
    assert equivalent_exposure([0, 30], [75, 75], 85).hours == pytest.approx(68.9, rel=0.002)


def test_permittivity_of_water():
    """IAPWS R8-97 (Fernandez et al. 1997)."""
    found = [water_permittivity(float(temp)) for temp in (10, 25, 40, 50)]
    assert found == pytest.approx([83.98, 78.41, 73.2, 69.92], abs=0.1)


@pytest.mark.parametrize(("air_c", "expected"), [(28.0, 0.1360), (29.0, 0.1171)])
def test_evaporation_from_a_pool(air_c, expected):
    """M. M. Shah's table: water at 28 degC, humidity 0.5, kg/(m2 h), as carried in public code."""
    assert evaporation_flux(28.0, air_c) == pytest.approx(expected, rel=0.005)


def test_evaporation_from_a_beaker_reckoned_another_way():
    """By hand: a film of still air passes 5 to 10 mm/s of vapour. At 75 degC (38.6 kPa) in a room of 1.3 kPa
    that is h M dp / (R T_film) = 0.0075 0.018 37,300 / (8.314 321.7) = 1.88 g/(m2 s): 0.0113 g/(cm2 min), and from
    a beaker of 10 cm in 20 min 17.7 g. The range must hold both ends of the film, 11.8 and 23.6 g."""
    loss = estimated_loss([0, 20], [75, 75], 10)
    assert loss.mass_g == pytest.approx(17.7, rel=0.1)
    assert loss.low_g < 11.8 and loss.high_g > 23.6
    assert loss.low_g == pytest.approx(loss.mass_g / 2)


def test_saturation_pressure():
    """IAPWS-95: 3.1699 kPa at 25 degC, 38.595 kPa at 75 degC."""
    assert saturation_pressure(25.0) == pytest.approx(3169.9, rel=1e-4)
    assert saturation_pressure(75.0) == pytest.approx(38_595, rel=1e-4)
