"""The readings of some arms, sorted by property, method and age, each with its verdict.

A reading counts when it stands, is unflagged, lies in an age window, is by the method, and is comparable with the
control's reading at that age. Everything else is kept beside, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from kit.bench.calibration import Calibration
from kit.bench.comparability import COMPARABLE, Verdict
from kit.bench.methods import AgeWindow, Method
from kit.bench.readings import Reading
from kit.labbook.batch_entries import Observation
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.trials.arms import Arm
from kit.trials.judging import by_the_method, fold, held_back, pair_verdict, placeless, window_of
from kit.trials.results import LeftOut


@dataclass(frozen=True, slots=True)
class Key:
    """What is compared with what: one property, by one method, at one age."""

    property: str
    method: str
    window: AgeWindow


@dataclass(frozen=True, slots=True)
class Counted:
    """A reading that counts, with its batch."""

    batch: BatchView
    reading: Reading


@dataclass
class Group:
    """The readings of one key, arm by arm (by label): those that stand up to the method, and those that are left out.

    `alone` are comparable with the method; `counted` are those of them that are comparable with `reference` too.
    """

    key: Key
    method: Method | None
    alone: dict[str, list[Counted]] = field(default_factory=dict)
    counted: dict[str, list[Counted]] = field(default_factory=dict)
    left: dict[str, list[LeftOut]] = field(default_factory=dict)
    reference: Reading | None = None

    def first(self, label: str) -> Reading | None:
        """The first reading of an arm that stands up to the method: by the clock, in whatever order it was typed in."""
        found = self.alone.get(label)
        if not found:
            return None
        first = [item.reading for item in found if item.batch.name == found[0].batch.name]
        return min(first, key=by_the_clock)

    def refer_to(self, reference: Reading | None, windows: Sequence[AgeWindow]) -> None:
        """Fill `counted`: what is comparable with the reference; without one, all that stands up to the method."""
        self.reference = reference
        for label, found in self.alone.items():
            for item in found:
                verdict = self._verdict(item.reading, windows)
                if verdict.comparable:
                    self.counted.setdefault(label, []).append(item)
                else:
                    self.left.setdefault(label, []).append(held_back(item.reading, verdict, self.key.window))

    def _verdict(self, reading: Reading, windows: Sequence[AgeWindow]) -> Verdict:
        if self.reference is None:
            return Verdict(COMPARABLE)
        return pair_verdict(reading, self.reference, self.method, windows)


def by_the_clock(reading: Reading) -> tuple:
    """What readings of a batch are put in order by: when they were read, those of one moment as they were typed in.

    Parameters
    ----------
    reading : Reading   Without a time it comes last.
    """
    at = reading.measured_at
    return (not at, datetime.fromisoformat(at).timestamp() if at else 0.0, reading.instrument, reading.entry)


class Selection:
    """The numeric readings of some arms: groups by key, and what lies in none (void, in process, at another age).

    Parameters
    ----------
    study : StudyView     The study the batches belong to: it gives the rules for flags.
    windows : sequence    Age windows.
    methods : dict        The methods to hold readings against; the study's own when omitted.
    """

    def __init__(
        self,
        source: Source,
        study: StudyView,
        arms: Sequence[Arm],
        windows: Sequence[AgeWindow],
        *,
        methods: Mapping[str, Method] | None = None,
    ) -> None:
        self.groups: dict[Key, Group] = {}
        self.placeless: list[LeftOut] = []
        self.properties: dict[str, str] = {}
        self._source = source
        self._study = study
        self._windows = windows
        self._methods = study.methods if methods is None else methods
        for arm in arms:
            for batch in arm.batches:
                self._sort(arm, batch)

    def calibration(self, name: str) -> Calibration | None:
        """A calibration by name; None when it is not in the record."""
        return self._source.calibration(name)

    def _sort(self, arm: Arm, batch: BatchView) -> None:
        for reading in batch.readings:
            if reading.value is None:
                continue  # a word: see `coded_readings`
            self.properties.setdefault(fold(reading.property), reading.property)
            nowhere = placeless(reading, self._windows, finished=bool(batch.finished_at))
            if nowhere is not None:
                self.placeless.append(nowhere)
            else:
                self._place(arm, batch, reading)

    def _place(self, arm: Arm, batch: BatchView, reading: Reading) -> None:
        name, window = fold(reading.property), window_of(reading, self._windows)
        method = self._methods.get(reading.method or self._only_method(name))
        key = Key(name, method.name if method else reading.method, window)
        group = self.groups.setdefault(key, Group(key, method))
        left = by_the_method(reading, self._source.flags(reading, self._study), method, window)
        if left is None:
            group.alone.setdefault(arm.label, []).append(Counted(batch, reading))
        else:
            group.left.setdefault(arm.label, []).append(left)

    def _only_method(self, name: str) -> str:
        """The method of a property where there is only one: a reading that names none is shown beside its readings."""
        fitting = [method.name for method in self._methods.values() if fold(method.property) == name]
        return fitting[0] if len(fitting) == 1 else ""


def coded_readings(batch: BatchView) -> Iterable[Reading]:
    """Observations, and readings that hold a word, as readings without a value."""
    yield from (reading for reading in batch.readings if reading.value is None)
    yield from (_as_reading(observation, batch) for observation in batch.observations)


def _as_reading(observation: Observation, batch: BatchView) -> Reading:
    return Reading(
        entry=observation.entry,
        batch=batch.name,
        property=observation.name,
        value=None,
        unit="",
        text=observation.word,
        age_h=observation.age_h,
        age_typed_h=observation.age_typed_h,
        measured_at=observation.measured_at,
        note=observation.note,
        void=observation.void,
        storage=observation.storage,
        rest_h=observation.rest_h,
    )
