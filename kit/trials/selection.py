"""Which readings count: standing, unflagged, inside an age window, by the method, and comparable with the control's.

Everything else is kept beside them with its state, its stable code and the reason in words.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from kit.bench.comparability import COMPARABLE, Reason, Verdict, against_method, compare_pair
from kit.bench.methods import AgeWindow, Method, nearest_window
from kit.bench.readings import Reading, flags
from kit.labbook.source import Source
from kit.labbook.view import BatchView, Observation, StudyView
from kit.trials.arms import Arm
from kit.trials.results import FLAG, IN_PROCESS, LINEAR, LN, NOT_COMPARABLE, SHOWN, VOID, LeftOut

# the scatter of a viscosity is a share of it, so ratios are compared, not differences (common practice, no source)
_RATIO_PROPERTIES = ("viscosity",)

STORAGE_UNKNOWN = "compare.storage_unknown"
STORAGE_CODES = frozenset({"compare.storage", STORAGE_UNKNOWN})


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


@dataclass
class Selection:
    """All readings of some arms, sorted: groups by key, and what lies in no group (void, in process, at another age)."""

    groups: dict[Key, Group] = field(default_factory=dict)
    placeless: list[LeftOut] = field(default_factory=list)
    properties: dict[str, str] = field(default_factory=dict)


def fold(name: str) -> str:
    """A property name without regard to case and spacing."""
    return " ".join(name.lower().split())


def scale_of(name: str, method: Method | None) -> str:
    """ "ln" for a viscosity, where a ratio means the same at every level; "linear" for all else."""
    return LN if fold(name) in _RATIO_PROPERTIES or (method is not None and method.rotational) else LINEAR


def select(source: Source, study: StudyView, arms: Sequence[Arm], windows: Sequence[AgeWindow], *,
           methods: Mapping[str, Method] | None = None) -> Selection:
    """Sort the numeric readings of the arms by key, each judged by itself.

    Parameters
    ----------
    study : StudyView     The study the batches belong to: it gives the rules for flags.
    windows : sequence    Age windows.
    methods : dict        The methods to hold readings against; the study's own when omitted.
    """
    methods = study.methods if methods is None else methods
    selection = Selection()
    for arm in arms:
        for batch in arm.batches:
            for reading in batch.readings:
                if reading.value is not None:
                    _sort(selection, source, study, arm, batch, reading, windows, methods)
    return selection


def against_reference(group: Group, reference: Reading | None, windows: Sequence[AgeWindow]) -> None:
    """Fill `counted`: what is comparable with the reference reading; without one, what stands up to the method."""
    group.reference = reference
    for label, found in group.alone.items():
        for item in found:
            verdict = Verdict(COMPARABLE) if reference is None else pair_verdict(item.reading, reference, group.method, windows)
            if verdict.comparable:
                group.counted.setdefault(label, []).append(item)
            else:
                group.left.setdefault(label, []).append(_held_back(item.batch, item.reading, verdict, group.key.window))


def pair_verdict(reading: Reading, reference: Reading, method: Method | None, windows: Sequence[AgeWindow]) -> Verdict:
    """Whether a reading may be averaged with, or set against, the reference reading.

    Stricter than `compare_pair` in one thing: a jar whose storage is known is not taken for alike with one of unknown storage,
    so that a jar kept warm never slips into a mean.
    """
    if reading == reference:
        return Verdict(COMPARABLE)
    verdict = compare_pair(reading, reference, method, windows)
    if verdict.comparable and bool(reading.storage) != bool(reference.storage):
        known, other = (reading, reference) if reading.storage else (reference, reading)
        words = f"{known.title} was stored at {known.storage}, the storage of {other.title} was not recorded"
        return Verdict(SHOWN, (Reason(STORAGE_UNKNOWN, words),))
    return verdict


def first_reading(group: Group, label: str) -> Reading | None:
    """The first reading of an arm that stands up to the method: what the others have to be comparable with."""
    found = group.alone.get(label)
    return found[0].reading if found else None


def coded_readings(batch: BatchView) -> Iterable[Reading]:
    """Observations, and readings that hold a word, as readings without a value."""
    yield from (reading for reading in batch.readings if reading.value is None)
    yield from (_as_reading(observation, batch) for observation in batch.observations)


def judge_word(batch: BatchView, reading: Reading, windows: Sequence[AgeWindow]) -> LeftOut | None:
    """Why a coded reading does not count: void, in process, at no age of the study, typed age only, or flagged; None when it counts."""
    placeless = _placeless(batch, reading, windows)
    if placeless is not None:
        return placeless
    found = flags(reading, None, windows=windows)
    if found:
        return _flagged(batch, reading, found, _window(reading, windows))
    if reading.age_h is None:
        return LeftOut(batch.name, reading, SHOWN, ("compare.age_typed",), "its age was typed, without a clock time to check it",
                       _window(reading, windows).label)
    return None


def _sort(selection: Selection, source: Source, study: StudyView, arm: Arm, batch: BatchView, reading: Reading,
          windows: Sequence[AgeWindow], methods: Mapping[str, Method]) -> None:
    name = fold(reading.property)
    selection.properties.setdefault(name, reading.property)
    placeless = _placeless(batch, reading, windows)
    if placeless is not None:
        selection.placeless.append(placeless)
        return
    window = _window(reading, windows)
    method = methods.get(reading.method or _only_method(name, methods))
    key = Key(name, method.name if method else reading.method, window)
    group = selection.groups.setdefault(key, Group(key, method))
    left = _judge(source, study, batch, reading, method, window)
    if left is None:
        group.alone.setdefault(arm.label, []).append(Counted(batch, reading))
    else:
        group.left.setdefault(arm.label, []).append(left)


def _judge(source: Source, study: StudyView, batch: BatchView, reading: Reading, method: Method | None, window: AgeWindow) -> LeftOut | None:
    found = source.flags(reading, study)
    if found:
        return _flagged(batch, reading, found, window)
    if method is None and reading.method:
        return LeftOut(batch.name, reading, SHOWN, ("compare.no_method",), f"{reading.method} is not a method of the study", window.label)
    if reading.value <= 0 and scale_of(reading.property, method) == LN:
        return LeftOut(batch.name, reading, NOT_COMPARABLE, ("compare.not_positive",), "a ratio needs a value above zero", window.label)
    verdict = against_method(reading, method, window)
    return None if verdict.comparable else _held_back(batch, reading, verdict, window)


def _placeless(batch: BatchView, reading: Reading, windows: Sequence[AgeWindow]) -> LeftOut | None:
    """Why a reading has no place at any age of the study."""
    if reading.void:
        return LeftOut(batch.name, reading, VOID, ("reading.void",), f"voided: {reading.void}")
    if reading.age_h is None and reading.age_typed_h is None:
        if reading.measured_at is None:
            return LeftOut(batch.name, reading, SHOWN, ("compare.missing",), "neither its time nor its age was recorded")
        when = "read before the end of making" if batch.finished_at else "making is not finished"
        return LeftOut(batch.name, reading, IN_PROCESS, ("reading.in_process",), f"{when}: it has no age")
    if _window(reading, windows) is None:
        return LeftOut(batch.name, reading, NOT_COMPARABLE, ("compare.age",),
                       f"{_age(reading):.1f} h old: in none of {', '.join(str(window) for window in windows)}")
    return None


def _held_back(batch: BatchView, reading: Reading, verdict: Verdict, window: AgeWindow) -> LeftOut:
    return LeftOut(batch.name, reading, verdict.state, tuple(dict.fromkeys(reason.code for reason in verdict.reasons)),
                   "; ".join(reason.words for reason in verdict.reasons), window.label)


def _flagged(batch: BatchView, reading: Reading, found: Sequence, window: AgeWindow) -> LeftOut:
    return LeftOut(batch.name, reading, FLAG, tuple(flag.code for flag in found), " ".join(flag.words for flag in found), window.label)


def _window(reading: Reading, windows: Sequence[AgeWindow]) -> AgeWindow | None:
    return nearest_window(_age(reading), windows)


def _age(reading: Reading):
    return reading.age_h if reading.age_h is not None else reading.age_typed_h


def _only_method(name: str, methods: Mapping[str, Method]) -> str:
    """The method of a property where there is only one: a reading that names none is shown beside its readings."""
    fitting = [method.name for method in methods.values() if fold(method.property) == name]
    return fitting[0] if len(fitting) == 1 else ""


def _as_reading(observation: Observation, batch: BatchView) -> Reading:
    return Reading(entry=observation.entry, batch=batch.name, property=observation.name, value=None, unit="", text=observation.word,
                   age_h=observation.age_h, age_typed_h=observation.age_typed_h, measured_at=observation.measured_at,
                   note=observation.note, void=observation.void)
