"""A plan to type: factors, levels and days; the plan and what it can tell at once; a button that keeps it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from threading import RLock

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.labbook.book import Labbook
from kit.show import Cell as ShownCell
from kit.show import Table
from kit.trials.plan import Plan
from kit.trials.plan_catalogue import LAYOUTS
from kit.trials.plan_layouts import LEVELS, SWAPS
from kit.trials.plan_settings import settings_of
from kit.trials.plan_variations import plan_variations
from kit.widgets.entry_form import Draft, words_of
from kit.widgets.parts import (
    HEAD,
    INPUT,
    NOTED,
    RECORDED,
    REFUSED,
    TEXT,
    UNCHANGED,
    Action,
    Cell,
    Column,
    FormView,
    Outcome,
    Part,
    Remark,
    Row,
)

KEEP = "keep"
_FACTORS = 6
_ENTRY, _NAME, _LEVELS = "entry", "factor", "levels"

# key, what it says, what to type
_SETTINGS = (
    ("layout", "layout", "how the levels are put together"),
    ("days", "days", "how many, or dates 2026-03-02, 2026-03-03; four batches a day when empty"),
    ("control", "control", "base, centre or none; the formula itself when empty"),
    ("batch", "one batch", "such as 400 g"),
    ("repeats", "further batches", "made where they buy most"),
    ("centre", "centre points", "in the layouts that have them"),
    ("total", "total of a mixture", "such as 7.00 % active"),
    ("runs", "runs", "of a fraction or a D-optimal design"),
    ("history", "scatter of batches", "8 % with 10 df; from the lab book when empty"),
    ("seed", "seed of the draw", "the same seed gives the same order"),
    ("name", "name of the plan", "it is kept under it"),
)
_COUNTS = ("repeats", "centre", "runs", "seed")


class PlanForm:
    """A plan that is typed. What is shown follows what was typed last; only a kept plan is in the lab book.

    Parameters
    ----------
    book : Labbook      An open lab book: the plan is kept there, and its repeated batches tell the scatter.
    formula : Formula   What is varied.
    study : str         The study; the only one when omitted.
    """

    def __init__(self, book: Labbook, formula: Formula, *, study: str = "") -> None:
        self.book, self.formula = book, formula
        self.study = book.study(study).name
        self.typed: dict[tuple[str, str], str] = {
            ("layout", _ENTRY): LEVELS,
            ("batch", _ENTRY): "400 g",
            ("repeats", _ENTRY): "0",
            ("centre", _ENTRY): "3",
            ("seed", _ENTRY): "1",
            ("name", _ENTRY): f"{self.study}-plan",
        }
        self.plan: Plan | None = None
        self.drafts: dict[tuple[str, str], Draft] = {}
        self._said, self._kept = "", False
        self._lock = RLock()

    def view(self) -> FormView:
        """What the form shows now."""
        with self._lock:
            parts = [self._settings_part(), self._factors_part()]
            if self.plan is not None:
                plan = self.plan
                parts += [
                    _part("order", plan.batches_table()),
                    _part("foreseen", plan.predictions_table(), (*map(str, plan.tightened), *plan.findings())),
                    _part("power", plan.power_table(), plan.limits()),
                    _part("materials", plan.materials_table()),
                ]
            return FormView(f"Plan for study {self.study}: {self.formula.title}", tuple(parts))

    def commit(self, row: str, column: str, text: str, *, choice: str = "", why: str = "") -> Outcome:
        """Take what was typed into a cell and plan anew, or keep the plan.

        Parameters
        ----------
        row, column : str   Keys of the cell, as in `view()`; "keep" and "keep" for the button.
        text : str          As typed.
        choice, why : str   Not asked for here.

        Returns
        -------
        Outcome   "noted" once it is planned, or while something is still missing; "refused" with the reason, the text
                  kept; "recorded" only after the plan is on disk.
        """
        del choice, why
        key, text = (str(row), str(column)), str(text).strip()
        with self._lock:
            if key == (KEEP, KEEP):
                return self._keep()
            if key not in self._keys():
                return Outcome(REFUSED, f"there is no cell {column!r} in row {row!r}", "form.cell")
            if text == self.typed.get(key, ""):
                return Outcome(UNCHANGED, "left as it was")
            self.typed[key] = text
            self._said, self._kept = "", False
            return self._planned(key, text)

    def _planned(self, key: tuple[str, str], text: str) -> Outcome:
        self.drafts.clear()
        try:
            given = self._given()
            self.plan = None if given is None else plan_variations(self.formula, **given)
        except KitError as problem:
            self.plan = None
            outcome = Outcome(REFUSED, f"not planned. {words_of(problem)}", problem.code)
            self.drafts[key] = Draft(text, outcome)
            return outcome
        return Outcome(NOTED, self.plan.words if self.plan else "noted; a factor and its levels are still missing")

    def _keep(self) -> Outcome:
        if self.plan is None:
            return Outcome(REFUSED, "nothing is planned yet: type a factor and its levels", "form.plan")
        try:
            receipt = self.book.add_plan(self.plan, study=self.study, name=self.typed[("name", _ENTRY)])
        except KitError as problem:
            self._said = f"not kept. {words_of(problem)}"
            return Outcome(REFUSED, self._said, problem.code)
        self._kept = True
        self._said = f"{receipt.words}: in the lab book, entry {receipt.seq}"
        return Outcome(RECORDED if receipt.new else UNCHANGED, self._said, entry=receipt.seq)

    def _given(self) -> dict | None:
        """What `plan_variations` is called with; None while no factor is whole."""
        layout = self._entry("layout")
        rows = [(self.typed.get((row, _NAME), ""), self.typed.get((row, _LEVELS), "")) for row in self._factor_rows()]
        if layout == SWAPS:
            factors = [name for name, _ in rows if name]
        else:
            factors = [f"{name}: {levels}" for name, levels in rows if name and levels]
        if not factors:
            return None
        given: dict = {"layout": layout, "factors": factors, "history": self.book.source(), "study": self.study}
        given |= {name: self._entry(name) for name in ("control", "batch", "total") if self._entry(name)}
        given |= {name: _whole(name, self._entry(name)) for name in _COUNTS if self._entry(name)}
        if self._entry("history"):
            given["history"] = self._entry("history")
        days = self._entry("days")
        if days:
            given["days"] = int(days) if days.isdecimal() else re.split(r"[,;\s]+", days)
        return given

    def _entry(self, name: str) -> str:
        return self.typed.get((name, _ENTRY), "")

    def _factor_rows(self) -> list[str]:
        return [f"factor-{number}" for number in range(1, _FACTORS + 1)]

    def _keys(self) -> set[tuple[str, str]]:
        return {(name, _ENTRY) for name, _, _ in _SETTINGS} | {
            (row, column) for row in self._factor_rows() for column in (_NAME, _LEVELS)
        }

    def _settings_part(self) -> Part:
        options: Mapping[str, tuple[str, ...]] = {"layout": tuple(LAYOUTS), "control": ("base", "centre", "none")}
        rows = []
        for name, head, helps in _SETTINGS:
            cells = (Cell(HEAD, head), self._input(name, _ENTRY, head, options.get(name, ())), Cell(TEXT, helps))
            rows.append(Row(name, cells, remarks=self._remarks(name)))
        said = (Remark(self._said, "fail" if self._said.startswith("not kept") else "pass"),) if self._said else ()
        button = (Action(KEEP, "Keep this plan in the lab book"),) if self.plan is not None and not self._kept else ()
        state = "kept" if self._kept else "planned, not kept" if self.plan is not None else "not planned yet"
        cells = (Cell(HEAD, "the plan"), Cell(TEXT, state), Cell(TEXT, ""))
        rows.append(Row(KEEP, cells, remarks=said, actions=button))
        columns = (Column("what", "item"), Column(_ENTRY, "entry"), Column("help", "what to type"))
        return Part("settings", "How it is planned", columns, tuple(rows))

    def _factors_part(self) -> Part:
        swaps = self._entry("layout") == SWAPS
        lines = [line.material.key for _, line in self.formula.placed_lines() if not line.qs]
        names = tuple(dict.fromkeys([*lines, *(one.name for one in settings_of(self.formula))]))
        rows = []
        for number, row in enumerate(self._factor_rows(), start=1):
            cells = (
                Cell(HEAD, str(number)),
                self._input(row, _NAME, f"factor {number}", () if swaps else names),
                self._input(row, _LEVELS, f"levels of factor {number}", ()),
            )
            rows.append(Row(row, cells, remarks=(*self._remarks(row), *self._half_typed(row, swaps))))
        note = (
            "A swap: cetyl-alcohol for cetearyl-alcohol at equal mass. Levels stay empty."
            if swaps
            else "Levels: 3.00, 4.00, 5.00 % or 3.00 to 7.00 %; of a step: 4000 to 9000 rpm."
        )
        columns = (Column("number", "no."), Column(_NAME, "what is varied"), Column(_LEVELS, "levels"))
        return Part("factors", "What is varied", columns, tuple(rows), note)

    def _half_typed(self, row: str, swaps: bool) -> tuple[Remark, ...]:
        """Said where a factor has a name alone, or levels alone: it is in no plan until it has both."""
        name, levels = (bool(self.typed.get((row, column), "")) for column in (_NAME, _LEVELS))
        if name == levels or (swaps and name):
            return ()
        return (Remark(f"not in the plan yet: {'the levels are' if name else 'what is varied is'} missing", "flag"),)

    def _input(self, row: str, column: str, label: str, options: tuple[str, ...]) -> Cell:
        draft = self.drafts.get((row, column))
        state = draft.outcome.state if draft is not None else ""
        small = "NOT PLANNED: see below" if draft is not None else ""
        return Cell(INPUT, self.typed.get((row, column), ""), small, label, state, options=options)

    def _remarks(self, row: str) -> tuple[Remark, ...]:
        return tuple(Remark(draft.outcome.words, "fail") for (of, _), draft in self.drafts.items() if of == row)


def _whole(name: str, text: str) -> int:
    if text.isdecimal():
        return int(text)
    raise KitError(
        f"{name} is {text!r}",
        where="planning table",
        allowed="a whole number",
        mend="type digits alone",
        code="form.number",
    )


def _part(key: str, table: Table, remarks: tuple[str, ...] = ()) -> Part:
    """A table of the plan as a part that is read and not typed into; sentences stand under it."""
    columns = tuple(
        Column(str(number), str(head), number > 0 and number in table.numeric)
        for number, head in enumerate(table.columns)
    )
    rows = [
        Row(
            f"{key}-{at}",
            tuple(_cell(cell, number) for number, cell in enumerate(row)),
            remarks=tuple(Remark(words) for words in remarks) if at == len(table.rows) else (),
        )
        for at, row in enumerate(table.rows, start=1)
    ]
    return Part(key, table.title, columns, tuple(rows), table.note)


def _cell(cell: object, place: int) -> Cell:
    tone = cell.tone if isinstance(cell, ShownCell) else ""
    return Cell(TEXT if place else HEAD, str(cell), tone=tone)
