"""How a vessel cools: Newton's law, faster the hotter it is and by its vapour, slower while the network sets.

c curves at once; each has a row of parameters, as `NAMES` orders them, then two for every change of conditions. The
law is solved backwards, time from temperature: that is a plain integral, and a change of the rate only stretches the
clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NAMES = ("ln_rate", "start_c", "ambient_c", "excess", "ln_latent_c", "setting_c", "ln_width_c", "vapour")
"""Rate constant [ln 1/min, at 40 degC above the surroundings]; temperature at the first reading and of the surroundings
[degC]; excess of the exponent over Newton's 1 [-]; latent heat over heat capacity [ln degC]; setting temperature
[degC]; half-width of the setting [ln degC]; share of the heat that leaves with vapour, at 40 degC above the
surroundings [-]. After them, a change each: ln of the factor on the rate [-], its time [min]."""
RATE, START, AMBIENT, EXCESS, LATENT, SETTING, WIDTH, VAPOUR = range(len(NAMES))
REFERENCE_C = 40.0
"""Temperature above the surroundings at which the rate constant holds. [degC]"""
NEAREST_C = 1.5
"""Nearer to the surroundings than this the curve goes on as Newton's. [degC]"""
CELLS = 96
_DAMP = 0.5  # relative humidity of the room
_MAGNUS_C = 243.04
_COLDEST_C = -60.0  # below, the formula for the vapour pressure means nothing


@dataclass(frozen=True, slots=True)
class Curves:
    """Cooling curves, tabled: `clock` is the stretched time k t, `depth` ln(T - ambient).

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then ln of the factor and the time [min] of every change.
    depth : array, (c, g)        Falling, evenly spaced. [ln degC]
    clock : array, (c, g)        Rising from zero. [-]
    unset : array, (c, g)        Share of the network that has not set. [-]
    owed : array, (c, g - 1)     Clock in each cell for the setting of the whole network. [-]
    """

    parameters: np.ndarray
    depth: np.ndarray
    clock: np.ndarray
    unset: np.ndarray
    owed: np.ndarray

    def places(self, times_min: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where in the flattened table minutes after the first reading lie; below its end the last cell is carried on.

        Parameters
        ----------
        times_min : array, (n,)   [min]

        Returns
        -------
        tuple of array, (c, n)   Number of the lower corner of the cell, and the share of the cell left behind. [-]
        """
        wanted = clock_at(self.parameters, times_min)
        rows, corners = self.clock.shape
        stride = float(self.clock[:, -1].max() + abs(wanted).max() + 1)
        offset = stride * np.arange(rows)[:, None]
        first = corners * np.arange(rows)[:, None]
        lower = np.searchsorted((self.clock + offset).ravel(), (wanted + offset).ravel()).reshape(wanted.shape)
        lower = np.clip(lower, first + 1, first + corners - 1)
        clock = self.clock.ravel()
        left = clock[lower - 1]
        return lower, (wanted - left) / (clock[lower] - left)

    def temps_c(self, times_min: np.ndarray) -> np.ndarray:
        """Temperatures at minutes after the first reading.

        Parameters
        ----------
        times_min : array, (n,)   [min]

        Returns
        -------
        array, (c, n)   [degC]
        """
        depth = between(self.depth, *self.places(times_min))
        return self.parameters[:, AMBIENT, None] + np.exp(np.minimum(depth, 7.0))

    def minutes_to(self, temp_c: float) -> np.ndarray:
        """Minutes after the first reading at which a temperature is reached; infinite where it never is.

        Parameters
        ----------
        temp_c : float   [degC]

        Returns
        -------
        array, (c,)   Negative for a temperature above the first. [min]
        """
        above = temp_c - self.parameters[:, AMBIENT]
        end = self.depth[:, -1]
        depth = np.log(np.maximum(above, 0.1))
        cells = self.depth.shape[1] - 1
        span = (self.depth[:, 0] - np.maximum(depth, end)) / (self.depth[:, 0] - end) * cells
        cell = np.clip(np.floor(span).astype(int), 0, cells - 1)
        rows = np.arange(len(span))
        left, right = self.clock[rows, cell], self.clock[rows, cell + 1]
        clock = left + (right - left) * (span - cell) + np.maximum(end - depth, 0)
        return np.where(above > 0.1, time_of(self.parameters, clock), np.inf)


class VapourLoss:
    """How much faster an open batch cools by its vapour than the same batch at 40 degC above the surroundings.

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then the changes.
    depth : array, (c, g)        ln(T - ambient). [ln degC]

    Notes
    -----
    V = 1 - s + s e(T) with s the share of vapour and e = 40 (p(T) - p(Ta) / 2) / ((T - Ta) (p(Ta + 40) - p(Ta) / 2)),
    p the vapour pressure of water by the Magnus formula (0.61094 kPa, 17.625, 243.04 degC; from memory, within 2 % of
    `thermophysical.saturation_pressure` up to 90 degC and ten times as quick), the air half saturated.
    """

    def __init__(self, parameters: np.ndarray, depth: np.ndarray) -> None:
        self.share, self.room = parameters[:, VAPOUR, None], parameters[:, AMBIENT, None]
        self.above = np.exp(depth)
        self.driving = _vapour_kpa(self.room + self.above) - _DAMP * _vapour_kpa(self.room)
        self.reference = _vapour_kpa(self.room + REFERENCE_C) - _DAMP * _vapour_kpa(self.room)
        self.relative = REFERENCE_C * self.driving / (self.above * self.reference)
        self.factor = np.maximum(1 - self.share + self.share * self.relative, 0.01)

    @property
    def per_share(self) -> np.ndarray:
        """Derivative of ln V by s; array, (c, g). [-]"""
        return (self.relative - 1) / self.factor

    @property
    def per_ambient(self) -> np.ndarray:
        """Derivative of ln V by Ta where T stays; array, (c, g). [1/degC]"""
        damp = _DAMP * _vapour_slope(self.room)
        grows = 1 / self.above - damp / self.driving - (_vapour_slope(self.room + REFERENCE_C) - damp) / self.reference
        return self.share * self.relative * grows / self.factor


def _vapour_kpa(temp_c: np.ndarray) -> np.ndarray:
    return 0.61094 * np.exp(17.625 - _MAGNUS_C * 17.625 / (np.maximum(temp_c, _COLDEST_C) + _MAGNUS_C))


def _vapour_slope(temp_c: np.ndarray) -> np.ndarray:
    """Of `_vapour_kpa`. [kPa/degC]"""
    return _vapour_kpa(temp_c) * 17.625 * _MAGNUS_C / (np.maximum(temp_c, _COLDEST_C) + _MAGNUS_C) ** 2


def between(table: np.ndarray, lower: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Values between the corners of a table, as `Curves.places` gives them.

    Parameters
    ----------
    table : array, (c, g)    Values at the corners.
    lower : array, (c, n)    Number of the lower corner in the flattened table.
    share : array, (c, n)    Of the cell left behind. [-]
    """
    flat = table.ravel()
    high = flat[lower - 1]
    return high + (flat[lower] - high) * share


def curves(parameters: np.ndarray, lowest_c: float = -np.inf, cells: int = CELLS) -> Curves:
    """Table the curves of these parameters.

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then the changes.
    lowest_c : float             Down to where they are wanted; below, they go on as Newton's. [degC]
    cells : int                  How many steps of the table.

    Notes
    -----
    dT/dt = -k (T - Ta) ((T - Ta) / 40)^n V(T) / (1 + L f'(T)) with f the share not yet set, a logistic curve about the
    setting temperature, and V the loss with vapour, see `VapourLoss`. So k t = integral of (1 + L f') / ((T - Ta)
    ((T - Ta) / 40)^n V) dT. In cells even in ln(T - Ta) the first term is exact for n = 0 without vapour, and the whole
    latent heat is counted however narrow the setting.
    """
    ambient, excess = parameters[:, AMBIENT], parameters[:, EXCESS, None]
    top = np.log(np.maximum(parameters[:, START] - ambient, 2 * NEAREST_C))
    end = np.minimum(np.log(np.maximum(lowest_c - ambient, NEAREST_C)), top - np.log(2))
    depth = top[:, None] + np.linspace(0, 1, cells + 1) * (end - top)[:, None]
    temps = ambient[:, None] + np.exp(depth)
    width = np.exp(parameters[:, WIDTH, None])
    unset = 0.5 * (1 + np.tanh((temps - parameters[:, SETTING, None]) / (2 * width)))
    middle = (depth[:, 1:] + depth[:, :-1]) / 2
    faster = np.exp(-excess * (middle - np.log(REFERENCE_C))) / VapourLoss(parameters, middle).factor
    owed = np.exp(parameters[:, LATENT, None] - middle) * faster
    clock = np.zeros_like(depth)
    steps = (depth[:, :-1] - depth[:, 1:]) * faster + owed * (unset[:, :-1] - unset[:, 1:])
    np.cumsum(steps, axis=1, out=clock[:, 1:])
    return Curves(parameters, depth, clock, unset, owed)


def clock_at(parameters: np.ndarray, times_min: np.ndarray) -> np.ndarray:
    """Stretched time at minutes after the first reading; a change multiplies how fast it runs.

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then the changes in order of time.
    times_min : array, (n,)      [min]

    Returns
    -------
    array, (c, n)   [-]
    """
    rate = np.exp(parameters[:, RATE])
    clock = rate[:, None] * times_min
    for first in range(len(NAMES), parameters.shape[1], 2):
        changed = rate * np.exp(parameters[:, first])
        clock = clock + (changed - rate)[:, None] * np.maximum(times_min - parameters[:, first + 1, None], 0)
        rate = changed
    return clock


def time_of(parameters: np.ndarray, clock: np.ndarray) -> np.ndarray:
    """Minutes after the first reading at a stretched time: the inverse of `clock_at`.

    Parameters
    ----------
    parameters : array, (c, p)   As `NAMES`, then the changes in order of time.
    clock : array, (c,)          [-]

    Returns
    -------
    array, (c,)   [min]
    """
    rate = np.exp(parameters[:, RATE])
    minutes, since_clock, since = clock / rate, np.zeros(len(rate)), np.zeros(len(rate))
    for first in range(len(NAMES), parameters.shape[1], 2):
        since_clock, since = since_clock + rate * (parameters[:, first + 1] - since), parameters[:, first + 1]
        rate = rate * np.exp(parameters[:, first])
        minutes = np.where(clock > since_clock, since + (clock - since_clock) / rate, minutes)
    return minutes
