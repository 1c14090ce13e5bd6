"""What a reading's state is in words, and the conditions that are usual for a method."""

from __future__ import annotations

from collections.abc import Iterable

from kit.bench.comparability import against_method
from kit.bench.exact import upper_first
from kit.bench.methods import CONDITIONS as FIELDS
from kit.bench.methods import Method, nearest_window
from kit.bench.readings import Reading
from kit.labbook.batch import Batch
from kit.labbook.source import Source
from kit.units import plain

_FIXED = {"spindle": "", "rpm": " rpm", "reading_time": " s", "container": ""}
_LOOK_BACK = 5  # batches of the study, the latest first


def state_of(reading: Reading, method: Method, source: Source, batch: Batch) -> tuple[str, str]:
    """The state of a reading in words, with a tone: its flags, its age, comparable or not by the method."""
    words, tone = [], "pass"
    for flag in source.flags(reading, batch.study):
        words.append(f"FLAGGED: {flag.words}")
        tone = "flag"
    if not batch.view.finished_at or reading.age_h is None:
        return " ".join([*words, "In process, before the end of making: it has no age and is in no mean."]), tone
    window = nearest_window(reading.age_h, batch.study.windows)
    verdict = against_method(reading, method, window)
    if window is None:
        words.append(f"Age {reading.age_h:.1f} h, outside every age window: shown, but in no mean.")
        tone = "flag"
    else:
        words.append(f"Age {reading.age_h:.1f} h, in the {window} window.")
    if verdict.comparable:
        words.append(f"Comparable by {method.name}.")
    else:
        words.append(f"{upper_first(verdict.words())}.")
        tone = "flag"
    return " ".join(words), tone


def usual_conditions(batch: Batch, source: Source, method: Method) -> dict[str, str]:
    """Conditions that are usual for a method, to be confirmed: what it fixes, and the instrument used last.

    A temperature and a torque are measured each time. A calibration is usual only on the day it was last used.
    """
    usual = {
        name: f"{_plain(getattr(method, FIELDS[name]))}{unit}"
        for name, unit in _FIXED.items()
        if getattr(method, FIELDS[name]) not in (None, "")
    }
    last = next((one for one in _last_readings(batch, source, method) if one.instrument), None)
    if last is None:
        return usual
    usual = {"instrument": last.instrument, **usual}
    if last.calibration and (last.measured_at or "")[:10] == batch.now()[:10]:
        usual["calibration"] = last.calibration
    return usual


def offered_words(source: Source, method: Method) -> dict[str, tuple[str, ...]]:
    """Instruments and calibrations of the lab book to choose from; any other word can be typed.

    Where the record knows an instrument of the method's kind, only those of that kind are offered.
    """
    instruments = source.instruments()
    fitting = [one for one in instruments if _measures(one.kind, method.property)] or instruments
    names = {one.name for one in fitting}
    calibrations = [one for one in source.calibrations() if one.instrument in names]
    return {
        "instrument": tuple(one.name for one in fitting),
        "calibration": tuple(one.name for one in reversed(calibrations)),
    }


def _measures(kind: str, of: str) -> bool:
    """Whether the kind of an instrument names what is measured: a pH meter, a viscometer."""
    stem = of.lower() if len(of) < 4 else of.lower()[:5]
    return stem in kind.lower()


def _last_readings(batch: Batch, source: Source, method: Method) -> Iterable[Reading]:
    """Readings by the method, the latest first: of this batch, then of the batches of its study recorded last."""
    keys = [f"{trial}/{number}" for _, trial, number in source.batch_keys(study=batch.study.name)]
    others = [name for name in keys if name != batch.name][-_LOOK_BACK:]
    for readings in (batch.view.readings, *(source.batch(name).readings for name in reversed(others))):
        yield from (one for one in reversed(readings) if one.method == method.name and not one.void)


def _plain(value: object) -> str:
    return plain(value) if hasattr(value, "as_tuple") else str(value)
