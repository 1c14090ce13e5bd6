"""Coded observations of one batch: grain, colour, odour, each with the words seen so far and a cell for a new one."""

from __future__ import annotations

import warnings

from kit.errors import RepeatedReadingWarning
from kit.labbook.batch_entries import Observation
from kit.widgets.entry_form import EntryForm
from kit.widgets.parts import (
    ASKS,
    CANCEL,
    HEAD,
    RECORDED,
    TEXT,
    UNCHANGED,
    Ask,
    Cell,
    Choice,
    Column,
    Outcome,
    Part,
    Row,
)

OBSERVED = "observed"
_COLUMNS = (Column("name", "observed"), Column("seen", "recorded so far"), Column("word", "seen now"))


class ObservedPart:
    """The part of a readings form for coded words. Rows are "observed/grain"; the column to type into is "word"."""

    def __init__(self, form: EntryForm) -> None:
        self._form = form

    def names(self) -> tuple[str, ...]:
        """What is observed: what the spec codes, and what was observed before."""
        coded = [line.property for line in self._form.batch.study.spec if line.allowed]
        return tuple(dict.fromkeys([*coded, *(one.name for one in self._seen())]))

    def view(self) -> Part:
        """The part as it stands in the lab book."""
        return Part(OBSERVED, "Observations in coded words", _COLUMNS, tuple(self._row(name) for name in self.names()))

    def take(self, name: str, column: str, text: str, choice: str) -> Outcome:
        """A committed cell, as `EntryForm.commit`."""
        if name not in self.names() or column != "word":
            raise self._form.unknown_cell(f"{OBSERVED}/{name}", column)
        if not text:
            return Outcome(UNCHANGED, f"{name}: not observed")
        batch = self._form.batch
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RepeatedReadingWarning)  # asked about below, where it is seen
            receipt = batch.observe(name, text, at=batch.now() if choice == "again" else "")
        if receipt.new:
            return Outcome(RECORDED, f"recorded {name}: {text}, entry {receipt.seq}", entry=receipt.seq)
        ask = Ask(
            f"{name}: {text} is recorded already (entry {receipt.seq}). Was it seen again now?",
            (Choice("again", "Seen again now"), Choice(CANCEL, "The same one: add nothing")),
        )
        return Outcome(ASKS, ask.question, ask=ask)

    def _row(self, name: str) -> Row:
        key = f"{OBSERVED}/{name}"
        told = [f"{one.word} ({_age(one)}, entry {one.entry})" for one in self._seen() if one.name == name]
        wanted = next((line for line in self._form.batch.study.spec if line.property == name and line.allowed), None)
        spec = f"spec: {wanted.words()} at {wanted.age or 'any age'}" if wanted else ""
        ask, asked = self._form.open_question(key)
        cells = (
            Cell(HEAD, name, spec),
            Cell(TEXT, "\n".join(told) or "nothing yet"),
            self._form.input_cell(key, "word", f"{name}, seen now"),
        )
        return Row(key, cells, remarks=self._form.refusals(key), ask=ask, asked=asked)

    def _seen(self) -> list[Observation]:
        return [one for one in self._form.batch.view.observations if not one.void]


def _age(one: Observation) -> str:
    return "in process" if one.age_h is None else f"{one.age_h:.1f} h"
