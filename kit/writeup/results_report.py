"""How pH and viscosity look across the trials of a study and over age, against the spec."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.errors import ParameterError, RecordError
from kit.figures.figure import Figure
from kit.figures.results import at_one_age, by_day, over_age
from kit.labbook.source import Source, open_source
from kit.show import Block, Cell, Table
from kit.trials.batch_ph import PH
from kit.trials.colour import colour_differences
from kit.trials.compare import compare
from kit.trials.judging import fold
from kit.trials.results import PropertyResult
from kit.trials.two_instruments import BetweenInstruments, between_instruments
from kit.trials.wording import plural
from kit.writeup.cautions import cautions_table
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.report_ph import drift_table
from kit.writeup.study_rows import margin_rows, spec_rows

_WHERE = "trial_results"


class ResultsReport:
    """The sections of the results of several trials, from a lab book or a snapshot.

    Parameters
    ----------
    source : str, Source or Labbook   What to read.
    study : str                       The study; the only one, or that of the trials named, when empty.
    trials : sequence of str          Its trials; all that have a batch when empty.
    control : str                     The control; the study's own when empty.
    properties : sequence of str      Such as "pH", "viscosity"; every one that was read when empty.
    ages : sequence of str            Ages to set the trials side by side at, "72 h"; those of the spec when empty.

    Raises
    ------
    ParameterError   `results.study` when a trial is not of the study named, `results.age` for an age that is not there.
    RecordError      `labbook.study`, `labbook.trial`, `results.no_batch` when nothing was made yet.
    KitError         As `compare`: a property or an age that is not there, a study without a control.
    """

    def __init__(
        self,
        source: object,
        study: str = "",
        trials: Sequence[str] = (),
        control: str = "",
        properties: Sequence[str] = (),
        ages: Sequence[str] = (),
    ) -> None:
        self.source = open_source(source)
        self.study = self.source.study(_study_name(self.source, study, trials))
        self.ages = tuple(ages)
        named = list(dict.fromkeys(trials)) or _made_trials(self.source, self.study.name)
        alone = named[0] if len(named) == 1 and not self.study.control else ""  # it needs no control to be shown
        self.comparison = compare(
            self.source, named, control=control or alone or None, properties=list(properties) or None
        )
        self._check_ages()

    def identity(self) -> Table:
        """The study, its question, its spec, the trials shown and how many batches there are."""
        comparison = self.comparison
        batches = [batch for arm in comparison.arms for batch in arm.batches]
        rows = [
            ("study", self.study.name),
            ("question", self.study.question or NOT_RECORDED),
            *spec_rows(self.study),
            *margin_rows(self.study),
            *(
                ("control" if arm.is_control else "version", f"{arm.label}: {arm.formula.title}")
                for arm in comparison.arms
            ),
            ("batches", f"{len(batches)} of {plural(len(comparison.arms), 'formula version')}"),
        ]
        return Table(("item", "entry"), rows, title="What is shown")

    def verdicts(self) -> Table:
        """PASS, FAIL, NOT TESTED or FLAGGED against each line of the spec, a row an arm."""
        judged = [result for result in self.comparison.results if result.spec is not None]
        coded = [result for result in self.comparison.observations if result.spec is not None]
        tones = {"PASS": "pass", "FAIL": "fail", "FLAGGED": "flag"}
        rows = [
            (result.title, arm.arm_label, Cell(arm.verdict, tones.get(arm.verdict, "")), arm.verdict_why)
            for result in (*judged, *coded)
            for arm in result.arms
        ]
        note = "" if rows else "The study has no spec for what was read: nothing is judged."
        return Table(("property, age", "trials", "verdict", "why"), rows, title="Against the spec", note=note)

    def figures_at_age(self) -> list[Figure]:
        """Each property at each age asked for, version by version."""
        return [at_one_age(self.comparison, result) for result in self._side_by_side()]

    def figures_over_age(self) -> list[Figure]:
        """Each property read at several ages over the age of the batch: a figure each, never two scales in one."""
        names = read_at_several_ages(self._held())
        drawn = [over_age(self.comparison, name) for name in names]
        return [figure for figure in drawn if figure is not None]

    def drift(self) -> Table | Block:
        """How the pH of each trial moves over age, in words; nothing where the pH was not asked for."""
        if not any(fold(result.property) == PH for result in self._held()):
            return Block(())
        trials = dict.fromkeys(trial for arm in self.comparison.arms for trial in arm.trials)
        return drift_table(self.source, list(trials), self.study.name)

    def figures_by_day(self) -> list[Figure]:
        """Each property at each age asked for against the day of making, with the control of every day."""
        drawn = [by_day(self.comparison, result) for result in self._side_by_side()]
        return [figure for figure in drawn if figure is not None]

    def results(self) -> Table:
        """Every number behind the figures: mean, n, verdict, difference to the control."""
        return self.comparison.results_table()

    def not_used(self) -> Table:
        """Readings that are shown and in no mean, with the reason."""
        return self.comparison.not_used_table()

    def two_instruments(self) -> list[Table]:
        """Jars of these trials that were read on two instruments; empty where none was."""
        names = [batch.name for arm in self.comparison.arms for batch in arm.batches]
        found = between_instruments(self.source, names, study=self.study.name)
        wanted = {fold(result.property) for result in self.comparison.results}
        shown = BetweenInstruments(tuple(jar for jar in found.jars if fold(jar.property) in wanted))
        return [shown.table()] if shown.jars else []

    def colour(self) -> list[Table]:
        """Colours against the control and against the first age; empty where none was read."""
        trials = list(dict.fromkeys(trial for arm in self.comparison.arms for trial in arm.trials))
        found = colour_differences(
            self.source, trials, study=self.study.name, control=self.comparison.control.trials[0]
        )
        return [found.table()] if found.colours or found.left_out else []

    def read_with(self) -> Block:
        """What the whole has to be read with."""
        notes = self.comparison.notes or ("Nothing weakens these comparisons beyond the scatter they state.",)
        return Block(tuple(notes))

    def cautions(self) -> Table:
        """The cautions for whoever makes one of these versions."""
        return cautions_table(batch for arm in self.comparison.arms for batch in arm.batches)

    def _held(self) -> list[PropertyResult]:
        """Results with anything to draw."""
        return [
            result
            for result in self.comparison.results
            if result.window is not None and any(arm.batch_values or arm.left_out for arm in result.arms)
        ]

    def _side_by_side(self) -> list[PropertyResult]:
        """Results at the ages asked for; without any asked for, those with a spec line, else the last age read."""
        held = self._held()
        if self.ages:
            return [result for result in held if result.age in self.ages]
        judged = [result for result in held if result.spec is not None]
        properties = {result.property for result in judged}
        last = {result.property: result for result in held if result.property not in properties}
        return [*judged, *last.values()]

    def _check_ages(self) -> None:
        known = [window.label for window in self.study.windows]
        known += [result.age for result in self.comparison.results if result.age not in known]
        for age in self.ages:
            if age not in known:
                raise ParameterError(
                    f"{age!r} is no age of the study {self.study.name}",
                    where=f"{_WHERE}, ages",
                    allowed=", ".join(known),
                    mend="name one of these, or leave it empty for the ages of the spec",
                    code="results.age",
                )


def read_at_several_ages(results: Iterable[PropertyResult]) -> list[str]:
    """Properties that were read at more than one age, in order."""
    ages: dict[str, set[str]] = {}
    for result in results:
        ages.setdefault(result.property, set()).add(result.age)
    return [name for name, found in ages.items() if len(found) > 1]


def _study_name(source: Source, study: str, trials: Sequence[str]) -> str:
    owners = {trial: source.trial(trial).study for trial in trials}
    if study:
        for trial, owner in owners.items():
            if owner != study:
                raise ParameterError(
                    f"trial {trial} is of study {owner}, not of {study}",
                    where=f"{_WHERE}, trials",
                    mend="name trials of one study: conditions, ages and spec belong to it",
                    code="results.study",
                )
    return study or next(iter(owners.values()), "")


def _made_trials(source: Source, study: str) -> list[str]:
    made = {key[1] for key in source.batch_keys(study=study)}
    named = [trial for trial in source.trials(study) if trial in made]
    if not named:
        raise RecordError(
            f"no batch of study {study} was made yet",
            where=source.title,
            mend="come back when there is a batch with readings",
            code="results.no_batch",
        )
    return named
