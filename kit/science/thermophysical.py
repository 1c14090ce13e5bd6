"""Water, glycerol in water and mixtures at atmospheric pressure: density, heat capacity, viscosity, vapour pressure.

Functions of temperature take a float or an array.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.water_ionisation import ZERO_CELSIUS_K, water_density
from kit.show import Worded

# IAPWS SR6-08(2011), tables 1 and 4: coefficients of the Gibbs energy and of the viscosity.
_GAS_CONSTANT_KJ_KG_K = 0.46151805
_A = ((4, -1.661470539e5), (5, 2.708781640e6), (7, -1.557191544e8))
_B = ((2, -8.237426256e-1), (3, 1.908956353), (4, -2.017597384), (5, 8.546361348e-1))
_C3 = -8.983025854
_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))

# Saturation pressure, IAPWS SR1-86(1992), equation 1.
_CRITICAL_K, _CRITICAL_PA = 647.096, 22.064e6
_SATURATION = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)

HEAT_CAPACITY_LIMITS_J_GK = (0.4, 4.3)
"""Between these lies the heat capacity of all that goes into a formula: salts 0.8, waxes 2, water 4.2. [J/(g K)]

From memory, wide on purpose: they bound what is not known."""


class ThermalError(KitError):
    """A heat question that cannot be answered as asked."""

    default_code = "thermal.invalid"


def water_heat_capacity(temp_c):
    """Isobaric heat capacity of water. [J/(g K)]

    Parameters
    ----------
    temp_c : float or array   -20 to 110. [degC]

    Notes
    -----
    IAPWS SR6-08(2011), liquid water at 0.1 MPa, equation 5.

    Examples
    --------
    >>> round(water_heat_capacity(25.0), 4)
    4.1813
    """
    temp_k = temp_c + ZERO_CELSIUS_K
    tau, alpha, beta = temp_k / 10, 10 / (593 - temp_k), 10 / (temp_k - 232)
    first = sum(power * (power + 1) * value * alpha ** (power + 2) for power, value in _A)
    second = sum(power * (power + 1) * value * beta ** (power + 2) for power, value in _B)
    return -_GAS_CONSTANT_KJ_KG_K * (_C3 + tau * (first + second))


def water_viscosity(temp_c):
    """Dynamic viscosity of water. [mPa s]

    Parameters
    ----------
    temp_c : float or array   -20 to 110. [degC]

    Notes
    -----
    IAPWS SR6-08(2011), liquid water at 0.1 MPa, equation 7: within 1 % of the full formulation R12-08, and within 0.1 %
    above 0 degC.

    Examples
    --------
    >>> round(water_viscosity(20.0), 4)
    1.0016
    """
    reduced = (temp_c + ZERO_CELSIUS_K) / 300
    return sum(factor * reduced**power for factor, power in _VISCOSITY) / 1000


def water_density_metrological(temp_c):
    """Density of air-free water at 101.325 kPa, the formula balances and pycnometers are calibrated with. [kg/m3]

    Parameters
    ----------
    temp_c : float or array   0 to 40. [degC]

    Notes
    -----
    M. Tanaka et al. 2001, Metrologia 38:301, equation 1 (CIPM). `water_density` (Kell 1975) goes up to 150 degC and
    agrees within 0.003 kg/m3 up to 40 degC.

    Examples
    --------
    >>> round(water_density_metrological(20.0), 4)
    998.2067
    """
    deviation = (temp_c - 3.983035) ** 2 * (temp_c + 301.797) / (522528.9 * (temp_c + 69.34881))
    return 999.974950 * (1 - deviation)


def water_volume_ratio(from_c, to_c):
    """Volume of water at one temperature over that at another: the error of filling hot water by volume. [-]

    Parameters
    ----------
    from_c, to_c : float or array   [degC]
    """
    return water_density(from_c) / water_density(to_c)


def saturation_pressure(temp_c):
    """Vapour pressure of water. [Pa]

    Parameters
    ----------
    temp_c : float or array   0 to 370. [degC]

    Notes
    -----
    IAPWS SR1-86(1992), equation 1 (W. Wagner and A. Pruss 1993, J. Phys. Chem. Ref. Data 22:783).

    Examples
    --------
    >>> round(saturation_pressure(75.0) / 1000, 2)
    38.6
    """
    temp_k = temp_c + ZERO_CELSIUS_K
    theta = 1 - temp_k / _CRITICAL_K
    exponent = _CRITICAL_K / temp_k * sum(factor * theta**power for factor, power in _SATURATION)
    return _CRITICAL_PA * _exp(exponent)


def glycerol_water_viscosity(glycerol_mass_fraction, temp_c):
    """Dynamic viscosity of glycerol in water. [mPa s]

    Parameters
    ----------
    glycerol_mass_fraction : float or array   0 to 1. [-]
    temp_c : float or array                   0 to 100. [degC]

    Notes
    -----
    N.-S. Cheng 2008, Ind. Eng. Chem. Res. 47:3285: within about 3 to 5 % of measurements, by the author.

    Examples
    --------
    >>> round(glycerol_water_viscosity(0.5, 20.0), 2)
    6.0
    """
    share, temp = glycerol_mass_fraction, temp_c
    a = 0.705 - 0.0017 * temp
    b = (4.9 + 0.036 * temp) * a**2.5
    alpha = 1 - share + a * b * share * (1 - share) / (a * share + b * (1 - share))
    water = 1.790 * _exp((-1230 - temp) * temp / (36100 + 360 * temp))
    glycerol = 12100 * _exp((-1233 + temp) * temp / (9900 + 70 * temp))
    return water**alpha * glycerol ** (1 - alpha)


def _exp(value):
    if isinstance(value, float):
        return math.exp(value)
    import numpy as np

    return np.exp(value)


@dataclass(frozen=True, slots=True, repr=False)
class Mixed(Worded):
    """A property of a mixture, with how much of the mass it rests on.

    Parameters
    ----------
    value : float          Middle of the range; None where no range can be given.
    low, high : float      Ends that the unknown part leaves open; equal where all is known.
    known_share : float    Share of the mass whose property is known, 0 to 1. [-]
    unknown : tuple of str Names of the rest.
    """

    value: float | None
    low: float | None
    high: float | None
    known_share: float
    unknown: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What it rests on."""
        if not self.unknown:
            return "known for the whole mass"
        return f"known for {self.known_share:.1%} of the mass; not known: {', '.join(self.unknown)}"

    def __str__(self) -> str:
        if self.value is None:
            return f"no value, {self.words}"
        ends = f" ({short(self.low, 4)} to {short(self.high, 4)})" if self.unknown else ""
        return f"{short(self.value, 4)}{ends}, {self.words}"


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a mixture.

    Parameters
    ----------
    name : str                    As it is told to a reader.
    mass_g : float                Not negative. [g]
    value : float                 Its property in the mixture's unit; None where unknown, never zero for that.
    """

    name: str
    mass_g: float
    value: float | None


def mixed_heat_capacity(parts: Sequence[Part], limits_j_gk: tuple[float, float] = HEAT_CAPACITY_LIMITS_J_GK) -> Mixed:
    """Heat capacity of a mixture by mass fractions. [J/(g K)]

    Parameters
    ----------
    parts : sequence of Part         With heat capacities. [J/(g K)]
    limits_j_gk : pair of float      Between which an unknown one is taken to lie. [J/(g K)]

    Raises
    ------
    ThermalError   `thermal.mass`, `thermal.property`.

    Notes
    -----
    Heats of mixing are left out: 0.1 to 0.2 J/(g K) for strong solutions of glycols in water, next to nothing for an
    emulsion (from memory).
    """
    total, known = _checked(parts)
    share = sum(part.mass_g for part in known) / total
    sure = sum(part.mass_g * part.value for part in known) / total
    low, high = sure + (1 - share) * limits_j_gk[0], sure + (1 - share) * limits_j_gk[1]
    return Mixed((low + high) / 2, low, high, share, _unknown(parts))


def mixed_density(parts: Sequence[Part]) -> Mixed:
    """Density of a mixture whose volumes add up. [kg/m3, or the unit of the parts]

    Parameters
    ----------
    parts : sequence of Part   With densities, all in one unit.

    Returns
    -------
    Mixed   No value where more than 5 % of the mass is unknown; below that the unknown part is taken to have half to
            twice the density of the rest.

    Raises
    ------
    ThermalError   `thermal.mass`, `thermal.property`.

    Notes
    -----
    1 / rho = sum of w / rho. Glycerol in water shrinks: a 50 % solution is 1 % denser than this rule says.
    """
    total, known = _checked(parts)
    share = sum(part.mass_g for part in known) / total
    names = _unknown(parts)
    if share < 0.95:
        return Mixed(None, None, None, share, names)
    volume = sum(part.mass_g / part.value for part in known)
    rest = share * total / volume
    low = total / (volume + (1 - share) * total / (rest / 2))
    high = total / (volume + (1 - share) * total / (rest * 2))
    return Mixed((low + high) / 2, low, high, share, names)


def _checked(parts: Sequence[Part]) -> tuple[float, list[Part]]:
    masses = [part.mass_g for part in parts]
    total = sum(masses)
    if not all(math.isfinite(mass) and mass >= 0 for mass in masses) or not total > 0:
        raise ThermalError(
            "the masses of this mixture are not all numbers from zero up, or add up to nothing",
            where="mixture",
            allowed="masses in g, at least one above zero",
            code="thermal.mass",
        )
    known = [part for part in parts if part.value is not None]
    if not all(math.isfinite(part.value) and part.value > 0 for part in known):
        raise ThermalError(
            "a property of this mixture is zero, negative or no number",
            where="mixture",
            allowed="a number above zero, or None where it is not known",
            code="thermal.property",
        )
    return total, known


def _unknown(parts: Iterable[Part]) -> tuple[str, ...]:
    return tuple(part.name for part in parts if part.value is None and part.mass_g > 0)
