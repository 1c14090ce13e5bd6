"""Energy and time to heat a pour. Expected: heats worked by hand from printed heat capacities and heats of fusion."""

from __future__ import annotations

import math

import pytest

import kit
from kit.errors import FormulaError, UnitError
from kit.formula.files import read_formula
from tests.formula.test_pour import GLASS, PLAIN

# 360 g of water from 22 to 75 degC at 4.193 J/(g K) [IAPWS-95]; 180 g of glass at 0.83; 40 g of cetyl alcohol from 22
# to 80 degC at 2.69 [Zabransky], melting at 49.5 degC; 225 to 235 J/g are given off on setting, 138.6 J/g from the form
# first set.
WATER_KJ = 360 * 4.193 * 53 / 1000
GLASS_KJ = 180 * 0.83 * 53 / 1000
WAX_SENSIBLE_KJ = 40 * 2.69 * 58 / 1000


def formula():
    return read_formula(PLAIN.replace("ALCOHOL", "cetyl-alcohol"), kit.load_library())


def heated(**options):
    return formula().heat("400 g", **options).heating


def test_energy_of_each_phase_with_the_vessel_on_the_water_phase():
    water, wax = heated(heater="1 kW", vessel=GLASS)
    assert (water.name, wax.name) == ("phase A and its vessel", "phase B")
    assert water.needed.energy_kj == pytest.approx(WATER_KJ + GLASS_KJ, rel=0.01)
    latent = wax.needed.latent_kj
    assert 40 * 0.1386 <= latent <= 40 * 0.235  # between the two printed heats
    assert wax.needed.energy_kj == pytest.approx(WAX_SENSIBLE_KJ + latent, rel=0.02)


def test_time_with_all_of_the_power_is_the_least():
    """80 kJ at 60 kJ/min."""
    water, _ = heated(heater="1 kW")
    assert water.time.minutes == pytest.approx(WATER_KJ / 60, rel=0.01)
    assert str(water).endswith(f"at least {WATER_KJ / 60:.0f} min")


def test_half_of_the_power_takes_twice_as_long_and_losses_longer_still():
    """C dT/dt = P - k C (T - Ta): t = -ln(1 - k C dT / P) / k with C dT = 80 kJ, P = 30 kJ/min, k = 0.03 1/min."""
    half, _ = heated(heater="1 kW, 50 %")
    assert half.time.minutes == pytest.approx(WATER_KJ / 30, rel=0.01)
    lossy, _ = heated(heater="1 kW, 50 %", loss_rate="0.03 /min")
    assert lossy.time.minutes == pytest.approx(-math.log(1 - 0.03 * WATER_KJ / 30) / 0.03, rel=0.01)
    assert lossy.time.minutes > half.time.minutes * 1.02
    assert "at least" not in str(lossy)


def test_a_heater_that_is_too_weak_never_gets_there():
    """20 W against losses of 0.02 x 1.51 kJ/K x 53 K = 1.6 kJ/min, 27 W, at 75 degC."""
    water, _ = heated(heater="20 W", loss_rate="0.02 /min")
    assert math.isinf(water.time.minutes)
    assert "never" in str(water) and 22 < water.time.limit_c < 75


def test_without_a_heater_nothing_is_added_and_with_one_it_is_shown():
    plain, pour = formula().heat("400 g"), formula().heat("400 g", heater="1 kW, 50 %")
    assert plain.heating == () and "Energy and time to heat" not in str(plain)
    text = str(pour)
    assert "Energy and time to heat: Water and alcohol (invented)" in text
    assert "Heater of 1000 W, 50 % of it into the batch, no losses." in text
    assert "phase B" in pour._repr_html_()


def test_the_sheet_asks_in_the_same_words():
    sheet = kit.plan_batch(formula(), "800 g")
    water, _ = sheet.heat(heater="1 kW").heating
    assert water.needed.energy_kj == pytest.approx(2 * WATER_KJ, rel=0.01)


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"heater": "0 W"}, "pour.heater"),
        ({"heater": "1 kW, 120 %"}, "pour.heater"),
        ({"heater": "1 kW, 0 %"}, "pour.heater"),
        ({"loss_rate": "0.02 /min"}, "pour.heater"),
        ({"heater": "1 kW", "loss_rate": "-0.02 /min"}, "pour.heater"),
        ({"heater": "hot plate"}, "units.not_a_number"),
        ({"heater": "1 kJ"}, "units.wrong_kind"),
        ({"heater": "1000"}, "units.missing"),
    ],
)
def test_a_heater_typed_wrongly_is_refused(options, code):
    with pytest.raises((FormulaError, UnitError)) as caught:
        heated(**options)
    assert caught.value.code == code
