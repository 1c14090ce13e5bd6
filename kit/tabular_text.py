"""Bytes of a table file into records of cells: encoding, delimiter, quotation marks. Used by `kit.tabular`."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterable

from kit.errors import TableError

DELIMITERS = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}
ENCODING_WORDS = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8 with its mark",
    "utf-16": "UTF-16",
    "utf-32": "UTF-32",
    "cp1252": "Windows-1252",
}

# First bytes of files that are often given by mistake; binary signatures as published by their formats.
_SIGNATURES = {
    b"PK\x03\x04": "a packed file or a workbook of another kind than .xlsx",
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
_DECLARED_DELIMITER = re.compile(r'^"?sep=(.)"?$')
_LOOKED_AT = 60  # records that a delimiter is judged by
_BY_HABIT = "\t;|,"  # where two delimiters fit equally well: a comma may be a decimal mark


def decoded(data: bytes, name: str) -> tuple[str, str]:
    """The text of a file and the encoding it was read by.

    Raises
    ------
    TableError   `table.not_text`, `table.encoding`.
    """
    for start, words in _SIGNATURES.items():
        if data.startswith(start):
            raise TableError(
                f"the file is {words}, not a CSV file",
                where=name,
                mend="save the sheet as CSV (UTF-8) or as an .xlsx workbook and give that file",
                code="table.not_text",
            )
    encoding = next((encoding for mark, encoding in _MARKS if data.startswith(mark)), "")
    if not encoding and b"\0" in data:
        raise _encoding(name, "the file holds zero bytes: it is UTF-16 text without its mark, or no text at all")
    for candidate in [encoding] if encoding else ["utf-8", "cp1252"]:
        try:
            return data.decode(candidate), candidate
        except UnicodeDecodeError as problem:
            fault = problem
    words = ENCODING_WORDS.get(fault.encoding, fault.encoding)
    raise _encoding(name, f"the file is not {words} text (byte {fault.start + 1})")


def encoding_notes(text: str, encoding: str) -> Iterable[str]:
    """What to look at where the encoding was a guess."""
    if encoding == "cp1252":
        foreign = "".join(sorted({letter for letter in text if ord(letter) > 127}))
        yield f"the file is not UTF-8; it was read as Windows-1252: check that these letters are right: {foreign}"


def without_declaration(text: str) -> tuple[str, int, str | None]:
    """The text without a first line such as "sep=;", by which some programs name the delimiter; lines left out."""
    first, _, rest = text.partition("\n")
    found = _DECLARED_DELIMITER.match(first.strip("\r"))
    return (rest, 1, found.group(1)) if found else (text, 0, None)


def check_delimiter(given: str, name: str) -> str:
    """The sign of a delimiter given as a sign or by its word.

    Raises
    ------
    TableError   `table.delimiter`.
    """
    mark = {words: sign for sign, words in DELIMITERS.items()}.get(given.strip().lower(), given)
    if mark not in DELIMITERS:
        raise TableError(
            f"{given!r} is not a delimiter",
            where=name,
            allowed="semicolon, comma, tab or bar",
            mend="name one of these",
            code="table.delimiter",
        )
    return mark


def find_delimiter(text: str) -> str:
    """The delimiter that cuts most of the first lines into equally many cells."""

    def fit(mark: str) -> tuple[float, int]:
        widths = Counter(len(record) for record in _first_records(text, mark))
        cut = {width: count for width, count in widths.items() if width > 1}
        return (max(cut.values(), default=0) / max(1, widths.total()), _BY_HABIT[::-1].index(mark))

    return max(DELIMITERS, key=fit)


def records(text: str, delimiter: str, name: str) -> list[list[str]]:
    """Cells of every record; a cell may hold line ends.

    Raises
    ------
    TableError   `table.quotes`.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    found: list[list[str]] = []
    try:
        found.extend(reader)
    except csv.Error as problem:
        raise TableError(
            f"the quotation marks do not pair up: {problem}",
            where=f"{name}, line {reader.line_num}",
            mend='close every quotation mark; a quotation mark inside a cell is written twice: ""',
            code="table.quotes",
        ) from None
    return found


def _first_records(text: str, delimiter: str) -> list[list[str]]:
    found: list[list[str]] = []
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            if any(cell.strip() for cell in record):
                found.append(record)
            if len(found) == _LOOKED_AT:
                break
    except csv.Error:  # a cell beyond the reader's limit: judged by what came before it
        pass
    return found


def _encoding(name: str, what: str) -> TableError:
    return TableError(
        what,
        where=name,
        allowed="UTF-8, UTF-16 with its mark, Windows-1252",
        mend="save it as CSV in UTF-8",
        code="table.encoding",
    )
