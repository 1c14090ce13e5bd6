"""What a stranger needs to repeat and check a trial, section by section; absent items say NOT RECORDED."""

from __future__ import annotations

from collections.abc import Sequence

from kit.errors import RecordError
from kit.figures.cooling import cooling_curve
from kit.figures.figure import Figure
from kit.figures.made import meant_and_made
from kit.figures.results import at_one_age, over_age
from kit.formula.label import label
from kit.labbook.source import open_source
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.show import Block, Cell, Table, listing
from kit.trials.as_made import made_of
from kit.trials.batch_ph import BatchPh
from kit.trials.compare import Comparison, compare
from kit.trials.results import PropertyResult
from kit.writeup.cautions import cautions_table
from kit.writeup.panel_report import Shown, panel_parts
from kit.writeup.report_cooling import heat_and_cooling
from kit.writeup.report_formula import (
    NOT_RECORDED,
    batch_formula,
    inci_parts,
    supply_forms,
)
from kit.writeup.report_ph import charge_block, drift_table, predicted_block
from kit.writeup.report_preservation import challenge_block, challenge_words, preservation_block
from kit.writeup.report_process import deviations, equipment, steps_done, steps_planned
from kit.writeup.report_results import (
    calibrations_used,
    flagged,
    methods_used,
    readings,
)
from kit.writeup.report_stability import protocol_rows
from kit.writeup.study_rows import control_words, margin_rows

STATUS = "prototype, not for sale and not for use on people before a qualified safety assessment"


class TrialReport:
    """The sections of one trial's write-up, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    trial : str                       The trial.
    against : sequence of str         Other trials of the study to set beside it; the control is always there.

    Raises
    ------
    RecordError   `labbook.trial` for an unknown trial, `writeup.no_batch` when nothing was made yet.
    """

    def __init__(self, source: object, trial: str, against: Sequence[str] = ()) -> None:
        self.source = open_source(source)
        self.trial = self.source.trial(trial)
        self.study = self.source.study(self.trial.study)
        self.batches: tuple[BatchView, ...] = self.source.batches(trial)
        if not self.batches:
            raise RecordError(
                f"no batch of {trial} was made yet",
                where=self.source.title,
                mend="write the trial up when a batch is recorded",
                code="writeup.no_batch",
            )
        self._against = tuple(dict.fromkeys(name for name in against if name != trial))
        self._comparison: Comparison | None = None

    @property
    def comparison(self) -> Comparison:
        """The trial beside the control and the others asked for."""
        if self._comparison is None:
            control = (
                self.study.control if self.study.control in self.source.trials(self.study.name) else self.trial.name
            )
            self._comparison = compare(
                self.source, list(dict.fromkeys([control, self.trial.name, *self._against])), control=control
            )
        return self._comparison

    def identity(self) -> Table:
        """Which trial this is, what it asks, who made it and when."""
        formula = self.trial.formula
        rows = [
            ("trial", self.trial.name),
            ("status", STATUS),
            ("study", self.study.name),
            ("question", self.study.question or NOT_RECORDED),
            ("what is tried, and why", self.trial.why or NOT_RECORDED),
            ("formula", formula.title),
            ("formula version", formula.fingerprint[:16]),
            ("product type", formula.product),
            ("control", control_words(self.study)),
            ("spec", f"dated {self.study.spec_dated}" if self.study.spec else NOT_RECORDED),
            *margin_rows(self.study),
        ]
        for batch in self.batches:
            made = show_time(batch.finished_at) if batch.finished_at else "making not finished"
            rows += [
                (f"batch {batch.name}", f"{batch.batch_g} g; started {show_time(batch.started_at)}; finished {made}"),
                (f"made by ({batch.name})", batch.operator or NOT_RECORDED),
            ]
        rows += [
            ("note", note)
            for note in dict.fromkeys([self.study.note, self.trial.note, *(batch.note for batch in self.batches)])
            if note
        ]
        return Table(("item", "entry"), rows, title=f"{self.trial.name}: {formula.name}")

    def formula(self) -> Block:
        """Meant and made, line by line, with the mass balance that leads from one to the other."""
        return self._each(lambda batch: [batch_formula(batch), _mass_balance(batch)])

    def materials(self) -> Block:
        """Supply forms and INCI parts."""
        return self._each(lambda batch: [supply_forms(batch), inci_parts(batch)])

    def label(self) -> Block:
        """The list of ingredients of the meant formula, with its notes, and what each batch as made would change."""
        changes = [
            listing(f"{batch.name}, as made", label(self.trial.formula, as_made=made.composition).as_made)
            if (made := made_of(batch)[0])
            else f"{batch.name}, as made: NOT RECORDED."
            for batch in self.batches
        ]
        return Block((label(self.trial.formula), *changes))

    def making(self) -> Block:
        """Equipment, steps planned and steps done, with the heat, the cooling and the water lost."""
        return self._each(
            lambda batch: [equipment(batch), steps_planned(batch), steps_done(batch), *heat_and_cooling(batch)]
        )

    def methods(self) -> Block:
        """Methods, instruments and calibrations."""
        return Block(
            (methods_used(self.source, self.study, self.batches), calibrations_used(self.source, self.batches))
        )

    def readings(self) -> Table:
        """Every reading of the trial's own batches."""
        return readings(self.source, self.study, self.batches)

    def results(self) -> Block:
        """Results against the spec and the control, and what is in no mean."""
        return Block(
            (self.comparison.results_table(), self.comparison.verdicts_table(), self.comparison.not_used_table())
        )

    def side_by_side(self) -> Table:
        """The trial beside the control: what changed and what it did."""
        return self.comparison.table()

    def panels(self) -> list[Shown]:
        """What panels found of this trial's batches; empty where there was none."""
        return panel_parts(self.source, self.study.name, [self.trial.name])

    def predicted_ph(self) -> Block:
        """The predicted pH of each batch with its band beside the measured one; what it rests on and cannot know."""
        return predicted_block(self._phs)

    def drift(self) -> Table:
        """How the pH moves over age, in words."""
        return drift_table(self.source, [self.trial.name], self.study.name)

    def charge(self) -> Block:
        """The charge of each batch at its pH."""
        return charge_block(self._phs)

    def preservation(self) -> Block:
        """What of each preservative is un-ionised and free at the pH of each batch; never a pass."""
        return preservation_block(self._phs)

    def challenge_tests(self) -> Block:
        """Challenge tests of the trial's batches, with the criteria and what each holds for; of the others in words."""
        compared = [batch for arm in self.comparison.arms for batch in arm.batches]
        own = {batch.name for batch in self.batches}
        return challenge_block(self.batches, self._phs, [batch for batch in compared if batch.name not in own])

    def deviations(self) -> Block:
        """Weighings outside tolerance, corrections, voids, flagged readings."""
        return self._each(lambda batch: [deviations(batch, flagged(self.source, self.study, batch))])

    def observations(self) -> Table:
        """Coded observations and decisions, with what comes next."""
        rows = [
            (
                batch.name,
                f"{item.name}, kept at {item.storage}" if item.storage else item.name,
                item.word if not item.void else Cell(f"VOID: {item.word}", "quiet"),
                _age(item),
                item.note or "–",
            )
            for batch in self.batches
            for item in batch.observations
        ]
        for batch in self.batches:
            rows += [
                (
                    batch.name,
                    "decision",
                    item.verdict,
                    "–",
                    f"{item.why or 'reason NOT RECORDED'}; by {item.by or 'NOT RECORDED'}, {show_time(item.at)}",
                )
                for item in batch.decisions
            ]
        absent = [
            ("–", what, NOT_RECORDED, "–", "–")
            for what, held in (
                ("coded observations (grain, colour, odour)", any(batch.observations for batch in self.batches)),
                ("decision and next step", any(batch.decisions for batch in self.batches)),
            )
            if not held
        ]
        return Table(
            ("batch", "what", "entry", "age, h", "remark"),
            [*rows, *absent],
            title="Observations, decision and next step",
            numeric=frozenset({3}),
        )

    def stability(self) -> Table:
        """Stability: protocol and stations."""
        rows = [
            *protocol_rows(self.source, self.batches),
            ("preservation challenge test", challenge_words(self.batches)),
        ]
        return Table(
            ("item", "entry"),
            rows,
            title="Stability and preservation",
            note="What is not recorded here is not known: neither shelf life nor preservation. "
            "A good look at the bench is not evidence of either.",
        )

    def history(self) -> Block:
        """Where the formula version comes from, and every correction and void in the record."""
        rows = [
            ("this version", self.trial.formula.title),
            *([("why", self.trial.formula.why or NOT_RECORDED)] if self.trial.formula.parent else []),
            ("comes from", self.trial.formula.parent[:16] or "first version"),
        ]
        changes = [
            (batch.name, str(entry.seq), entry.kind, entry.body.get("why", ""), show_time(entry.recorded_at))
            for batch in self.batches
            for entry in batch.entries
            if entry.kind in ("correction", "void")
        ]
        table = Table(
            ("batch", "entry", "kind", "why", "recorded"),
            changes,
            title="Corrections and voids",
            note="" if changes else "None.",
        )
        return Block((Table(("item", "entry"), rows, title="Change history"), table))

    def cautions(self) -> Table:
        """The cautions for whoever repeats the batch."""
        return cautions_table(self.batches)

    # figures

    def figure_at_spec_age(self, property: str) -> Figure | Block:
        """One property at the age of its spec line, the trial beside the control; a sentence if nothing is drawn."""
        result = self._result(property)
        return (
            at_one_age(self.comparison, result)
            if result is not None
            else Block((f"{property}: no comparable reading at the age of the spec. NOT RECORDED.",))
        )

    def figure_over_age(self, property: str) -> Figure | Block:
        """One property over age; a sentence when there is nothing to draw."""
        drawn = over_age(self.comparison, property)
        return drawn or Block((f"{property} over age: no comparable reading. NOT RECORDED.",))

    def figure_cooling(self) -> Figure | Block:
        """The cooling log; a sentence when nothing was logged."""
        return cooling_curve(self.batches) or Block(("Cooling curve: NOT RECORDED.",))

    def figures_made(self) -> list[Figure]:
        """Made against meant, a figure a batch; none for a batch of which nothing was weighed."""
        return [meant_and_made(batch) for batch in self.batches if made_of(batch)[0]]

    @property
    def _phs(self) -> list[BatchPh]:
        return [self.comparison.phs[batch.name] for batch in self.batches]

    def _result(self, property: str) -> PropertyResult | None:
        fits = [
            result
            for result in self.comparison.results
            if result.property == property and any(arm.batch_values or arm.left_out for arm in result.arms)
        ]
        judged = [result for result in fits if result.spec is not None]
        return (judged or fits or [None])[-1]

    def _each(self, make) -> Block:
        return Block(tuple(part for batch in self.batches for part in make(batch)))


def _mass_balance(batch: BatchView) -> Table | Block:
    made, why_not = made_of(batch)
    return made.balance_table() if made else Block((f"{batch.name}, mass balance: {why_not}.",))


def _age(item) -> str:
    if item.age_h is not None:
        return f"{item.age_h:g}"
    return f"{item.age_typed_h:g} (typed)" if item.age_typed_h is not None else "–"
