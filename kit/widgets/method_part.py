"""The part of the readings table for one method: what it shows, and a new reading or a change taken from its cells."""

from __future__ import annotations

import warnings
from datetime import datetime

from kit.bench.methods import Method
from kit.bench.readings import CONDITION_WORDS, Reading
from kit.errors import KitError, RepeatedReadingWarning
from kit.labbook.entry_bodies import CONDITIONS
from kit.labbook.source import Source
from kit.labbook.times import read_time
from kit.widgets.entry_form import AGAIN, EntryForm, with_unit
from kit.widgets.method_rows import FIELDS, NEW, UNITS, USUAL, MethodRows, shown_value
from kit.widgets.parts import ASKS, CANCEL, NOTED, RECORDED, REFUSED, UNCHANGED, Ask, Choice, Outcome, Part
from kit.widgets.reading_words import usual_conditions


class MethodPart:
    """The part of a readings form that belongs to one method."""

    def __init__(self, form: EntryForm, method: Method, operator: str = "") -> None:
        self._form = form
        self._operator = operator
        self.method = method
        self._rows = MethodRows(form, method)
        self.conditions = self._rows.conditions

    def view(self, source: Source) -> Part:
        """The part as it stands in the lab book, with what is not recorded yet."""
        return self._rows.view(source)

    def take(self, name: str, column: str, text: str, choice: str, why: str) -> Outcome:
        """A committed cell, as `EntryForm.commit`."""
        if name not in ("at", "value", *self.conditions):
            raise self._form.unknown_cell(f"{self.method.name}/{name}", column)
        if column == USUAL:
            return self._note_usual()
        if column == NEW:
            return self._take_new(name, text, choice)
        reading = next((one for one in self._rows.readings() if str(one.entry) == column), None)
        if reading is None or name == "at":
            raise self._form.unknown_cell(f"{self.method.name}/{name}", column)
        return self._take_change(reading, name, text, choice, why)

    def _take_new(self, name: str, text: str, choice: str) -> Outcome:
        if name == "value":
            return self._record(text, choice) if text else Outcome(UNCHANGED, f"{self.method.property}: not measured")
        if name == "at":
            return self._note_time(text) if text else Outcome(UNCHANGED, "read now")
        if not text:
            return Outcome(UNCHANGED, f"{self._rows.head(name)}: blank")
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
        return f"{kept} {UNITS.get(name, '')}".strip()

    def _typed(self, name: str, text: str) -> str:
        where = f"{self.method.name}, {CONDITION_WORDS.get(name, name)}"
        unit = self.method.unit if name == "value" else UNITS.get(name, "")
        if not unit:
            return text
        return with_unit(text, "" if unit == "1" else unit, where=where)

    def _record(self, text: str, choice: str) -> Outcome:
        noted = self._noted()
        before = {reading.entry for reading in self._rows.readings()}
        equal = self._equal_to(text)
        if equal is not None and not noted and choice != "replicate":
            return self._ask_equal(equal.entry, f"{self.method.property} {text}")
        if choice == "replicate":
            noted["replicate"] = str(len(self._rows.every()) + 1)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RepeatedReadingWarning)  # asked about below, where it is seen
            receipt = self._form.batch.read(
                self.method.property,
                self._typed("value", text),
                method=self.method.name,
                operator=self._operator,
                **noted,
            )
        standing = {reading.entry for reading in self._rows.readings()}
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
        return next((one for one in reversed(self._rows.readings()) if shown_value(one.value) == typed), None)

    def _noted(self) -> dict[str, str]:
        """The noted conditions of the new reading; one that could not be read must be mended first."""
        noted = {}
        for name in ("at", *self.conditions):
            draft = self._form.drafts.get((f"{self.method.name}/{name}", NEW))
            if draft is None:
                continue
            if draft.outcome.state == REFUSED:
                raise KitError(
                    f"{self._rows.head(name)} is {draft.text!r}, which cannot be read",
                    where=self.method.name,
                    mend="correct it or blank it, then commit the value again",
                    code="form.condition",
                )
            noted[name] = draft.text if name == "at" else self._typed(name, draft.text)
        return noted

    def _take_change(self, reading: Reading, name: str, text: str, choice: str, why: str) -> Outcome:
        old = shown_value(reading.value if name == "value" else getattr(reading, FIELDS[name]))
        if not text:
            return self._take_blank(reading, name, old, choice, why)
        typed = self._typed(name, text)
        if typed.split()[0] == old or typed == old:
            return Outcome(UNCHANGED, f"{self._rows.head(name)}: {old} is recorded already")
        if not old:
            return self._correct(reading, name, typed, f"{CONDITION_WORDS[name]} written in after the value")
        if choice == "correct":
            return self._correct(reading, name, typed, why)
        if name != "value":
            self._echo(name, text)
        ask = Ask(
            f"{self._rows.head(name)}: {old} is recorded (entry {reading.entry}). Put it right to {text}?",
            (Choice("correct", "Put it right", why=True), Choice(CANCEL, f"Leave {old}")),
            AGAIN[1:],
        )
        return Outcome(ASKS, ask.question, ask=ask)

    def _take_blank(self, reading: Reading, name: str, old: str, choice: str, why: str) -> Outcome:
        if not old:
            return Outcome(UNCHANGED, f"{self._rows.head(name)}: blank")
        if name != "value":
            raise KitError(
                f"{self._rows.head(name)} is recorded as {old} and cannot be blanked",
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
        return Outcome(
            RECORDED, f"{self._rows.head(name)} put right to {typed}, entry {receipt.seq}", entry=receipt.seq
        )
