"""A formula file edited under its version label is refused at the start of a batch, with the difference."""

from __future__ import annotations

import pytest

import kit
from kit.errors import FormulaError
from kit.formula.writing import formula_text


def edited(bench, tmp_path, *replacements):
    text = formula_text(bench.formula)
    for old, new in replacements:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "meadowsweet.toml"
    path.write_text(text, encoding="utf-8")
    return kit.load_formula(path)


def test_an_edited_file_under_the_same_label_is_refused(bench, finished, tmp_path):
    del finished
    formula = edited(bench, tmp_path, ('pct = "4.00"', 'pct = "3.00"'))
    before = bench.book.store.heads()
    with pytest.raises(FormulaError) as caught:
        bench.book.start_batch(kit.plan_batch(formula, "400 g"), trial="MEA-09", study="MEA", operator="bench 1")
    assert caught.value.code == "formula.version_edited"
    assert "glycerin 4.00 → 3.00 %" in str(caught.value)
    assert "meadowsweet.toml" in str(caught.value)
    assert bench.book.store.heads() == before  # nothing was recorded


def test_a_label_of_its_own_or_no_change_is_accepted(bench, finished, tmp_path):
    del finished
    formula = edited(bench, tmp_path, ('pct = "4.00"', 'pct = "3.00"'), ('version = "1"', 'version = "1b"'))
    batch = bench.book.start_batch(kit.plan_batch(formula, "400 g"), trial="MEA-09", study="MEA", operator="bench 2")
    assert batch.name == "MEA-09/1"
    same = edited(bench, tmp_path, ('pct = "4.00"', 'pct = "4.000"'))  # another spelling of the same number
    assert bench.book.start_batch(kit.plan_batch(same, "400 g"), trial="MEA-10", study="MEA", operator="bench 3")


def test_branches_made_from_one_version_may_share_a_label(bench, finished):
    del finished
    for number, pct in enumerate(("3.00", "2.00"), start=8):
        formula = bench.formula.change({"glycerin": f"{pct} %"}, why="level series")
        sheet = kit.plan_batch(formula, "400 g")
        bench.book.start_batch(sheet, trial=f"MEA-{number:02d}", study="MEA", operator=f"bench {number}")
    assert len(bench.book.open_batches()) == 2
