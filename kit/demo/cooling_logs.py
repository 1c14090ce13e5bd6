"""Cooling logs of the invented batches: Newton's law towards the room, slower where the network sets, as typed."""

from __future__ import annotations

import math
from decimal import Decimal

ROOM_C = 22
"""The room on every day of the demo studies. [degC]"""
_FIRST_C, _LAST_C = 75.0, 40.0  # a log is told by the minutes between these
_SETTING_C, _HALF_WIDTH_C = 55.0, 1.2
_STEP_C = 0.01
_TYPED_C = 0.5  # how a bench reads a thermometer while it stirs
_BELOW_MIN = 4  # read once more, that long after 40 degC

Log = tuple[tuple[int, str], ...]


def cooled(first: int, minutes: int, every: int, latent_c: float = 0.0) -> Log:
    """Readings from 75.0 degC to a little below 40.0, to half a degree.

    Parameters
    ----------
    first : int        When it is at 75.0 degC: minutes after the pour. [min]
    minutes : int      From 75.0 to 40.0 degC. [min]
    every : int        Between two readings. [min]
    latent_c : float   Heat that the network gives off at 55 degC, over the heat capacity of the batch. [degC]

    Returns
    -------
    tuple   Minutes after the pour, and the temperature as typed. [min, degC]

    Notes
    -----
    dT/dt = -k (T - 22) / (1 + L f'(T)), f a logistic step of half-width 1.2 degC at 55 degC; k follows from `minutes`.
    """
    clock = _clock(latent_c)
    at = sorted({*range(0, minutes, every), minutes, minutes + _BELOW_MIN})
    pace = next(run for temp_c, run in clock if temp_c <= _LAST_C + _STEP_C / 2) / minutes
    temps = (next(temp_c for temp_c, run in clock if run >= minute * pace) for minute in at)
    return tuple((first + minute, _typed(temp_c)) for minute, temp_c in zip(at, temps, strict=True))


def _clock(latent_c: float) -> list[tuple[float, float]]:
    """Temperatures downwards, and k t since the first. [degC, -]"""
    found, run = [(_FIRST_C, 0.0)], 0.0
    for step in range(round((_FIRST_C - ROOM_C - 5) / _STEP_C)):
        middle = _FIRST_C - (step + 0.5) * _STEP_C
        bell = latent_c / (4 * _HALF_WIDTH_C * math.cosh((middle - _SETTING_C) / (2 * _HALF_WIDTH_C)) ** 2)
        run += (1 + bell) * _STEP_C / (middle - ROOM_C)
        found.append((_FIRST_C - (step + 1) * _STEP_C, run))
    return found


def _typed(temp_c: float) -> str:
    return str(Decimal(str(round(temp_c / _TYPED_C) * _TYPED_C)).quantize(Decimal("0.1")))
