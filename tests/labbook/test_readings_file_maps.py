"""Files of instruments through column maps: what is taken in, what is left out on purpose, what is refused and why.

The three exports are invented; their shapes (titles above the header, units below it, statistics under the rows, a
decimal comma, days before months, dates as dates) are common practice, no source. Expected readings are read off the
file by eye.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from decimal import Decimal

import openpyxl
import pytest

from kit.bench.comparability import SHOWN, against_method
from kit.bench.methods import methods
from kit.errors import KitError, ReadingsFileError
from kit.labbook.readings_map import propose_map, read_mapped
from kit.labbook.readings_times import iso_time
from kit.tabular import ColumnMap

VISCOMETER = """Flow report;;;;;;
Device;VIS-1;;;;;

Sample ID;Date/Time;Visc;Torque;Speed;Temp.;User
;;mPa·s;%;rpm;°C;
S-17;05.03.2026 09:05;19000,5;47,5;10;25,0;bench 2
S-17;06.03.2026 09:05;19.400,0;48,5;10;25,1;bench 2
Mean;;19200,3;48,0;;;
SD;;282,5;0,7;;;
"""
VISCOMETER_MAP = ColumnMap(
    name="viscometer, flow report",
    columns={
        "Sample ID": "batch",
        "Date/Time": "measured_at",
        "Visc": "value",
        "Torque": "torque_pct",
        "Speed": "rpm",
        "Temp.": "temp",
    },
    ignored=("User",),
    words={"batch": {"s-17": "MEA-01/1"}},
    skipped=("Mean", "SD"),
    units_row=True,
    decimal_mark=",",
    date_order="DMY",
    timezone="+01:00",
    declared={"property": "viscosity", "instrument": "VIS-1", "spindle": "disc 5"},
)
MIXED = (
    "Lot\tWhen\tpH\tpH temp (F)\tViscosity (Pa.s)\tDial %\tRemarks\n"
    "MEA-01/1\t3/3/26 9:10 AM\t4.59\t77\t\t\tfirst\n"
    "MEA-01/1\t3/5/2026 1:05:30 PM\t4.55\t77\t19\t47.5\tboth\n"
)
MIXED_MAP = ColumnMap(
    name="mixed log",
    columns={
        "Lot": "batch",
        "When": "measured_at",
        "pH": "value: pH",
        "pH temp (F)": "temp: pH",
        "Viscosity (Pa.s)": "value: viscosity",
        "Dial %": "torque_pct: viscosity",
        "Remarks": "note",
    },
    date_order="MDY",
)


@pytest.fixture
def book(bench, finished, clock):
    """A lab book with one batch, finished at 9:00 on 2 March, and a clock that stands at the end of March."""
    clock.later(days=28)
    return bench.book


@pytest.fixture
def save(tmp_path):
    def write(content: str, name: str = "export.csv"):
        path = tmp_path / name
        path.write_text(content, encoding="utf-8")
        return path

    return write


@pytest.fixture
def meter(tmp_path):
    """A pH meter's workbook: titles, a date and a time column kept as such, numbers as numbers, a second sheet."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    rows = [
        ["Meter log"],
        [],
        ["Sample Name", "Date", "Time", "pH", "Temp. °C", "mV", "Cal."],
        ["MEA-01/1", date(2026, 3, 3), time(9, 10), 4.59, 25, 141.2, "CAL-1"],
        ["MEA-01/1", date(2026, 3, 5), time(9, 5), 4.6, 25.1, 140.6, "CAL-1"],
    ]
    for row in rows:
        sheet.append(row)
    book.create_sheet("About").append(["firmware 7"])
    path = tmp_path / "meter.xlsx"
    book.save(path)
    return path


METER_MAP = ColumnMap(
    name="pH meter log",
    columns={
        "Sample Name": "batch",
        "Date": "date",
        "Time": "time",
        "pH": "value: pH",
        "Temp. °C": "temp",
        "Cal.": "calibration",
    },
    ignored=("mV",),
    sheet="Log",
    declared={"method": "pH neat", "instrument": "PH-1"},
)


def readings(book):
    return book.source().batch("MEA-01/1").readings


# ---------------------------------------------------------------- three exports


def test_a_viscometer_report_with_titles_units_and_statistics(book, save):
    preview = book.import_readings(save(VISCOMETER), column_map=VISCOMETER_MAP)
    assert [reason.code for reason in preview.refused] == ["units.mixed_marks"]  # 19.400,0 in row 7
    assert preview.refused[0].row == 7
    preview = book.import_readings(save(VISCOMETER.replace("19.400", "19400")), column_map=VISCOMETER_MAP)
    told = " ".join(preview.assumed)
    assert "columns left out by the map: User" in told
    assert "rows left out by the map, which begin with Mean or SD: 8, 9" in told
    assert "days are written day.month.year" in told
    assert preview.commit().added == 2
    first, second = readings(book)
    assert (first.property, first.value, first.unit) == ("viscosity", Decimal("19000.5"), "mPa.s")
    assert (first.torque_pct, first.rpm, first.temp_c) == (Decimal("47.5"), 10, Decimal("25.0"))
    assert (first.measured_at, second.measured_at) == ("2026-03-05T09:05:00+01:00", "2026-03-06T09:05:00+01:00")
    assert (first.instrument, first.spindle) == ("VIS-1", "disc 5")
    assert first.declared == {"instrument", "spindle"}
    assert second.value == Decimal("19400.0")
    assert book.check().ok


def test_a_meter_workbook_with_dates_as_dates(book, meter):
    preview = book.import_readings(meter, column_map=METER_MAP, timezone="+02:00")
    assert "sheet Log, decimal mark a point" in preview.assumed[0]
    preview.commit()
    first, second = readings(book)
    assert [found.value for found in (first, second)] == [Decimal("4.59"), Decimal("4.6")]
    assert (first.measured_at, first.temp_c) == ("2026-03-03T09:10:00+02:00", 25)
    assert (first.method, first.calibration, first.instrument) == ("pH neat", "CAL-1", "PH-1")
    assert first.declared == {"method", "instrument"}
    assert against_method(first, methods()["pH neat"], None).state == SHOWN  # declared, so shown and not tested
    (entry,) = book.store.entries_of_kind("import")
    assert entry.body["sheet"] == "Log"
    assert ColumnMap.from_row(entry.body["column_map"]) == METER_MAP


def test_a_row_with_several_values_gives_several_readings_each_with_its_own_conditions(book, save):
    """77 degF = 25 degC; 19 Pa.s = 19000 mPa.s; 1:05:30 PM is 13:05:30."""
    assert book.import_readings(save(MIXED), column_map=MIXED_MAP).commit().added == 3
    first, second, third = readings(book)
    assert [found.property for found in (first, second, third)] == ["pH", "pH", "viscosity"]
    assert (first.temp_c, first.torque_pct, first.note) == (25, None, "first")
    assert first.measured_at == "2026-03-03T09:10:00+01:00"
    assert (third.value, third.unit, third.torque_pct, third.temp_c) == (19000, "mPa.s", Decimal("47.5"), None)
    assert (third.measured_at, third.note) == ("2026-03-05T13:05:30+01:00", "both")
    assert second.value == Decimal("4.55")


def test_the_same_export_again_is_recognised(book, save):
    path = save(VISCOMETER.replace("19.400", "19400"))
    book.import_readings(path, column_map=VISCOMETER_MAP).commit()
    again = book.import_readings(path, column_map=VISCOMETER_MAP)
    assert (len(again.new), len(again.known)) == (0, 2)


def test_a_map_in_a_file_does_what_the_object_does(book, save, tmp_path):
    path = VISCOMETER_MAP.save(tmp_path / "viscometer.toml")
    preview = book.import_readings(save(VISCOMETER.replace("19.400", "19400")), column_map=path)
    assert preview.column_map == VISCOMETER_MAP
    assert len(preview.new) == 2
    with pytest.raises(ReadingsFileError) as refused:
        book.import_readings(save(VISCOMETER), column_map=tmp_path / "other.toml")
    assert refused.value.code == "table.map_missing"


# ---------------------------------------------------------------- what is refused


def test_a_sample_that_the_map_does_not_translate_keeps_the_file_out(book, save):
    before = book.store.heads()
    text = VISCOMETER.replace("19.400", "19400").replace("S-17;06", "S-18;06")
    preview = book.import_readings(save(text), column_map=VISCOMETER_MAP)
    assert [(reason.row, reason.code) for reason in preview.refused] == [(7, "import.batch")]
    with pytest.raises(ReadingsFileError):
        preview.commit()
    assert book.store.heads() == before


def test_statistics_that_are_not_named_are_refused_not_recorded(book, save):
    chosen = replace(VISCOMETER_MAP, skipped=("Mean",))
    preview = book.import_readings(save(VISCOMETER.replace("19.400", "19400")), column_map=chosen)
    assert [(reason.row, reason.column) for reason in preview.refused] == [(9, "batch")]


@pytest.mark.parametrize(
    ("change", "code", "says"),
    [
        ({"columns": {**VISCOMETER_MAP.columns, "Spindle": "spindle"}}, "import.map_fit", "no column 'Spindle'"),
        ({"ignored": ()}, "import.map_fit", "what to do with 'User'"),
        ({"columns": {**VISCOMETER_MAP.columns, "Visc": "result"}}, "import.map_field", "'result'"),
        ({"columns": {**VISCOMETER_MAP.columns, "Speed": "value"}}, "import.map_field", "two columns"),
        ({"columns": {**VISCOMETER_MAP.columns, "Visc": "note"}}, "import.map_field", "no column is mapped to a value"),
        ({"columns": {**VISCOMETER_MAP.columns, "Visc": "value: pH"}}, "import.map_field", "named twice"),
        ({"declared": {"instrument": "VIS-1"}}, "import.map_field", "which property"),
        ({"declared": {"property": "viscosity", "replicate": "2"}}, "import.declared", "replicate"),
        ({"declared": {"property": "viscosity", "colour": "red"}}, "import.map_field", "colour"),
        ({"date_order": "YMD"}, "import.map_field", "YMD"),
        ({"units": {"Sample ID": "g"}}, "import.map_field", "takes no unit"),
        ({"header_row": 3}, "import.header", "row 3"),
        ({"delimiter": "x"}, "import.delimiter", "semicolon"),
        ({"timezone": "Mars/Base"}, "import.timezone", "+02:00"),
    ],
)
def test_a_map_that_does_not_hold_together_is_refused_by_name(book, save, change, code, says):
    with pytest.raises(KitError) as refused:
        book.import_readings(save(VISCOMETER), column_map=replace(VISCOMETER_MAP, **change))
    assert refused.value.code == code
    assert says in str(refused.value)
    assert "To mend" in str(refused.value)


def test_a_unit_of_the_wrong_kind_below_the_header_is_refused(book, save):
    with pytest.raises(ReadingsFileError) as refused:
        book.import_readings(save(VISCOMETER.replace(";rpm;°C;", ";rpm;g;")), column_map=VISCOMETER_MAP)
    assert refused.value.code == "import.column_unit"


def test_a_day_in_the_other_order_is_refused_by_the_calendar(book, save):
    text = MIXED.replace("3/3/26", "13/3/26")
    preview = book.import_readings(save(text), column_map=MIXED_MAP, units={})
    assert "import.time" in {reason.code for reason in preview.refused}


def test_a_row_without_any_value_is_refused(book, save):
    text = MIXED.replace("\t4.59\t77", "\t\t77")
    preview = book.import_readings(save(text), column_map=MIXED_MAP)
    assert (2, "value") in {(reason.row, reason.column) for reason in preview.refused}


def test_a_workbook_with_a_column_of_texts_with_commas_keeps_numbers_and_texts_apart(book, tmp_path):
    """A sheet where one cell was typed as the text "4,61" and the next is the number 4.59."""
    sheet = openpyxl.Workbook()
    for row in (
        ["batch", "property", "value", "measured_at", "temp [degC]"],
        ["MEA-01/1", "pH", "4,61", datetime(2026, 3, 3, 9, 10), 25],
        ["MEA-01/1", "pH", 4.59, datetime(2026, 3, 4, 9, 10), 25.5],
    ):
        sheet.active.append(row)
    path = tmp_path / "typed.xlsx"
    sheet.save(path)
    assert book.import_readings(path).commit().added == 2
    assert [found.value for found in readings(book)] == [Decimal("4.61"), Decimal("4.59")]
    assert [found.temp_c for found in readings(book)] == [25, Decimal("25.5")]


# ---------------------------------------------------------------- proposals and times


def test_a_first_map_is_proposed_for_a_person_to_look_at(save, meter):
    found = propose_map(save(VISCOMETER))
    assert found.columns == {
        "Sample ID": "batch",
        "Date/Time": "measured_at",
        "Visc": "value: viscosity",
        "Torque": "torque_pct",
        "Speed": "rpm",
        "Temp.": "temp",
        "User": "operator",
    }
    assert (found.header_row, found.delimiter) == (4, ";")
    found = propose_map(meter, sheet="Log")
    assert found.columns["pH"] == "value: pH"
    assert (found.sheet, found.ignored) == ("Log", ("mV", "Cal."))
    found = propose_map(save("Sample ID,Parameter,Result,Units,Timestamp\nA/1,pH,4.5,,2026-03-03 09:10\n"))
    assert found.columns == {
        "Sample ID": "batch",
        "Parameter": "property",
        "Result": "value",
        "Units": "unit",
        "Timestamp": "measured_at",
    }


def test_a_proposal_reads_the_file_it_was_made_for(save):
    path = save("Sample ID,Parameter,Result,Units,Timestamp\nA/1,pH,4.5,,2026-03-03 09:10\n")
    (row,) = read_mapped(path, propose_map(path)).rows
    assert row.cells == {
        "batch": "A/1",
        "property": "pH",
        "value": "4.5",
        "unit": "",
        "measured_at": "2026-03-03 09:10",
    }


@pytest.mark.parametrize(
    ("cell", "order", "iso"),
    [
        ("05.03.2026 09:05", "DMY", "2026-03-05 09:05"),
        ("5/3/2026 9:05:07", "MDY", "2026-05-03 09:05:07"),
        ("5-3-26, 9:05", "DMY", "2026-03-05 09:05"),
        ("12/31/2026 12:00 AM", "MDY", "2026-12-31 00:00"),
        ("12/31/2026 12:30 p.m.", "MDY", "2026-12-31 12:30"),
        ("12/31/2026 13:30 PM", "MDY", "2026-12-31 13:30 PM"),
        ("2026-03-05 09:05", "DMY", "2026-03-05 09:05"),
        ("tomorrow", "DMY", "tomorrow"),
    ],
)
def test_days_written_the_local_way(cell, order, iso):
    """12:00 AM is midnight and 12:30 p.m. half an hour past noon: NIST, "Times of Day FAQs" (from memory)."""
    assert iso_time(cell, order) == iso


# ---------------------------------------------------------------- what instruments and spreadsheets do to cells

PLAIN = {"Sample": "batch", "When": "measured_at", "Visc (mPa.s)": "value"}
PLAIN_MAP = ColumnMap(columns=PLAIN, declared={"property": "viscosity"})


def one_row(when: str, value: str = "19000", extra: str = "", head: str = "") -> str:
    return f"Sample;When;Visc (mPa.s){head}\nMEA-01/1;{when};{value}{extra}\n"


@pytest.mark.parametrize(
    ("when", "mend"),
    [
        ("03.03.2026 09:10", 'date_order = "DMY"'),
        ("03/04/2026 9:10 AM", '"MDY" for 12/31/2026'),
        ("2026-03-03", "add the time"),
        ("3/3/2026", "add the time"),
        ("9:10 AM", "the day is missing"),
        ("46084.382", "date and time format"),
        ("46084 9:10", "date and time format"),
        ("yesterday", "give the age"),
    ],
)
def test_a_time_that_cannot_be_read_is_refused_with_what_to_do_about_it(book, save, when, mend):
    """Which of 3 April and 4 March "03/04/2026" is, nobody can tell; a day alone gives no age in hours."""
    preview = book.import_readings(save(one_row(when, "19000.5")), column_map=PLAIN_MAP)
    assert [(reason.row, reason.column, reason.code) for reason in preview.refused] == [
        (2, "measured_at", "import.time")
    ]
    assert mend in preview.refused[0].mend
    assert preview.new == ()


def test_an_hour_of_thirteen_with_pm_is_refused_and_one_of_twelve_is_read(book, save):
    """12:10 AM is ten past midnight, 12:10 PM ten past noon (NIST, "Times of Day FAQs", from memory)."""
    text = one_row("2026-03-03 12:10 AM") + "MEA-01/1;2026-03-03 12:10 PM;19001\nMEA-01/1;2026-03-03 13:10 PM;19002\n"
    preview = book.import_readings(save(text), column_map=PLAIN_MAP)
    assert [row.measured_at for row in preview.taken] == ["2026-03-03T00:10:00+01:00", "2026-03-03T12:10:00+01:00"]
    assert [(reason.row, reason.code) for reason in preview.refused] == [(4, "import.time")]
    assert "1..12" in preview.refused[0].what


@pytest.mark.parametrize(
    ("cell", "rpm"), [("10 1/min", 10), ("10 min-1", 10), ("10", 10), ("0.5 1/min", Decimal("0.5")), ("60 /min", 60)]
)
def test_a_speed_per_minute_is_not_run_together_with_its_unit(book, save, cell, rpm):
    """ "10 1/min" are ten turns a minute, not 101."""
    for head, map_ in ((";N", {**PLAIN, "N": "rpm"}), (";N (1/min)", {**PLAIN, "N (1/min)": "rpm"})):
        text = one_row("2026-03-03 09:10", extra=f";{cell}", head=head)
        preview = book.import_readings(save(text), column_map=replace(PLAIN_MAP, columns=map_, decimal_mark="."))
        assert [Decimal(row.body["rpm"]) for row in preview.taken] == [rpm]


@pytest.mark.parametrize(
    ("cell", "value"),
    [("19 000", 19000), ("19'000", 19000), ("19\u202f000", 19000), ("1 234 567", 1234567), ("1.9e4", 19000)],
)
def test_thousands_apart_by_spaces_or_apostrophes_are_one_number(book, save, cell, value):
    (row,) = book.import_readings(save(one_row("2026-03-03 09:10", cell)), column_map=PLAIN_MAP).taken
    assert Decimal(row.body["value"]) == value


@pytest.mark.parametrize("cell", ["1 9000", "19 5", "190 00", "1'9000", "19,5,5", "---", "OL", ">200000", "-19000"])
def test_what_is_no_number_or_more_than_one_is_refused(book, save, cell):
    preview = book.import_readings(
        save(one_row("2026-03-03 09:10", cell)), column_map=replace(PLAIN_MAP, decimal_mark=".")
    )
    assert [(reason.row, reason.column) for reason in preview.refused] == [(2, "value")]
    assert preview.refused[0].mend


def test_a_sign_for_no_reading_is_named_in_the_map_or_refused_with_that_advice(book, save):
    text = "Sample;When;pH;Visc (mPa.s);T %\nMEA-01/1;2026-03-03 09:10;4.5;---;---\n"
    columns = {
        "Sample": "batch",
        "When": "measured_at",
        "pH": "value: pH",
        "Visc (mPa.s)": "value: viscosity",
        "T %": "torque_pct: viscosity",
    }
    preview = book.import_readings(save(text), column_map=ColumnMap(columns=columns))
    assert [
        (reason.column, "words.value" in reason.mend) for reason in preview.refused if reason.column == "value"
    ] == [("value", True)]
    told = ColumnMap(columns=columns, words={"value": {"---": ""}, "torque_pct": {"---": ""}})
    preview = book.import_readings(save(text), column_map=told)
    assert [(row.body["property"], row.body["value"]) for row in preview.taken] == [("pH", "4.5")]
    assert preview.refused == ()


def test_a_negative_torque_comes_in_and_is_flagged(book, save):
    """A torque below zero: the zero or the direction is wrong. Kept as shown, with the typographic minus too."""
    for minus in "-\u2212":
        text = one_row("2026-03-03 09:10", "150", extra=f";{minus}3.2", head=";T %")
        preview = book.import_readings(
            save(text), column_map=replace(PLAIN_MAP, columns={**PLAIN, "T %": "torque_pct"}), method="viscosity"
        )
        (row,) = preview.taken
        assert row.body["torque_pct"] == "-3.2"
        assert "reading.torque_none" in str(preview)


def test_a_sheet_that_keeps_a_day_as_its_midnight_beside_a_time_is_read(book, tmp_path):
    """A day and an hour of their own; a day that has another hour already is refused, not chosen between."""
    sheet = openpyxl.Workbook()
    for row in (
        ["Sample", "Day", "Hour", "Visc (mPa.s)"],
        ["MEA-01/1", datetime(2026, 3, 3), time(9, 10), 19000],
        ["MEA-01/1", datetime(2026, 3, 3, 8, 0), time(9, 20), 19001],
    ):
        sheet.active.append(row)
    path = tmp_path / "days.xlsx"
    sheet.save(path)
    columns = {"Sample": "batch", "Day": "date", "Hour": "time", "Visc (mPa.s)": "value"}
    preview = book.import_readings(path, column_map=replace(PLAIN_MAP, columns=columns))
    assert [row.measured_at for row in preview.taken] == ["2026-03-03T09:10:00+01:00"]
    assert [(reason.row, reason.code) for reason in preview.refused] == [(3, "import.time")]


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252", "utf-8-sig"])
def test_tabs_degrees_and_decimal_commas_in_three_encodings(book, tmp_path, encoding):
    path = tmp_path / "export.txt"
    text = "Sample\tWhen\tVisc (mPa·s)\tTemp °C\nMEA-01/1\t03.03.2026 09:10\t19000,5\t25,0\n"
    path.write_bytes(text.encode(encoding))
    columns = {"Sample": "batch", "When": "measured_at", "Visc (mPa·s)": "value", "Temp °C": "temp"}
    preview = book.import_readings(path, column_map=replace(PLAIN_MAP, columns=columns, date_order="DMY"))
    assert [(row.body["value"], row.body["temp_c"]) for row in preview.taken] == [("19000.5", "25.0")]


def test_a_row_repeated_in_another_spelling_is_taken_once(book, save):
    text = one_row("2026-03-03 09:10") + "MEA-01/1;2026-03-03T08:10:00Z;1.9e4\n MEA-01/1 ;2026-03-03 9:10:00;19000.0\n"
    preview = book.import_readings(save(text), column_map=replace(PLAIN_MAP, decimal_mark="."))
    assert (len(preview.new), len(preview.known), preview.refused) == (1, 2, ())


BALANCE = """Sample ID;Net weight;Unit;Date/Time
MEA-01/1;231,48;g;2026-03-05 10:05
MEA-01/1;228,90;g;2026-03-12 10:07
"""


def test_the_log_of_a_balance_is_taken_in_as_readings_of_mass(book, save):
    """A jar weighed twice, a week apart: 231.48 g and 228.90 g, as typed. Weighings of a batch are not readings."""
    path = save(BALANCE)
    found = propose_map(path)
    assert found.columns["Net weight"] == "value: mass"
    report = book.import_readings(path, column_map=found, decimal_mark=",", timezone="+01:00").commit()
    assert report.added == 2
    kept = [(reading.property, str(reading.value), reading.unit) for reading in book.batch("MEA-01/1").view.readings]
    assert kept[-2:] == [("mass", "231.48", "g"), ("mass", "228.90", "g")]
