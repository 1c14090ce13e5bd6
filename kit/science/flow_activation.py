"""Apparent activation energy of flow from viscosities at several temperatures, and how well one line describes them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_positive
from kit.show import Worded

GAS_CONSTANT_J_MOL_K = 8.314462618
"""Molar gas constant. [J/(mol·K)]"""

_ZERO_C_IN_K = 273.15
_LEAST = 3


@dataclass(frozen=True, slots=True, repr=False)
class FlowActivation(Worded):
    """A line of log viscosity against one over temperature.

    Parameters
    ----------
    energy_kj_mol : float            Positive where viscosity falls as it gets warmer. [kJ/mol]
    standard_error_kj_mol : float    From the scatter about the line. [kJ/mol]
    log_prefactor : float            ln of the viscosity in mPa·s at infinite temperature. [-]
    worst_misfit : float             Largest distance of a reading from the line, of the line. [-]
    low_c, high_c : float            Temperatures it rests on. [degC]
    """

    energy_kj_mol: float
    standard_error_kj_mol: float
    log_prefactor: float
    worst_misfit: float
    low_c: float
    high_c: float

    def viscosity_mpa_s(self, temp_c: float) -> float:
        """Viscosity on the line, inside its temperatures. [mPa·s]

        Parameters
        ----------
        temp_c : float   [degC]

        Raises
        ------
        KitError   `activation.outside`.
        """
        if not self.low_c <= temp_c <= self.high_c:
            raise KitError(
                f"{temp_c:g} degC lies outside the readings",
                where="viscosity against temperature",
                allowed=f"{self.low_c:g} to {self.high_c:g} degC",
                mend="read at that temperature",
                code="activation.outside",
            )
        return math.exp(self.log_prefactor + 1000 * self.energy_kj_mol / (GAS_CONSTANT_J_MOL_K * _kelvin(temp_c)))

    @property
    def words(self) -> str:
        """What the line is worth."""
        return (
            f"Apparent {short(self.energy_kj_mol)} kJ/mol between {self.low_c:g} and {self.high_c:g} degC, readings "
            f"up to {short(100 * self.worst_misfit, 2)} % off the line. A gel that melts in between has no such number."
        )


def flow_activation(temps_c: Sequence[float], viscosities_mpa_s: Sequence[float]) -> FlowActivation:
    """Apparent activation energy: slope of ln viscosity against 1/(R T), by least squares.

    Parameters
    ----------
    temps_c : sequence, (n,)             At least three different ones. [degC]
    viscosities_mpa_s : sequence, (n,)   Same spindle and speed. [mPa·s]

    Raises
    ------
    KitError   `activation.readings` for fewer than three temperatures or unequal lists; `science.not_positive`.

    Notes
    -----
    Arrhenius; "apparent", as no liquid keeps to it over a wide range: water bends visibly between 10 and 60 degC.
    """
    temps, values = list(temps_c), list(viscosities_mpa_s)
    for temp, value in zip(temps, values, strict=False):
        require_positive("viscosity against temperature", viscosity=value, temperature_in_kelvin=_kelvin(temp))
    if len(temps) != len(values) or len(set(temps)) < _LEAST:
        raise KitError(
            f"{len(temps)} temperatures and {len(values)} viscosities do not give an activation energy",
            where="viscosity against temperature",
            allowed="at least three different temperatures, one viscosity for each",
            mend="read at 20, 25 and 30 degC, down and then up",
            code="activation.readings",
        )
    xs = [1 / (GAS_CONSTANT_J_MOL_K * _kelvin(temp)) for temp in temps]
    ys = [math.log(value) for value in values]
    mean_x, mean_y = math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)
    spread = math.fsum((x - mean_x) ** 2 for x in xs)
    slope = math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    start = mean_y - slope * mean_x
    left = [y - start - slope * x for x, y in zip(xs, ys, strict=True)]
    error = math.sqrt(math.fsum(residual**2 for residual in left) / (len(xs) - 2) / spread)
    worst = max(abs(math.exp(residual) - 1) for residual in left)
    return FlowActivation(slope / 1000, error / 1000, start, worst, min(temps), max(temps))


def _kelvin(temp_c: float) -> float:
    return temp_c + _ZERO_C_IN_K
