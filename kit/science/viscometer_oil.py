"""The check of a viscometer with a certified oil: what it may show, and how far one check reaches."""

from __future__ import annotations

from dataclasses import dataclass

from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.science.viscometer import full_scale_accuracy_pct, full_scale_mpa_s
from kit.show import Worded
from kit.sources import read_data

NEAR = 3.0
"""An oil within this factor of the product's viscosity is called near; common practice, no source."""


@dataclass(frozen=True, slots=True, repr=False)
class OilCheck(Worded):
    """A certified oil read on a viscometer.

    Parameters
    ----------
    certified_mpa_s : float   At the temperature of the check. [mPa·s]
    found_mpa_s : float       [mPa·s]
    allowed_mpa_s : float     Accuracy of the instrument at this spindle and speed, and of the oil. [mPa·s]
    constant : float          Of spring and spindle. [mPa·s rpm / %]
    rpm : float               [1/min]
    """

    certified_mpa_s: float
    found_mpa_s: float
    allowed_mpa_s: float
    constant: float
    rpm: float

    @property
    def difference_mpa_s(self) -> float:
        """Found less certified. [mPa·s]"""
        return self.found_mpa_s - self.certified_mpa_s

    @property
    def limits_mpa_s(self) -> tuple[float, float]:
        """Between which the reading must lie. [mPa·s]"""
        return self.certified_mpa_s - self.allowed_mpa_s, self.certified_mpa_s + self.allowed_mpa_s

    @property
    def agrees(self) -> bool:
        """Whether it does."""
        return abs(self.difference_mpa_s) <= self.allowed_mpa_s

    @property
    def is_telling(self) -> bool:
        """Whether the check would have noticed an error of a tenth: at too low a torque everything agrees."""
        return self.allowed_mpa_s <= 0.1 * self.certified_mpa_s

    @property
    def words(self) -> str:
        """What the check says."""
        low, high = self.limits_mpa_s
        found, certified = short(self.found_mpa_s, 5), short(self.certified_mpa_s, 5)
        told = f"found {found} mPa.s, certified {certified}, allowed {short(low, 5)} to {short(high, 5)}"
        if not self.agrees:
            return f"{told}: outside. Check oil temperature, level, spindle and zero; then have the spring calibrated."
        if not self.is_telling:
            return f"{told}: inside, but the limits are too wide to notice an error of 10 %. Use a larger spindle."
        return f"{told}: consistent, not proven: one oil, one spindle, one speed."

    def covers(self, viscosity_mpa_s: float, constant: float, rpm: float) -> str:
        """Why the check does not speak for a reading; empty where it does.

        Parameters
        ----------
        viscosity_mpa_s : float   Of the reading. [mPa·s]
        constant : float          Of its spring and spindle. [mPa·s rpm / %]
        rpm : float               Of the reading. [1/min]

        Raises
        ------
        KitError   `science.not_positive`.

        Notes
        -----
        A check is made as close to the use as practical; ASTM E2975, scope and significance.
        """
        require_positive("certified oil", viscosity=viscosity_mpa_s, constant=constant, rpm=rpm)
        reasons = []
        if not 1 / NEAR <= viscosity_mpa_s / self.certified_mpa_s <= NEAR:
            reasons.append(f"the oil is {short(self.certified_mpa_s)} mPa.s, the reading {short(viscosity_mpa_s)}")
        if constant != self.constant:
            reasons.append("another spindle or spring was checked")
        if rpm != self.rpm:
            reasons.append(f"checked at {self.rpm:g} rpm, read at {rpm:g}")
        return "; ".join(reasons)


def oil_accuracy_pct() -> float:
    """Usual accuracy of a certified oil; its certificate goes first. [%]"""
    return float(read_data("viscometer.toml")["accuracy"]["oil_accuracy"]["value"])


def check_with_oil(
    certified_mpa_s: float,
    found_mpa_s: float,
    constant: float,
    rpm: float,
    *,
    oil_pct: float | None = None,
    accuracy_pct: float | None = None,
) -> OilCheck:
    """A certified oil read on a viscometer.

    Parameters
    ----------
    certified_mpa_s : float   At the temperature of the check. [mPa·s]
    found_mpa_s : float       [mPa·s]
    constant : float          Of spring and spindle. [mPa·s rpm / %]
    rpm : float               [1/min]
    oil_pct : float           Accuracy of the oil, of its value; 1 when omitted. [%]
    accuracy_pct : float      Accuracy of the instrument, of full scale; 1 when omitted. [%]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.

    Notes
    -----
    The two accuracies are added as they stand [viscometer-oil-check].
    """
    require_positive("certified oil", certified=certified_mpa_s, constant=constant, rpm=rpm)
    require_not_negative("certified oil", found=found_mpa_s, oil_pct=oil_pct, accuracy_pct=accuracy_pct)
    oil = oil_accuracy_pct() if oil_pct is None else oil_pct
    accuracy = full_scale_accuracy_pct() if accuracy_pct is None else accuracy_pct
    allowed = accuracy / 100 * full_scale_mpa_s(constant, rpm) + oil / 100 * certified_mpa_s
    return OilCheck(certified_mpa_s, found_mpa_s, allowed, constant, rpm)
