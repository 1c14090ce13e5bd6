"""The material library: names, supply forms, a lab's own materials on top."""

from __future__ import annotations

from decimal import Decimal

import pytest

from kit.errors import MaterialError
from kit.formula.files import read_formula
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
    new = set(library.materials) - set(starter.materials)
    assert set(starter.materials) < set(library.materials)
    assert {library.find(key).origin for key in new} == {"materials.toml"}
    assert "sodium-cocoyl-glutamate-25" in new


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


FLAKES = """
[[material]]
key = "behentrimonium-chloride-80"
heat_max = { value = "82", unit = "degC", kind = "measured", source = "own trial of 2026-03-02" }
"""


def test_a_row_without_a_body_overrules_the_facts_it_states_and_no_other(tmp_path, starter):
    library = load_library(_own(tmp_path, FLAKES))
    kits, own = (shelf.find("behentrimonium-chloride-80") for shelf in (starter, library))
    assert own.heat_max.value == 82
    assert (own.parts, own.hazards, own.melt_min, own.name) == (kits.parts, kits.hazards, kits.melt_min, kits.name)
    assert (own.origin, own.origin_of("heat_max"), own.origin_of("melt_min")) == ("kit", "mine.toml", "kit")
    assert Material.from_row(own.row()) == own
    rows = [[str(cell) for cell in row] for row in library.overruled().rows]
    assert [(row[0], row[1], row[2], row[-1]) for row in rows] == [
        ("behentrimonium-chloride-80", "heat_max", "82 degC", "mine.toml")
    ]
    assert rows[0][3] == (kits.heat_max.words() if kits.heat_max else "not stated")
    assert str(starter.overruled()).endswith("No fact of the kit is overruled.")


def test_a_row_with_parts_stands_in_place_of_the_whole_unless_it_says_otherwise(tmp_path, starter):
    parts = (
        'parts = [ { inci = "Behentrimonium Chloride", pct = "78" }, '
        '{ inci = "Isopropyl Alcohol", pct = "22", role = "carrier" } ]\n'
    )
    whole = load_library(_own(tmp_path, FLAKES + parts + 'name = "Own flakes"\n'))
    own = whole.find("behentrimonium-chloride-80")
    assert (own.origin, own.hazards, own.active_pct) == ("mine.toml", (), 78)
    lost = {str(row[1]): str(row[2]) for row in whole.overruled().rows}
    assert lost["hazards"] == "not stated"  # what the whole row dropped is told
    assert lost["parts"] == "Behentrimonium Chloride 78 %, Isopropyl Alcohol 22 %"
    kept = load_library(_own(tmp_path, FLAKES + parts + "overrules = true\n")).find("behentrimonium-chloride-80")
    assert (kept.origin, kept.hazards, kept.active_pct) == ("kit", starter.find(kept.key).hazards, 78)
    assert kept.origin_of("parts") == "mine.toml"


def test_a_strength_overruled_reaches_the_stock_solutions_made_from_it(tmp_path):
    text = """
[[material]]
key = "lactic-acid-88"
overrules = true
parts = [ { inci = "Lactic Acid", pct = "90" }, { inci = "Aqua", pct = "10", role = "water" } ]
"""
    stock = load_library(_own(tmp_path, text)).find("lactic-acid-10-solution")
    # By hand: 11.36 % of a 90 % acid is 10.224 %.
    assert {part.inci: part.pct for part in stock.parts}["Lactic Acid"] == Decimal("10.224")


def test_a_substance_may_be_overruled_in_one_fact(tmp_path, starter):
    text = """
[[substance]]
inci = "Cetyl Alcohol"
molar_mass = { value = "243.0", unit = "g/mol", kind = "measured", source = "own" }
"""
    part = load_library(_own(tmp_path, text)).find("cetyl-alcohol").parts[0]
    assert part.substance.molar_mass.value == Decimal("243.0")
    assert part.substance.category == "fatty alcohol"
    assert (part.substance.origin_of("molar_mass"), part.substance.origin) == ("mine.toml", "kit")


PERFUME = """
[practice.perfume-oil]
use_range = { low = "0.1", high = "1", unit = "%", kind = "memory", source = "common-practice" }
heat_max = { high = "45", unit = "degC", kind = "memory", source = "common-practice" }

[[material]]
key = "own-perfume"
name = "Own perfume oil"
use = "perfume-oil"
parts = [ { inci = "Parfum", pct = "100" } ]
allergens = [ { inci = "Linalool", pct = "35", kind = "supplier-typical", source = "declaration of 2026-02-01" } ]
fragrance_limit = { high = "0.8", unit = "%", kind = "supplier-typical", source = "certificate of 2026-02-01" }
heat_max = { high = "40", unit = "degC", kind = "measured", source = "own trial" }
"""


def test_a_rule_of_a_class_stands_in_where_the_form_has_none_of_its_own(tmp_path):
    perfume = load_library(_own(tmp_path, PERFUME)).find("own-perfume")
    assert perfume.use_range.high == 1
    assert perfume.is_practice("use_range")
    assert perfume.heat_max.high == 40
    assert not perfume.is_practice("heat_max")
    assert perfume.practice["heat_max"].high == 45
    assert [(item.inci, item.pct) for item in perfume.allergens] == [("Linalool", 35)]
    assert sum(part.pct for part in perfume.parts) == 100  # an allergen is inside a part, not one more
    assert perfume.fragrance_limit.high == Decimal("0.8")
    assert Material.from_row(perfume.row()) == perfume


def test_a_row_stored_by_an_older_kit_still_opens(starter):
    row = starter.find("glycerin").row()
    for name in ("use", "practice", "allergens", "fragrance_limit", "origins", "lot"):
        row.pop(name, None)
    for part in row["parts"]:
        for name in ("class", "acid_groups", "log_kow", "norrish_k", "hlb", "required_hlb", "origin", "origins"):
            part["substance"].pop(name, None)
    old = Material.from_row(row)
    assert (old.allergens, dict(old.practice), old.lot, old.origin) == ((), {}, "", "kit")
    assert old.parts[0].substance.acid_groups is None
    assert old.density == starter.find("glycerin").density


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        (FLAKES.replace("chloride-80", "chlorid-80"), "material.file", "behentrimonium-chloride-80"),
        (FLAKES + 'overrules = "yes"', "material.file", "true or false"),
        (GOOD + "overrules = true", "material.file", "nothing to overrule"),
        (PERFUME.replace('use = "perfume-oil"', 'use = "perfume"'), "material.practice", "perfume-oil"),
        (PERFUME.replace("use_range =", "use_rnge ="), "material.file", "use_range"),
        (PERFUME.replace('pct = "35"', 'pct = "135"'), "material.file", "135 %"),
        (PERFUME.replace('{ inci = "Linalool", pct', '{ inci = "Linalool", percent'), "material.file", "pct"),
        (PERFUME.replace('high = "0.8", unit = "%"', 'high = "0.8", unit = "1"'), "material.file", "Allowed: %"),
        (SUBSTANCE + 'hlb = { value = "12", unit = "%", kind = "memory", source = "x" }', "material.file", "hlb"),
        (
            SUBSTANCE.replace("fatty alcohol", "cationic surfactant") + 'class = "ester quat"',
            "material.file",
            "esterquat",
        ),
        ('[[price]]\nmaterial = "glycerin"', "material.price", "'per_kg' is missing"),
    ],
)
def test_a_slip_in_what_a_lab_adds_is_named(tmp_path, text, code, said):
    with pytest.raises(MaterialError) as caught:
        load_library(_own(tmp_path, text))
    assert caught.value.code == code
    assert said in str(caught.value)
    assert "mine.toml" in str(caught.value)
    assert caught.value.mend


def test_the_report_of_a_formula_says_whose_fact_was_used(tmp_path):
    library = load_library(_own(tmp_path, FLAKES))
    text = (
        'name = "Sage"\nversion = "1"\n[[phase]]\nname = "A"\nkind = "water"\n'
        'line = [{ material = "water-deionised", qs = true }, { material = "BTAC 80 %", pct = "2.00" }]\n'
    )
    rows = [[str(cell) for cell in row] for row in read_formula(text, library).facts_table().rows]
    whose = {(row[0], row[1]): row[-1] for row in rows}
    assert whose["behentrimonium-chloride-80", "heat max"] == "mine.toml"
    assert whose["behentrimonium-chloride-80", "part Isopropyl Alcohol"] == "kit"
    assert whose["Behentrimonium Chloride", "molar mass"] == "kit"
    heat = next(row for row in rows if row[1] == "heat max")
    assert heat[2:5] == ["82 degC", "measured", "own trial of 2026-03-02"]
    mass = next(row for row in rows if row[:2] == ["Behentrimonium Chloride", "molar mass"])
    assert mass[2].startswith("404.16 g/mol")
    assert len(mass[4]) > 20  # a citation, not a key
