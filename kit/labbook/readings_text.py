"""The text of a readings file: its encoding, its delimiter, its header and its rows of cells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from kit.errors import ReadingsFileError, TableError, UnitError
from kit.tabular import RawRow, RawTable, nearest, read_table
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
MORE_COLUMNS = ("rest",)
"""Columns that a file may have beside them: hours at 25 degC before a jar was read."""
KNOWN_COLUMNS = (*COLUMNS, *MORE_COLUMNS)
NEEDED = ("batch", "property", "value")
# The columns that hold a quantity, and a unit of the kind that each takes; the value's kind hangs on its property.
QUANTITIES = {
    "value": "",
    "age": "h",
    "temp": "degC",
    "rpm": "rpm",
    "torque_pct": "%",
    "reading_time": "s",
    "rest": "h",
}

# What is wrong with a table, as it is said of a readings file. Faults of a map's own file keep their code.
_CODES = {
    "table.file_missing": "import.file_missing",
    "table.too_large": "import.too_large",
    "table.not_text": "import.not_text",
    "table.encoding": "import.encoding",
    "table.delimiter": "import.delimiter",
    "table.quotes": "import.quotes",
    "table.empty": "import.empty",
    "table.header": "import.header",
    "table.sheet": "import.sheet",
    "table.workbook": "import.workbook",
    "table.formula_value": "import.formula_value",
    "table.map_fit": "import.map_fit",
}
_NONE: frozenset[str] = frozenset()
_HEAD = re.compile(r"^(.*?)\s*[\[(]([^\])]*)[\])]$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Row:
    """One row that is not empty: its number as a spreadsheet counts (the header is row 1 as a rule) and its cells.

    `fault` says why the row cannot be read at all; its cells are then empty. `typed` are the columns whose cells came
    as numbers from a sheet, so that their decimal mark is a point.
    """

    number: int
    cells: Mapping[str, str]
    fault: str = ""
    typed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class ReadingsText:
    """A readings file as text, before any cell is understood.

    `units` are the units the header gives for whole columns; `notes` say how it was read and what was assumed.
    """

    name: str
    sha256: str
    encoding: str
    delimiter: str
    columns: tuple[str, ...]
    units: Mapping[str, str]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    sheet: str = ""


def read_text(path: str | Path, *, delimiter: str | None = None, sheet: str | None = None) -> ReadingsText:
    """Read a readings file whose header names the columns of this module.

    Parameters
    ----------
    path : str or Path   A CSV file (UTF-8 with or without its mark, UTF-16 with its mark, or Windows-1252), or an
                         .xlsx workbook.
    delimiter : str      ";", ",", tab or "|"; found from the header when omitted.
    sheet : str          The sheet of a workbook; needed where several have content.

    Raises
    ------
    ReadingsFileError   `import.file_missing`, `import.not_text`, `import.encoding`, `import.too_large`, `import.empty`,
                        `import.quotes`, `import.delimiter`, `import.sheet`, `import.workbook`, `import.formula_value`,
                        `import.column_unknown`, `import.column_missing`, `import.column_twice`, `import.column_unit`.
    """
    with as_import_errors():
        table = read_table(path, delimiter=delimiter, sheet=sheet, known=KNOWN_COLUMNS)
    columns, units = _header(table.header, table.name)
    return readings_text(table, columns, units, plain_rows(table, columns))


def readings_text(
    table: RawTable,
    columns: tuple[str, ...],
    units: Mapping[str, str],
    rows: Iterable[Row],
    notes: tuple[str, ...] = (),
) -> ReadingsText:
    """A table whose columns are understood.

    Raises
    ------
    ReadingsFileError   `import.empty`: a header and no row.
    """
    kept = tuple(rows)
    if not kept:
        raise ReadingsFileError(
            "the file has a header and no row of readings",
            where=table.name,
            allowed=f"a row naming the columns, such as {', '.join(COLUMNS[:5])}, then one row a reading",
            mend="check that it is the right file",
            code="import.empty",
        )
    return ReadingsText(
        table.name,
        table.sha256,
        table.encoding,
        table.delimiter,
        columns,
        units,
        kept,
        (*table.assumed, *notes),
        table.sheet,
    )


@contextmanager
def as_import_errors() -> Iterator[None]:
    """Faults of a table as faults of a readings file: the same words, `import.` in front of the code."""
    try:
        yield
    except TableError as fault:
        parts = {"where": fault.where, "allowed": fault.allowed, "mend": fault.mend}
        raise ReadingsFileError(fault.what, **parts, code=_CODES.get(fault.code, fault.code)) from None


def _header(record: Sequence[str], name: str) -> tuple[tuple[str, ...], dict[str, str]]:
    heads = [_split_head(cell) for cell in record]
    _known_columns(list(record), [head for head, _ in heads], name)
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
    unknown = [(text, head) for text, head in zip(typed, heads, strict=True) if head not in KNOWN_COLUMNS]
    if unknown:
        words = "; ".join(f"{text!r}{_perhaps(head)}" for text, head in unknown)
        raise ReadingsFileError(
            f"these columns are not known: {words}",
            where=f"{name}, header",
            allowed=", ".join(KNOWN_COLUMNS),
            mend="correct or delete them; words of your own belong in the column note, and a file that an instrument "
            "wrote needs a column map",
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
    near = nearest(head, KNOWN_COLUMNS)
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
            read(f"1 {behind_number(unit)}", QUANTITIES[column])
        except UnitError:
            raise ReadingsFileError(
                f"{unit!r} is no unit for the column {column!r}",
                where=where,
                allowed=f"for example {QUANTITIES[column]}",
                mend="correct it",
                code="import.column_unit",
            ) from None


def behind_number(unit: str) -> str:
    """A unit as it can stand behind a number: of "1/min" the 1 would be taken for a digit.

    Examples
    --------
    >>> behind_number("1/min"), behind_number("rpm")
    ('/min', 'rpm')
    """
    return unit[1:].lstrip() if re.match(r"1\s*/", unit) else unit


def plain_rows(table: RawTable, columns: tuple[str, ...]) -> Iterator[Row]:
    """Rows of a table whose columns are those of this module, in the order given."""
    for row in table.rows:
        if fault := row_fault(row, table):
            yield Row(row.number, {}, fault)
        else:
            typed = frozenset(columns[place] for place in row.numbers if place < len(columns)) if row.numbers else _NONE
            yield Row(row.number, dict(zip(columns, row.cells, strict=False)), typed=typed)


def row_fault(row: RawRow, table: RawTable) -> str:
    """Why a row cannot be read at all: a cell too many or too few may have shifted all that follow."""
    if len(row.cells) != table.width:
        return f"the row has {len(row.cells)} cells, the header has {table.width}"
    return "a cell stands beyond the last named column" if any(row.cells[len(table.header) :]) else ""
