"""The weighing form without a screen: every commit is looked up in the lab book. Targets are worked out in the test."""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.widgets.parts import ASKS, NOTED, RECORDED, REFUSED, UNCHANGED
from kit.widgets.weighing_form import WeighingForm

# 400 g: percent times four. Water is what is left of 100 %: 100 - 3 - 0.10 - 5 - 2.5 - 0.8 - 1 = 87.60 %.
TARGETS_G = {
    "A/water-deionised": "350.40",
    "A/glycerin": "12.00",
    "A/citric-acid": "0.40",
    "B/cetearyl-alcohol": "20.00",
    "B/behentrimonium-chloride-80": "10.00",
    "C/phenoxyethanol": "3.20",
    "C/glycerin": "4.00",
}


@pytest.fixture
def form(bench):
    return WeighingForm(bench.batch)


def standing(bench) -> list[tuple[str, str, str]]:
    """Phase/material, mass and lot of every weighing that counts, read from the file by another reader."""
    with kit.open_source(bench.path) as source:
        items = source.batch("WOO-01/1").standing("weigh")
        return [
            (f"{item.body['phase']}/{item.body['material']}", item.body["mass_g"], item.body["lot"]) for item in items
        ]


def entries(bench) -> int:
    with kit.open_source(bench.path) as source:
        return len(source.batch("WOO-01/1").entries)


def row(form, key):
    return next(row for row in form.view().parts[0].rows if row.key == key)


def cell(form, key, column):
    columns = [column.key for column in form.view().parts[0].columns]
    return row(form, key).cells[columns.index(column)]


def test_a_row_for_every_line_with_its_target(form):
    shown = {row.key: row.cells[1].text for row in form.view().parts[0].rows}
    assert {key: Decimal(text) for key, text in shown.items()} == {
        key: Decimal(text) for key, text in TARGETS_G.items()
    }
    assert form.missing()
    assert len(form.missing("A, B")) == 5


def test_a_line_below_the_smallest_weight_says_so_instead_of_a_tolerance(form):
    # 0.82 g is the smallest weight to 1 % on a balance of 0.01 g: 2 x 0.41 x 0.01 g / 0.01 (USP <41>); 0.40 g is less.
    assert cell(form, "A/citric-acid", "target").small == "cannot be weighed to 1 %"
    assert cell(form, "A/glycerin", "target").small == "± 0.12"


@pytest.mark.parametrize(
    ("typed", "grams"),
    [("12.01", "12.01"), ("12,01", "12.01"), ("12.01 g", "12.01"), (" 12,01 g ", "12.01"), ("0.01201 kg", "12.01")],
)
def test_comma_point_and_units_are_read_and_echoed(bench, form, typed, grams):
    outcome = form.commit("A/glycerin", "weighed", typed)
    assert (outcome.state, outcome.words.startswith(f"recorded {grams} g")) == (RECORDED, True)
    assert standing(bench) == [("A/glycerin", grams, "")]
    assert cell(form, "A/glycerin", "weighed").text == grams
    assert cell(form, "A/glycerin", "weighed").small.startswith(f"{grams} g")


@pytest.mark.parametrize(
    ("typed", "code", "said"),
    [
        ("abc", "units.not_a_number", "is not a number"),
        ("12,010", "units.ambiguous_comma", "12010 or 12.010"),
        ("1.234,5", "units.mixed_marks", "mixes decimal marks"),
        ("12 mL", "units.wrong_kind", "cannot be read as g"),
        ("12 gr", "units.unknown", "gram (g) or grain"),
        ("0", "batch.mass", "is not a mass"),
        ("-3", "batch.mass", "is not a mass"),
    ],
)
def test_what_cannot_be_read_is_kept_and_marked_with_the_reason(bench, form, typed, code, said):
    before = entries(bench)
    outcome = form.commit("A/glycerin", "weighed", typed)
    assert (outcome.state, outcome.code) == (REFUSED, code)
    assert said in outcome.words
    assert (cell(form, "A/glycerin", "weighed").text, cell(form, "A/glycerin", "weighed").state) == (typed, REFUSED)
    assert any(said in remark.words for remark in row(form, "A/glycerin").remarks)
    assert (entries(bench), standing(bench)) == (before, [])


def test_blank_is_not_measured(bench, form):
    before = entries(bench)
    assert form.commit("A/glycerin", "weighed", "  ").state == UNCHANGED
    assert cell(form, "A/glycerin", "state").text == "not weighed yet"
    assert entries(bench) == before


def test_the_same_commit_twice_is_one_entry(bench, form):
    first = form.commit("A/glycerin", "weighed", "12.01")
    before = entries(bench)
    again = form.commit("A/glycerin", "weighed", "12,01 g")
    assert (first.state, again.state) == (RECORDED, UNCHANGED)
    assert entries(bench) == before


def test_a_lot_waits_for_its_mass_and_says_so(bench, form):
    assert form.commit("A/glycerin", "lot", "G-22").state == NOTED
    assert "not recorded yet" in cell(form, "A/glycerin", "lot").small
    assert standing(bench) == []
    form.commit("A/glycerin", "weighed", "12.01")
    assert standing(bench) == [("A/glycerin", "12.01", "G-22")]
    assert cell(form, "A/glycerin", "lot").small == "recorded"


def test_a_lot_typed_after_the_mass_is_written_in(bench, form):
    form.commit("A/glycerin", "weighed", "12.01")
    assert form.commit("A/glycerin", "lot", "G-22").state == RECORDED
    assert standing(bench) == [("A/glycerin", "12.01", "G-22")]


def test_a_material_in_two_phases_has_two_rows(bench, form):
    form.commit("A/glycerin", "weighed", "12.01")
    form.commit("C/glycerin", "weighed", "4.02")
    assert standing(bench) == [("A/glycerin", "12.01", ""), ("C/glycerin", "4.02", "")]


def test_over_is_said_in_words_with_both_ways_out(form):
    # 14.60 - 12.00 = 2.60 g; 2.60 / 12.00 = 21.7 %; others as planned: 400 + 2.60 = 402.60 g; 14.60 / 402.60 = 3.63 %.
    form.commit("A/glycerin", "weighed", "14.60")
    assert cell(form, "A/glycerin", "state").text.replace("\u00a0", " ") == "over by 2.60 g (+21.7 %)"
    words = " ".join(remark.words for remark in row(form, "A/glycerin").remarks)
    assert "3.63 % instead of 3.00 %, the batch 402.60 g" in words
    assert "10 % or more" in words  # 1.2167 is above 1.10: common practice, no source
    assert [action.column for action in row(form, "A/glycerin").actions] == ["accept"]


def test_under_is_said_in_words(form):
    # 9.20 - 10.00 = -0.80 g = -8.0 %
    form.commit("B/behentrimonium-chloride-80", "weighed", "9.20")
    state = cell(form, "B/behentrimonium-chloride-80", "state").text
    assert state.replace("\u00a0", " ") == "under by 0.80 g (-8.0 %)"


def test_a_recorded_mass_is_changed_only_with_a_reason_and_stays_in_the_history(bench, form):
    form.commit("A/glycerin", "weighed", "14.60")
    before = entries(bench)
    asked = form.commit("A/glycerin", "weighed", "12.01")
    assert asked.state == ASKS
    assert [choice.key for choice in asked.ask.choices] == ["correct", "portion", "cancel"]
    assert form.commit("A/glycerin", "weighed", "12.01", choice="correct").code == "batch.why"
    assert (entries(bench), standing(bench)[0][1]) == (before, "14.60")
    done = form.commit("A/glycerin", "weighed", "12.01", choice="correct", why="surplus taken out")
    assert done.state == RECORDED
    assert (entries(bench), standing(bench)[0][1]) == (before + 1, "12.01")
    told = " ".join(remark.words for remark in row(form, "A/glycerin").remarks)
    assert "14.60 g" in told
    assert "surplus taken out" in told
    assert cell(form, "A/glycerin", "state").text == "within"


def test_back_and_forth_with_the_same_words_is_not_taken_for_recorded(bench, form):
    form.commit("A/glycerin", "weighed", "12.01")
    for mass, why in (("12.05", "slip"), ("12.01", "slip")):
        assert form.commit("A/glycerin", "weighed", mass, choice="correct", why=why).state == RECORDED
    third = form.commit("A/glycerin", "weighed", "12.05", choice="correct", why="slip")
    assert (third.state, third.code) == (REFUSED, "form.equal_entry")
    assert standing(bench)[0][1] == "12.01"
    assert form.commit("A/glycerin", "weighed", "12.05", choice="correct", why="slip after all").state == RECORDED
    assert standing(bench)[0][1] == "12.05"


def test_a_further_portion_adds_up(bench, form):
    form.commit("B/cetearyl-alcohol", "weighed", "12.00")
    form.commit("B/cetearyl-alcohol", "weighed", "8.02", choice="portion")
    assert [mass for _, mass, _ in standing(bench)] == ["12.00", "8.02"]
    assert cell(form, "B/cetearyl-alcohol", "weighed").text == "20.02"  # 12.00 + 8.02
    assert cell(form, "B/cetearyl-alcohol", "state").text == "within"
    assert [choice.key for choice in form.commit("B/cetearyl-alcohol", "weighed", "9").ask.choices] == [
        "portion",
        "cancel",
    ]
    assert form.commit("B/cetearyl-alcohol", "weighed", "").code == "form.portions"


def test_blanking_a_recorded_mass_undoes_it_with_a_reason_and_it_can_be_weighed_again(bench, form):
    form.commit("A/glycerin", "weighed", "12.01")
    assert form.commit("A/glycerin", "weighed", "").state == ASKS
    assert form.commit("A/glycerin", "weighed", "", choice="void", why="wrong boat").state == RECORDED
    assert standing(bench) == []
    assert "wrong boat" in " ".join(remark.words for remark in row(form, "A/glycerin").remarks)
    again = form.commit("A/glycerin", "weighed", "12.01")  # equal to the undone one, and yet a new weighing
    assert again.state == RECORDED
    assert standing(bench) == [("A/glycerin", "12.01", "")]


def test_accepting_asks_for_a_reason_and_is_recorded(bench, form):
    form.commit("A/glycerin", "weighed", "14.60")
    assert form.commit("A/glycerin", "accept", "").state == ASKS
    assert form.commit("A/glycerin", "accept", "", choice="accept").state == ASKS
    done = form.commit("A/glycerin", "accept", "", choice="accept", why="inert")
    assert done.state == RECORDED
    with kit.open_source(bench.path) as source:
        (choice,) = source.batch("WOO-01/1").standing("over-weighing")
    assert (choice.body["choice"], choice.body["material"], choice.body["why"]) == ("accept", "glycerin", "inert")
    assert "accepted as made" in cell(form, "A/glycerin", "state").text
    assert row(form, "A/glycerin").actions == ()


def test_a_line_that_is_not_over_cannot_be_accepted(form):
    form.commit("A/glycerin", "weighed", "12.00")
    assert form.commit("A/glycerin", "accept", "").code == "weighing.not_over"


def test_after_rescaling_the_targets_of_the_others_grow(bench, form):
    # 12.60 / 12.00 = 1.05, below 1.10; 20.00 g x 1.05 = 21.00 g.
    form.commit("A/glycerin", "weighed", "12.60")
    assert [action.column for action in row(form, "A/glycerin").actions] == ["accept", "rescale"]
    assert form.commit("A/glycerin", "rescale", "", choice="rescale").state == ASKS  # no reason given
    form.commit("A/glycerin", "rescale", "", choice="rescale", why="vessel is large enough")
    assert cell(form, "B/cetearyl-alcohol", "target").text == "21.00"


def test_cancel_leaves_what_is_recorded(bench, form):
    form.commit("A/glycerin", "weighed", "12.01")
    form.commit("A/glycerin", "weighed", "13")
    before = entries(bench)
    assert form.commit("A/glycerin", "weighed", "13", choice="cancel").state == UNCHANGED
    assert (cell(form, "A/glycerin", "weighed").text, entries(bench)) == ("12.01", before)


def test_the_balance_is_the_planned_one_unless_another_is_typed(bench, form):
    form.commit("A/glycerin", "balance", "BAL-7")
    form.commit("A/glycerin", "weighed", "12.01")
    form.commit("A/citric-acid", "weighed", "0.40")
    with kit.open_source(bench.path) as source:
        used = [item.body["balance"] for item in source.batch("WOO-01/1").standing("weigh")]
    assert used == ["BAL-7", ""]  # the sheet's own balance has no name


def test_a_form_made_anew_shows_the_record_and_not_what_was_refused(bench, form):
    form.commit("A/glycerin", "weighed", "12,01")
    form.commit("A/citric-acid", "weighed", "abc")
    with kit.open_labbook(bench.path) as book:  # as after a restart of the kernel
        anew = WeighingForm(book.batch("WOO-01/1"))
        assert cell(anew, "A/glycerin", "weighed").text == "12.01"
        assert cell(anew, "A/citric-acid", "weighed").text == ""
        assert len(anew.missing()) == 6


def test_two_forms_of_one_batch_see_each_other(bench, form):
    with kit.open_labbook(bench.path) as book:
        other = WeighingForm(book.batch("WOO-01/1"))
        other.commit("A/glycerin", "weighed", "12.01")
        assert form.commit("A/glycerin", "weighed", "12.01").state == UNCHANGED
        assert other.commit("B/cetearyl-alcohol", "weighed", "20.00").state == RECORDED
        assert form.commit("A/citric-acid", "weighed", "0.40").state == RECORDED
    bench.batch.step("the batch object of the notebook goes on")
    assert len(standing(bench)) == 3


def test_a_finished_batch_takes_corrections_and_refuses_weighings(made):
    form = WeighingForm(made.batch)
    assert not form.missing()
    assert form.commit("A/glycerin", "weighed", "12.03", choice="correct", why="typing slip").state == RECORDED
    refused = form.commit("A/glycerin", "weighed", "1.00", choice="portion")
    assert (refused.state, refused.code) == (REFUSED, "batch.finished")


def test_cautions_stand_with_the_material_and_in_full_below(form):
    assert "Serious eye damage" in cell(form, "C/phenoxyethanol", "material").small
    assert "Hot oil, wax and water" in cell(form, "B/cetearyl-alcohol", "material").small
    titles = [title for title, _ in form.view().cautions]
    assert {"Serious eye damage", "Hot oil, wax and water", "Acids"} <= set(titles)
    assert "safety data sheets" in form.view().cautions[-1][1]


def test_an_unknown_cell_is_refused_in_words(form):
    for place in (("D/glycerin", "weighed"), ("A/glycerin", "colour")):
        assert form.commit(*place, "1").code == "form.cell"


def test_on_paper_the_form_is_a_table(form):
    form.commit("A/glycerin", "weighed", "14.60")
    text = str(form.view().block())
    assert "over by 2.60 g" in text
    assert "350.40" in text
    assert "cannot be weighed to 1 %" in text


class TestLots:
    """What there is to say of a lot stands under its line while the boat is still in the hand."""

    def remarks(self, form, key):
        return [remark for remark in row(form, key).remarks if "lot" in remark.words.lower() or "B-04" in remark.words]

    def test_a_date_that_has_passed(self, bench, form):
        bench.book.add_lot("glycerin", "B-042", expiry="2026-02-28")
        form.commit("A/glycerin", "lot", "B-042")
        form.commit("A/glycerin", "weighed", "12.00")
        found = self.remarks(form, "A/glycerin")
        assert any(one.words.startswith("PAST ITS DATE") and one.tone == "fail" for one in found)
        assert any("2026-02-28" in one.words for one in found)

    def test_a_content_that_differs_from_the_typical(self, bench, form):
        bench.book.add_lot("behentrimonium-chloride-80", "B-042", certificate={"active": "81.2 %"})
        form.commit("B/behentrimonium-chloride-80", "lot", "B-042")
        form.commit("B/behentrimonium-chloride-80", "weighed", "10.00")
        words = " ".join(one.words for one in self.remarks(form, "B/behentrimonium-chloride-80"))
        assert "81.2 %" in words
        assert "80 %" in words

    def test_a_number_that_is_almost_that_of_a_certificate(self, bench, form):
        bench.book.add_lot("glycerin", "B-042", expiry="2027-01-31")
        form.commit("A/glycerin", "lot", "B-024")
        form.commit("A/glycerin", "weighed", "12.00")
        (found,) = self.remarks(form, "A/glycerin")
        assert "B-042" in found.words
        assert found.tone == "flag"

    def test_a_lot_without_a_certificate_is_no_remark(self, form):
        form.commit("A/glycerin", "lot", "L-9")
        form.commit("A/glycerin", "weighed", "12.00")
        assert self.remarks(form, "A/glycerin") == []
