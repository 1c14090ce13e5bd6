"""Coded words of jars in storage: odour, colour, separation, grain, held against the protocol's own words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kit.bench.methods import AgeWindow
from kit.bench.stability_acceptance import UNCHANGED, Acceptance
from kit.bench.stability_protocol import StabilityProtocol
from kit.bench.storage import storage_key
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.trials.arms import Arm
from kit.trials.judging import fold
from kit.trials.results import LeftOut
from kit.trials.selection import coded_readings
from kit.trials.stability_series import SeenPoint, StorageSeries
from kit.trials.stability_sorting import Sorter, Stored, place_rank, station_of


def coded_series(
    source: Source,
    study: StudyView,
    arm: Arm,
    property: str,
    protocol: StabilityProtocol | None,
    baseline: AgeWindow,
) -> list[StorageSeries]:
    """The series of one coded property, one for each place where it was seen.

    Parameters
    ----------
    source : Source
    study : StudyView
    arm : Arm
    property : str
    protocol : StabilityProtocol, None
    baseline : AgeWindow               When jars go into storage.
    """
    sorter = Sorter(source, study, baseline, protocol)
    limit = protocol.limit(property) if protocol else None
    placed: list[Stored] = []
    left: list[LeftOut] = []
    name = property
    for batch in arm.batches:
        for reading in coded_readings(batch):
            if fold(reading.property) == fold(property):
                name = reading.property
                found = sorter.placed(reading)
                (left if isinstance(found, LeftOut) else placed).append(found)
    begun = [one for one in placed if one.at_baseline]
    stored = [one for one in placed if one.hours > 0 and not one.at_baseline]
    empty = StorageSeries(arm.label, name, "", "", limit=limit, left_out=tuple(left))
    places = sorted({(one.place, one.pack) for one in stored}, key=lambda key: (place_rank(key[0], protocol), key[1]))
    if not places:
        seen = _seen(begun, begun, limit, protocol)
        return [replace(empty, seen=seen)] if seen or left else []
    return [
        replace(empty, place=place, pack=pack, seen=_seen(_at(stored, place, pack), begun, limit, protocol))
        for place, pack in places
    ]


def _at(stored: Sequence[Stored], place: str, pack: str) -> list[Stored]:
    return [one for one in stored if (one.place, one.pack) == (place, pack)]


def _seen(
    found: Sequence[Stored], begun: Sequence[Stored], limit: Acceptance | None, protocol: StabilityProtocol | None
) -> tuple[SeenPoint, ...]:
    first = {one.reading.batch: fold(one.reading.text) for one in begun}
    rest_h = float(protocol.rest_h) if protocol else 0.0
    points = []
    for one in found:
        place = protocol.place(storage_key(one.reading.storage)) if protocol else None
        allowed = _allowed(fold(one.reading.text), first.get(one.reading.batch), limit)
        station = station_of(one.hours, place, rest_h) if one.hours > 0 else ""
        points.append(SeenPoint(one.reading.batch, one.hours, one.reading.text, station, allowed))
    return tuple(sorted(points, key=lambda point: (point.hours, point.batch)))


def _allowed(word: str, first: str | None, limit: Acceptance | None) -> bool | None:
    if limit is None or not limit.is_coded:
        return None
    if limit.kind == UNCHANGED:
        return None if first is None else word == first
    return word in {fold(one) for one in limit.allowed}
