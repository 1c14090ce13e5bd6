"""Air in a product from its density, and the volume a mass fills."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.show import Worded

NOT_DISTINGUISHABLE_PCT = 1.5
"""Air below this cannot be told from the error of the air-free density; common practice, no source. [%]"""

_TWICE = 2.0  # standard uncertainties


@dataclass(frozen=True, slots=True, repr=False)
class AirContent(Worded):
    """Share of the volume that is air.

    Parameters
    ----------
    density_g_ml : float             As found. [g/mL]
    air_free_density_g_ml : float    Of the same product without air, at the same temperature. [g/mL]
    relative_sd_pct : float          Standard uncertainty of the ratio of the two; None where it is not known. [%]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.
    """

    density_g_ml: float
    air_free_density_g_ml: float
    relative_sd_pct: float | None = None

    def __post_init__(self) -> None:
        require_positive("air content", density=self.density_g_ml, air_free_density=self.air_free_density_g_ml)
        require_not_negative("air content", relative_sd_pct=self.relative_sd_pct)

    @property
    def volume_fraction(self) -> float:
        """1 - density / air-free density, as it comes out; below zero when the air-free density is too low. [-]"""
        return 1 - self.density_g_ml / self.air_free_density_g_ml

    @property
    def volume_pct(self) -> float:
        """The same in %. [% v/v]"""
        return 100 * self.volume_fraction

    @property
    def limit_pct(self) -> float:
        """What can be told apart from no air: 1.5 %, or twice the uncertainty where that is more. [% v/v]"""
        return max(NOT_DISTINGUISHABLE_PCT, _TWICE * (self.relative_sd_pct or 0.0))

    @property
    def distinguishable(self) -> bool:
        """Whether there is air for certain."""
        return self.volume_pct >= self.limit_pct

    @property
    def words(self) -> str:
        """What the density says."""
        if self.volume_pct <= -self.limit_pct:
            return (
                f"Denser than without air by {short(-self.volume_pct, 2)} %: the air-free density is wrong, or "
                "the cup or its temperature. No air content."
            )
        if not self.distinguishable:
            limit = short(self.limit_pct, 2)
            return f"Air not distinguishable: below {limit} % it may be the error of the two densities."
        return (
            f"{self.volume_pct:.1f} % air by volume. Its effect on viscosity is not corrected, it may go either way: "
            "deaerate and read again. Fill by mass."
        )


def air_content(
    density_g_ml: float,
    air_free_density_g_ml: float,
    *,
    density_sd_g_ml: float | None = None,
    air_free_sd_g_ml: float | None = None,
) -> AirContent:
    """Air content from two densities, with their uncertainties where these are known.

    Parameters
    ----------
    density_g_ml : float            As found. [g/mL]
    air_free_density_g_ml : float   Centrifuged or deaerated, or from the composition. [g/mL]
    density_sd_g_ml : float         Standard uncertainty. [g/mL]
    air_free_sd_g_ml : float        Standard uncertainty. [g/mL]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.
    """
    require_positive("air content", density=density_g_ml, air_free_density=air_free_density_g_ml)
    require_not_negative("air content", density_sd=density_sd_g_ml, air_free_sd=air_free_sd_g_ml)
    if density_sd_g_ml is None and air_free_sd_g_ml is None:
        return AirContent(density_g_ml, air_free_density_g_ml)
    relative = math.hypot(
        (density_sd_g_ml or 0.0) / density_g_ml,
        (air_free_sd_g_ml or 0.0) / air_free_density_g_ml,
    )
    return AirContent(density_g_ml, air_free_density_g_ml, 100 * relative * density_g_ml / air_free_density_g_ml)


def density_from_cup_g_ml(full_g: float, empty_g: float, volume_ml: float) -> float:
    """Density from a cup of known volume, weighed full and empty. [g/mL]

    Parameters
    ----------
    full_g, empty_g : float   [g]
    volume_ml : float         Of the cup, from its weight in water. [mL]

    Raises
    ------
    KitError   `science.not_positive` also where the full cup is not the heavier one.
    """
    require_positive("density from a cup", product_in_the_cup=full_g - empty_g, volume_ml=volume_ml)
    return (full_g - empty_g) / volume_ml


def volume_ml(mass_g: float, density_g_ml: float) -> float:
    """Volume of a mass. [mL]

    Parameters
    ----------
    mass_g : float         [g]
    density_g_ml : float   As filled, air and all. [g/mL]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.
    """
    require_positive("volume of a mass", density=density_g_ml)
    require_not_negative("volume of a mass", mass=mass_g)
    return mass_g / density_g_ml


def fill_mass_g(container_ml: float, density_g_ml: float) -> float:
    """Mass that fills a container. [g]

    Parameters
    ----------
    container_ml : float   [mL]
    density_g_ml : float   As filled, air and all. [g/mL]

    Raises
    ------
    KitError   `science.not_positive`.
    """
    require_positive("fill of a container", container=container_ml, density=density_g_ml)
    return container_ml * density_g_ml
