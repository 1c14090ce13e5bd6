"""Tables that people keep: CSV files, .xlsx workbooks, text pasted from a sheet, read as rows of cell texts.

Nothing is understood here but where the table is: its encoding, its delimiter, its sheet, its header. What a column
means is said by a `ColumnMap` and read by whoever knows the subject.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from kit.errors import TableError
from kit.tabular_map import ColumnMap, fold, propose, split_header
from kit.tabular_text import (
    DELIMITERS,
    ENCODING_WORDS,
    check_delimiter,
    decoded,
    encoding_notes,
    find_delimiter,
    records,
    without_declaration,
)

__all__ = [
    "DELIMITERS",
    "ColumnMap",
    "RawRow",
    "RawTable",
    "is_blank",
    "nearest",
    "propose",
    "read_table",
    "split_header",
]

LARGEST_BYTES = 20_000_000
_BLANKS = ("", "-", "–", "—", "n/a", "na", "n.a.")
_NUMBER = re.compile(r"^[+-]?[\d.,'’\s]*\d[\d.,'’\s]*(?:[eE][+-]?\d+)?\s*%?$|^\d{4}-\d\d-\d\d")
_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2007": " ", "\ufeff": None})
_HEADER_WITHIN = 40  # rows that the header is looked for in


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row that is not empty.

    Attributes
    ----------
    number : int           As the user sees it: row of the sheet, or record of the file; the first is 1.
    cells : tuple          Texts, spaces at their ends taken off.
    numbers : frozenset    Places of cells that came as numbers, so that their decimal mark is a point.
    """

    number: int
    cells: tuple[str, ...]
    numbers: frozenset[int] = frozenset()


@dataclass(frozen=True)
class RawTable:
    """A table before any cell is understood.

    Attributes
    ----------
    name : str        Name of the file, or what the pasted text was called.
    header : tuple    Cells of the header row, empty ones at its end taken off.
    rows : tuple      RawRow of every row below the header that is not empty.
    assumed : tuple   How it was read, in words: encoding, delimiter, sheet, header row.
    typed : bool      Numbers came as numbers: there is no decimal mark to ask for.
    above : tuple     RawRow of the title rows above the header.
    width : int       Cells of the header row, empty ones included.
    header_row : int  Number of the header row.
    sha256, encoding, delimiter, sheet : str   Of the file; empty where it does not apply.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[RawRow, ...]
    assumed: tuple[str, ...] = ()
    typed: bool = False
    above: tuple[RawRow, ...] = ()
    width: int = 0
    header_row: int = 1
    sha256: str = ""
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""

    def cells(self, row: RawRow) -> dict[str, str]:
        """A row's cells by header; cells that the row does not have are empty."""
        padded = (*row.cells, *[""] * (len(self.header) - len(row.cells)))
        return dict(zip(self.header, padded, strict=False))


def read_table(
    source: Path | str,
    *,
    text: str | None = None,
    delimiter: str | None = None,
    sheet: str | None = None,
    header_row: int | None = None,
    known: Iterable[str] = (),
) -> RawTable:
    """Read a CSV file, a sheet of a workbook or pasted text.

    Parameters
    ----------
    source : Path or str   The file (.csv, .tsv, .txt, .xlsx; told by its content). With `text`, what to call it.
    text : str             Text pasted from a sheet or an e-mail, in place of a file.
    delimiter : str        ";", ",", tab or "|"; found when omitted. For text only.
    sheet : str            Name of the sheet; needed where a workbook has several with content.
    header_row : int       Number of the header row as the user counts; found when omitted.
    known : str            Headers that are expected, in any spelling: they tell the header and the delimiter.

    Raises
    ------
    TableError   `table.file_missing`, `table.too_large`, `table.not_text`, `table.encoding`, `table.delimiter`,
                 `table.quotes`, `table.empty`, `table.header`, `table.sheet`, `table.workbook`, `table.formula_value`.
    """
    expected = frozenset(fold(word) for word in known)
    if text is not None:
        name, data = str(source) or "pasted text", text.encode("utf-8", "surrogatepass")
        return _from_text(name, data, text, "", delimiter, header_row, expected)
    path = Path(source)
    data = _bytes(path)
    if data.startswith(b"PK\x03\x04"):
        from kit import tabular_workbook

        if tabular_workbook.is_workbook(data):
            return _from_workbook(path.name, data, sheet, header_row, expected)
    content, encoding = decoded(data, path.name)
    return _from_text(path.name, data, content, encoding, delimiter, header_row, expected)


def is_blank(cell: str) -> bool:
    """Whether a cell says nothing: empty, a dash, or n/a."""
    return cell.strip().lower() in _BLANKS


def nearest(word: str, known: Iterable[str]) -> list[str]:
    """The known words spelled most like `word`, best first, at most three."""
    folded = {name.casefold(): name for name in known}
    return [folded[name] for name in difflib.get_close_matches(word.casefold(), list(folded), n=3, cutoff=0.5)]


def tidy(cell: str) -> str:
    """A cell's text without spaces at its ends; spaces that do not break are spaces."""
    return cell.translate(_SPACES).strip()


def _from_text(
    name: str,
    data: bytes,
    content: str,
    encoding: str,
    delimiter: str | None,
    header_row: int | None,
    expected: frozenset[str],
) -> RawTable:
    body, skipped, said = without_declaration(content)
    if not body.strip("\ufeff\n\r\t ,;|"):
        raise _empty(name, "the file is empty" if encoding else "the text is empty")
    named = delimiter or said
    mark = check_delimiter(named, name) if named else _by_known_words(body, expected) or find_delimiter(body)
    cells = enumerate(records(body.translate(_SPACES), mark, name), start=1 + skipped)
    rows = [RawRow(number, tuple([cell.strip() for cell in record])) for number, record in cells]
    how = f"{ENCODING_WORDS[encoding]}, " if encoding else ""
    words = (f"{how}columns separated by {DELIMITERS[mark]}", *encoding_notes(content, encoding))
    filled = [row for row in rows if any(row.cells)]
    return _table(
        name, filled, header_row, expected, words, sha256=sha256(data).hexdigest(), encoding=encoding, delimiter=mark
    )


def _from_workbook(
    name: str, data: bytes, sheet: str | None, header_row: int | None, expected: frozenset[str]
) -> RawTable:
    from kit.tabular_workbook import sheet_rows

    title, found = sheet_rows(data, name, sheet)
    width = max((len(row.cells) for row in found), default=0)
    rows = [
        RawRow(row.number, tuple(tidy(cell) for cell in [*row.cells, *[""] * (width - len(row.cells))]), row.numbers)
        for row in found
    ]
    digest = sha256(data).hexdigest()
    return _table(name, rows, header_row, expected, (f"sheet {title}",), typed=True, sha256=digest, sheet=title)


def _table(
    name: str,
    rows: list[RawRow],
    header_row: int | None,
    expected: frozenset[str],
    words: tuple[str, ...],
    **rest: object,
) -> RawTable:
    if not rows:
        raise _empty(name, "the sheet is empty" if rest.get("typed") else "the file is empty")
    at = _header_at(rows, header_row, expected, name)
    cells = rows[at].cells
    header = cells[: max((place for place, cell in enumerate(cells, start=1) if cell), default=0)]
    said = (f"header in row {rows[at].number}",) if at else ()
    return RawTable(
        name,
        header,
        tuple(rows[at + 1 :]),
        (*words, *said),
        above=tuple(rows[:at]),
        width=len(cells),
        header_row=rows[at].number,
        **rest,
    )


def _header_at(rows: list[RawRow], header_row: int | None, expected: frozenset[str], name: str) -> int:
    """Place of the header: the row named, else the first with most known words, else the first with most texts."""
    if header_row is not None:
        found = next((at for at, row in enumerate(rows) if row.number == header_row), None)
        if found is None:
            raise TableError(
                f"row {header_row} is empty or not there, so it cannot be the header",
                where=name,
                allowed=f"rows {rows[0].number} to {rows[-1].number}",
                mend="give the number of the row that names the columns",
                code="table.header",
            )
        return found

    def score(at: int) -> tuple[int, int, int]:
        texts = {cell for cell in rows[at].cells if cell and not _NUMBER.match(cell)}
        return _known_words(rows[at].cells, expected), len(texts), -at

    return max(range(min(len(rows), _HEADER_WITHIN)), key=score)


def _known_words(cells: Iterable[str], expected: frozenset[str]) -> int:
    if not expected:
        return 0
    return len({fold(cell) for cell in cells} & expected | {fold(split_header(cell)[0]) for cell in cells} & expected)


def _by_known_words(text: str, expected: frozenset[str]) -> str:
    """The delimiter that brings out most of the expected headers in one line; "" where none brings out two."""
    lines = [line for line in text.splitlines() if line.strip()][:_HEADER_WITHIN]
    best = {
        mark: max(
            (_known_words((tidy(cell).strip('"') for cell in line.split(mark)), expected) for line in lines), default=0
        )
        for mark in DELIMITERS
    }
    found = max(best, key=lambda mark: best[mark])
    return found if best[found] > 1 else ""


def _bytes(path: Path) -> bytes:
    if not path.is_file():
        raise _missing(path)
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise TableError(
                f"the file holds {size / 1e6:.0f} MB",
                where=path.name,
                allowed=f"{LARGEST_BYTES / 1e6:.0f} MB",
                mend="split it into several files",
                code="table.too_large",
            )
        return path.read_bytes()
    except OSError as problem:
        raise TableError(
            f"the file cannot be read: {problem.strerror}",
            where=path.name,
            mend="check that you may read it",
            code="table.file_missing",
        ) from None


def _missing(path: Path) -> TableError:
    kinds = (".csv", ".tsv", ".txt", ".xlsx")
    beside = path.parent.iterdir() if path.parent.is_dir() else ()
    near = ", ".join(nearest(path.name, (item.name for item in beside if item.suffix.lower() in kinds)))
    return TableError(
        f"{path.name!r} is a folder" if path.is_dir() else f"there is no file {path.name!r}",
        where=str(path.parent),
        allowed=f"a CSV file or an .xlsx workbook; found there: {near}" if near else "a CSV file or an .xlsx workbook",
        mend="check the name and the folder",
        code="table.file_missing",
    )


def _empty(name: str, what: str) -> TableError:
    return TableError(
        what,
        where=name,
        allowed="a row naming the columns, then one row an item",
        mend="check that it is the right file",
        code="table.empty",
    )
