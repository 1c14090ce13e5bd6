"""The readings of one batch by one method: a row for each condition, a column for each reading, one for a new one."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from kit.bench.methods import CONDITIONS as FIELDS
from kit.bench.methods import Method
from kit.bench.readings import CONDITION_WORDS, Reading, needed
from kit.errors import KitError, RepeatedReadingWarning
from kit.labbook.entry_bodies import CONDITIONS
from kit.labbook.source import Source
from kit.labbook.times import read_time
from kit.units import plain
from kit.widgets.entry_form import AGAIN, EntryForm, clock_time, history, with_unit
from kit.widgets.parts import (
    ASKS,
    CANCEL,
    HEAD,
    NOTED,
    RECORDED,
    REFUSED,
    TEXT,
    UNCHANGED,
    Action,
    Ask,
    Cell,
    Choice,
    Column,
    Outcome,
    Part,
    Remark,
    Row,
)
from kit.widgets.reading_words import offered_words, state_of, usual_conditions

NEW, USUAL = "new", "usual"
_SHOWN_READINGS = 3  # older ones stay in the lab book; the table must fit a tablet
_OF_A_JAR = ("container", "storage", "rest", "sample")
_ORDER = ("temp", "instrument", "calibration", "spindle", "rpm", "reading_time", *_OF_A_JAR)
_UNITS = {"temp": "degC", "rpm": "rpm", "reading_time": "s", "torque_pct": "%", "rest": "h"}
_FIELDS = {**FIELDS, "rest": "rest_h"}
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


class MethodPart:
    """The part of a readings form that belongs to one method."""

    def __init__(self, form: EntryForm, method: Method, operator: str = "") -> None:
        self._form = form
        self._operator = operator
        self.method = method
        self.conditions = _conditions(method, stored=_is_stored(form))

    # What it shows

    def view(self, source: Source) -> Part:
        """The part as it stands in the lab book, with what is not recorded yet."""
        every = self._readings()
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
        head = Cell(HEAD, self._head(name), self._asks_for(name))
        old = [self._recorded_cell(key, name, reading) for reading in shown]
        hint = f"usual: {usual[name]}" if name in usual else "blank: now" if name == "at" else ""
        new = self._form.input_cell(
            key, NEW, f"{self._head(name)}, new reading by {self.method.name}", decimal=_is_number(name)
        )
        hint = new.small if new.state else hint
        new = replace(new, small=hint, options=offered)
        ask, asked = self._form.open_question(key)
        actions = (Action(USUAL, _usual_words(usual)),) if name == "at" and usual else ()
        remarks = self._form.refusals(key)
        return Row(key, (head, *old, new), remarks=remarks, actions=actions, ask=ask, asked=asked)

    def _recorded_cell(self, key: str, name: str, reading: Reading) -> Cell:
        column = str(reading.entry)
        label = f"{self._head(name)}, reading of entry {reading.entry}"
        if name == "at":
            return Cell(TEXT, clock_time(reading.measured_at) if reading.measured_at else "NOT RECORDED")
        text = _shown(reading.value if name == "value" else getattr(reading, _FIELDS[name]))
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

    def _head(self, name: str) -> str:
        if name == "at":
            return "read at"
        if name == "value":
            unit = "" if self.method.unit in ("", "1") else f", {self.method.unit}"
            return f"{self.method.property}{unit}"
        return f"{CONDITION_WORDS[name]}{f', {_UNITS[name]}' if name in _UNITS else ''}"

    def _asks_for(self, name: str) -> str:
        """What the method fixes for a condition."""
        if name == "temp" and self.method.temp_c is not None:
            return f"{plain(self.method.temp_c)} ± {plain(self.method.temp_tolerance_c or 0)}"
        if name == "torque_pct" and self.method.torque_low is not None and self.method.torque_high is not None:
            return f"{plain(self.method.torque_low)} to {plain(self.method.torque_high)}"
        fixed = getattr(self.method, _FIELDS[name], None) if name in _FIXED else None
        return _shown(fixed)

    # What it takes

    def take(self, name: str, column: str, text: str, choice: str, why: str) -> Outcome:
        """A committed cell, as `EntryForm.commit`."""
        if name not in ("at", "value", *self.conditions):
            raise self._form.unknown_cell(f"{self.method.name}/{name}", column)
        if column == USUAL:
            return self._note_usual()
        if column == NEW:
            return self._take_new(name, text, choice)
        reading = next((one for one in self._readings() if str(one.entry) == column), None)
        if reading is None or name == "at":
            raise self._form.unknown_cell(f"{self.method.name}/{name}", column)
        return self._take_change(reading, name, text, choice, why)

    def _take_new(self, name: str, text: str, choice: str) -> Outcome:
        if name == "value":
            return self._record(text, choice) if text else Outcome(UNCHANGED, f"{self.method.property}: not measured")
        if name == "at":
            return self._note_time(text) if text else Outcome(UNCHANGED, "read now")
        if not text:
            return Outcome(UNCHANGED, f"{self._head(name)}: blank")
        return Outcome(NOTED, f"{self._echo(name, text)}; noted, goes into the record with the value")

    def _note_time(self, text: str) -> Outcome:
        if not any(mark in text for mark in "-:"):
            raise KitError(
                f"{text!r} is not a point in time",
                where=self.method.name,
                allowed='"2026-03-02 14:05", or blank for now',
                mend="give date and time",
                code="form.time",
            )
        read_time(text, lambda: datetime.fromisoformat(self._form.batch.now()), where=self.method.name)
        return Outcome(NOTED, "noted, goes into the record with the value")

    def _note_usual(self) -> Outcome:
        """Confirm the usual conditions: each is noted, and can still be changed before the value is recorded."""
        usual = usual_conditions(self._form.batch, self._form.batch.source(), self.method)
        noted = []
        for name, text in usual.items():
            key = (f"{self.method.name}/{name}", NEW)
            if key not in self._form.drafts:
                self._form.keep(key, text, self._take_new(name, text, ""))
                noted.append(text)
        return Outcome(UNCHANGED, f"noted as used: {', '.join(noted) or 'nothing new'}")

    def _echo(self, name: str, text: str) -> str:
        """A typed condition as it will be kept, its unit with it."""
        where = f"{self.method.name}, {CONDITION_WORDS[name]}"
        kept = CONDITIONS[name][1](self._typed(name, text), where)
        if name == "instrument" and self._form.batch.source().instrument(kept) is None:
            return f"{kept} is not entered in this lab book, its constants cannot be checked"
        if name == "calibration" and self._form.batch.source().calibration(kept) is None:
            return f"{kept} is not entered in this lab book, its slope cannot be checked"
        return f"{kept} {_UNITS.get(name, '')}".strip()

    def _typed(self, name: str, text: str) -> str:
        where = f"{self.method.name}, {CONDITION_WORDS.get(name, name)}"
        unit = self.method.unit if name == "value" else _UNITS.get(name, "")
        if not unit:
            return text
        return with_unit(text, "" if unit == "1" else unit, where=where)

    def _record(self, text: str, choice: str) -> Outcome:
        noted = self._noted()
        before = {reading.entry for reading in self._readings()}
        equal = self._equal_to(text)
        if equal is not None and not noted and choice != "replicate":
            return self._ask_equal(equal.entry, f"{self.method.property} {text}")
        if choice == "replicate":
            noted["replicate"] = str(len(self._every()) + 1)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RepeatedReadingWarning)  # asked about below, where it is seen
            receipt = self._form.batch.read(
                self.method.property,
                self._typed("value", text),
                method=self.method.name,
                operator=self._operator,
                **noted,
            )
        standing = {reading.entry for reading in self._readings()}
        if receipt.seq in before or receipt.seq not in standing or not receipt.new:
            return self._ask_equal(receipt.seq, receipt.words)
        for name in ("at", *self.conditions):
            self._form.drafts.pop((f"{self.method.name}/{name}", NEW), None)
        flags = [note for note in receipt.notes if note.startswith("FLAGGED")]
        told = "; ".join([f"recorded {receipt.words}, entry {receipt.seq}", *flags])
        return Outcome(RECORDED, told, "flagged" if flags else "", receipt.seq)

    def _ask_equal(self, entry: int, words: str) -> Outcome:
        ask = Ask(
            f"{words} is recorded already (entry {entry}) and nothing tells this one apart. Is it a new reading?",
            (Choice("replicate", "A new reading that is equal"), Choice(CANCEL, "The same one: add nothing")),
        )
        return Outcome(ASKS, ask.question, ask=ask)

    def _equal_to(self, text: str) -> Reading | None:
        """The latest reading of this very value: the same cell sent once more, or a new reading?"""
        typed = self._typed("value", text).split()[0]
        return next((one for one in reversed(self._readings()) if _shown(one.value) == typed), None)

    def _noted(self) -> dict[str, str]:
        """The noted conditions of the new reading; one that could not be read must be mended first."""
        noted = {}
        for name in ("at", *self.conditions):
            draft = self._form.drafts.get((f"{self.method.name}/{name}", NEW))
            if draft is None:
                continue
            if draft.outcome.state == REFUSED:
                raise KitError(
                    f"{self._head(name)} is {draft.text!r}, which cannot be read",
                    where=self.method.name,
                    mend="correct it or blank it, then commit the value again",
                    code="form.condition",
                )
            noted[name] = draft.text if name == "at" else self._typed(name, draft.text)
        return noted

    def _take_change(self, reading: Reading, name: str, text: str, choice: str, why: str) -> Outcome:
        old = _shown(reading.value if name == "value" else getattr(reading, _FIELDS[name]))
        if not text:
            return self._take_blank(reading, name, old, choice, why)
        typed = self._typed(name, text)
        if typed.split()[0] == old or typed == old:
            return Outcome(UNCHANGED, f"{self._head(name)}: {old} is recorded already")
        if not old:
            return self._correct(reading, name, typed, f"{CONDITION_WORDS[name]} written in after the value")
        if choice == "correct":
            return self._correct(reading, name, typed, why)
        if name != "value":
            self._echo(name, text)
        ask = Ask(
            f"{self._head(name)}: {old} is recorded (entry {reading.entry}). Put it right to {text}?",
            (Choice("correct", "Put it right", why=True), Choice(CANCEL, f"Leave {old}")),
            AGAIN[1:],
        )
        return Outcome(ASKS, ask.question, ask=ask)

    def _take_blank(self, reading: Reading, name: str, old: str, choice: str, why: str) -> Outcome:
        if not old:
            return Outcome(UNCHANGED, f"{self._head(name)}: blank")
        if name != "value":
            raise KitError(
                f"{self._head(name)} is recorded as {old} and cannot be blanked",
                where=f"entry {reading.entry}",
                mend="type the right one; to undo the whole reading, blank its value",
                code="form.blank",
            )
        if choice == "void":
            receipt = self._form.batch.void(reading.entry, why=why)
            return Outcome(RECORDED, receipt.words, entry=receipt.seq)
        ask = Ask(
            f"{old} is recorded (entry {reading.entry}). It is not erased; the reading can be undone with a reason.",
            (Choice("void", "Undo the reading", why=True), Choice(CANCEL, "Leave it")),
            ("wrong jar", "electrode not clean"),
        )
        return Outcome(ASKS, ask.question, ask=ask)

    def _correct(self, reading: Reading, name: str, typed: str, why: str) -> Outcome:
        batch = self._form.batch
        receipt = batch.correct(reading.entry, why=why, **{name: typed})
        if not receipt.new:
            raise KitError(
                f"an equal correction (entry {receipt.seq}) was made before",
                where=f"entry {reading.entry}",
                mend="give a reason in other words, so that the two can be told apart",
                code="form.equal_entry",
            )
        return Outcome(RECORDED, f"{self._head(name)} put right to {typed}, entry {receipt.seq}", entry=receipt.seq)

    def _every(self) -> list[Reading]:
        return [one for one in self._form.batch.view.readings if one.method == self.method.name]

    def _readings(self) -> list[Reading]:
        return [one for one in self._every() if not one.void and one.value is not None]


def _is_stored(form: EntryForm) -> bool:
    """Whether jars of the batch are kept elsewhere by a stability protocol."""
    kept = form.batch.source().stability_protocols(form.batch.study.name)
    return any(protocol.covers(form.batch.view) for protocol in kept)


def _conditions(method: Method, *, stored: bool) -> tuple[str, ...]:
    """What is asked for: what the method needs or fixes, how a stored jar was kept; the torque last, by the value."""
    wanted = {*needed(method), *(name for name in _FIXED if getattr(method, _FIELDS[name]) not in (None, ""))}
    if stored or "storage" in wanted:
        wanted |= set(_STORED)
    return (*(name for name in _ORDER if name in wanted), *(["torque_pct"] if "torque_pct" in wanted else []))


def _column(reading: Reading) -> Column:
    return Column(str(reading.entry), f"entry {reading.entry}")


def _is_number(name: str) -> bool:
    return name == "value" or name in _UNITS


def _shown(value: object) -> str:
    return "" if value in (None, "") else plain(value) if hasattr(value, "as_tuple") else str(value)


def _usual_words(usual: Mapping[str, str]) -> str:
    return f"Used as usual: {', '.join(usual.values())}"
