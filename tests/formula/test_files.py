"""Formula files: exact decimals, a round trip that loses nothing, errors that name the place."""

from __future__ import annotations

import difflib
import pickle
import random
import re
import tempfile
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit.errors import FormulaError, KitError, MaterialError, UnitError
from kit.formula.files import read_formula
from kit.formula.formula import formula_from_row
from kit.formula.library import load_library
from kit.formula.model import formula_row
from kit.formula.writing import formula_text

EXAMPLES = Path(__file__).parent / "examples"
LIBRARY = load_library(EXAMPLES / "own" / "materials.toml")
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
    assert formula_text(again) == formula_text(formula)
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
    assert kit.load_formula(path, formula.library).fingerprint == formula.fingerprint
    newer.save(path, overwrite=True)
    assert kit.load_formula(path, formula.library).fingerprint == newer.fingerprint != formula.fingerprint
    path.write_bytes(b"\xff\xfe not text")
    with pytest.raises(FormulaError) as caught:
        formula.save(path)
    assert caught.value.code == "formula.file_exists"


def test_a_new_version_in_a_new_file_keeps_what_was_typed_around_its_lines(example_text, library, tmp_path):
    """By hand: of the file only the glycerin, the version and the reason of the change are other lines."""
    path, newer = tmp_path / "linden.toml", tmp_path / "linden-2.toml"
    path.write_text("# Blossoms of June\n" + example_text("linden"), encoding="utf-8")
    kit.load_formula(path, library).change({"glycerin": "4.00 %"}, why="less dry").save(newer)
    old, new = (file.read_text(encoding="utf-8").splitlines() for file in (path, newer))
    assert new[0] == "# Blossoms of June"
    gone = [line for line in old if line not in new]
    assert len(gone) == 2 and any("glycerin" in line for line in gone) and any("version" in line for line in gone)
    came = [line.partition("=")[0].strip() for line in new if line not in old and "glycerin" not in line]
    assert came == ["version", "why", "parent", "absorbed_by"]
    assert kit.load_formula(newer, library).composition().pct("glycerin") == Decimal("4.00")


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


COMMENTED = """# Linden, as the bench keeps it
name = "Kept"   # do not rename
version = "1"

[[spec]]  # what it must meet
property = "pH"
low = 4.3
high = 4.90

# water phase: boil the water first
[[phase]]
name = "A"
kind = "water"
line = [
  # the rest
  { material = "deionised water", qs = true },
  {pct = "3.00", material = "Glycerin"},   # vegetable
  { material = "citric acid 10 %", pct = 0.50 }, # to start with
]

# oil phase
[[phase]]
kind = "oil"
name = "B"

[[phase.line]]  # hot wax
material = "BTAC 80 %" # flakes
pct = "2.5"

[[phase.line]]
material = "cetearyl-alcohol"
pct = "5.00"

[[step]]
do = "heat"
phase = "A"
temps = "78 degC"   # not above
text = '''slowly # not a comment'''

[[step]]
do = "combine"
temps.A = "78 degC"
temps.B = "80 degC"
rpm = 6500

# end
"""


def changed_lines(before: str, after: str) -> list[str]:
    """The lines of a text that another one does not hold, and the other way round."""
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-"]


def test_saving_onto_a_file_keeps_what_a_person_wrote(library, tmp_path):
    path = tmp_path / "kept.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    formula = kit.load_formula(path, library)
    formula.save(path)  # the same formula: nothing is touched
    assert path.read_text(encoding="utf-8") == COMMENTED
    newer = formula.change({"glycerin": "4.00 %", "behentrimonium-chloride-80": "2.00 %"}, why="drier")
    newer.save(path, overwrite=True)
    text = path.read_text(encoding="utf-8")
    assert kit.load_formula(path, library) == newer
    assert changed_lines(COMMENTED, text) == [
        '- version = "1"',
        '+ version = "2"',
        '+ why = "drier"',
        f'+ parent = "{formula.fingerprint}"',
        '+ absorbed_by = "water"',
        '-   {pct = "3.00", material = "Glycerin"},   # vegetable',
        '+   { pct = "4.00", material = "Glycerin" },   # vegetable',
        '- pct = "2.5"',
        '+ pct = "2.00"',
    ]


def test_a_file_with_windows_line_ends_keeps_them(library, tmp_path):
    path = tmp_path / "kept.toml"
    path.write_bytes(COMMENTED.replace("\n", "\r\n").encode())
    kit.load_formula(path, library).change({"glycerin": "4.00 %"}).save(path, overwrite=True)
    written = path.read_bytes()
    assert written.count(b"\n") == written.count(b"\r\n") > COMMENTED.count("\n")
    assert b"# vegetable\r\n" in written


def test_saving_onto_a_file_adds_and_takes_out_lines_where_they_belong(library, tmp_path):
    path = tmp_path / "kept.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    formula = kit.load_formula(path, library)
    newer = formula.change(
        {"glycerin": "0 %", "hydroxyethylcellulose": "0.20 %", "cetearyl-alcohol": "0 %", "cetyl-alcohol": "5.00 %"},
        why="thinner",
    )
    newer = newer.with_steps(newer.steps[:1], why="cold")
    newer.save(path, overwrite=True)
    text = path.read_text(encoding="utf-8")
    assert kit.load_formula(path, library) == newer
    for comment in ("# the rest", "# to start with", "# oil phase", "# hot wax", "# flakes", "# not above", "# end"):
        assert comment in text
    for gone in ("# vegetable", "combine", "cetearyl"):
        assert gone not in text
    inline = text[text.index("line = [") : text.index("# oil phase")]
    assert inline.index("citric acid 10 %") < inline.index("hydroxyethylcellulose")


def test_a_file_of_another_formula_or_of_none_is_written_anew(example, library, tmp_path):
    path = tmp_path / "kept.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    formula = example("sage")
    formula.save(path, overwrite=True)
    assert path.read_text(encoding="utf-8") == formula_text(formula)


def test_a_file_laid_out_in_another_way_keeps_its_comments_at_the_head(library, tmp_path):
    path = tmp_path / "kept.toml"
    path.write_text(
        'name = "Kept" # mine\nversion = "1"\nphase = [ { name = "A", kind = "water", line = [ '
        '{ material = "water", qs = true }, { material = "glycerin", pct = "3.00" } ] } ] # all in one\n',
        encoding="utf-8",
    )
    newer = kit.load_formula(path, library).change({"glycerin": "4.00 %"})
    newer.save(path, overwrite=True)
    assert kit.load_formula(path, library) == newer
    assert path.read_text(encoding="utf-8").startswith("# mine\n# all in one\nname =")


def annotated(text: str, chance: random.Random) -> str:
    """The text with comments above and behind some of its statements, numbered."""
    lines: list[str] = []
    for number, line in enumerate(text.splitlines()):
        if chance.random() < 0.3:
            lines.append(f'# note {number}, with a " and a [[phase]]')
        lines.append(f"{line}  # behind {number}" if line.strip() and chance.random() < 0.3 else line)
    return "\n".join(lines) + "\n"


@given(st.sampled_from(NAMES), st.booleans(), st.integers(0, 10**6))
@settings(max_examples=80, deadline=None)
def test_comments_anywhere_outlive_a_change(name, plain, seed):
    """A comment above and behind any statement is still there, in its order, after lines that stay were changed."""
    chance = random.Random(seed)
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    typed = annotated(formula_text(read_formula(text, LIBRARY)) if plain else text, chance)
    formula = read_formula(typed, LIBRARY)
    fixed = sorted({line.material.key for _, line in formula.placed_lines() if not line.qs})
    keys = chance.sample(fixed, chance.randint(0, 3))
    newer = formula.change({key: f"{Decimal(chance.randint(1, 200)).scaleb(-2)} %" for key in keys}, why="said anew")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "kept.toml"
        path.write_text(typed, encoding="utf-8")
        kept = newer.save(path, overwrite=True).read_text(encoding="utf-8")
    again = read_formula(kept, LIBRARY)
    assert again == newer
    assert formula_text(again) == formula_text(newer)
    note = re.compile(r"# (?:note|behind) \d+")
    assert note.findall(kept) == note.findall(typed)
    assert [line for line in kept.splitlines() if not line.strip()] == [
        line for line in typed.splitlines() if not line.strip()
    ]
    touched = tuple(f"- {word}" for word in ("pct", "version", "why", "  {", "{"))
    assert all(line.startswith(touched) for line in changed_lines(typed, kept) if line[0] == "-")
