"""Which trials next, in which order, and what will each be?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

from kit.bench.sheet import plan_batch
from kit.errors import ParameterError
from kit.figures.figure import Figure
from kit.figures.plan_days import plan_by_day
from kit.figures.plan_points import plan_points
from kit.formula.files import load_formula
from kit.formula.formula import Formula
from kit.formula.library import load_library
from kit.labbook.source import open_source
from kit.labbook.times import show_time
from kit.show import Block, Table, listing
from kit.trials.plan import Plan
from kit.trials.plan_bases import bases_table
from kit.trials.plan_catalogue import LAYOUTS
from kit.trials.plan_made import PlanMade, plan_made
from kit.trials.plan_variations import plan_variations
from kit.units import plain

WHERE = "plan_variations"


class PlanReport:
    """The sections of a plan of trials: of one that was kept, or of one made here and kept by nobody.

    Parameters
    ----------
    source : str, Source or Labbook   A lab book or a snapshot.
    plan : str                        A plan that was kept, by its name; empty to plan anew.
    study : str                       The study: its last plan where `plan` and `layout` are empty, its scatter as
                                      history.
    layout : str                      Layout of a new plan.
    trial : str                       Trial whose formula is varied.
    formula_file : str                A formula file instead.
    materials : str                   Own materials, a file or a folder; empty for none.
    factors : sequence of str         "cetearyl-alcohol: 3.00 to 7.00 %".
    days : int or None                Days.
    dates : sequence of str           Their dates instead.
    control : str                     "base", "centre" or "none"; as usual for the layout when empty.
    seed : int                        Of the draw.
    batch : str                       Mass of a batch.
    absorb : str                      Who makes room.
    repeats, centre : int             Further batches; centre points.
    total : str                       What mixture lines share.
    constraints : sequence of str     Of a mixture.
    runs : int or None                Of a fraction or a D-optimal design.
    resolution : int or None          Of a fraction.
    scatter : str                     "8 % with 10 df"; from the study where empty.
    property, age : str               Whose scatter.
    loss : str                        Allowance for materials.
    stock : sequence of str           "cetearyl-alcohol: 1.2 kg".

    Raises
    ------
    ParameterError   `plan_report.subject`, `plan_report.layout`.
    KitError         As `plan_variations` and `plan_made`.
    """

    def __init__(
        self,
        source: object,
        plan: str = "",
        study: str = "",
        layout: str = "",
        trial: str = "",
        formula_file: str | None = None,
        materials: str | None = None,
        factors: Sequence[str] = (),
        days: int | None = None,
        dates: Sequence[str] = (),
        control: str = "",
        seed: int = 1,
        batch: str = "400 g",
        absorb: str = "water",
        repeats: int = 0,
        centre: int = 3,
        total: str = "",
        constraints: Sequence[str] = (),
        runs: int | None = None,
        resolution: int | None = None,
        scatter: str = "",
        property: str = "viscosity",
        age: str = "72 h",
        loss: str = "",
        stock: Sequence[str] = (),
    ) -> None:
        self.source = open_source(source)
        self.made: PlanMade | None = None
        if plan or not layout:
            self.made = plan_made(self.source, plan, study=study)
            self.plan: Plan = self.made.plan
            return
        if layout not in LAYOUTS:
            raise ParameterError(
                f"there is no layout {layout!r}",
                where=f"{WHERE}, layout",
                allowed=", ".join(LAYOUTS),
                mend="name one of these",
                code="plan_report.layout",
            )
        self.plan = plan_variations(
            _formula(self.source, trial, formula_file, materials),
            layout,
            list(factors),
            days=list(dates) or days,
            control=control,
            seed=seed,
            batch=batch,
            absorb=absorb,
            repeats=repeats,
            centre=centre,
            total=total,
            constraints=list(constraints),
            runs=runs,
            resolution=resolution,
            history=scatter or (self.source if study else ""),
            study=study,
            property=property,
            age=age,
            loss=loss,
            stock=list(stock),
        )

    def identity(self) -> Block:
        """What is planned, and what was tightened to plan it."""
        plan = self.plan
        kept = (
            f"Plan {self.made.kept.name} of study {self.made.kept.study}, kept {show_time(self.made.kept.at)}."
            if self.made
            else "Planned on this page, not kept: book.add_plan() keeps it."
        )
        parts: list[object] = [kept, plan.what_table()]
        if plan.tightened:
            parts.append(listing("Bounds that were tightened", plan.tightened))
        if plan.stopped:
            parts.append(listing("STOP: not to be made so", [version.label for version in plan.stopped]))
        if plan.notes:
            parts.append(listing("To know", plan.notes))
        return Block(tuple(parts))

    def order(self) -> Table:
        """The batches in order of making."""
        return self.plan.batches_table()

    def order_figure(self) -> list[Figure]:
        """The order drawn; empty for swaps."""
        found = plan_by_day(self.plan)
        return [] if found is None else [found]

    def versions(self) -> Block:
        """What each version is, and what its review says."""
        findings = self.plan.findings()
        parts: list[object] = [self.plan.versions_table(), self.plan.predictions_table()]
        parts += [listing("Review", findings)] if findings else []
        closing = {version.formula.review().closing for version in self.plan.versions}
        return Block((*parts, *sorted(closing)))

    def points_figures(self) -> list[Figure]:
        """Where the points lie; empty for one factor."""
        return plan_points(self.plan)

    def power(self) -> Block:
        """What the plan can tell and what it cannot."""
        parts: list[object] = [self.plan.power_table()]
        if self.plan.limits():
            parts.append(listing("What this plan cannot tell", self.plan.limits()))
        return Block((*parts, *([self.plan.power.repeat] if self.plan.power.repeat else [])))

    def materials(self) -> Table:
        """What to have on the shelf."""
        return self.plan.materials_table()

    def bases(self) -> Block:
        """The hot bases of a split plot: what each is and how it is divided; empty elsewhere."""
        found = bases_table(self.plan)
        return Block(() if found is None else (found,))

    def progress(self) -> Block:
        """Planned against made; what there is to say before a plan is kept."""
        if self.made is None:
            return Block(("Nothing is made of a plan that is not kept.",))
        return Block((self.made,))

    @cached_property
    def _formulas(self) -> tuple[Formula, ...]:
        return tuple(version.formula for version in self.plan.versions)

    def cautions(self) -> Table:
        """Cautions of every version of the plan."""
        batch = f"{plain(self.plan.batch_g)} g"
        told = dict.fromkeys(row for formula in self._formulas for row in plan_batch(formula, batch).caution_texts())
        return Table(("caution", "what to do"), list(told), title="Cautions")


def _formula(source, trial: str, formula_file: str | None, materials: str | None) -> Formula:
    if bool(trial) == bool(formula_file):
        raise ParameterError(
            "both a trial and a formula file are given" if trial else "there is nothing to vary",
            where=f"{WHERE}, trial",
            allowed="a trial, or a formula file",
            mend='trial = "LIN-03"',
            code="plan_report.subject",
        )
    library = load_library(materials) if materials else load_library()
    if formula_file:
        return load_formula(formula_file, library)
    return replace(source.trial(trial).formula, library=library)
