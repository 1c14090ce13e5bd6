"""Flags by rule: what is suspect in a reading itself, each code with its words, and what is no flag."""

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.bench.methods import AgeWindow, Method, method
from kit.bench.readings import (
    Calibration,
    Instrument,
    Reading,
    constant_words,
    flags,
    implied_constant,
    missing_conditions,
    usable,
)

D = Decimal
VISCOMETER = Instrument(
    "VIS-1", "viscometer", {"disc 3": D(1000), "disc 4": D(2000), "disc 5": D(4000), "disc 6": D(10000)}
)
CALIBRATION = Calibration(
    "CAL-1",
    "PH-1",
    slope_pct=D("98"),
    offset_mv=D("-3"),
    buffers=(D("4.01"), D("7.00")),
    at="2026-03-02T08:00:00+01:00",
)
VISCOUS = Reading(
    7,
    "LIN-03/1",
    "viscosity",
    D(15600),
    "mPa.s",
    age_h=D(24),
    temp_c=D(25),
    method="viscosity",
    instrument="VIS-1",
    spindle="disc 5",
    rpm=D(10),
    torque_pct=D("39.0"),
    reading_time_s=D(60),
    container="100 mL jar",
)
PH = Reading(
    8,
    "LIN-03/1",
    "pH",
    D("4.60"),
    "1",
    age_h=D(24),
    temp_c=D(25),
    method="pH neat",
    instrument="PH-1",
    calibration="CAL-1",
    measured_at="2026-03-02T09:00:00+01:00",
)


def codes(reading, **known):
    known = (
        {"instrument": VISCOMETER} | known if reading.property == "viscosity" else {"calibration": CALIBRATION} | known
    )
    return [flag.code for flag in flags(reading, method(reading.method), **known)]


def test_good_readings_carry_no_flag():
    assert codes(VISCOUS) == []
    assert codes(PH) == []
    assert usable(PH, ())


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"value": D(40600), "torque_pct": D("101.5")}, "reading.torque_high"),  # the instrument's scale ends at 100 %
        (
            {"value": D(3960), "torque_pct": D("9.9")},
            "reading.torque_low",
        ),  # 10 % is the least, course note [viscometer-course-note]
        ({"temp_c": D("31.6")}, "reading.temperature"),
        ({"temp_c": D("25.6")}, "reading.temperature"),
        ({"temp_c": D("24.4")}, "reading.temperature"),
        ({"age_typed_h": D(27), "age_h": D("24.9")}, "reading.age_clock"),  # 2.1 h apart, the 24 h window allows 2 h
        ({"age_typed_h": D(72), "age_h": D(24)}, "reading.age_clock"),
        ({"age_typed_h": D(1), "age_h": D("1.5")}, "reading.age_clock"),
    ],
)
def test_flags_of_a_viscosity(changes, code):
    assert codes(replace(VISCOUS, **changes)) == [code]


@pytest.mark.parametrize(
    "changes",
    [
        {"value": D(40000), "torque_pct": D(100)},
        {"value": D(4000), "torque_pct": D(10)},
        {"temp_c": D("25.5")},
        {"temp_c": D("24.5")},
        {"age_typed_h": D(24), "age_h": D("25.9")},
        {"age_typed_h": D(24)},
        {"age_typed_h": D(24), "age_h": None},
        {"temp_c": None, "torque_pct": None},
    ],
)
def test_the_limits_themselves_are_allowed(changes):
    assert codes(replace(VISCOUS, **changes)) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"spindle": "disc 6", "value": D(43000), "torque_pct": D("43.0")},
        {"rpm": D(20), "value": D(7800)},
        {"container": "250 mL beaker"},
        {"reading_time_s": D(10)},
        {"storage": "40 degC"},
    ],
)
def test_another_spindle_speed_or_container_is_no_flag(changes):
    assert codes(replace(VISCOUS, **changes)) == []


def test_the_constant_of_the_spindle():
    # Disc 5, 10 rpm, 41.2 %, typed 8240: K = 8240 x 10 / 41.2 = 2000, not 4000; torque and speed imply 4000 x 41.2 / 10
    # = 16,480 mPa.s.
    wrong = replace(VISCOUS, value=D(8240), torque_pct=D("41.2"))
    assert implied_constant(wrong) == 2000
    found = flags(wrong, method("viscosity"), VISCOMETER)
    assert [flag.code for flag in found] == ["reading.constant"]
    assert "= 2000, VIS-1 with disc 5 has 4000" in found[0].words
    assert "imply 16480 mPa.s" in found[0].words
    twenty = replace(VISCOUS, rpm=D(20), value=D(3120), torque_pct=D(39))  # at 20 rpm 4000 x 39 / 20 = 7800
    assert "imply 7800 mPa.s" in flags(twenty, method("viscosity"), VISCOMETER)[0].words
    assert codes(replace(VISCOUS, value=D(15600), unit="")) == []  # taken for mPa.s where no unit was written
    # A decimal slip: 6800 at a typed 1.70 %, K = 40,000.
    assert codes(replace(VISCOUS, value=D(6800), torque_pct=D("1.70"))) == ["reading.torque_low", "reading.constant"]
    # Two percent either way: 4000 x 39 / 10 = 15600; 15912 is 2.00 % above, 15928 is 2.10 %.
    assert codes(replace(VISCOUS, value=D(15912))) == []
    assert codes(replace(VISCOUS, value=D(15928))) == ["reading.constant"]
    assert codes(replace(VISCOUS, value=D(15270))) == ["reading.constant"]  # 2.1 % below


def test_the_constant_check_does_not_claim_proof():
    words = constant_words(VISCOUS, VISCOMETER, D(2))
    assert "consistent, not proven" in words
    assert constant_words(replace(VISCOUS, spindle="disc 9"), VISCOMETER, D(2)) == ""


def test_the_constant_in_another_unit():
    assert codes(replace(VISCOUS, value=D("15.6"), unit="Pa.s")) == []
    assert codes(replace(VISCOUS, value=D(15600), unit="cP")) == []
    assert codes(replace(VISCOUS, value=D("8.24"), unit="Pa.s", torque_pct=D("41.2"))) == ["reading.constant"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"slope_pct": D(81)}, "calibration.slope"),
        ({"slope_pct": D("94.9")}, "calibration.slope"),
        ({"slope_pct": D("102.1")}, "calibration.slope"),
        ({"offset_mv": D("20.1")}, "calibration.offset"),
        ({"offset_mv": D("-21")}, "calibration.offset"),
        ({"buffers": (D("7.00"), D("10.01"))}, "calibration.bracket"),
        ({"buffers": (D("4.01"),)}, "calibration.bracket"),
        ({"instrument": "PH-2"}, "calibration.other_instrument"),
        ({"at": "2026-03-02T09:30:00+01:00"}, "calibration.after_reading"),
        ({"at": "2026-03-02T08:30:00+00:00"}, "calibration.after_reading"),  # half past nine on the reading's clock
    ],
)
def test_flags_of_a_calibration(changes, code):
    assert codes(PH, calibration=replace(CALIBRATION, **changes)) == [code]


@pytest.mark.parametrize(
    "changes",
    [
        {"slope_pct": D(95)},
        {"slope_pct": D(102)},
        {"offset_mv": D(-20)},
        {"buffers": (D("4.60"), D("7.00"))},
        {"at": "2026-03-02T09:00:00+01:00"},
        {"at": "yesterday"},
        {"at": "2026-03-02T10:00:00"},
        {"slope_pct": None, "offset_mv": None, "buffers": (), "at": None},
    ],
)
def test_calibrations_that_are_accepted(changes):
    assert codes(PH, calibration=replace(CALIBRATION, **changes)) == []


def test_a_bad_calibration_story():
    # Slope 81 %, buffers 7 and 10 for a value of 5.62: both are said.
    found = codes(
        replace(PH, value=D("5.62")), calibration=replace(CALIBRATION, slope_pct=D(81), buffers=(D(7), D(10)))
    )
    assert found == ["calibration.slope", "calibration.bracket"]


def test_age_windows_of_the_lab_decide_how_far_a_typed_age_may_be_off():
    reading = replace(VISCOUS, age_typed_h=D(24), age_h=D(27))
    assert codes(reading) == ["reading.age_clock"]
    assert codes(reading, windows=[AgeWindow("24 h", D(24), D(4))]) == []
    fortnight = replace(VISCOUS, age_typed_h=D(336), age_h=D(345))  # 9 h off; the closest window is 7 d with 12 h
    assert codes(fortnight) == []
    assert codes(replace(fortnight, age_h=D(350))) == ["reading.age_clock"]


def test_a_typed_age_at_the_edge_of_the_window_is_allowed():
    assert codes(replace(VISCOUS, age_typed_h=D(24), age_h=D(26))) == []
    assert codes(replace(VISCOUS, age_typed_h=D(24), age_h=D("26.1"))) == ["reading.age_clock"]


def test_limits_on_one_side_only():
    least = Method.read({"name": "pH neat", "property": "pH", "calibration": {"slope_low": "95"}})
    most = Method.read({"name": "pH neat", "property": "pH", "calibration": {"slope_high": "102"}})
    low, high = replace(CALIBRATION, slope_pct=D(80)), replace(CALIBRATION, slope_pct=D(110))
    assert "accepts at least 95 %" in flags(PH, least, calibration=low)[0].words
    assert "accepts at most 102 %" in flags(PH, most, calibration=high)[0].words
    assert flags(PH, least, calibration=high) == flags(PH, most, calibration=low) == ()
    assert "accepts 95 to 102 %" in flags(PH, method("pH neat"), calibration=low)[0].words


def test_conditions_that_are_missing():
    assert missing_conditions(VISCOUS, method("viscosity")) == ()
    bare = Reading(1, "X", "viscosity", D(1000), "mPa.s")
    assert set(missing_conditions(bare, method("viscosity"))) == {
        "method",
        "instrument",
        "spindle",
        "speed",
        "torque",
        "reading time",
        "container",
        "temperature",
        "age",
    }
    assert missing_conditions(replace(PH, calibration=""), method("pH neat")) == ("calibration",)
    assert missing_conditions(replace(PH, age_h=None, age_typed_h=D(24)), method("pH neat")) == ()
    assert missing_conditions(replace(VISCOUS, method="", container=""), method("viscosity")) == ("method", "container")
    own = Method.read({"name": "x", "property": "pH", "needs": ["temp"], "temp": {"value": "25", "tolerance": "1"}})
    assert missing_conditions(replace(PH, temp_c=None), own) == ("temperature",)
    assert missing_conditions(Reading(1, "X", "grain", None, "", text="none", age_h=D(168)), None) == ("method",)


def test_what_may_enter_a_mean():
    high = replace(VISCOUS, value=D(40600), torque_pct=D("101.5"))
    assert not usable(high, flags(high, method("viscosity"), VISCOMETER))
    assert not usable(replace(VISCOUS, void="wrong jar"), ())
    assert not usable(replace(VISCOUS, value=None), ())
    assert usable(replace(VISCOUS, value=None, text="none"), ())
