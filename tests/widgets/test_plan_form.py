"""The planning table without a screen: what is typed is planned, what is wrong is said, what is kept is in the file."""

from __future__ import annotations

import json

import pytest

import kit
from kit.widgets import planning_table

FACTOR = ("factor-1", "factor"), ("factor-1", "levels")


@pytest.fixture(scope="module")
def only_read(tmp_path_factory, formula):
    """A lab book with a study in it, for what keeps nothing."""
    with kit.new_labbook(tmp_path_factory.mktemp("read") / "bench.labbook") as book:
        book.new_study("WOO", question="Does it hold its pH?", spec=formula.spec, control="WOO-01")
        yield book
        assert book.source().plans() == ()


@pytest.fixture
def table(only_read, formula):
    return planning_table(only_read, formula, study="WOO")


@pytest.fixture
def keeping(bench, formula):
    """Of a lab book of its own, to keep plans in."""
    return planning_table(bench.book, formula, study="WOO")


def type_in(form, **entries: str):
    """Type settings by name, or a factor as name and levels; gives the last outcome."""
    outcome = None
    for name, text in entries.items():
        row, column = (f"factor-{name[-1]}", name[:-1]) if name[-1].isdigit() else (name, "entry")
        outcome = form.commit(row, column, text)
    return outcome


def shown(form, part: str) -> str:
    return next(str(one.table()) for one in form.view().parts if one.key == part)


def test_a_factor_and_its_levels_make_a_plan_at_once(table):
    form = table.form
    assert form.plan is None and [part.key for part in form.view().parts] == ["settings", "factors"]
    assert type_in(form, factor1="cetearyl-alcohol").state == "noted"
    outcome = type_in(form, levels1="4.00, 5.00, 6.00 %")
    assert outcome.state == "noted" and "level series of cetearyl-alcohol" in outcome.words
    assert [part.key for part in form.view().parts] == [
        "settings", "factors", "order", "foreseen", "power", "materials"]  # fmt: skip
    assert "6.00" in shown(form, "order") and "against the control" in shown(form, "power")


def test_nothing_is_in_the_lab_book_before_the_button(bench, keeping):
    type_in(keeping.form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %", days="2", name="WOO-levels")
    assert bench.book.source().plans() == ()
    outcome = keeping.form.commit("keep", "keep", "")
    assert outcome.recorded and outcome.entry == 1
    with kit.open_source(bench.path) as source:
        (kept,) = source.plans("WOO")
    assert kept.name == "WOO-levels" and len(kept.runs) == 4
    assert kept.row == keeping.form.plan.row()
    assert not keeping.form.commit("keep", "keep", "").recorded  # pressed twice, kept once
    assert len(bench.book.source().plans()) == 1


def test_what_cannot_be_planned_is_refused_beside_its_cell_and_the_text_kept(table):
    form = table.form
    outcome = type_in(form, factor1="cetearyl-alcohol", levels1="much")
    assert outcome.state == "refused" and outcome.code == "units.not_a_number"
    cell = form.view().parts[1].rows[0].cells[2]
    assert (cell.text, cell.small) == ("much", "NOT PLANNED: see below")
    assert "is not a number" in shown(form, "factors")
    assert type_in(form, levels1="4.00 to 6.00 %").state == "noted"
    assert "NOT PLANNED" not in json.dumps(form.view().as_json())


@pytest.mark.parametrize(
    ("entries", "code"),
    [
        ({"layout": "ladder"}, "plan.layout"),
        ({"days": "90"}, "design.capacity"),
        ({"repeats": "many"}, "form.number"),
        ({"batch": "400"}, "units.missing"),
        ({"history": "little %"}, "plan.scatter"),
    ],
)
def test_a_setting_that_does_not_fit_is_said(table, entries, code):
    type_in(table.form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %")
    outcome = type_in(table.form, **entries)
    assert (outcome.state, outcome.code) == ("refused", code)
    assert table.form.plan is None and table.form.commit("keep", "keep", "").code == "form.plan"


def test_a_plan_over_a_limit_is_shown_tightened(table):
    """Phenoxyethanol at most 1.0 % (Regulation (EC) No 1223/2009 Annex V, 29)."""
    type_in(table.form, factor1="phenoxyethanol", levels1="0.60, 0.80, 1.40 %")
    assert "tightened from 1.40 % to 1.00 %" in shown(table.form, "foreseen")


def test_a_name_that_is_taken_is_told_and_the_first_plan_stays(bench, keeping):
    type_in(keeping.form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %")
    keeping.form.commit("keep", "keep", "")
    type_in(keeping.form, seed="2")
    outcome = keeping.form.commit("keep", "keep", "")
    assert (outcome.state, outcome.code) == ("refused", "labbook.plan_exists")
    assert "name of its own" in shown(keeping.form, "settings")
    assert len(bench.book.source().plans()) == 1


def test_an_unknown_cell_is_refused(table):
    assert table.form.commit("factor-99", "levels", "3").code == "form.cell"


def test_the_screen_is_answered_by_number_and_shows_the_plan(table):
    answers = []
    table.send = lambda content, buffers=None: answers.append(content)
    for number, (cell, text) in enumerate(zip(FACTOR, ("cetearyl-alcohol", "4.00, 6.00 %"), strict=True), start=1):
        message = {
            "kind": "commit",
            "client": "screen",
            "number": number,
            "row": cell[0],
            "column": cell[1],
            "text": text,
        }
        table._handle_custom_msg(message, [])
    assert [answer["number"] for answer in answers] == [1, 2]
    assert "order" in [part["key"] for part in table.view["parts"]]


def test_it_prints_as_plain_tables(table):
    type_in(table.form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %")
    data, _ = table._repr_mimebundle_()
    assert "Order of making" in data["text/plain"] and "<table" in data["text/html"]


def test_options_are_the_lines_and_settings_of_the_formula(table):
    cell = table.form.view().parts[1].rows[0].cells[1]
    assert "cetearyl-alcohol" in cell.options and "water-deionised" not in cell.options
    assert "levels" in table.form.view().parts[0].rows[0].cells[1].options


def test_a_half_typed_factor_is_said_to_be_in_no_plan(table):
    form = table.form
    type_in(form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %", factor2="glycerin")
    (factors,) = (part for part in form.view().parts if part.key == "factors")
    said = {row.key: [remark.words for remark in row.remarks] for row in factors.rows}
    assert said["factor-2"] == ["not in the plan yet: the levels are missing"] and said["factor-1"] == []


@pytest.mark.parametrize("typed", ["2026-03-02, 2026-03-03", "2026-03-02; 2026-03-03", "2026-03-02 2026-03-03"])
def test_dates_may_be_set_apart_as_people_do(table, typed):
    type_in(table.form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %", days=typed)
    assert table.form.plan.dates == ("2026-03-02", "2026-03-03")


@pytest.mark.parametrize("name", ["days", "runs", "seed"])
def test_a_raised_two_is_no_number(table, name):
    outcome = type_in(table.form, factor1="cetearyl-alcohol", levels1="4.00, 5.00, 6.00 %", **{name: "²"})
    assert outcome.state == "refused"
