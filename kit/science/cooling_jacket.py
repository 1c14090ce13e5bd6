"""A batch cooled by a jacket that follows a programme: steps and ramps as the sink instead of the room."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.cooling import CoolingError

_TOUCHING = 1e-9
_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class JacketProgramme:
    """Temperature of the jacket against time, straight between its corners and steady after the last.

    Parameters
    ----------
    times_min : tuple of float   Not falling, from zero; two equal ones make a step. [min]
    temps_c : tuple of float     At each. [degC]

    Raises
    ------
    CoolingError   `cooling.programme`.
    """

    times_min: tuple[float, ...]
    temps_c: tuple[float, ...]

    def __post_init__(self) -> None:
        times, temps = tuple(self.times_min), tuple(self.temps_c)
        ordered = all(before <= after for before, after in itertools.pairwise(times))
        if not times or len(times) != len(temps) or times[0] != 0 or not ordered or not _finite((*times, *temps)):
            raise CoolingError(
                "this jacket programme cannot be followed",
                allowed="a temperature to each time, the times from 0 and not falling",
                code="cooling.programme",
            )

    def pieces(self) -> list[tuple[float, float, float, float]]:
        """Start [min], end [min], temperature at the start [degC] and slope [degC/min] of every piece."""
        made = []
        corners = list(zip(self.times_min, self.temps_c, strict=True))
        for (start, first), (end, last) in itertools.pairwise(corners):
            if end > start:
                made.append((start, end, first, (last - first) / (end - start)))
        return [*made, (*corners[-1][:1], math.inf, corners[-1][1], 0.0)]


def _finite(values: Sequence[float]) -> bool:
    return all(math.isfinite(value) for value in values)


def jacketed_temp_c(minutes: float, start_c: float, rate_per_min: float, jacket: JacketProgramme) -> float:
    """Temperature of the batch. [degC]

    Parameters
    ----------
    minutes : float             After the start, not negative. [min]
    start_c : float             Of the batch at the start. [degC]
    rate_per_min : float        Rate constant against the jacket, U A / C. [1/min]
    jacket : JacketProgramme    The sink.

    Notes
    -----
    Exact on every piece of dT/dt = -k (T - Tj), Tj = a + b t: T - Tj + b / k falls as exp(-k t). Losses to the room and
    the heat of setting are not counted.
    """
    temp = start_c
    for start, end, first, slope in jacket.pieces():
        if minutes <= start:
            break
        temp = _on_piece(min(end, minutes) - start, temp, rate_per_min, first, slope)
    return temp


def _on_piece(elapsed: float, temp: float, rate: float, first: float, slope: float) -> float:
    lag = slope / rate
    return first + slope * elapsed - lag + (temp - first + lag) * math.exp(-rate * elapsed)


def jacketed_minutes(target_c: float, start_c: float, rate_per_min: float, jacket: JacketProgramme) -> float:
    """Minutes until the batch first cools to a temperature; infinite where the programme never brings it there. [min]

    Parameters
    ----------
    target_c : float            Below the start. [degC]
    start_c : float             Of the batch at the start. [degC]
    rate_per_min : float        Rate constant against the jacket. [1/min]
    jacket : JacketProgramme    The sink.

    Raises
    ------
    CoolingError   `cooling.rate`.
    """
    if not (rate_per_min > 0 and math.isfinite(rate_per_min)):
        raise CoolingError(f"a rate constant of {rate_per_min} per minute is none", code="cooling.rate")
    if start_c <= target_c:
        return 0.0
    temp = start_c
    for start, end, first, slope in jacket.pieces():
        reached = _within_piece(target_c, temp, rate_per_min, end - start, first, slope)
        if reached is not None:
            return start + reached
        if math.isfinite(end):
            temp = _on_piece(end - start, temp, rate_per_min, first, slope)
    return math.inf


def _within_piece(target: float, temp: float, rate: float, length: float, first: float, slope: float) -> float | None:
    """Minutes into the piece at which it first cools to the target."""
    if slope == 0:
        minutes = -math.log((target - first) / (temp - first)) / rate if target > first < temp else math.inf
        return minutes if minutes <= length + _TOUCHING else None
    end = _lowest(temp, rate, length, first, slope)
    if _on_piece(end, temp, rate, first, slope) > target:
        return None
    warm, cool = 0.0, end  # it falls all the way to its lowest: half and half again, to the last digit
    for _ in range(_HALVINGS):
        middle = (warm + cool) / 2
        if _on_piece(middle, temp, rate, first, slope) > target:
            warm = middle
        else:
            cool = middle
    return cool


def _lowest(temp: float, rate: float, length: float, first: float, slope: float) -> float:
    """Minutes into the piece at which the batch is coldest: its end, or where a warming jacket turns it round."""
    lead = temp - first + slope / rate
    if slope > 0 and lead > 0:
        turn = math.log(lead * rate / slope) / rate
        return min(max(turn, 0.0), length)
    return length
