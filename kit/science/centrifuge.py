"""What a spin in a centrifuge stands for, and why it says little of a gel."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.science.creaming import GRAVITY_M_S2, holding_yield_pa
from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.show import Worded

LIMITS = (
    "the equivalence is that of one droplet in a liquid without yield value; it does not hold in a gel",
    "a spin can break a network that its own weight never would",
    "use it to rank prototypes made and spun alike, not to set a shelf life",
)
"""What every spin is printed with."""


@dataclass(frozen=True, slots=True, repr=False)
class Spin(Worded):
    """A spin in a centrifuge.

    Parameters
    ----------
    relative_force : float        Acceleration over gravity. [-]
    minutes : float               [min]
    equivalent_days : float       Rest at gravity that moves a droplet as far; None in a gel, where nothing does. [d]
    words : str                   What the spin stands for.
    limits : tuple of str         What it does not.
    """

    relative_force: float
    minutes: float
    equivalent_days: float | None
    words: str
    limits: tuple[str, ...] = LIMITS

    def __str__(self) -> str:
        return f"{self.words} Limits: {'; '.join(self.limits)}."


def relative_force(radius_cm: float, rpm: float) -> float:
    """Acceleration over gravity, w2 r / g = 1.118e-5 r rpm2. [-]

    Parameters
    ----------
    radius_cm : float   From the axis to the sample, at its bottom unless said. [cm]
    rpm : float         [1/min]

    Raises
    ------
    KitError   `science.not_positive`.
    """
    require_positive("centrifuge", radius_cm=radius_cm, rpm=rpm)
    return (rpm * math.pi / 30) ** 2 * radius_cm / 100 / GRAVITY_M_S2


def spin(
    radius_cm: float,
    rpm: float,
    minutes: float,
    *,
    yield_pa: float | None = None,
    diameter_um: float | None = None,
    density_difference_kg_m3: float | None = None,
    gel: bool = True,
) -> Spin:
    """A spin, with the days of rest it equals where it equals any.

    Parameters
    ----------
    radius_cm : float                   [cm]
    rpm : float                         [1/min]
    minutes : float                     [min]
    yield_pa : float                    Of the network, where measured. [Pa]
    diameter_um : float                 Of the largest droplets; with the yield value it tells what is overcome. [um]
    density_difference_kg_m3 : float    Between oil and water phase. [kg/m3]
    gel : bool                          A conditioner is one; False for a thin lotion or milk without yield value.

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.
    """
    require_not_negative("centrifuge", minutes=minutes, yield_value=yield_pa)
    force = relative_force(radius_cm, rpm)
    told = f"{short(force, 4)} g for {minutes:g} min"
    if not gel and not yield_pa:
        days = force * minutes / (24 * 60)
        return Spin(force, minutes, days, f"{told}: as {short(days)} days at rest, for a liquid without yield value.")
    if yield_pa is None or diameter_um is None or density_difference_kg_m3 is None:
        return Spin(force, minutes, None, f"{told}: in a gel it equals no time at rest.")
    at_rest = holding_yield_pa(diameter_um, density_difference_kg_m3)
    return Spin(force, minutes, None, f"{told}: {_against(yield_pa, at_rest, at_rest * force)}")


def _against(yield_pa: float, at_rest: float, spinning: float) -> str:
    found, resting, turning = (short(value, 2) for value in (yield_pa, at_rest, spinning))
    if yield_pa <= at_rest:
        return f"a yield value of {found} Pa does not hold the droplets even at rest ({resting} Pa would)."
    if yield_pa > spinning:
        return f"a yield value of {found} Pa holds the droplets even in the spin ({turning} Pa is enough)."
    return (
        f"the spin asks for {turning} Pa of yield value, rest for {resting}; the network has {found}. What separates "
        "here would stay put at rest as long as the network stands."
    )
