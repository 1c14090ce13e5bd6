"""A reading is a value with its conditions; a flag says by rule what is suspect in the reading itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from kit.bench.calibration import Calibration, calibration_flags
from kit.bench.exact import upper_first
from kit.bench.flag import Flag
from kit.bench.geometry import SpindleGeometry
from kit.bench.methods import CONDITIONS, AgeWindow, Method, closest_window, methods, nearest_window
from kit.errors import UnitError
from kit.show import Fielded
from kit.sources import read_data
from kit.units import plain, read, same_unit


@dataclass(frozen=True, slots=True, repr=False)
class Reading(Fielded):
    """One reading of one batch. What is not known is None or empty.

    `value` in `unit`, or `text` for a coded word such as "none". `age_h` is computed from the end of making,
    `age_typed_h` is what was typed [h]; `measured_at` is ISO 8601. `temp_c` [degC], `torque_pct` [% of full scale],
    `reading_time_s` [s], `rest_h` at 25 degC before it was
    read [h]. `declared` names the conditions that were declared for a whole file rather than recorded with
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
    rest_h: Decimal | None = None

    @property
    def title(self) -> str:
        """Batch, property and entry, to name it in a sentence."""
        return f"{self.batch}, {self.property}, entry {self.entry}"


@dataclass(frozen=True, slots=True, repr=False)
class Instrument(Fielded):
    """An instrument: kind, division and, for a viscometer, the constant K and the geometry of each spindle.

    value = K x torque / rpm, in mPa.s with torque in % of full scale.
    """

    name: str
    kind: str
    constants: Mapping[str, Decimal] = field(default_factory=dict)
    division: Decimal | None = None
    note: str = ""
    geometry: Mapping[str, SpindleGeometry] = field(default_factory=dict)


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
    tuple of Flag   Codes: reading.torque_high, reading.torque_low, reading.torque_none, reading.speed,
                    reading.constant, reading.temperature, reading.age_clock, and those of
                    `kit.bench.calibration.calibration_flags`.
    """
    found = [
        *_torque(reading, method),
        *_speed(reading),
        *_constant(reading, method, instrument),
        *_temperature(reading, method),
        *_age_clock(reading, windows),
    ]
    if calibration is not None:
        found += calibration_flags(
            calibration,
            method,
            value=reading.value,
            instrument=reading.instrument,
            measured_at=reading.measured_at,
        )
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
    if reading.value is None or reading.rpm is None or not reading.torque_pct:  # only a rotational viscosity has both
        return None
    try:
        return viscosity_mpa_s(reading) * reading.rpm / reading.torque_pct
    except UnitError:  # a value of another kind was typed beside a speed and a torque: the unit is told elsewhere
        return None


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
    "rest": "rested at 25 degC",
    "sample": "sample",
}


def _torque(reading: Reading, method: Method | None) -> Iterable[Flag]:
    torque = reading.torque_pct
    if torque is None:
        return
    low, high = _torque_window(reading, method)
    if high is not None and torque > high:
        yield Flag(
            "reading.torque_high",
            f"The torque of {plain(torque)} % is above {plain(high)} % of full scale: the reading is "
            "over range. Read again with a smaller spindle or a lower speed.",
        )
    if low is not None and torque <= 0:
        yield Flag(
            "reading.torque_none",
            f"The torque of {plain(torque)} % is not above zero: the zero of the instrument or the direction of "
            "turning is wrong, or the spindle does not dip in. Set the zero with the spindle in air and read again.",
        )
    elif low is not None and torque < low:
        yield Flag(
            "reading.torque_low",
            f"The torque of {plain(torque)} % is below {plain(low)} % of full scale, where the "
            "instrument's error is large. Read again with a larger spindle or a higher speed.",
        )


def _torque_window(reading: Reading, method: Method | None) -> tuple[Decimal | None, Decimal | None]:
    """The torque that counts: the method's; where a viscosity names no method, that of the instrument."""
    if method is not None:
        return method.torque_low, method.torque_high
    if not reading.spindle or reading.method:
        return None, None
    window = read_data("viscometer.toml")["accuracy"]["torque"]
    return Decimal(window["low"]), Decimal(window["high"])


def _speed(reading: Reading) -> Iterable[Flag]:
    if reading.rpm is not None and reading.rpm <= 0:
        yield Flag(
            "reading.speed",
            f"A speed of {plain(reading.rpm)} rpm is not above zero: no viscosity belongs to it. Correct the speed.",
        )


def _constant(reading: Reading, method: Method | None, instrument: Instrument | None) -> Iterable[Flag]:
    tolerance = _constant_tolerance(reading, method)
    if instrument is None or tolerance is None:
        return
    known, implied = instrument.constants.get(reading.spindle), implied_constant(reading)
    if known is not None and implied is not None and not _constant_agrees(implied, known, tolerance):
        yield Flag("reading.constant", upper_first(constant_words(reading, instrument, tolerance)))


def _constant_tolerance(reading: Reading, method: Method | None) -> Decimal | None:
    """How far the constant may be off: by the method, or as far as the kit's own allows where none is named. [%]"""
    if method is not None:
        return method.constant_tolerance_pct
    return None if reading.method else methods()["viscosity"].constant_tolerance_pct


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


def _absent(value: object) -> bool:
    return value is None or value == ""


def _short(value: Decimal) -> str:
    """At most four significant figures, written out."""
    return plain(Decimal(format(value, ".4g")).normalize() + 0)
