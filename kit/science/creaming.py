"""Whether a droplet rises: Stokes velocity in a liquid, and the yield value that holds it in a gel."""

from __future__ import annotations

from dataclasses import dataclass

from kit.science.number_text import short
from kit.science.required import require_finite, require_not_negative, require_positive
from kit.show import Worded

GRAVITY_M_S2 = 9.80665
"""Standard gravity. [m/s2]"""

CRITICAL_YIELD = 0.143 / 3
"""Yield value over density difference, gravity and diameter that stops a sphere; Beris et al. 1985, from memory. [-]"""

LIMIT = "Of one droplet alone: among many each moves more slowly, and a yield value prolonged from a curve may err."
"""What every answer is printed with."""

_SECONDS_PER_DAY = 86400.0


@dataclass(frozen=True, slots=True, repr=False)
class Creaming(Worded):
    """What becomes of a droplet.

    Parameters
    ----------
    velocity_m_s : float      Upwards is negative, as the droplet is the lighter one; 0 where it is held. [m/s]
    stokes_m_s : float        What it would be in a liquid of that viscosity without yield value. [m/s]
    holding_pa : float        Yield value that holds it. [Pa]
    held : bool               Whether the yield value given does; None where none was given.
    words : str               The same, to be printed.
    """

    velocity_m_s: float
    stokes_m_s: float
    holding_pa: float
    held: bool | None
    words: str

    @property
    def mm_per_day(self) -> float:
        """Velocity; negative where it creams. [mm/d]"""
        return self.velocity_m_s * 1000 * _SECONDS_PER_DAY

    def __str__(self) -> str:
        return f"{self.words} {LIMIT}"


def stokes_velocity_m_s(
    diameter_um: float,
    droplet_kg_m3: float,
    continuous_kg_m3: float,
    viscosity_pa_s: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Velocity of one small sphere in a liquid, (rho_d - rho_c) g d2 / (18 eta): negative creams, positive sinks. [m/s]

    Parameters
    ----------
    diameter_um : float        [um]
    droplet_kg_m3 : float      [kg/m3]
    continuous_kg_m3 : float   [kg/m3]
    viscosity_pa_s : float     Of the continuous phase at the very low rate of creaming. [Pa·s]
    gravity_m_s2 : float       [m/s2]

    Raises
    ------
    KitError   `science.not_positive`.

    Notes
    -----
    Alone in the liquid, no yield value, Reynolds number far below 1. Among many droplets each moves more slowly.
    """
    require_positive(
        "creaming",
        diameter_um=diameter_um,
        droplet_density=droplet_kg_m3,
        density=continuous_kg_m3,
        viscosity=viscosity_pa_s,
        gravity=gravity_m_s2,
    )
    return (droplet_kg_m3 - continuous_kg_m3) * gravity_m_s2 * (diameter_um * 1e-6) ** 2 / (18 * viscosity_pa_s)


def holding_yield_pa(diameter_um: float, density_difference_kg_m3: float, gravity_m_s2: float = GRAVITY_M_S2) -> float:
    """Yield value that stops a sphere. [Pa]

    Parameters
    ----------
    diameter_um : float                 [um]
    density_difference_kg_m3 : float    Either sign. [kg/m3]
    gravity_m_s2 : float                [m/s2]

    Raises
    ------
    KitError   `science.not_positive`, `science.not_finite`.

    Notes
    -----
    0.0477 delta rho g d; A. N. Beris et al., J. Fluid Mech. 158 (1985) 219, from memory.
    """
    require_positive("yield value that holds a droplet", diameter_um=diameter_um, gravity=gravity_m_s2)
    require_finite("yield value that holds a droplet", density_difference=density_difference_kg_m3)
    return CRITICAL_YIELD * abs(density_difference_kg_m3) * gravity_m_s2 * diameter_um * 1e-6


def creaming(
    diameter_um: float,
    droplet_kg_m3: float,
    continuous_kg_m3: float,
    viscosity_pa_s: float,
    yield_pa: float | None = None,
) -> Creaming:
    """Whether a droplet creams under its own weight, and how fast.

    Parameters
    ----------
    diameter_um : float        [um]
    droplet_kg_m3 : float      [kg/m3]
    continuous_kg_m3 : float   [kg/m3]
    viscosity_pa_s : float     Of the continuous phase at rest. [Pa·s]
    yield_pa : float           Of the network; None where it was not measured. [Pa]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.
    """
    require_not_negative("creaming", yield_value=yield_pa)
    stokes = stokes_velocity_m_s(diameter_um, droplet_kg_m3, continuous_kg_m3, viscosity_pa_s)
    holding = holding_yield_pa(diameter_um, droplet_kg_m3 - continuous_kg_m3)
    held = None if yield_pa is None else yield_pa > holding or stokes == 0
    velocity = 0.0 if held else stokes
    return Creaming(velocity, stokes, holding, held, _words(diameter_um, stokes, holding, yield_pa, held))


def _words(diameter_um: float, stokes: float, holding: float, yield_pa: float | None, held: bool | None) -> str:
    if stokes == 0:
        return "Same density: it neither creams nor sinks."
    way = "creams" if stokes < 0 else "sinks"
    speed = f"{short(abs(stokes) * 1000 * _SECONDS_PER_DAY, 2)} mm a day"
    found = "" if yield_pa is None else short(yield_pa, 2)
    needed, droplet = short(holding, 2), f"a droplet of {diameter_um:g} um"
    if held:
        return (
            f"Held: a yield value of {found} Pa is above the {needed} Pa that {droplet} needs. If it creams all the "
            "same, the network has collapsed; the droplets are not too large."
        )
    if held is None:
        return (
            f"In a liquid without yield value it {way}, {speed}. A yield value above {needed} Pa would hold it: "
            "measure it before this speed is used."
        )
    return f"{found} Pa of yield value does not hold {droplet} ({needed} Pa would): it {way}, {speed} at first."
