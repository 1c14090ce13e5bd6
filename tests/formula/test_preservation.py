"""Preservatives free in the water of whole formulas, worked by hand beside each check, and what is said of them."""

from __future__ import annotations

import re

import numpy as np
import pytest

from kit.errors import FormulaError
from kit.formula.files import read_formula
from kit.formula.free_preservatives import NO_PASS, TOO_WIDE
from kit.formula.material import Substance
from kit.formula.partition_facts import acid_form, binding, into_lipid, into_oil
from kit.formula.preservation import preservation

HIBISCUS = """
name = "Hibiscus shine rinse (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [{material = "water-deionised", qs = true}, {material = "citric-acid", pct = "0.25"}]
[[phase]]
name = "B"
kind = "oil"
line = [
  {material = "behentrimonium-chloride-80", pct = "2.50"},
  {material = "cetearyl-alcohol", pct = "5.00"},
  {material = "isopropyl-palmitate", pct = "2.00"},
]
[[phase]]
name = "C"
kind = "cool-down"
line = [
  {material = "phenoxyethanol", pct = "0.80"},
  {material = "sodium-benzoate", pct = "0.40"},
  {material = "potassium-sorbate", pct = "0.20"},
]
"""


@pytest.fixture(scope="module")
def hibiscus(library):
    return read_formula(HIBISCUS, library).composition()


def test_phenoxyethanol_between_its_ends(hibiscus):
    """Water 88.85 g; isopropyl palmitate 2 g, measured K 2.9; bilayer 5 g alcohol and 2 g quat; log Kow 1.16.

    The flakes are 80 % quat, so 0.5 g of them is carrier. Most: 88.85 / (88.85 + 5.8) = 93.9 %. Least: bilayer
    7 x 10^1.16 = 7 x 14.454 = 101.18: 88.85 / 195.83 = 45.4 %.
    """
    found = preservation(hibiscus, 4.6)["Phenoxyethanol"]
    assert found.unionised_pct is None
    assert found.free_high_pct == pytest.approx(93.87, abs=0.02)
    assert found.free_low_pct == pytest.approx(45.4, abs=0.1)
    assert found.water_high_pct == pytest.approx(0.80 * 93.87 / 88.85, rel=1e-3)
    assert found.too_wide
    assert any("2.9" in fact for fact in found.memory)
    assert "K 2.9 (from memory)" in "".join(found.rests_on)


def test_benzoate_and_sorbate_at_the_ph_of_a_shine_rinse(hibiscus):
    """At pH 4.60: benzoic (4.202) 1 / (1 + 10^0.398) = 28.6 %, sorbic (4.76) 59.1 % un-ionised.

    Benzoate at most: oils at nothing, no bilayer, no ion bound: 28.6 % free. At least, its oil and bilayer at Kow
    10^1.88 = 75.86 and its ion bound 13 x 0.75 / 0.25 = 39 times what is free:
    88.85 / (88.85 (1 + 2.500 (1 + 39)) + 9 x 75.86) = 88.85 / 9657 = 0.92 %.
    Benzoic acid in the water: 0.40 % x 122.12 / 144.10 = 0.339 g in 88.85 g, of which 28.6 % is 0.109 %.
    """
    found = preservation(hibiscus, 4.6)
    benzoate, sorbate = found["Sodium Benzoate"], found["Potassium Sorbate"]
    assert (benzoate.unionised_pct, sorbate.unionised_pct) == (
        pytest.approx(28.6, abs=0.1),
        pytest.approx(59.1, abs=0.1),
    )
    assert benzoate.free_high_pct == pytest.approx(28.6, abs=0.1)
    assert benzoate.free_low_pct == pytest.approx(0.92, abs=0.01)
    assert benzoate.form == "Benzoic Acid"
    assert benzoate.water_high_pct == pytest.approx(0.1091, abs=0.0005)
    assert benzoate.too_wide


def test_benzoate_at_ph_5_6(hibiscus):
    """1 / (1 + 10^(5.6 - 4.202)) = 3.85 %. A small share is shown small, never as nothing."""
    found = preservation(hibiscus, 5.6)
    assert found["Sodium Benzoate"].unionised_pct == pytest.approx(3.85, abs=0.01)
    row = next(row for row in found.table().rows if row[1] == "Sodium Benzoate")
    assert row[4] == "0.1 to 3.8"
    assert preservation(hibiscus, 8.0).table().rows[1][4].startswith("0.0004 to 0.0")


def test_many_ph_at_once_are_one_by_one(hibiscus):
    ph = np.array([4.0, 4.5, 5.0, 5.6])
    together = preservation(hibiscus, ph)
    for index, one in enumerate(ph):
        alone = preservation(hibiscus, one)
        for found, single in zip(together.preservatives, alone.preservatives, strict=True):
            for name in ("free_low_pct", "free_high_pct", "water_low_pct", "water_high_pct", "too_wide"):
                assert getattr(found, name)[index] == pytest.approx(getattr(single, name), rel=1e-12), name
    assert len(together.table().rows) == 4 * 3


def test_the_room_at_the_cationic_ends_what_it_can_bind(library):
    """0.20 g of 80 % behentrimonium chloride is 0.396 mmol, three quarters of it covered: 0.297 mmol of ion at most,
    of 2.776 mmol benzoate 10.7 %. Without the end its ion would be bound 39 times over."""
    text = HIBISCUS.replace('"behentrimonium-chloride-80", pct = "2.50"', '"behentrimonium-chloride-80", pct = "0.20"')
    found = preservation(read_formula(text, library).composition(), 4.6)["Sodium Benzoate"]
    without_ion = 91.15 / (91.15 * 3.500 + (2 + 5.16) * 75.86)  # oil and bilayer at Kow, no ion bound
    assert found.free_low_pct == pytest.approx(100 * (1 - 0.107) * without_ion, rel=0.01)


def test_an_unknown_ceiling_leaves_the_low_end_unknown(library):
    """No octanol-water value of dehydroacetic acid is in the library: unknown is not zero."""
    text = HIBISCUS.replace("sodium-benzoate", "dehydroacetic-acid")
    found = preservation(read_formula(text, library).composition(), 4.5)
    acid = found["Dehydroacetic Acid"]
    if acid.free_low_pct is None:
        assert acid.too_wide and acid.water_low_pct is None
        assert any("the low end not known" in told for told in found.words() if told.startswith("Dehydroacetic"))
    # 1 / (1 + 10^(4.5 - 5.27)) = 85.5 %, the constant from memory and said so
    assert acid.unionised_pct == pytest.approx(85.5, abs=0.1)
    assert any(fact.startswith("pKa of Dehydroacetic Acid") for fact in acid.memory)
    assert any("rests on memory" in str(row[-1]) for row in found.table().rows if row[1] == "Dehydroacetic Acid")


def test_it_never_says_that_a_product_is_preserved(hibiscus):
    found = preservation(hibiscus, 4.6)
    said = str(found)
    assert NO_PASS in said and TOO_WIDE in said and "Water activity" in said
    assert not re.search(r"\b(pass(es|ed)?|compliant|is preserved|well preserved|safe)\b", said, re.IGNORECASE)
    assert NO_PASS in str(found.table()) and NO_PASS in found.words()


def test_boosters_are_named_as_not_computed(example):
    words = preservation(example("linden").composition(), 4.5).words()
    assert any(told.startswith("Not computed: Ethylhexylglycerin") for told in words)


def test_no_preservative_is_said(library):
    text = re.sub(r"line = \[\s+\{material = \"phenoxyethanol.*?\]", "line = []", HIBISCUS, flags=re.DOTALL)
    found = preservation(read_formula(text, library).composition(), 4.5)
    assert found.preservatives == () and "No preservative in the composition" in found.words()


@pytest.mark.parametrize("ph", [-0.1, 14.1, "14.5", None, float("nan"), [], [4.5, 15], True])
def test_what_is_no_ph_is_refused(hibiscus, ph):
    with pytest.raises(FormulaError) as problem:
        preservation(hibiscus, ph)
    assert problem.value.code == "preservation.ph"


def test_without_water_there_is_nothing_to_be_free_in(library):
    text = """
name = "Balm (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "B"
kind = "oil"
line = [{material = "cetearyl-alcohol", pct = "99.20"}, {material = "phenoxyethanol", pct = "0.80"}]
"""
    with pytest.raises(FormulaError) as problem:
        preservation(read_formula(text, library).composition(), 4.5)
    assert problem.value.code == "preservation.no_water"


def test_a_formula_asks_for_itself(library):
    formula = read_formula(HIBISCUS, library)
    assert str(formula.preservation("4.6")) == str(preservation(formula.composition(), 4.6))


def substance(inci: str, category: str, log_kow: str = "") -> Substance:
    fact = {"log_kow": {"value": log_kow, "unit": "1", "kind": "estimated", "source": "x"}} if log_kow else {}
    return Substance.read({"inci": inci, "category": category, **fact})


def test_a_coefficient_measured_in_this_oil_in_one_like_it_and_in_neither():
    """Phenoxyethanol: mineral oil 0.3, peanut oil 2.6, isopropyl palmitate 2.9 (from memory); Kow 10^1.16 = 14.45."""
    preservative = substance("Phenoxyethanol", "preservative", "1.16")
    same = into_oil(preservative, substance("Isopropyl Palmitate", "emollient"))
    assert (same.low, same.high) == (2.9, 2.9)
    like = into_oil(preservative, substance("Helianthus Annuus Seed Oil", "emollient"))
    assert (like.low, like.high) == (pytest.approx(1.3), pytest.approx(5.2))
    assert "taken for Helianthus Annuus Seed Oil" in like.basis
    silicone = into_oil(preservative, substance("Dimethicone", "silicone"))
    assert (silicone.low, silicone.high) == (0, pytest.approx(14.45, abs=0.01))
    assert "ceiling" in silicone.basis
    assert into_lipid(substance("Phenoxyethanol", "preservative")).high is None


def test_the_ceiling_ends_what_a_like_oil_may_reach():
    """Twice 2.6 is 5.2; a ceiling of 10^0.6 = 3.98 ends it."""
    found = into_oil(
        substance("Phenoxyethanol", "preservative", "0.6"), substance("Olea Europaea Fruit Oil", "emollient")
    )
    assert found.high == pytest.approx(3.98, abs=0.01)


def test_salts_give_their_acid():
    assert [acid_form(inci) for inci in ("Sodium Benzoate", "Potassium Sorbate", "Phenoxyethanol", "Own")] == [
        "Benzoic Acid",
        "Sorbic Acid",
        "Phenoxyethanol",
        "Own",
    ]


def test_the_most_an_ion_is_held():
    """Selectivity 13 over a counter-ion that is three quarters bound: 13 x 0.75 / 0.25."""
    assert binding().bound_per_free == pytest.approx(39)
