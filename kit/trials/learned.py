"""Learning from the bench: pH readings and titrations of the record say what the model leaves open.

A voided or flagged reading is in no answer: learning starts anew from the record each time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from kit.bench.methods import AgeWindow
from kit.bench.readings import Reading
from kit.errors import KitError
from kit.formula.knowledge import Knowledge, LeftOutReading, same_age
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.trials.ages import age_words, asked_as, beside, learning_window
from kit.trials.arms import in_order, versions_of
from kit.trials.judging import age_of, fold
from kit.trials.learned_in_process import in_process_points
from kit.trials.learned_made import composition_read
from kit.trials.learned_points import Point, learn
from kit.trials.learned_titration import Titration, titration
from kit.trials.results import IN_PROCESS, VOID, LeftOut
from kit.trials.selection import Counted, Group, Key, Selection
from kit.trials.verdicts import spec_windows

__all__ = ["Titration", "learn_ph", "learn_titrations", "titration"]

_PH = "ph"
_METHOD = "pH neat"
_OTHER_AGE = "compare.age"


def learn_ph(
    source: object,
    of: str | Sequence[str] = "",
    *,
    age: str = "24 h",
    method: str = _METHOD,
    titrations: Sequence[Titration] = (),
) -> Knowledge:
    """Learn from measured pH what the model leaves open: extracts, latent acid, the strength of an amine, the base.

    Parameters
    ----------
    source : str, Path, Labbook or Source   A lab book, a snapshot, or something already open.
    of : str or sequence of str             Studies, trials or batches, by name; the only study when omitted.
    age : str                               Age of the readings: a window of the study, "24 h"; any other, such as "0 h"
                                            for readings typed straight after finishing, takes a quarter of it either
                                            way, 15 min at least, or the tolerance told, "14 d ± 12 h". Acid that is
                                            latent at one age is not at another: one age is learned from at a time.
    method : str                            Method of the readings; it must read the undiluted product.
    titrations : sequence of Titration      Titrated samples, typed with `titration`; enough by themselves where
                                            nothing was made yet.

    Returns
    -------
    Knowledge   For `predict_ph(knowing=...)`. It tells what was learned, from which readings, and which readings were
                left out and why: voided, flagged, not comparable, at another age.

    Raises
    ------
    KitError      `learn.nothing`, `learn.no_batch`, `learn.no_unknown`; `units.*` for an age that cannot be read.
    RecordError   `labbook.study`, `labbook.batch`, and those of `open_source`.

    Notes
    -----
    Readings are those that a comparison would count: unflagged, by the method, at the age, stored alike. Each is set
    against the composition as made; as meant where nothing was weighed, and its words say so. Readings before and after
    an adjuster, taken when nothing but adjusters followed, count as points of a titration of that batch.
    """
    source = open_source(source)
    studies = _batches_by_study(source, of)
    if titrations and not studies:
        return learn_titrations(titrations)
    if not studies:
        raise _no_batch(source, of)
    found = _Found()
    for study, batches in studies:
        _collect(source, study, batches, age, method, found)
    for typed in titrations:
        found.points += _titration_points(typed, found.age_h)
    return learn(found.points, left_out=found.left_out, age_h=found.age_h, other_ages=tuple(found.other_ages))


def learn_titrations(titrations: Sequence[Titration]) -> Knowledge:
    """Learn from titrated samples alone, without a lab book.

    Parameters
    ----------
    titrations : sequence of Titration   Typed with `titration`; what is latent is learned at the age of the first.

    Returns
    -------
    Knowledge   As of `learn_ph`.

    Raises
    ------
    KitError   `learn.nothing`, `learn.no_unknown`.
    """
    ages = [typed.age_h for typed in titrations if typed.age_h is not None]
    age_h = float(ages[0]) if ages else None
    return learn([point for typed in titrations for point in _titration_points(typed, age_h)], age_h=age_h)


class _Found:
    """What was collected so far."""

    def __init__(self) -> None:
        self.points: list[Point] = []
        self.left_out: list[LeftOutReading] = []
        self.age_h: float | None = None
        self.other_ages: dict[str, None] = {}


def _batches_by_study(source: Source, of: str | Sequence[str]) -> list[tuple[StudyView, tuple[BatchView, ...]]]:
    """The batches asked for, each once, by study; none where none of them was made yet."""
    found: dict[str, BatchView] = {}
    for name in [of] if isinstance(of, str) else of:
        found |= {batch.name: batch for batch in _named(source, name)}
    studies = dict.fromkeys(batch.study for batch in found.values())
    return [
        (source.study(name), in_order(batch for batch in found.values() if batch.study == name)) for name in studies
    ]


def _named(source: Source, name: str) -> tuple[BatchView, ...]:
    if not name and not source.studies():
        return ()
    if not name or name in source.studies():
        return source.batches(study=source.study(name).name)
    if source.study_of(name):
        return source.batches(name)
    if "/" in name:
        return (source.batch(name),)
    return source.batches(source.trial(name).name)  # which refuses and names the nearest


def _no_batch(source: Source, of: str | Sequence[str]) -> KitError:
    return KitError(
        f"there is no batch of {of if isinstance(of, str) and of else ', '.join(of) or 'any trial'}",
        where=f"learn_ph(), {source.title}",
        allowed=", ".join(source.studies()) or "none yet",
        mend="name a study, trials or batches that were made, or give titrations=",
        code="learn.no_batch",
    )


def _collect(
    source: Source, study: StudyView, batches: tuple[BatchView, ...], age: str, method: str, found: _Found
) -> None:
    known = spec_windows(study.spec, study.windows)
    window = learning_window(age, known)
    windows = beside(window, known)
    found.age_h = float(window.age_h)
    selection = Selection(source, study, versions_of(batches), windows)
    for key, group in selection.groups.items():
        if key.property != _PH:
            continue
        if key == Key(_PH, method, window):
            _take_group(group, windows, found)
        else:
            why = _another(key, method, window)
            if group.alone and key.method == method:
                found.other_ages[key.window.label] = None
            found.left_out += [_other(item, key, why) for items in group.alone.values() for item in items]
        found.left_out += [_left(item, window) for items in group.left.values() for item in items]
    _take_in_process(
        [item for item in selection.placeless if fold(item.reading.property) == _PH],
        {(point.batch, point.entry): point for point in _in_process(source, study, batches, method)},
        window,
        found,
    )


def _take_in_process(
    placeless: Iterable[LeftOut], in_process: Mapping[tuple[str, int], Point], window: AgeWindow, found: _Found
) -> None:
    """Readings without an age: points of a titration where they stand, else left out."""
    for item in placeless:
        point = in_process.get((item.batch, item.reading.entry)) if item.state == IN_PROCESS else None
        if point is not None:
            found.points.append(replace(point, other_age=not same_age(point.age_h, found.age_h)))
        else:
            found.left_out.append(_left(item, window))
            if _at_another_age(item):
                found.other_ages[asked_as(float(age_of(item.reading)))] = None


def _another(key: Key, method: str, window: AgeWindow) -> str:
    if key.method != method:
        return f"read by {key.method or 'no named method'}, not by {method}"
    return f"read at {key.window.label}, not at {window}"


def _take_group(group: Group, windows: Sequence[AgeWindow], found: _Found) -> None:
    """Readings stored alike; the commonest storage leads."""
    alone = [item for items in group.alone.values() for item in items]
    stored = [item.reading.storage for item in alone]
    lead = max(alone, key=lambda item: stored.count(item.reading.storage), default=None)
    group.refer_to(lead.reading if lead else None, windows)
    for items in group.counted.values():
        for item in items:
            found.points += _reading_points(item, group, found)


def _reading_points(item: Counted, group: Group, found: _Found) -> Iterable[Point]:
    made, told, why_not = composition_read(item.batch)
    reading = item.reading
    if made is None:
        found.left_out.append(_other(item, group.key, why_not, "learn.composition"))
        return
    yield Point(
        batch=item.batch.name,
        composition=made,
        ph=float(reading.value),
        temp_c=float(reading.temp_c) if reading.temp_c is not None else 25.0,
        age=group.key.window.label,
        age_h=float(group.key.window.age_h),
        entry=reading.entry,
        what=told,
        sitting=f"{item.batch.name} at {group.key.window.label}",
    )


def _in_process(source: Source, study: StudyView, batches: Iterable[BatchView], method: str) -> Iterable[Point]:
    for batch in batches:
        yield from in_process_points(source, study, batch, method)


def _titration_points(typed: Titration, age_h: float | None) -> list[Point]:
    at = None if typed.age_h is None else float(typed.age_h)
    return [
        Point(
            batch=typed.name,
            composition=typed.composition_at(point),
            ph=float(point.ph),
            temp_c=float(typed.temp_c),
            age="" if at is None else f"{at:g} h",
            age_h=at,
            what=typed.words(point),
            sitting=f"titration of {typed.name}",
            other_age=at is not None and age_h is not None and not same_age(at, age_h),
        )
        for point in typed.points
    ]


def _left(item: LeftOut, window: AgeWindow) -> LeftOutReading:
    why = item.words if item.state == VOID else f"{item.state}: {item.words}"
    if _at_another_age(item):
        why = f"read at {_age_words(item.reading)}, not at {window}"
    return LeftOutReading(
        batch=item.batch,
        entry=item.reading.entry,
        value=float(item.reading.value),
        age=item.age or _age_words(item.reading),
        code=item.code,
        why=why,
    )


def _at_another_age(item: LeftOut) -> bool:
    """Whether a reading lies in no window, and nothing else is known to stand against it."""
    return item.codes == (_OTHER_AGE,) and age_of(item.reading) is not None


def _age_words(reading: Reading) -> str:
    age = age_of(reading)
    return "" if age is None else age_words(float(age))


def _other(item: Counted, key: Key, why: str, code: str = "learn.other") -> LeftOutReading:
    return LeftOutReading(
        batch=item.batch.name,
        entry=item.reading.entry,
        value=float(item.reading.value),
        age=key.window.label,
        code=code,
        why=why,
    )
