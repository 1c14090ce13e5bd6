"""The heat balance of a pour. Expected: a heat balance worked by hand beside each check, and printed melting points."""

from __future__ import annotations

import pytest

import kit
from kit.errors import FormulaError, UnitError
from kit.formula.files import read_formula
from kit.formula.pour import HoldBack, PourPhase
from kit.formula.pour_balance import balance_pour, planned_temps
from kit.formula.pour_findings import compare_after
from kit.formula.setting import SettingSeenOn, SettingTemperature
from kit.formula.vessel_wall import read_vessel

PLAIN = """
name = "Water and alcohol (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [ { material = "water-deionised", qs = true } ]
[[phase]]
name = "B"
kind = "oil"
line = [ { material = "ALCOHOL", pct = "10.00" } ]
[[step]]
do = "heat"
phase = "B"
temps = "90 degC"
[[step]]
do = "combine"
temps = { A = "75 degC", B = "80 degC" }
"""
GLASS = "600 mL glass beaker, 180 g, 85 mm wide"


def formula(alcohol: str = "cetyl-alcohol", text: str = PLAIN):
    return read_formula(text.replace("ALCOHOL", alcohol), kit.load_library())


def test_two_phases_and_the_glass_by_hand():
    """Water 360 g at 75, 4.193 J/(g K) [IAPWS-95]; cetyl alcohol 40 g at 80, 2.69 [Zabransky]; glass 0.83."""
    pour = formula().heat("400 g", vessel=GLASS)
    water, wax, glass = 360 * 4.193, 40 * 2.69, 180 * 0.83
    by_hand = (water * 75 + wax * 80 + glass * 75) / (water + wax + glass)
    assert pour.mixed.temp_c == pytest.approx(by_hand, abs=0.05)
    assert by_hand > 75.2  # the wax warms it: doing nothing would give 75
    cold = (water * 75 + wax * 80 + glass * 22) / (water + wax + glass)
    assert pour.in_cold.temp_c == pytest.approx(cold, abs=0.1)
    assert pour.mixed.temp_c - pour.in_cold.temp_c > 4
    assert pour.known_share == pytest.approx(1.0)


def test_the_temperature_of_the_pour_goes_before_that_of_the_heating():
    assert planned_temps(formula()) == {"A": 75.0, "B": 80.0}


def test_water_held_back_takes_the_batch_below_the_melt():
    """230 g of water at 75 and 40 g of wax at 80, then 130 g of water at 20: about 57 degC."""
    pour = formula().heat("400 g", hold_back="130 g", hold_back_temp="20 degC")
    water, wax, cold = 230 * 4.193, 40 * 2.69, 130 * 4.184
    by_hand = (water * 75 + wax * 80 + cold * 20) / (water + wax + cold)
    assert pour.after_hold_back.temp_c == pytest.approx(by_hand, abs=0.1)
    assert pour.mixed.temp_c > pour.after_hold_back.temp_c + 15
    assert sum(phase.mass_g for phase in pour.phases) == pytest.approx(270.0)


@pytest.mark.parametrize("share", ["32.5 %", "32.5 % of the batch", "32.5% of batch"])
def test_water_held_back_may_be_a_share_of_the_batch(share):
    """130 of 400 g is 32.5 %."""
    pour = formula().heat("400 g", hold_back=share, hold_back_temp="20 degC")
    assert sum(phase.mass_g for phase in pour.phases) == pytest.approx(270.0)
    assert pour.words == formula().heat("400 g", hold_back="130 g", hold_back_temp="20 degC").words


@pytest.mark.parametrize("nothing", ["0 %", "0 g", "-5 g", "-20 % of the batch"])
def test_less_than_some_water_cannot_be_held_back(nothing):
    with pytest.raises(FormulaError) as caught:
        formula().heat(hold_back=nothing)
    assert caught.value.code == "pour.hold_back"


def test_a_pour_too_near_the_melt_is_cautioned_before_the_batch_is_made():
    """Cetyl alcohol melts at 49.5 degC [CRC]: 52 degC leaves 2.5, five are wanted; 45 degC lies below."""
    near = formula().heat(temps={"A": "52 degC", "B": "52 degC"})
    assert [finding.code for finding in near.cautions] == ["heat.pour_melt"]
    assert "2.5 °C above 49.5 °C" in near.cautions[0].words
    below = formula().heat(temps={"A": "40 degC", "B": "45 degC"})
    assert "grains" in below.cautions[0].words
    warm = formula().heat()
    assert warm.cautions == ()


def test_behenyl_alcohol_needs_more_than_cetyl():
    """71.3 degC [CRC]: a pour at 75 is too near, with cetyl alcohol it is not."""
    assert [finding.code for finding in formula("behenyl-alcohol").heat().cautions] == ["heat.pour_melt"]


def test_the_setting_temperature_is_never_assumed():
    pour = formula().heat()
    assert pour.setting_c is None
    assert "heat.setting_unknown" in [finding.code for finding in pour.findings]
    measured = formula().heat(setting="72 degC")
    assert [finding.code for finding in measured.cautions] == ["heat.pour_margin"]
    assert "heat.setting_unknown" not in [finding.code for finding in measured.findings]
    assert formula().heat(setting="60 degC").cautions == ()


def test_a_setting_temperature_of_the_lab_book_names_its_batches():
    """Weights 1/1 and 1/4: (70 + 75/4) / 1.25 = 71.0."""
    seen = SettingTemperature(
        (
            SettingSeenOn("X-1/1", 70.0, 1.0, ""),
            SettingSeenOn("X-2/1", 75.0, 2.0, ""),
            SettingSeenOn("X-3/1", None, None, "few"),
        )
    )
    assert seen.temp_c == pytest.approx(71.0)
    assert seen.sd_c == pytest.approx(1 / 1.25**0.5)
    pour = formula().heat(setting=seen)
    assert "measured on X-1/1, X-2/1" in pour.cautions[0].words
    none = SettingTemperature((SettingSeenOn("X-3/1", None, None, "too few readings"),))
    assert formula().heat(setting=none).setting_c is None
    assert "X-3/1: too few readings" in str(none)


def test_what_is_not_known_widens_the_range_and_is_counted():
    """Behentrimonium chloride and its isopropyl alcohol have no published heat capacity here."""
    known, unknown = formula().heat(), formula("behentrimonium-chloride-80").heat()
    assert known.mixed.low_c == known.mixed.high_c
    assert unknown.mixed.low_c < unknown.mixed.high_c
    assert unknown.known_share == pytest.approx(0.90, abs=0.001)
    assert "Behentrimonium Chloride" in " ".join(unknown.mixed.unknown)


def test_without_a_temperature_nothing_is_computed():
    blind = formula(text=PLAIN.split("[[step]]", maxsplit=1)[0]).heat()
    assert blind.mixed is None
    assert "NOT COMPUTED" in str(blind)
    assert "phase A, B" in blind.words


def test_an_unknown_vessel_is_said():
    codes = [finding.code for finding in formula().heat(vessel="the blue one").findings]
    assert "heat.vessel_unknown" in codes
    assert "heat.vessel_unknown" not in [finding.code for finding in formula().heat(vessel=GLASS).findings]
    assert "heat.vessel_unknown" not in [
        finding.code for finding in formula().heat(vessel="glass beaker", vessel_mass="180 g").findings
    ]


def test_what_was_read_after_combining_is_held_against_the_balance():
    pour = formula().heat(vessel=GLASS)
    assert compare_after(pour, pour.mixed.temp_c - 2.5) is None
    cold = compare_after(pour, 70.5)
    assert cold.code == "heat.after_differs"
    assert "colder" in cold.words
    assert "warm the vessel" in cold.words
    assert "warmer" in compare_after(pour, 81.0).words
    far = compare_after(pour, 50.0)
    assert "mistyped" in far.words


def test_refusals_carry_a_code():
    with pytest.raises(FormulaError) as caught:
        formula().heat(hold_back="500 g")
    assert caught.value.code == "pour.hold_back"
    with pytest.raises(FormulaError) as caught:
        formula().heat(temps={"D": "60 degC"})
    assert caught.value.code == "formula.phase"
    with pytest.raises(UnitError):
        formula().heat(setting="60")
    with pytest.raises(FormulaError) as caught:
        balance_pour("nothing", [])
    assert caught.value.code == "pour.nothing"


def test_the_heat_it_takes_counts_the_melt():
    """Wax, 40 g from 22 to 80 degC: 2.5 J/(g K) and 225 to 235 J/g of setting give about 15 kJ, not 6."""
    low, high = dict(formula().heat().energy_kj)["B"]
    assert low == pytest.approx(40 * (2.6 * 58 + 230) / 1000, rel=0.05)
    assert high == pytest.approx(low)


@pytest.mark.parametrize(
    ("text", "wall", "mass_g", "width_cm", "covered"),
    [
        (GLASS, "borosilicate glass", 180.0, 8.5, False),
        ("1 L stainless steel pot, 0,4 kg, 12 cm across, lid", "stainless steel", 400.0, 12.0, True),
        ("600 mL glass beaker", "borosilicate glass", None, None, False),
        ("plastic jug, \u00d8 95 mm, covered with foil", "", None, 9.5, True),
        ("", "", None, None, False),
    ],
)
def test_a_vessel_as_far_as_its_description_tells(text, wall, mass_g, width_cm, covered):
    vessel = read_vessel(text)
    assert (vessel.wall, vessel.mass_g, vessel.width_cm, vessel.covered) == (wall, mass_g, width_cm, covered)


def test_the_weighed_mass_of_a_vessel_goes_before_its_text():
    assert read_vessel(GLASS, empty_g=312.4).mass_g == 312.4


def test_a_sheet_and_its_formula_say_the_same():
    sheet = kit.plan_batch(formula(), "400 g")
    assert sheet.heat(vessel=GLASS).mixed == formula().heat("400 g", vessel=GLASS).mixed


def test_hold_back_needs_a_phase_that_has_the_water():
    phases = [PourPhase("A", "water", ((formula().composition().lines[0].material, 100.0),), 75.0)]
    pour = balance_pour("x", phases, hold_back=HoldBack(40.0, 20.0))
    assert pour.after_hold_back.temp_c == pytest.approx(0.6 * 75 + 0.4 * 20, abs=0.2)


def test_the_sheet_says_it_before_the_pour():
    cold = kit.plan_batch(formula("behenyl-alcohol"), "400 g")
    assert "only" in str(cold)
    assert "Behenyl Alcohol melts" in str(cold)
    assert "Before the pour" not in str(kit.plan_batch(formula(text=PLAIN.split("[[step]]", maxsplit=1)[0]), "400 g"))
