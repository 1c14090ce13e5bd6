"""Newton's law of cooling: T(t) = Ta + (T0 - Ta) exp(-k t), its times, its constant, and how the constant scales."""

from __future__ import annotations

import math

from kit.errors import KitError


class CoolingError(KitError):
    """A question about cooling that Newton's law cannot answer."""

    default_code = "cooling.impossible"


def newton_temp_c(minutes: float, start_c: float, ambient_c: float, rate_per_min: float) -> float:
    """Temperature after some minutes. [degC]

    Parameters
    ----------
    minutes : float         [min]
    start_c : float         At time zero. [degC]
    ambient_c : float       Of the surroundings, steady. [degC]
    rate_per_min : float    Rate constant k. [1/min]
    """
    return ambient_c + (start_c - ambient_c) * math.exp(-rate_per_min * minutes)


def newton_minutes(target_c: float, start_c: float, ambient_c: float, rate_per_min: float) -> float:
    """Minutes until a temperature is reached; infinite where it never is. [min]

    Parameters
    ----------
    target_c : float        [degC]
    start_c : float         At time zero. [degC]
    ambient_c : float       Of the surroundings, steady. [degC]
    rate_per_min : float    Rate constant k, above zero. [1/min]

    Returns
    -------
    float   Negative for a temperature that the batch left behind before time zero.

    Raises
    ------
    CoolingError   `cooling.rate`.

    Examples
    --------
    >>> round(newton_minutes(40, 75, 22, 0.030), 1)
    36.0
    """
    if not (rate_per_min > 0 and math.isfinite(rate_per_min)):
        raise CoolingError(
            f"a rate constant of {rate_per_min} per minute is none", allowed="a number above 0", code="cooling.rate"
        )
    share = (target_c - ambient_c) / (start_c - ambient_c) if start_c != ambient_c else math.nan
    return -math.log(share) / rate_per_min if share > 0 else math.inf


def newton_rate(minutes: float, start_c: float, end_c: float, ambient_c: float) -> float:
    """Rate constant from two temperatures, the surroundings known. [1/min]

    Parameters
    ----------
    minutes : float             Between the two, above zero. [min]
    start_c, end_c : float      Both on the same side of the surroundings. [degC]
    ambient_c : float           [degC]

    Raises
    ------
    CoolingError   `cooling.two_points`.

    Notes
    -----
    Two readings always fit: nothing is said of how well. `kit.science.cooling_fit` needs four.
    """
    share = (end_c - ambient_c) / (start_c - ambient_c) if start_c != ambient_c else math.nan
    if not (minutes > 0 and share > 0):
        raise CoolingError(
            f"{start_c:g} and {end_c:g} °C, {minutes:g} min apart, with {ambient_c:g} °C around, give no rate constant",
            allowed="time going forward, both temperatures above the surroundings (or both below)",
            code="cooling.two_points",
        )
    return -math.log(share) / minutes


def scaled_rate_by_area(
    rate_per_min: float, area_ratio: float, heat_capacity_ratio: float, coefficient_ratio: float = 1.0
) -> float:
    """Rate constant in another vessel, k = U A / C. [1/min]

    Parameters
    ----------
    rate_per_min : float          In the first vessel. [1/min]
    area_ratio : float            Area that gives off heat, new over old. [-]
    heat_capacity_ratio : float   Heat capacity of batch and vessel, new over old. [-]
    coefficient_ratio : float     Heat transfer coefficient, new over old; 1 where wall, stirring and surroundings are
                                  alike. [-]
    """
    return rate_per_min * coefficient_ratio * area_ratio / heat_capacity_ratio


def scaled_rate_by_mass(rate_per_min: float, old_mass_g: float, new_mass_g: float) -> float:
    """Rate constant of another batch size in a vessel of the same shape: k falls as the cube root of the mass. [1/min]

    Parameters
    ----------
    rate_per_min : float             In the first vessel. [1/min]
    old_mass_g, new_mass_g : float   Of the batches. [g]

    Notes
    -----
    The same shape, wall, stirring and surroundings, so area goes as mass to 2/3 and heat capacity as mass; of a beaker
    against a jacketed kettle it says nothing.

    Examples
    --------
    >>> rate = scaled_rate_by_mass(0.030, 400, 10_000)
    >>> round(newton_minutes(40, 75, 22, rate))
    105
    """
    ratio = new_mass_g / old_mass_g
    return scaled_rate_by_area(rate_per_min, ratio ** (2 / 3), ratio)
