"""True shear rate and stress between coaxial cylinders, from torque and speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.required import require_not_negative, require_positive

WIDEST_RATIO = 1.2
"""Ratio of radii up to which representative values stand for the whole gap; ISO 3219, from memory."""

STANDARD_RATIO = 1.0847
"""Ratio of radii of the standard geometry; ISO 3219, from memory."""


@dataclass(frozen=True, slots=True)
class CoaxialCylinders:
    """A cylinder in a cup, either of which turns.

    Parameters
    ----------
    inner_radius_m, outer_radius_m : float   [m]
    length_m : float                         Of the inner cylinder. [m]
    end_effect : float                       Torque of the whole over that of the length alone; 1.10 for the standard
                                             geometry. [-]

    Raises
    ------
    KitError   `science.not_positive`, `viscometer.radii`.

    Notes
    -----
    ISO 3219 and DIN 53019-1, from memory. For laminar flow without slip; a wide gap shears the product unevenly, so
    `inner_rate_per_s` needs to know how it thins.
    """

    inner_radius_m: float
    outer_radius_m: float
    length_m: float
    end_effect: float = 1.10

    def __post_init__(self) -> None:
        require_positive(
            "coaxial cylinders",
            inner_radius=self.inner_radius_m,
            outer_radius=self.outer_radius_m,
            length=self.length_m,
            end_effect=self.end_effect,
        )
        if self.inner_radius_m >= self.outer_radius_m:
            raise KitError(
                f"a cylinder of {1000 * self.inner_radius_m:g} mm does not stand in a cup of "
                f"{1000 * self.outer_radius_m:g} mm",
                where="coaxial cylinders",
                allowed="an outer radius above the inner one",
                mend="check the two radii, and that neither is a diameter",
                code="viscometer.radii",
            )

    @classmethod
    def standard(cls, inner_radius_m: float) -> CoaxialCylinders:
        """The standard geometry: radii 1 to 1.0847, length three times the inner radius, end effect 1.10.

        Parameters
        ----------
        inner_radius_m : float   [m]
        """
        return cls(inner_radius_m, STANDARD_RATIO * inner_radius_m, 3 * inner_radius_m)

    @property
    def ratio(self) -> float:
        """Outer over inner radius. [-]"""
        return self.outer_radius_m / self.inner_radius_m

    @property
    def is_narrow(self) -> bool:
        """Whether representative values stand for the whole gap."""
        return self.ratio <= WIDEST_RATIO

    def representative_rate_per_s(self, rpm: float) -> float:
        """Shear rate that stands for the gap: the mean of its two ends. [1/s]

        Parameters
        ----------
        rpm : float   [1/min]

        Raises
        ------
        KitError   `science.not_positive`.
        """
        square = self.ratio**2
        return _radians_per_s(rpm) * (square + 1) / (square - 1)

    def representative_stress_pa(self, torque_n_m: float) -> float:
        """Shear stress that stands for the gap: the mean of its two ends. [Pa]

        Parameters
        ----------
        torque_n_m : float   [N·m]

        Raises
        ------
        KitError   `science.negative`.
        """
        square = self.ratio**2
        return self.inner_stress_pa(torque_n_m) * (1 + square) / (2 * square)

    def inner_stress_pa(self, torque_n_m: float) -> float:
        """Shear stress at the inner cylinder, whatever the product. [Pa]

        Parameters
        ----------
        torque_n_m : float   [N·m]

        Raises
        ------
        KitError   `science.negative`.
        """
        require_not_negative("shear stress at the inner cylinder", torque_n_m=torque_n_m)
        return torque_n_m / (2 * math.pi * self.length_m * self.inner_radius_m**2 * self.end_effect)

    def inner_rate_per_s(self, rpm: float, flow_index: float = 1.0) -> float:
        """Shear rate at the inner cylinder. [1/s]

        Parameters
        ----------
        rpm : float          [1/min]
        flow_index : float   Of a power law; 1 for a product that does not thin. [-]

        Raises
        ------
        KitError   `science.not_positive`.

        Notes
        -----
        2 w / (n (1 - ratio^(-2/n))), exact for a power law, no yield value.
        """
        require_positive("shear rate at the inner cylinder", flow_index=flow_index)
        return 2 * _radians_per_s(rpm) / (flow_index * (1 - self.ratio ** (-2 / flow_index)))

    def viscosity_pa_s(self, torque_n_m: float, rpm: float) -> float:
        """Representative stress over representative rate. [Pa·s]

        Parameters
        ----------
        torque_n_m : float   [N·m]
        rpm : float          [1/min]

        Raises
        ------
        KitError   `science.not_positive`, `science.negative`.
        """
        return self.representative_stress_pa(torque_n_m) / self.representative_rate_per_s(rpm)


def _radians_per_s(rpm: float) -> float:
    require_positive("coaxial cylinders", rpm=rpm)
    return rpm * math.pi / 30
