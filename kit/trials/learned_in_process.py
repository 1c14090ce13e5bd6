"""Readings before and after adjusters, while a batch was still being made: points of a titration of that batch."""

from __future__ import annotations

from collections.abc import Iterable

from kit.bench.comparability import against_method
from kit.bench.events import Adjusted
from kit.bench.readings import Reading
from kit.errors import BatchError
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.trials.learned_made import batch_at
from kit.trials.learned_points import Point
from kit.units import plain

_PH = "ph"
_BEFORE = "in process, titration of the batch: before any adjuster"


def in_process_points(source: Source, study: StudyView, batch: BatchView, method: str) -> Iterable[Point]:
    """The unflagged pH readings of a batch before the end of making, each with the composition of that moment.

    Only of batches that an adjuster was poured into; only by the method and at its temperature; only once the whole
    formula was in.
    """
    if not any(isinstance(event, Adjusted) for event in batch.events):
        return
    for reading in batch.readings:
        if _stands(source, study, reading, method):
            yield from _point(batch, reading)


def _stands(source: Source, study: StudyView, reading: Reading, method: str) -> bool:
    if reading.property.lower() != _PH or reading.value is None or reading.void or reading.age_h is not None:
        return False
    if reading.method != method or reading.measured_at is None or reading.age_typed_h is not None:
        return False
    if source.flags(reading, study):
        return False
    return against_method(reading, study.methods.get(method), None).comparable


def _point(batch: BatchView, reading: Reading) -> Iterable[Point]:
    then = batch_at(batch, reading.entry)
    if then is None:
        return
    try:
        made = then.composition("made")
    except BatchError:
        return
    yield Point(
        batch=batch.name,
        composition=made,
        ph=float(reading.value),
        temp_c=float(reading.temp_c) if reading.temp_c is not None else 25.0,
        age="in process",
        age_h=0.0,
        entry=reading.entry,
        what=_words(then),
        sitting=f"making of {batch.name}",
        other_age=True,
    )


def _words(then: BatchView) -> str:
    poured = [f"{plain(event.mass_g)} g {event.material.name}" for event in then.events if isinstance(event, Adjusted)]
    return f"in process, titration of the batch: after {', '.join(poured)}" if poured else _BEFORE
