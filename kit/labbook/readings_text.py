"""The text of a readings file: its encoding, its delimiter, its header and its rows of cells."""

from __future__ import annotations

import codecs
import csv
import difflib
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from kit.errors import ReadingsFileError, UnitError
from kit.units import read

COLUMNS = (
    "batch",
    "property",
    "value",
    "unit",
    "measured_at",
    "age",
    "temp",
    "method",
    "instrument",
    "spindle",
    "rpm",
    "torque_pct",
    "reading_time",
    "container",
    "calibration",
    "storage",
    "sample",
    "replicate",
    "operator",
    "note",
)
NEEDED = ("batch", "property", "value")
# The columns that hold a quantity, and a unit of the kind that each takes; the value's kind hangs on its property.
QUANTITIES = {"value": "", "age": "h", "temp": "degC", "rpm": "rpm", "torque_pct": "%", "reading_time": "s"}
DELIMITERS = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}

_LARGEST_BYTES = 20_000_000
_BLANKS = ("", "-", "–", "—", "n/a", "na", "n.a.")
_HEAD = re.compile(r"^(.*?)\s*[\[(]([^\])]*)[\])]$", re.DOTALL)
_DECLARED_DELIMITER = re.compile(r'^"?sep=(.)"?$')

# First bytes of files that are often given by mistake; binary signatures as published by their formats.
_SIGNATURES = {
    b"PK\x03\x04": "a spreadsheet workbook or another packed file",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook",
    b"SQLite format 3\x00": "a database, perhaps a lab book",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
}
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
ENCODING_WORDS = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8 with its mark",
    "utf-16": "UTF-16",
    "utf-32": "UTF-32",
    "cp1252": "Windows-1252",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One row that is not empty: its number as a spreadsheet counts (the header is row 1 as a rule) and its cells.

    `fault` says why the row cannot be read at all; its cells are then empty.
    """

    number: int
    cells: Mapping[str, str]
    fault: str = ""


@dataclass(frozen=True)
class ReadingsText:
    """A readings file as text, before any cell is understood.

    `units` are the units the header gives for whole columns; `notes` say what was assumed.
    """

    name: str
    sha256: str
    encoding: str
    delimiter: str
    columns: tuple[str, ...]
    units: Mapping[str, str]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


def read_text(path: str | Path, *, delimiter: str | None = None) -> ReadingsText:
    """Read a readings file as rows of cells.

    Parameters
    ----------
    path : str or Path   A CSV file: UTF-8 with or without its mark, UTF-16 with its mark, or Windows-1252.
    delimiter : str      ";", ",", tab or "|"; found from the header when omitted.

    Raises
    ------
    ReadingsFileError   `import.file_missing`, `import.not_text`, `import.encoding`, `import.too_large`, `import.empty`,
                        `import.quotes`, `import.delimiter`, `import.column_unknown`, `import.column_missing`,
                        `import.column_twice`, `import.column_unit`.
    """
    path = Path(path)
    data = _bytes(path)
    text, encoding = _decoded(data, path.name)
    text, skipped, said = _without_declaration(text)
    chosen = _delimiter(text, delimiter or said, path.name)
    records = _records(text, chosen, path.name)
    at = next((index for index, record in enumerate(records) if any(cell.strip() for cell in record)), None)
    if at is None:
        raise _empty(path.name)
    columns, units = _header(records[at], path.name)
    rows = tuple(_rows(records[at + 1 :], columns, len(records[at]), first=at + 2 + skipped))
    if not rows:
        raise _empty(path.name, "the file has a header and no row of readings")
    return ReadingsText(
        path.name,
        sha256(data).hexdigest(),
        encoding,
        chosen,
        columns,
        units,
        rows,
        tuple(_encoding_notes(text, encoding)),
    )


def is_blank(cell: str) -> bool:
    """Whether a cell says nothing: empty, a dash, or n/a."""
    return cell.strip().lower() in _BLANKS


def nearest(word: str, known: Iterable[str]) -> list[str]:
    """The known words spelled most like `word`, best first, at most three."""
    folded = {name.casefold(): name for name in known}
    return [folded[name] for name in difflib.get_close_matches(word.casefold(), list(folded), n=3, cutoff=0.5)]


def _bytes(path: Path) -> bytes:
    if not path.is_file():
        near = (
            ", ".join(nearest(path.name, (item.name for item in path.parent.glob("*.csv"))))
            if path.parent.is_dir()
            else ""
        )
        what = f"{path.name!r} is a folder" if path.is_dir() else f"there is no readings file {path.name!r}"
        raise ReadingsFileError(
            what,
            where=str(path.parent),
            allowed=f"a CSV file; found there: {near}" if near else "a CSV file",
            mend="check the name and the folder",
            code="import.file_missing",
        )
    try:
        size = path.stat().st_size
        if size > _LARGEST_BYTES:
            raise ReadingsFileError(
                f"the file holds {size / 1e6:.0f} MB",
                where=path.name,
                allowed=f"{_LARGEST_BYTES / 1e6:.0f} MB",
                mend="split it into several files",
                code="import.too_large",
            )
        return path.read_bytes()
    except OSError as problem:
        raise ReadingsFileError(
            f"the file cannot be read: {problem.strerror}",
            where=path.name,
            mend="check that you may read it",
            code="import.file_missing",
        ) from None


def _decoded(data: bytes, name: str) -> tuple[str, str]:
    for start, words in _SIGNATURES.items():
        if data.startswith(start):
            raise ReadingsFileError(
                f"the file is {words}, not a CSV file",
                where=name,
                mend="save the sheet as CSV (UTF-8) and give that file",
                code="import.not_text",
            )
    encoding = next((encoding for mark, encoding in _MARKS if data.startswith(mark)), "")
    if not encoding and b"\0" in data:
        raise ReadingsFileError(
            "the file holds zero bytes: it is UTF-16 text without its mark, or no text at all",
            where=name,
            allowed="UTF-8, UTF-16 with its mark, Windows-1252",
            mend="save it as CSV in UTF-8",
            code="import.encoding",
        )
    for candidate in [encoding] if encoding else ["utf-8", "cp1252"]:
        try:
            return data.decode(candidate), candidate
        except UnicodeDecodeError as problem:
            fault = problem
    raise ReadingsFileError(
        f"the file is not {ENCODING_WORDS.get(fault.encoding, fault.encoding)} text (byte {fault.start + 1})",
        where=name,
        allowed="UTF-8, UTF-16 with its mark, Windows-1252",
        mend="save it as CSV in UTF-8",
        code="import.encoding",
    )


def _encoding_notes(text: str, encoding: str) -> Iterable[str]:
    if encoding == "cp1252":
        foreign = "".join(sorted({letter for letter in text if ord(letter) > 127}))
        yield f"the file is not UTF-8; it was read as Windows-1252: check that these letters are right: {foreign}"


def _without_declaration(text: str) -> tuple[str, int, str | None]:
    """The text without a first line such as "sep=;", by which some programs name the delimiter."""
    first, _, rest = text.partition("\n")
    found = _DECLARED_DELIMITER.match(first.strip("\r"))
    return (rest, 1, found.group(1)) if found else (text, 0, None)


def _delimiter(text: str, given: str | None, name: str) -> str:
    if given is not None:
        named = {word: mark for mark, word in DELIMITERS.items()} | {"\\t": "\t"}
        mark = named.get(given, given)
        if mark not in DELIMITERS:
            raise ReadingsFileError(
                f"{given!r} is not a delimiter",
                where=name,
                allowed="semicolon, comma, tab or bar",
                mend="name one of these",
                code="import.delimiter",
            )
        return mark
    if not text.strip():
        raise _empty(name)
    known = {mark: len({_split_head(cell)[0] for cell in _first(text, mark)} & set(COLUMNS)) for mark in DELIMITERS}
    return max(known, key=lambda mark: known[mark])


def _first(text: str, mark: str) -> list[str]:
    line = next(line for line in text.splitlines() if line.strip())
    return next(csv.reader([line], delimiter=mark), [])


def _records(text: str, delimiter: str, name: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    try:
        records.extend(reader)
    except csv.Error as problem:
        raise ReadingsFileError(
            f"the quotation marks do not pair up: {problem}",
            where=f"{name}, line {reader.line_num}",
            mend='close every quotation mark; a quotation mark inside a cell is written twice: ""',
            code="import.quotes",
        ) from None
    return records


def _header(record: list[str], name: str) -> tuple[tuple[str, ...], dict[str, str]]:
    while record and not record[-1].strip():
        record = record[:-1]  # a delimiter at the end of the line
    heads = [_split_head(cell) for cell in record]
    _known_columns([cell.strip() for cell in record], [head for head, _ in heads], name)
    units = {head: unit for head, unit in heads if unit}
    for head, unit in units.items():
        check_unit(head, unit, where=f"{name}, header")
    return tuple(head for head, _ in heads), units


def _split_head(cell: str) -> tuple[str, str]:
    """ "Temp [degC]" is the column temp with a unit for all its cells."""
    found = _HEAD.match(cell.strip())
    head, unit = (found.group(1), found.group(2).strip()) if found else (cell, "")
    return re.sub(r"[\s\-]+", "_", head.strip().lower()), unit


def _known_columns(typed: list[str], heads: list[str], name: str) -> None:
    unknown = [(text, head) for text, head in zip(typed, heads, strict=True) if head not in COLUMNS]
    if unknown:
        words = "; ".join(f"{text!r}{_perhaps(head)}" for text, head in unknown)
        raise ReadingsFileError(
            f"these columns are not known: {words}",
            where=f"{name}, header",
            allowed=", ".join(COLUMNS),
            mend="correct or delete them; words of your own belong in the column note",
            code="import.column_unknown",
        )
    twice = sorted({head for head in heads if heads.count(head) > 1})
    if twice:
        raise ReadingsFileError(
            f"the column {twice[0]!r} stands twice",
            where=f"{name}, header",
            mend="delete one",
            code="import.column_twice",
        )
    absent = [column for column in NEEDED if column not in heads]
    if absent:
        raise ReadingsFileError(
            f"the columns {', '.join(absent)} are missing",
            where=f"{name}, header",
            allowed=", ".join(COLUMNS),
            mend="name the columns in the first row",
            code="import.column_missing",
        )


def _perhaps(head: str) -> str:
    near = nearest(head, COLUMNS)
    return f" (perhaps {near[0]})" if near else ""


def check_unit(column: str, unit: str, *, where: str) -> None:
    """Refuse a unit for a column that takes none, or one of another kind.

    Raises
    ------
    ReadingsFileError   `import.column_unit`.
    """
    if column not in QUANTITIES:
        raise ReadingsFileError(
            f"the column {column!r} takes no unit, {unit!r} was given",
            where=where,
            allowed=", ".join(QUANTITIES),
            mend="take the unit out",
            code="import.column_unit",
        )
    if QUANTITIES[column]:
        try:
            read(f"1 {unit}", QUANTITIES[column])
        except UnitError:
            raise ReadingsFileError(
                f"{unit!r} is no unit for the column {column!r}",
                where=where,
                allowed=f"for example {QUANTITIES[column]}",
                mend="correct it",
                code="import.column_unit",
            ) from None


def _rows(records: list[list[str]], columns: tuple[str, ...], width: int, first: int) -> Iterable[Row]:
    """Rows that say something. A cell too many or too few may have shifted all that follow, so such a row is at fault.

    `width` is the number of cells in the header, blank ones at its end included.
    """
    for number, record in enumerate(records, start=first):
        cells = [cell.replace("\u00a0", " ").strip() for cell in record]
        if not any(cells):
            continue
        if len(cells) != width:
            yield Row(number, {}, f"the row has {len(cells)} cells, the header has {width}")
        elif any(cells[len(columns) :]):
            yield Row(number, {}, "a cell stands beyond the last named column")
        else:
            yield Row(number, dict(zip(columns, cells, strict=False)))


def _empty(name: str, what: str = "the file is empty") -> ReadingsFileError:
    return ReadingsFileError(
        what,
        where=name,
        allowed=f"a first row naming the columns, such as {', '.join(COLUMNS[:5])}, then one row a reading",
        mend="check that it is the right file",
        code="import.empty",
    )
