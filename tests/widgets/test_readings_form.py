"""The readings form without a screen: every commit is looked up in the lab book. What is expected is what was typed."""

from __future__ import annotations

import pytest

import kit
from kit.widgets.parts import ASKS, NOTED, RECORDED, REFUSED, UNCHANGED
from kit.widgets.readings_form import ReadingsForm


@pytest.fixture
def form(made):
    return ReadingsForm(made.batch, operator="bench 1")


def kept(made) -> list:
    """Readings that count, read from the file by another reader."""
    with kit.open_source(made.path) as source:
        return [reading for reading in source.batch("WOO-01/1").readings if not reading.void]


def part(form, name):
    return next(part for part in form.view().parts if part.key == name)


def remarks(form, name):
    return " ".join(remark.words for row in part(form, name).rows for remark in row.remarks)


def commit_all(form, method, *pairs):
    return [form.commit(f"{method}/{name}", "new", text) for name, text in pairs][-1]


PH = (("temp", "25,1"), ("instrument", "PH-1"), ("calibration", "CAL-1"), ("value", "4,52"))
VISCOSITY = (
    ("temp", "25 degC"),
    ("instrument", "VIS-1"),
    ("spindle", "disc 5"),
    ("rpm", "10"),
    ("reading_time", "60 s"),
    ("container", "100 mL jar"),
    ("torque_pct", "47,5"),
    ("value", "19000"),
)


def test_a_reading_is_recorded_with_its_value_and_the_conditions_noted_before(made, form):
    for name, text in PH[:-1]:
        assert form.commit(f"pH neat/{name}", "new", text).state == NOTED
    assert kept(made) == []
    assert form.commit("pH neat/value", "new", "4,52").state == RECORDED
    (reading,) = kept(made)
    assert (str(reading.value), str(reading.temp_c), reading.instrument, reading.calibration) == (
        "4.52",
        "25.1",
        "PH-1",
        "CAL-1",
    )
    assert (reading.method, reading.operator, str(reading.age_h)) == ("pH neat", "bench 1", "24.00")
    assert "Comparable by pH neat" in remarks(form, "pH neat")
    assert "24 h" in remarks(form, "pH neat")


def test_a_viscosity_with_every_condition_is_comparable(made, form):
    assert commit_all(form, "viscosity", *VISCOSITY).state == RECORDED
    (reading,) = kept(made)
    typed = (reading.value, reading.torque_pct, reading.rpm, reading.reading_time_s)
    assert [str(number) for number in typed] == ["19000", "47.5", "10", "60"]
    assert "Comparable by viscosity" in remarks(form, "viscosity")  # 19000 x 10 / 47.5 = 4000, the constant of disc 5


def test_a_torque_that_does_not_fit_the_value_is_flagged_at_once_with_the_reason(made, form):
    # 19000 x 10 / 43.0 = 4419, 10 % off the constant of 4000; 4000 x 43.0 / 10 = 17200.
    done = commit_all(form, "viscosity", *VISCOSITY[:-2], ("torque_pct", "43.0"), ("value", "19000"))
    assert (done.state, done.code) == (RECORDED, "flagged")
    assert "imply 17200 mPa.s" in done.words
    assert "FLAGGED" in remarks(form, "viscosity")
    assert len(kept(made)) == 1


def test_a_missing_condition_is_said_and_can_be_written_in_later(made, form):
    assert commit_all(form, "viscosity", *VISCOSITY[:5], *VISCOSITY[6:]).state == RECORDED  # without the container
    assert "Shown, not tested" in remarks(form, "viscosity")
    assert "container not recorded" in remarks(form, "viscosity")
    entry = str(kept(made)[0].entry)
    assert form.commit("viscosity/container", entry, "100 mL jar").state == RECORDED
    assert kept(made)[0].container == "100 mL jar"
    assert "Comparable by viscosity" in remarks(form, "viscosity")


def test_a_condition_that_cannot_be_read_holds_the_value_back(made, form):
    assert form.commit("pH neat/temp", "new", "warm").state == REFUSED
    held = form.commit("pH neat/value", "new", "4.52")
    assert (held.state, held.code) == (REFUSED, "form.condition")
    assert kept(made) == []
    form.commit("pH neat/temp", "new", "25")
    assert form.commit("pH neat/value", "new", "4.52").state == RECORDED


@pytest.mark.parametrize(
    ("method", "typed", "code"),
    [
        ("pH neat", "14.5", "reading.value_range"),
        ("pH neat", "four", "units.not_a_number"),
        ("viscosity", "19,000", "units.ambiguous_comma"),
        ("viscosity", "19000 g", "units.wrong_kind"),
    ],
)
def test_a_value_that_cannot_be_is_refused_and_kept(made, form, method, typed, code):
    refused = form.commit(f"{method}/value", "new", typed)
    assert (refused.state, refused.code) == (REFUSED, code)
    assert part(form, method).rows[-1].cells[-1].text == typed
    assert kept(made) == []


def test_usual_conditions_are_shown_and_count_only_when_confirmed(made, form):
    row = part(form, "viscosity").rows[0]
    assert [action.words for action in row.actions] == ["Used as usual: disc 5, 10 rpm, 60 s, 100 mL jar"]
    spindle = next(row for row in part(form, "viscosity").rows if row.key == "viscosity/spindle")
    assert (spindle.cells[-1].text, spindle.cells[-1].small) == ("", "usual: disc 5")
    form.commit("viscosity/value", "new", "19000")
    assert kept(made)[0].spindle == ""  # not confirmed: not recorded
    form.commit("viscosity/at", "usual", "")
    form.commit("viscosity/torque_pct", "new", "47.5")
    form.commit("viscosity/value", "new", "19010")
    assert (kept(made)[1].spindle, str(kept(made)[1].rpm)) == ("disc 5", "10")


def test_the_instrument_used_last_is_usual_and_a_calibration_only_on_its_day(made, form):
    commit_all(form, "pH neat", *PH)
    assert part(form, "pH neat").rows[0].actions[0].words == "Used as usual: PH-1, CAL-1"
    made.clock.later(hours=24)
    assert part(form, "pH neat").rows[0].actions[0].words == "Used as usual: PH-1"


def test_the_same_value_sent_twice_is_one_reading(made, form):
    commit_all(form, "pH neat", *PH)
    again = form.commit("pH neat/value", "new", "4.52")
    assert again.state == ASKS
    assert [choice.key for choice in again.ask.choices] == ["replicate", "cancel"]
    assert len(kept(made)) == 1
    form.commit("pH neat/value", "new", "4.52", choice="cancel")
    assert len(kept(made)) == 1


def test_a_second_reading_that_is_equal_is_taken_when_it_is_said_to_be_new(made, form):
    commit_all(form, "pH neat", *PH)
    assert commit_all(form, "pH neat", *PH).state == ASKS
    assert form.commit("pH neat/value", "new", "4.52", choice="replicate").state == RECORDED
    assert [str(reading.value) for reading in kept(made)] == ["4.52", "4.52"]


def test_a_recorded_value_is_changed_only_with_a_reason_and_stays_in_the_history(made, form):
    commit_all(form, "pH neat", *PH)
    entry = str(kept(made)[0].entry)
    assert form.commit("pH neat/value", entry, "4.25").state == ASKS
    assert str(kept(made)[0].value) == "4.52"
    done = form.commit("pH neat/value", entry, "4.25", choice="correct", why="digits swapped")
    assert done.state == RECORDED
    assert str(kept(made)[0].value) == "4.25"
    assert "4.52" in remarks(form, "pH neat")
    assert "digits swapped" in remarks(form, "pH neat")


def test_a_condition_is_put_right_with_a_reason_and_cannot_be_blanked(made, form):
    commit_all(form, "pH neat", *PH)
    entry = str(kept(made)[0].entry)
    assert form.commit("pH neat/temp", entry, "25.1 degC").state == UNCHANGED
    assert form.commit("pH neat/temp", entry, "25.4").state == ASKS
    assert form.commit("pH neat/temp", entry, "25.4", choice="correct", why="typing slip").state == RECORDED
    assert str(kept(made)[0].temp_c) == "25.4"
    assert form.commit("pH neat/temp", entry, "").code == "form.blank"


def test_blanking_a_value_undoes_the_reading_with_a_reason(made, form):
    commit_all(form, "pH neat", *PH)
    entry = str(kept(made)[0].entry)
    assert form.commit("pH neat/value", entry, "").state == ASKS
    assert form.commit("pH neat/value", entry, "", choice="void", why="wrong jar").state == RECORDED
    assert kept(made) == []
    assert [column.key for column in part(form, "pH neat").columns] == ["condition", "new"]


def test_an_unknown_instrument_or_calibration_is_said(form):
    assert "not entered in this lab book" in form.commit("pH neat/instrument", "new", "PH-9").words
    assert "not entered in this lab book" in form.commit("pH neat/calibration", "new", "CAL-9").words


def test_a_reading_typed_in_later_carries_the_time_it_was_read(made, form):
    # Made on 2 March at 09:00; read at 10:00 on the same day, an hour later, and typed in a day after.
    assert form.commit("pH neat/at", "new", "yesterday").code == "form.time"
    assert form.commit("pH neat/at", "new", "2026-03-02 10:00").state == NOTED
    commit_all(form, "pH neat", *PH)
    assert str(kept(made)[0].age_h) == "1.00"
    assert "1 h" in remarks(form, "pH neat")


def test_before_the_end_of_making_a_reading_is_in_process(bench):
    form = ReadingsForm(bench.batch)
    commit_all(form, "pH neat", *PH)
    assert "In process" in remarks(form, "pH neat")


def test_older_readings_stay_in_the_lab_book_and_the_table_stays_narrow(made, form):
    for value in ("4.50", "4.51", "4.52", "4.53", "4.54"):
        form.commit("pH neat/value", "new", value)
    assert len(part(form, "pH neat").columns) == 5  # the heads, the last three, a new one
    assert "2 earlier reading(s) are in the lab book" in part(form, "pH neat").note


def test_observations_are_recorded_and_an_equal_one_is_asked_about(made, form):
    assert form.commit("observed/grain", "word", "none").state == RECORDED
    assert form.commit("observed/grain", "word", "none").state == ASKS
    made.clock.later(hours=48)
    assert form.commit("observed/grain", "word", "none", choice="again").state == RECORDED
    with kit.open_source(made.path) as source:
        seen = source.batch("WOO-01/1").observations
    assert [(one.name, one.word, str(one.age_h)) for one in seen] == [
        ("grain", "none", "24.00"),
        ("grain", "none", "72.00"),
    ]
    assert "none (72.0 h" in part(form, "observed").rows[0].cells[1].text


def test_blank_cells_are_not_measured_and_unknown_ones_are_refused(made, form):
    assert form.commit("pH neat/value", "new", "").state == UNCHANGED
    assert form.commit("observed/grain", "word", " ").state == UNCHANGED
    for place in (
        ("density/value", "new"),
        ("pH neat/colour", "new"),
        ("pH neat/value", "99"),
        ("observed/odour", "word"),
    ):
        assert form.commit(*place, "1").code == "form.cell"
    assert kept(made) == []


def test_a_form_made_anew_shows_what_is_recorded(made, form):
    commit_all(form, "pH neat", *PH)
    with kit.open_labbook(made.path) as book:
        anew = ReadingsForm(book.batch("WOO-01/1"))
        assert part(anew, "pH neat").rows[-1].cells[1].text == "4.52"
        assert "Comparable by pH neat" in remarks(anew, "pH neat")


def test_instruments_and_calibrations_of_the_lab_book_are_offered_by_kind(made):
    """PH-1 with CAL-1 is a pH meter, VIS-1 a viscometer; anything else can still be typed."""
    made.book.calibrate("PH-1", "CAL-2", slope_pct=97, buffers=["4.01", "7.00"], temp="25 degC")
    rows = {row.key: row.cells[-1].options for part in ReadingsForm(made.batch).view().parts for row in part.rows}
    assert rows["pH neat/instrument"] == ("PH-1",)
    assert rows["pH neat/calibration"] == ("CAL-2", "CAL-1")  # the latest first
    assert rows["viscosity/instrument"] == ("VIS-1",)
    assert rows["pH neat/temp"] == ()


# Jars of a stability study -------------------------------------------------------------------------------------------

STORED = (*PH[:-1], ("storage", "40 degC"), ("rest", "24"))


def protocol(made) -> None:
    from kit.bench.stability_plan import plan_stability

    planned = plan_stability(made.batch.view.formula, properties={"pH": "± 0.3"}, stations=["4 weeks"], baseline="24 h")
    made.book.add_stability_protocol(planned, name="WOO-stability")


def rows(form, name):
    return [row.key.partition("/")[2] for row in part(form, name).rows]


def test_how_a_jar_was_kept_is_asked_where_a_protocol_covers_the_batch(made):
    assert "rest" not in rows(ReadingsForm(made.batch), "pH neat")
    protocol(made)
    asked = rows(ReadingsForm(made.batch), "pH neat")
    assert asked == ["at", "temp", "instrument", "calibration", "storage", "rest", "value"]
    heads = [row.cells[0].text for row in part(ReadingsForm(made.batch), "pH neat").rows]
    assert heads[4:6] == ["storage", "rested at 25 degC, h"]


def test_the_hours_a_stored_jar_rested_are_recorded_put_right_and_told(made):
    protocol(made)
    form = ReadingsForm(made.batch)
    made.clock.later(weeks=4)
    noted = form.commit("pH neat/rest", "new", "1 d")
    assert (noted.state, noted.words) == (NOTED, "24 h; noted, goes into the record with the value")
    assert form.commit("pH neat/rest", "new", "a night").state == REFUSED
    assert commit_all(form, "pH neat", *STORED, ("value", "4.40")).state == RECORDED
    (reading,) = kept(made)
    assert (reading.storage, str(reading.rest_h), str(reading.value)) == ("40 degC", "24", "4.40")
    entry = str(reading.entry)
    asked = form.commit("pH neat/rest", entry, "26")
    assert asked.state == ASKS
    form.commit("pH neat/rest", entry, "26", choice="correct", why="typing slip")
    assert str(kept(made)[0].rest_h) == "26"
    assert "24 h at 25 degC" in remarks(form, "pH neat")


def test_the_rest_of_a_jar_is_written_in_after_the_value(made):
    protocol(made)
    form = ReadingsForm(made.batch)
    made.clock.later(weeks=4)
    commit_all(form, "pH neat", *STORED[:-1], ("value", "4.40"))
    assert kept(made)[0].rest_h is None
    assert form.commit("pH neat/rest", str(kept(made)[0].entry), "24").state == RECORDED
    assert str(kept(made)[0].rest_h) == "24"


def test_a_method_that_needs_the_storage_asks_for_the_rest_too(tmp_path, clock, formula):
    from dataclasses import replace

    from kit.bench.methods import methods

    needs = replace(methods()["pH neat"], needs=("storage",))
    with kit.new_labbook(tmp_path / "needs.labbook", clock=clock) as book:
        book.new_study("WOO", question="?", spec=formula.spec, methods=[needs])
        batch = book.start_batch(kit.plan_batch(formula, "400 g"), trial="WOO-01")
        assert rows(ReadingsForm(batch), "pH neat") == ["at", "temp", "storage", "rest", "value"]
