"""Trials set side by side against a control: what changed, what it did, and whether it is real."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from kit.bench.methods import AgeWindow, age_window
from kit.errors import KitError
from kit.labbook.source import nearest_names, open_source
from kit.show import Block, Table
from kit.trials import tables
from kit.trials.arms import Arm, find_arms
from kit.trials.batch_ph import PH
from kit.trials.changes import Changes, changes_of
from kit.trials.coded import Words
from kit.trials.coincides import coinciding_with_day, cross_day
from kit.trials.compared import Compared
from kit.trials.differences import together_words
from kit.trials.judging import fold
from kit.trials.lot_differences import differing_forms
from kit.trials.margins import read_margins
from kit.trials.measured import measure
from kit.trials.results import LeftOut, PropertyResult
from kit.trials.scatter_words import scatter_table
from kit.trials.verdicts import spec_windows
from kit.trials.wording import plural

if TYPE_CHECKING:
    from kit.formula.prices import Price


@dataclass(frozen=True)
class Comparison(Compared):
    """Versions side by side, with the tables that show them; its data are those of `Compared`."""

    def table(self) -> Table:
        """The one table: header, changed lines, as made, process, worked out, results, observations, decisions."""
        return tables.side_by_side(self)

    def tables(self) -> tuple[Table, ...]:
        """The same blocks, a table each."""
        return tables.block_tables(self)

    def results_table(self) -> Table:
        """Results, a row a property, age and arm, against the spec and the control."""
        return tables.results_table(self)

    def verdicts_table(self) -> Table:
        """Every verdict in words."""
        return tables.verdicts_table(self)

    def scatter_table(self) -> Table:
        """Batches, readings, their scatter and the days of making, a row a property, age and version."""
        return scatter_table(self)

    def changes_table(self) -> Table:
        """Changed lines, largest first, the absorbing line last."""
        return tables.changes_table(self)

    def not_used_table(self) -> Table:
        """Every reading that is in no mean: batch, value, state, code, words."""
        return tables.not_used_table(self)

    def result(self, property: str, age: str, method: str = "") -> PropertyResult:
        """One property at one age, such as ("viscosity", "72 h").

        Raises
        ------
        KitError   `compare.no_result` with what there is.
        """
        for result in self.results:
            if fold(result.property) == fold(property) and result.age == age and method in ("", result.method):
                return result
        raise KitError(
            f"there is no result for {property} at {age}",
            where="comparison",
            allowed="; ".join(result.title for result in self.results),
            mend="name one of these",
            code="compare.no_result",
        )

    def _repr_html_(self) -> str:
        return Block((self.table(), self.verdicts_table(), self.not_used_table()))._repr_html_()

    def __str__(self) -> str:
        return f"{tables.plain_text(self)}\n\n{self.not_used_table()}"

    __repr__ = __str__


def compare(
    source: object,
    trials: Sequence[str],
    *,
    control: str | None = None,
    properties: Sequence[str] | None = None,
    ages: Sequence[str] | None = None,
    prices: Mapping[str, Price] | None = None,
    margin: str | Mapping[str, str] | Sequence[str] | None = None,
) -> Comparison:
    """Set trials side by side.

    Parameters
    ----------
    source : str, Path, Labbook or Source   A lab book, a snapshot, or something already open.
    trials : sequence of str                Trials of one study. Batches of one formula version pool, also those of
                                            trials not named.
    control : str                           The trial the others are set against; the study's own when omitted.
    properties : sequence of str            Only these properties, measured and observed; all when omitted.
    ages : sequence of str                  Only these ages, "72 h"; all when omitted.
    prices : dict                           Material key to `Price`, usually `library.prices`: the table then says what
                                            each version costs.
    margin : str, dict or list              What is too small to matter, stated before the data were seen: "20 %" for
                                            all that is compared by ratios, or {"viscosity": "20 %", "pH": "0.1"}, or
                                            ["viscosity: 20 %", "pH at 24 h: 0.1"]. It goes before what the study has on
                                            its record (`new_study(margins=)`), which holds where none is given. Without
                                            any nothing is called the same.

    Returns
    -------
    Comparison   A reading counts when it stands, is unflagged, and is comparable by the study's method and with the
                 control's reading at that age. The batch is the unit: readings of a batch at one age are averaged
                 first. Flagged, not comparable and only shown readings are kept beside the means, with the reason.

    Raises
    ------
    KitError      `compare.no_trial`, `compare.no_control`, `compare.control`, `compare.two_studies`,
                  `compare.property`, `compare.margin`, `age.unknown`.
    RecordError   `labbook.trial` with the nearest names, and those of `open_source`.
    """
    source = open_source(source)
    study, arms = find_arms(source, trials, control)
    windows = spec_windows(study.spec, study.windows)
    made = (batch.started_at for arm in arms for batch in arm.batches)
    margins = read_margins(margin, study.margins, first_made=min(made, key=datetime.fromisoformat, default=""))
    measured = measure(source, study, arms, windows, margins)
    words = Words(arms, windows)
    wanted = _Wanted(properties, ages, windows)
    results, observations, changes = measured.results, words.results(study.spec), changes_of(arms)
    wanted.check_properties(
        [
            *(result.property for result in results),
            *(result.name for result in observations),
            *(item.reading.property for item in measured.placeless),
        ]
    )
    left = [
        *measured.placeless,
        *words.left,
        *(item for result in results for arm in result.arms for item in arm.left_out),
    ]
    return Comparison(
        study,
        arms,
        tuple(result for result in results if wanted.holds(result.property, result.age)),
        tuple(result for result in observations if wanted.holds(result.name, result.age)),
        _in_order((item for item in left if wanted.holds(item.reading.property, item.age)), arms),
        changes,
        _notes(arms, results, changes),
        prices or {},
        tuple(result for result in results if fold(result.property) == PH),
    )


class _Wanted:
    """Which properties and ages were asked for."""

    def __init__(
        self, properties: Sequence[str] | None, ages: Sequence[str] | None, windows: Sequence[AgeWindow]
    ) -> None:
        properties = [properties] if isinstance(properties, str) else properties
        ages = [ages] if isinstance(ages, str) else ages
        self._properties = None if properties is None else {fold(name): name for name in properties}
        self._ages = None if ages is None else {age_window(age, windows).label for age in ages}

    def check_properties(self, known: Sequence[str]) -> None:
        """Refuse a property that nothing is known about."""
        there = {fold(name): name for name in known}
        for name, typed in (self._properties or {}).items():
            if name not in there:
                close = [there[found] for found in nearest_names(name, list(there))]
                raise KitError(
                    f"there is no property {typed!r}",
                    where="compare()",
                    allowed=", ".join(close) or "none yet",
                    mend="name one of these",
                    code="compare.property",
                )

    def holds(self, name: str, age: str) -> bool:
        """Whether a property at an age was asked for."""
        return (self._properties is None or fold(name) in self._properties) and (
            self._ages is None or age in self._ages
        )


def _in_order(left, arms: Sequence[Arm]) -> tuple[LeftOut, ...]:
    places = {batch.name: (index, place) for index, arm in enumerate(arms) for place, batch in enumerate(arm.batches)}
    return tuple(sorted(left, key=lambda item: (places[item.batch], item.reading.entry)))


def _dropped(arms: Sequence[Arm]) -> list[str]:
    """Batches that somebody decided to drop, in one sentence; none where there are none."""
    found = dict.fromkeys(
        batch.name
        for arm in arms
        for batch in arm.batches
        for decision in batch.decisions
        if fold(decision.verdict) == "drop"
    )
    if not found:
        return []
    was, its = ("was", "its") if len(found) == 1 else ("were", "their")
    return [f"{', '.join(found)} {was} decided 'drop'; {its} readings count all the same: void what is wrong."]


def margin_lines(results: Sequence[PropertyResult]) -> list[str]:
    """Where the margins come from, and whether they were stated beforehand; properties that share one together.

    Parameters
    ----------
    results : sequence of PropertyResult
    """
    by_words: dict[str, list[str]] = {}
    for result in results:
        if result.margin_words:
            by_words.setdefault(result.margin_words, []).append(result.title)
    return [f"{'; '.join(titles)}: {words}." for words, titles in by_words.items()]


def _notes(arms: Sequence[Arm], results: Sequence[PropertyResult], changes: Changes) -> tuple[str, ...]:
    first = (together_words(results, len(arms) - 1), cross_day(arms, changes, results))
    notes = [*(note for note in first if note), *coinciding_with_day(arms, changes)]
    for arm in arms:
        days = [day for day in arm.days if day not in arms[0].days]
        if days:
            notes.append(f"{arm.label}: no control was made on {' or '.join(days)}; day and change are not separated.")
    for arm in arms[1:]:
        forms = differing_forms(arm, arms[0])
        if forms:
            words = "by their certificates not the same as in the control's batches; lot and change are not separated"
            notes.append(f"{arm.label}: lots of {', '.join(forms)} were {words}.")
    notes += margin_lines(results)
    notes += _dropped(arms)
    lone = [arm.label for arm in arms if len(arm.batches) == 1]
    if lone:
        notes.append(f"Single batch: {', '.join(lone)} ({plural(len(lone), 'version')}).")
    return tuple(notes)
