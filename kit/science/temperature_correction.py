"""Viscosity and temperature: the measured slope of a product, and the correction over at most 3 °C."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError
from kit.show import Worded

_ABSOLUTE_ZERO_C = -273.15

LARGEST_STEP_C = 3.0
"""A correction over more than this is refused: near 30 to 45 °C a gel network changes and the line breaks."""


@dataclass(frozen=True, slots=True, repr=False)
class TemperatureSlope(Worded):
    """ln viscosity = constant + slope x temperature, measured on the product. What is not told is None.

    Parameters
    ----------
    per_c : float, None             Slope of ln viscosity, negative for what thins when warm. [1/°C]
    standard_error_per_c : float, None   [1/°C]
    lowest_c, highest_c : float, None    Between which it was measured. [°C]
    residual_sd : float, None       Scatter about the line, of ln viscosity. [-]
    df : int                        Readings less two.
    reason : str                    Why it is not told.
    """

    per_c: float | None
    standard_error_per_c: float | None
    lowest_c: float | None
    highest_c: float | None
    residual_sd: float | None = None
    df: int = 0
    reason: str = ""

    def __str__(self) -> str:
        if self.per_c is None:
            return f"slope not told: {self.reason}"
        window = f"measured between {self.lowest_c:.3g} and {self.highest_c:.3g} °C"
        return f"{100 * self.per_c:.2f} ± {100 * self.standard_error_per_c:.2f} % per °C, {window}"


@dataclass(frozen=True, slots=True, repr=False)
class CorrectedViscosity(Worded):
    """A viscosity carried to another temperature; always shown beside the raw reading.

    Parameters
    ----------
    raw_mpa_s, raw_c : float         As read. [mPa·s], [°C]
    corrected_mpa_s, at_c : float    At the wanted temperature. [mPa·s], [°C]
    standard_error_mpa_s : float     What the slope's own error adds; the reading's is not in it. [mPa·s]
    flag : str                       "corrected".
    """

    raw_mpa_s: float
    raw_c: float
    corrected_mpa_s: float
    at_c: float
    standard_error_mpa_s: float
    flag: str = "corrected"

    def __str__(self) -> str:
        return (
            f"{self.corrected_mpa_s:.4g} mPa·s at {self.at_c:.4g} °C, corrected from {self.raw_mpa_s:.4g} mPa·s at "
            f"{self.raw_c:.4g} °C"
        )


def measured_slope(temps_c: Sequence[float], viscosities_mpa_s: Sequence[float]) -> TemperatureSlope:
    """The slope of ln viscosity on temperature, from readings of one product at three temperatures or more.

    Parameters
    ----------
    temps_c : sequence, (n,)             [°C]
    viscosities_mpa_s : sequence, (n,)   Read the same way. [mPa·s]

    Returns
    -------
    TemperatureSlope   Without a slope below three temperatures, or where its standard error is as large as itself.

    Raises
    ------
    KitError   `viscosity.temperature_readings` for lists of different length.
    """
    temps, logs, reason = _logarithms(temps_c, viscosities_mpa_s)
    if reason:
        return TemperatureSlope(None, None, None, None, reason=reason)
    slope, error, residuals = _line(temps, logs)
    df = temps.size - 2
    scatter = math.sqrt(float(residuals @ residuals) / df)
    told = (float(temps.min()), float(temps.max()), scatter, df)
    if error >= abs(slope):
        return TemperatureSlope(None, None, *told, reason="its standard error is as large as itself")
    return TemperatureSlope(slope, error, *told)


def correct_viscosity(
    viscosity_mpa_s: float, read_at_c: float, slope: TemperatureSlope | None, wanted_c: float = 25.0
) -> CorrectedViscosity:
    """Carry a viscosity over a few degrees with the slope measured on the product.

    Parameters
    ----------
    viscosity_mpa_s : float       As read. [mPa·s]
    read_at_c : float             [°C]
    slope : TemperatureSlope      Measured on this product; None is refused.
    wanted_c : float              [°C]

    Raises
    ------
    KitError   `viscosity.temperature` for more than 3 °C, for a temperature outside those of the slope, or without a
               measured slope; `viscosity.temperature_readings` for a reading that is no viscosity.

    Notes
    -----
    The limit of 3 °C is common practice, no source.
    """
    if not (
        math.isfinite(viscosity_mpa_s) and viscosity_mpa_s > 0 and math.isfinite(read_at_c) and math.isfinite(wanted_c)
    ):
        raise KitError(
            f"{viscosity_mpa_s} mPa·s at {read_at_c} °C is no reading of a viscosity",
            where="temperature correction",
            allowed="a viscosity above zero and a temperature",
            mend="read it again",
            code="viscosity.temperature_readings",
        )
    refused = _refused(read_at_c, slope, wanted_c)
    if refused:
        raise KitError(
            f"{viscosity_mpa_s:.4g} mPa·s at {read_at_c:.4g} °C is not corrected to {wanted_c:.4g} °C: {refused}",
            where="temperature correction",
            allowed=f"at most {LARGEST_STEP_C:.0f} °C, within the temperatures of a slope measured on the product",
            mend=f"bring the sample to {wanted_c:.4g} °C and read it again",
            code="viscosity.temperature",
        )
    step = wanted_c - read_at_c
    corrected = viscosity_mpa_s * temperature_factor(slope.per_c, step)
    error = corrected * abs(step) * slope.standard_error_per_c
    return CorrectedViscosity(float(viscosity_mpa_s), float(read_at_c), corrected, float(wanted_c), error)


def temperature_factor(per_c: float, step_c: float) -> float:
    """What a viscosity is multiplied with for a step in temperature: exp(slope x step). [-]

    Parameters
    ----------
    per_c : float    Slope of ln viscosity. [1/°C]
    step_c : float   Wanted temperature less that of the reading. [°C]
    """
    return math.exp(per_c * step_c)


def _logarithms(temps_c: Sequence[float], viscosities_mpa_s: Sequence[float]) -> tuple[np.ndarray, np.ndarray, str]:
    """Temperatures, logarithms of the viscosities, and why they tell no line."""
    temps, read = np.array(temps_c, dtype=float), np.array(viscosities_mpa_s, dtype=float)
    if temps.ndim != 1 or temps.shape != read.shape:
        raise KitError(
            f"{temps.size} temperatures and {read.size} readings do not fit together",
            where="viscosity over temperature",
            allowed="one reading for each temperature",
            mend="leave out what is missing on one side",
            code="viscosity.temperature_readings",
        )
    if not np.isfinite(temps).all() or (temps <= _ABSOLUTE_ZERO_C).any():
        return temps, read, "a temperature is not a number"
    if not np.isfinite(read).all() or (read <= 0).any():
        return temps, read, "a reading is not a viscosity above zero"
    count = np.unique(temps).size
    return temps, np.log(read), "" if count >= 3 else f"read at {count} temperatures; at least three are needed"


def _line(x: np.ndarray, y: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Slope of a straight line by least squares, its standard error, and what is left (read less line)."""
    offset = x - x.mean()
    spread = float(offset @ offset)
    slope = float(offset @ y) / spread
    residuals = y - y.mean() - slope * offset
    return slope, math.sqrt(float(residuals @ residuals) / (x.size - 2) / spread), residuals


def _refused(read_at_c: float, slope: TemperatureSlope | None, wanted_c: float) -> str:
    if abs(wanted_c - read_at_c) > LARGEST_STEP_C + 1e-9:
        return f"{abs(wanted_c - read_at_c):.3g} °C is too far"
    if slope is None:
        return "no slope was measured on this product"
    if slope.per_c is None:
        return f"the slope is not told: {slope.reason}"
    low, high = min(read_at_c, wanted_c), max(read_at_c, wanted_c)
    if low < slope.lowest_c - 1e-9 or high > slope.highest_c + 1e-9:
        return f"the slope was measured between {slope.lowest_c:.3g} and {slope.highest_c:.3g} °C only"
    return ""
