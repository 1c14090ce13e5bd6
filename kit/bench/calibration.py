"""A calibration of a pH meter, the check that closes it, and what it makes suspect in the readings that name it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import lru_cache

from kit.bench.flag import Flag
from kit.bench.methods import Method
from kit.science.electrode import ElectrodeCalibration, bracketed, calibrate_electrode
from kit.show import Fielded, Table, Worded
from kit.sources import read_data
from kit.units import plain

NOT_RECORDED = "not recorded"
_STRAIGHT = 2  # so many buffers lie on a straight line whatever they read

BOTTLE = "bottle"
"""Name of the table that a bottle of buffer has on its own label."""


@dataclass(frozen=True, slots=True, repr=False)
class ClosingCheck(Fielded):
    """A buffer read again after a run: what its table says, what the meter showed, when.

    `buffer` and `read` [pH]; `temp_c` [degC]; `entry` is its number in the calibration's stream; `void` the reason it
    was voided.
    """

    buffer: Decimal
    read: Decimal
    at: str | None = None
    temp_c: Decimal | None = None
    entry: int = 0
    note: str = ""
    void: str = ""

    @property
    def off(self) -> Decimal:
        """Shown less what the buffer's table says. [pH]"""
        return self.read - self.buffer

    def within(self, tolerance: Decimal) -> bool:
        """Whether the buffer came back within a tolerance, the limit itself included. [pH]"""
        return abs(self.off) <= tolerance

    def words(self) -> str:
        """The check in words: "4.01 came back as 4.05 (+0.04)"."""
        off = f"{self.off:+f}".replace("-", "−")
        return f"{plain(self.buffer)} came back as {plain(self.read)} ({off})"


@dataclass(frozen=True, slots=True, repr=False)
class Calibration(Worded):
    """A calibration of a pH meter: slope [% of theory], offset [mV], pH of the buffers, temperature [degC], time.

    `millivolts` are those read in the buffers, in their order; empty where only the meter's display was noted. `table`
    says what the pH of the buffers rests on, `buffer_names` the names of primary ones. `closings` are the checks made
    after it, in order of entry.
    """

    name: str
    instrument: str
    slope_pct: Decimal | None = None
    offset_mv: Decimal | None = None
    buffers: tuple[Decimal, ...] = ()
    temp_c: Decimal | None = None
    at: str | None = None
    note: str = ""
    millivolts: tuple[Decimal, ...] = ()
    table: str = ""
    buffer_names: tuple[str, ...] = ()
    closings: tuple[ClosingCheck, ...] = ()

    @property
    def electrode(self) -> ElectrodeCalibration | None:
        """The line through the millivolts; None where they were not noted."""
        if not self.millivolts or self.temp_c is None:
            return None
        numbers = (tuple(float(value) for value in values) for values in (self.millivolts, self.buffers))
        return calibrate_electrode(*numbers, float(self.temp_c))

    @property
    def standing_closings(self) -> tuple[ClosingCheck, ...]:
        """The closing checks that were not voided."""
        return tuple(check for check in self.closings if not check.void)

    def buffer_words(self) -> str:
        """The buffers as used: "4.005 (phthalate, 171.2 mV), 6.865 (phosphate, 7.4 mV)"; empty where none is known."""
        told = []
        for index, buffer in enumerate(self.buffers):
            beside = [self.buffer_names[index]] if self.buffer_names else []
            beside += [f"{plain(self.millivolts[index])} mV"] if self.millivolts else []
            told.append(plain(buffer) + (f" ({', '.join(beside)})" if beside else ""))
        return ", ".join(told)

    def closing_words(self, method: Method | None = None) -> str:
        """The closing checks in words, or that there is none: a note, not a flag.

        Parameters
        ----------
        method : Method   Gives the tolerance; the kit's when None or when it sets none.
        """
        tolerance = closing_tolerance(method)
        told = [
            f"{check.words()}: {'within' if check.within(tolerance) else 'out by more than'} {plain(tolerance)}"
            for check in self.standing_closings
        ]
        return "; ".join(told) or "no closing check"

    def report_table(self, method: Method | None = None) -> Table:
        """The calibration as it stands in a notebook: buffers with their millivolts, slope, offset, zero point, check.

        Parameters
        ----------
        method : Method   Gives the tolerance of the closing check; the kit's when None or when it sets none.

        Returns
        -------
        Table   What was not noted is not recorded; it is never a zero.
        """
        rows = [*self._buffer_rows(), *self._line_rows(), ("closing check", self.closing_words(method))]
        rows += [("note", self.note)] if self.note else []
        title = f"Calibration {self.name} of {self.instrument}"
        return Table(("item", "entry"), rows, title=f"{title}, {self.at}" if self.at else title)

    def _buffer_rows(self) -> Iterable[tuple[str, str]]:
        for index, buffer in enumerate(self.buffers):
            named = f" ({self.buffer_names[index]})" if self.buffer_names else ""
            read = f"{_signed(self.millivolts[index])} mV" if self.millivolts else "millivolts not recorded"
            yield f"buffer {plain(buffer)}{named}", read
        if not self.buffers:
            yield "buffers", NOT_RECORDED
        if self.table:
            yield "pH of the buffers from", "the label of the bottle" if self.table == BOTTLE else self.table
        yield "temperature", NOT_RECORDED if self.temp_c is None else f"{plain(self.temp_c)} °C"

    def _line_rows(self) -> Iterable[tuple[str, str]]:
        yield "slope", NOT_RECORDED if self.slope_pct is None else f"{plain(self.slope_pct)} % of theory"
        yield "offset at pH 7", NOT_RECORDED if self.offset_mv is None else f"{_signed(self.offset_mv)} mV"
        line = self.electrode
        yield "zero point", f"pH {line.zero_point_ph:.2f}" if line else "not known without millivolts"
        if line and len(self.buffers) > _STRAIGHT:
            yield "buffer farthest off the line", f"{line.largest_residual_ph:.3f} pH"

    def __str__(self) -> str:
        return str(self.report_table())

    def _repr_html_(self) -> str:
        return self.report_table()._repr_html_()


def closing_tolerance(method: Method | None = None) -> Decimal:
    """How far a buffer may be off when it is read again after the run, by the method or by common practice. [pH]"""
    if method is not None and method.closing_tolerance is not None:
        return method.closing_tolerance
    return _common_closing_tolerance()


def calibration_flags(
    calibration: Calibration,
    method: Method | None,
    *,
    value: Decimal | None,
    instrument: str = "",
    measured_at: str | None = None,
) -> Iterable[Flag]:
    """What a calibration makes suspect in a reading that names it.

    Parameters
    ----------
    calibration : Calibration   The calibration.
    method : Method             Windows of slope and offset, age limit; None where the reading has no named one.
    value : Decimal             The pH read; None for a word. [-]
    instrument : str            The meter the reading names.
    measured_at : str           When it was read, ISO 8601.

    Returns
    -------
    iterable of Flag   Codes: calibration.slope, calibration.offset, calibration.bracket, calibration.other_instrument,
                       calibration.after_reading, calibration.age, calibration.closing.
    """
    yield from _limits(calibration, method)
    yield from _bracket(value, calibration)
    yield from _whose(instrument, calibration)
    yield from _when(measured_at, calibration, method)
    yield from _closing(measured_at, calibration, method)


@lru_cache(maxsize=1)
def _common_closing_tolerance() -> Decimal:
    return Decimal(read_data("ph_buffers.toml")["closing_check"]["tolerance"])


def _limits(calibration: Calibration, method: Method | None) -> Iterable[Flag]:
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


def _bracket(value: Decimal | None, calibration: Calibration) -> Iterable[Flag]:
    if value is None or not calibration.buffers:
        return
    if not bracketed(calibration.buffers, value):
        listed = " and ".join(plain(buffer) for buffer in calibration.buffers)
        yield Flag(
            "calibration.bracket",
            f"The buffers of {calibration.name} ({listed}) do not bracket {plain(value)}. "
            "Calibrate with one below and one above, and read again.",
        )


def _whose(instrument: str, calibration: Calibration) -> Iterable[Flag]:
    if instrument and calibration.instrument and instrument != calibration.instrument:
        yield Flag(
            "calibration.other_instrument",
            f"Calibration {calibration.name} is of {calibration.instrument}, the reading of "
            f"{instrument}. Name the calibration of the instrument that was used.",
        )


def _when(measured_at: str | None, calibration: Calibration, method: Method | None) -> Iterable[Flag]:
    age_h = _hours_between(calibration.at, measured_at)
    if age_h is None:
        return
    if age_h < 0:
        yield Flag(
            "calibration.after_reading",
            f"Calibration {calibration.name} was made ({calibration.at}) after the reading "
            f"({measured_at}). Name the one that was in force.",
        )
    elif method is not None and method.calibration_max_age_h is not None and age_h > method.calibration_max_age_h:
        yield Flag(
            "calibration.age",
            f"Calibration {calibration.name} was {age_h:.1f} h old; {method.name} accepts at most "
            f"{plain(method.calibration_max_age_h)} h. Calibrate and read again.",
        )


def _closing(measured_at: str | None, calibration: Calibration, method: Method | None) -> Iterable[Flag]:
    """A reading is suspect when the check before it or the one after it was out: the electrode moved in between."""
    tolerance = closing_tolerance(method)
    for check in _beside(measured_at, calibration.standing_closings):
        if not check.within(tolerance):
            yield Flag(
                "calibration.closing",
                f"In the closing check of {calibration.name} {check.words()}, more than {plain(tolerance)} off. "
                "Clean the electrode, calibrate and read again.",
            )
            return


def _beside(measured_at: str | None, checks: tuple[ClosingCheck, ...]) -> Iterable[ClosingCheck]:
    """For each buffer, its last check before a reading and its first after it; all where the order cannot be told."""
    for buffer in dict.fromkeys(check.buffer for check in checks):
        same = [check for check in checks if check.buffer == buffer]
        hours = [_hours_between(measured_at, check.at) for check in same]
        if None in hours:
            yield from same
            continue
        ends = {
            max((hour for hour in hours if hour < 0), default=None),
            min((hour for hour in hours if hour >= 0), default=None),
        }
        yield from (check for check, hour in zip(same, hours, strict=True) if hour in ends)


def _hours_between(earlier: str | None, later: str | None) -> float | None:
    """Hours from one time to another; None where one is missing or only one of them knows its offset."""
    first, second = _time(earlier), _time(later)
    if first is None or second is None or (first.tzinfo is None) != (second.tzinfo is None):
        return None
    return (second - first).total_seconds() / 3600


def _time(text: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if text else None
    except ValueError:
        return None


def _signed(number: Decimal) -> str:
    """Millivolts with a true minus; zero has no sign."""
    return plain(number).replace("-", "−")


def _range(low: Decimal | None, high: Decimal | None) -> str:
    if low is None or high is None:
        return f"at most {plain(high)}" if high is not None else f"at least {plain(low)}"
    return f"{plain(low)} to {plain(high)}"
