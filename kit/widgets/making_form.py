"""The making form: what was done at the bench, step by step; one press records what was typed for a step."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from kit.bench.exact import upper_first
from kit.errors import KitError
from kit.labbook.batch import Batch
from kit.labbook.ledger import Effective
from kit.labbook.receipt import Receipt
from kit.labbook.times import read_time
from kit.sources import read_data
from kit.units import minutes, plain, read
from kit.widgets.entry_form import EntryForm, clock_time, with_unit, words_of
from kit.widgets.making_steps import (
    ADD,
    ADJUST,
    COMBINE,
    COOL,
    FINISH,
    LEFT,
    STEP,
    VESSEL,
    WATER,
    Field,
    MakingStep,
    belongs,
    making_steps,
    recorded_words,
)
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
    FormView,
    Outcome,
    Part,
    Remark,
    Row,
)

RECORD, UNDO = "record", "undo"
_CAUTIONS = ("hot-wax", "rotor-stator", "acid", "alkali")


class MakingForm(EntryForm):
    """What was done with one batch. Rows are the keys of its steps, such as "combine" or "add-C".

    Columns are "combine.after" and the like; the text of a column is noted, and the column "record" puts all that is
    noted for a step into the lab book as one entry. The column "undo" takes the step's last entry back, with a reason.

    Parameters
    ----------
    batch : Batch   Open or finished; a finished one is only shown.

    Examples
    --------
    `form.commit("add-C", "add-C.temp", "38,5")`, then `form.commit("add-C", "record", "")`.
    """

    def __init__(self, batch: Batch) -> None:
        super().__init__(batch)
        self.steps = {step.key: step for step in making_steps(batch.formula)}
        self._told: dict[str, tuple[str, ...]] = {}  # what a receipt said to look at, by step
        self._forecast = ""  # when the next addition may go in, as the temperatures so far say

    # What it shows

    def _view(self) -> FormView:
        done = self.batch.view.finished_at
        state = f"finished {clock_time(done)}" if done else "type what you saw, then press the button of the step"
        return FormView(
            f"Making {self.batch.name}: {state}", tuple(self._part(step) for step in self.steps.values()), _cautions()
        )

    def _part(self, step: MakingStep) -> Part:
        columns = (Column("step", "step"), *(Column(_column(step, one), one.head) for one in step.fields))
        return Part(step.key, step.caption, columns, (self._row(step),), step.note)

    def _row(self, step: MakingStep) -> Row:
        items = self._items(step)
        ask, asked = self.open_question(step.key)
        told = [Remark(f"Entry {item.seq}, {clock_time(item.measured_at)}: {recorded_words(item)}") for item in items]
        told += [Remark(f"{upper_first(words.rstrip('.'))}.", "flag") for words in self._told.get(step.key, ())]
        told += [Remark(self._forecast)] if step.kind == COOL and self._forecast else []
        open_ = "NOT RECORDED" if self.batch.view.finished_at else "not yet"
        state = Cell(HEAD, "recorded" if items else open_, tone="pass" if items else "quiet", label=step.caption)
        return Row(
            step.key,
            (state, *(self._cell(step, one) for one in step.fields)),
            remarks=(*self.refusals(step.key), *told),
            actions=self._actions(step, items),
            ask=ask,
            asked=asked,
        )

    def _cell(self, step: MakingStep, one: Field) -> Cell:
        if self._is_closed(step):
            return Cell(TEXT, "", f"planned: {one.planned}" if one.planned else "")
        cell = self.input_cell(step.key, _column(step, one), f"{step.caption}, {one.head}", decimal=bool(one.unit))
        small = cell.small if cell.state else f"planned: {one.planned}" if one.planned else ""
        return Cell(cell.kind, cell.text, small, cell.label, cell.state, decimal=cell.decimal, options=one.options)

    def _actions(self, step: MakingStep, items: tuple[Effective, ...]) -> tuple[Action, ...]:
        record = () if self._is_closed(step) else (Action(RECORD, step.press),)
        last = items and (step.kind == FINISH or not self.batch.view.finished_at)
        return (*record, *([Action(UNDO, f"Undo entry {items[-1].seq} ...")] if last else []))

    def _is_closed(self, step: MakingStep) -> bool:
        """Whether nothing more can be recorded for a step: making is finished, or it is done once and was done."""
        once = step.kind in (COMBINE, ADD, FINISH)
        return bool(self.batch.view.finished_at) or (once and bool(self._items(step)))

    # What it takes

    def _take(self, row: str, column: str, text: str, choice: str, why: str) -> Outcome:
        step = self.steps.get(row)
        if step is None:
            raise self.unknown_cell(row, column)
        if column == RECORD:
            return self._record(step, choice)
        if column == UNDO:
            return self._undo(step, choice, why)
        one = next((one for one in step.fields if _column(step, one) == column), None)
        if one is None:
            raise self.unknown_cell(row, column)
        return self._note(step, one, text)

    def _note(self, step: MakingStep, one: Field, text: str) -> Outcome:
        if not text:
            return Outcome(UNCHANGED, f"{step.caption}, {one.head}: blank")
        return Outcome(NOTED, f"noted: {self._typed(step, one, text)}")

    def _typed(self, step: MakingStep, one: Field, text: str) -> str:
        """A typed text with its unit, once it can be read."""
        where = f"{step.caption}, {one.head}"
        if one.name == "at" and any(mark in text for mark in "-:"):
            read_time(text, lambda: datetime.fromisoformat(self.batch.now()), where=where)
            return text
        if not one.unit:
            return text
        typed = with_unit(text, one.unit, where=where)
        if one.unit == "min":
            return f"{plain(minutes(typed, where=where))} min"
        read(typed, one.unit, where=where)
        return typed

    def _record(self, step: MakingStep, choice: str) -> Outcome:
        noted = self._noted(step)
        if not noted and step.kind != FINISH:
            raise KitError(
                "nothing is typed for this step",
                where=step.caption,
                mend="type what you saw; what was not measured stays blank",
                code="form.nothing",
            )
        absent = self._absent(step)
        if absent and choice != "anyway":
            ask = Ask(
                f"Not recorded as weighed or added: {', '.join(absent)}. Go on all the same?",
                (Choice("anyway", "Go on without"), Choice(CANCEL, "Not yet")),
            )
            return Outcome(ASKS, ask.question, ask=ask)
        receipt = _CALLS[step.kind](self.batch, step, noted)
        if not receipt.new:
            return Outcome(UNCHANGED, f"{receipt.words}: recorded already, entry {receipt.seq}; nothing added")
        for one in step.fields:
            self.drafts.pop((step.key, _column(step, one)), None)
        self._told[step.key] = tuple(note for note in receipt.notes if note)
        told = "; ".join([f"recorded {receipt.words}, entry {receipt.seq}", *receipt.notes])
        self._foretell(step)
        return Outcome(RECORDED, told, entry=receipt.seq)

    def _foretell(self, step: MakingStep) -> None:
        """Say anew when the next addition may go in: it takes a second, so once an entry and not with every view."""
        if step.kind not in (COMBINE, COOL, ADD, FINISH):
            return
        try:
            self._forecast = self.batch.cooling().words if self.batch.view.standing(COOL) else ""
        except KitError as problem:  # the entry stands, whatever can be said of it
            self._forecast = words_of(problem)

    def _noted(self, step: MakingStep) -> dict[str, str]:
        noted = {}
        for one in step.fields:
            draft = self.drafts.get((step.key, _column(step, one)))
            if draft is None:
                continue
            if draft.outcome.state == REFUSED:
                raise KitError(
                    f"{one.head} is {draft.text!r}, which cannot be read",
                    where=step.caption,
                    mend="correct it or blank it, then press again",
                    code="form.condition",
                )
            noted[one.name] = self._typed(step, one, draft.text)
        return noted

    def _absent(self, step: MakingStep) -> list[str]:
        """Lines that are not weighed and phases that are not added, as far as the step rests on them."""
        phases = self.batch.formula.phases
        asked = {
            COMBINE: {phase.name for phase in phases if phase.kind in ("water", "oil")},
            ADD: {step.phase},
            FINISH: {phase.name for phase in phases if phase.kind != "adjust"},
        }.get(step.kind, set())
        weighed = {(item.body["phase"], item.body["material"]) for item in self.batch.view.standing("weigh")}
        absent = [
            line.material.name for line in self.batch.sheet.lines if line.phase in asked and line.place not in weighed
        ]
        if step.kind == FINISH:
            absent += [
                other.caption
                for other in self.steps.values()
                if other.kind in (COMBINE, ADD) and not self._items(other)
            ]
        return absent

    def _undo(self, step: MakingStep, choice: str, why: str) -> Outcome:
        items = self._items(step)
        if not items:
            raise self.unknown_cell(step.key, UNDO)
        if choice == "void" and why:
            receipt = self.batch.void(items[-1].seq, why=why)
            self._told.pop(step.key, None)
            self._foretell(step)
            return Outcome(RECORDED, receipt.words, entry=receipt.seq)
        ask = Ask(
            f"{step.caption}: {recorded_words(items[-1])} (entry {items[-1].seq}). It is not erased; it can be undone "
            "with a reason.",
            (Choice("void", "Undo it", why=True), Choice(CANCEL, "Leave it")),
            ("typing slip", "not done after all"),
        )
        return Outcome(ASKS, ask.question, ask=ask)

    def _items(self, step: MakingStep) -> tuple[Effective, ...]:
        return tuple(item for item in self.batch.view.standing(step.kind) if belongs(item, step))


def _combine(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    others = {name: noted.pop(name) for name in ("rpm", "minutes", "order") if name in noted}
    return batch.combine(temps=noted, **others)


def _temperature(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    _require(step, noted, "temp")
    return batch.temperature(noted["temp"], at=noted.get("at", ""))


def _step(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    return batch.step(noted.pop("text", step.text), do=step.do, phase=step.phase, **noted)


def _weigh_back(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    _require(step, noted, "container", "mass")
    return batch.weigh_back(noted["container"], noted["mass"])


def _gross(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    _require(step, noted, "gross", "tare")
    return batch.gross(noted["gross"], tare=noted["tare"])


def _top_up(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    _require(step, noted, "mass")
    return batch.top_up(noted["mass"], lot=noted.get("lot", ""))


def _adjust(batch: Batch, step: MakingStep, noted: dict[str, str]) -> Receipt:
    """A dose counts itself: what was typed anew and pressed is a further one."""
    _require(step, noted, "material", "mass")
    dose = sum(item.kind == ADJUST for item in batch.view.effective) + 1
    return batch.adjust(noted.pop("material"), noted.pop("mass"), dose=dose, **noted)


def _require(step: MakingStep, noted: dict[str, str], *names: str) -> None:
    absent = [one.head for one in step.fields if one.name in names and one.name not in noted]
    if absent:
        raise KitError(
            f"{' and '.join(absent)} is blank",
            where=step.caption,
            mend="type it, then press again",
            code="form.blank",
        )


_CALLS: dict[str, Callable[[Batch, MakingStep, dict[str, str]], Receipt]] = {
    COMBINE: _combine,
    COOL: _temperature,
    ADD: lambda batch, step, noted: batch.add(step.phase, **noted),
    STEP: _step,
    LEFT: _weigh_back,
    VESSEL: _gross,
    WATER: _top_up,
    ADJUST: _adjust,
    FINISH: lambda batch, step, noted: batch.finish(**noted),
}


def _column(step: MakingStep, one: Field) -> str:
    """The key of a field's column, its own in the whole form: Enter must not jump from one step to another."""
    return f"{step.key}.{one.name}"


def _cautions() -> tuple[tuple[str, str], ...]:
    known = read_data("cautions.toml")["cautions"]
    return tuple((known[key]["title"], known[key]["text"]) for key in _CAUTIONS if key in known)
