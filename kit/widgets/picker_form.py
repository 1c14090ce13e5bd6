"""What the trial picker shows: the trials of a study, and the comparison of those that are ticked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.figures.figure import Figure
from kit.figures.results import at_one_age, over_age
from kit.labbook.source import Source, open_source
from kit.show import Table
from kit.trials.compare import Comparison, compare
from kit.widgets.entry_form import words_of

ALL_AGES = "all ages"


@dataclass(frozen=True, slots=True)
class TrialChoice:
    """A trial to tick: its name, and what its box says."""

    name: str
    words: str


@dataclass(frozen=True)
class Picked:
    """What is shown for a choice: sentences, tables and charts; `comparison` is None where none could be made."""

    words: tuple[str, ...]
    tables: tuple[Table, ...] = ()
    figures: tuple[Figure, ...] = ()
    comparison: Comparison | None = None


class PickerForm:
    """Trials of one study and their comparison, read anew from the lab book each time.

    Parameters
    ----------
    source : Labbook, Source, str or Path   What `kit.open_source` takes.
    study : str                             A study by name; the only one when omitted.
    """

    def __init__(self, source: object, study: str = "") -> None:
        self._given = source
        with _Opened(source) as opened:
            found = opened.study(study)
            self.study = found.name
            self.control = found.control
            self.question = found.question
            self.trials = tuple(_choice(opened, name, found.control) for name in opened.trials(found.name))
            self.ages = (ALL_AGES, *(window.label for window in found.windows))

    def names(self) -> tuple[str, ...]:
        """Names of the trials, in the order they were opened."""
        return tuple(trial.name for trial in self.trials)

    def pick(self, trials: Sequence[str], control: str = "", age: str = ALL_AGES) -> Picked:
        """Compare the ticked trials.

        Parameters
        ----------
        trials : sequence of str   Names of the ticked trials; the control is set beside them in any case.
        control : str              The trial the others are set against; the study's own when omitted.
        age : str                  One of `ages`.

        Returns
        -------
        Picked   A choice that cannot be compared is told in words.
        """
        control = control or self.control
        wanted = [name for name in self.names() if name in trials and name != control]
        if not wanted:
            return Picked(("Tick a trial to set beside the control.",))
        try:
            with _Opened(self._given) as opened:
                found = compare(opened, [control, *wanted], control=control, ages=None if age == ALL_AGES else [age])
        except KitError as problem:
            return Picked((words_of(problem),))
        return Picked(_words(found, age), _tables(found), _figures(found, age), found)


class _Opened:
    """A fresh source for one look; a file opened for it is closed again."""

    def __init__(self, given: object) -> None:
        self._given = given
        self._source: Source | None = None

    def __enter__(self) -> Source:
        self._source = open_source(self._given)
        return self._source

    def __exit__(self, *_: object) -> None:
        if self._source is not self._given:
            self._source.close()


def _choice(source: Source, name: str, control: str) -> TrialChoice:
    trial = source.trial(name)
    count = len(source.batch_keys(trial=name))
    parts = [f"{name} (control)" if name == control else name, f"version {trial.formula.version}"]
    parts += [f"{count} batch{'' if count == 1 else 'es'}", *([trial.why] if trial.why else [])]
    return TrialChoice(name, "; ".join(parts))


def _words(found: Comparison, age: str) -> tuple[str, ...]:
    if not found.results and not found.observations:
        there = "no reading or observation" if age == ALL_AGES else f"no reading or observation at {age}"
        return (f"There is {there} of these trials.", *found.notes)
    return found.notes


def _tables(found: Comparison) -> tuple[Table, ...]:
    return (found.results_table(), found.verdicts_table(), found.table(), found.not_used_table())


def _figures(found: Comparison, age: str) -> tuple[Figure, ...]:
    """One age: version beside version. All ages: each property over age, then at the ages of the spec."""
    if age != ALL_AGES:
        return tuple(at_one_age(found, result) for result in found.results if _has_value(result))
    properties = dict.fromkeys(result.property for result in found.results)
    drawn = [over_age(found, name) for name in properties]
    asked = [result for result in found.results if result.spec is not None and _has_value(result)]
    return (*(figure for figure in drawn if figure is not None), *(at_one_age(found, result) for result in asked))


def _has_value(result) -> bool:
    """Whether there is a mark to draw, also one that is in no mean."""
    return result.window is not None and any(
        arm.batch_values or any(item.value is not None for item in arm.left_out) for arm in result.arms
    )
