"""The trial picker without a screen: what it shows is what the public comparison says of the same trials."""

from __future__ import annotations

import pytest

import kit
from kit.figures.figure import MIME, Figure
from kit.widgets import trial_picker
from kit.widgets.picker_form import ALL_AGES, PickerForm


@pytest.fixture
def book(made, formula):
    """A second trial beside the first: pH 4.50 and 4.60 at 24 h, and one viscosity with a torque that does not fit."""
    book, batch = made.book, made.batch
    batch.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1")
    thicker = formula.change({"cetearyl-alcohol": "6.00 %"}, absorb="water", why="thicker")
    other = book.start_batch(kit.plan_batch(thicker, "400 g"), trial="WOO-02", operator="bench 1", why="6 % <alcohol>")
    for line in other.sheet.lines:
        other.weigh(line.material.key, f"{line.target_g} g", phase=line.phase)
    other.finish()
    made.clock.later(hours=24)
    other.read_ph("4.60", temp="25 degC", instrument="PH-1", calibration="CAL-1")
    other.read_ph("4.10", temp="31 degC", instrument="PH-1", calibration="CAL-1")  # 6 degC off: flagged
    return book


def test_trials_are_named_with_what_they_try(book):
    form = PickerForm(book)
    assert (form.study, form.control, form.names()) == ("WOO", "WOO-01", ("WOO-01", "WOO-02"))
    assert form.trials[0].words.startswith("WOO-01 (control)")
    assert "6 % <alcohol>" in form.trials[1].words
    assert form.ages == (ALL_AGES, "1 h", "24 h", "72 h", "7 d")  # the default windows, in order


def test_the_pick_is_the_public_comparison(book):
    picked = PickerForm(book).pick(["WOO-02"], age="24 h")
    told = picked.comparison.result("pH", "24 h")
    assert {arm.arm_label: str(arm.mean) for arm in told.arms} == {"WOO-01": "4.5", "WOO-02": "4.6"}  # as typed
    assert str(picked.tables[2]) == str(kit.compare(book, ["WOO-01", "WOO-02"], ages=["24 h"]).table())
    assert all(isinstance(figure, Figure) for figure in picked.figures)


def test_what_is_in_no_mean_is_shown_with_its_reason(book):
    picked = PickerForm(book).pick(["WOO-02"], age="24 h")
    assert "31" in str(picked.tables[-1])
    assert "4.10" in str(picked.tables[-1])
    assert "31 degC" in str(picked.figures[0].table)


def test_a_choice_that_cannot_be_compared_is_told_in_words(book):
    form = PickerForm(book)
    assert form.pick([]).words[0].startswith("Tick a trial")
    assert "no reading" in form.pick(["WOO-02"], age="7 d").words[0]
    assert form.pick(["WOO-02"], control="WOO-09").comparison is None


def test_the_control_can_be_another(book):
    picked = PickerForm(book).pick(["WOO-01"], control="WOO-02")
    assert [arm.label for arm in picked.comparison.arms] == ["WOO-02", "WOO-01"]


def test_it_reads_the_lab_book_anew_each_time(book, made):
    form = PickerForm(book)
    before = form.pick(["WOO-02"], age="24 h").comparison.result("pH", "24 h")
    made.book.batch("WOO-02/1").read_ph("4.70", temp="25 degC", instrument="PH-1", calibration="CAL-1")
    after = form.pick(["WOO-02"], age="24 h").comparison.result("pH", "24 h")
    assert [round(float(result.arm("WOO-02").mean), 2) for result in (before, after)] == [
        4.6,
        4.65,
    ]  # (4.60 + 4.70) / 2


def test_a_file_is_read_and_closed(book, made):
    assert PickerForm(str(made.path)).pick(["WOO-02"], age="24 h").comparison is not None


def test_the_widget_shows_tables_and_plain_figures_and_follows_the_boxes(book):
    picker = trial_picker(book)
    assert picker.ticked() == ["WOO-01", "WOO-02"]
    kinds = [set(output["data"]) for output in picker.shown.outputs]
    assert {MIME, "text/plain"} in kinds
    assert {"text/html", "text/plain"} in kinds
    picker.boxes["WOO-02"].value = False
    assert len(picker.shown.outputs) == 1
    assert "Tick a trial" in picker.shown.outputs[0]["data"]["text/plain"]
    picker.age.value = "24 h"
    picker.boxes["WOO-02"].value = True
    assert "4.60" in "".join(output["data"]["text/plain"] for output in picker.shown.outputs)
