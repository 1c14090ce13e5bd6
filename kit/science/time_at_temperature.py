"""How much heat did a sensitive line see? Minutes above a temperature, and hours at 25 degC that would do the same."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.water_ionisation import ZERO_CELSIUS_K
from kit.show import Worded

GAS_CONSTANT_J_MOL_K = 8.314462618  # CODATA 2018, exact
_STEPS = 200  # Simpson's rule on each straight piece: the error is below 1e-6 of the integral for 30 degC a piece


@dataclass(frozen=True, slots=True, repr=False)
class Exposure(Worded):
    """Heat seen, as time at a steady temperature that would do the same to a first-order loss.

    Parameters
    ----------
    hours : float                       At the reference temperature. [h]
    reference_c : float                 [degC]
    activation_energy_kj_mol : float    What it was reckoned with. [kJ/mol]
    """

    hours: float
    reference_c: float
    activation_energy_kj_mol: float

    @property
    def words(self) -> str:
        """The value with what it rests on."""
        energy, reference = f"{self.activation_energy_kj_mol:g} kJ/mol", f"{self.reference_c:g} °C"
        return f"as {self.hours:.3g} h at {reference}, with an activation energy of {energy}: for ranking, not a loss"


def minutes_above(times_min: Sequence[float], temps_c: Sequence[float], limit_c: float) -> float:
    """Minutes above a temperature, the log taken as straight between its readings. [min]

    Parameters
    ----------
    times_min, temps_c : sequence of float   The log, times rising. [min, degC]
    limit_c : float                          [degC]

    Raises
    ------
    KitError   `exposure.log`.
    """
    total = 0.0
    for gap, before, after in _pieces(times_min, temps_c):
        high, low = max(before, after), min(before, after)
        if low >= limit_c:
            total += gap if high > limit_c else 0.0
        elif high > limit_c:
            total += gap * (high - limit_c) / (high - low)
    return total


def degree_minutes_above(times_min: Sequence[float], temps_c: Sequence[float], limit_c: float) -> float:
    """Area between the log and a temperature, where the log is above it. [degC min]

    Parameters
    ----------
    times_min, temps_c : sequence of float   The log, times rising. [min, degC]
    limit_c : float                          [degC]

    Raises
    ------
    KitError   `exposure.log`.
    """
    total = 0.0
    for gap, before, after in _pieces(times_min, temps_c):
        high, low = max(before, after) - limit_c, min(before, after) - limit_c
        if low >= 0:
            total += gap * (high + low) / 2
        elif high > 0:
            total += gap * high * high / (high - low) / 2
    return total


def acceleration(temp_c: float, activation_energy_kj_mol: float, reference_c: float = 25.0) -> float:
    """How many times faster than at the reference temperature, by Arrhenius. [-]

    Parameters
    ----------
    temp_c : float                     [degC]
    activation_energy_kj_mol : float   [kJ/mol]
    reference_c : float                [degC]

    Notes
    -----
    exp(E / R (1 / T_ref - 1 / T)), T in kelvin.
    """
    inverse = 1 / (reference_c + ZERO_CELSIUS_K) - 1 / (temp_c + ZERO_CELSIUS_K)
    return math.exp(activation_energy_kj_mol * 1000 / GAS_CONSTANT_J_MOL_K * inverse)


def equivalent_exposure(
    times_min: Sequence[float],
    temps_c: Sequence[float],
    activation_energy_kj_mol: float,
    reference_c: float = 25.0,
) -> Exposure:
    """Hours at the reference temperature that do the same as the log, by Arrhenius.

    Parameters
    ----------
    times_min, temps_c : sequence of float   The log, times rising. [min, degC]
    activation_energy_kj_mol : float         Stated by the caller: there is no value for all. [kJ/mol]
    reference_c : float                      [degC]

    Raises
    ------
    KitError   `exposure.log`, `exposure.energy`.

    Notes
    -----
    For a loss of first order with one activation energy; 60 to 100 kJ/mol are usual for organic substances (from
    memory). It ranks additions; it is no forecast of a loss.
    """
    if not 0 < activation_energy_kj_mol < math.inf:
        raise KitError(
            f"an activation energy of {activation_energy_kj_mol} kJ/mol is none",
            where="time at temperature",
            allowed="a number above 0, usually 60 to 100",
            mend="state the activation energy",
            code="exposure.energy",
        )
    minutes = 0.0
    for gap, before, after in _pieces(times_min, temps_c):
        rates = [
            acceleration(before + (after - before) * step / _STEPS, activation_energy_kj_mol, reference_c)
            for step in range(_STEPS + 1)
        ]
        minutes += gap * (rates[0] + rates[-1] + 4 * sum(rates[1:-1:2]) + 2 * sum(rates[2:-1:2])) / (3 * _STEPS)
    return Exposure(minutes / 60, reference_c, activation_energy_kj_mol)


def _pieces(times_min: Sequence[float], temps_c: Sequence[float]) -> list[tuple[float, float, float]]:
    """Length [min] and the temperature at both ends [degC] of every straight piece."""
    times, temps = list(map(float, times_min)), list(map(float, temps_c))
    rising = all(before < after for before, after in itertools.pairwise(times))
    if len(times) != len(temps) or len(times) < 2 or not rising or not all(map(math.isfinite, (*times, *temps))):
        raise KitError(
            "this temperature log cannot be added up",
            where="time at temperature",
            allowed="two readings or more, a temperature to each time, the times rising",
            mend="leave out or mend the row",
            code="exposure.log",
        )
    return [(after - before, temps[i], temps[i + 1]) for i, (before, after) in enumerate(itertools.pairwise(times))]
