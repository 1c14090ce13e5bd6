"""Files of readings, tame and hostile: what is taken in, what is refused and why, and that nothing is ever half stored.

Expected numbers are read off the file by eye or worked by hand beside the case.
"""

from __future__ import annotations

import csv
import hashlib
import io
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import kit
from kit.bench.comparability import SHOWN, against_method
from kit.bench.methods import methods
from kit.errors import KitError, ReadingsFileError
from kit.formula.model import SpecLine
from kit.labbook.readings_file import COLUMNS, preview_readings
from kit.labbook.readings_marks import find_marks, number_text
from kit.labbook.readings_text import read_text

HEAD = (
    "batch,property,value,unit,measured_at,temp,method,"
    "instrument,calibration,spindle,rpm,torque_pct,reading_time,container"
)
PH = "MEA-01/1,pH,4.59,,2026-03-03 09:10,25 degC,pH neat,PH-1,CAL-1,,,,,"
VISCOSITY = "MEA-01/1,viscosity,19000,mPa.s,2026-03-05 09:05,25.0 degC,viscosity,VIS-1,,disc 5,10,47.5,60 s,100 mL jar"
FILE = "\n".join([HEAD, PH, VISCOSITY]) + "\n"


@pytest.fixture
def book(bench, finished, clock):
    """A lab book with one batch, finished at 9:00 on 2 March, and a clock that stands at the end of March."""
    clock.later(days=28)
    return bench.book


@pytest.fixture
def save(tmp_path):
    """Write a file and give its path."""

    def write(content: str | bytes, name: str = "readings.csv"):
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write


def readings(book, batch: str = "MEA-01/1"):
    return book.source().batch(batch).readings


def heads(book) -> dict:
    return book.store.heads()


# ---------------------------------------------------------------- tame files


def test_a_plain_file_comes_in_with_every_condition(book, save):
    report = book.import_readings(save(FILE)).commit()
    ph, viscosity = readings(book)
    assert (report.added, report.known, report.batches) == (2, 0, ("MEA-01/1",))
    assert (ph.property, ph.value, ph.unit, ph.temp_c, ph.method) == (
        "pH",
        Decimal("4.59"),
        "1",
        Decimal("25"),
        "pH neat",
    )
    assert (ph.instrument, ph.calibration, ph.declared) == ("PH-1", "CAL-1", frozenset())
    assert ph.age_h == Decimal("24.17")  # 9:00 on the 2nd to 9:10 on the 3rd: 24 h and 10 min = 24.1667 h
    assert (viscosity.value, viscosity.unit, viscosity.torque_pct) == (Decimal(19000), "mPa.s", Decimal("47.5"))
    assert (viscosity.spindle, viscosity.rpm, viscosity.reading_time_s) == ("disc 5", Decimal(10), Decimal(60))
    assert viscosity.container == "100 mL jar"
    assert book.check().ok


def test_units_are_converted_by_hand_worked_factors(book, save):
    """19 Pa.s = 19000 mPa.s; 77 degF = (77 - 32) x 5/9 = 25 degC; 1 min = 60 s; 0.5 rev/s = 30 rpm."""
    row = (
        "MEA-01/1,viscosity,19,Pa.s,2026-03-05 09:05,77 degF,viscosity,VIS-1,,disc 5,0.5 rev/s,47.5 %,1 min,100 mL jar"
    )
    book.import_readings(save(f"{HEAD}\n{row}\n")).commit()
    (found,) = readings(book)
    assert (found.value, found.temp_c, found.reading_time_s, found.rpm) == (19000, 25, 60, 30)


def test_units_may_stand_in_the_header_and_names_in_any_case(book, save):
    text = "Batch;PROPERTY;Value [mPa.s];Measured At;Temp (degC);Reading-Time [s];Torque_pct;Age [h]\n"
    text += "MEA-01/1;Viscosity;19000;2026-03-05 09:05;25,0;60;47,5;72\n"
    book.import_readings(save(text)).commit()
    (found,) = readings(book)
    assert (found.property, found.unit, found.value) == ("viscosity", "mPa.s", 19000)
    assert (found.temp_c, found.reading_time_s, found.torque_pct, found.age_typed_h) == (
        Decimal("25.0"),
        60,
        Decimal("47.5"),
        72,
    )


def test_units_of_whole_columns_may_be_given_with_the_call(book, save):
    text = "batch,property,value,measured_at,temp\nMEA-01/1,pH,4.59,2026-03-03 09:10,25\n"
    assert not book.import_readings(save(text)).ok
    assert book.import_readings(save(text), units={"temp": "degC"}).commit().added == 1


def test_blank_columns_at_the_end_of_a_sheet_do_no_harm_but_what_stands_there_is_not_lost(book, save):
    wide = "\n".join(f"{line},," for line in FILE.splitlines())
    assert book.import_readings(save(wide)).ok
    astray = book.import_readings(save(wide + "by hand"))
    assert [(reason.row, reason.code) for reason in astray.refused] == [(3, "import.cells")]


@pytest.mark.parametrize(
    ("encoding", "note"),
    [("utf-8", ""), ("utf-8-sig", ""), ("utf-16", ""), ("utf-32", ""), ("cp1252", "Windows-1252")],
)
def test_encodings(book, save, encoding, note):
    text = f"{HEAD},note\n{PH},Prüfraum 21 °C\n"
    preview = book.import_readings(save(text.encode(encoding)))
    preview.commit()
    assert readings(book)[0].note == "Prüfraum 21 °C"
    told = " ".join(preview.assumed)
    assert note in told
    assert ("check that these letters are right: °ü" in told) == bool(note)


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_system(book, save, newline):
    assert book.import_readings(save(FILE.replace("\n", newline))).commit().added == 2


def test_empty_rows_and_cells_that_say_nothing_are_passed_over(book, save):
    row = "MEA-01/1,pH,4.59,-,2026-03-03 09:10,25 degC,pH neat,PH-1,CAL-1,-,n/a,–,N/A,"
    assert book.import_readings(save(f"\n\n{HEAD}\n\n,,,,,,,,,,,,,\n{row}\n\n")).commit().added == 1
    (found,) = readings(book)
    assert (found.spindle, found.rpm, found.torque_pct, found.reading_time_s) == ("", None, None, None)


def test_row_numbers_are_those_of_a_spreadsheet(book, save):
    """Header in row 2, a cell with a line break in row 3, an empty row 4: the bad value stands in row 5."""
    text = f'\n{HEAD},note\n{PH},"two\nlines"\n\n{PH.replace("4.59", "x")},\n'
    assert [reason.row for reason in book.import_readings(save(text)).refused] == [5]


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("batch;property;value;temp;measured_at\nMEA-01/1;pH;4,59;25,0 degC;2026-03-03 09:10\n", ","),
        ("sep=;\nbatch;property;value;temp;measured_at\nMEA-01/1;pH;4,59;25 degC;2026-03-03 09:10\n", ","),
        ("batch\tproperty\tvalue\ttemp\tmeasured_at\nMEA-01/1\tpH\t4,59\t25 degC\t2026-03-03 09:10\n", ","),
        ('batch,property,value,temp,measured_at\nMEA-01/1,pH,"4,59",25 degC,2026-03-03 09:10\n', ","),
        ("batch;property;value;temp;measured_at\nMEA-01/1;pH;4.59;25 degC;2026-03-03 09:10\n", "."),
        ("batch|property|value|temp|measured_at\nMEA-01/1|pH|4.59|25 degC|2026-03-03 09:10\n", "."),
        ("batch,property,value,temp,measured_at\nMEA-01/1,pH,4.590,25 degC,2026-03-03 09:10\n", "."),
    ],
)
def test_decimal_marks_that_can_be_told(book, save, text, mark):
    preview = book.import_readings(save(text))
    preview.commit()
    assert readings(book)[0].value == Decimal("4.59")
    assert preview.marks.mark == mark
    assert not preview.marks.declared


def test_a_declared_comma_reads_what_would_be_refused_undeclared(book, save):
    """ "0,975" and "19,000" hold three digits after the comma: read with decimals because the mark was declared."""
    text = "batch;property;value;unit;measured_at\nMEA-01/1;density;0,975;g/mL;2026-03-03 09:10\n"
    text += "MEA-01/1;pH;4,000;;2026-03-03 09:10\n"
    with pytest.raises(ReadingsFileError) as refused:
        book.import_readings(save(text.replace("0,975", "1,975")))
    assert refused.value.code == "import.decimal_mark_unclear"
    book.import_readings(save(text), decimal_mark=",").commit()
    assert [found.value for found in readings(book)] == [Decimal("0.975"), Decimal("4.000")]


def test_digits_are_kept_as_typed(book, save):
    book.import_readings(save(FILE.replace("4.59", "4.590"))).commit()
    assert str(readings(book)[0].value) == "4.590"


def test_a_coded_word_comes_in_where_the_spec_has_words(bench, save, clock):
    bench.book.new_study("WRD", question="Is it smooth?", spec=[SpecLine("grain", allowed=("none",), age="7 d")])
    batch = bench.book.start_batch(bench.sheet, trial="WRD-01", study="WRD")
    batch.weigh("glycerin", "16.00 g")
    batch.finish()
    clock.later(days=20)
    text = "batch,property,value,measured_at,note\nWRD-01/1,Grain,none,2026-03-09 09:00,on glass\n"
    assert bench.book.import_readings(save(text)).commit().added == 1
    (seen,) = bench.book.source().batch("WRD-01/1").observations
    assert (seen.name, seen.word, seen.age_h, seen.note) == (
        "grain",
        "none",
        168,
        "on glass",
    )  # 2nd to 9th of March: 7 x 24 h
    assert not bench.book.import_readings(save(text)).new
    refused = bench.book.import_readings(save("batch,property,value,temp\nWRD-01/1,grain,none,25 degC\n")).refused
    assert {(reason.column, reason.code) for reason in refused} == {
        ("temp", "import.word"),
        ("measured_at", "import.word"),
    }


# ---------------------------------------------------------------- whole files that are refused

GOOD = "batch,property,value\nMEA-01/1,pH,4.59\n"


@pytest.mark.parametrize(
    ("content", "code", "says"),
    [
        ("", "import.empty", "empty"),
        ("\n \n", "import.empty", "empty"),
        (HEAD + "\n", "import.empty", "no row"),
        (HEAD + "\n,,,\n", "import.empty", "no row"),
        (b"PK\x03\x04\x14\x00\x06\x00", "import.not_text", "workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "import.not_text", "workbook"),
        (b"SQLite format 3\x00rest", "import.not_text", "lab book"),
        (GOOD.encode("utf-16-le"), "import.encoding", "UTF-16"),
        (b"\xff\xfe" + GOOD.encode("utf-16-le")[:-1], "import.encoding", "UTF-16"),
        (b"\xef\xbb\xbf" + GOOD.encode() + b"\xff", "import.encoding", "UTF-8"),
        (GOOD.encode() + b"\x81\x8d", "import.encoding", "Windows-1252"),
        ("batch,property,value,temprature\nMEA-01/1,pH,4.59,25\n", "import.column_unknown", "perhaps temp"),
        ("batch,property,value,colour of jar\nMEA-01/1,pH,4.59,red\n", "import.column_unknown", "colour of jar"),
        ("batch,property,value,,temp\nMEA-01/1,pH,4.59,x,25\n", "import.column_unknown", "''"),
        ("batch,property\nMEA-01/1,pH\n", "import.column_missing", "value"),
        ("MEA-01/1,pH,4.59\n", "import.column_unknown", "4.59"),
        ("batch,property,value,Value\nMEA-01/1,pH,4.59,4.6\n", "import.column_twice", "value"),
        ("batch,property,value,spindle [mm]\nMEA-01/1,pH,4.59,5\n", "import.column_unit", "takes no unit"),
        ("batch,property,value,temp [g]\nMEA-01/1,pH,4.59,5\n", "import.column_unit", "no unit for the column"),
        ('batch,property,value\nMEA-01/1,pH,"4.59\nMEA-01/1,pH,4.60\n', "import.quotes", "line"),
        ('batch,property,value\nMEA-01/1,"p"H,4.59\n', "import.quotes", "line"),
        ("batch;property;value\nMEA-01/1;pH;4,59\nMEA-01/1;pH;4.60\n", "import.decimal_mark_unclear", "row 2"),
        ("batch;property;value;unit\nMEA-01/1;viscosity;19.000;mPa.s\n", "import.decimal_mark_unclear", "two ways"),
        ("batch;property;value;unit\nMEA-01/1;viscosity;19,000;mPa.s\n", "import.decimal_mark_unclear", "two ways"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_whole_with_its_reason(book, save, content, code, says):
    before = heads(book)
    with pytest.raises(ReadingsFileError) as refused:
        book.import_readings(save(content))
    assert refused.value.code == code
    assert says in str(refused.value)
    assert "To mend" in str(refused.value)
    assert heads(book) == before


def test_a_missing_file_names_the_nearest(book, save):
    path = save(FILE, "readings_march.csv")
    with pytest.raises(ReadingsFileError) as refused:
        book.import_readings(path.with_name("readings_mach.csv"))
    assert refused.value.code == "import.file_missing"
    assert "readings_march.csv" in refused.value.allowed
    with pytest.raises(ReadingsFileError, match="is a folder"):
        book.import_readings(path.parent)


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        ({"decimal_mark": ";"}, "import.decimal_mark", '"." or ","'),
        ({"delimiter": "x"}, "import.delimiter", "semicolon"),
        ({"delimiter": "tab"}, "import.column_unknown", "batch,property"),
        ({"timezone": "Mars/Base"}, "import.timezone", "+02:00"),
        ({"timezone": "+99:00"}, "import.timezone", "+14:00"),
        ({"method": "viscosty"}, "import.method", "did you mean 'viscosity'"),
        ({"declared": {"temprature": "25 degC"}}, "import.declared", "temp"),
        ({"declared": {"replicate": "2"}}, "import.declared", "spindle"),
        ({"declared": {"temp": "25"}}, "units.missing", "degC"),
        ({"units": {"temp": "g"}}, "import.column_unit", "degC"),
    ],
)
def test_an_option_that_does_not_fit_is_refused_by_name(book, save, options, code, says):
    with pytest.raises(KitError) as refused:
        book.import_readings(save(FILE), **options)
    assert refused.value.code == code
    assert says in str(refused.value)


# ---------------------------------------------------------------- rows that are refused


def _row(**cells: str) -> str:
    """The pH row with some cells changed."""
    whole = dict(zip(HEAD.split(","), PH.split(","), strict=True)) | cells
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(whole.values())
    return text.getvalue()


@pytest.mark.parametrize(
    ("row", "column", "code", "says"),
    [
        (_row(batch="MEA-1/1"), "batch", "import.batch", "MEA-01/1"),
        (_row(batch="mea-01"), "batch", "import.batch", "MEA-01/1"),
        (_row(batch=""), "batch", "import.batch", "no batch"),
        (_row(property=""), "property", "import.property", "no property"),
        (_row(value=""), "value", "units.not_a_number", "empty"),
        (_row(value="high"), "value", "units.not_a_number", "high"),
        (_row(value="NaN"), "value", "units.not_a_number", "NaN"),
        (_row(value="459"), "value", "reading.value_range", "lost decimal mark"),
        (_row(value="-4.59"), "value", "reading.value_range", "cannot be"),
        (_row(unit="mPa.s"), "value", "units.wrong_kind", "no unit"),
        (_row(value="4.59 g"), "value", "units.wrong_kind", "no unit"),
        (_row(value="1,234.5"), "value", "units.mixed_marks", "thousands"),
        (_row(property="viscosity", method="viscosity", value="19000"), "value", "units.missing", "mPa.s"),
        (_row(property="viscosity", method="viscosity", value="19000", unit="g"), "value", "units.wrong_kind", "mPa"),
        (_row(property="viscosity", method="viscosity", value="19 Pa.s", unit="mPa.s"), "value", "import.unit", "Pa.s"),
        (
            _row(property="viscosity", method="viscosity", value="0", unit="mPa.s"),
            "value",
            "reading.value_range",
            "cannot be",
        ),
        (
            _row(property="foam height", method="", value="1e999", unit="mm"),
            "value",
            "reading.value_range",
            "cannot be",
        ),
        (_row(method="pH dilute"), "method", "reading.method", "pH neat"),
        (_row(method="viscosity"), "method", "reading.method", "for viscosity"),
        (_row(temp="25"), "temp", "units.missing", "25 degC"),
        (_row(temp="warm"), "temp", "units.not_a_number", "warm"),
        (_row(temp="25 g"), "temp", "units.wrong_kind", "degC"),
        (_row(rpm="ten"), "rpm", "units.not_a_number", "ten"),
        (_row(reading_time="60"), "reading_time", "units.missing", "60 s"),
        (_row(measured_at="03.03.2026 09:10"), "measured_at", "import.time", "2026-04-14"),
        (_row(measured_at="2026-03-03"), "measured_at", "import.time", "date and time"),
        (_row(measured_at="2026-02-30 09:10"), "measured_at", "import.time", "does not exist"),
        (_row(measured_at="2026-03-03 25:10"), "measured_at", "import.time", "does not exist"),
        (
            "MEA-01/1,pH,4,59,,2026-03-03 09:10,25 degC,pH neat,PH-1,CAL-1,,,,,\n",
            "whole row",
            "import.cells",
            "15 cells",
        ),
        ("MEA-01/1,pH,4.59\n", "whole row", "import.cells", "3 cells"),
        (_row().rstrip("\n") + ",\n", "whole row", "import.cells", "15 cells"),
    ],
)
def test_a_row_that_cannot_be_read_keeps_the_whole_file_out(book, save, row, column, code, says):
    before = heads(book)
    preview = book.import_readings(save(f"{HEAD}\n{VISCOSITY}\n{row}"))
    assert [(reason.row, reason.column, reason.code) for reason in preview.refused] == [(3, column, code)]
    told = str(preview.refused[0])
    assert says in told
    assert preview.refused[0].mend
    assert "REFUSED" in str(preview)
    assert preview.refused[0].what in str(preview)
    with pytest.raises(ReadingsFileError) as refused:
        preview.commit()
    assert refused.value.code == "import.refused"
    assert f"row 3, {column}" in str(refused.value)
    assert heads(book) == before


def test_every_bad_cell_of_every_row_is_told_at_once(book, save):
    preview = book.import_readings(
        save(f"{HEAD}\n{_row(value='high', temp='25', measured_at='soon')}{_row(batch='X')}{PH}\n")
    )
    assert {(reason.row, reason.column) for reason in preview.refused} == {
        (2, "value"),
        (2, "temp"),
        (2, "measured_at"),
        (3, "batch"),
    }
    assert len(preview.taken) == 1
    assert "4 reasons to refuse the file" in str(preview)
    with pytest.raises(ReadingsFileError, match="2 rows of"):
        preview.commit()


def test_a_found_comma_does_not_read_a_comma_before_three_digits(book, save):
    """pH 4,59 shows the decimal comma; 19,000 may still be nineteen thousand, and nobody declared it."""
    text = "batch;property;value;unit\nMEA-01/1;pH;4,59;\nMEA-01/1;viscosity;19,000;mPa.s\n"
    assert [reason.code for reason in book.import_readings(save(text)).refused] == ["units.ambiguous_comma"]
    assert book.import_readings(save(text.replace("19,000", "19.000"))).refused[0].code == "units.mixed_marks"


# ---------------------------------------------------------------- what is recorded already


def test_the_same_file_twice_adds_nothing_and_says_so(book, save):
    path = save(FILE)
    book.import_readings(path).commit()
    before = heads(book)
    again = book.import_readings(path)
    assert (len(again.new), len(again.known)) == (0, 2)
    report = again.commit()
    assert (report.added, report.known) == (0, 2)
    assert "nothing added" in str(report)
    assert heads(book) == before
    assert len(readings(book)) == 2


def test_committing_one_preview_twice_adds_once(book, save):
    preview = book.import_readings(save(FILE))
    assert preview.commit().added == 2
    assert preview.commit().added == 0
    assert len(readings(book)) == 2


def test_a_longer_file_adds_only_what_is_new(book, save):
    book.import_readings(save(FILE)).commit()
    longer = (
        FILE + VISCOSITY.replace("2026-03-05", "2026-03-09").replace("19000", "19600").replace("47.5", "49.0") + "\n"
    )
    report = book.import_readings(save(longer)).commit()
    assert (report.added, report.known) == (1, 2)
    assert len(readings(book)) == 3


def test_a_row_written_another_way_is_the_same_reading(book, save):
    """4.590 is 4.59; 10:10 at +02:00 is 9:10 at +01:00."""
    book.import_readings(save(FILE)).commit()
    other = _row(value="4.590", measured_at="2026-03-03T10:10+02:00", temp="77 degF")
    assert not book.import_readings(save(f"{HEAD}\n{other}")).new


def test_a_reading_typed_at_the_bench_is_recognised(bench, finished, clock, save):
    clock.later(hours=24, minutes=10)
    finished.read_ph("4.59", temp="25 degC", instrument="PH-1", calibration="CAL-1")
    clock.later(days=10)
    preview = bench.book.import_readings(save(FILE))
    assert [row.row for row in preview.known] == [2]
    assert [row.row for row in preview.new] == [3]


def test_a_row_repeated_in_the_file_is_taken_once(book, save):
    preview = book.import_readings(save(f"{FILE}{PH}\n"))
    assert [(row.row, row.known) for row in preview.known] == [(4, "row 2 of this file")]
    preview.commit()
    assert len(readings(book)) == 2


def test_another_value_for_the_same_moment_is_a_contradiction_not_a_second_reading(book, save):
    book.import_readings(save(FILE)).commit()
    before = heads(book)
    preview = book.import_readings(save(FILE.replace("4.59", "4.95")))
    assert [reason.code for reason in preview.refused] == ["import.contradicts"]
    assert "value 4.95 here, 4.59 there" in preview.refused[0].what
    with pytest.raises(ReadingsFileError):
        preview.commit()
    assert heads(book) == before
    told_apart = f"{HEAD},replicate\n{PH.replace('4.59', '4.95')},2\n"
    assert book.import_readings(save(told_apart)).commit().added == 1


def test_what_was_voided_or_put_right_does_not_come_back(bench, finished, clock, save):
    clock.later(days=28)
    path = save(FILE)
    bench.book.import_readings(path).commit()
    batch = bench.book.batch("MEA-01/1")
    ph, viscosity = (found.entry for found in batch.view.readings)
    batch.void(ph, why="electrode was dry")
    batch.correct(viscosity, why="misread", torque_pct="47.0", value="18800 mPa.s")
    again = bench.book.import_readings(path)
    assert not again.new
    assert "voided since (electrode was dry)" in again.known[0].known
    assert "put right since by entry" in again.known[1].known


def test_a_batch_that_grew_after_the_preview_is_not_written_to_blindly(book, save):
    preview = book.import_readings(save(FILE))
    book.batch("MEA-01/1").observe("colour", "off-white")
    before = heads(book)
    with pytest.raises(KitError) as refused:
        preview.commit()
    assert refused.value.code == "labbook.moved_on"
    assert heads(book) == before
    assert preview_readings(book, save(FILE)).commit().added == 2


# ---------------------------------------------------------------- times, ages, declared conditions


@pytest.mark.parametrize(
    ("cell", "zone", "utc"),
    [
        ("2026-03-03 09:10", None, "08:10"),  # the bench clock shows +01:00
        ("2026-03-03 9:10:30", None, "08:10"),
        ("2026-03-03 09:10", "+02:00", "07:10"),
        ("2026-03-03 09:10", "Z", "09:10"),
        ("2026-03-03T09:10Z", "+02:00", "09:10"),
        ("2026-03-03T09:10-05:00", None, "14:10"),
        ("2026-03-03 09:10", "Europe/Berlin", "08:10"),  # winter time
        ("2026-07-03 09:10", "Europe/Berlin", "07:10"),  # summer time, although the clock stands in March
    ],
)
def test_times_and_their_zone(book, save, cell, zone, utc):
    book.import_readings(save(f"{HEAD}\n{_row(measured_at=cell)}"), timezone=zone).commit()
    moment = book.source().batch("MEA-01/1").readings[0].measured_at
    from datetime import UTC, datetime

    assert f"{datetime.fromisoformat(moment).astimezone(UTC):%H:%M}" == utc


@pytest.mark.parametrize("cell", ["2026-10-25 02:30", "2026-03-29 02:30"])
def test_an_hour_that_the_change_of_clocks_doubles_or_leaves_out_is_refused(book, save, cell):
    """In Berlin clocks go back at 3:00 on 25 October 2026 and forward at 2:00 on 29 March.

    The last Sundays of October and March, 01:00 UTC: Directive 2000/84/EC (from memory).
    """
    preview = book.import_readings(save(f"{HEAD}\n{_row(measured_at=cell)}"), timezone="Europe/Berlin")
    assert preview.refused[0].code == "import.time_twice"


def test_times_that_look_wrong_are_pointed_at(book, save):
    text = f"{HEAD}\n{_row()}{_row(measured_at='2026-03-02 08:00')}{_row(measured_at='2027-03-03 09:10')}"
    preview = book.import_readings(save(text), timezone="+02:00")
    assert "3 times without an offset, read in UTC+02:00 (declared)" in " ".join(preview.assumed)
    assert "later than the bench clock" in " ".join(preview.assumed)
    assert "check the time zone" in " ".join(preview.taken[0].notes)
    assert "before the end of making" in " ".join(preview.taken[1].notes)


def test_a_reading_with_an_age_and_no_time_is_untimed(book, save):
    text = "batch,property,value,age,temp,method\nMEA-01/1,pH,4.59,24 h,25 degC,pH neat\n"
    book.import_readings(save(text)).commit()
    (found,) = readings(book)
    assert (found.measured_at, found.age_h, found.age_typed_h) == (None, None, Decimal(24))
    assert not book.import_readings(save(text)).new
    batch = book.batch("MEA-01/1")
    batch.correct(found.entry, why="found in the diary", at="2026-03-03 09:10")
    assert readings(book)[0].age_h == Decimal("24.17")


def test_conditions_declared_for_the_file_are_shown_and_not_tested(book, save):
    text = "batch,property,value,unit,measured_at,torque_pct,instrument,spindle\n"
    text += "MEA-01/1,viscosity,19000,mPa.s,2026-03-05 09:05,47.5,VIS-1,\n"
    text += "MEA-01/1,viscosity,9500,mPa.s,2026-03-06 09:05,47.5,VIS-1,disc 4\n"
    preview = book.import_readings(save(text), method="viscosity", declared={"container": "60 mL jar"})
    assert "shown, not tested" in " ".join(preview.assumed)
    preview.commit()
    first, second = readings(book)
    assert first.declared == {"method", "temp_c", "rpm", "reading_time_s", "spindle", "container"}
    assert second.declared == first.declared - {"spindle"}
    # what the method prescribes in kit/data/methods.toml, and the caller's word before it
    assert (first.temp_c, first.rpm, first.reading_time_s, first.spindle) == (25, 10, 60, "disc 5")
    assert (second.spindle, second.container) == ("disc 4", "60 mL jar")


def test_declared_conditions_alone_keep_a_reading_out_of_a_test(book, save):
    """The same row once recorded and once declared: only the recorded one may be judged against a limit."""
    book.import_readings(save(FILE)).commit()
    bare = "batch,property,value,unit,measured_at,torque_pct,instrument\n"
    bare += "MEA-01/1,viscosity,19000,mPa.s,2026-03-06 09:05,47.5,VIS-1\n"
    book.import_readings(save(bare), method="viscosity").commit()
    _, recorded, declared = readings(book)
    method = methods()["viscosity"]
    assert against_method(recorded, method, None).comparable
    verdict = against_method(declared, method, None)
    assert verdict.state == SHOWN
    assert {reason.code for reason in verdict.reasons} == {"compare.declared"}


def test_a_condition_put_right_later_is_recorded_no_longer_declared(book, save):
    text = "batch,property,value,unit,measured_at\nMEA-01/1,viscosity,19000,mPa.s,2026-03-05 09:05\n"
    book.import_readings(save(text), declared={"temp": "25 degC", "spindle": "disc 5"}).commit()
    (found,) = readings(book)
    book.batch("MEA-01/1").correct(found.entry, why="the slip turned up", temp="24.9 degC")
    (after,) = readings(book)
    assert (after.temp_c, after.declared) == (Decimal("24.9"), {"spindle"})


def test_a_method_that_is_needed_nowhere_is_said(book, save):
    assert "every row of its property names its own" in " ".join(
        book.import_readings(save(FILE), method="viscosity").assumed
    )


# ---------------------------------------------------------------- preview and record


def test_the_preview_shows_the_flags_a_reading_will_raise(book, save):
    """K = 4000 on disc 5: 101.5 % at 10 rpm is 40600 mPa.s, over range; 19000 at 40 % would need K = 4750."""
    over = VISCOSITY.replace("19000", "40600").replace("47.5", "101.5")
    wrong = VISCOSITY.replace("47.5", "40.0").replace("09:05", "10:05")
    unknown = _row(instrument="PH-9", calibration="CAL-9")
    preview = book.import_readings(save(f"{HEAD}\n{VISCOSITY.replace('09:05', '08:05')}\n{over}\n{wrong}\n{unknown}"))
    remarks = {row[0]: str(row[5]) for row in preview.table().rows}
    assert "FLAGGED" not in remarks["2"]
    assert "reading.torque_high" in remarks["3"]
    assert "reading.constant" in remarks["4"]
    assert "instrument PH-9 is not in the lab book" in remarks["5"]
    assert "calibration CAL-9 is not in the lab book" in remarks["5"]


def test_the_import_is_recorded_with_the_hash_of_the_file(book, save):
    path = save(FILE)
    book.import_readings(path, declared={"storage": "25 degC, dark"}).commit()
    (entry,) = book.store.entries_of_kind("import")
    assert entry.body["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (entry.body["file"], entry.body["added"], entry.body["decimal_mark"]) == ("readings.csv", 2, ".")
    assert entry.body["declared"] == {"storage": "25 degC, dark"}
    stored = book.source().entries("batch/MEA-01/1")[-1].body
    assert stored["imported"] == {"file": "readings.csv", "row": 3}


def test_markup_in_a_cell_is_shown_and_not_obeyed(book, save):
    preview = book.import_readings(save(f"{HEAD}\n{_row(batch='<script>alert(1)</script>')}"))
    assert "<script>" not in preview._repr_html_()
    assert "&lt;script&gt;" in preview._repr_html_()


def test_the_columns_are_the_contract():
    told = "batch,property,value,unit,measured_at,age,temp,method,instrument,spindle,rpm,torque_pct,reading_time,"
    assert list(COLUMNS) == (told + "container,calibration,storage,sample,replicate,operator,note").split(",")


def test_a_file_of_two_thousand_rows_comes_in_whole(book, save, clock):
    first = "MEA-01/1,pH,4.59,,{at:%Y-%m-%d %H:%M},25 degC,pH neat,PH-1,CAL-1,,,,,"
    rows = [first.format(at=clock.now - timedelta(minutes=minute)) for minute in range(2000)]
    assert book.import_readings(save("\n".join([HEAD, *rows]))).commit().added == 2000
    assert book.check().ok


# ---------------------------------------------------------------- whatever comes

NUMBERS = st.decimals(min_value="0.01", max_value="13.99", places=2)


@given(
    values=st.lists(NUMBERS, min_size=1, max_size=8),
    mark=st.sampled_from([".", ","]),
    delimiter=st.sampled_from([";", "\t", "|"]),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_numbers_come_back_exactly_with_either_mark(tmp_path, values, mark, delimiter):
    path = tmp_path / "numbers.csv"
    lines = [delimiter.join(("batch", "property", "value"))]
    lines += [delimiter.join(("A/1", "pH", str(value).replace(".", mark))) for value in values]
    path.write_text("\n".join(lines), encoding="utf-8")
    text = read_text(path)
    marks = find_marks(text, None)
    assert marks.mark == mark
    assert [Decimal(number_text(row.cells["value"], marks)) for row in text.rows] == values


@given(place=st.integers(0, len(FILE)), junk=st.text(max_size=6), cut=st.integers(0, 12))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_damaged_file_is_taken_or_refused_in_words_and_never_half_stored(bench_module, tmp_path, place, junk, cut):
    path = tmp_path / "damaged.csv"
    path.write_bytes((FILE[:place] + junk + FILE[place + cut :]).encode("utf-8", "surrogatepass"))
    before = heads(bench_module)
    try:
        preview = bench_module.import_readings(path)
    except KitError as error:
        assert error.code.startswith(("import.", "units."))
    else:
        assert preview.taken or preview.refused
        assert str(preview)
    assert heads(bench_module) == before


@given(content=st.binary(max_size=400))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_whatever_give_an_error_of_ours(bench_module, tmp_path, content):
    path = tmp_path / "bytes.csv"
    path.write_bytes(content)
    with pytest.raises(ReadingsFileError):
        bench_module.import_readings(path)


@pytest.fixture(scope="module")
def bench_module(tmp_path_factory):
    """A lab book with one batch that many damaged files are held against; none of them is committed."""
    from kit.formula.files import read_formula

    formula = read_formula(
        'name = "Borage rinse (invented)"\nversion = "1"\n[[phase]]\nname = "A"\nkind = "water"\n'
        'line = [{material = "water-deionised", qs = true}, {material = "glycerin", pct = "4"}]\n',
        kit.load_library(),
    )
    with kit.new_labbook(tmp_path_factory.mktemp("fuzz") / "fuzz.labbook") as book:
        book.new_study("MEA", question="?")
        batch = book.start_batch(kit.plan_batch(formula, "400 g"), trial="MEA-01")
        batch.weigh("glycerin", "16.00 g")
        batch.finish()
        yield book
