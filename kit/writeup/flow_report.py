"""Flow curves, yield, viscosity build, recovery and feel of some trials."""

from __future__ import annotations

from collections.abc import Sequence

from kit.figures.figure import Figure
from kit.figures.flow_curves import flow_curves
from kit.figures.viscosity_build import viscosity_build
from kit.show import Block, Table, listing
from kit.trials.droplets import batch_spins, droplet_sizes
from kit.trials.flow import FlowStudy, flow_study
from kit.trials.flow_words import MEASURE, ONE_BATCH, sentences
from kit.trials.oil_blend import oil_blend
from kit.trials.wording import plural
from kit.writeup.cautions import cautions_table
from kit.writeup.flow_report_tables import (
    MODELS_NOTE,
    approximate_tables,
    build_table,
    felt_table,
    left_out_table,
    model_tables,
    structure_table,
    temperature_block,
)
from kit.writeup.panel_report import Shown, combing_parts, panel_parts
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.structure_tables import blend_table, creaming_table, droplet_table, spin_table

NO_CURVE = (
    "No viscosity of these trials was read at three speeds or more with one spindle: there is no flow curve, no flow "
    "index, no yield value and no recovery to show."
)
NOTHING = "Nothing can be told without a flow curve."
NO_FEEL = "No wet-combing force and no coded word was recorded in these trials."
NO_BUILD = "No batch of these trials was read at two ages in one way: there is no viscosity build to show."


class FlowReport:
    """The sections about flow and feel, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    study : str                       The study; the only one, or that of the trials named, when empty.
    trials : sequence of str          Its trials; all when empty.
    age : str                         Age of the flow curves, "72 h"; every age when empty.
    method : str                      Method of the viscosity build; any when empty.
    feel : sequence of str            Properties and observations to list; wet combing and every coded word when empty.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`.
    KitError      `flow.study`, `flow.method`, `age.unknown`.
    """

    def __init__(
        self,
        source: object,
        study: str = "",
        trials: Sequence[str] = (),
        age: str = "",
        method: str = "",
        feel: Sequence[str] = (),
    ) -> None:
        self.flow: FlowStudy = flow_study(source, trials, study=study, age=age, method=method, feel=feel)

    def identity(self) -> Table:
        """The study, the trials and how much there is to show."""
        flow = self.flow
        trials = list(dict.fromkeys(batch.trial for batch in flow.batches))
        rows = [
            ("study", flow.study.name),
            ("question", flow.study.question or NOT_RECORDED),
            ("trials", ", ".join(trials) or "none with a batch"),
            ("age of the flow curves", flow.age or "every age that was read"),
            ("flow curves", str(len(flow.curves))),
            ("viscosity build", plural(len({build.batch.name for build in flow.builds}), "batch", "batches")),
            ("slope with temperature", str(len([found for found in flow.slopes if found.slope.per_c is not None]))),
        ]
        return Table(("item", "entry"), rows, title="What is shown")

    def curves(self) -> list[Figure]:
        """A figure for true curves, and one for each spindle that gives relative ones."""
        return [figure for place in self.flow.places() if (figure := flow_curves(place)) is not None]

    def told(self) -> Block:
        """What each curve tells and cannot tell, in sentences; what to measure where there is none."""
        lists = [listing(flow.title, sentences(flow)) for flow in self.flow.flows]
        if self.flow.curves:
            return Block((*lists, ONE_BATCH))
        return Block((NO_CURVE, *lists, listing("What to measure", MEASURE)))

    def models(self) -> Block:
        """Every model tried on every true curve, and the flow index of every curve; nothing without one."""
        tables = tuple(model_tables(self.flow.curves))
        return Block((*tables, MODELS_NOTE) if tables else (NOTHING,))

    def structure(self) -> Table | Block:
        """Yield value, hysteresis and recovery, curve by curve."""
        return structure_table(self.flow.curves) if self.flow.curves else Block((NOTHING,))

    def approximate(self) -> Block:
        """Mean shear rates and stresses around a disc; nothing without one."""
        return Block(tuple(approximate_tables(self.flow.curves)))

    def build(self) -> list[Figure]:
        """The viscosity of every batch against age; empty where nothing was read at two ages."""
        figure = viscosity_build(self.flow.builds)
        return [] if figure is None else [figure]

    def build_told(self) -> Table | Block:
        """Where each batch settles and how fast, or why that is not told."""
        return build_table(self.flow.builds) if self.flow.builds else Block((NO_BUILD,))

    def temperature(self) -> Block:
        """Viscosities read off the temperature of their method: corrected by a measured slope, or refused."""
        return temperature_block(self.flow)

    def felt(self) -> Table | Block:
        """What was felt and seen, batch by batch."""
        return felt_table(self.flow.felt) if self.flow.felt else Block((NO_FEEL,))

    def panels(self) -> list[Shown]:
        """What panels found of these trials, and what their tresses tell; empty where there is neither."""
        flow = self.flow
        trials = list(dict.fromkeys(batch.trial for batch in flow.batches))
        if not trials:
            return []
        return [part for make in (panel_parts, combing_parts) for part in make(flow.source, flow.study.name, trials)]

    def droplets(self) -> list[Table]:
        """Droplet sizes, creaming, spins and the oil phase; empty where none of it was read."""
        sizes = droplet_sizes(self.flow)
        spins = batch_spins(self.flow, sizes)
        blends = [
            found
            for batch in self.flow.batches
            if (found := oil_blend(batch, lambda reading: self.flow.source.flags(reading, self.flow.study))) is not None
        ]
        tables = [droplet_table(sizes), creaming_table(sizes)] if sizes else []
        return [*tables, *([spin_table(spins)] if spins else []), *([blend_table(blends)] if blends else [])]

    def left_out(self) -> Table:
        """Readings that are in no curve, with the reason."""
        return left_out_table(self.flow.left_out())

    def measure(self) -> Block:
        """How to measure what is missing; said above already where there is no curve."""
        return Block((listing("To tell more", MEASURE) if self.flow.curves else "As listed under the flow curves.",))

    def cautions(self) -> Table:
        """The cautions for whoever makes one of these versions."""
        return cautions_table(self.flow.batches)
