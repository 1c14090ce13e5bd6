"""Times across a change of clocks, ages at the ends of their windows, and corrections that leave an age alone.

Summer time in the European Union begins at 1:00 UTC on the last Sunday of March and ends at 1:00 UTC on the last Sunday
of October (Directive 2000/84/EC): in 2026 on 29 March and 25 October. Ages are worked by hand from that.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest

import kit
from kit.bench.methods import age_window, nearest_window
from kit.errors import RecordError
from kit.labbook.times import LOCAL, local_now, offset_of, read_time, stamp

needs_zones = pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of the process cannot be changed here")


@pytest.fixture
def berlin(monkeypatch):
    """This process in Central European Time."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")  # POSIX 1003.1, 8.3: the rule of the directive
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=LOCAL)


@needs_zones
def test_a_winter_hour_typed_in_summer_keeps_its_winter_offset(berlin):
    """A clock that knew only its own offset of +02:00 would put the reading an hour too early."""
    moment = read_time("2026-03-28 10:00", lambda: at("2026-03-30 08:00"))
    assert stamp(moment) == "2026-03-28T10:00:00+01:00"
    assert stamp(read_time("2026-03-29 10:00", lambda: at("2026-03-30 08:00"))) == "2026-03-29T10:00:00+02:00"


@needs_zones
def test_a_day_with_the_change_of_clocks_in_it_has_23_hours(berlin, tmp_path, formula):
    """10:00 on 28 March is 9:00 UTC, 10:00 on 29 March is 8:00 UTC: 23 h, inside 24 ± 2 h."""
    with kit.new_labbook(tmp_path / "a.labbook", clock=lambda: at("2026-03-30 08:00")) as book:
        book.new_study("MEA", question="q", spec=formula.spec)
        batch = book.start_batch(kit.plan_batch(formula, "400 g"), trial="MEA-01", operator="b", at="2026-03-28 08:00")
        batch.finish(at="2026-03-28 10:00")
        batch.read_ph("4.50", temp="25 degC", at="2026-03-29 10:00")
        (reading,) = batch.view.readings
        assert reading.age_h == 23
        assert nearest_window(reading.age_h).label == "24 h"


@needs_zones
def test_readings_of_a_file_without_offsets_are_placed_by_the_clocks_of_their_day(berlin, tmp_path, formula):
    with kit.new_labbook(tmp_path / "a.labbook", clock=lambda: at("2026-04-20 08:00")) as book:
        book.new_study("MEA", question="q", spec=formula.spec)
        batch = book.start_batch(kit.plan_batch(formula, "400 g"), trial="MEA-01", operator="b", at="2026-03-27 08:00")
        batch.finish(at="2026-03-27 10:00")
        rows = ["2026-03-28 10:00", "2026-03-30 10:00"]
        path = tmp_path / "r.csv"
        path.write_text(
            "batch,property,value,measured_at\n" + "".join(f"MEA-01/1,pH,4.5{n},{row}\n" for n, row in enumerate(rows)),
            encoding="utf-8",
        )
        preview = book.import_readings(path)
        assert not any("check the time zone" in note for row in preview.taken for note in row.notes)
        assert any("this computer's time zone (the bench clock's)" in words for words in preview.assumed)
        preview.commit()
        # 24 h; and 72 h on the wall are 71 h in truth
        assert [reading.age_h for reading in book.source().batch("MEA-01/1").readings] == [24, 71]


@needs_zones
@pytest.mark.parametrize("text", ["2026-03-29 02:30", "2026-10-25 02:30"])
def test_an_hour_that_is_not_there_or_there_twice_is_refused(berlin, text):
    with pytest.raises(RecordError) as refused:
        read_time(text, lambda: at("2026-11-01 08:00"))
    assert refused.value.code == "labbook.time"
    assert "write the offset" in refused.value.mend


@needs_zones
def test_the_clock_tells_the_doubled_hour_apart(berlin):
    """2:30 comes twice on 25 October: at 0:30 UTC with +02:00 and at 1:30 UTC with +01:00."""
    shown = [datetime(2026, 10, 25, hour, 30, tzinfo=UTC).astimezone(LOCAL).isoformat() for hour in (0, 1)]
    assert shown == ["2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"]
    assert abs(local_now() - datetime.now(UTC)) < timedelta(seconds=5)


def test_a_clock_with_a_fixed_offset_is_taken_at_its_word():
    zone = timezone(timedelta(hours=-5))
    now = datetime(2026, 7, 1, 12, tzinfo=zone)
    assert stamp(read_time("2026-01-01 08:00", lambda: now)) == "2026-01-01T08:00:00-05:00"
    assert offset_of(datetime(2026, 3, 29, 2, 30), zone) == zone


# ---------------------------------------------------------------- ages at the ends of their windows


@pytest.mark.parametrize(
    ("label", "inside", "outside"),
    [
        ("1 h", ("0:45", "1:15"), ("0:44", "1:16")),
        ("24 h", ("22:00", "26:00"), ("21:59", "26:01")),
        ("72 h", ("68:00", "76:00"), ("67:59", "76:01")),
        ("7 d", ("156:00", "180:00"), ("155:59", "180:01")),
    ],
)
def test_windows_hold_their_ends_and_not_a_minute_more(finished, clock, label, inside, outside):
    """1 h ± 15 min, 24 ± 2 h, 72 ± 4 h, 7 d ± 12 h (common practice, no source); 7 d are 168 h."""
    end = clock.now
    found = {}
    for number, text in enumerate((*inside, *outside)):
        hours, minutes = map(int, text.split(":"))
        moment = end + timedelta(hours=hours, minutes=minutes)
        finished.read_ph(f"4.{number}", temp="25 degC", at=moment.isoformat())
        reading = finished.view.readings[-1]
        assert abs(reading.age_h - Decimal(hours * 60 + minutes) / 60) <= Decimal("0.005")
        found[text] = age_window(label).contains(reading.age_h)
    assert found == {**dict.fromkeys(inside, True), **dict.fromkeys(outside, False)}


# ---------------------------------------------------------------- what is put right later was measured when it was


def test_a_reading_put_right_days_later_keeps_its_age(finished, clock):
    clock.later(hours=24)
    receipt = finished.read_ph("4.05", temp="25 degC")
    measured = finished.view.readings[0].measured_at
    clock.later(days=5)
    finished.correct(receipt, why="digits swapped", value="4.50")
    (reading,) = finished.view.readings
    assert (reading.value, reading.age_h, reading.measured_at) == (Decimal("4.50"), 24, measured)
    clock.later(days=1)
    finished.correct(receipt, why="by the printout", temp="24.8 degC")
    assert finished.view.readings[0].age_h == 24


def test_only_a_correction_of_the_time_moves_the_age(finished, clock):
    end = clock.now
    clock.later(hours=30)
    receipt = finished.read_ph("4.50", temp="25 degC")
    clock.later(days=3)
    finished.correct(receipt, why="read in the morning", at=(end + timedelta(hours=23)).isoformat())
    assert finished.view.readings[0].age_h == 23
    clock.later(days=1)
    finished.correct(receipt, why="digits", value="4.51")
    assert finished.view.readings[0].age_h == 23


def test_a_reading_given_its_time_keeps_its_age_when_another_part_is_put_right(finished, clock):
    moment = clock.now + timedelta(hours=72)
    clock.later(days=9)
    receipt = finished.read_ph("4.05", temp="25 degC", at=moment.isoformat())
    clock.later(days=2)
    finished.correct(receipt, why="digits swapped", value="4.50")
    assert finished.view.readings[0].age_h == 72
