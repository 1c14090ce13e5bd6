"""Which viscosity readings make a flow curve: one batch, age, filling and spindle; what is left out, and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import median

from kit.bench.methods import Method, nearest_window
from kit.bench.methods import methods as kit_methods
from kit.bench.readings import Reading
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.show import Fielded
from kit.trials.flow_sweep import LEAST_SPEEDS, Sweep, find_sweep, speeds
from kit.trials.judging import age_of, fold, placeless
from kit.trials.results import FLAG, NOT_COMPARABLE, SHOWN, LeftOut

VISCOSITY = "viscosity"
_CONDITIONS = (
    ("method", "method"),
    ("instrument", "instrument"),
    ("spindle", "spindle"),
    ("container", "container"),
    ("storage", "storage"),
    ("sample", "sample"),
    ("replicate", "replicate"),
)
_NEEDED = (("instrument", "instrument"), ("spindle", "spindle"), ("rpm", "speed"))


@dataclass(frozen=True, slots=True, repr=False)
class Filling(Fielded):
    """What was read at several speeds on one filling, with the conditions that all of it shares.

    Parameters
    ----------
    batch : BatchView
    age : str                      Label of the age window, else the age in words.
    first : Reading                Any of its readings: instrument, spindle, method, sample and so on are those of all.
    sweep : Sweep                  What counts, run by run.
    left_out : tuple of LeftOut    What does not, with the reason.
    cautions : tuple of str        What weakens it.
    """

    batch: BatchView
    age: str
    first: Reading
    sweep: Sweep
    left_out: tuple[LeftOut, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Batch, age, spindle, and sample or replicate where they were named."""
        named = [f"sample {self.first.sample}" if self.first.sample else ""]
        named.append(f"replicate {self.first.replicate}" if self.first.replicate else "")
        return ", ".join(part for part in (self.batch.name, self.age, self.first.spindle, *named) if part)


def is_viscosity(reading: Reading, study: StudyView) -> bool:
    """Whether a reading is a number of a rotational viscosity."""
    method = study.methods.get(reading.method)
    named = fold(reading.property) == VISCOSITY or (method is not None and method.rotational)
    return named and reading.value is not None


def fillings(source: Source, study: StudyView, batch: BatchView, age: str = "") -> tuple[Filling, ...]:
    """The fillings of a batch that were read at three speeds or more.

    Parameters
    ----------
    source : Source
    study : StudyView
    batch : BatchView
    age : str           Label of an age window; every age when empty.

    Returns
    -------
    tuple of Filling   Also those where fewer than three speeds are left, so that the reasons are seen.
    """
    groups: dict[tuple, list[Reading]] = {}
    for reading in batch.readings:
        if is_viscosity(reading, study):
            key = (age_label(reading, study), *(fold(getattr(reading, name)) for name, _ in _CONDITIONS))
            groups.setdefault(key, []).append(reading)
    chosen = {
        key: found for key, found in groups.items() if _speeds_tried(found) >= LEAST_SPEEDS and age in ("", key[0])
    }
    return tuple(
        _filling(source, study, batch, key, found, _beside(key, found[0], groups)) for key, found in chosen.items()
    )


def left_by_rule(source: Source, study: StudyView, batch: BatchView, reading: Reading) -> LeftOut | None:
    """Why a viscosity reading counts nowhere: void, without an age, flagged, a condition missing; None where it does.

    Parameters
    ----------
    source : Source
    study : StudyView
    batch : BatchView   It belongs to.
    reading : Reading
    """
    if reading.void or age_of(reading) is None:
        return placeless(reading, study.windows, finished=bool(batch.finished_at))
    flags = source.flags(reading, study)
    if flags:
        codes = tuple(dict.fromkeys(flag.code for flag in flags))
        return LeftOut(reading.batch, reading, FLAG, codes, " ".join(flag.words for flag in flags))
    missing = [words for name, words in _NEEDED if getattr(reading, name) in (None, "")]
    if missing:
        return LeftOut(reading.batch, reading, SHOWN, ("compare.missing",), f"{', '.join(missing)} not recorded")
    if reading.value <= 0:
        words = "a viscosity is above zero"
        return LeftOut(reading.batch, reading, NOT_COMPARABLE, ("compare.not_positive",), words)
    return None


def _filling(source, study, batch, key, found: Sequence[Reading], beside: Sequence[LeftOut]) -> Filling:
    counted, left = [], []
    for reading in found:
        out = left_by_rule(source, study, batch, reading)
        (counted if out is None else left).append(reading if out is None else out)
    counted, cold = _at_one_temperature(counted, study.methods.get(found[0].method))
    sweep = find_sweep(counted) if counted else Sweep()
    apart = [LeftOut(reading.batch, reading, NOT_COMPARABLE, ("flow.order",), words) for reading, words in sweep.apart]
    listed = sorted([*left, *cold, *apart, *beside], key=lambda item: item.reading.entry)
    return Filling(batch, key[0], found[0], sweep, tuple(listed), tuple(_cautions(counted)))


def age_label(reading: Reading, study: StudyView) -> str:
    """Label of the age window a reading lies in, else its age in whole days or hours; empty without an age."""
    age = age_of(reading)
    if age is None:
        return ""
    window = nearest_window(age, study.windows)
    if window is not None:
        return window.label
    return f"{age / 24:.0f} d" if age >= 36 else f"{age:.0f} h"


def _speeds_tried(found: Sequence[Reading]) -> int:
    return speeds([reading for reading in found if reading.rpm is not None])


def _beside(key: tuple, first: Reading, groups: dict[tuple, list[Reading]]) -> list[LeftOut]:
    """Readings of the same method and age that another spindle, sample or container keeps out of the curve."""
    method = 1 + [name for name, _ in _CONDITIONS].index("method")
    left = []
    for other, found in groups.items():
        if other == key or (other[0], other[method]) != (key[0], key[method]) or _speeds_tried(found) >= LEAST_SPEEDS:
            continue
        differ = [
            (name, words) for place, (name, words) in enumerate(_CONDITIONS, start=1) if other[place] != key[place]
        ]
        for reading in found:
            if not reading.void:
                told = ", ".join(f"{words} {getattr(reading, name) or 'not recorded'}" for name, words in differ)
                codes = tuple(f"compare.{name}" for name, _ in differ)
                words = f"{told}: no point of the curve, which has {_of(first, differ)}"
                left.append(LeftOut(reading.batch, reading, NOT_COMPARABLE, codes, words))
    return left


def _of(first: Reading, differ: Iterable[tuple[str, str]]) -> str:
    return ", ".join(f"{words} {getattr(first, name) or 'not recorded'}" for name, words in differ)


def _at_one_temperature(counted: Sequence[Reading], method: Method | None) -> tuple[list[Reading], list[LeftOut]]:
    """Readings near the middle temperature; a method with a temperature of its own has flagged the others already."""
    told = [reading.temp_c for reading in counted if reading.temp_c is not None]
    if not told or (method is not None and method.temp_c is not None):
        return list(counted), []
    middle, allowed = median(told), kit_methods()["viscosity"].temp_tolerance_c
    near = [reading for reading in counted if reading.temp_c is None or abs(reading.temp_c - middle) <= allowed]
    far = [reading for reading in counted if reading not in near]
    words = f"of the others, read at about {middle:.1f} degC (allowed ± {allowed} degC)"
    left = [
        LeftOut(
            item.batch,
            item,
            NOT_COMPARABLE,
            ("compare.temperature",),
            f"{item.temp_c} degC, not the temperature {words}",
        )
        for item in far
    ]
    return near, left


def _cautions(counted: Sequence[Reading]) -> Iterable[str]:
    """What weakens a curve: conditions declared, not recorded, or unlike."""
    declared = sorted({name for reading in counted for name in reading.declared})
    if declared:
        yield f"{', '.join(declared)} only declared for the whole file"
    if any(reading.temp_c is None for reading in counted):
        yield "temperature NOT RECORDED at every speed"
    times: set[Decimal] = {reading.reading_time_s for reading in counted if reading.reading_time_s is not None}
    if len(times) > 1:
        yield f"read after {min(times):f} to {max(times):f} s: the reading time is not the same at every speed"
    if any(reading.measured_at is None for reading in counted):
        yield "clock times NOT RECORDED: the order of the speeds is that of entry, the age as typed"
