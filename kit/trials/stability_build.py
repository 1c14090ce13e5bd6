"""Series of stability data from the readings of a formula version: baselines, points, relative values, lines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from kit.bench.methods import AgeWindow, default_windows
from kit.bench.readings import Reading
from kit.bench.stability_acceptance import DIFFERENCE, RATIO, Acceptance
from kit.bench.stability_protocol import Place, StabilityProtocol
from kit.bench.storage import REFERENCE, freeze_thaw_cycles, storage_key
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.science.shelf_life import shelf_life
from kit.science.shelf_life_lines import pooled_lines
from kit.science.viscosity_build import fit_build
from kit.trials.arms import Arm
from kit.trials.judging import fold, scale_of
from kit.trials.results import LN, NOT_COMPARABLE, LeftOut
from kit.trials.selection import by_the_clock
from kit.trials.stability_series import StoragePoint, StorageSeries
from kit.trials.stability_sorting import Sorter, Stored, averaged, by_batch, place_rank

_SAME_PULL_H = 30.0  # a jar that rested and the one at 25 degC beside it are of one pull
_AFTER_CYCLES_H = 72.0  # cycles end on no station: the nearest jar will do
_BUILD_UNTIL_H = 24 * 28.0
_BUILT = 0.95
# where no protocol says it: a viscosity is not read for this before 72 h, as it builds (common practice, no source)
_USUAL_BASELINES = {True: ("72 h", "7 d"), False: ("24 h", "72 h", "7 d")}


@dataclass(frozen=True)
class SeriesMaker:
    """Makes the series of numbers of one formula version.

    Parameters
    ----------
    source : Source
    study : StudyView
    arm : Arm
    protocol : StabilityProtocol, None
    baseline : AgeWindow, None          Asked for where there is no protocol; the usual ones when None.
    """

    source: Source
    study: StudyView
    arm: Arm
    protocol: StabilityProtocol | None = None
    baseline: AgeWindow | None = None

    def series(self, property: str) -> list[StorageSeries]:
        """The series of one property, one for each place and pack where it was read or is asked for.

        Under a protocol, what was read of no jar in storage is a series without a place: nothing is lost in silence.

        Parameters
        ----------
        property : str
        """
        readings = [
            reading
            for batch in self.arm.batches
            for reading in sorted(batch.readings, key=by_the_clock)
            if fold(reading.property) == fold(property) and reading.value is not None
        ]
        limit = self.protocol.limit(property) if self.protocol else None
        scale = _scale(limit, readings, self.source, self.study)
        window = self.baseline_of(readings, scale)
        method = limit.method if limit else ""
        sorter = Sorter(self.source, self.study, window, self.protocol, method)
        counted, left = _counted(sorter, readings, scale)
        begun = [one for one in counted if one.at_baseline]
        baselines = {name: _mean(found, scale) for name, found in by_batch(begun).items()}
        first = next((reading for reading in readings), None)
        empty = StorageSeries(
            self.arm.label, first.property if first else property, first.unit if first else "", "", "", limit, scale,
            baselines, left_out=tuple(left),
        )  # fmt: skip
        stored = [one for one in counted if one.hours > 0 and not one.at_baseline]
        earlier = [one for one in counted if one.hours <= 0 and not one.at_baseline]
        found = [self._one(empty, place, pack, stored, begun, earlier) for place, pack in self._places(stored, left)]
        if not found and readings and self.protocol is not None:
            points, before = (_points(part, scale, None, 0.0) for part in (begun, earlier))
            return [_related(replace(empty, points=points, earlier=before), ())]
        related = [_related(one, found) for one in found]
        cautions = self._build_caution(empty, counted, window)
        return [_fitted(replace(one, cautions=(*cautions, *_no_baseline(one)))) for one in related]

    def baseline_of(self, readings: Sequence[Reading], scale: str) -> AgeWindow:
        """The age that values are held against: the protocol's, the one asked for, else the first usual one read."""
        if self.protocol is not None:
            return self.protocol.baseline
        if self.baseline is not None:
            return self.baseline
        known = {window.label: window for window in (*default_windows(), *self.study.windows)}
        usual = [known[label] for label in _USUAL_BASELINES[scale == LN] if label in known]
        ages = [reading.age_h for reading in readings if reading.age_h is not None and not reading.void]
        return next((one for one in usual if any(one.contains(age) for age in ages)), usual[0])

    def _places(self, stored: Sequence[Stored], left: Sequence[LeftOut]) -> list[tuple[str, str]]:
        """Where it was read, or reading was tried, those of the protocol first."""
        packs = [pack.name for pack in self.protocol.packs] if self.protocol else []
        read = dict.fromkeys((one.place, one.pack) for one in stored)
        tried = dict.fromkeys(map(_left_place, left))
        read |= {(place, ""): None for place in tried if place and place not in {name for name, _ in read}}

        def rank(key: tuple[str, str]) -> tuple:
            return *place_rank(key[0], self.protocol), packs.index(key[1]) if key[1] in packs else len(packs)

        return sorted(read, key=rank)

    def _one(
        self,
        empty: StorageSeries,
        name: str,
        pack: str,
        stored: Sequence[Stored],
        begun: Sequence[Stored],
        earlier: Sequence[Stored],
    ) -> StorageSeries:
        place = self.protocol.place(name) if self.protocol else None
        rest_h = float(self.protocol.rest_h) if self.protocol else 0.0
        mine = [one for one in stored if (one.place, one.pack) == (name, pack)]
        who = {one.reading.batch for one in mine}
        points = _points([*(one for one in begun if one.reading.batch in who), *mine], empty.scale, place, rest_h)
        before = _points([one for one in earlier if one.reading.batch in who], empty.scale, None, 0.0)
        left = tuple(one for one in empty.left_out if _left_place(one) in (name, ""))
        return replace(empty, place=name, pack=pack, points=points, earlier=before, left_out=left)

    def _build_caution(self, empty: StorageSeries, counted: Sequence[Stored], window: AgeWindow) -> tuple[str, ...]:
        """Whether a viscosity still builds after its baseline."""
        if empty.scale != LN or (empty.limit is not None and not empty.limit.is_relative):
            return ()
        told = []
        for batch, found in by_batch(one for one in counted if one.place in ("", REFERENCE)).items():
            young = [one for one in found if float(one.reading.age_h) <= _BUILD_UNTIL_H]
            build = fit_build([float(one.reading.age_h) for one in young], [float(one.reading.value) for one in young])
            if build.ok and build.grows and empty.baselines.get(batch, math.inf) < _BUILT * build.settled_mpa_s:
                share = empty.baselines[batch] / build.settled_mpa_s
                told.append(f"{batch} had {share:.0%} of its settled viscosity at {window.label} and builds on")
        return tuple(told)


def _scale(limit: Acceptance | None, readings: Sequence[Reading], source: Source, study: StudyView) -> str:
    if limit is not None and limit.kind == RATIO:
        return LN
    if (limit is not None and limit.kind == DIFFERENCE) or not readings:
        return "linear"
    return scale_of(readings[0].property, source.method_of(readings[0], study))


def _counted(sorter: Sorter, readings: Sequence[Reading], scale: str) -> tuple[list[Stored], list[LeftOut]]:
    counted: list[Stored] = []
    left: list[LeftOut] = []
    for reading in readings:
        placed = sorter.placed(reading)
        if isinstance(placed, LeftOut):
            left.append(placed)
            continue
        out = sorter.refused(placed, counted[0].reading if counted else None)
        if out is None and scale == LN and reading.value <= 0:
            words = "a ratio needs a value above zero"
            out = LeftOut(reading.batch, reading, NOT_COMPARABLE, ("compare.not_positive",), words)
        if out is None:
            counted.append(placed)
        else:
            left.append(out)
    return counted, left


def _left_place(left: LeftOut) -> str:
    return storage_key(left.reading.storage)


def _mean(found: Sequence[Stored], scale: str) -> float:
    return averaged([replace(one, hours=0.0) for one in found], scale, None, 0.0)[0].value


def _points(found: Iterable[Stored], scale: str, place: Place | None, rest_h: float) -> tuple[StoragePoint, ...]:
    points = [point for mine in by_batch(found).values() for point in averaged(mine, scale, place, rest_h)]
    return tuple(sorted(points, key=lambda point: (point.hours, point.batch)))


def _related(series: StorageSeries, beside: Sequence[StorageSeries]) -> StorageSeries:
    """The series with its values set against what its limit is held against."""
    jar = next((one for one in beside if one.place == REFERENCE and one.pack == series.pack), None)
    points = tuple(replace(point, relative=_relative(series, point, jar)) for point in series.points)
    return replace(series, points=points)


def _relative(series: StorageSeries, point: StoragePoint, jar: StorageSeries | None) -> float | None:
    if not series.is_relative:
        return point.value
    if series.against_jar:
        base = None if series.place == REFERENCE or point.hours <= 0 else beside_value(point, jar)
    else:
        base = series.baselines.get(point.batch)
    if base is None:
        return None
    return point.value / base if series.is_ratio else point.value - base


def beside_value(point: StoragePoint, jar: StorageSeries | None) -> float | None:
    """The value of the jar of the same batch kept at 25 degC that was pulled with this one; None where none was.

    Parameters
    ----------
    point : StoragePoint
    jar : StorageSeries    At 25 degC; None where nothing was read there.
    """
    mine = [one for one in (jar.points if jar else ()) if one.batch == point.batch and one.hours > 0]
    cycled = any(freeze_thaw_cycles(reading.storage) is not None for reading in point.readings)
    apart_h = _AFTER_CYCLES_H if cycled else max(_SAME_PULL_H, 0.05 * point.hours)
    near = [one for one in mine if abs(one.hours - point.hours) <= apart_h]
    return min(near, key=lambda one: abs(one.hours - point.hours)).value if near else None


def _no_baseline(series: StorageSeries) -> tuple[str, ...]:
    if not series.is_relative or series.against_jar:
        return ()
    missing = [batch for batch in series.batches if batch not in series.baselines]
    return (f"{', '.join(missing)} has no value at the baseline",) if missing else ()


def _by_station(points: Sequence[StoragePoint], is_ratio: bool) -> tuple[list[str], list[float], list[float]]:
    """Batch, months and relative value, one for each station: what is read again on another day is no station more."""
    groups: dict[tuple, list[StoragePoint]] = {}
    for place, point in enumerate(points):
        groups.setdefault((point.batch, point.station or place), []).append(point)
    turn, back = (math.log, math.exp) if is_ratio else (float, float)
    return (
        [found[0].batch for found in groups.values()],
        [math.fsum(point.months for point in found) / len(found) for found in groups.values()],
        [back(math.fsum(turn(point.relative) for point in found) / len(found)) for found in groups.values()],
    )


def _fitted(series: StorageSeries) -> StorageSeries:
    if freeze_thaw_cycles(series.place) is not None:
        return series
    is_ratio = series.is_ratio if series.is_relative else series.scale == LN
    stations = [point for point in series.points if point.relative is not None]
    batches, months, values = _by_station(stations, is_ratio)
    lower, upper = series.limits
    life = shelf_life(months, values, batches, lower=lower, upper=upper, scale="ln" if is_ratio else "linear")
    turned = [math.log(value) for value in values] if is_ratio else values
    trend = life.pooled if life.pooled.lines else pooled_lines(months, turned, batches)
    return replace(series, life=life, trend=trend)
