"""A calibration at the bench: its age, the check that closes it, and what both make suspect in a reading."""

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.bench.calibration import Calibration, ClosingCheck, calibration_flags, closing_tolerance
from kit.bench.methods import Method, method

D = Decimal
DAY = "2026-03-02T{}+01:00"
CALIBRATION = Calibration(
    "CAL-1",
    "PH-1",
    slope_pct=D("98"),
    offset_mv=D("-3"),
    buffers=(D("4.01"), D("7.00")),
    temp_c=D(25),
    at=DAY.format("08:00:00"),
)
ROW = {"name": "pH neat", "property": "pH", "unit": "1"}


def check(read, at, buffer="4.01", **more):
    return ClosingCheck(D(buffer), D(read), DAY.format(at), **more)


def codes(calibration, at="09:00:00", rule=None, value="4.60"):
    found = calibration_flags(
        calibration, rule or method("pH neat"), value=D(value), instrument="PH-1", measured_at=at and DAY.format(at)
    )
    return [flag.code for flag in found]


def closed(*checks):
    return replace(CALIBRATION, closings=checks)


def test_a_buffer_that_comes_back_within_five_hundredths_closes_the_run():
    """Within 0.05 of the buffer (common practice, no source); the limit itself is allowed."""
    assert closing_tolerance() == D("0.05")
    for read in ("4.01", "4.05", "4.06", "3.96"):
        assert codes(closed(check(read, "17:00:00"))) == [], read
    for read in ("4.07", "3.95", "4.31"):
        assert codes(closed(check(read, "17:00:00"))) == ["calibration.closing"], read


def test_no_closing_check_is_a_note_not_a_flag():
    assert codes(CALIBRATION) == []
    assert CALIBRATION.closing_words() == "no closing check"
    assert closed(check("4.05", "17:00:00")).closing_words() == "4.01 came back as 4.05 (+0.04): within 0.05"
    out = closed(check("3.9", "17:00:00")).closing_words()
    assert out == "4.01 came back as 3.9 (−0.11): out by more than 0.05"


def test_only_readings_beside_a_check_that_is_out_are_flagged():
    """Good at noon, out at five: the morning stands, the afternoon and what follows does not."""
    both = closed(check("4.02", "12:00:00"), check("4.20", "17:00:00"))
    assert codes(both, "09:00:00") == []
    assert codes(both, "12:00:00") == []
    assert codes(both, "12:01:00") == ["calibration.closing"]
    assert codes(both, "18:00:00") == ["calibration.closing"]
    recovered = closed(check("4.20", "12:00:00"), check("4.02", "17:00:00"))
    assert codes(recovered, "09:00:00") == ["calibration.closing"]
    assert codes(recovered, "13:00:00") == ["calibration.closing"]  # out before it, whatever came later
    assert codes(recovered, "18:00:00") == []


def test_each_buffer_is_followed_by_itself():
    """Both buffers read again at five, 4.01 good and 7.00 out soon after: the first does not clear the day."""
    both = closed(check("4.02", "17:00:00"), check("7.09", "17:02:00", "7.00"))
    assert codes(both, "09:00:00") == ["calibration.closing"]
    noon = closed(check("7.01", "12:00:00", "7.00"), *both.closings)
    assert codes(noon, "09:00:00") == []
    assert codes(noon, "13:00:00") == ["calibration.closing"]
    twice = closed(check("4.02", "17:00:00"), check("4.09", "17:00:00"))
    assert codes(twice, "09:00:00") == ["calibration.closing"]


def test_checks_are_ordered_by_time_not_by_entry():
    late_entry = closed(check("4.20", "17:00:00"), check("4.02", "12:00:00"))
    assert codes(late_entry, "09:00:00") == []


def test_a_reading_without_a_time_is_flagged_by_any_check_that_is_out():
    assert codes(closed(check("4.02", "12:00:00"), check("4.20", "17:00:00")), at=None) == ["calibration.closing"]
    assert codes(closed(check("4.02", "12:00:00")), at=None) == []


def test_a_voided_check_counts_for_nothing():
    void = closed(check("4.20", "17:00:00", void="typed for another meter"))
    assert codes(void) == []
    assert void.closing_words() == "no closing check"


def test_a_method_sets_its_own_tolerance_and_age():
    strict = Method.read(ROW | {"calibration": {"closing_tolerance": "0.02", "max_age": "4 h"}})
    assert (strict.closing_tolerance, strict.calibration_max_age_h) == (D("0.02"), D(4))
    assert codes(closed(check("4.04", "17:00:00")), rule=strict) == ["calibration.closing"]
    assert codes(CALIBRATION, "12:00:00", strict) == []
    assert codes(CALIBRATION, "12:01:00", strict) == ["calibration.age"]
    assert codes(CALIBRATION, "07:59:00", strict) == ["calibration.after_reading"]
    assert codes(CALIBRATION, "23:00:00") == []  # the kit's own method sets no age
    assert Method.read(strict.row()) == strict


def test_a_day_is_an_age_as_well():
    assert Method.read(ROW | {"calibration": {"max_age": "1 d"}}).calibration_max_age_h == D(24)


def test_acceptance_windows_are_settings():
    """Some manuals accept 92 to 102 % and 15 mV, others 95 to 105 % and 30 mV (from memory)."""
    worn = replace(CALIBRATION, slope_pct=D("93"), offset_mv=D("18"))
    wide = Method.read(ROW | {"calibration": {"slope_low": "92", "slope_high": "102"}})
    narrow = Method.read(ROW | {"calibration": {"offset_low": "-15", "offset_high": "15"}})
    assert codes(worn, rule=wide) == []
    assert codes(worn, rule=narrow) == ["calibration.offset"]
    assert codes(worn) == ["calibration.slope"]


def test_the_line_through_the_millivolts():
    """171.2 and 7.4 mV in 4.005 and 6.865: 96.81 %, -0.33 mV, 120.0 mV is pH 4.899 (by hand)."""
    held = replace(CALIBRATION, millivolts=(D("171.2"), D("7.4")), buffers=(D("4.005"), D("6.865")))
    assert held.electrode.slope_pct == pytest.approx(96.81, abs=0.01)
    assert held.electrode.ph(120.0) == pytest.approx(4.899, abs=0.001)
    assert CALIBRATION.electrode is None
    assert held.buffer_words() == "4.005 (171.2 mV), 6.865 (7.4 mV)"
    named = replace(held, buffer_names=("phthalate", "phosphate"))
    assert named.buffer_words() == "4.005 (phthalate, 171.2 mV), 6.865 (phosphate, 7.4 mV)"
    assert (CALIBRATION.buffer_words(), Calibration("CAL-2", "PH-1").buffer_words()) == ("4.01, 7.00", "")


READ_IN_MV = replace(
    CALIBRATION,
    slope_pct=D("99.7"),
    offset_mv=D("-1.5"),
    buffers=(D("4.01"), D("7.00")),
    millivolts=(D("174.9"), D("-1.5")),
    table="bottle",
    closings=(check("4.03", "17:00:00"),),
)


def test_a_calibration_shows_itself_as_a_table():
    """Slope (174.9 + 1.5) / 2.99 = 58.997 mV per pH, so no voltage at pH 7 - 1.5 / 58.997 = 6.975, printed 6.97."""
    table = READ_IN_MV.report_table()
    assert dict(table.rows) == {
        "buffer 4.01": "174.9 mV",
        "buffer 7.00": "−1.5 mV",
        "pH of the buffers from": "the label of the bottle",
        "temperature": "25 °C",
        "slope": "99.7 % of theory",
        "offset at pH 7": "−1.5 mV",
        "zero point": "pH 6.97",
        "closing check": "4.01 came back as 4.03 (+0.02): within 0.05",
    }
    assert table.title == "Calibration CAL-1 of PH-1, 2026-03-02T08:00:00+01:00"
    assert "174.9 mV" in READ_IN_MV._repr_html_()
    assert "zero point" in str(READ_IN_MV)


def test_what_of_a_calibration_was_not_noted_is_not_recorded_and_never_zero():
    told = dict(Calibration("CAL-2", "PH-1", note="<as shown>").report_table().rows)
    assert told["slope"] == told["offset at pH 7"] == told["buffers"] == told["temperature"] == "not recorded"
    assert told["zero point"] == "not known without millivolts"
    assert told["closing check"] == "no closing check"
    assert dict(CALIBRATION.report_table().rows)["buffer 4.01"] == "millivolts not recorded"
    assert "&lt;as shown&gt;" in Calibration("CAL-2", "PH-1", note="<as shown>")._repr_html_()


def test_three_buffers_tell_how_straight_the_line_is():
    """178, 0, -181 mV at pH 4, 7, 10: slope -359 / 6 = -59.833 mV per pH, mean -1 mV.

    The line gives -1 + 59.833 x 3 = 178.5, -1 and -180.5; read less line -0.5, +1.0 and -0.5 mV: 1.0 / 59.833 = 0.017.
    """
    three = replace(CALIBRATION, buffers=(D(4), D(7), D(10)), millivolts=(D(178), D(0), D(-181)))
    assert dict(three.report_table().rows)["buffer farthest off the line"] == "0.017 pH"


def test_a_primary_buffer_is_named():
    named = replace(READ_IN_MV, table="a primary table", buffer_names=("phthalate", "phosphate"))
    rows = dict(named.report_table().rows)
    assert rows["buffer 4.01 (phthalate)"] == "174.9 mV"
    assert rows["pH of the buffers from"] == "a primary table"
