"""Wet-combing force of some trials: each tress its own control, the tress as unit, strokes averaged first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.combing import Treatment, TreatmentRatio, against, treatments
from kit.show import Block, Table, listing
from kit.trials.arms import in_order
from kit.trials.combing_tresses import AFTER, BEFORE, SHARE, LeftTress, tresses_of
from kit.trials.combing_words import (
    left_table,
    ratio_words,
    ratios_table,
    treated_words,
    treatments_table,
    tresses_table,
)

TRESS_IS_UNIT = (
    "The tress is the unit: this says what these batches do to hair. Whether another batch of either formula would do "
    "the same is not tested; that takes batches, and one value a batch."
)
NOTHING = (
    f"No wet-combing force is recorded. Read it as {SHARE!r} in % of the same tress untreated, or as {BEFORE!r} and "
    f"{AFTER!r} in one unit, the tress as sample= and the stroke as replicate=."
)


@dataclass(frozen=True)
class Combing:
    """What the batches of some trials leave of the combing force.

    Parameters
    ----------
    study : str
    treatments : tuple of Treatment      A batch each, in order of making.
    ratios : tuple of TreatmentRatio     Every other batch against that of the control; empty without one.
    left_out : tuple of LeftTress        Readings that do not count, with the reason.
    reason : str                         Why batches are not compared; empty where they are.
    caution : str                        What was taken for granted about the tresses; empty where nothing was.
    """

    study: str
    treatments: tuple[Treatment, ...]
    ratios: tuple[TreatmentRatio, ...]
    left_out: tuple[LeftTress, ...]
    reason: str = ""
    caution: str = ""

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in words."""
        if not self.treatments:
            return (NOTHING, *(f"{left.what}: {left.why}." for left in self.left_out))
        told = [*map(treated_words, self.treatments), *map(ratio_words, self.ratios)]
        if not all(treatment.scatter_known for treatment in self.treatments):
            told.append("Fewer than six tresses a batch: its scatter itself is poorly known.")
        if len(self.ratios) > 1:
            told.append(
                f"{len(self.ratios)} comparisons at once: their intervals are widened so that all hold together."
            )
        told += [f"Not compared: {self.reason}."] if self.reason else []
        told += [self.caution] if self.caution else []
        return (*told, TRESS_IS_UNIT)

    @property
    def words(self) -> str:
        """The result in words, one paragraph."""
        return " ".join(self.sentences)

    def tables(self) -> tuple[Table, ...]:
        """Every batch, every tress, and what does not count."""
        tables = (
            treatments_table(self.treatments),
            ratios_table(self.ratios),
            tresses_table(self.treatments),
            left_table(self.left_out),
        )
        return tuple(table for table in tables if table.rows)

    def __str__(self) -> str:
        return "\n".join([*self.sentences, *(f"\n{table}" for table in self.tables())])

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return Block((listing("Wet-combing force", self.sentences), *self.tables()))._repr_html_()


def combing(
    source: object,
    trials: Sequence[str] = (),
    *,
    study: str = "",
    control: str = "",
    age: str = "",
    confidence: float = 0.95,
) -> Combing:
    """What the batches of some trials leave of the wet-combing force, with intervals from the scatter between tresses.

    Parameters
    ----------
    source : object      What `open_source` takes: a lab book, its file, a snapshot.
    trials : sequence    Names of trials of one study, the control among them or not; all of the study when empty.
    study : str          The study; the only one, or that of the first trial, when empty.
    control : str        Trial or batch the others are held against; the study's control when empty.
    age : str            Only tresses treated with a batch of this age, "7 d"; every age when empty.
    confidence : float   Of the intervals, between 0 and 1.

    Returns
    -------
    Combing   A tress counts once: readings that name the same tress are its strokes and are averaged first. What names
              no tress, has no force before, or carries a flag, is left out with the reason.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`.
    KitError      `combing.study` for a trial of another study, `combing.control`, `age.unknown`,
                  `statistics.confidence`.
    """
    opened = open_source(source)
    names = [trials] if isinstance(trials, str) else list(dict.fromkeys(trials))
    view = opened.study(study or (opened.trial(names[0]).study if names else ""))
    beside = (control or view.control).partition("/")[0]
    if names and beside not in names and opened.study_of(beside) == view.name:
        names.append(beside)
    batches = in_order([batch for name in names or opened.trials(view.name) for batch in _batches(opened, view, name)])
    read = tresses_of(opened, view, batches, age)
    found = treatments(read.tresses, confidence)
    wanted = _control(found, control or view.control, read.batches)
    if wanted is None and control:
        raise KitError(
            f"no tress was treated with {control!r}",
            where="combing",
            allowed=", ".join(treatment.name for treatment in found) or "none yet",
            mend="name one of these",
            code="combing.control",
        )
    reason = read.not_comparable or _why_alone(found, wanted)
    ratios = () if reason or not found else against(found, wanted, confidence)
    return Combing(view.name, found, ratios, read.left_out, reason, read.caution)


def _why_alone(found: Sequence[Treatment], control: str | None) -> str:
    if found and control is None:
        return "no tress was treated with the control"
    return "only one batch was put on tresses" if len(found) == 1 else ""


def _batches(source: Source, study: StudyView, trial: str) -> tuple[BatchView, ...]:
    if source.trial(trial).study != study.name:
        raise KitError(
            f"trial {trial} is of study {source.trial(trial).study}, not of {study.name}",
            where="combing",
            mend="name trials of one study",
            code="combing.study",
        )
    return source.batches(trial)


def _control(found: Sequence[Treatment], control: str, batches: Mapping[str, str]) -> str | None:
    """The first batch of the control that was put on tresses."""
    own = (treatment.name for treatment in found if control in _names(batches[treatment.name]))
    return next(own, None)


def _names(batch: str) -> tuple[str, str]:
    return batch, batch.rpartition("/")[0]
