"""Planned against made: which batch each planned one became, on which day and place, and what came otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cached_property

from kit.errors import RecordError
from kit.labbook.plan_entry import PlanKept, PlannedRun
from kit.labbook.source import open_source
from kit.labbook.view import BatchView
from kit.show import Block, Cell, Table, Worded, listing
from kit.trials.arms import day_made, in_order
from kit.trials.as_made import line_differences, made_of
from kit.trials.plan import Plan
from kit.trials.plan_factors import SETTING
from kit.trials.plan_layouts import EFFECTS
from kit.trials.plan_points import CONTROL
from kit.trials.wording import plural

NOT_MADE = "NOT MADE YET"


@dataclass(frozen=True, repr=False)
class RunMade(Worded):
    """A planned batch and the one it became.

    Parameters
    ----------
    run : PlannedRun     As planned.
    batch : BatchView    As made; None where it is not made yet.
    day, place : int     Made on the so-manyeth day of making, and as the so-manyeth of the plan that day; 0 before.
    differs : tuple      What came otherwise, in words.
    lines : tuple        Those of them that are amounts as made against meant.
    """

    run: PlannedRun
    batch: BatchView | None
    day: int = 0
    place: int = 0
    differs: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What was planned, and what came of it."""
        became = f"made as {self.batch.name} on {_actual(self)}" if self.batch else NOT_MADE
        return "; ".join([f"{self.run}: {became}", *self.differs])

    @property
    def as_planned(self) -> bool:
        """Whether it was made, on its day, in its order, with nothing to tell."""
        return self.batch is not None and not self.differs

    @property
    def done_otherwise(self) -> tuple[str, ...]:
        """What came otherwise in day, order, mass or setting; oil that stayed in its beaker aside."""
        return tuple(words for words in self.differs if words not in self.lines)


@dataclass(frozen=True)
class PlanMade:
    """A plan beside what was made of it.

    Parameters
    ----------
    kept : PlanKept          The plan as kept.
    runs : tuple             In the order that was planned.
    others : tuple           Batches of the study made since, of no planned version or beyond the number planned.
    """

    kept: PlanKept
    runs: tuple[RunMade, ...]
    others: tuple[BatchView, ...] = ()

    @cached_property
    def plan(self) -> Plan:
        """The plan itself."""
        return Plan.from_row(self.kept.row, self.kept.formulas)

    @property
    def made(self) -> int:
        """How many of the planned batches are made."""
        return sum(one.batch is not None for one in self.runs)

    @property
    def words(self) -> str:
        """How far it is, in a sentence."""
        left = len(self.runs) - self.made
        differ = sum(bool(one.done_otherwise) for one in self.runs)
        lines = sum(bool(one.lines) for one in self.runs)
        told = f"{self.made} of {len(self.runs)} planned batches are made"
        told += f", {left} not yet" if left else ""
        told += f"; {differ} came otherwise than planned" if differ else ""
        told += f"; {len(self.begun_before)} begun before the plan was put on the record" if self.begun_before else ""
        return f"{told}; in {lines} amounts differ as made." if lines else f"{told}."

    @property
    def begun_before(self) -> tuple[str, ...]:
        """Batches begun before the plan was on the record, whatever date it was given: nothing shows it came first."""
        kept = datetime.fromisoformat(self.kept.recorded_at or self.kept.at)
        made = (one.batch for one in self.runs if one.batch is not None)
        return tuple(batch.name for batch in made if datetime.fromisoformat(batch.started_at) < kept)

    def table(self) -> Table:
        """Planned against made, in the order that was planned."""
        rows = [
            (
                str(one.run.order),
                one.run.label,
                _planned(one.run),
                one.batch.name if one.batch else Cell(NOT_MADE, "quiet"),
                _actual(one),
                "; ".join(one.done_otherwise) or ("as planned" if one.batch else ""),
                _lines_told(one),
            )
            for one in self.runs
        ]
        return Table(
            ("batch", "what", "planned", "made as", "made on", "what differs", "amounts as made"),
            rows,
            title=f"Plan {self.kept.name}: planned against made",
            note=self.words,
            numeric=frozenset({0}),
        )

    def amounts_table(self) -> Table:
        """Amounts as made that differ from what was meant, a row a line of a batch."""
        rows = [
            (one.batch.name if place == 0 else "", *words.split(": ", 1))
            for one in self.runs
            for place, words in enumerate(one.lines)
        ]
        return Table(("batch", "line", "as made"), rows, title="Amounts as made that differ")

    def days_and_factors(self) -> tuple[str, ...]:
        """What goes with the day as the batches were made, in sentences; the controls are left out."""
        from kit.science.design_day import confounded_with_day

        plan = self.plan
        made = [one for one in self.runs if one.batch and one.run.role != CONTROL]
        levels = {factor.name: [_level(plan, one.run, factor.name) for one in made] for factor in plan.factors}
        if not made or not levels:
            return ()
        days = [day_made(one.batch) for one in made]
        found = confounded_with_day(levels, days, interactions=plan.judged == EFFECTS)
        return tuple(one.words.replace(one.effect, one.effect.replace(":", " × ")) for one in found)

    def _block(self) -> Block:
        parts: list[object] = [self.table()]
        if self.days_and_factors():
            parts.append(listing("As made, what goes with the day", self.days_and_factors()))
        if self.others:
            parts.append(listing("Made since, and not in the plan", [batch.name for batch in self.others]))
        if any(one.lines for one in self.runs):
            parts.append(self.amounts_table())
        return Block(tuple(parts))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


def plan_made(source: object, plan: str = "", *, study: str = "") -> PlanMade:
    """A kept plan beside what was made of it.

    Parameters
    ----------
    source : str, Path, Labbook or Source   A lab book, a snapshot, or something already open.
    plan : str                              Its name; the last one of the study when omitted.
    study : str                             The study; the only one when omitted.

    Returns
    -------
    PlanMade   Batches belong to a plan by study and formula version, when started after it was kept. Of several planned
               batches of one version each takes one made on its own day first, then in order.

    Raises
    ------
    RecordError   `plan.unknown`, `labbook.study`, and those of `open_source`.
    """
    source = open_source(source)
    kept = source.plan(plan) if plan else _last(source, study)
    since = [batch for batch in in_order(source.batches(study=kept.study)) if kept.is_before(batch)]
    own = [batch for batch in since if kept.covers(batch)]
    taken = _matched(kept.runs, own)
    days = list(dict.fromkeys(day_made(batch) for batch in own))
    runs = tuple(_run_made(run, taken.get(run.order), kept, days, list(taken.values())) for run in kept.runs)
    used = {batch.name for batch in taken.values()}
    return PlanMade(kept, runs, tuple(batch for batch in since if batch.name not in used))


def _last(source, study: str) -> PlanKept:
    name = source.study(study).name
    plans = source.plans(name)
    if not plans:
        raise RecordError(
            f"no plan of study {name} is kept",
            where=source.title,
            allowed="a plan that was kept",
            mend="plan with kit.plan_variations() and keep it with book.add_plan()",
            code="plan.unknown",
        )
    return plans[-1]


def _matched(runs: Sequence[PlannedRun], batches: Sequence[BatchView]) -> dict[int, BatchView]:
    """Order of a planned batch to the batch it became: on its own day first, then the first left."""
    days = list(dict.fromkeys(day_made(batch) for batch in batches))
    left, taken = list(batches), {}

    def take(run: PlannedRun, fits) -> None:
        found = next((batch for batch in left if batch.formula.fingerprint == run.version and fits(batch)), None)
        if found is not None:
            taken[run.order] = found
            left.remove(found)

    for run in runs:
        take(run, lambda batch, run=run: _on_its_day(run, batch, days))
    for run in runs:
        if run.order not in taken:
            take(run, lambda batch: True)
    return taken


def _on_its_day(run: PlannedRun, batch: BatchView, days: Sequence[str]) -> bool:
    return day_made(batch) == run.date if run.date else days.index(day_made(batch)) + 1 == run.day


def _run_made(
    run: PlannedRun, batch: BatchView | None, kept: PlanKept, days: Sequence[str], made: Sequence[BatchView]
) -> RunMade:
    if batch is None:
        return RunMade(run, None)
    day = days.index(day_made(batch)) + 1
    today = [one.name for one in in_order(made) if day_made(one) == day_made(batch)]
    place = today.index(batch.name) + 1
    lines = [f"{name}: {words}" for name, words in line_differences(batch).items()]
    differs = [*_done_otherwise(run, batch, kept, day, place), *lines]
    return RunMade(run, batch, day, place, tuple(differs), tuple(lines))


def _done_otherwise(run: PlannedRun, batch: BatchView, kept: PlanKept, day: int, place: int) -> list[str]:
    told = [] if batch.finished_at else ["begun, not finished"]
    if run.date and day_made(batch) != run.date:
        told.append(f"planned for {run.date}, made on {day_made(batch)}")
    elif not run.date and day != run.day:
        told.append(f"planned for day {run.day}, made on day {day}")
    elif place != run.place:
        told.append(f"planned as number {run.place} of the day, made as number {place}")
    if str(batch.batch_g.normalize()) != str(_planned_g(kept).normalize()):
        told.append(f"{batch.batch_g:f} g instead of {_planned_g(kept):f} g")
    return [*told, *_settings(run, batch, kept)]


def _planned_g(kept: PlanKept) -> Decimal:
    return Decimal(kept.row["batch_g"])


def _settings(run: PlannedRun, batch: BatchView, kept: PlanKept) -> list[str]:
    """Settings that were varied, as recorded, where they differ from the plan or were not recorded."""
    varied = {row["name"] for row in kept.row["factors"] if row["kind"] == SETTING}
    levels = next(one["levels"] for one in kept.row["versions"] if one["version"] == run.version)
    told = []
    for name, level in levels:
        if name in varied:
            found = _recorded(name, batch)
            if found == "":
                told.append(f"{name}: NOT RECORDED")
            elif found is not None and abs(float(found) - float(level)) > 1e-9:
                told.append(f"{name}: {found} instead of {level}")
    return told


def _recorded(name: str, batch: BatchView) -> str | None:
    """What was recorded of a setting; "" where nothing was, None where the record has no place for it."""
    words = name.split()
    done = batch.standing("combine")
    body = done[-1].body if done else {}
    if words[0] == "combine" and words[-1] in ("rpm", "minutes"):
        return body.get(words[-1], "")
    if words[0] == "phase" and words[-1] == "temperature":
        return body.get("temps_c", {}).get(words[1], "")
    if words[0] == "add" and len(words) == 3:
        added = [item for item in batch.standing("add") if item.body["phase"] == words[1]]
        field = {"temperature": "temp_c"}.get(words[-1], words[-1])
        return added[-1].body.get(field, "") if added else ""
    return None


def _level(plan: Plan, run: PlannedRun, name: str) -> float | None:
    level = dict(plan.version(run.version).levels).get(name)
    return None if level is None else float(level)


def _planned(run: PlannedRun) -> str:
    return f"{run.date or f'day {run.day}'}, number {run.place}"


def _lines_told(one: RunMade) -> str:
    """How many lines differ as made, `amounts_table` has each; why nothing can be said where nothing was weighed."""
    if one.batch is None:
        return ""
    made, why = made_of(one.batch)
    if made is None:
        return why
    return f"{plural(len(one.lines), 'line')} differ{'s' if len(one.lines) == 1 else ''}" if one.lines else "as meant"


def _actual(one: RunMade) -> str:
    return f"{day_made(one.batch)}, number {one.place}" if one.batch else ""
