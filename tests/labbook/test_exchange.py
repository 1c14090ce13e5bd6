"""A record out of a lab book and back: the same chains, the same bytes, or a reason and nothing stored.

What is compared is compared with the lab book it came from, byte for byte, and with readers of other people: the json
and csv modules of the standard library, openpyxl, hashlib.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import random
import shutil
import string
import zipfile
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import kit
from kit.errors import RecordError
from kit.labbook import schema
from kit.labbook.exchange import export_csv, export_json, export_xlsx, import_csv, import_json
from kit.labbook.exchange_csv import escape, unescape
from kit.labbook.store import Store
from kit.labbook.streams import Draft

HOSTILE = (
    "=cmd|' /C calc'!A0",
    "+1-1",
    "-2+3",
    "@SUM(A1:A9)",
    "\t=1+1",
    "\r=1+1",
    "'=1",
    "''",
    'say "ah"; then, leave',
    "two\nlines\r\nand\u2028a third",
    "a;=1+1,=2|=3",
    "emoji 🧴 and ﷽, e\u0301, \u202eright to left",
    "zero\0byte and \x07 bell",
    "＝1",
    "00123",
    "1e5",
    "2026-03-05",
    " ends in a space ",
    "NULL",
)


@pytest.fixture
def book(bench, finished):
    """A lab book with a finished batch, a correction, a void and a note for every hostile text."""
    finished.read_ph("4.50", temp="25 degC", instrument="PH-1", calibration="CAL-1")
    for number, text in enumerate(HOSTILE):
        finished.observe("odour", f"word {number}", note=text)
    first = finished.read_viscosity("19000 mPa.s", torque_pct=47.5, rpm=10, spindle="disc 5", temp="25.0 degC")
    finished.correct(first, why="=misread", value="18900 mPa.s")
    finished.void(first, why="-wrong jar")
    finished.decide("keep", why="@all")
    return bench.book


EXPORTS = {"json": (export_json, import_json, "a.json"), "csv": (export_csv, import_csv, "record")}
EXPORTS["zip"] = (export_csv, import_csv, "record.zip")


def content(path: Path) -> dict[str, bytes]:
    """Name to bytes of an export, whatever its form."""
    return {file.name: file.read_bytes() for file in path.iterdir()} if path.is_dir() else {"": path.read_bytes()}


def read(path: Path) -> str:
    """The text of a CSV file, its line ends as they are."""
    return path.read_bytes().decode("utf-8-sig")


def rows_of(path: Path) -> list[tuple]:
    """Every row of every table of a lab book, by the standard library's own driver."""
    import sqlite3

    reader = sqlite3.connect(path)
    try:
        return [
            (table, row)
            for table in sorted(schema.GUARDED)
            for row in reader.execute(f"SELECT * FROM {table} ORDER BY id").fetchall()
        ]
    finally:
        reader.close()


# ---------------------------------------------------------------- there and back


@pytest.mark.parametrize("form", EXPORTS)
def test_out_and_back_and_out_again_gives_the_same_bytes_chains_and_rows(book, bench, tmp_path, form):
    export, take_in, name = EXPORTS[form]
    first, again = tmp_path / name, tmp_path / f"again-{name}"
    report = export(book, first)
    heads = book.store.heads()
    assert (report.streams, report.entries) == (len(heads), sum(head.seq for head in heads.values()))
    take_in(first, tmp_path / "new.labbook")
    with kit.open_labbook(tmp_path / "new.labbook") as new:
        assert new.store.heads() == heads
        assert list(new.store.heads()) == list(heads)
        assert new.check().ok
        assert new.source().batch("MEA-01/1").readings == book.source().batch("MEA-01/1").readings
    export(tmp_path / "new.labbook", again)
    assert content(again) == content(first)
    book.close()
    assert rows_of(tmp_path / "new.labbook") == rows_of(bench.path)


def test_json_and_csv_of_one_record_agree(book, tmp_path):
    export_csv(book, tmp_path / "record")
    import_csv(tmp_path / "record", tmp_path / "by-csv.labbook")
    export_json(tmp_path / "by-csv.labbook", tmp_path / "by-csv.json")
    export_json(book, tmp_path / "direct.json")
    assert (tmp_path / "by-csv.json").read_bytes() == (tmp_path / "direct.json").read_bytes()


def test_the_json_is_json_and_each_text_has_its_hash(book, tmp_path):
    export_json(book, tmp_path / "a.json")
    found = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert found["schema"] == schema.VERSION
    assert [hashlib.sha256(row["text"].encode()).hexdigest() for row in found["entries"]] == [
        row["hash"] for row in found["entries"]
    ]
    notes = [json.loads(row["text"])["body"].get("note") for row in found["entries"]]
    assert set(HOSTILE) <= set(notes)
    assert {row["stream"]: (row["seq"], row["hash"]) for row in found["streams"]} == {
        name: tuple(head) for name, head in book.store.heads().items()
    }


def test_the_imported_book_goes_on(book, tmp_path):
    export_json(book, tmp_path / "a.json")
    import_json(tmp_path / "a.json", tmp_path / "new.labbook")
    with kit.open_labbook(tmp_path / "new.labbook") as new:
        new.batch("MEA-01/1").read_ph("4.61", temp="25 degC", at="2026-03-09 10:00")
        assert new.check().ok


def test_an_empty_lab_book_of_that_name_is_replaced_one_with_entries_is_not(book, bench, tmp_path):
    export_json(book, tmp_path / "a.json")
    kit.new_labbook(tmp_path / "empty.labbook").close()
    import_json(tmp_path / "a.json", tmp_path / "empty.labbook")
    with kit.open_labbook(tmp_path / "empty.labbook") as new:
        assert new.store.heads() == book.store.heads()
    book.close()
    before = bench.path.read_bytes()
    with pytest.raises(RecordError) as refused:
        import_json(tmp_path / "a.json", bench.path)
    assert refused.value.code == "exchange.not_empty"
    assert bench.path.read_bytes() == before


# ---------------------------------------------------------------- a spreadsheet runs nothing

SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def test_no_cell_of_a_csv_begins_a_formula(book, tmp_path):
    export_csv(book, tmp_path / "record")
    export_csv(book, tmp_path / "tables", trials=["MEA-01"])
    files = [*(tmp_path / "record").glob("*.csv"), *(tmp_path / "tables").glob("*.csv")]
    cells = [cell for path in files for cell in _cells(path, ",")]
    assert len(cells) > 200
    assert [cell for cell in cells if cell.startswith(SIGNS)] == []
    assert any(cell.startswith("'=") for cell in cells)  # the guard was needed


def _cells(path: Path, delimiter: str) -> list[str]:
    return [cell for row in csv.reader(io.StringIO(read(path), newline=""), delimiter=delimiter) for cell in row]


@given(st.text(st.sampled_from("=+-@'\t\r\n;,|a1\"＝") | st.characters(blacklist_categories=("Cs",)), max_size=20))
@settings(max_examples=500, deadline=None)
def test_making_a_cell_safe_is_undone_exactly_and_holds_with_any_list_separator(text):
    safe = escape(text)
    assert unescape(safe) == text
    for separator in ",;|\t":
        assert not any(part.startswith(("=", "+", "-", "@")) for part in safe.split(separator))


def test_plain_cells_are_left_as_they_are(book, tmp_path):
    export_csv(book, tmp_path / "tables", trials=["MEA-01"])
    rows = list(csv.DictReader(io.StringIO(read(tmp_path / "tables" / "readings.csv"), newline="")))
    assert [(row["property"], row["value"], row["temperature [degC]"]) for row in rows] == [
        ("pH", "4.50", "25"),
        ("viscosity", "18900", "25.0"),
    ]
    assert rows[1]["voided because"] == "'-wrong jar"


# ---------------------------------------------------------------- what is refused


def _without_line(data: bytes, at: int) -> bytes:
    lines = data.split(b"\n")
    del lines[at]
    return b"\n".join(lines)


def _swapped(data: bytes) -> bytes:
    """Two entries of one stream in the other order."""
    lines = data.split(b"\n")
    lines[-6], lines[-5] = lines[-5], lines[-6]
    return b"\n".join(lines)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda data: data[: len(data) // 2], "exchange.altered"),
        (lambda data: data[:-2], "exchange.altered"),
        (lambda data: data + b"more", "exchange.altered"),
        (lambda data: data.replace(b"4.50", b"4.60", 1), "exchange.altered"),
        (lambda data: data.replace(b'"schema": ', b'"schema": 9', 1), "exchange.newer"),
        (lambda data: data.replace(b'"format_version": 1', b'"format_version": 2', 1), "exchange.newer"),
        (lambda data: data.replace(b"kit labbook export", b"something else", 1), "exchange.not_an_export"),
        (lambda data: b"{}\n", "exchange.not_an_export"),
        (lambda data: b"", "exchange.altered"),
        (lambda data: b"\xff\xfe\x00", "exchange.altered"),
        (lambda data: _without_line(data, -4), "exchange.altered"),
        (_swapped, "exchange.altered"),
        (lambda data: data.replace(b'"entry_count": ', b'"entry_count": 1', 1), "exchange.altered"),
        (lambda data: data.replace(b'"stream": "study/MEA"', b'"stream": "study/MEB"', 1), "exchange.altered"),
        (lambda data: data.replace(b'"seq": 1,', b'"seq": 2,', 1), "exchange.altered"),
    ],
)
def test_a_json_that_was_changed_is_refused_and_nothing_is_made(book, tmp_path, change, code):
    path = tmp_path / "a.json"
    export_json(book, path)
    before = path.read_bytes()
    path.write_bytes(change(before))
    assert path.read_bytes() != before
    with pytest.raises(RecordError) as refused:
        import_json(path, tmp_path / "new.labbook")
    assert refused.value.code == code
    assert refused.value.mend
    assert not [found for found in tmp_path.iterdir() if "new" in found.name]


@pytest.mark.parametrize(
    ("name", "old", "new", "code"),
    [
        ("entries.csv", "4.50", "4.60", "exchange.altered"),
        ("entries.csv", "4.50", "4.5", "exchange.altered"),
        ("entries.csv", '"batch/MEA-01/1","3"', '"batch/MEA-01/1","3.0"', "exchange.altered"),
        ("entries.csv", '"seq"', '"number"', "exchange.altered"),
        ("entries.csv", "'=misread", "=misread", ""),
        ("streams.csv", '"study"', '"batch"', "exchange.altered"),
        ("labbook.csv", "kit labbook export", "list", "exchange.not_an_export"),
        ("labbook.csv", '"schema","', '"schema","9', "exchange.newer"),
    ],
)
def test_a_csv_that_was_changed_is_refused_and_nothing_is_made(book, tmp_path, name, old, new, code):
    export_csv(book, tmp_path / "record")
    path = tmp_path / "record" / name
    text = read(path)
    assert (old in text) == bool(code)
    path.write_text(text.replace(old, new, 1), encoding="utf-8-sig", newline="")
    if not code:
        return  # inside a body the text does not stand at the beginning of a cell: nothing had to be guarded
    with pytest.raises(RecordError) as refused:
        import_csv(tmp_path / "record", tmp_path / "new.labbook")
    assert refused.value.code == code
    assert not [found for found in tmp_path.iterdir() if "new" in found.name]


def saved_anew(folder: Path, target: Path, *, change=lambda name, rows: rows, **dialect: object) -> Path:
    """The export as a spreadsheet would save it: the same cells, quoted only where needed, in another dialect."""
    target.mkdir()
    for part in folder.iterdir():
        rows = change(part.name, list(csv.reader(io.StringIO(read(part), newline=""))))
        text = io.StringIO(newline="")
        csv.writer(text, quoting=csv.QUOTE_MINIMAL, **dialect).writerows(rows)
        (target / part.name).write_text(text.getvalue(), encoding="utf-8", newline="")
    return target


def test_an_export_saved_anew_with_other_quoting_and_line_ends_is_the_same_record(book, tmp_path):
    export_csv(book, tmp_path / "record")
    saved_anew(tmp_path / "record", tmp_path / "anew", lineterminator="\n")
    assert content(tmp_path / "anew") != content(tmp_path / "record")
    import_csv(tmp_path / "anew", tmp_path / "new.labbook")
    with Store.open(tmp_path / "new.labbook") as new:
        assert new.heads() == book.store.heads()


def at_cell(row: int, column: int, edit):
    """A change of one cell of entries.csv, rows as a spreadsheet counts them."""

    def change(name: str, rows: list[list[str]]) -> list[list[str]]:
        if name == "entries.csv":
            rows[row - 1][column] = edit(rows[row - 1][column])
        return rows

    return change


@pytest.mark.parametrize(
    ("column", "edit", "where"),
    [
        (1, lambda cell: f"{cell}.0", "entries.csv, row 3, column seq"),
        (4, lambda cell: "02.03.2026 09:00", "row 3, column recorded_at: '02.03.2026 09:00' is not a time"),
        (5, lambda cell: cell.replace(":", ": ", 1), "row 3, column body: its spaces, quotation marks or numbers"),
        (5, lambda cell: cell.replace('"', "“"), "row 3, column body: it is not the JSON"),
        (5, lambda cell: cell.replace("Does it", "Did it"), "row 3, one of the columns kind, measured_at"),
    ],
)
def test_a_cell_edited_in_a_spreadsheet_is_named(book, tmp_path, column, edit, where):
    export_csv(book, tmp_path / "record")
    rows = list(csv.reader(io.StringIO(read(tmp_path / "record" / "entries.csv"), newline="")))
    assert edit(rows[2][column]) != rows[2][column]
    saved_anew(tmp_path / "record", tmp_path / "anew", change=at_cell(3, column, edit))
    with pytest.raises(RecordError) as refused:
        import_csv(tmp_path / "anew", tmp_path / "new.labbook")
    assert refused.value.code == "exchange.altered"
    assert where in refused.value.where
    assert not (tmp_path / "new.labbook").exists()


def test_another_list_separator_is_refused_with_what_stands_there(book, tmp_path):
    export_csv(book, tmp_path / "record")
    saved_anew(tmp_path / "record", tmp_path / "anew", delimiter=";")
    with pytest.raises(RecordError) as refused:
        import_csv(tmp_path / "anew", tmp_path / "new.labbook")
    assert "separated by commas; found: part;value" in refused.value.what


TWINS = """
import sys
from kit.labbook.store import Store
from kit.labbook.streams import Draft
with Store.open(sys.argv[1]) as store:
    for number in range(1_000_000):
        store.append_many([Draft(name, "note", {"number": number}, "note") for name in ("note/a", "note/b")])
        print(number, flush=True)
"""


def test_an_export_taken_while_another_program_writes_is_one_moment_of_the_record(tmp_path, clock):
    """Every note in a stream has its twin in another, written in one call: a half would show as unequal numbers."""
    import subprocess
    import sys

    path = tmp_path / "busy.labbook"
    Store.create(path, clock=clock).close()
    writer = subprocess.Popen([sys.executable, "-c", TWINS, str(path)], stdout=subprocess.PIPE)
    try:
        for _ in range(20):
            writer.stdout.readline()
        for number in range(4):
            export_json(path, tmp_path / f"{number}.json")
    finally:
        writer.kill()
        writer.communicate()
    counts = []
    for number in range(4):
        import_json(tmp_path / f"{number}.json", tmp_path / f"{number}.labbook")
        with Store.open(tmp_path / f"{number}.labbook") as new:
            heads = new.heads()
            assert heads["note/a"].seq == heads["note/b"].seq >= 20
            counts.append(heads["note/a"].seq)
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]  # it was written meanwhile


@pytest.mark.parametrize("content", [b"SQLite format 3\0" + b"x" * 500, b"hello", b""])
def test_what_is_no_lab_book_is_not_written_over(book, tmp_path, content):
    export_json(book, tmp_path / "a.json")
    path = tmp_path / "there.labbook"
    path.write_bytes(content)
    with pytest.raises(RecordError) as refused:
        import_json(tmp_path / "a.json", path)
    assert refused.value.code == "labbook.not_a_labbook"
    assert path.read_bytes() == content


@pytest.mark.parametrize("name", ["labbook.csv", "streams.csv", "entries.csv"])
def test_a_csv_part_that_is_missing_or_cut_is_refused(book, tmp_path, name):
    export_csv(book, tmp_path / "record")
    part = tmp_path / "record" / name
    part.write_bytes(part.read_bytes()[: part.stat().st_size * 2 // 3])
    with pytest.raises(RecordError) as refused:
        import_csv(tmp_path / "record", tmp_path / "new.labbook")
    assert refused.value.code == "exchange.altered"
    part.unlink()
    with pytest.raises(RecordError) as refused:
        import_csv(tmp_path / "record", tmp_path / "new.labbook")
    assert refused.value.code == "exchange.not_an_export"
    assert not (tmp_path / "new.labbook").exists()


def test_a_damaged_zip_is_refused(book, tmp_path):
    path = tmp_path / "record.zip"
    export_csv(book, path)
    assert sorted(zipfile.ZipFile(path).namelist()) == ["entries.csv", "labbook.csv", "streams.csv"]
    data = bytearray(path.read_bytes())
    data[200:260] = b"\0" * 60
    path.write_bytes(data)
    with pytest.raises(RecordError) as refused:
        import_csv(path, tmp_path / "new.labbook")
    assert refused.value.code in ("exchange.altered", "exchange.not_an_export")


def test_a_lab_book_that_does_not_hold_together_is_not_exported(book, bench, tmp_path):
    import sqlite3

    book.close()
    other = sqlite3.connect(bench.path)
    other.execute("DROP TRIGGER entry_no_update")
    other.execute("UPDATE entry SET text = replace(text, '4.50', '4.60')")
    other.commit()
    other.close()
    for export, _, name in EXPORTS.values():
        with pytest.raises(RecordError) as refused:
            export(bench.path, tmp_path / name)
        assert refused.value.code == "exchange.unsound"
        assert "changed outside the kit" in refused.value.what
        assert not (tmp_path / name).exists()


def test_a_forged_entry_that_lacks_what_its_kind_holds_is_refused(tmp_path, clock):
    """A chain that somebody rebuilt whole passes the hashes; a reading without a value still cannot be laid down."""
    with Store.create(tmp_path / "odd.labbook", clock=clock) as store:
        store.append("batch/X/1", "reading", {"property": "pH"}, stream_kind="batch")
    path = tmp_path / "odd.json"
    with Store.open(tmp_path / "odd.labbook") as store:
        from kit.labbook.exchange_json import write_record
        from kit.labbook.exchange_record import outline_of

        with store.snapshot(), path.open("wb") as file:
            write_record(file, outline_of(store), store.all_entries())
    with pytest.raises(RecordError) as refused:
        import_json(path, tmp_path / "new.labbook")
    assert refused.value.code == "exchange.entry"
    assert not (tmp_path / "new.labbook").exists()


def test_nothing_is_written_over_what_is_there(book, tmp_path):
    (tmp_path / "a.json").write_text("mine", encoding="utf-8")
    (tmp_path / "record").mkdir()
    for export, name in ((export_json, "a.json"), (export_csv, "record"), (export_xlsx, "a.json")):
        with pytest.raises(RecordError) as refused:
            export(book, tmp_path / name)
        assert refused.value.code == "exchange.exists"
    assert (tmp_path / "a.json").read_text(encoding="utf-8") == "mine"
    with pytest.raises(RecordError) as refused:
        export_json(book, tmp_path / "nowhere" / "a.json")
    assert refused.value.code == "exchange.unwritable"


def test_an_export_that_fails_half_way_leaves_nothing_behind(book, tmp_path, monkeypatch):
    target = tmp_path / "out"
    target.mkdir()
    from kit.labbook import exchange_json

    def full(file, outline, entries):
        file.write(b"{")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(exchange_json, "write_record", full)
    with pytest.raises(RecordError) as refused:
        export_json(book, target / "a.json")
    assert refused.value.code == "exchange.unwritable"
    assert list(target.iterdir()) == []


def test_what_is_not_there_and_what_is_only_a_part_is_said(book, tmp_path):
    with pytest.raises(RecordError) as refused:
        import_json(tmp_path / "a.json", tmp_path / "new.labbook")
    assert refused.value.code == "exchange.missing"
    from kit.labbook.snapshot import freeze

    (tmp_path / "part.json").write_text(json.dumps(freeze(book.source(), ["MEA-01"])), encoding="utf-8")
    with pytest.raises(RecordError) as refused:
        export_json(kit.open_source(tmp_path / "part.json"), tmp_path / "whole.json")
    assert refused.value.code == "exchange.part"
    with pytest.raises(RecordError) as refused:
        export_xlsx(book, tmp_path / "t.xlsx", trials=["MEA-1"])
    assert (refused.value.code, refused.value.allowed) == ("labbook.trial", "MEA-01")


# ---------------------------------------------------------------- tables


def test_the_workbook_has_numbers_as_numbers_and_no_formula(book, tmp_path):
    export_xlsx(book, tmp_path / "t.xlsx")
    found = openpyxl.load_workbook(tmp_path / "t.xlsx")
    assert found.sheetnames == [
        "trials",
        "batches",
        "weighings",
        "readings",
        "observations",
        "challenge-tests",
        "compositions",
        "lots",
        "instruments",
        "calibrations",
    ]
    cells = [cell for sheet in found for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [cell for cell in cells if cell.data_type in ("f", "e")]
    notes = [row[-1] for row in found["observations"].iter_rows(min_row=2, values_only=True)]
    assert notes[0] == HOSTILE[0]
    assert notes[HOSTILE.index("zero\0byte and \x07 bell")] == "zero\\x00byte and \\x07 bell"
    assert found["observations"].cell(2, 10).quotePrefix
    head = [cell.value for cell in found["readings"][1]]
    first = dict(zip(head, [cell.value for cell in found["readings"][2]], strict=True))
    assert (first["value"], first["temperature [degC]"], first["property"]) == (4.5, 25, "pH")
    assert found["readings"].cell(2, head.index("value") + 1).number_format == "0.00"  # typed as 4.50


def test_the_certificates_of_lots_are_a_table_of_their_own(book, tmp_path):
    """As typed: active 81.2 %, good until the end of March 2027, which has 31 days."""
    certificate = {"active": "81.2 %"}
    book.add_lot("behentrimonium-chloride-80", "B-042", certificate=certificate, expiry="2027-03", supplier="=cmd|x")
    export_xlsx(book.source(), tmp_path / "t.xlsx")
    head, row = openpyxl.load_workbook(tmp_path / "t.xlsx")["lots"].iter_rows(values_only=True)
    told = dict(zip(head, row, strict=True))
    assert (told["material"], told["lot"], told["expiry"]) == ("behentrimonium-chloride-80", "B-042", "2027-03-31")
    assert told["active [%]"] == 81.2 or "Behentrimonium Chloride 81.2" in told["parts [% w/w]"]
    assert told["supplier"] == "=cmd|x"  # a text, see the test of formulas above


def test_compositions_as_made_stand_beside_what_was_meant(book, tmp_path):
    """Weighed as planned to 0.01 g of 400 g: every line within 0.005 % of what was meant, glycerin 4.00 %."""
    export_xlsx(book, tmp_path / "t.xlsx", trials=["MEA-01"])
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx")["compositions"]
    rows = {row[3]: row for row in sheet.iter_rows(min_row=2, values_only=True)}
    assert rows["glycerin"][5] == 4
    assert abs(sum(row[6] for row in rows.values()) - 100) < 1e-9
    assert all(abs(row[5] - row[6]) < 0.005 for row in rows.values())


def test_only_the_trials_asked_for_are_in_the_tables(bench, finished, tmp_path):
    bench.book.start_batch(bench.sheet, trial="MEA-02", operator="bench 2").weigh("glycerin", "16.00 g")
    export_csv(bench.book, tmp_path / "tables", trials=["MEA-02"])
    (row,) = csv.DictReader(io.StringIO(read(tmp_path / "tables" / "weighings.csv"), newline=""))
    assert (row["batch"], row["material"], Decimal(row["mass [g]"])) == ("MEA-02/1", "glycerin", Decimal("16.00"))


# ---------------------------------------------------------------- random books

TEXT = st.text(st.characters(blacklist_categories=("Cs",)), max_size=15)
VALUE = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**20), 10**20) | TEXT | st.sampled_from(HOSTILE),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)
ENTRY = st.tuples(
    st.sampled_from(["note", "=kind", "+x"]), st.dictionaries(TEXT, VALUE, max_size=4), st.integers(0, 4), st.booleans()
)
NAMES = ("batch/A/1", "=1+1", "@\n'x", "book", 'ﬀ, "q";-1')


@pytest.mark.slow
def test_random_books_come_back_exactly_in_every_form(tmp_path, clock, thorough):
    """10 books, 100 with --thorough; each holds up to twelve entries and goes through every form."""

    @given(st.lists(ENTRY, min_size=1, max_size=12))
    @settings(max_examples=100 if thorough else 10, deadline=None)
    def come_back(entries):
        _come_back(tmp_path / "random", clock, entries)

    come_back()


def _come_back(folder, clock, entries):
    folder.mkdir()
    with Store.create(folder / "a.labbook", clock=clock) as store:
        drafts = [
            Draft(NAMES[at], kind, body, "book" if NAMES[at] == "book" else "note", clock() if timed else None)
            for kind, body, at, timed in entries
        ]
        store.append_many(drafts)
        heads = store.heads()
        for form, (export, take_in, name) in EXPORTS.items():
            export(store, folder / name)
            take_in(folder / name, folder / f"{form}.labbook")
            with Store.open(folder / f"{form}.labbook") as new:
                assert new.heads() == heads
                export(new, folder / f"again-{name}")
            assert content(folder / f"again-{name}") == content(folder / name)
    shutil.rmtree(folder)


@given(place=st.integers(0, 10**6), seed=st.integers(0, 999))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_one_byte_changed_is_refused_or_changes_nothing(exported, tmp_path_factory, place, seed):
    data, heads = exported
    changed = bytearray(data)
    place %= len(data)
    changed[place] = ord(random.Random(seed).choice(string.printable))
    folder = tmp_path_factory.mktemp("byte")
    (folder / "a.json").write_bytes(changed)
    try:
        import_json(folder / "a.json", folder / "new.labbook")
    except RecordError as error:
        assert error.code.startswith(("exchange.", "labbook."))
        assert not (folder / "new.labbook").exists()
    else:
        with Store.open(folder / "new.labbook") as new:
            assert new.heads() == heads
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    """The bytes of a small export, and its heads."""
    folder = tmp_path_factory.mktemp("export")
    with Store.create(folder / "a.labbook") as store:
        for number in range(6):
            store.append(f"note/{number % 2}", "note", {"text": f"n {number}"}, stream_kind="note")
        export_json(store, folder / "a.json")
        return (folder / "a.json").read_bytes(), store.heads()
