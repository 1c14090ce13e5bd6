"""Files that meters, balances and viscometers write: their columns told by a column map, and a first proposal of one.

A map fills the columns of a readings file. A row of an instrument may hold several values, so a field may name the
property it is for: "value: pH" beside "value: viscosity", "torque_pct: viscosity". What holds for the whole file is
declared: property, batch, instrument, method and conditions.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from kit.errors import ReadingsFileError
from kit.labbook.entry_bodies import CONDITIONS, RANGES
from kit.labbook.readings_marks import split_number
from kit.labbook.readings_text import (
    COLUMNS,
    KNOWN_COLUMNS,
    MORE_COLUMNS,
    QUANTITIES,
    ReadingsText,
    Row,
    as_import_errors,
    check_unit,
    readings_text,
    row_fault,
)
from kit.labbook.readings_times import iso_time
from kit.tabular import ColumnMap, RawRow, RawTable, is_blank, propose, read_table

FIELDS = (*COLUMNS, "date", "time", *MORE_COLUMNS)
IN_EVERY_ROW = ("batch", "property", "unit")  # declared for a file, they stand in its rows; all else is a condition

# Words that instruments and people head their columns with (common practice, no source).
_VALUES = {
    "value: pH": ("pH", "pH value", "pH reading"),
    "value: viscosity": ("visc", "viscosity", "apparent viscosity", "dynamic viscosity", "Viskosität", "viscosité"),
    "value: mass": ("mass", "weight", "net weight", "net mass", "Masse", "Gewicht", "Nettogewicht", "poids"),
    "value: density": ("density", "Dichte", "densité"),
}
_HEADERS = {
    "batch": ("batch no", "batch id", "sample id", "sample name", "sample no", "sample number", "lot", "Charge"),
    "property": ("parameter", "measurement", "measurand", "Messgröße"),
    "value": ("result", "reading", "measured value", "Messwert", "Wert"),
    "unit": ("units", "Einheit"),
    "measured_at": ("date time", "datetime", "date and time", "timestamp", "measured", "Datum Uhrzeit"),
    "date": ("day", "Datum"),
    "time": ("time of day", "clock", "Uhrzeit", "heure"),
    "temp": ("temperature", "sample temp", "sample temperature", "Temperatur", "température", "T"),
    "rpm": ("speed", "spindle speed", "rotational speed", "Drehzahl"),
    "torque_pct": ("torque", "Drehmoment"),
    "reading_time": ("dwell", "dwell time", "reading after", "Messzeit"),
    "spindle": ("spindle no", "spindle code", "Spindel"),
    "instrument": ("instrument id", "device", "meter", "Gerät", "appareil"),
    "operator": ("user", "analyst", "operator id", "Bediener", "opérateur"),
    "note": ("comment", "comments", "remark", "remarks", "notes", "Bemerkung"),
    "replicate": ("rep", "repeat"),
    "container": ("jar", "vessel", "beaker"),
    "storage": ("storage condition",),
    "rest": ("hours at 25 degC", "rested", "rest time"),
    "method": ("method name", "Methode"),
    "calibration": ("calibration id",),
    "age": ("sample age",),
}


@dataclass(frozen=True, slots=True)
class _Column:
    place: int
    header: str
    field: str
    property: str
    unit: str


def propose_map(path: str | Path, *, delimiter: str | None = None, sheet: str | None = None) -> ColumnMap:
    """A first column map for a file, by the words of its header; a person looks at it before it is used.

    Parameters
    ----------
    path : str or Path   A CSV file or an .xlsx workbook.
    delimiter : str      ";", ",", tab or "|"; found when omitted.
    sheet : str          The sheet of a workbook.

    Raises
    ------
    ReadingsFileError   The file cannot be read, see `read_text`.
    """
    words = [word for group in (*_HEADERS.values(), *_VALUES.values()) for word in group]
    with as_import_errors():
        table = read_table(path, delimiter=delimiter, sheet=sheet, known=[*KNOWN_COLUMNS, *words])
    return propose_for(table)


def propose_for(table: RawTable) -> ColumnMap:
    """A first column map for a table that was read."""
    found = propose(table.header, _HEADERS | _VALUES, name=f"columns of {table.name}")
    if "value" in found.columns.values():  # a column of plain values goes with a property, not beside a column of one
        found = propose(table.header, _HEADERS, name=found.name)
    row = table.header_row if table.above else 0
    return replace(found, header_row=row, delimiter=table.delimiter, sheet=table.sheet)


def read_mapped(
    path: str | Path, column_map: ColumnMap, *, delimiter: str | None = None, sheet: str | None = None
) -> ReadingsText:
    """Read a file whose columns a map explains, as rows of a readings file.

    Parameters are those of `read_text`; what is given here goes before what the map says.

    Raises
    ------
    ReadingsFileError   As `read_text`; `import.map_fit` where the header is not the map's, `import.map_field` where the
                        map itself does not hold together.
    """
    with as_import_errors():
        table = read_table(
            path,
            delimiter=delimiter or column_map.delimiter or None,
            sheet=sheet or column_map.sheet or None,
            header_row=column_map.header_row or None,
            known=(*column_map.columns, *column_map.ignored),
        )
        places = column_map.places(table.header, where=table.name)
    columns = _columns(table, column_map, places)
    body, said = (table.rows[1:], table.rows[:1]) if column_map.units_row else (table.rows, ())
    columns = [_with_unit_below(column, said) for column in columns]
    for column in columns:
        if column.unit and column.field in QUANTITIES:
            check_unit(column.field, column.unit, where=f"{table.name}, column {column.header}")
    reader = _MappedRows(table, column_map, columns, _in_every_row(column_map))
    rows = [row for raw in body for row in reader.rows(raw)]
    units = {column.field: column.unit for column in columns if column.unit and not column.property}
    return readings_text(table, reader.filled(), units, rows, tuple(reader.notes()))


def declared_in(column_map: ColumnMap) -> tuple[tuple[str, ...], dict[str, str]]:
    """Methods and conditions that a map declares for the whole file.

    Raises
    ------
    ReadingsFileError   `import.map_field`.
    """
    allowed = (*IN_EVERY_ROW, "method", *CONDITIONS)
    for name in column_map.declared:
        if name.partition(":")[0].strip() not in allowed:
            raise _field(f"{name!r} cannot be declared for a whole file", column_map, allowed)
    methods = [text for name, text in column_map.declared.items() if name.partition(":")[0].strip() == "method"]
    conditions = {name: text for name, text in column_map.declared.items() if name in CONDITIONS}
    return tuple(methods), conditions


class _MappedRows:
    """Turns the rows of a foreign table into rows of a readings file, one for each value."""

    def __init__(
        self, table: RawTable, column_map: ColumnMap, columns: list[_Column], whole: Mapping[str, str]
    ) -> None:
        self._table = table
        self._map = column_map
        self._columns = columns
        self._whole = whole
        self._properties = list(dict.fromkeys(column.property for column in columns if column.field == "value"))
        self._skipped = tuple(word.casefold() for word in column_map.skipped if word.strip())
        self._words = {
            name: {" ".join(word.split()).casefold(): ours for word, ours in words.items()}
            for name, words in column_map.words.items()
        }
        self._left_out: list[int] = []

    def rows(self, raw: RawRow) -> Iterator[Row]:
        """The rows that one row of the file gives: one a value, none where it was to be skipped."""
        first = next((cell for cell in raw.cells if cell), "").casefold()
        if self._skipped and first.startswith(self._skipped):
            self._left_out.append(raw.number)
            return
        if fault := row_fault(raw, self._table):
            yield Row(raw.number, {}, fault)
            return
        made = [self._row(raw, name) for name in self._properties]
        told = [row for row in made if not is_blank(row.cells["value"])]
        yield from told or made[:1]  # a row that says no value at all is refused with that reason

    def filled(self) -> tuple[str, ...]:
        """The columns of a readings file that the map fills."""
        fields = {column.field for column in self._columns} | set(self._whole)
        if any(self._properties):
            fields |= {"property"}
        if fields & {"date", "time"}:
            fields |= {"measured_at"}
        return tuple(name for name in KNOWN_COLUMNS if name in fields)

    def notes(self) -> Iterable[str]:
        """What was left out and what was declared, in words."""
        if self._map.name:
            yield f"columns read by the map {self._map.name!r}"
        if self._map.ignored:
            yield f"columns left out by the map: {', '.join(self._map.ignored)}"
        if self._left_out:
            shown = ", ".join(map(str, self._left_out[:8])) + (" ..." if len(self._left_out) > 8 else "")
            yield f"rows left out by the map, which begin with {' or '.join(self._map.skipped)}: {shown}"
        for name, text in self._whole.items():
            yield f"{name} of the whole file: {text}"
        if self._map.date_order:
            yield f"days are written {'day.month.year' if self._map.date_order == 'DMY' else 'month/day/year'}"

    def _row(self, raw: RawRow, of: str) -> Row:
        cells, typed = dict(self._whole), set()
        if of:
            cells["property"] = of
        for column in self._columns:
            if column.property not in ("", of):
                continue
            cell = self._translated(column.field, raw.cells[column.place])
            if column.unit and column.property:
                if column.field == "value":
                    cells["unit"] = column.unit
                else:  # the unit holds for this column, not for the condition in the whole file
                    cell = _with_unit(cell, column.unit)
            cells[column.field] = cell
            if column.place in raw.numbers:
                typed.add(column.field)
        self._join_time(cells)
        return Row(raw.number, cells, typed=frozenset(typed))

    def _translated(self, name: str, cell: str) -> str:
        words = self._words.get(name)
        return words.get(" ".join(cell.split()).casefold(), cell) if words else cell

    def _join_time(self, cells: dict[str, str]) -> None:
        day, hour = cells.pop("date", ""), cells.pop("time", "")
        if hour:  # a sheet keeps a day as its midnight
            day = day.removesuffix(" 00:00:00")
        if day or hour:
            cells["measured_at"] = f"{day} {hour}".strip()
        if self._map.date_order and cells.get("measured_at"):
            cells["measured_at"] = iso_time(cells["measured_at"], self._map.date_order)


def _with_unit(cell: str, unit: str) -> str:
    digits, said = split_number(cell)
    return f"{cell} {unit}" if digits and not said else cell


def _in_every_row(column_map: ColumnMap) -> dict[str, str]:
    return {name: text for name, text in column_map.declared.items() if name in IN_EVERY_ROW}


def _columns(table: RawTable, column_map: ColumnMap, places: Mapping[int, str]) -> list[_Column]:
    columns = []
    for place, target in places.items():
        name, _, of = (part.strip() for part in target.partition(":"))
        if name not in FIELDS:
            raise _field(f"the column {table.header[place]!r} is mapped to {target!r}", column_map, FIELDS)
        header = table.header[place]
        unit = column_map.unit_of(header) if name in QUANTITIES else column_map.units.get(header, "")
        if unit and name not in QUANTITIES:
            raise _field(
                f"the column {header!r} is mapped to {name}, which takes no unit ({unit})", column_map, QUANTITIES
            )
        columns.append(_Column(place, header, name, _known_property(of), unit))
    _check_whole(columns, column_map)
    return columns


def _known_property(name: str) -> str:
    return next((known for known in RANGES if known.casefold() == name.casefold()), name)


def _with_unit_below(column: _Column, said: tuple[RawRow, ...]) -> _Column:
    """The column with the unit that stands in the row below the header."""
    if not said or column.field not in QUANTITIES or column.place >= len(said[0].cells):
        return column
    unit = said[0].cells[column.place].strip("[]() ")
    return replace(column, unit=unit) if unit and not is_blank(unit) else column


def _check_whole(columns: list[_Column], column_map: ColumnMap) -> None:
    """Batch, property and value must come from somewhere, and from one place only."""
    filled = [(column.field, column.property) for column in columns]
    names = {name for name, _ in filled} | set(column_map.declared)
    twice = next((place for place in filled if filled.count(place) > 1), None)
    if twice:
        raise _field(f"two columns are mapped to {': '.join(filter(None, twice))!r}", column_map, ())
    values = [of for name, of in filled if name == "value"]
    if not values:
        raise _field("no column is mapped to a value", column_map, ("value", "value: pH", "value: viscosity"))
    if "batch" not in names:
        raise _field("neither a column nor a declared value gives the batch", column_map, ("batch",))
    if "" in values and (len(values) > 1 or "property" not in names):
        what = "a plain value stands beside values of a property" if len(values) > 1 else "nothing says which property"
        raise _field(what, column_map, ('"value: pH" for the column', 'property = "pH" under declared'))
    if "" not in values and "property" in names:
        raise _field("the property is named twice: by the value columns and on its own", column_map, ())
    if column_map.date_order not in ("", "DMY", "MDY"):
        raise _field(f"date_order is {column_map.date_order!r}", column_map, ("DMY", "MDY"))


def _field(what: str, column_map: ColumnMap, allowed: Iterable[str]) -> ReadingsFileError:
    return ReadingsFileError(
        what,
        where=f"column map {column_map.name!r}" if column_map.name else "column map",
        allowed=", ".join(allowed),
        mend="correct the map",
        code="import.map_field",
    )
