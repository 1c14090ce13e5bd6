"""Sheets of an .xlsx workbook as rows of cell texts. Used by `kit.tabular`."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from kit.errors import TableError

_LARGEST_UNPACKED = 400_000_000  # [byte]; a small packed file can hold far more than a disk
_LARGEST_ROWS = 250_000
_FORMULA = re.compile(rb"<f[ >/]")
_PERCENT_FORMAT = re.compile(r'^(?:[^"\\]|\\.|"[^"]*")*?%')
_DIGITS = 15  # what a spreadsheet itself keeps of a number (Office Open XML, specifications and limits; from memory)


# What reading a damaged workbook trips over: its packing, its XML (`ParseError` is a SyntaxError), parts that are gone
# or say what they cannot.
_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    OSError,
    EOFError,
    SyntaxError,
    LookupError,
    ValueError,
    TypeError,
    AttributeError,
    RuntimeError,
)


class SheetRow(NamedTuple):
    """A row with its number in the sheet; `numbers` are the places of cells that were numbers, not text."""

    number: int
    cells: list[str]
    numbers: frozenset[int]


def is_workbook(data: bytes) -> bool:
    """Whether bytes are an .xlsx workbook, told by what is packed in them and not by a name."""
    if not data.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            return "xl/workbook.xml" in packed.namelist()
    except (zipfile.BadZipFile, OSError, ValueError):
        return False


def sheet_rows(data: bytes, name: str, sheet: str | None) -> tuple[str, list[SheetRow]]:
    """The name of the sheet that was read, and its rows; empty cells are "".

    Raises
    ------
    TableError   `table.workbook` (damaged or protected), `table.too_large`, `table.sheet`, `table.formula_value`.
    """
    with _in_words(name):
        has_formulas = _look_inside(data, name)
        workbook = _open(data, data_only=True)
        try:
            found = _chosen(workbook, name, sheet)
            found.reset_dimensions()
            formulas = _formula_cells(data, found.title) if has_formulas else frozenset()
            return found.title, list(_rows(found, formulas, name))
        finally:
            workbook.close()


@contextmanager
def _in_words(name: str) -> Iterator[None]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions that a table does not need
            yield
    except _DAMAGED as problem:
        locked = isinstance(problem, RuntimeError) and "password" in str(problem)
        raise TableError(
            "the workbook is locked by a password" if locked else f"the workbook is damaged ({problem})",
            where=name,
            mend="open it in a spreadsheet program and save it anew as .xlsx without a password, or the sheet as CSV",
            code="table.workbook",
        ) from problem


def _open(data: bytes, *, data_only: bool) -> Any:
    from openpyxl import load_workbook

    return load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)


def _look_inside(data: bytes, name: str) -> bool:
    """Whether any sheet has a formula; refuses a workbook that would unpack beyond all measure."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        size = sum(part.file_size for part in packed.infolist())
        if size > _LARGEST_UNPACKED:
            raise TableError(
                f"the workbook unpacks to {size / 1e6:.0f} MB",
                where=name,
                allowed=f"{_LARGEST_UNPACKED / 1e6:.0f} MB",
                mend="copy the sheet that is wanted into a workbook of its own",
                code="table.too_large",
            )
        sheets = [part for part in packed.namelist() if part.startswith("xl/worksheets/") and part.endswith(".xml")]
        return any(_FORMULA.search(packed.read(part)) for part in sheets)


def _chosen(workbook: Any, name: str, sheet: str | None) -> Any:
    sheets = {found.title: found for found in workbook.worksheets}
    if sheet is not None:
        title = next((title for title in sheets if title.strip().casefold() == sheet.strip().casefold()), None)
        if title is None:
            raise _sheet(f"the workbook has no sheet {sheet!r}", name, sheets, "name one of these")
        return sheets[title]
    filled = [title for title, found in sheets.items() if found.sheet_state == "visible" and _has_cells(found)]
    if len(filled) != 1:
        what = "the workbook has several sheets with content" if filled else "no sheet of the workbook has content"
        raise _sheet(what, name, filled or sheets, 'say which sheet to read: sheet="..." (--sheet)')
    return sheets[filled[0]]


def _has_cells(sheet: Any) -> bool:
    sheet.reset_dimensions()
    return any(value not in (None, "") for row in sheet.iter_rows(values_only=True) for value in row)


def _sheet(what: str, name: str, known: Any, mend: str) -> TableError:
    return TableError(what, where=name, allowed=", ".join(known), mend=mend, code="table.sheet")


def _formula_cells(data: bytes, title: str) -> frozenset[tuple[int, int]]:
    """Places (row, column) of the cells that hold a formula."""
    workbook = _open(data, data_only=False)
    try:
        sheet = workbook[title]
        sheet.reset_dimensions()
        return frozenset(
            (cell.row, cell.column)
            for row in sheet.iter_rows()
            for cell in row
            if getattr(cell, "data_type", "") == "f"
        )
    finally:
        workbook.close()


def _rows(sheet: Any, formulas: frozenset[tuple[int, int]], name: str) -> Iterator[SheetRow]:
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if number > _LARGEST_ROWS:
            raise TableError(
                f"the sheet {sheet.title} has more than {_LARGEST_ROWS} rows",
                where=name,
                mend="delete the rows below the table, or split it",
                code="table.too_large",
            )
        cells = [_cell(cell, formulas, f"{name}, sheet {sheet.title}") for cell in row]
        numbers = frozenset(place for place, cell in enumerate(row) if _is_number(cell.value))
        if any(cells):
            yield SheetRow(number, cells, numbers)


def _cell(cell: Any, formulas: frozenset[tuple[int, int]], where: str) -> str:
    value = cell.value
    if value is None:
        # an empty text that a formula gave keeps its type; a formula never calculated has neither type nor value
        if formulas and cell.data_type != "str" and (getattr(cell, "row", 0), getattr(cell, "column", 0)) in formulas:
            raise TableError(
                "a formula in the sheet has no stored value: the program that wrote the workbook did not calculate it",
                where=f"{where}, cell {cell.coordinate}",
                mend="open the workbook in a spreadsheet program, let it calculate, and save it",
                code="table.formula_value",
            )
        return ""
    if _is_number(value) and "%" in (form := cell.number_format or "") and _PERCENT_FORMAT.match(form):
        return f"{plain_number(Decimal(plain_number(value)) * 100)} %"
    if isinstance(value, datetime) and "h" not in (cell.number_format or "").lower():
        return value.date().isoformat()
    return cell_text(value)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def cell_text(value: object) -> str:
    """A value of a sheet as text: numbers plain with a point, dates as ISO 8601, nothing as "".

    Examples
    --------
    >>> cell_text(0.1 + 0.2), cell_text(19000.0), cell_text(None)
    ('0.3', '19000', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float | Decimal):
        return plain_number(value)
    if isinstance(value, datetime):
        return _moment(value)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _span(value)
    return str(value)


def plain_number(value: float | Decimal) -> str:
    """A number as shortest plain text with a point: no exponent, no more digits than a spreadsheet keeps."""
    exact = Decimal(format(value, f".{_DIGITS}g")) if isinstance(value, float) else Decimal(value)
    text = format(exact, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _moment(value: datetime) -> str:
    """Day and time to the second: a sheet keeps a time as a fraction of a day, which is off by parts of a second."""
    return (value + timedelta(microseconds=500_000)).replace(microsecond=0).isoformat(sep=" ")


def _span(value: timedelta) -> str:
    seconds = round(value.total_seconds())
    return f"{'-' if seconds < 0 else ''}{abs(seconds) // 3600}:{abs(seconds) // 60 % 60:02}:{abs(seconds) % 60:02}"
