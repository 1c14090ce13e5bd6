"""What temperature did the batch have when something was added? Read between the logged temperatures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.science.cooling_forecast import read_log
from kit.show import Worded

_THERMOMETER_C = 0.3  # standard deviation of a reading, where nothing else is said; own estimate
_EXTRAPOLATED_MIN = 5.0  # further beyond the log than this no temperature is given


@dataclass(frozen=True, slots=True, repr=False)
class AdditionTemperature(Worded):
    """The temperature at an addition.

    Parameters
    ----------
    minutes : float              When it went in. [min]
    temp_c : float               None where the log does not tell. [degC]
    low_c, high_c : float        Nine times in ten. [degC]
    how : str                    "read", "between two readings", "beyond the log" or "not known".
    gap_min : float              Between the two readings it rests on, or to the nearest one. [min]
    """

    minutes: float
    temp_c: float | None
    low_c: float | None
    high_c: float | None
    how: str
    gap_min: float | None

    @property
    def words(self) -> str:
        """The temperature with its ends and how it is known."""
        if self.temp_c is None:
            return f"at {self.minutes:g} min: {self.how}"
        return f"at {self.minutes:g} min: {self.temp_c:.1f} °C ({self.low_c:.1f} to {self.high_c:.1f}), {self.how}"


def temperatures_at(
    times_min: Sequence[float],
    temps_c: Sequence[float],
    additions_min: Sequence[float],
    ambient_c: float | None = None,
    thermometer_sd_c: float = _THERMOMETER_C,
) -> tuple[AdditionTemperature, ...]:
    """Temperatures of the batch at the moments of its additions.

    Parameters
    ----------
    times_min, temps_c : sequence of float   The log, times rising, two readings or more. [min, degC]
    additions_min : sequence of float        On the same clock. [min]
    ambient_c : float                        Of the surroundings; taken as 21 where not known, which matters little
                                             between two readings. [degC]
    thermometer_sd_c : float                 Standard deviation of a reading. [degC]

    Raises
    ------
    KitError   `cooling.readings`.

    Notes
    -----
    Between two readings the batch follows Newton's law. It cannot be off by more than the two readings apart: the
    interval counts a quarter of the curve's sag and the thermometer. Beyond the log, up to five minutes, the last two
    readings are carried on; further, nothing is said.
    """
    log = read_log(times_min, temps_c, ambient_c, 1.0, None, 1.0)
    if len(log.times_min) < 2:
        return tuple(AdditionTemperature(float(at), None, None, None, "not known", None) for at in additions_min)
    start = float(times_min[0])
    room = min(21.0 if ambient_c is None else ambient_c, float(log.temps_c.min()) - 1.0)
    return tuple(
        _one(log.times_min, log.temps_c, float(at) - start, room, thermometer_sd_c, start) for at in additions_min
    )


def _one(times, temps, at, room, sd, start) -> AdditionTemperature:
    exact = np.flatnonzero(np.abs(times - at) < 1e-9)
    if len(exact):
        temp = float(temps[exact[0]])
        return AdditionTemperature(at + start, temp, temp - 1.645 * sd, temp + 1.645 * sd, "read", 0.0)
    if times[0] < at < times[-1]:
        right = int(np.searchsorted(times, at))
        how, gap = "between two readings", float(times[right] - times[right - 1])
    else:
        beyond = float(times[0] - at if at < times[0] else at - times[-1])
        if beyond > _EXTRAPOLATED_MIN:
            return AdditionTemperature(at + start, None, None, None, "not known", beyond)
        right = 1 if at < times[0] else len(times) - 1
        how, gap = "beyond the log", beyond
    return _carried(times, temps, right, at, room, sd, how, gap, start)


def _carried(times, temps, right, at, room, sd, how, gap, start) -> AdditionTemperature:
    """Newton's law through two readings, and how far it may be off."""
    share = float((at - times[right - 1]) / (times[right] - times[right - 1]))
    before, after = float(temps[right - 1] - room), float(temps[right] - room)
    temp = room + math.exp((1 - share) * math.log(before) + share * math.log(after))
    straight = temps[right - 1] + share * (temps[right] - temps[right - 1])
    reading = sd * math.sqrt((1 - share) ** 2 + share**2)
    uneven = abs(before - after) * (share * (1 - share) * 0.5 if how == "between two readings" else abs(share) * 0.3)
    spread = 1.645 * math.hypot(reading, uneven / 1.645, temp - float(straight))
    return AdditionTemperature(at + start, temp, temp - spread, temp + spread, how, gap)
