"""One row of a readings file: understood as a reading or an observation, or refused with a reason for every cell."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from kit.bench.methods import Method
from kit.errors import BatchError, ReadingsFileError, UnitError
from kit.labbook.entry_bodies import CONDITIONS, RANGES, observation_body, reading_body
from kit.labbook.readings_known import KnownReadings
from kit.labbook.readings_marks import Marks, number_text, split_number
from kit.labbook.readings_text import QUANTITIES, Row, behind_number
from kit.labbook.readings_times import Moment, Zone, time_notes
from kit.labbook.source import Source
from kit.labbook.view import BatchView
from kit.show import Worded
from kit.tabular import is_blank, nearest
from kit.units import plain, read, same_unit

_BARE = ("rpm", "torque_pct")  # their unit stands in their name
_NO_UNIT = ("", "1", "ph")
_UNITLESS = ("pH",)
_OF_WORDS = ("batch", "property", "value", "measured_at", "age", "storage", "rest", "note")  # what a coded word keeps


@dataclass(frozen=True, slots=True, repr=False)
class Refusal(Worded):
    """Why a row was refused: where it stands, what is wrong, how to mend it."""

    row: int
    column: str
    what: str
    mend: str
    code: str

    def __str__(self) -> str:
        return f"row {self.row}, {self.column}: {self.what}. To mend: {self.mend} [{self.code}]"


@dataclass(frozen=True, slots=True)
class TakenRow:
    """A row that was understood.

    `kind` is "reading" or "observation"; `measured_at` is empty for a reading without a time of its own. `known` says
    where the lab book, or an earlier row, holds this very reading; it is empty for a new one.
    """

    row: int
    batch: str
    kind: str
    body: Mapping[str, Any]
    measured_at: str
    known: str = ""
    notes: tuple[str, ...] = ()


@dataclass
class _Reasons:
    """Collects what is wrong with the cells of one row, so that all of it is told at once."""

    row: int
    found: list[Refusal] = field(default_factory=list)

    def attempt(self, column: str, call: Callable, *arguments):
        """The result of a call, or None and a reason."""
        try:
            return call(*arguments)
        except (
            BatchError,
            ReadingsFileError,
            UnitError,
        ) as error:  # a fault of the record itself is no fault of the row
            mend = "; ".join(
                part for part in (error.mend, f"allowed: {error.allowed}" if error.allowed else "") if part
            )
            self.found.append(Refusal(self.row, column, error.what.rstrip("."), mend or "correct the cell", error.code))
            return None


@dataclass
class RowReader:
    """Reads rows against a lab book.

    Parameters
    ----------
    source : Source     The lab book.
    file : str          Name of the file, kept with every reading taken from it.
    marks : Marks       The decimal mark.
    units : dict        Units for whole columns.
    methods : tuple     Methods declared for the whole file; each for the rows of its property that name none.
    declared : dict     Conditions declared for the whole file, as kept: {"temp_c": "25"}.
    zone : Zone         For times without an offset.
    """

    source: Source
    file: str
    marks: Marks
    units: Mapping[str, str]
    methods: tuple[str, ...]
    declared: Mapping[str, str]
    zone: Zone
    used_methods: set[str] = field(default_factory=set)
    _known: dict[str, KnownReadings] = field(default_factory=dict)
    _understood: dict[tuple, Any] = field(default_factory=dict)
    _words_of: dict[str, frozenset[str]] = field(default_factory=dict)
    _names: Mapping[str, None] = field(default_factory=dict)

    def read(self, row: Row) -> TakenRow | list[Refusal]:
        """The row as it would be recorded, or why it is refused."""
        if row.fault:
            return [_cut_wrongly(row)]
        reasons, cells = _Reasons(row.number), self._cells(row)
        batch = self._understand(reasons, "batch", self._batch, cells["batch"])
        if batch is None:
            return reasons.found
        name = self._understand(reasons, "property", self._property, cells["property"], batch.study)
        moment = reasons.attempt("measured_at", self._moment, cells.get("measured_at", ""))
        if name is None:
            return reasons.found
        is_word = name in self._coded(batch.study) and not split_number(cells["value"])[0]
        build = self._word_body if is_word else self._reading_body
        body = build(cells, name, batch.study, moment, reasons)
        if reasons.found:
            return reasons.found
        measured_at, notes = (moment.text, time_notes(moment, batch.finished_at, self.zone)) if moment else ("", ())
        body["at"] = measured_at
        body["imported"] = {"file": self.file, "row": row.number}
        kind = "observation" if is_word else "reading"
        return self._placed(batch, TakenRow(row.number, batch.name, kind, body, measured_at, notes=notes))

    def _understand(self, reasons: _Reasons, column: str, call: Callable, *cells: object):
        """What a call makes of some cells, worked out once: an instrument repeats itself in every row."""
        key = (column, *cells)
        if key not in self._understood:
            found = reasons.attempt(column, call, *cells)
            if found is None:
                return None
            self._understood[key] = found
        return self._understood[key]

    def _cells(self, row: Row) -> Mapping[str, str]:
        """The row's cells, numbers that a sheet kept as numbers written with the decimal mark of the rest."""
        if not row.typed or self.marks.mark == ".":
            return row.cells
        return {column: cell.replace(".", ",") if column in row.typed else cell for column, cell in row.cells.items()}

    def _placed(self, batch: BatchView, taken: TakenRow) -> TakenRow | list[Refusal]:
        """The row beside what is known: new, the same again, or a contradiction."""
        if batch.name not in self._known:
            self._known[batch.name] = KnownReadings.of(batch)
        label = f"row {taken.row} of this file"
        same, other = self._known[batch.name].meet(taken.body, taken.measured_at, label)
        if same:
            return replace(taken, known=same)
        if other:
            return [
                Refusal(
                    taken.row,
                    "value",
                    f"the same reading is there with another content ({other})",
                    "put the recorded one right with batch.correct(...); tell a second apart by replicate or sample",
                    "import.contradicts",
                )
            ]
        return taken

    def _batch(self, cell: str) -> BatchView:
        if not self._names:
            self._names = dict.fromkeys(f"{trial}/{number}" for _, trial, number in self.source.batch_keys())
        if cell in self._names:
            return self.source.batch(cell)
        if is_blank(cell):
            raise ReadingsFileError("no batch is named", mend="name the batch, such as LIN-03/1", code="import.batch")
        near = [name for name in self._names if name.rpartition("/")[0].casefold() == cell.casefold()] or nearest(
            cell, self._names
        )
        raise ReadingsFileError(
            f"there is no batch {cell!r} in the lab book",
            allowed=", ".join(near or list(self._names)[:5]),
            mend="name one of these, or start the batch first",
            code="import.batch",
        )

    def _property(self, cell: str, study: str) -> str:
        if is_blank(cell):
            raise ReadingsFileError("no property is named", mend='write "pH", "viscosity" ...', code="import.property")
        view = self.source.study(study)
        known = {
            *RANGES,
            *(method.property for method in view.methods.values()),
            *(line.property for line in view.spec),
        }
        return next((name for name in sorted(known) if name.casefold() == cell.casefold()), cell)

    def _coded(self, study: str) -> frozenset[str]:
        """Properties of the study's spec, and of its stability protocols, that are words."""
        if study not in self._words_of:
            spec = [line.property for line in self.source.study(study).spec if line.allowed]
            limits = [limit for kept in self.source.stability_protocols(study) for limit in kept.protocol.limits]
            self._words_of[study] = frozenset([*spec, *(limit.property for limit in limits if limit.is_coded)])
        return self._words_of[study]

    def _moment(self, cell: str) -> Moment | None:
        return None if is_blank(cell) else self.zone.read(cell)

    def _reading_body(
        self, cells: Mapping[str, str], name: str, study: str, moment: Moment | None, reasons: _Reasons
    ) -> dict:
        get = cells.get
        method, is_declared = self._understand(reasons, "method", self._method, get("method", ""), name, study) or (
            "",
            False,
        )
        value = self._understand(reasons, "value", self._value, cells["value"], get("unit", ""), name, method, study)
        age = self._understand(reasons, "age", self._age, get("age", ""))
        body = {"property": name, "method": method, "age_typed_h": age}
        known = self._understood
        for column, (kept, _) in CONDITIONS.items():
            if cell := get(column):
                text = known.get((column, column, cell))  # looked up here: a long file has many thousand such cells
                if text is None:
                    text = self._understand(reasons, column, self._condition, column, cell)
                if text:
                    body[kept] = text
        if value is None:
            return {}
        body["value"], body["unit"] = value
        self._declare(body, method, is_declared, study)
        if moment is None:
            body["untimed"] = True
        return body

    def _declare(self, body: dict, method: str, method_is_declared: bool, study: str) -> None:
        """Fill what the row leaves open with what was declared for the whole file, and say that it was declared."""
        given = self.declared
        if method_is_declared:
            self.used_methods.add(method)
            given = {**nominal(self.source.study(study).methods[method]), **given}
        if not given:
            return
        filled = {name: text for name, text in given.items() if name not in body}
        body |= filled
        declared = sorted([*filled, *(["method"] if method_is_declared else [])])
        if declared:
            body["declared"] = declared

    def _word_body(
        self, cells: Mapping[str, str], name: str, study: str, moment: Moment | None, reasons: _Reasons
    ) -> dict:
        """A coded word, such as grain "none"."""
        del study
        extra = [column for column, cell in cells.items() if column not in _OF_WORDS and not is_blank(cell)]
        if extra:
            reasons.found.append(
                Refusal(
                    reasons.row,
                    ", ".join(extra),
                    "a coded word keeps only its time, its age, how its jar was kept and a note",
                    "put the rest into the column note",
                    "import.word",
                )
            )
        if moment is None:
            reasons.found.append(
                Refusal(
                    reasons.row,
                    "measured_at",
                    "a coded word needs the time it was seen",
                    "give date and time",
                    "import.word",
                )
            )
        age = reasons.attempt("age", self._quantity, "age", cells.get("age", ""))
        rest = reasons.attempt("rest", self._quantity, "rest", cells.get("rest", ""))
        body = reasons.attempt(
            "value",
            lambda: observation_body(
                name,
                cells["value"],
                age=age or "",
                note=cells.get("note", ""),
                storage="" if is_blank(cells.get("storage", "")) else cells["storage"],
                rest=rest or "",
            ),
        )
        return body or {}

    def _method(self, cell: str, name: str, study: str) -> tuple[str, bool]:
        methods = self.source.study(study).methods
        if is_blank(cell):
            chosen = next((one for one in self.methods if one in methods and methods[one].property == name), "")
            return chosen, bool(chosen)
        found = next((known for known in methods if known.casefold() == cell.casefold()), "")
        if not found:
            raise ReadingsFileError(
                f"study {study} has no method {cell!r}",
                allowed=", ".join(sorted(methods)),
                mend="use one of these",
                code="reading.method",
            )
        if methods[found].property != name:
            raise ReadingsFileError(
                f"method {found!r} is for {methods[found].property}, not for {name}",
                mend="name the right method",
                code="reading.method",
            )
        return found, False

    def _value(self, cell: str, unit_cell: str, name: str, method: str, study: str) -> tuple[str, str]:
        """A value and its unit as a reading keeps them."""
        view = self.source.study(study)
        typed = self._typed_value(cell, unit_cell, name, view.methods.get(method))
        body = reading_body(name, typed, method=method, age="", conditions={}, study=view)
        return body["value"], body["unit"]

    def _typed_value(self, cell: str, unit_cell: str, name: str, method: Method | None) -> str:
        """A value as it would be typed: number and unit, the unit from the cell, its row or its column."""
        digits, inside = split_number(cell)
        if not digits:
            raise _no_number(cell, "value")
        beside = "" if is_blank(unit_cell) else unit_cell
        if inside and beside and not same_unit(inside, beside):
            raise ReadingsFileError(
                f"the cell says {inside!r}, the column unit says {beside!r}",
                mend="leave one of them",
                code="import.unit",
            )
        number = number_text(digits, self.marks)
        unit = inside or beside or self.units.get("value", "")
        if (method.unit if method else "1" if name in _UNITLESS else "") == "1":
            if unit.casefold() not in _NO_UNIT:
                raise ReadingsFileError(
                    f"{name} has no unit, {unit!r} was given", mend="leave the unit empty", code="units.wrong_kind"
                )
            return number
        if not unit:
            raise ReadingsFileError(
                f"{cell!r} has no unit",
                code="units.missing",
                mend="fill the column unit, or head the column value [mPa.s]; write 1 where there is none",
            )
        return f"{number} {behind_number(unit)}"

    def _age(self, cell: str) -> str:
        """The age that was typed, in hours; empty for a blank cell. [h]"""
        typed = self._quantity("age", cell)
        return plain(read(typed, "h", where="age")) if typed else ""

    def _quantity(self, column: str, cell: str) -> str:
        """A cell's number and unit in the kit's own writing; empty for a blank cell."""
        if is_blank(cell):
            return ""
        digits, unit = split_number(cell)
        if not digits:
            raise _no_number(cell, column)
        unit = unit or self.units.get(column, "")
        if not unit and column not in _BARE:
            raise ReadingsFileError(
                f"{cell!r} has no unit",
                code="units.missing",
                mend=f'write "{cell} {QUANTITIES[column]}", or head the column {column} [{QUANTITIES[column]}]',
            )
        return f"{number_text(digits, self.marks)} {behind_number(unit)}".strip()

    def _condition(self, column: str, cell: str) -> str:
        """A condition as a reading keeps it; empty for a blank cell."""
        if is_blank(cell):
            return ""
        _, convert = CONDITIONS[column]
        typed = self._quantity(column, cell) if column in QUANTITIES else " ".join(cell.split())
        return convert(typed, column)


def nominal(method: Method) -> dict[str, str]:
    """The conditions a method prescribes, as a reading keeps them."""
    numbers = {
        name: plain(value)
        for name in ("temp_c", "rpm", "reading_time_s")
        if (value := getattr(method, name)) is not None
    }
    return {**numbers, **{name: getattr(method, name) for name in ("spindle", "container") if getattr(method, name)}}


def _cut_wrongly(row: Row) -> Refusal:
    mend = (
        "a number with a comma in a comma-separated file must stand in quotation marks; empty cells keep their "
        "delimiters"
    )
    return Refusal(row.number, "whole row", row.fault, mend, "import.cells")


def _no_number(cell: str, column: str) -> ReadingsFileError:
    shown = "the cell is empty" if is_blank(cell) else f"{cell!r} is not a number"
    nothing = "leave the whole row out" if column == "value" else "leave the cell empty"
    told = f"; in a column map, [words.{column}] with {cell!r} = '' says so for all" if not is_blank(cell) else ""
    return ReadingsFileError(
        shown,
        mend=f"type the number as the instrument shows it; {nothing} where nothing was read{told}",
        code="units.not_a_number",
    )
