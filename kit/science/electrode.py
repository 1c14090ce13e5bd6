"""A pH electrode: slope, offset and zero point from buffers in millivolts, and the pH of a sample from its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from kit.errors import KitError
from kit.science.acidbase_systems import GAS_CONSTANT
from kit.science.water_ionisation import ZERO_CELSIUS_K

FARADAY_C_MOL = 96485.33212
"""CODATA 2018. [C/mol]"""

ISOPOTENTIAL_PH = 7.0
"""The pH at which the voltage of a common glass electrode is taken not to move with temperature."""

_SAME_PH = 0.5  # buffers closer than this make a slope out of the noise of the millivolts


@dataclass(frozen=True, slots=True)
class ElectrodeCalibration:
    """The straight line of millivolts on pH through two or three buffers.

    Parameters
    ----------
    slope_mv_per_ph : float           Negative: a more acid sample reads more millivolts. [mV]
    offset_mv : float                 Voltage of the line at pH 7. [mV]
    temp_c : float                    Of the buffers. [degC]
    buffers_ph : tuple of float       Their pH at that temperature. [-]
    residuals_mv : tuple of float     Read less line, buffer by buffer; zero with two buffers, which say nothing about
                                      the straightness. [mV]
    """

    slope_mv_per_ph: float
    offset_mv: float
    temp_c: float
    buffers_ph: tuple[float, ...]
    residuals_mv: tuple[float, ...]

    @property
    def slope_pct(self) -> float:
        """The slope as a share of the theoretical one at the same temperature. [%]"""
        return -100 * self.slope_mv_per_ph / nernst_slope_mv(self.temp_c)

    @property
    def zero_point_ph(self) -> float:
        """The pH at which the electrode reads no voltage. [-]"""
        return ISOPOTENTIAL_PH - self.offset_mv / self.slope_mv_per_ph

    @property
    def largest_residual_ph(self) -> float:
        """How far the buffer that fits worst lies off the line. [pH]"""
        return max(abs(residual) for residual in self.residuals_mv) / abs(self.slope_mv_per_ph)

    def ph(self, millivolts: float, temp_c: float | None = None) -> float:
        """The pH of a sample at its own temperature.

        Parameters
        ----------
        millivolts : float or array   Read in the sample. [mV]
        temp_c : float or array       Of the sample; that of the buffers when None. [degC]

        Returns
        -------
        float or array   [-]

        Notes
        -----
        pH = 7 - (E - E7) / (slope share x theoretical slope at the sample's temperature). This corrects the slope of
        the electrode only: the result is the pH the sample has at that temperature, not the one it would have at 25
        degC.
        """
        slope_mv = self.slope_pct / 100 * nernst_slope_mv(self.temp_c if temp_c is None else temp_c)
        return ISOPOTENTIAL_PH - (millivolts - self.offset_mv) / slope_mv


def nernst_slope_mv(temp_c):
    """The theoretical slope of an electrode, positive. [mV per pH]

    Parameters
    ----------
    temp_c : float or array   [degC]

    Returns
    -------
    float or array   R T ln 10 / F, 59.159 mV at 25 degC.

    Examples
    --------
    >>> round(nernst_slope_mv(25.0), 3)
    59.159
    """
    return 1000 * GAS_CONSTANT * (temp_c + ZERO_CELSIUS_K) * math.log(10) / FARADAY_C_MOL


def calibrate_electrode(
    millivolts: Sequence[float], buffers_ph: Sequence[float], temp_c: float
) -> ElectrodeCalibration:
    """The calibration line through two buffers, or the least-squares line through three and more.

    Parameters
    ----------
    millivolts : sequence of float   Read in each buffer. [mV]
    buffers_ph : sequence of float   pH of each at that temperature, from the bottle or a primary table. [-]
    temp_c : float                   Of the buffers. [degC]

    Returns
    -------
    ElectrodeCalibration   With slope share, zero point and residuals.

    Raises
    ------
    KitError   `electrode.pairs`, `electrode.not_finite`, `electrode.temperature`, `electrode.buffers` for buffers too
               close together, `electrode.slope_sign` for millivolts that rise with pH.
    """
    _refuse_unusable(millivolts, buffers_ph, temp_c)
    count = len(millivolts)
    mean_ph, mean_mv = math.fsum(buffers_ph) / count, math.fsum(millivolts) / count
    spread = math.fsum((ph - mean_ph) ** 2 for ph in buffers_ph)
    slope = math.fsum((ph - mean_ph) * (mv - mean_mv) for ph, mv in zip(buffers_ph, millivolts, strict=True)) / spread
    if slope >= 0:
        raise KitError(
            f"the millivolts do not fall with pH (slope {slope:+.1f} mV per pH)",
            where="electrode calibration",
            allowed="more millivolts in the more acid buffer: about +178 mV at pH 4, 0 mV at pH 7",
            mend="check the sign and that each buffer stands beside its own millivolts",
            code="electrode.slope_sign",
        )
    offset = mean_mv + slope * (ISOPOTENTIAL_PH - mean_ph)
    residuals = tuple(
        mv - (offset + slope * (ph - ISOPOTENTIAL_PH)) if count > 2 else 0.0
        for ph, mv in zip(buffers_ph, millivolts, strict=True)
    )
    return ElectrodeCalibration(slope, offset, float(temp_c), tuple(float(ph) for ph in buffers_ph), residuals)


def bracketed(buffers_ph: Sequence[float], ph: float) -> bool:
    """Whether at least two different buffers were used and the value lies between the outer ones, ends included.

    Parameters
    ----------
    buffers_ph : sequence of float   [-]
    ph : float                       The value read. [-]
    """
    return len(set(buffers_ph)) > 1 and min(buffers_ph) <= ph <= max(buffers_ph)


def _refuse_unusable(millivolts: Sequence[float], buffers_ph: Sequence[float], temp_c: float) -> None:
    if len(millivolts) != len(buffers_ph) or len(millivolts) < 2:
        raise _unusable(
            f"{len(buffers_ph)} buffers and {len(millivolts)} millivolts make no calibration",
            "at least two buffers, the millivolts of each",
            "electrode.pairs",
        )
    if not all(math.isfinite(value) for value in (*millivolts, *buffers_ph, temp_c)):
        raise _unusable("a number is missing or infinite", "finite millivolts, pH and degC", "electrode.not_finite")
    if not 0 <= temp_c <= 100:
        raise _unusable(f"buffers at {temp_c:g} degC", "0 to 100 degC", "electrode.temperature")
    ordered = sorted(buffers_ph)
    if min(high - low for low, high in pairwise(ordered)) < _SAME_PH:
        raise _unusable(
            f"the buffers {', '.join(f'{ph:g}' for ph in ordered)} are too close together",
            f"buffers at least {_SAME_PH:g} pH apart",
            "electrode.buffers",
        )


def _unusable(what: str, allowed: str, code: str) -> KitError:
    return KitError(
        what, where="electrode calibration", allowed=allowed, mend="check what was typed, buffer by buffer", code=code
    )
