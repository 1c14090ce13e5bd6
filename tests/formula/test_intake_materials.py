"""A material that a sheet names and the library does not know: its form, and its way into the lab's own file."""

from __future__ import annotations

import tomllib

import pytest

from kit.errors import MaterialError
from kit.formula.intake import paste_formula
from kit.formula.intake_materials import add_form, add_material
from kit.formula.library import load_library

SHEET = "Code;Material;INCI;%\n;Water;;q.s.\nRM-9;Almond oil, refined;Prunus Amygdalus Dulcis Oil;2.00"
OIL = {
    "key": "almond-oil",
    "name": "Almond oil, refined",
    "aliases": ["RM-9"],
    "function": "emollient",
    "phases": ["oil"],
    "parts": [
        {"inci": "Prunus Amygdalus Dulcis Oil", "pct": "100", "kind": "supplier-typical", "source": "trade-form"}
    ],
}
SUBSTANCE = {"inci": "Prunus Amygdalus Dulcis Oil", "category": "emollient"}


def test_from_the_unknown_name_to_the_formula(tmp_path):
    library = load_library()
    preview = paste_formula(SHEET, library)
    assert preview.unknown == ("Almond oil, refined",)
    form = preview.add_form(preview.unknown[0])
    assert form.key == "almond-oil-refined"
    assert form.material["aliases"] == ["RM-9"]
    assert form.material["parts"][0]["inci"] == "Prunus Amygdalus Dulcis Oil"
    assert tomllib.loads(form.toml)["material"][0]["name"] == "Almond oil, refined"
    assert tomllib.loads(form.toml)["substance"][0]["inci"] == "Prunus Amygdalus Dulcis Oil"
    material = {**form.material, "parts": [{**form.material["parts"][0], "pct": "100"}], "phases": ["oil"]}
    substance = {**form.substances[0], "category": "emollient"}
    path = add_material(tmp_path / "mine.toml", material, [substance])
    again = paste_formula(SHEET, load_library(path))
    assert again.ok, str(again)
    assert again.formula.composition().pct("almond-oil-refined") == 2
    by_code = paste_formula("Code;%\nRM-9;2.00\nwater;98.00", load_library(path))
    assert by_code.ok, str(by_code)


def test_what_stands_in_the_file_stays_byte_for_byte(tmp_path):
    path = tmp_path / "mine.toml"
    text = '# my own notes, ä\r\n\r\n[[material]]   # mine\r\nkey = "glycerin"\r\naliases = ["G-1"]\r\n# the end'
    before = text.encode("utf-8-sig")
    path.write_bytes(before)
    add_material(path, OIL, [SUBSTANCE])
    after = path.read_bytes()
    assert after.startswith(before)
    assert b"\n" not in after.replace(b"\r\n", b"")
    library = load_library(path)
    assert library.find("G-1").key == "glycerin"
    assert library.find("RM-9").key == "almond-oil"
    assert sorted(item.name for item in tmp_path.iterdir()) == ["mine.toml"]


def test_into_a_folder_whose_other_files_hold_the_substance(tmp_path):
    (tmp_path / "a-substances.toml").write_text(
        '[[substance]]\ninci = "Prunus Amygdalus Dulcis Oil"\ncategory = "emollient"\n'
    )
    path = add_material(tmp_path, OIL)
    assert path.name == "materials.toml"
    assert load_library(tmp_path).find("RM-9").key == "almond-oil"


def test_a_premix_made_in_the_lab_books_to_what_it_is_made_from(tmp_path):
    """By hand: 2 % of a premix of 60 % glycerin and 40 % water brings 1.2 % and 0.8 %."""
    premix = {
        "key": "gum-premix",
        "name": "Glycerin premix",
        "made_from": [{"material": "glycerin", "pct": "60"}, {"material": "water-deionised", "pct": "40"}],
    }
    library = load_library(add_material(tmp_path / "mine.toml", premix))
    formula = paste_formula("Material;%\nGlycerin premix;2.00\nCetyl Alcohol;98.00", library).formula
    shares = {inci: share.pct for inci, share in formula.composition().shares().items()}
    assert (float(shares["Glycerin"]), float(shares["Aqua"])) == (1.2, 0.8)


@pytest.mark.parametrize(
    ("change", "substances", "code", "said"),
    [
        ({"parts": [{"inci": "Prunus Amygdalus Dulcis Oil", "pct": ""}]}, [SUBSTANCE], "material.form", "parts, pct"),
        ({"parts": []}, [SUBSTANCE], "material.form", "parts"),
        ({"key": " "}, [SUBSTANCE], "material.form", "key"),
        ({}, [{"inci": "Prunus Amygdalus Dulcis Oil", "category": ""}], "material.form", "category"),
        ({}, [], "material.substance", "Prunus Amygdalus Dulcis Oil"),
        ({"key": "glycerin"}, [SUBSTANCE], "material.key_taken", "Glycerin"),
        ({"parts": [{"inci": "Glycerin", "pct": "90"}]}, [], "material.parts_total", "90 %"),
        ({"phases": ["wet"]}, [SUBSTANCE], "material.file", "cool-down"),
        ({"colour": "yellow"}, [SUBSTANCE], "material.file", "colour"),
        ({}, [{**SUBSTANCE, "category": "almond"}], "material.file", "emollient"),
    ],
)
def test_a_row_that_could_not_be_loaded_is_never_written(tmp_path, change, substances, code, said):
    path = tmp_path / "mine.toml"
    path.write_text("# mine\n", encoding="utf-8")
    with pytest.raises(MaterialError) as caught:
        add_material(path, {**OIL, **change}, substances)
    assert caught.value.code == code
    assert said in str(caught.value)
    assert path.read_text(encoding="utf-8") == "# mine\n"


def test_a_file_of_another_kind_is_left_alone(tmp_path):
    with pytest.raises(MaterialError) as caught:
        add_material(tmp_path / "mine.csv", OIL, [SUBSTANCE])
    assert caught.value.code == "material.file_write"
    assert list(tmp_path.iterdir()) == []


def test_the_form_names_what_is_spelled_like_it_and_takes_a_free_key():
    library = load_library()
    form = add_form("Glycerin", library, inci="glycerin")
    assert form.key == "glycerin-2"
    assert "glycerin" in form.nearest
    assert form.substances == ()  # its INCI name is known
    assert form.material["parts"][0]["inci"] == "Glycerin"
    strong = add_form("Behentrimonium Chloride (77 %)", library, inci="Behentrimonium Chloride")
    assert strong.material["parts"][0]["pct"] == "77"
    assert any("add up" in line or "exactly 100" in line for line in strong.to_fill)
