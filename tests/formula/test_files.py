"""Formula files: exact decimals, a round trip that loses nothing, errors that name the place."""

from __future__ import annotations

import pickle
from decimal import Decimal

import pytest

import kit
from kit.errors import FormulaError, KitError, MaterialError, UnitError
from kit.formula.files import read_formula
from kit.formula.formula import formula_from_row
from kit.formula.model import formula_row
from kit.formula.writing import formula_text

NAMES = ("linden", "calendula", "meadowsweet", "sage")


def test_percentages_are_the_decimals_that_were_typed(example):
    formula = example("linden", ('{ material = "glycerin", pct = "3.00" }', '{ material = "glycerin", pct = 3.10 }'))
    typed = {line.material.key: line.pct for _, line in formula.placed_lines()}
    assert str(typed["behentrimonium-chloride-80"]) == "2.50"
    assert str(typed["glycerin"]) == "3.10"  # a bare TOML float keeps its digits too
    # By hand: water phase 3.10 + 0.20 + 0.10 + 0.05 = 3.45; oil phase 5.00 + 2.50 + 2.50 + 0.50 = 10.50;
    # cool-down 0.70 + 1.00 + 0.80 + 0.10 + 0.20 + 0.40 = 3.20; 100 - 17.15 = 82.85.
    assert formula.qs_pct == Decimal("82.85")
    assert formula.composition().total == 100


def test_steps_and_spec_are_read(example):
    formula = example("linden")
    combine = next(step for step in formula.steps if step.do == "combine")
    assert dict(combine.temps_c) == {"A": 78, "B": 82, "after": 77}
    assert (combine.rpm, combine.minutes) == (6500, 4)
    assert formula.steps[1].temp_c == 78
    assert [line.words() for line in formula.spec] == ["4.3 to 4.9", "15000 to 25000 mPa.s", "none"]


@pytest.mark.parametrize("name", NAMES)
def test_a_saved_formula_reads_back_as_the_same_formula(example, library, tmp_path, name):
    formula = example(name)
    path = formula.save(tmp_path / "new folder" / f"{name}.toml")
    again = kit.load_formula(path, library)
    assert again == formula
    assert again.fingerprint == formula.fingerprint
    assert formula_text(again) == formula_text(formula) == path.read_text(encoding="utf-8")
    assert [str(line.pct) for _, line in again.placed_lines()] == [str(line.pct) for _, line in formula.placed_lines()]


@pytest.mark.parametrize("name", NAMES)
def test_a_formula_survives_its_row_with_the_facts_used_then(example, name):
    formula = example(name)
    again = formula_from_row(formula_row(formula))
    assert again == formula
    assert again.review().codes == formula.review().codes


def test_saving_never_overwrites_something_else_unasked(example, tmp_path):
    path = tmp_path / "linden.toml"
    formula = example("linden")
    formula.save(path)
    formula.save(path)  # the same again is no loss
    newer = formula.change({"glycerin": "4 %"})
    with pytest.raises(FormulaError) as caught:
        newer.save(path)
    assert caught.value.code == "formula.file_exists"
    assert path.read_text(encoding="utf-8") == formula_text(formula)
    newer.save(path, overwrite=True)
    assert path.read_text(encoding="utf-8") == formula_text(newer)
    path.write_bytes(b"\xff\xfe not text")
    with pytest.raises(FormulaError) as caught:
        formula.save(path)
    assert caught.value.code == "formula.file_exists"


def test_what_a_person_typed_comes_back_whatever_is_in_it(example, library):
    text = 'a "quoted" line\nnext line\ttab \\ backslash, Öl, 髪, <b>&amp;</b>, \'\'\' and """'
    formula = example("sage").change({"glycerin": "3.50 %"}, why=text)
    assert read_formula(formula_text(formula), library).why == text


def test_a_byte_order_mark_and_windows_line_ends_are_read(example, example_text, library, tmp_path):
    path = tmp_path / "linden.toml"
    path.write_bytes(b"\xef\xbb\xbf" + example_text("linden").replace("\n", "\r\n").encode())
    assert kit.load_formula(path, library) == example("linden")


LINE = '{ material = "glycerin", pct = "3.00" }'


@pytest.mark.parametrize(
    ("old", "new", "code", "said"),
    [
        ('"3.00"', '"3,000"', "units.ambiguous_comma", "glycerin"),
        ('"3.00"', '"3.00 g"', "units.wrong_kind", "glycerin"),
        ('"3.00"', '"three"', "units.not_a_number", "'three'"),
        ('"3.00"', '"-3.00"', "formula.value", "negative"),
        ('"3.00"', '"3.00", qs = true', "formula.value", "both pct and qs"),
        (', pct = "3.00"', "", "formula.value", "neither pct nor qs"),
        ('pct = "3.00"', 'percent = "3.00"', "formula.key", "'percent'"),
        ("qs = true", 'qs = "yes"', "formula.value", "true or false"),
        ('"glycerin"', '"glycerol 99"', "material.unknown", "nearest: glycerin"),
        ('"citric-acid"', '"Citric Acid"', "material.ambiguous", "citric-acid-monohydrate"),
        ('kind = "oil"', 'kind = "fat"', "formula.phase_kind", "cool-down"),
        ('name = "B"', 'name = "A"', "formula.phase", "two phases"),
        ('name = "B"', 'name = "after"', "formula.phase", "another name"),
        ('do = "disperse"', 'do = "stir"', "formula.step_kind", "disperse"),
        ('temps = "25 degC"', 'temps = "25"', "units.missing", "step 1"),
        ('temps = "25 degC"', 'temps = "25 mL"', "units.wrong_kind", "step 1"),
        ("{ A = ", "{ a = ", "formula.phase", "step 4"),
        ('rpm = "6500"', 'rpm = "fast"', "units.not_a_number", "rpm"),
        ('product = "rinse-off hair"', 'product = "shampoo"', "formula.product", "leave-on hair"),
        ("low = 4.3", "low = 5.3", "formula.value", "above high"),
        ('allowed = ["none"]\n', "", "formula.value", "grain"),
        ('name = "Linden daily conditioner"\n', "", "formula.key", "'name' is missing"),
    ],
)
def test_a_wrong_place_in_a_file_is_named_with_its_cure(example, old, new, code, said):
    with pytest.raises(KitError) as caught:
        example("linden", (old, new))
    assert caught.value.code == code
    assert said in str(caught.value)
    assert caught.value.where.startswith("linden")
    assert caught.value.mend


def test_broken_toml_names_line_and_column(library):
    # The quote that closes "1 is missing in line 2; a TOML string may not run past its line.
    text = 'name = "Sage"\nversion = "1\nproduct = "rinse-off hair"\n'
    with pytest.raises(FormulaError, match=r"line 2, column 13") as caught:
        read_formula(text, library, where="sage.toml")
    assert caught.value.code == "formula.file_broken"
    assert "sage.toml" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ('name = "x"\nversion = "1"', "formula.empty"),
        ('name = "x"\nversion = "1"\nphase = "A"', "formula.value"),
        ('name = "x"\nversion = "1"\n[phase]\nname = "A"', "formula.value"),
    ],
)
def test_a_formula_without_lines_says_so(library, text, code):
    with pytest.raises(FormulaError) as caught:
        read_formula(text, library)
    assert caught.value.code == code


def test_a_missing_or_unreadable_file_is_said_plainly(tmp_path, example, library):
    example("linden").save(tmp_path / "linden.toml")
    with pytest.raises(FormulaError) as caught:
        kit.load_formula(tmp_path / "lindon.toml", library)
    assert caught.value.code == "formula.file_missing"
    assert "linden.toml" in caught.value.allowed
    (tmp_path / "latin.toml").write_bytes('name = "Hafer für das Haar"'.encode("latin-1"))
    with pytest.raises(FormulaError) as caught:
        kit.load_formula(tmp_path / "latin.toml", library)
    assert caught.value.code == "formula.file_broken"
    assert "byte 15" in str(caught.value)  # name = "Hafer f is 15 bytes, counted from 0


def test_allowed_words_may_be_one_word(example):
    formula = example("linden", ('allowed = ["none"]', 'allowed = "none"'))
    assert formula.spec[2].allowed == ("none",)


def test_errors_keep_their_parts_through_a_worker_process(example):
    with pytest.raises(MaterialError) as caught:
        example("linden", ('"glycerin"', '"glycerol 99"'))
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), str(again), again.code) == (MaterialError, str(caught.value), "material.unknown")
    assert isinstance(again, KitError)
    assert not isinstance(again, UnitError)
