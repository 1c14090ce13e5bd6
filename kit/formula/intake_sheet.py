"""A formula sheet whose columns are understood, and its lines read one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from kit.errors import FormulaError, KitError
from kit.formula.intake_amounts import Refusal
from kit.formula.intake_columns import (
    AMOUNTS,
    check_columns,
    propose_by_content,
    propose_columns,
    with_unit_row,
    without_header,
)
from kit.formula.intake_names import Resolution, Resolver, user_words
from kit.formula.intake_numbers import Amount, Marks, find_marks, is_amount, read_amount
from kit.formula.intake_rows import UNCLEAR, Entry
from kit.formula.library import Library
from kit.tabular import ColumnMap, RawTable

_MOST = Decimal(10) ** 9  # a thousand tonnes in grams: beyond it a cell holds no amount
_YES = ("x", "✓", "yes", "ja", "oui", "true", "1", "q.s.", "qs", "qsp", "100")


@dataclass(frozen=True)
class Sheet:
    """A table whose columns are understood."""

    table: RawTable
    columns: ColumnMap
    places: Mapping[int, str]
    resolver: Resolver
    marks: Marks
    assumed: tuple[str, ...]

    def header(self, name: str) -> str:
        """The header of the column that fills a field; the field itself where none does."""
        place = next((place for place, found in self.places.items() if found == name), None)
        return name if place is None else self.table.header[place]

    @property
    def record(self) -> str:
        """The field that the percentages come from."""
        return next(name for name in AMOUNTS if name in self.places.values())

    def unit(self, name: str) -> str:
        """Unit of a column of amounts; "" where only its cells say it."""
        own = self.columns.unit_of(self.header(name))
        return "%" if name == "pct" else (own or "g") if name == "grams" else own


@dataclass
class Found:
    """What the rows turned out to be, by row."""

    amounts: dict[int, Amount] = field(default_factory=dict)
    materials: dict[int, Resolution] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    unknown: dict[str, dict[str, str]] = field(default_factory=dict)

    def refuse(self, problem: KitError, row: int, column: str) -> None:
        """Keep a mistake as the reason to refuse a row."""
        self.refused.append(Refusal(row, column, problem.what, problem.allowed, problem.mend, problem.code))


def understood(
    table: RawTable,
    library: Library,
    given: ColumnMap | None,
    decimal_mark: str | None,
    materials: Mapping[str, str] | None,
) -> Sheet:
    """The table with the meaning of its columns and the mark of its numbers.

    Parameters
    ----------
    table : RawTable      Its columns named.
    library : Library     What names are looked up in.
    given : ColumnMap     What the columns mean; proposed when None.
    decimal_mark : str    "." or ","; found when None.
    materials : dict      A name of the sheet to a key of the library.

    Raises
    ------
    FormulaError    `intake.columns`, `intake.volume`, `intake.map_field`, `intake.decimal_mark`.
    TableError      `table.map_fit`.
    MaterialError   `material.unknown` for a key there is not.
    """
    own = {**(given.words.get("material", {}) if given else {}), **(materials or {})}
    for name, key in own.items():
        library.find(key, where=f"materials, {name!r}")
    resolver = Resolver(library, user_words(own))
    table, unit_row = with_unit_row(table)
    if given is None:
        table, columns, reasons = _proposed(table, resolver)
    else:
        columns, reasons = given, (f"columns as the map {given.name!r} says",)
    places = check_columns(columns, table)
    marks = find_marks(_typed_amounts(table, places), decimal_mark or columns.decimal_mark, table.name)
    words = {**columns.words, **({"material": own} if own else {})}
    columns = replace(columns, words=words, decimal_mark=marks.mark if marks.declared else columns.decimal_mark)
    said = () if table.typed and marks.mark == "." else (f"decimal mark: {marks.words()}",)
    return Sheet(table, columns, places, resolver, marks, (*table.assumed, *unit_row, *reasons, *said))


def _proposed(table: RawTable, resolver: Resolver) -> tuple[RawTable, ColumnMap, tuple[str, ...]]:
    columns, reasons = propose_columns(table)
    try:
        check_columns(columns, table)
    except FormulaError as problem:
        if problem.code != "intake.columns":
            raise
        bare = without_header(table)
        by_content = propose_by_content(bare, is_amount, lambda text: bool(resolver.lookup(text)))
        if by_content is None:
            raise
        named = (f"{cell} is the {field_name}" for cell, field_name in by_content.columns.items())
        return bare, by_content, (f"there is no header; by their cells {', '.join(named)}",)
    return table, columns, reasons


def _typed_amounts(table: RawTable, places: Mapping[int, str]) -> list[str]:
    """Amounts that are text: those that were numbers in their sheet say nothing of a decimal mark."""
    return [
        row.cells[place]
        for row in table.rows
        for place, name in places.items()
        if name in AMOUNTS and place < len(row.cells) and place not in row.numbers
    ]


def read_lines(lines: list[Entry], sheet: Sheet) -> Found:
    """Material and amount of every line; each mistake is kept as the reason to refuse its row."""
    found = Found()
    for entry in lines:
        where = f"{sheet.table.name}, row {entry.row}"
        try:
            found.materials[entry.row] = sheet.resolver.resolve(entry.names, entry.cells.get("strength", ""), where)
        except KitError as problem:
            found.refuse(problem, entry.row, sheet.header(next(iter(entry.names))))
            if problem.code == "material.unknown":
                names = entry.names
                text = names.get("trade_name") or names.get("name") or names.get("inci") or names["code"]
                found.unknown.setdefault(text, names)
        try:
            found.amounts[entry.row] = _amount(entry, sheet, where)
        except KitError as problem:
            found.refuse(problem, entry.row, sheet.header(sheet.record))
    return found


def _amount(entry: Entry, sheet: Sheet, where: str) -> Amount:
    record = sheet.record
    text = entry.cells.get(record, "")
    marked = entry.cells.get("qs", "").casefold() in _YES
    if not text and marked:
        return Amount(None, "", qs=True)
    if not text:
        raise FormulaError(
            "the material has no amount",
            where=where,
            allowed='a number, 0 among them, or "q.s."',
            mend="write how much of it there is, or delete the row",
            code="intake.amount_missing",
        )
    amount = read_amount(text, sheet.unit(record), _marks_of(entry, record, sheet.marks), where)
    if amount.value is not None and amount.value > _MOST:
        raise FormulaError(
            f"{text!r} is no amount of a formula",
            where=where,
            allowed="% w/w, or the mass of a batch",
            mend="correct it",
            code="formula.value",
        )
    if entry.numbers and record in entry.numbers and amount.value is not None:
        amount = replace(amount, value=_two_places(amount.value))
    return replace(amount, qs=True) if marked else amount


def _marks_of(entry: Entry, name: str, marks: Marks) -> Marks:
    """The decimal mark of a cell: one that was a number in its sheet has a point."""
    return Marks(".", True) if name in entry.numbers else marks


def _two_places(value: Decimal) -> Decimal:
    """A number of a sheet, which keeps no final zeros, written as the trade writes it: 3.00."""
    return value.quantize(Decimal("0.01")) if value == value.quantize(Decimal("0.01")) else value


def refuse_unclear(entries: list[Entry], sheet: Sheet, found: Found) -> None:
    """Refuse the rows among the lines that are neither a line, nor a heading, nor a total."""
    for entry in entries:
        if entry.kind == UNCLEAR:
            code = "intake.row_no_name" if entry.amounts else "intake.row_unclear"
            found.refused.append(
                Refusal(
                    entry.row,
                    "",
                    f"{entry.why}: {entry.text!r}",
                    "a line, the heading of a phase, a total, an empty row",
                    "complete or delete the row, or let the column map leave it out: skipped = [its first word]",
                    code,
                )
            )


def read_cell(entry: Entry, name: str, sheet: Sheet) -> Amount | None:
    """An amount of a row, or None where the cell is empty or no number."""
    if name not in entry.cells:
        return None
    try:
        return read_amount(entry.cells[name], sheet.unit(name), _marks_of(entry, name, sheet.marks), f"row {entry.row}")
    except KitError:
        return None
