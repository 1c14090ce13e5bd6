"""The pull calendar and its iCalendar file: dates by hand, the bytes by RFC 5545 read anew here."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from icalendar import Calendar

import kit
from kit.bench.pull_calendar import pull_calendar
from kit.errors import KitError

START = datetime.fromisoformat("2026-05-21T10:10+02:00")  # a Thursday


@pytest.fixture
def calendar():
    protocol = kit.plan_stability(
        "Kamille, Öl; und Hafer",  # letters of two octets, and signs that must be escaped
        conditions=["5 degC", "25 degC", "45 degC", "freeze-thaw 3 cycles"],
        stations=["1 week", "4 weeks ± 2 d"],
    )
    return pull_calendar(protocol, {"CHA-04/1": START, "CHA-07/1": START + timedelta(days=1)}, "CHA-stability")


def test_days_windows_and_the_rest(calendar):
    """Four weeks after Thursday 21 May is Thursday 18 June; ± 2 d; read a day later."""
    pulls = {(pull.batch, pull.place, pull.station): pull for pull in calendar.pulls}
    assert len(pulls) == 2 * (1 + 3 * 2 + 1)
    warm = pulls["CHA-04/1", "45 degC", "4 weeks"]
    assert (warm.due, warm.earliest, warm.latest, warm.read_at) == tuple(
        datetime.fromisoformat(f"2026-06-{day}T10:10+02:00") for day in ("18", "16", "20", "19")
    )
    assert warm.jars == 1 and "pH" in warm.properties and "separation after centrifuge" not in warm.properties
    assert pulls["CHA-04/1", "25 degC", "4 weeks"].jars == 2  # one more for the laboratory
    assert "microbiology" in pulls["CHA-04/1", "25 degC", "4 weeks"].properties
    assert pulls["CHA-04/1", "freeze-thaw 3 cycles", "6 d"].due == START + timedelta(days=6)
    baseline = pulls["CHA-04/1", "baseline", "baseline"]
    assert baseline.latest - baseline.earliest == timedelta(hours=8)
    assert "separation after centrifuge" in baseline.properties
    rows = [[str(cell) for cell in row] for row in calendar.table().rows]
    assert rows[0][0] == "Thu 2026-05-21 10:10" and rows[0][3] == "jars go into storage"
    assert [row[3] for row in rows if row[:3] == ["Thu 2026-06-18 10:10", "CHA-04/1", "4 weeks"]] == ["5, 25, 45 °C"]


def test_lines_end_and_fold_as_the_rfc_asks(calendar):
    """RFC 5545, 3.1: CRLF, at most 75 octets a line without it, a folded line goes on after one space."""
    raw = calendar.icalendar().encode()
    assert raw.endswith(b"END:VCALENDAR\r\n") and b"\n" not in raw.replace(b"\r\n", b"")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    unfolded = raw.replace(b"\r\n ", b"").decode()
    assert "Kamille\\, Öl\\; und Hafer\\n" in unfolded  # 3.3.11: comma, semicolon and line break are escaped
    events = unfolded.count("BEGIN:VEVENT")
    assert events == unfolded.count("END:VEVENT") == 2 * (1 + 2 * 3)  # baseline; pull and reading of three days
    for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"):
        assert len(re.findall(rf"^{name}:", unfolded, re.M)) == events
    assert unfolded.startswith("BEGIN:VCALENDAR\r\nPRODID:") and "\r\nVERSION:2.0\r\n" in unfolded


def test_the_times_are_those_of_the_pulls_in_utc(calendar):
    """10:10 at an offset of two hours is 08:10 UTC."""
    text = calendar.icalendar()
    assert "DTSTART:20260618T081000Z" in text and "DTSTART:20260619T081000Z" in text
    read = Calendar.from_ical(text)
    found = [event for event in read.walk("VEVENT") if event["summary"].startswith("Pull CHA-04/1, 4 weeks")]
    assert len(found) == 1
    assert found[0].decoded("dtstart") == datetime(2026, 6, 18, 8, 10, tzinfo=UTC)
    assert "Within 2026-06-16 10:10 to 2026-06-20 10:10" in str(found[0]["description"])
    assert "Let rest at 25 °C: 5, 45 °C" in str(found[0]["description"])


def test_the_same_protocol_gives_the_same_bytes_and_every_event_its_own_name(calendar):
    assert calendar.icalendar() == calendar.icalendar()
    names = [str(event["uid"]) for event in Calendar.from_ical(calendar.icalendar()).walk("VEVENT")]
    assert len(set(names)) == len(names)
    moved = pull_calendar(
        kit.plan_stability("other words", conditions=["25 degC"], stations=["4 weeks"]),
        {"CHA-04/1": START},
        calendar.name,
    )
    again = [str(event["uid"]) for event in Calendar.from_ical(moved.icalendar()).walk("VEVENT")]
    assert set(again) <= set(names)  # by protocol, batch and station: a new file updates the old events
    stamped = calendar.icalendar(datetime(2026, 1, 1, tzinfo=UTC))
    assert "DTSTAMP:20260101T000000Z" in stamped


def test_it_is_stored_as_it_is(calendar, tmp_path):
    path = calendar.save(tmp_path / "pulls.ics")
    assert path.read_bytes() == calendar.icalendar().encode()
    with pytest.raises(KitError) as caught:
        calendar.save(tmp_path / "nowhere" / "pulls.ics")
    assert caught.value.code == "stability.calendar_file"


def test_a_start_without_an_offset_is_refused(calendar):
    with pytest.raises(KitError) as caught:
        pull_calendar(kit.plan_stability("x"), {"A/1": datetime(2026, 5, 21, 10)})
    assert caught.value.code == "stability.start"
