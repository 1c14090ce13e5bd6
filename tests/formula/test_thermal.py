"""Heat capacity and density from a composition. Expected: printed values of the substances, mixed by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

import kit
from kit.formula.files import read_formula
from kit.formula.thermal import density, heat_capacity, highest_melt, ingredient_masses, portions_of

TEXT = """
name = "Glycerin in water (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [ { material = "water-deionised", qs = true }, { material = "glycerin", pct = "LEVEL" } ]
[[phase]]
name = "B"
kind = "oil"
line = [ LINE ]
"""


def composition(level: str = "20.00", line: str = ""):
    return read_formula(TEXT.replace("LEVEL", level).replace("LINE", line), kit.load_library()).composition()


def test_heat_capacity_by_mass_fractions():
    """Water 4.1932 at 75 degC [IAPWS-95], glycerol 2.63 [Zabransky]: 0.8 x 4.1932 + 0.2 x 2.63 = 3.881."""
    found = heat_capacity(composition(), 75.0)
    assert found.value == pytest.approx(3.881, abs=0.005)
    assert found.known_share == pytest.approx(1.0)


def test_density_by_volumes():
    """Water 0.99705 [IAPWS-95], glycerol 1.261 [as stated]: 1 / (0.8/0.99705 + 0.2/1.261) = 1.0406 g/mL."""
    assert density(composition()).value == pytest.approx(1.0406, abs=0.0005)


def test_density_is_not_given_where_too_much_is_unknown():
    few = density(composition("3.00", '{ material = "behentrimonium-chloride-80", pct = "2.00" }'))
    assert few.low < few.value < few.high
    assert "Behentrimonium Chloride" in few.unknown
    many = density(composition("3.00", '{ material = "behentrimonium-chloride-80", pct = "8.00" }'))
    assert many.value is None
    assert many.known_share == pytest.approx(0.936)  # of the 8 %, 20 % is isopropyl alcohol, whose density is known


def test_a_phase_alone():
    """Cetyl alcohol at 75 degC: 2.69 J/(g K) [Zabransky]; the whole is nearer to water."""
    both = composition("3.00", '{ material = "cetyl-alcohol", pct = "5.00" }')
    assert heat_capacity(both, 75.0, ["B"]).value == pytest.approx(2.69, abs=0.01)
    assert heat_capacity(both, 75.0).value == pytest.approx(0.92 * 4.1932 + 0.03 * 2.63 + 0.05 * 2.69, abs=0.01)


def test_a_supply_form_is_split_into_its_parts():
    """10 g of an 80 % form are 8 g of the salt."""
    found = composition("3.00", '{ material = "behentrimonium-chloride-80", pct = "10.00" }')
    assert ingredient_masses(portions_of(found, 100.0, ["B"]))["Behentrimonium Chloride"] == pytest.approx(8.0)


def test_the_highest_melt_is_of_a_fatty_alcohol():
    """Stearyl alcohol 59.5, cetyl alcohol 49.5 degC [CRC], however little of it there is."""
    lines = '{ material = "cetyl-alcohol", pct = "2.00" }, { material = "stearyl-alcohol", pct = "0.30" }'
    assert highest_melt(portions_of(composition("3.00", lines), 100.0)) == ("Stearyl Alcohol", 59.5)
    assert highest_melt(portions_of(composition(), 100.0)) is None


DEMO = Path(kit.__file__).parent / "demo"


def shipped(name: str):
    return kit.load_formula(DEMO / name).composition()


def test_density_of_a_whole_formula_by_hand():
    """Hibiscus: 85.436 g water, 3 g glycerin (1.261 as stated), 0.5 g of it in the extract (1.2581), 0.5 g isopropyl
    alcohol (0.7818), 5 g cetearyl alcohol (0.895), 2 g isopropyl myristate (0.850) fill 97.045 mL, so 96.436 g have
    0.9937 g/mL. The 3.564 g left lie between half and twice that: 0.9595 to 1.0118, the middle 0.9856.
    """
    found = density(shipped("formulas/hibiscus.toml"))
    assert (found.low, found.value, found.high) == pytest.approx((0.9595, 0.9856, 1.0118), abs=0.0002)
    assert found.known_share == pytest.approx(0.96436, abs=1e-5)


@pytest.mark.parametrize("name", ["linden.toml", *(f"formulas/{name}.toml" for name in (
    "hibiscus", "nettle", "chamomile", "calendula", "birch", "elderflower", "mallow"
))])  # fmt: skip
def test_the_shipped_formulas_have_a_density(name):
    """0.97 to 1.00 g/mL without air (common practice, no source), with honest ends; heat from over 90 % of the mass."""
    found = density(shipped(name))
    assert 0.97 < found.value < 1.0 and found.low < found.value - 0.02 and found.high > found.value + 0.02
    assert heat_capacity(shipped(name)).known_share > 0.9


def test_where_an_ester_has_no_published_density_the_whole_has_none():
    """Green tea: 2 % isopropyl palmitate, the quats and small things are more than 5 %."""
    found = density(shipped("formulas/green-tea.toml"))
    assert found.value is None and found.known_share < 0.95
    assert "Isopropyl Palmitate" in found.unknown
