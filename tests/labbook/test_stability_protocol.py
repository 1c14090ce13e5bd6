"""Stability protocols on the record: before the data, frozen, and loudly marked where they come late."""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.errors import KitError
from kit.labbook.snapshot import freeze

PLANNED = {"conditions": ["25 degC", "40 degC"], "stations": ["1 week", "4 weeks"]}


def make(bench, number: int = 1):
    batch = bench.book.start_batch(bench.sheet, trial="MEA-01", study="MEA", operator="bench 2", number=number)
    bench.clock.later(hours=2)
    batch.finish()
    return batch


def test_a_protocol_is_kept_as_it_was_planned(bench):
    planned = kit.plan_stability(bench.formula, **PLANNED)
    receipt = bench.book.add_stability_protocol(planned, name="MEA-S")
    assert receipt.new and receipt.stream == "protocol/MEA-S" and "jars" in receipt.notes[0]
    with kit.open_source(bench.path) as source:
        (kept,) = source.stability_protocols("MEA")
        assert kept.protocol == planned and kept.recorded_at == "2026-03-02T09:00:00+01:00" and not kept.after_data
        assert source.stability_protocols("other") == ()


def test_one_condition_is_told_in_the_singular(bench):
    assert kit.plan_stability(bench.formula, conditions=["25 degC"]).words.startswith("1 condition, ")


def test_the_same_again_is_not_doubled_and_limits_are_not_changed(bench):
    planned = kit.plan_stability(bench.formula, **PLANNED)
    bench.book.add_stability_protocol(planned, name="MEA-S")
    assert not bench.book.add_stability_protocol(planned, name="MEA-S").new
    wider = kit.plan_stability(bench.formula, properties={"pH": "± 0.5"}, **PLANNED)
    with pytest.raises(KitError) as caught:
        bench.book.add_stability_protocol(wider, name="MEA-S")
    assert caught.value.code == "labbook.protocol_exists" and "protocol" in str(caught.value)


def test_a_protocol_after_the_data_is_refused_or_marked(bench):
    """A reading at 1 h is no stability data, one at 72 h is: the baseline is known then."""
    batch = make(bench)
    told = {"temp": "25 degC", "instrument": "PH-1", "calibration": "CAL-1"}
    bench.clock.later(hours=1)
    batch.read_ph("4.50", **told)
    early = bench.book.add_stability_protocol(kit.plan_stability(bench.formula, **PLANNED), name="EARLY")
    assert not any("AFTER DATA" in note for note in early.notes)
    bench.clock.later(hours=71)
    batch.read_ph("4.52", **told)
    bench.clock.later(hours=1)
    late = kit.plan_stability(bench.formula, properties={"pH": "± 0.5"}, **PLANNED)
    with pytest.raises(KitError) as caught:
        bench.book.add_stability_protocol(late, name="LATE")
    assert caught.value.code == "stability.after_data" and "MEA-01/1, pH" in str(caught.value)
    marked = bench.book.add_stability_protocol(late, name="LATE", after_data="the first one was lost")
    assert any(
        note == "PROTOCOL DATED AFTER DATA: 1 readings were there; the first one was lost" for note in marked.notes
    )
    assert not bench.book.add_stability_protocol(late, name="LATE", after_data="the first one was lost").new
    kept = {one.name: one for one in bench.book.source().stability_protocols()}
    assert "PROTOCOL DATED AFTER DATA" in kept["LATE"].words and "AFTER DATA" not in kept["EARLY"].words


def test_it_covers_its_version_its_trials_or_its_study(bench):
    batch = make(bench).view
    changed = bench.formula.change({"cetearyl-alcohol": "6.00 %"}, why="thicker")
    for name, planned, covers in (
        ("own", kit.plan_stability(bench.formula, **PLANNED), True),
        ("other", kit.plan_stability(changed, **PLANNED), False),
        ("trial", kit.plan_stability(changed, trials=["MEA-01"], **PLANNED), True),
        ("study", kit.plan_stability("all of it", **PLANNED), True),
    ):
        bench.book.add_stability_protocol(planned, name=name)
        kept = next(one for one in bench.book.source().stability_protocols() if one.name == name)
        assert kept.covers(batch) is covers, name


def test_a_snapshot_of_a_trial_takes_its_protocol_along(bench):
    make(bench)
    bench.book.add_stability_protocol(kit.plan_stability(bench.formula, **PLANNED), name="MEA-S")
    bench.book.add_stability_protocol(
        kit.plan_stability(bench.formula.change({"glycerin": "5.00 %"}, why="x"), **PLANNED), name="ELSE"
    )
    streams = freeze(bench.book.source(), ["MEA-01"])["streams"]
    assert "protocol/MEA-S" in streams and "protocol/ELSE" not in streams


def test_hours_at_25_degrees_and_the_place_of_what_is_seen_are_kept(bench):
    batch = make(bench)
    bench.clock.later(days=10)
    batch.read_ph("4.4", temp="25 degC", instrument="PH-1", storage="40 degC", rest="1 d")
    batch.observe("colour", "yellow", storage="45  degC", rest="24 h")
    batch.observe("grain", "none")
    with kit.open_source(bench.path) as source:
        view = source.batch("MEA-01/1")
        assert (view.readings[0].rest_h, view.readings[0].storage) == (Decimal(24), "40 degC")
        seen = {one.name: (one.storage, one.rest_h) for one in view.observations}
    assert seen == {"colour": ("45 degC", Decimal(24)), "grain": ("", None)}
    bodies = {entry.body["name"]: entry.body for entry in view.entries if entry.kind == "observation"}
    assert "storage" not in bodies["grain"]  # what was never told leaves the entry as it always was


def test_a_file_may_have_a_column_for_the_hours_and_a_place_for_words(bench, tmp_path):
    make(bench)
    bench.book.add_stability_protocol(kit.plan_stability(bench.formula, **PLANNED), name="MEA-S")  # it knows the words
    bench.clock.later(days=12)
    path = tmp_path / "pulls.csv"
    path.write_text(
        "batch,property,value,unit,measured_at,temp,method,instrument,storage,rest\n"
        "MEA-01/1,pH,4.41,,2026-03-12T10:00+01:00,25 degC,pH neat,PH-1,40 degC,24 h\n"
        "MEA-01/1,grain,none,,2026-03-12T10:05+01:00,,,,40 degC,24 h\n",
        encoding="utf-8",
    )
    bench.book.import_readings(path).commit()
    view = bench.book.source().batch("MEA-01/1")
    assert view.readings[0].rest_h == 24
    assert [(one.word, one.storage, one.rest_h) for one in view.observations] == [("none", "40 degC", Decimal(24))]


def test_what_is_no_protocol_is_refused(bench):
    with pytest.raises(KitError) as caught:
        bench.book.add_stability_protocol("± 0.3", name="MEA-S")
    assert caught.value.code == "stability.protocol"
    with pytest.raises(KitError) as caught:
        bench.book.add_stability_protocol(kit.plan_stability("x"), name="a/b")
    assert caught.value.code == "labbook.name"
