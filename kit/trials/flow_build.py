"""Viscosity build: the viscosity of each batch over age, all its readings taken the same way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.comparability import compare_pair
from kit.bench.readings import Reading, viscosity_mpa_s
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.viscosity_build import ViscosityBuild, fit_build
from kit.show import Worded
from kit.trials.flow_select import fillings, is_viscosity, left_by_rule
from kit.trials.flow_sweep import BEFORE
from kit.trials.results import NOT_COMPARABLE, SHOWN, LeftOut
from kit.trials.wording import significant

_AGES = frozenset({"compare.age", "compare.age_typed"})  # what differs on purpose; a typed age is left out before
_HELD_BACK = frozenset({"compare.missing", "compare.declared"})
_FEWEST = 2


@dataclass(frozen=True, slots=True)
class BuildPoint:
    """A reading that counts: its age [h], its viscosity [mPa·s] and the reading."""

    age_h: float
    viscosity_mpa_s: float
    reading: Reading


@dataclass(frozen=True, slots=True, repr=False)
class BatchBuild(Worded):
    """The viscosity of one batch over age, by one method, spindle and speed.

    Parameters
    ----------
    batch : BatchView
    method, instrument, spindle : str
    rpm : Decimal                   [1/min]
    points : tuple of BuildPoint    By age.
    build : ViscosityBuild          The fit, with its reason where it is not told.
    left_out : tuple of LeftOut     Readings that do not count, with the reason.
    """

    batch: BatchView
    method: str
    instrument: str
    spindle: str
    rpm: Decimal
    points: tuple[BuildPoint, ...]
    build: ViscosityBuild
    left_out: tuple[LeftOut, ...] = ()

    @property
    def way(self) -> str:
        """How it was read: spindle, speed and instrument."""
        return f"{self.spindle}, {self.rpm:f} rpm, {self.instrument}"

    @property
    def ages(self) -> int:
        """How many ages were read."""
        return len({point.age_h for point in self.points})

    @property
    def is_shown(self) -> bool:
        """Whether two ages at least count."""
        return self.ages >= _FEWEST

    @property
    def words(self) -> str:
        """What it tells, in a sentence."""
        first, last = self.points[0], self.points[-1]
        ends = f"{_told(first.viscosity_mpa_s)} mPa.s at {first.age_h:.3g} h, {_told(last.viscosity_mpa_s)} at "
        ends += f"{last.age_h:.3g} h"
        found = self.build
        if not found.ok:
            return f"{self.batch.name}: {ends}; where it settles and how fast cannot be told: {found.reason}."
        settled = f"{_told(found.settled_mpa_s)} ± {_told(found.settled_error_mpa_s, 2)} mPa.s"
        time = f"{_told(found.time_constant_h, 3)} ± {_told(found.time_constant_error_h, 2)} h"
        return f"{self.batch.name}: {ends}; settles at {settled} with a time constant of {time}."


def _told(value: float, digits: int = 4) -> str:
    return significant(value, digits)


def builds_of(source: Source, study: StudyView, batch: BatchView, method: str = "") -> tuple[BatchBuild, ...]:
    """The viscosity of a batch over age: for each method, instrument and spindle at the speed with the most ages.

    Parameters
    ----------
    source : Source
    study : StudyView
    batch : BatchView
    method : str        Only readings by this method; by any when empty.

    Returns
    -------
    tuple of BatchBuild   Where two ages at least were tried; `is_shown` where two of them count.
    """
    ways: dict[tuple, list[Reading]] = {}
    risen, sheared = _swept(source, study, batch)
    for reading in batch.readings:
        wanted = is_viscosity(reading, study) and method in ("", reading.method)
        if wanted and reading.entry not in sheared:
            ways.setdefault((reading.method, reading.instrument, reading.spindle, reading.rpm), []).append(reading)
    found = [_build(source, study, batch, key, _alike(readings, risen)) for key, readings in ways.items()]
    best: dict[tuple, BatchBuild] = {}
    for one in found:
        place = (one.method, one.instrument, one.spindle)
        if _ages_tried(one) >= _FEWEST and (place not in best or _rank(one, study) > _rank(best[place], study)):
            best[place] = one
    return tuple(best.values())


def _swept(source: Source, study: StudyView, batch: BatchView) -> tuple[set[int], set[int]]:
    """Entries of readings in a run up, and of those on a filling that a faster speed had sheared before."""
    risen: set[int] = set()
    sheared: set[int] = set()
    for filling in fillings(source, study, batch):
        sweep = filling.sweep
        later = [reading for reading, why in sweep.apart if why != BEFORE]
        risen |= {reading.entry for reading in sweep.up}
        sheared |= {reading.entry for reading in (*sweep.down, *sweep.after_rest, *sweep.mixed, *later)}
    return risen, sheared - risen


def _alike(readings: Sequence[Reading], risen: set[int]) -> list[Reading]:
    """Readings on a fresh filling where there are any; else those of one speed of the runs up."""
    return [reading for reading in readings if reading.entry not in risen] or list(readings)


def _ages_tried(build: BatchBuild) -> int:
    return build.ages + len({item.reading.age_h for item in build.left_out if item.reading.age_h is not None})


def _rank(build: BatchBuild, study: StudyView) -> tuple[int, bool, Decimal]:
    method = study.methods.get(build.method)
    return build.ages, method is not None and method.rpm == build.rpm, -build.rpm


def _build(source: Source, study: StudyView, batch: BatchView, key: tuple, readings: Sequence[Reading]) -> BatchBuild:
    counted: list[Reading] = []
    left: list[LeftOut] = []
    for reading in sorted(readings, key=lambda item: item.entry):
        out = left_by_rule(source, study, batch, reading) or next(_unlike(reading, counted, source, study), None)
        if out is None:
            counted.append(reading)
        else:
            left.append(out)
    points = sorted(
        (BuildPoint(float(item.age_h), float(viscosity_mpa_s(item)), item) for item in counted),
        key=lambda point: (point.age_h, point.reading.entry),
    )
    build = fit_build([point.age_h for point in points], [point.viscosity_mpa_s for point in points])
    return BatchBuild(batch, *key, tuple(points), build, tuple(left))


def _unlike(reading: Reading, counted: Sequence[Reading], source: Source, study: StudyView) -> Iterable[LeftOut]:
    """Why a reading cannot stand in one line with the first: its age not by the clock, or a condition but the age."""
    if reading.age_h is None:
        words = "its age was typed, without a clock time to check it"
        yield LeftOut(reading.batch, reading, SHOWN, ("compare.age_typed",), words)
    verdict = compare_pair(reading, (counted or [reading])[0], source.method_of(reading, study), study.windows)
    reasons = [reason for reason in verdict.reasons if reason.code not in _AGES]
    if reasons:
        held = all(reason.code in _HELD_BACK for reason in reasons)
        codes = tuple(dict.fromkeys(reason.code for reason in reasons))
        words = "; ".join(dict.fromkeys(reason.words for reason in reasons))
        yield LeftOut(reading.batch, reading, SHOWN if held else NOT_COMPARABLE, codes, words)
