"""The rows of one method as they stand in the lab book: a row for each condition, a column for each reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from kit.bench.methods import CONDITIONS as CONDITION_FIELDS
from kit.bench.methods import Method
from kit.bench.readings import CONDITION_WORDS, Reading, needed
from kit.labbook.source import Source
from kit.units import plain
from kit.widgets.entry_form import EntryForm, clock_time, history
from kit.widgets.parts import HEAD, TEXT, Action, Cell, Column, Part, Remark, Row
from kit.widgets.reading_words import offered_words, state_of, usual_conditions

NEW, USUAL = "new", "usual"
_SHOWN_READINGS = 3  # older ones stay in the lab book; the table must fit a tablet
_OF_A_JAR = ("container", "storage", "rest", "sample")
_ORDER = ("temp", "instrument", "calibration", "spindle", "rpm", "reading_time", *_OF_A_JAR)
UNITS = {"temp": "degC", "rpm": "rpm", "reading_time": "s", "torque_pct": "%", "rest": "h"}
FIELDS = {**CONDITION_FIELDS, "rest": "rest_h"}
_STORED = ("storage", "rest")  # asked of a jar that was kept elsewhere
_FIXED = ("temp", "spindle", "rpm", "reading_time", "container")
_HISTORY = {
    "value": "",
    "unit": "",
    "temp_c": "degC",
    "torque_pct": "% torque",
    "rpm": "rpm",
    "reading_time_s": "s",
    "rest_h": "h at 25 degC",
    **dict.fromkeys(("instrument", "calibration", "spindle", "container", "storage"), ""),
}


class MethodRows:
    """What the part of one method shows.

    Parameters
    ----------
    form : EntryForm    Whose batch it is.
    method : Method
    """

    def __init__(self, form: EntryForm, method: Method) -> None:
        self._form = form
        self.method = method
        self.conditions = _conditions(method, stored=_is_stored(form))

    def view(self, source: Source) -> Part:
        """The part as it stands in the lab book, with what is not recorded yet."""
        every = self.readings()
        shown = every[-_SHOWN_READINGS:]
        usual = usual_conditions(self._form.batch, source, self.method)
        columns = [
            Column("condition", "condition"),
            *(_column(reading) for reading in shown),
            Column(NEW, "new reading"),
        ]
        offered = offered_words(source, self.method)
        rows = [
            self._condition_row(name, shown, usual, offered.get(name, ())) for name in ("at", *self.conditions, "value")
        ]
        rows[-1] = self._with_remarks(rows[-1], source, shown)
        return Part(self.method.name, self._caption(), tuple(columns), tuple(rows), self._note(len(every) - len(shown)))

    def _caption(self) -> str:
        return self.method.title or self.method.name

    def _note(self, older: int) -> str:
        told = [f"Method {self.method.words()}."]
        told += [
            f"Spec: {line.words()} at {line.age or 'any age'}."
            for line in self._form.batch.study.spec
            if line.property == self.method.property and not line.allowed
        ]
        told += [f"{older} earlier reading(s) are in the lab book."] if older else []
        return " ".join(told)

    def _condition_row(
        self, name: str, shown: list[Reading], usual: Mapping[str, str], offered: tuple[str, ...]
    ) -> Row:
        key = f"{self.method.name}/{name}"
        head = Cell(HEAD, self.head(name), self._asks_for(name))
        old = [self._recorded_cell(key, name, reading) for reading in shown]
        hint = f"usual: {usual[name]}" if name in usual else "blank: now" if name == "at" else ""
        new = self._form.input_cell(
            key, NEW, f"{self.head(name)}, new reading by {self.method.name}", decimal=_is_number(name)
        )
        hint = new.small if new.state else hint
        new = replace(new, small=hint, options=offered)
        ask, asked = self._form.open_question(key)
        actions = (Action(USUAL, _usual_words(usual)),) if name == "at" and usual else ()
        remarks = self._form.refusals(key)
        return Row(key, (head, *old, new), remarks=remarks, actions=actions, ask=ask, asked=asked)

    def _recorded_cell(self, key: str, name: str, reading: Reading) -> Cell:
        column = str(reading.entry)
        label = f"{self.head(name)}, reading of entry {reading.entry}"
        if name == "at":
            return Cell(TEXT, clock_time(reading.measured_at) if reading.measured_at else "NOT RECORDED")
        text = shown_value(reading.value if name == "value" else getattr(reading, FIELDS[name]))
        missing = name in needed(self.method) and not text
        cell = self._form.input_cell(key, column, label, text, "recorded" if text else "", decimal=_is_number(name))
        if cell.state or not missing:
            return cell
        return Cell(cell.kind, cell.text, "NOT RECORDED", cell.label, tone="flag", decimal=cell.decimal)

    def _with_remarks(self, row: Row, source: Source, shown: list[Reading]) -> Row:
        remarks = list(row.remarks)
        for reading in shown:
            words, tone = state_of(reading, self.method, source, self._form.batch)
            remarks.append(Remark(f"Entry {reading.entry}: {words}", tone))
            item = next(item for item in self._form.batch.view.effective if item.seq == reading.entry)
            steps = history(self._form.batch, item, _HISTORY)
            remarks += [Remark(f"History: {'; '.join(steps)}", "quiet")] if steps else []
        return Row(row.key, row.cells, row.group, tuple(remarks), row.actions, row.ask, row.asked)

    def head(self, name: str) -> str:
        """What a row is called: the condition or the property, with its unit."""
        if name == "at":
            return "read at"
        if name == "value":
            unit = "" if self.method.unit in ("", "1") else f", {self.method.unit}"
            return f"{self.method.property}{unit}"
        return f"{CONDITION_WORDS[name]}{f', {UNITS[name]}' if name in UNITS else ''}"

    def _asks_for(self, name: str) -> str:
        """What the method fixes for a condition."""
        if name == "temp" and self.method.temp_c is not None:
            return f"{plain(self.method.temp_c)} ± {plain(self.method.temp_tolerance_c or 0)}"
        if name == "torque_pct" and self.method.torque_low is not None and self.method.torque_high is not None:
            return f"{plain(self.method.torque_low)} to {plain(self.method.torque_high)}"
        fixed = getattr(self.method, FIELDS[name], None) if name in _FIXED else None
        return shown_value(fixed)

    def every(self) -> list[Reading]:
        """All readings by the method, voided ones too."""
        return [one for one in self._form.batch.view.readings if one.method == self.method.name]

    def readings(self) -> list[Reading]:
        """Those that stand and have a value."""
        return [one for one in self.every() if not one.void and one.value is not None]


def _is_stored(form: EntryForm) -> bool:
    """Whether jars of the batch are kept elsewhere by a stability protocol."""
    kept = form.batch.source().stability_protocols(form.batch.study.name)
    return any(protocol.covers(form.batch.view) for protocol in kept)


def _conditions(method: Method, *, stored: bool) -> tuple[str, ...]:
    """What is asked for: what the method needs or fixes, how a stored jar was kept; the torque last, by the value."""
    wanted = {*needed(method), *(name for name in _FIXED if getattr(method, FIELDS[name]) not in (None, ""))}
    if stored or "storage" in wanted:
        wanted |= set(_STORED)
    return (*(name for name in _ORDER if name in wanted), *(["torque_pct"] if "torque_pct" in wanted else []))


def _column(reading: Reading) -> Column:
    return Column(str(reading.entry), f"entry {reading.entry}")


def _is_number(name: str) -> bool:
    return name == "value" or name in UNITS


def shown_value(value: object) -> str:
    """A kept value as a cell shows it; empty where nothing was kept."""
    return "" if value in (None, "") else plain(value) if hasattr(value, "as_tuple") else str(value)


def _usual_words(usual: Mapping[str, str]) -> str:
    return f"Used as usual: {', '.join(usual.values())}"
