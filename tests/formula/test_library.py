"""The material library: names, supply forms, a lab's own materials on top."""

from __future__ import annotations

from decimal import Decimal

import pytest

from kit.errors import MaterialError
from kit.formula.library import load_library
from kit.formula.material import Material


@pytest.fixture(scope="module")
def starter():
    return load_library()


def test_a_key_a_name_an_alias_and_a_unique_inci_name_find_the_same_form(starter):
    found = {
        starter.find(text).key
        for text in ("cetearyl-alcohol", "Cetearyl Alcohol (30:70)", "cetostearyl alcohol", "CETEARYL  ALCOHOL")
    }
    assert found == {"cetearyl-alcohol"}
    assert "cetearyl-alcohol" in starter
    assert "unobtainium" not in starter


def test_an_inci_name_of_several_forms_lists_them(starter):
    with pytest.raises(MaterialError) as caught:
        starter.find("Behentrimonium Methosulfate", where="phase B, line 1")
    assert caught.value.code == "material.ambiguous"
    assert "behentrimonium-methosulfate-25" in caught.value.allowed
    assert "behentrimonium-methosulfate-50" in caught.value.allowed
    assert "phase B, line 1" in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("cetyl alcool", "cetyl-alcohol"),
        ("glycerine 99", "glycerin"),
        ("behentrimonium clorid 80", "behentrimonium-chloride-80"),
        ("phenoxethanol", "phenoxyethanol"),
    ],
)
def test_an_unknown_name_lists_the_nearest(starter, typed, near):
    with pytest.raises(MaterialError) as caught:
        starter.find(typed)
    assert caught.value.code == "material.unknown"
    assert near in caught.value.allowed


def test_every_form_adds_up_to_100_and_survives_its_row(starter):
    for material in starter:
        assert sum((part.pct for part in material.parts), Decimal(0)) == 100
        assert sum((pct for _, pct in material.weighed_as()), Decimal(0)) == 100
        again = Material.from_row(material.row())
        assert again.row() == material.row()
        assert again.parts == material.parts


def test_a_stock_solution_books_to_what_it_was_mixed_from(starter):
    # 11.36 % of an 88 % acid is 9.9968 % of acid; 11.36 x 12 % = 1.3632 of its water joins the 88.64 of the solution.
    stock = starter.find("lactic acid 10 %")
    assert {part.inci: part.pct for part in stock.parts} == {
        "Lactic Acid": Decimal("9.9968"),
        "Aqua": Decimal("90.0032"),
    }
    assert {material.key: pct for material, pct in stock.weighed_as()} == {
        "lactic-acid-88": Decimal("11.36"),
        "water-deionised": Decimal("88.64"),
    }


def test_own_materials_overrule_the_starter_and_say_so(library, starter):
    own = library.find("panthenol-75")
    assert own.origin == "materials.toml"
    assert starter.find("panthenol-75").origin == "kit"
    assert own.heat_max.value == 50
    assert library.find("our panthenol") is own
    assert len(library) == len(starter) + 6


def _own(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


GOOD = """
[[material]]
key = "own-water"
name = "Spring water"
parts = [ { inci = "Aqua", pct = "100", role = "water" } ]
"""


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("[[material]\nkey = 1", "material.file", "line 1"),
        (GOOD.replace('"100"', '"99"'), "material.parts_total", "99 %, not 100 %"),
        (GOOD.replace("Aqua", "Aqva"), "material.substance", "nearest: Aqua"),
        (GOOD.replace('key = "own-water"\n', ""), "material.file", "'key' is missing"),
        (GOOD.replace('"100"', '"a hundred"'), "material.file", "numbers are text in quotes"),
        (
            GOOD + 'heat_mx = { value = "60", unit = "degC", kind = "measured", source = "common-practice" }',
            "material.file",
            "heat_max",
        ),
        ('material = "water"', "material.file", "[[material]]"),
        (
            GOOD.replace("parts = [ { inci =", "made_from = [ { material =").replace(', role = "water"', ""),
            "material.unknown",
            "Aqua",
        ),
    ],
)
def test_a_wrong_materials_file_names_file_row_and_cure(tmp_path, text, code, said):
    with pytest.raises(MaterialError) as caught:
        load_library(_own(tmp_path, text))
    assert caught.value.code == code
    assert said in str(caught.value)
    assert "mine.toml" in str(caught.value)


SUBSTANCE = """
[[substance]]
inci = "Arachidyl Alcohol"
category = "fatty alcohol"
molar_mass = { value = "298.55", unit = "g/mol", kind = "handbook", source = "pubchem" }
"""


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # A rule that reads degC, or that looks for a category, would go blind without a word.
        (
            GOOD + 'heat_max = { value = "140", unit = "degF", kind = "measured", source = "common-practice" }',
            "Allowed: degC",
        ),
        (GOOD + 'heat_max = { unit = "degC", kind = "measured", source = "common-practice" }', "no number"),
        (GOOD + 'heat_max = { value = "60", unit = "degC", kind = "hearsay", source = "common-practice" }', "memory"),
        (GOOD.replace('role = "water"', 'role = "watr"'), "carrier"),
        (GOOD + 'phases = ["watr"]', "cool-down"),
        (GOOD + GOOD, "stands twice"),
        (SUBSTANCE.replace('"fatty alcohol"', '"fatty alcohols"'), "fatty alcohol,"),
        (SUBSTANCE.replace('"g/mol"', '"kg/mol"'), "g/mol"),
        (SUBSTANCE + 'charge_strength = "strong"', "hard anion"),
        (SUBSTANCE + SUBSTANCE, "stands twice"),
        (SUBSTANCE.replace('inci = "Arachidyl Alcohol"', ""), "'inci' is missing"),
    ],
)
def test_a_slip_that_would_make_a_rule_blind_is_refused(tmp_path, text, said):
    with pytest.raises(MaterialError) as caught:
        load_library(_own(tmp_path, text))
    assert caught.value.code == "material.file"
    assert said in str(caught.value)
    assert caught.value.mend


def test_a_labs_own_fact_about_a_substance_reaches_the_forms_that_hold_it(tmp_path, starter):
    text = SUBSTANCE.replace("Arachidyl Alcohol", "Cetyl Alcohol").replace("298.55", "243.0")
    library = load_library(_own(tmp_path, text))
    for key in ("cetyl-alcohol", "behentrimonium-methosulfate-50"):
        masses = {
            part.inci: part.substance.molar_mass.value for part in library.find(key).parts if part.substance.molar_mass
        }
        assert masses["Cetyl Alcohol"] == Decimal("243.0")
    assert starter.find("cetyl-alcohol").parts[0].substance.molar_mass.value != Decimal("243.0")


def test_a_file_that_is_not_text_and_a_folder_that_is_not_there(tmp_path):
    broken = tmp_path / "latin.toml"
    broken.write_bytes(GOOD.replace("Spring", "Quelle ä").encode("latin-1"))
    for path in (broken, tmp_path / "nowhere"):
        with pytest.raises(MaterialError) as caught:
            load_library(path)
        assert caught.value.code == "material.file"


def test_two_forms_with_one_alias_stay_ambiguous(tmp_path):
    text = GOOD.replace("parts", 'aliases = ["deionised water"]\nparts')
    with pytest.raises(MaterialError) as caught:
        load_library(_own(tmp_path, text)).find("Deionised Water")
    assert caught.value.code == "material.ambiguous"
    assert "own-water" in caught.value.allowed
    assert "water-deionised" in caught.value.allowed


def test_the_shelf_shows_itself(starter):
    assert "behentrimonium-chloride-80" in str(starter)
    assert "<table" in starter._repr_html_()
