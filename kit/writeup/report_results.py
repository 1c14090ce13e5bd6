"""The sections of a write-up about methods, readings and what they show."""

from __future__ import annotations

from kit.bench.methods import Method
from kit.bench.readings import Reading
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.show import Cell, Table
from kit.units import plain
from kit.writeup.report_formula import NOT_RECORDED

_CONDITIONS = (
    ("temp_c", "{} °C"),
    ("rpm", "{} rpm"),
    ("torque_pct", "torque {} %"),
    ("reading_time_s", "read at {} s"),
    ("spindle", "{}"),
    ("instrument", "{}"),
    ("calibration", "{}"),
    ("container", "{}"),
    ("storage", "{}"),
    ("rest_h", "{} h at 25 °C"),
    ("sample", "sample {}"),
    ("replicate", "replicate {}"),
)


def methods_used(source: Source, study: StudyView, batches: tuple[BatchView, ...]) -> Table:
    """Every method the readings name, with the conditions it sets, and the instruments it was read on."""
    names = sorted({reading.method for batch in batches for reading in batch.readings if reading.method})
    rows = []
    for name in names:
        instruments = sorted(
            {
                reading.instrument
                for batch in batches
                for reading in batch.readings
                if reading.method == name and reading.instrument
            }
        )
        rows.append(
            (
                name,
                method_line(study.methods[name]) if name in study.methods else NOT_RECORDED,
                ", ".join(instruments) or NOT_RECORDED,
            )
        )
    note = "" if rows else "No reading names a method: NOT RECORDED."
    return Table(("method", "conditions", "instrument"), rows, title="Methods", note=note)


def method_line(method: Method) -> str:
    """The conditions a method sets, in one line."""
    return method.words()


def calibrations_used(source: Source, batches: tuple[BatchView, ...]) -> Table:
    """Every calibration the readings name: what it rests on, its slope and offset, and whether a check closed it."""
    names = sorted({reading.calibration for batch in batches for reading in batch.readings if reading.calibration})
    rows = []
    for name in names:
        found = source.calibration(name)
        if found is None:
            rows.append((name, *[NOT_RECORDED] * 6))
            continue
        rows.append(
            (
                name,
                found.instrument,
                show_time(found.at),
                found.buffer_words() or NOT_RECORDED,
                _or_absent(found.slope_pct),
                _or_absent(found.offset_mv),
                found.closing_words(),
            )
        )
    note = "" if rows else "No reading names a calibration: NOT RECORDED."
    return Table(
        ("calibration", "instrument", "made", "buffers", "slope, % of theory", "offset, mV", "closing check"),
        rows,
        title="Calibrations",
        note=note,
        numeric=frozenset({4, 5}),
    )


def readings(source: Source, study: StudyView, batches: tuple[BatchView, ...]) -> Table:
    """Every reading with its age and conditions, and what is suspect in it."""
    rows = []
    for batch in batches:
        for reading in batch.readings:
            unit = "" if reading.unit in ("", "1") else f" {reading.unit}"
            rows.append(
                (
                    batch.name,
                    reading.property,
                    f"{plain(reading.value)}{unit}",
                    _age(reading),
                    conditions(reading) or NOT_RECORDED,
                    _state(source, study, reading),
                )
            )
    note = "" if rows else "No reading: NOT RECORDED."
    return Table(
        ("batch", "property", "value", "age, h", "conditions", "state"),
        rows,
        title="All readings",
        note=note,
        numeric=frozenset({2, 3}),
    )


def conditions(reading: Reading) -> str:
    """The conditions of a reading in one line; those declared for a whole file are marked."""
    parts = []
    for name, words in _CONDITIONS:
        value = getattr(reading, name)
        if value not in (None, ""):
            text = words.format(plain(value) if hasattr(value, "is_finite") else value)
            parts.append(f"{text} (declared)" if name in reading.declared else text)
    return ", ".join([*([reading.method] if reading.method else []), *parts])


def flagged(source: Source, study: StudyView, batch: BatchView) -> list[tuple[str, str, str]]:
    """(code, words, code) of every flagged reading of a batch, for the deviations."""
    rows = []
    for reading in batch.readings:
        if not reading.void:
            rows += [
                (
                    flag.code,
                    f"{reading.property} {plain(reading.value)}, entry {reading.entry}: {flag.words}",
                    flag.code,
                )
                for flag in source.flags(reading, study)
            ]
    return rows


def _state(source: Source, study: StudyView, reading: Reading) -> object:
    if reading.void:
        return Cell(f"VOID: {reading.void}", "quiet")
    flags = source.flags(reading, study)
    if flags:
        return Cell("FLAGGED: " + "; ".join(f"{flag.words} [{flag.code}]" for flag in flags), "flag")
    return "in process" if reading.age_h is None and reading.measured_at else "valid"


def _age(reading: Reading) -> str:
    if reading.age_h is not None:
        return f"{reading.age_h:g}"
    return f"{reading.age_typed_h:g} (typed)" if reading.age_typed_h is not None else "–"


def _or_absent(value) -> object:
    return NOT_RECORDED if value is None else plain(value)
