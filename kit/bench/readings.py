"""A reading is a value with its conditions; a flag says by rule what is suspect in the reading itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from kit.bench.exact import upper_first
from kit.bench.methods import CONDITIONS, AgeWindow, Method, closest_window, nearest_window
from kit.units import plain, read, same_unit


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of one batch. What is not known is None or empty.

    `value` in `unit`, or `text` for a coded word such as "none". `age_h` is computed from the end of making,
    `age_typed_h` is what was typed [h]; `measured_at` is ISO 8601. `temp_c` [degC], `torque_pct` [% of full scale],
    `reading_time_s` [s]. `declared` names the conditions that were declared for a whole file rather than recorded with
    the reading; `void` is the reason it was voided.
    """

    entry: int
    batch: str
    property: str
    value: Decimal | None
    unit: str
    text: str = ""
    age_h: Decimal | None = None
    age_typed_h: Decimal | None = None
    measured_at: str | None = None
    temp_c: Decimal | None = None
    method: str = ""
    instrument: str = ""
    spindle: str = ""
    rpm: Decimal | None = None
    torque_pct: Decimal | None = None
    reading_time_s: Decimal | None = None
    container: str = ""
    calibration: str = ""
    storage: str = ""
    sample: str = ""
    replicate: str = ""
    operator: str = ""
    note: str = ""
    declared: frozenset[str] = frozenset()
    void: str = ""

    @property
    def title(self) -> str:
        """Batch, property and entry, to name it in a sentence."""
        return f"{self.batch}, {self.property}, entry {self.entry}"


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument: kind, division and, for a viscometer, the constant K of each spindle.

    value = K x torque / rpm, in mPa.s with torque in % of full scale.
    """

    name: str
    kind: str
    constants: Mapping[str, Decimal] = field(default_factory=dict)
    division: Decimal | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A calibration of a pH meter: slope [% of Nernst], offset [mV], pH of the buffers, temperature [degC], time."""

    name: str
    instrument: str
    slope_pct: Decimal | None = None
    offset_mv: Decimal | None = None
    buffers: tuple[Decimal, ...] = ()
    temp_c: Decimal | None = None
    at: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Flag:
    """Something suspect in a reading itself: a stable code and words."""

    code: str
    words: str


def flags(
    reading: Reading,
    method: Method | None,
    instrument: Instrument | None = None,
    calibration: Calibration | None = None,
    windows: Sequence[AgeWindow] | None = None,
) -> tuple[Flag, ...]:
    """What is suspect in a reading itself, by rule.

    Another spindle, speed or container than the method's is no flag: that is comparability.

    Parameters
    ----------
    reading : Reading           The reading.
    method : Method             Its tolerances; None where the reading has no named method.
    instrument : Instrument     Its spindle constants.
    calibration : Calibration   The one the reading names.
    windows : sequence          Age windows; the kit's when omitted.

    Returns
    -------
    tuple of Flag   Codes: reading.torque_high, reading.torque_low, reading.constant, reading.temperature,
                    reading.age_clock, calibration.slope, calibration.offset, calibration.bracket,
                    calibration.other_instrument,
                    calibration.after_reading.
    """
    found = [
        *_torque(reading, method),
        *_constant(reading, method, instrument),
        *_temperature(reading, method),
        *_age_clock(reading, windows),
    ]
    if calibration is not None:
        found += [
            *_calibration_limits(calibration, method),
            *_bracket(reading, calibration),
            *_whose_and_when(reading, calibration),
        ]
    return tuple(found)


def missing_conditions(reading: Reading, method: Method | None) -> tuple[str, ...]:
    """Conditions that the method needs and that were not recorded, as words: "spindle", "reading time", "age" ..."""
    names = [CONDITION_WORDS[need] for need in needed(method) if _absent(getattr(reading, CONDITIONS[need]))]
    if not reading.method:
        names.insert(0, "method")
    return (*names, *(["age"] if reading.age_h is None and reading.age_typed_h is None else []))


def needed(method: Method | None) -> tuple[str, ...]:
    """The conditions a method needs, its temperature included where it fixes one."""
    if method is None:
        return ()
    return (*method.needs, *(["temp"] if method.temp_c is not None and "temp" not in method.needs else []))


def usable(reading: Reading, flags: Iterable[Flag]) -> bool:
    """Whether a reading may enter a mean: it says something, was not voided and carries no flag."""
    return not reading.void and not tuple(flags) and (reading.value is not None or bool(reading.text))


def implied_constant(reading: Reading) -> Decimal | None:
    """K = value x rpm / torque of a viscosity reading, or None where a part is missing. [mPa.s rpm / %]"""
    value = viscosity_mpa_s(reading)
    if value is None or reading.rpm is None or not reading.torque_pct:
        return None
    return value * reading.rpm / reading.torque_pct


def viscosity_mpa_s(reading: Reading) -> Decimal | None:
    """The value of a viscosity reading. [mPa.s]"""
    if reading.value is None or not reading.unit or same_unit(reading.unit, "mPa.s"):
        return reading.value
    return read(f"{plain(reading.value)} {reading.unit}", "mPa*s", where=reading.title)


def constant_words(reading: Reading, instrument: Instrument, tolerance_pct: Decimal) -> str:
    """What the constant check says of a reading; empty where it cannot be made."""
    known, implied = instrument.constants.get(reading.spindle), implied_constant(reading)
    if known is None or implied is None:
        return ""
    told = f"value x rpm / torque = {_short(implied)}, {instrument.name} with {reading.spindle} has {_short(known)}"
    if _constant_agrees(implied, known, tolerance_pct):
        return f"{told}: consistent, not proven (a wrong spindle fitted and typed alike would not show)."
    value = known * reading.torque_pct / reading.rpm
    return (
        f"{told}: torque and speed imply {_short(value)} mPa.s. Value, torque, speed or spindle was mistyped, or "
        "another spindle was fitted."
    )


CONDITION_WORDS = {
    "instrument": "instrument",
    "calibration": "calibration",
    "spindle": "spindle",
    "rpm": "speed",
    "torque_pct": "torque",
    "reading_time": "reading time",
    "container": "container",
    "temp": "temperature",
    "storage": "storage",
    "sample": "sample",
}


def _torque(reading: Reading, method: Method | None) -> Iterable[Flag]:
    torque = reading.torque_pct
    if torque is None or method is None:
        return
    if method.torque_high is not None and torque > method.torque_high:
        yield Flag(
            "reading.torque_high",
            f"The torque of {plain(torque)} % is above {plain(method.torque_high)} % of full scale: the reading is "
            "over range. Read again with a smaller spindle or a lower speed.",
        )
    if method.torque_low is not None and torque < method.torque_low:
        yield Flag(
            "reading.torque_low",
            f"The torque of {plain(torque)} % is below {plain(method.torque_low)} % of full scale, where the "
            "instrument's error is large. Read again with a larger spindle or a higher speed.",
        )


def _constant(reading: Reading, method: Method | None, instrument: Instrument | None) -> Iterable[Flag]:
    if method is None or instrument is None or method.constant_tolerance_pct is None:
        return
    known, implied = instrument.constants.get(reading.spindle), implied_constant(reading)
    if (
        known is not None
        and implied is not None
        and not _constant_agrees(implied, known, method.constant_tolerance_pct)
    ):
        words = constant_words(reading, instrument, method.constant_tolerance_pct)
        yield Flag("reading.constant", upper_first(words))


def _constant_agrees(implied: Decimal, known: Decimal, tolerance_pct: Decimal) -> bool:
    return abs(implied - known) <= known * tolerance_pct / 100


def _temperature(reading: Reading, method: Method | None) -> Iterable[Flag]:
    if method is None or method.temp_c is None or method.temp_tolerance_c is None or reading.temp_c is None:
        return
    off = abs(reading.temp_c - method.temp_c)
    if off > method.temp_tolerance_c:
        corrected = (
            f" {plain(off)} degC off, and nothing is corrected: that would hold within 3 degC only, with a slope "
            "measured on this product."
            if method.rotational
            else ""
        )
        yield Flag(
            "reading.temperature",
            f"Read at {plain(reading.temp_c)} degC; {method.name} asks for {plain(method.temp_c)} ± "
            f"{plain(method.temp_tolerance_c)} degC.{corrected} Read again at that temperature.",
        )


def _age_clock(reading: Reading, windows: Sequence[AgeWindow] | None) -> Iterable[Flag]:
    typed, clock = reading.age_typed_h, reading.age_h
    if typed is None or clock is None:
        return
    window = nearest_window(typed, windows) or closest_window(typed, windows)
    if window is not None and abs(typed - clock) > window.tolerance_h:
        yield Flag(
            "reading.age_clock",
            f"The age was typed as {_short(typed)} h, but by the clock the batch was {_short(clock)} h old "
            f"(more than the {window} window apart). Correct the time or the age.",
        )


def _calibration_limits(calibration: Calibration, method: Method | None) -> Iterable[Flag]:
    if method is None:
        return
    for code, word, value, unit, low, high in (
        ("calibration.slope", "slope", calibration.slope_pct, "%", method.slope_low, method.slope_high),
        ("calibration.offset", "offset", calibration.offset_mv, "mV", method.offset_low, method.offset_high),
    ):
        if value is not None and ((low is not None and value < low) or (high is not None and value > high)):
            yield Flag(
                code,
                f"Calibration {calibration.name} has a {word} of {plain(value)} {unit}; {method.name} accepts "
                f"{_range(low, high)} {unit}. Clean or change the electrode, calibrate and read again.",
            )


def _bracket(reading: Reading, calibration: Calibration) -> Iterable[Flag]:
    if reading.value is None or not calibration.buffers:
        return
    low, high = min(calibration.buffers), max(calibration.buffers)
    if len(set(calibration.buffers)) < 2 or not low <= reading.value <= high:
        listed = " and ".join(plain(buffer) for buffer in calibration.buffers)
        yield Flag(
            "calibration.bracket",
            f"The buffers of {calibration.name} ({listed}) do not bracket {plain(reading.value)}. "
            "Calibrate with one below and one above, and read again.",
        )


def _whose_and_when(reading: Reading, calibration: Calibration) -> Iterable[Flag]:
    if reading.instrument and calibration.instrument and reading.instrument != calibration.instrument:
        yield Flag(
            "calibration.other_instrument",
            f"Calibration {calibration.name} is of {calibration.instrument}, the reading of "
            f"{reading.instrument}. Name the calibration of the instrument that was used.",
        )
    made, read_at = _time(calibration.at), _time(reading.measured_at)
    if made is not None and read_at is not None and _is_later(made, read_at):
        yield Flag(
            "calibration.after_reading",
            f"Calibration {calibration.name} was made ({calibration.at}) after the reading "
            f"({reading.measured_at}). Name the one that was in force.",
        )


def _time(text: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if text else None
    except ValueError:
        return None


def _is_later(one: datetime, other: datetime) -> bool:
    """Whether `one` is later; times of which only one knows its offset cannot be ordered."""
    return (one.tzinfo is None) == (other.tzinfo is None) and one > other


def _range(low: Decimal | None, high: Decimal | None) -> str:
    if low is None or high is None:
        return f"at most {plain(high)}" if high is not None else f"at least {plain(low)}"
    return f"{plain(low)} to {plain(high)}"


def _absent(value: object) -> bool:
    return value is None or value == ""


def _short(value: Decimal) -> str:
    """At most four significant figures, written out."""
    return plain(Decimal(format(value, ".4g")).normalize() + 0)
