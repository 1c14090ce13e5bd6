"""Planned against made: which batch each planned one became, on which day and place, and what came otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from kit.errors import RecordError
from kit.labbook.plan_entry import PlanKept, PlannedRun
from kit.labbook.source import Source, open_source
from kit.labbook.view import BatchView
from kit.show import Block, Cell, Table, listing
from kit.trials.arms import day_made, in_order
from kit.trials.as_made import made_of
from kit.trials.plan import Plan
from kit.trials.plan_layouts import EFFECTS
from kit.trials.plan_points import CONTROL
from kit.trials.plan_run_made import NOT_MADE, RunMade, matched, run_made
from kit.trials.wording import plural


@dataclass(frozen=True)
class PlanMade:
    """A plan beside what was made of it.

    Parameters
    ----------
    kept : PlanKept          The plan as kept.
    runs : tuple             In the order that was planned.
    others : tuple           Batches of the study made since, of no planned version or beyond the number planned.
    shared : dict            Another plan of the study to the batches of this one that count in it too.
    """

    kept: PlanKept
    runs: tuple[RunMade, ...]
    others: tuple[BatchView, ...] = ()
    shared: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

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
        told = f"{told}; in {lines} amounts differ as made." if lines else f"{told}."
        return " ".join([told, *self._shared_words()])

    def _shared_words(self) -> list[str]:
        return [
            f"{', '.join(names)} count{'s' if len(names) == 1 else ''} as made in plan {plan} too: both plans hold "
            f"{'its version' if len(names) == 1 else 'their versions'}."
            for plan, names in self.shared.items()
        ]

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
                one.made_on,
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
    made = in_order(source.batches(study=kept.study))
    taken, own = _taken(kept, made)
    days = list(dict.fromkeys(day_made(batch) for batch in own))
    runs = tuple(run_made(run, taken.get(run.order), kept, days, list(taken.values())) for run in kept.runs)
    used = {batch.name for batch in taken.values()}
    others = tuple(batch for batch in made if kept.is_before(batch) and batch.name not in used)
    return PlanMade(kept, runs, others, _shared(source, kept, made, used))


def _taken(kept: PlanKept, made: Sequence[BatchView]) -> tuple[dict[int, BatchView], list[BatchView]]:
    """What the batches of a plan became, and all batches of its versions made since it was planned."""
    own = [batch for batch in made if kept.covers(batch)]
    return matched(kept.runs, own), own


def _shared(source: Source, kept: PlanKept, made: Sequence[BatchView], used: Set[str]) -> dict[str, tuple[str, ...]]:
    """Other plans of the study by name, with the batches of this one that they count as theirs."""
    found = {}
    for other in source.plans(kept.study):
        if other.name != kept.name:
            theirs = {batch.name for batch in _taken(other, made)[0].values()}
            found[other.name] = tuple(batch.name for batch in made if batch.name in used & theirs)
    return {name: batches for name, batches in found.items() if batches}


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
