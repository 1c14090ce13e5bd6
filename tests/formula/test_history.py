"""The history of a formula: order by parents, reasons, broken links, a version edited under its label."""

from __future__ import annotations

import pytest

import kit
from kit.errors import FormulaError
from kit.formula.diffs import edited_under_label
from kit.formula.history import history


@pytest.fixture
def versions(example):
    first = example("linden")
    second = first.change({"cetearyl-alcohol": "6.00 %"}, why="thicker")
    third = second.change({"glycerin": "2.00 %"}, absorb="proportional", why="less sticky", version="10")
    return first, second, third


@pytest.fixture
def folder(versions, tmp_path):
    for formula, name in zip(versions, ("z", "m", "a"), strict=True):  # the names of the files say nothing
        formula.save(tmp_path / f"{name}.toml")
    return tmp_path


def test_versions_stand_in_the_order_they_were_made(folder, versions, library):
    made = history(folder, library)
    assert [entry.formula.version for entry in made.entries] == ["1", "2", "10"]
    assert [entry.parent and entry.parent.version for entry in made.entries] == [None, "1", "2"]
    assert made.is_whole
    words = str(made)
    assert "thicker" in words
    assert "cetearyl-alcohol 5.00 → 6.00 %" in words
    assert "water takes up the change" in words
    assert "all other lines scaled alike" in words
    again = versions[0].history(folder)  # the same version at hand twice is one
    assert [entry.formula.fingerprint for entry in again.entries] == [formula.fingerprint for formula in versions]
    assert "<table" in made._repr_html_()


def test_branches_of_one_parent_follow_it(example):
    base = example("linden")
    levels = [
        base.change({"cetearyl-alcohol": f"{pct} %"}, version=f"1-{pct}", why="level series") for pct in (10, 4, 6)
    ]
    made = history([*levels, base])
    assert [entry.formula.version for entry in made.entries] == ["1", "1-4", "1-6", "1-10"]
    assert {entry.parent.version for entry in made.entries[1:]} == {"1"}


def test_a_lost_parent_is_said(folder, library):
    (folder / "m.toml").unlink()
    made = history(folder, library)
    assert not made.is_whole
    assert "which is not among these (at hand: 1;" in made.entries[-1].words()


def test_a_parent_edited_under_its_label_leaves_a_broken_link(folder, library):
    path = folder / "z.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('pct = "3.00"', 'pct = "3.50"'), encoding="utf-8")
    made = history(folder, library)
    assert not made.is_whole
    assert "edited under its label" in str(made)


def test_one_label_with_two_contents_is_refused_with_the_difference(folder, versions, library):
    path = folder / "z.toml"
    edited = path.read_text(encoding="utf-8").replace('pct = "3.00"', 'pct = "3.50"')
    (folder / "copy.toml").write_text(edited, encoding="utf-8")
    with pytest.raises(FormulaError) as caught:
        history(folder, library)
    assert caught.value.code == "formula.version_edited"
    # By hand: glycerin up by 0.50 takes 0.50 from 82.95 of water. The copy is read first; the other is the one refused.
    assert "glycerin 3.50 → 3.00 %" in str(caught.value)
    assert "water-deionised 82.45 → 82.95 %" in str(caught.value)
    assert "copy.toml" in str(caught.value)
    assert "\n" not in str(caught.value)
    with pytest.raises(FormulaError) as caught:
        kit.load_formula(folder / "copy.toml", library).save(path)
    assert caught.value.code == "formula.version_edited"
    assert "glycerin 3.00 → 3.50 %" in str(caught.value)


def test_what_counts_as_an_edit(example, versions):
    first, second, _ = versions
    assert edited_under_label(first, first) is None
    assert edited_under_label(first, second) is None
    other = first.change({"cetearyl-alcohol": "4.00 %"}, why="thinner")  # a branch: version 2 too, of the same parent
    assert edited_under_label(second, other) is None
    edited = example("linden", ('pct = "3.00"', 'pct = "3.50"'))
    assert "glycerin" in edited_under_label(first, edited).words()


def test_nothing_to_look_at(tmp_path):
    with pytest.raises(FormulaError) as caught:
        history(tmp_path)
    assert caught.value.code == "formula.history_empty"


def test_a_folder_may_hold_other_files_and_a_damaged_formula_is_told(tmp_path, example):
    example("linden").save(tmp_path / "a.toml")
    (tmp_path / "meter.toml").write_text('name = "a column map"\n', encoding="utf-8")
    assert len(history(tmp_path).entries) == 1
    (tmp_path / "broken.toml").write_text("[[phase]]\nname = \n", encoding="utf-8")
    with pytest.raises(FormulaError) as refused:
        history(tmp_path)
    assert "broken.toml" in refused.value.paragraph()
