"""Plain tables as an .xlsx workbook: numbers as numbers, texts as texts that no program takes for a formula."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from kit.errors import RecordError
from kit.labbook.exchange_tables import Cell, PlainTable

# Characters that a workbook cannot hold (XML 1.0, 2.2 Characters) are written as their number, to be seen.
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_LONGEST = 32_767  # characters of a cell, and rows of a sheet: Office Open XML specifications and limits (from memory)
_MOST_ROWS = 1_048_576
_CUT = " ... (cut: a cell holds no more)"


def write_workbook(path: Path, tables: Sequence[PlainTable]) -> int:
    """Write each table into a sheet of its own; the number of rows written.

    Raises
    ------
    RecordError   `exchange.too_long`: a table has more rows than a sheet holds.
    """
    from openpyxl import Workbook

    workbook = Workbook(write_only=True)
    count = 0
    for table in tables:
        sheet = workbook.create_sheet(table.name)
        sheet.freeze_panes = "B2"
        _widths(sheet, table.columns)
        sheet.append([_cell(sheet, name, bold=True) for name in table.columns])
        for number, row in enumerate(table.rows(), start=2):
            if number > _MOST_ROWS:
                raise RecordError(
                    f"the table {table.name} has more rows than a sheet holds",
                    where=path.name,
                    allowed=f"{_MOST_ROWS} rows",
                    mend="export some of the trials at a time, or as CSV",
                    code="exchange.too_long",
                )
            sheet.append([_cell(sheet, value) for value in row])
            count += 1
    workbook.save(path)
    return count


def _cell(sheet: Any, value: Cell, *, bold: bool = False) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    if value is None or value == "":
        return None
    if isinstance(value, str):
        cell = WriteOnlyCell(sheet, value="")
        cell._value, cell.data_type = visible(value), "s"  # set past the guess that makes "=..." a formula
        cell.quotePrefix = True  # and it stays a text when somebody edits it
        if bold:
            cell.font = Font(bold=True)
        return cell
    cell = WriteOnlyCell(sheet, value=float(value) if isinstance(value, Decimal) else value)
    if isinstance(value, Decimal):
        places = max(0, -value.as_tuple().exponent)
        cell.number_format = f"0.{'0' * places}" if places else "0"
    return cell


def visible(text: str) -> str:
    r"""A text as a workbook can hold it: characters it forbids by number, no longer than a cell.

    Examples
    --------
    >>> visible("a\x00b")
    'a\\x00b'
    """
    shown = _NOT_XML.sub(lambda found: f"\\x{ord(found.group()):02x}", text)
    return shown if len(shown) <= _LONGEST else shown[: _LONGEST - len(_CUT)] + _CUT


def _widths(sheet: Any, columns: Sequence[str]) -> None:
    from openpyxl.utils import get_column_letter

    for place, name in enumerate(columns, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = max(11, len(name) + 3)
