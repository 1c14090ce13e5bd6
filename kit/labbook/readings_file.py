"""Taking a file of readings into a lab book: a preview with a reason for every refused row, then all or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from kit.errors import ReadingsFileError
from kit.labbook.batch_entries import reading_of
from kit.labbook.bulk import collector_paused
from kit.labbook.entry_bodies import CONDITIONS
from kit.labbook.ledger import Effective
from kit.labbook.projecting import rows_of
from kit.labbook.readings_map import declared_in, read_mapped
from kit.labbook.readings_marks import Marks, find_marks
from kit.labbook.readings_rows import Refusal, RowReader, TakenRow
from kit.labbook.readings_text import COLUMNS, ReadingsText, as_import_errors, check_unit, read_text
from kit.labbook.readings_times import Zone
from kit.labbook.source import Source
from kit.labbook.store import Store
from kit.labbook.streams import Draft
from kit.labbook.view import batch_stream
from kit.show import Block, Cell, Table, listing, paragraph
from kit.tabular import ColumnMap, nearest


class OpenBook(Protocol):
    """What the import needs of a lab book: its store, and a fresh source of what is recorded."""

    store: Store

    def source(self) -> Source:
        """A fresh read-only view."""


_NOT_DECLARED = ("sample", "replicate", "note")  # they tell single readings apart
_TOLD = 6  # reasons told in the error; the preview has them all


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What a file brought: readings and observations added, and rows that were there already."""

    file: str
    added: int
    known: int
    batches: tuple[str, ...]

    def __str__(self) -> str:
        if not self.added:
            return f"{self.file}: nothing added; all {self.known} rows are recorded already."
        also = f"; {self.known} rows were recorded already and are not doubled" if self.known else ""
        return f"{self.file}: {_count(self.added, 'row')} recorded in {', '.join(self.batches)}{also}."

    def _repr_html_(self) -> str:
        return paragraph(self)

    __repr__ = __str__


@dataclass(eq=False)
class Preview:
    """What a file of readings would bring. Nothing is stored before `commit`.

    Parameters
    ----------
    taken : tuple of TakenRow     Rows that were understood, those recorded already among them.
    refused : tuple of Refusal    A reason for every cell that was not; one is enough to keep the whole file out.
    assumed : tuple of str        How the file was read: encoding, delimiter, decimal mark, zone, what was declared.
    column_map : ColumnMap        What the file's headers meant; None where they were those of a readings file.
    """

    text: ReadingsText
    marks: Marks
    taken: tuple[TakenRow, ...]
    refused: tuple[Refusal, ...]
    assumed: tuple[str, ...]
    declared: Mapping[str, object]
    column_map: ColumnMap | None
    _book: OpenBook = field(repr=False)
    _source: Source = field(repr=False)
    _heads: Mapping[str, tuple[int, str]] = field(repr=False)
    _report: ImportReport | None = field(default=None, repr=False)

    @property
    def new(self) -> tuple[TakenRow, ...]:
        """Rows that would be added."""
        return tuple(row for row in self.taken if not row.known)

    @property
    def known(self) -> tuple[TakenRow, ...]:
        """Rows that the lab book, or an earlier row of the file, holds already."""
        return tuple(row for row in self.taken if row.known)

    @property
    def ok(self) -> bool:
        """Whether the file can be taken in: no row is refused."""
        return not self.refused

    def count(self) -> str:
        """ "28 new, 2 recorded already, 1 reason to refuse the file" """
        reasons = f"{_count(len(self.refused), 'reason')} to refuse the file" if self.refused else "none refused"
        return f"{len(self.new)} new, {len(self.known)} recorded already, {reasons}"

    def table(self) -> Table:
        """Every row with what would become of it, in the order of the file."""
        rows = [(row.row, *self._taken_cells(row)) for row in self.taken]
        rows += [
            (
                reason.row,
                "",
                reason.column,
                "",
                Cell("REFUSED", "fail"),
                f"{reason.what}. To mend: {reason.mend} [{reason.code}]",
            )
            for reason in self.refused
        ]
        shown = [(str(number), *cells) for number, *cells in sorted(rows, key=lambda row: row[0])]
        return Table(
            ("row", "batch", "property or column", "value", "becomes", "remarks"),
            shown,
            title=f"{self.text.name}: {self.count()}",
            note=self._verdict(),
            numeric=frozenset({0, 3}),
        )

    def commit(self) -> ImportReport:
        """Record all new rows in one transaction.

        Raises
        ------
        ReadingsFileError   `import.refused` when a row is refused: nothing is stored.
        RecordError         `labbook.moved_on` when a batch has grown since the preview: nothing is stored.
        """
        if self.refused:
            raise self._refusal()
        if self._report is not None:
            return ImportReport(self.text.name, 0, len(self.taken), ())
        new = self.new
        if new:
            with collector_paused():
                self._book.store.append_many(self._drafts(new))
        self._report = ImportReport(
            self.text.name, len(new), len(self.known), tuple(dict.fromkeys(row.batch for row in new))
        )
        return self._report

    def _taken_cells(self, row: TakenRow) -> tuple:
        unit = row.body.get("unit", "")
        name, value = (
            row.body.get("property", row.body.get("name", "")),
            row.body.get("value", row.body.get("word", "")),
        )
        becomes = Cell("recorded already", "quiet") if row.known else Cell("new", "strong")
        remarks = [row.known] if row.known else [*row.notes, *self._remarks(row)]
        return row.batch, name, value if unit in ("", "1") else f"{value} {unit}", becomes, "\n".join(remarks)

    def _remarks(self, row: TakenRow) -> tuple[str, ...]:
        """What a new reading will be flagged for; worked out for those who look."""
        return _flags(self._source, row) if row.kind == "reading" else ()

    def _verdict(self) -> str:
        if self.refused:
            return "Nothing is stored: mend the rows named and give the file again."
        return (
            "Nothing is stored yet: commit() records the new rows, all or none."
            if self.new
            else "Nothing to add: every row is recorded already."
        )

    def _refusal(self) -> ReadingsFileError:
        rows = len({reason.row for reason in self.refused})
        told = "; ".join(str(reason) for reason in self.refused[:_TOLD])
        more = f"; and {len(self.refused) - _TOLD} more" if len(self.refused) > _TOLD else ""
        return ReadingsFileError(
            f"{_count(rows, 'row')} of {self.text.name} cannot be taken in, so nothing was stored: {told}{more}",
            where=self.text.name,
            mend="mend these rows and give the whole file again; what is recorded already is not doubled",
            code="import.refused",
        )

    def _drafts(self, new: Sequence[TakenRow]) -> list[Draft]:
        drafts, begun = [], set()
        for row in new:
            stream = batch_stream(row.batch)
            drafts.append(
                Draft(
                    stream,
                    row.kind,
                    dict(row.body),
                    stream_kind="batch",
                    measured_at=row.measured_at or None,
                    project=rows_of(row.kind, row.body, row.measured_at or None),
                    expect=None if stream in begun else self._heads[stream],
                )
            )
            begun.add(stream)
        body = {
            "file": self.text.name,
            "sha256": self.text.sha256,
            "encoding": self.text.encoding,
            "delimiter": self.text.delimiter,
            "decimal_mark": self.marks.mark,
            "declared": dict(self.declared),
            "added": len(new),
            "known": len(self.known),
            **({"sheet": self.text.sheet} if self.text.sheet else {}),
            **({"column_map": self.column_map.row()} if self.column_map else {}),
        }
        return [*drafts, Draft("book", "import", body, stream_kind="book")]

    def _block(self) -> Block:
        return Block((self.table(), listing("How the file was read", self.assumed)))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


@collector_paused()
def preview_readings(
    book: OpenBook,
    path: str | Path,
    *,
    decimal_mark: str | None = None,
    delimiter: str | None = None,
    method: str | Sequence[str] | None = None,
    declared: Mapping[str, str] | None = None,
    timezone: str | None = None,
    units: Mapping[str, str] | None = None,
    column_map: ColumnMap | str | Path | None = None,
    sheet: str | None = None,
) -> Preview:
    """Read a file of readings and say what it would bring; nothing is stored.

    Parameters
    ----------
    book : Labbook            An open lab book.
    path : str or Path        A CSV file or an .xlsx workbook with a header; its columns are those of
                              `kit.labbook.readings_text.COLUMNS`, or what a column map says.
    decimal_mark : str        "." or ","; found from the numbers where only one reading is possible.
    delimiter : str           ";", ",", tab or "|"; found from the header.
    method : str or list      Method for rows of its property that name none; what it prescribes is then declared.
    declared : dict           Conditions of the whole file, {"temp": "25 degC", "spindle": "disc 5"}. Readings that
                              rest on them are shown, not tested.
    timezone : str            Zone of times without an offset, "+02:00" or "Europe/Berlin"; else the bench clock's.
    units : dict              Units of whole columns, {"temp": "degC"}, where neither header nor cells have them.
    column_map : ColumnMap    What the headers of an instrument's file mean, or the TOML file that says it. What is
                              given with the call goes before what the map says.
    sheet : str               The sheet of a workbook; needed where several have content.

    Raises
    ------
    ReadingsFileError   When the file as a whole cannot be read: see `read_text`, `read_mapped`, `find_marks`;
                        `import.timezone`, `import.declared`, `import.method`.
    """
    chosen = _map(column_map)
    if chosen is None:
        text, told = read_text(path, delimiter=delimiter, sheet=sheet), ColumnMap()
    else:
        text, told = read_mapped(path, chosen, delimiter=delimiter, sheet=sheet), chosen
    said_methods, said_conditions = declared_in(told)
    marks = find_marks(text, decimal_mark or told.decimal_mark or None)
    source = book.source()
    methods = _methods(source, said_methods if method is None else method)
    given = _declared({**said_conditions, **(declared or {})})
    zone = Zone.of(timezone or told.timezone or None, book.store.clock())
    reader = RowReader(source, text.name, marks, _units(text, units or {}), methods, given, zone)
    read_rows = [reader.read(row) for row in text.rows]
    taken = tuple(row for row in read_rows if isinstance(row, TakenRow))
    refused = tuple(reason for row in read_rows if not isinstance(row, TakenRow) for reason in row)
    heads = {batch_stream(name): source.entries(batch_stream(name))[-1].head for name in {row.batch for row in taken}}
    whole = {**({"method": list(methods)} if methods else {}), **given}
    return Preview(
        text, marks, taken, refused, tuple(_assumed(text, marks, reader)), whole, chosen, book, source, heads
    )


def _map(column_map: ColumnMap | str | Path | None) -> ColumnMap | None:
    if column_map is None or isinstance(column_map, ColumnMap):
        return column_map
    with as_import_errors():
        return ColumnMap.load(column_map)


def _methods(source: Source, method: str | Sequence[str] | None) -> tuple[str, ...]:
    asked = () if method is None else (method,) if isinstance(method, str) else tuple(method)
    known = {name for study in source.studies() for name in source.study(study).methods}
    for name in asked:
        if name not in known:
            raise ReadingsFileError(
                f"no study has a method {name!r}",
                where="method=",
                allowed=", ".join(sorted(known)),
                mend=f"did you mean {near[0]!r}?" if (near := nearest(name, known)) else "name one of these",
                code="import.method",
            )
    return asked


def _declared(declared: Mapping[str, str]) -> dict[str, str]:
    allowed = [name for name in CONDITIONS if name not in _NOT_DECLARED]
    kept = {}
    for name, typed in declared.items():
        if name not in allowed:
            near = nearest(str(name), allowed)
            raise ReadingsFileError(
                f"{name!r} cannot be declared for a whole file",
                where="declared=",
                allowed=", ".join(allowed),
                mend=f"did you mean {near[0]!r}?" if near else "use one of these",
                code="import.declared",
            )
        field_name, convert = CONDITIONS[name]
        kept[field_name] = convert(typed, f"declared {name}")
    return kept


def _units(text: ReadingsText, units: Mapping[str, str]) -> dict[str, str]:
    for column, unit in units.items():
        check_unit(column, unit, where="units=")
    return {**text.units, **units}


def _assumed(text: ReadingsText, marks: Marks, reader: RowReader):
    how, *notes = text.notes
    yield f"{how}, decimal mark {marks.words()}"
    yield from notes
    yield from reader.zone.words()
    if reader.declared:
        told = ", ".join(f"{name} {value}" for name, value in reader.declared.items())
        yield f"declared for the whole file: {told}; readings that rest on it are shown, not tested"
    for name in reader.methods:
        yield (
            f"method {name} declared for rows that name none; these readings are shown, not tested"
            if name in reader.used_methods
            else f"method {name} was declared, but every row of its property names its own"
        )
    absent = [column for column in COLUMNS if column not in text.columns]
    if absent:
        yield f"columns not in the file: {', '.join(absent)}"


def _flags(source: Source, row: TakenRow) -> tuple[str, ...]:
    """The flags a new reading will raise, and instruments and calibrations the lab book does not know."""
    batch = source.batch(row.batch)
    item = Effective(0, "reading", dict(row.body), row.measured_at, row.measured_at)
    found = reading_of(item, batch.name, batch.finished_at)
    unknown = [
        f"{what} {name} is not in the lab book: nothing can be checked against it"
        for what, name, held in (
            ("instrument", found.instrument, source.instrument),
            ("calibration", found.calibration, source.calibration),
        )
        if name and held(name) is None
    ]
    return (
        *(f"FLAGGED {flag.code}: {flag.words}" for flag in source.flags(found, source.study(batch.study))),
        *unknown,
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
