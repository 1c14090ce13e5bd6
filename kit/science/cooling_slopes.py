"""How the readings of a cooling curve move with each number of its law; with the shoulder, and by formula without it.

c curves, n readings, p parameters as `kit.science.cooling_law` orders them. The clock C(T) that a curve needs down to T
equals the clock that has run, so dT/dp = (dC/dp - d(clock)/dp) / (-dC/dT).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.science.cooling_law import (
    AMBIENT,
    EXCESS,
    LATENT,
    NAMES,
    RATE,
    REFERENCE_C,
    SETTING,
    START,
    VAPOUR,
    WIDTH,
    VapourLoss,
    between,
    clock_at,
    curves,
)

_CELLS = 40  # of the table from the first reading to the last: half a degree to 2 °C each
_STEP = 1e-4  # of the exponent, for its derivative


@dataclass(frozen=True, slots=True)
class Traces:
    """Curves at the times of the readings.

    Parameters
    ----------
    temps_c : array, (c, n)     [degC]
    slopes : array, (c, n, p)   Derivatives by each parameter. [degC per its unit]
    """

    temps_c: np.ndarray
    slopes: np.ndarray


def traces(parameters: np.ndarray, times_min: np.ndarray, lowest_c: float) -> Traces:
    """The whole law.

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then the changes.
    times_min : array, (n,)      Minutes after the first reading. [min]
    lowest_c : float             Below all readings. [degC]
    """
    table = curves(parameters, lowest_c, _CELLS)
    lower, share = table.places(times_min)
    depth = np.minimum(between(table.depth, lower, share), 7.0)
    slopes = _clock_slopes(parameters, times_min)
    for parameter, steps in _step_slopes(table):
        summed = np.zeros_like(table.clock)
        np.cumsum(steps, axis=1, out=summed[:, 1:])
        slopes[:, :, parameter] += between(summed, lower, share)
    slopes[:, :, START] += _clock_per_degree(parameters, table.depth[:, :1])
    slopes /= _clock_per_degree(parameters, depth)[:, :, None]
    return Traces(parameters[:, AMBIENT, None] + np.exp(depth), slopes)


def _clock_per_degree(parameters: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """-dC/dT at ln(T - Ta). [1/degC]"""
    ambient, setting, width = (
        parameters[:, AMBIENT, None],
        parameters[:, SETTING, None],
        np.exp(parameters[:, WIDTH, None]),
    )
    unset = 0.5 * (1 + np.tanh((ambient + np.exp(depth) - setting) / (2 * width)))
    latent = np.exp(parameters[:, LATENT, None]) * unset * (1 - unset) / width
    faster = np.exp(-parameters[:, EXCESS, None] * (depth - np.log(REFERENCE_C)))
    faster = faster / VapourLoss(parameters, depth).factor
    return (1 + latent) * faster * np.exp(-depth)


def _step_slopes(table) -> list[tuple[int, np.ndarray]]:
    """Derivative of the clock spent in every cell, for the parameters that act along the whole curve."""
    x, unset, owed = table.parameters, table.unset, table.owed
    width = np.exp(x[:, WIDTH, None])
    middle = (table.depth[:, 1:] + table.depth[:, :-1]) / 2
    steps = np.diff(table.clock, axis=1)
    temps = x[:, AMBIENT, None] + np.exp(table.depth)
    bell = unset * (1 - unset) / width
    aside = bell * (temps - x[:, SETTING, None])
    vapour = VapourLoss(x, middle)
    return [
        (AMBIENT, steps * ((1 + x[:, EXCESS, None]) * np.exp(-middle) - vapour.per_ambient)),
        (EXCESS, steps * (np.log(REFERENCE_C) - middle)),
        (VAPOUR, -steps * vapour.per_share),
        (LATENT, owed * (unset[:, :-1] - unset[:, 1:])),
        (SETTING, owed * (bell[:, 1:] - bell[:, :-1])),
        (WIDTH, owed * (aside[:, 1:] - aside[:, :-1])),
    ]


def _clock_slopes(parameters: np.ndarray, times_min: np.ndarray) -> np.ndarray:
    """Less the derivatives of the clock that has run, by rate, factors and times of the changes."""
    made = np.zeros((len(parameters), times_min.shape[-1], parameters.shape[1]))
    rate = np.exp(parameters[:, RATE, None])
    made[:, :, RATE] = -rate * times_min
    for first in range(len(NAMES), parameters.shape[1], 2):
        changed = rate * np.exp(parameters[:, first, None])
        since = np.maximum(times_min - parameters[:, first + 1, None], 0)
        gained = (changed - rate) * since
        made[:, :, RATE] -= gained
        made[:, :, len(NAMES) : first : 2] -= gained[:, :, None]
        made[:, :, first] = -changed * since
        made[:, :, first + 1] = (changed - rate) * (since > 0)
        rate = changed
    return made


def plain_traces(parameters: np.ndarray, times_min: np.ndarray) -> Traces:
    """The law without shoulder and vapour, whatever the parameters say of them.

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then the changes.
    times_min : array, (n,)      Minutes after the first reading. [min]

    Notes
    -----
    With y = (T - Ta) / 40 and the clock c, dy/dc = -y^(1 + n), so y^-n = y0^-n + n c.
    """
    clock = clock_at(parameters, times_min)
    excess = parameters[:, EXCESS, None]
    first = np.log(np.maximum(parameters[:, START, None] - parameters[:, AMBIENT, None], 1.0) / REFERENCE_C)
    depth = _plain_depth(first, excess, clock)
    temps = REFERENCE_C * np.exp(depth)
    fall = temps * np.exp(excess * depth)
    slopes = _clock_slopes(parameters, times_min)
    slopes[:, :, START] += np.exp(-(1 + excess) * first) / REFERENCE_C
    slopes[:, :, AMBIENT] += (np.exp(-(1 + excess) * depth) - np.exp(-(1 + excess) * first)) / REFERENCE_C
    slopes *= fall[:, :, None]
    slopes[:, :, EXCESS] = temps * (_plain_depth(first, excess + _STEP, clock) - depth) / _STEP
    return Traces(parameters[:, AMBIENT, None] + temps, slopes)


def _plain_depth(first: np.ndarray, excess: np.ndarray, clock: np.ndarray) -> np.ndarray:
    """Of y, the logarithm after some clock."""
    run = clock * np.exp(excess * first)
    bent = np.maximum(excess * run, -0.99)
    small = abs(bent) < 1e-8
    return first - run * np.where(small, 1 - bent / 2, np.log1p(bent) / np.where(small, 1.0, bent))
