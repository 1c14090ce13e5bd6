"""Lots: certificate values in place of typical ones; the parts stay 100 % exactly. Values worked by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kit.errors import KitError, MaterialError
from kit.formula.composition import Composition, CompositionLine
from kit.formula.derived import derived
from kit.formula.library import load_library
from kit.formula.lots import Lot, equivalent_weight, lot_from_row
from kit.formula.material import Material
from kit.formula.molar import molar_mass

LIBRARY = load_library()


def parts_of(material: Material) -> dict[str, Decimal]:
    return {part.inci: part.pct for part in material.parts}


def test_the_carrier_takes_what_the_certificate_leaves():
    flakes = LIBRARY.find("behentrimonium-chloride-80")
    made = flakes.with_lot(
        Lot("behentrimonium-chloride-80", "Q-118", parts={"Behentrimonium Chloride": Decimal("78.6")})
    )
    # By hand: 100 - 78.6 = 21.4 of isopropanol.
    assert parts_of(made) == {"Behentrimonium Chloride": Decimal("78.6"), "Isopropyl Alcohol": Decimal("21.4")}
    assert (made.key, made.lot, made.active_pct) == ("behentrimonium-chloride-80", "Q-118", Decimal("78.6"))
    assert parts_of(flakes)["Behentrimonium Chloride"] == 80  # the form itself is as before
    assert made.parts[0].kind == "measured"
    assert "Q-118" in made.parts[0].source


def test_a_stock_solution_by_its_strength_books_to_what_it_was_mixed_from():
    made = LIBRARY.find("lactic-acid-10-solution").with_lot(
        Lot(
            "lactic-acid-10-solution",
            "S-7",
            strength_pct=Decimal("10.20"),
            made_on="2026-11-20",
            kind="made in the lab",
        )
    )
    # By hand: 10.20 of acid, so 89.80 of water; of the 88 % acid 10.20 / 0.88 = 11.590909..., water the rest.
    assert parts_of(made) == {"Lactic Acid": Decimal("10.20"), "Aqua": Decimal("89.80")}
    assert {base.key: pct for base, pct in made.weighed_as()} == {
        "lactic-acid-88": Decimal("11.590909"),
        "water-deionised": Decimal("88.409091"),
    }


def test_the_amine_value_gives_the_equivalent_weight():
    # 56,110 / 157.2 = 356.934: a commercial C16/C18 amidoamine, where the pure C18 has 368.64 (C23H48N2O).
    assert equivalent_weight(Decimal("157.2")) == Decimal("356.93")
    made = LIBRARY.find("stearamidopropyl-dimethylamine").with_lot(
        Lot("stearamidopropyl-dimethylamine", "A-9", amine_value=Decimal("157.2"))
    )
    assert molar_mass(made.parts[0].substance) == Decimal("356.93")
    line = CompositionLine(made, Decimal("2.00"))
    # 2000 / 356.93 = 5.603 meq/100 g; with the pure amine it would be 2000 / 368.64 = 5.425.
    assert derived(Composition((line,))).cationic_meq_per_100g == pytest.approx(Decimal("5.603"), abs=Decimal("0.001"))


def test_the_chain_split_of_a_fatty_alcohol():
    made = LIBRARY.find("cetearyl-alcohol").with_lot(
        Lot("cetearyl-alcohol", "C-118", chains={"Cetyl Alcohol": Decimal(50), "Stearyl Alcohol": Decimal(50)})
    )
    # 100 / (50/242.44 + 50/270.49) = 100 / (0.206237 + 0.184850) = 255.70; the 30:70 mixture has 261.42 g/mol.
    assert molar_mass(made.parts[0].substance) == pytest.approx(Decimal("255.70"), abs=Decimal("0.02"))


def test_expiry_and_density():
    lot = lot_from_row(
        {
            "material": "glycerin",
            "lot": "G-1",
            "density": "1.258 g/mL",
            "expiry": "2027-03-31",
            "made_on": "2025-04-01",
        }
    )
    assert not lot.is_expired("2027-03-31")
    assert lot.is_expired("2027-04-01")
    made = LIBRARY.find("glycerin").with_lot(lot)
    assert (made.density.value, made.density.kind) == (Decimal("1.258"), "measured")
    assert made.parts == LIBRARY.find("glycerin").parts
    assert not Lot("glycerin", "G-2").is_expired("2099-01-01")  # no expiry is known


@given(st.sampled_from(sorted(LIBRARY.materials)), st.integers(0, 10_000), st.data())
def test_the_parts_of_a_lot_add_up_to_100_exactly(key, hundredths, data):
    material = LIBRARY.find(key)
    inci = data.draw(st.sampled_from([part.inci for part in material.parts]))
    pct = Decimal(hundredths).scaleb(-2)
    try:
        made = material.with_lot(Lot(key, "L-1", parts={inci: pct}))
    except MaterialError as problem:
        assert problem.code == "material.lot"
        return
    assert sum(part.pct for part in made.parts) == 100
    assert parts_of(made)[inci] == pct
    assert sum(share for _, share in made.weighed_as()) == 100
    assert all(part.pct >= 0 for part in made.parts)
    assert Material.from_row(made.row()) == made


@given(st.sampled_from([key for key, item in LIBRARY.materials.items() if len(item.parts) == 2]), st.integers(1, 9_999))
def test_a_form_of_an_active_and_its_carrier_takes_any_certificate(key, hundredths):
    material = LIBRARY.find(key)
    active = [part.inci for part in material.parts if part.role == "active"]
    assume(len(active) == 1 and not material.made_from)
    pct = Decimal(hundredths).scaleb(-2)
    made = material.with_lot(Lot(key, "L-1", strength_pct=pct))
    assert parts_of(made)[active[0]] == pct
    assert sum(part.pct for part in made.parts) == 100


FLAKES = {"material": "behentrimonium-chloride-80", "lot": "Q-1"}


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({**FLAKES, "lot": " "}, "'lot' is missing"),
        ({**FLAKES, "parts": {"Behentrimonium Chloride": "101"}}, "101 %"),
        ({**FLAKES, "parts": {"Behentrimonium Chlorid": "79"}}, "Isopropyl Alcohol"),
        ({**FLAKES, "parts": {"Behentrimonium Chloride": "79", "Isopropyl Alcohol": "20"}}, "add up to 99 %"),
        ({**FLAKES, "parts": {"Behentrimonium Chloride": "79"}, "strength_pct": "78"}, "which part"),
        ({**FLAKES, "expiry": "31.03.2027"}, "YYYY-MM-DD"),
        ({**FLAKES, "expiry": "2026-01-01", "made_on": "2026-02-01"}, "before it was made"),
        ({**FLAKES, "amine_value": "0"}, "amine_value is 0"),
        ({**FLAKES, "kind": "hearsay"}, "certificate"),
        ({**FLAKES, "assay": "80"}, "'assay'"),
        ({**FLAKES, "strength_pct": "78,600"}, "two ways"),
        ({"material": "glycerin", "lot": "G", "strength_pct": "99.5"}, "no water or carrier is left"),
        ({"material": "cetearyl-alcohol", "lot": "C", "chains": {"Cetyl Alcohol": "50"}}, "add up to 50 %"),
        (
            {"material": "cetearyl-alcohol", "lot": "C", "chains": {"Cetyl Alcohol": "50", "Behenyl Alcohol": "50"}},
            "'Behenyl Alcohol'",
        ),
    ],
)
def test_a_certificate_that_cannot_be_is_refused(row, said):
    with pytest.raises(KitError) as caught:
        lot = lot_from_row(row)
        LIBRARY.find(lot.material).with_lot(lot)
    assert said in str(caught.value)
    assert caught.value.code in ("material.lot", "units.ambiguous_comma")
    assert "\n" not in str(caught.value)


def test_a_lot_of_another_form_is_refused():
    with pytest.raises(MaterialError) as caught:
        LIBRARY.find("glycerin").with_lot(Lot("cetyl-alcohol", "C-1"))
    assert caught.value.code == "material.lot"


def test_a_lot_survives_its_row():
    row = {
        "material": "stearamidopropyl-dimethylamine",
        "lot": "A-9",
        "kind": "certificate",
        "parts": {"Stearamidopropyl Dimethylamine": "100"},
        "amine_value": "157.2",
        "acid_value": "2.1",
        "expiry": "2027-01-31",
        "supplier": "invented",
    }
    assert lot_from_row(row).row() == row
