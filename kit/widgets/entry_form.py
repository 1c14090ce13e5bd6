"""What every form does: take one committed cell at a time, keep what is not recorded, say what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from threading import RLock

from kit.bench.exact import upper_first
from kit.errors import KitError
from kit.labbook.batch import Batch
from kit.labbook.ledger import CORRECTION, Effective
from kit.labbook.times import show_time
from kit.units import plain, split
from kit.widgets.parts import ASKS, CANCEL, INPUT, NOTED, REFUSED, UNCHANGED, Ask, Cell, FormView, Outcome, Remark

AGAIN = ("the instrument was read again", "typing slip")


@dataclass(frozen=True, slots=True)
class Draft:
    """What was typed into a cell and is not in the record."""

    text: str
    outcome: Outcome


class EntryForm:
    """A form over one batch. What it shows is read from the lab book; only what is not recorded yet is kept here.

    Several threads may commit: each commit is taken whole.
    """

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.drafts: dict[tuple[str, str], Draft] = {}
        self._lock = RLock()
        batch.refresh()

    def view(self) -> FormView:
        """What the form shows now."""
        with self._lock:
            return self._view()

    def commit(self, row: str, column: str, text: str, *, choice: str = "", why: str = "") -> Outcome:
        """Take what was typed into a cell, and record it at once where it can be.

        Parameters
        ----------
        row, column : str   Keys of the cell, as in `view()`.
        text : str          As typed; empty for "not measured".
        choice : str        The answer to an open question: the key of one of its choices, or "cancel".
        why : str           The reason, where the choice needs one.

        Returns
        -------
        Outcome   "recorded" only after the entry is on disk. A mistake is "refused", with the reason in words; the text
                  is kept and nothing was recorded.
        """
        text, why = str(text).strip(), str(why).strip()
        with self._lock:
            try:
                self.batch.refresh()
                outcome = (
                    Outcome(UNCHANGED, "left as it was")
                    if choice == CANCEL
                    else self._take(str(row), str(column), text, str(choice), why)
                )
            except KitError as problem:
                outcome = Outcome(REFUSED, f"not recorded. {words_of(problem)}", problem.code)
            self.keep((str(row), str(column)), text, outcome)
            return outcome

    def keep(self, cell: tuple[str, str], text: str, outcome: Outcome) -> None:
        """Keep what was typed into a cell (row, column) while it is not in the record; forget it once it is."""
        if outcome.state in (REFUSED, ASKS, NOTED) and (text or outcome.state != NOTED):
            self.drafts[cell] = Draft(text, outcome)
        else:
            self.drafts.pop(cell, None)

    def _view(self) -> FormView:
        raise NotImplementedError  # pragma: no cover - every form has its own

    def _take(self, row: str, column: str, text: str, choice: str, why: str) -> Outcome:
        raise NotImplementedError  # pragma: no cover - every form has its own

    def input_cell(
        self, row: str, column: str, label: str, recorded: str = "", small: str = "", *, decimal: bool = False
    ) -> Cell:
        """An input cell: what is not recorded where there is such, else what is."""
        draft = self.drafts.get((row, column))
        if draft is None:
            return Cell(INPUT, recorded, small, label, "recorded" if recorded and small else "", decimal=decimal)
        words = draft.outcome.words if draft.outcome.state == NOTED else "NOT RECORDED: see below"
        return Cell(INPUT, draft.text, words, label, draft.outcome.state, decimal=decimal)

    def refusals(self, row: str) -> tuple[Remark, ...]:
        """What was refused in a row, and why, as remarks under it."""
        drafts = [draft for (of_row, _), draft in self.drafts.items() if of_row == row]
        return tuple(Remark(upper_first(one.outcome.words), "fail") for one in drafts if one.outcome.state == REFUSED)

    def open_question(self, row: str) -> tuple[Ask | None, tuple[str, str]]:
        """The question that is open about a row, with the column and the text it is about."""
        for (of_row, column), draft in self.drafts.items():
            if of_row == row and draft.outcome.ask is not None:
                return draft.outcome.ask, (column, draft.text)
        return None, ("", "")

    def unknown_cell(self, row: str, column: str) -> KitError:
        """The error for a cell that the form does not have."""
        return KitError(
            f"there is no cell {column!r} in row {row!r}",
            where=f"form of {self.batch.name}",
            mend="run the cell of the notebook again: the form is built anew",
            code="form.cell",
        )


def words_of(problem: KitError) -> str:
    """A mistake in plain words for a small place: what, what is allowed, how to mend it."""
    parts = [problem.what.rstrip("."), *([f"Allowed: {problem.allowed}"] if problem.allowed else [])]
    return upper_first(". ".join([*parts, *([f"To mend: {problem.mend}"] if problem.mend else [])]) + ".")


def with_unit(text: str, unit: str, *, where: str) -> str:
    """A typed quantity with the unit of its column where none was typed: "20,04" becomes "20.04 g".

    Raises
    ------
    UnitError   `units.not_a_number`, `units.ambiguous_comma`, `units.mixed_marks`.
    """
    value, typed = split(text, where=where)
    return f"{plain(value)} {typed or unit}".strip()


def clock_time(recorded: str) -> str:
    """Date and time of a recorded moment on the clock of the bench, "2026-03-02 09:12"."""
    return show_time(recorded)[:16]


def history(batch: Batch, item: Effective, shown: Mapping[str, str]) -> list[str]:
    """How an entry came to what it says: its first content, every correction with its reason, its void.

    Parameters
    ----------
    shown : dict   Names of the parts to tell, and their units.
    """
    entries = batch.view.entries
    first = entries[item.seq - 1]
    told = [f"entry {item.seq}, {clock_time(first.recorded_at)}: {_content(first.body, shown)}"]
    for entry in entries:
        if entry.kind == CORRECTION and entry.body["corrects"] == item.seq:
            body, why = entry.body["body"], entry.body["why"]
            told.append(
                f"entry {entry.seq}, {clock_time(entry.recorded_at)}: put right to {_content(body, shown)} ({why})"
            )
    if item.void:
        told.append(f"voided: {item.void}")
    return told if len(told) > 1 else []


def _content(body: Mapping, shown: Mapping[str, str]) -> str:
    parts = [f"{body[name]} {unit}".strip() for name, unit in shown.items() if body.get(name)]
    return ", ".join(parts) or "nothing"


def total_of(items: tuple[Effective, ...]) -> Decimal:
    """Sum of the masses of weighings. [g]"""
    return sum((Decimal(item.body["mass_g"]) for item in items), Decimal(0))
