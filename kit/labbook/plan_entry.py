"""The entry of a plan of trials: what is kept, and what is read from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from kit.errors import RecordError
from kit.formula.formula import Formula
from kit.labbook.streams import Entry
from kit.labbook.view import BatchView, formula_stream
from kit.show import Table, Worded

PLAN = "plan"
"""Kind of the entry and of its stream."""


@dataclass(frozen=True, slots=True, repr=False)
class PlannedRun(Worded):
    """One batch that was planned: its place in the order, its day, and the formula version it is to be.

    Parameters
    ----------
    order, day, place : int   In the plan; day; in the day. From 1.
    version : str             Fingerprint of the formula.
    label, role : str         Its point; "run", "centre", "control" or "repeat".
    date : str                "2026-03-02"; empty where no dates were planned.
    """

    order: int
    day: int
    place: int
    version: str
    label: str
    role: str
    date: str = ""

    @property
    def words(self) -> str:
        """Its place in the plan, and what it is."""
        return f"batch {self.order}, {self.date or f'day {self.day}'}, number {self.place}: {self.label} ({self.role})"


@dataclass(frozen=True)
class PlanKept:
    """A plan as it was kept.

    Parameters
    ----------
    name, study : str    Its own name, and the study it belongs to.
    at : str             When it was planned, as an ISO time.
    row : mapping        All that was kept.
    formulas : mapping   Fingerprint to formula.
    recorded_at : str    When it was put on the record, as an ISO time.
    """

    name: str
    study: str
    at: str
    row: Mapping
    formulas: Mapping[str, Formula]
    recorded_at: str = ""

    @property
    def title(self) -> str:
        """What was planned, in a few words."""
        return self.row["title"]

    @property
    def runs(self) -> tuple[PlannedRun, ...]:
        """The batches, in the order they are to be made in."""
        dates = self.row["dates"]
        return tuple(
            PlannedRun(
                int(one["order"]),
                int(one["day"]),
                int(one["place"]),
                one["version"],
                one["label"],
                one["role"],
                dates[int(one["day"]) - 1] if dates else "",
            )
            for one in self.row["batches"]
        )

    def covers(self, batch: BatchView) -> bool:
        """Whether a batch may be one of its own: the same study and version, started after it was planned.

        Parameters
        ----------
        batch : BatchView   Any.
        """
        return batch.formula.fingerprint in {run.version for run in self.runs} and self.is_before(batch)

    def is_before(self, batch: BatchView) -> bool:
        """Whether a batch of its study was started after it was planned.

        Parameters
        ----------
        batch : BatchView   Any.
        """
        started = datetime.fromisoformat(batch.started_at)
        return batch.study == self.study and started >= datetime.fromisoformat(self.at)

    def table(self) -> Table:
        """The order of making."""
        rows = [
            (str(run.order), run.date or str(run.day), str(run.place), run.label, self.formulas[run.version].version)
            for run in self.runs
        ]
        heads = ("batch", "day", "in the day", "what", "version")
        return Table(heads, rows, title=f"Plan {self.name}: {self.title}", numeric=frozenset({0, 2}))

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def plan_stream(name: str) -> str:
    """The stream of a plan.

    Parameters
    ----------
    name : str   As it was kept.
    """
    return f"{PLAN}/{name}"


def versions_of_plan(row: Mapping) -> tuple[str, ...]:
    """Fingerprints of all formulas of a plan, its base first.

    Parameters
    ----------
    row : mapping   As it was kept.
    """
    return tuple(dict.fromkeys([row["base"], *(one["version"] for one in row["versions"])]))


def plan_kept(entry: Entry, formula: Callable[[str], Formula]) -> PlanKept:
    """The plan that an entry holds.

    Parameters
    ----------
    entry : Entry        Of kind `PLAN`.
    formula : callable   Gives a formula by its fingerprint.
    """
    body = entry.body
    row = body["plan"]
    formulas = {key: formula(key) for key in versions_of_plan(row)}
    at = entry.measured_at or entry.recorded_at
    return PlanKept(body["name"], body["study"], at, row, formulas, entry.recorded_at)


def plan_streams(kept: PlanKept) -> tuple[str, ...]:
    """The stream of a plan and those of its formulas.

    Parameters
    ----------
    kept : PlanKept   As read.
    """
    return (plan_stream(kept.name), *map(formula_stream, kept.formulas))


def check_complete(row: Mapping, formulas: Iterable[Formula]) -> None:
    """Refuse a plan whose formulas are not all there.

    Raises
    ------
    RecordError   `labbook.plan`.
    """
    there = {formula.fingerprint for formula in formulas}
    lacking = [key[:12] for key in versions_of_plan(row) if key not in there]
    if lacking:
        raise RecordError(
            f"the plan names formulas that it does not bring ({', '.join(lacking)})",
            where="add_plan()",
            allowed="what plan_variations() gives",
            mend="plan it again",
            code="labbook.plan",
        )
