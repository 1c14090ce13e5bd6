"""A planned batch and the one it became: found by version and day, with what came otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.labbook.plan_entry import PlanKept, PlannedRun
from kit.labbook.view import BatchView
from kit.show import Worded
from kit.trials.arms import day_made, in_order
from kit.trials.as_made import line_differences
from kit.trials.plan_factors import SETTING

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
        became = f"made as {self.batch.name} on {self.made_on}" if self.batch else NOT_MADE
        return "; ".join([f"{self.run}: {became}", *self.differs])

    @property
    def made_on(self) -> str:
        """Day and place of the making; empty before."""
        return f"{day_made(self.batch)}, number {self.place}" if self.batch else ""

    @property
    def as_planned(self) -> bool:
        """Whether it was made, on its day, in its order, with nothing to tell."""
        return self.batch is not None and not self.differs

    @property
    def done_otherwise(self) -> tuple[str, ...]:
        """What came otherwise in day, order, mass or setting; oil that stayed in its beaker aside."""
        return tuple(words for words in self.differs if words not in self.lines)


def matched(runs: Sequence[PlannedRun], batches: Sequence[BatchView]) -> dict[int, BatchView]:
    """Order of a planned batch to the batch it became: on its own day first, then the first left.

    Parameters
    ----------
    runs : sequence of PlannedRun      Of one plan.
    batches : sequence of BatchView    Of its versions, in the order they were made.
    """
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


def run_made(
    run: PlannedRun, batch: BatchView | None, kept: PlanKept, days: Sequence[str], made: Sequence[BatchView]
) -> RunMade:
    """A planned batch beside the one it became, with what came otherwise.

    Parameters
    ----------
    run : PlannedRun
    batch : BatchView, None           As made.
    kept : PlanKept                   Its plan.
    days : sequence of str            On which batches of the plan were made, in order.
    made : sequence of BatchView      All that planned batches became.
    """
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
