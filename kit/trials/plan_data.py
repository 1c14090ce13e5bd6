"""What a plan of trials holds: its batches in order, its versions, what they can tell."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.show import Worded
from kit.trials.plan_factors import Factor
from kit.trials.plan_materials import MaterialNeed, material_needs
from kit.trials.plan_power import Power
from kit.trials.plan_repair import Tightened
from kit.trials.plan_versions import PlannedVersion


@dataclass(frozen=True, slots=True, repr=False)
class PlannedBatch(Worded):
    """One batch of a plan.

    Parameters
    ----------
    order : int       In the whole plan, from 1.
    day, place : int  Day, and place within it, from 1.
    version : str     Fingerprint of its formula.
    label : str       Its point.
    role : str        "run", "centre", "control" or "repeat".
    base : int        Hot base it is taken from; 0 where it is made whole.
    """

    order: int
    day: int
    place: int
    version: str
    label: str
    role: str
    base: int = 0

    @property
    def words(self) -> str:
        """Its place in the plan, and what it is."""
        base = f", of hot base {self.base}" if self.base else ""
        return f"batch {self.order}, day {self.day}, number {self.place}: {self.label} ({self.role}){base}"


@dataclass(frozen=True)
class PlanData:
    """What a plan holds; `Plan` shows and keeps it.

    Parameters
    ----------
    base : Formula            What is varied.
    layout, design : str      "levels"; "level series of cetearyl-alcohol".
    judged : str              How it will be judged: "arms", "effects", "mixture", "mixture and process".
    factors : tuple           What is varied, with the levels as planned.
    versions : tuple          Every formula of the plan, the control first.
    batches : tuple           In order of making.
    control : str             Fingerprint of the control; empty without one.
    absorb : str              Who makes room for a change.
    batch_g : Decimal         Mass of a batch. [g]
    seed : int                Of the draw.
    power : Power             What it can tell.
    dates : tuple of str      Planned day by day, "2026-03-02"; empty where not told.
    tightened : tuple         Bounds that were moved, and why.
    aliases : tuple of str    Effects that cannot be told apart.
    notes : tuple of str      What else to know.
    loss_pct : Decimal        Allowance for the materials. [%]
    on_hand : tuple           Material key and mass on the shelf. [g]
    """

    base: Formula
    layout: str
    design: str
    judged: str
    factors: tuple[Factor, ...]
    versions: tuple[PlannedVersion, ...]
    batches: tuple[PlannedBatch, ...]
    control: str
    absorb: str
    batch_g: Decimal
    seed: int
    power: Power
    dates: tuple[str, ...] = ()
    tightened: tuple[Tightened, ...] = ()
    aliases: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    loss_pct: Decimal = Decimal(0)
    on_hand: tuple[tuple[str, Decimal], ...] = ()

    @property
    def days(self) -> int:
        """How many days it takes."""
        return max(batch.day for batch in self.batches)

    @property
    def stopped(self) -> tuple[PlannedVersion, ...]:
        """Versions with a stop: not to be made so."""
        return tuple(version for version in self.versions if version.stops)

    @property
    def title(self) -> str:
        """What is planned, in a few words."""
        return f"{self.design}, {len(self.batches)} batches on {self.days} day{'' if self.days == 1 else 's'}"

    def version(self, key: str) -> PlannedVersion:
        """A version by its fingerprint."""
        return self._by_key[key]

    @cached_property
    def _by_key(self) -> dict[str, PlannedVersion]:
        return {version.key: version for version in self.versions}

    def formula(self, order: int) -> Formula:
        """The formula of a batch, for `plan_batch`.

        Parameters
        ----------
        order : int   Its place in the whole plan, from 1.

        Raises
        ------
        KitError   `plan.batch`.
        """
        for batch in self.batches:
            if batch.order == order:
                return self.version(batch.version).formula
        raise KitError(
            f"the plan has no batch {order}",
            where=self.title,
            allowed=f"1 to {len(self.batches)}",
            mend="name one of these",
            code="plan.batch",
        )

    def date(self, day: int) -> str:
        """The date of a day where dates were given; empty else."""
        return self.dates[day - 1] if self.dates else ""

    @cached_property
    def needs(self) -> tuple[MaterialNeed, ...]:
        """Materials for the whole plan, largest first."""
        made = [(self.version(batch.version).formula, self.batch_g) for batch in self.batches]
        return material_needs(made, self.loss_pct, dict(self.on_hand))

    def formulas(self) -> tuple[Formula, ...]:
        """Every formula of the plan, the base first."""
        every = {self.base.fingerprint: self.base}
        return tuple({**every, **{version.key: version.formula for version in self.versions}}.values())
