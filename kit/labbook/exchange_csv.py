"""A whole record as CSV files (RFC 4180, UTF-8 with its mark), in a folder or packed into one .zip.

A spreadsheet takes a cell that begins with =, +, - or @ for a formula, and a cell of one file may become several where
another list separator is set. Every such place gets an apostrophe in front, which is taken off on the way back; so is
one in front of an apostrophe that stood there. Numbers keep their text: all of an entry's are inside its body.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import IO

from kit.errors import RecordError
from kit.labbook.exchange_record import (
    FORMAT,
    FORMAT_VERSION,
    RecordOutline,
    StreamEnd,
    Texts,
    altered,
    check_format,
)
from kit.labbook.streams import Entry, canonical

ENCODING = "utf-8-sig"
PARTS = ("labbook.csv", "streams.csv", "entries.csv")
_STREAMS = ("stream", "kind", "entries", "head")
_ENTRIES = ("stream", "seq", "kind", "measured_at", "recorded_at", "body", "previous", "hash")

# The signs that spreadsheets take for the beginning of a formula, their full-width twins, and blanks they skip:
# Open Worldwide Application Security Project, "CSV Injection".
_RISKY = re.compile(r"(\A|[;,|\t\r\n])(?=['=+\-@＝＋－＠\t\r\n])")
_MADE_SAFE = re.compile(r"(\A|[;,|\t\r\n])'")
_TOLD = 60  # characters of a row that a message repeats
_LARGEST_CELL = 2**31 - 1
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)  # the first a packed file can hold: the same record gives the same bytes


def escape(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula.

    Examples
    --------
    >>> escape("=1+1"), escape("a;=1"), escape("'quoted"), escape("plain")
    ("'=1+1", "a;'=1", "''quoted", 'plain')
    """
    return _RISKY.sub(r"\1'", cell)


def unescape(cell: str) -> str:
    """The cell that `escape` was given."""
    return _MADE_SAFE.sub(r"\1", cell)


def write_table(file: IO[bytes], header: Sequence[str], rows: Iterable[Sequence[str]], where: str) -> None:
    """Write one CSV file.

    Raises
    ------
    RecordError   `exchange.zero_byte`: a cell holds one; CSV cannot keep it.
    """
    text = io.TextIOWrapper(file, encoding=ENCODING, newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerow(header)
    for row in rows:
        writer.writerow([_cell(cell, where) for cell in row])
    text.detach()


def write_record(folder: Path, outline: RecordOutline, entries: Iterator[Entry]) -> None:
    """Write a record into a folder; the same record always gives the same bytes."""
    about = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "schema": outline.schema,
        "entry_count": outline.entries,
        "streams_sha256": outline.digest,
    }
    streams = ((one.name, one.kind, str(one.seq), one.hash) for one in outline.streams)
    tables = (
        ("labbook.csv", ("part", "value"), ((name, str(value)) for name, value in about.items())),
        ("streams.csv", _STREAMS, streams),
        ("entries.csv", _ENTRIES, (_row(entry) for entry in entries)),
    )
    for name, header, rows in tables:
        with (folder / name).open("wb") as file:
            write_table(file, header, rows, name)


def pack(folder: Path, target: Path) -> None:
    """Pack the files of a folder into one, in the order of their names."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(folder.iterdir()):
            about = zipfile.ZipInfo(path.name, _ZIP_TIME)
            about.compress_type = zipfile.ZIP_DEFLATED
            with path.open("rb") as plain, packed.open(about, "w", force_zip64=True) as file:
                while block := plain.read(1 << 20):
                    file.write(block)


def read_outline(path: Path) -> RecordOutline:
    """What the record in a folder or packed file says it holds.

    Raises
    ------
    RecordError   `exchange.not_an_export`, `exchange.newer`, `exchange.altered`.
    """
    with _rows_of(path, "labbook.csv", ("part", "value")) as rows:
        about = {row[0]: row[1] for _, row in rows}
    version = about.get("format_version", "")
    check_format(about.get("format"), int(version) if version.isdecimal() else None, path.name)
    with _rows_of(path, "streams.csv", _STREAMS) as rows:
        streams = tuple(
            StreamEnd(name, kind, _whole_number(seq, number, "streams.csv", "entries"), head)
            for number, (name, kind, seq, head) in rows
        )
    schema, count = (_whole_number(about.get(name, ""), 0, "labbook.csv") for name in ("schema", "entry_count"))
    return RecordOutline(schema, streams, count, about.get("streams_sha256", ""))


def read_texts(path: Path) -> Texts:
    """Text and hash of every entry of the record in a folder or packed file.

    Raises
    ------
    RecordError   `exchange.altered`.
    """
    with _rows_of(path, "entries.csv", _ENTRIES) as rows:
        for number, row in rows:
            stream, seq, kind, measured_at, recorded_at, body, previous, hash = row
            fields = {
                "stream": stream,
                "seq": _whole_number(seq, number, "entries.csv", "seq"),
                "kind": kind,
                "measured_at": measured_at or None,
                "recorded_at": recorded_at,
                "previous": previous,
            }
            yield _joined(fields, body), hash


def place_of(count: int, text: str) -> str:
    """Row and columns of entries.csv in which an entry was changed, as far as they can be told from its text."""
    return f"entries.csv, row {count + 1}, {_changed_columns(text)}"  # the header is row 1


def _changed_columns(text: str) -> str:
    try:
        found = json.loads(text)
    except ValueError:
        return "column body: it is not the JSON that was written"
    for name in ("measured_at", "recorded_at"):
        if found[name] is not None and not _is_time(found[name]):
            return f"column {name}: {found[name]!r} is not a time as it was written"
    if canonical(found) != text:
        return "column body: its spaces, quotation marks or numbers are not as they were written"
    return "one of the columns kind, measured_at, recorded_at, body"


def _is_time(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).utcoffset() is not None
    except ValueError:
        return False


def _row(entry: Entry) -> tuple[str, ...]:
    body = canonical(entry.body)
    fields = {
        name: getattr(entry, name) for name in ("stream", "seq", "kind", "measured_at", "recorded_at", "previous")
    }
    if _joined(fields, body) != entry.text:  # true of no entry that the kit wrote
        raise RecordError(
            f'entry {entry.seq} of the stream "{entry.stream}" is not in canonical form and cannot be kept as CSV',
            where="entries.csv",
            mend="export as JSON, which keeps every text as it is",
            code="exchange.not_canonical",
        )
    measured_at = entry.measured_at or ""
    return entry.stream, str(entry.seq), entry.kind, measured_at, entry.recorded_at, body, entry.previous, entry.hash


def _joined(fields: dict[str, object], body: str) -> str:
    """The canonical text of an entry from its parts: keys in order, the body as it is."""
    parts = {name: json.dumps(value, ensure_ascii=False) for name, value in fields.items()} | {"body": body}
    return "{" + ",".join(f'"{name}":{parts[name]}' for name in sorted(parts)) + "}"


def _cell(cell: str, where: str) -> str:
    if "\0" in cell:
        raise RecordError(
            f"a name holds a zero byte ({cell!r}), which CSV cannot keep",
            where=where,
            mend="export as JSON",
            code="exchange.zero_byte",
        )
    return escape(cell)


@contextmanager
def _rows_of(path: Path, name: str, header: Sequence[str]) -> Iterator[Iterator[tuple[int, list[str]]]]:
    """Records of one CSV file behind its header, cells as they were before they were made safe."""
    with _part(path, name) as file:
        yield _records(file, name, header)


def _records(file: IO[bytes], name: str, header: Sequence[str]) -> Iterator[tuple[int, list[str]]]:
    before = csv.field_size_limit(_LARGEST_CELL)
    number = 0
    try:
        with io.TextIOWrapper(file, encoding=ENCODING, newline="") as text:
            for number, row in enumerate(csv.reader(text, strict=True), start=1):
                if len(row) != len(header) or (number == 1 and tuple(row) != tuple(header)):
                    due = f"the columns {', '.join(header)} were due, separated by commas; found: {_shortened(row)}"
                    raise altered(due, f"{name}, row {number}")
                if number > 1:
                    yield number, [unescape(cell) for cell in row]
    except (csv.Error, UnicodeDecodeError, zipfile.BadZipFile, zlib.error, EOFError, OSError) as problem:
        raise altered(f"it cannot be read further ({problem})", f"{name}, row {number + 1}") from None
    finally:
        csv.field_size_limit(before)
    if not number:
        raise altered("it is empty", name)


def _shortened(row: Sequence[str]) -> str:
    told = " | ".join(row)
    return told if len(told) <= _TOLD else f"{told[:_TOLD]} ..."


@contextmanager
def _part(path: Path, name: str) -> Iterator[IO[bytes]]:
    try:
        if path.is_dir():
            with (path / name).open("rb") as file:
                yield file
        else:
            with zipfile.ZipFile(path) as packed, packed.open(name) as file:
                yield file
    except (KeyError, FileNotFoundError, zipfile.BadZipFile):
        raise RecordError(
            f"{path.name} has no readable {name} in it, so it is not an export of a lab book",
            where=str(path.parent),
            allowed=f"a folder or a .zip file with {', '.join(PARTS)}",
            mend="check the name",
            code="exchange.not_an_export",
        ) from None


def _whole_number(text: str, number: int, name: str, column: str = "value") -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 19):
        row = f", row {number}, column {column}" if number else ""
        raise altered(f"{text!r} is not a whole number", f"{name}{row}")
    return int(text)
