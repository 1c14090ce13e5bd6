"""Activity coefficients of ions in water: Davies, extended Debye-Hueckel, ideal; the slope that temperature sets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.water_ionisation import ZERO_CELSIUS_K, water_density

# Physical constants and the parameters of the dipole term, IAPWS R8-97, table 1.
_BOLTZMANN = 1.380658e-23
_AVOGADRO = 6.0221367e23
_VACUUM = 1 / (4e-7 * math.pi * 299792458**2)
_POLARISABILITY = 1.636e-40
_DIPOLE = 6.138e-30
_MOLAR_MASS_KG = 0.018015268
_CRITICAL_K, _CRITICAL_KG_M3 = 647.096, 322.0

# IAPWS R8-97, table 2: coefficient, power of the reduced density, power of the reduced inverse temperature.
_CORRELATION = (
    (0.978224486826, 1, 0.25),
    (-0.957771379375, 1, 1.0),
    (0.237511794148, 1, 2.5),
    (0.714692244396, 2, 1.5),
    (-0.298217036956, 3, 1.5),
    (-0.108863472196, 3, 2.5),
    (0.949327488264e-1, 4, 2.0),
    (-0.980469816509e-2, 5, 2.0),
    (0.165167634970e-4, 6, 5.0),
    (0.937359795772e-4, 7, 0.5),
    (-0.123179218720e-9, 10, 10.0),
)
_LAST = 0.196096504426e-2
_SUPERCOOLED_K = 228.0

_ELEMENTARY_CHARGE = 1.602176634e-19  # CODATA 2018, with Boltzmann and Avogadro of the same year below
_BOLTZMANN_2018, _AVOGADRO_2018 = 1.380649e-23, 6.02214076e23


class ActivityError(KitError):
    """A model of activity that there is none of."""

    default_code = "ph.activity"


@dataclass(frozen=True, slots=True)
class ActivityModel:
    """log10 of an activity coefficient is -A z^2 (sqrt I / (1 + sqrt I) - linear I), I held at `held_at` above it.

    Parameters
    ----------
    title : str        As it is read.
    slope : float      1 with the Debye-Hueckel slope, 0 without any (ideal). [-]
    linear : float     Davies's empirical term. [kg/mol]
    valid_to : float   Ionic strength up to which the results are meant to be used. [mol/kg]
    """

    title: str
    slope: float
    linear: float
    valid_to: float


HELD_AT = 0.5
"""Ionic strength above which activity coefficients keep the value they have there. [mol/kg]"""

MODELS = {
    "davies": ActivityModel("the Davies equation", 1.0, 0.3, 0.5),
    "debye-hueckel": ActivityModel("the extended Debye-Hückel equation", 1.0, 0.0, 0.1),
    "ideal": ActivityModel("the ideal law", 0.0, 0.0, math.inf),
}


def activity_model(name: str) -> ActivityModel:
    """The model of this name.

    Raises
    ------
    ActivityError   `ph.activity`.
    """
    if name not in MODELS:
        raise ActivityError(f'There is no activity model "{name}".', where="activity", allowed=", ".join(MODELS))
    return MODELS[name]


def water_permittivity(temp_c):
    """Relative permittivity (dielectric constant) of water at one atmosphere. [-]

    Parameters
    ----------
    temp_c : float or array   [degC]

    Notes
    -----
    IAPWS R8-97 (D. P. Fernandez et al. 1997, J. Phys. Chem. Ref. Data 26:1125), at the density of `water_density`.

    Examples
    --------
    >>> round(water_permittivity(25.0), 2)
    78.41
    """
    temp_k, density = temp_c + ZERO_CELSIUS_K, water_density(temp_c)
    reduced, inverse = density / _CRITICAL_KG_M3, _CRITICAL_K / temp_k
    correlation = 1 + _LAST * reduced * (temp_k / _SUPERCOOLED_K - 1) ** -1.2
    for coefficient, power, inverse_power in _CORRELATION:
        correlation = correlation + coefficient * reduced**power * inverse**inverse_power
    molar = density / _MOLAR_MASS_KG
    dipole = _AVOGADRO * _DIPOLE**2 * molar * correlation / (_VACUUM * _BOLTZMANN * temp_k)
    induced = _AVOGADRO * _POLARISABILITY * molar / (3 * _VACUUM)
    root = (9 + 2 * dipole + 18 * induced + dipole**2 + 10 * dipole * induced + 9 * induced**2) ** 0.5
    return (1 + dipole + 5 * induced + root) / (4 - 4 * induced)


def debye_hueckel_slope(temp_c):
    """Debye-Hueckel slope A of log10 of an activity coefficient, molality basis. [(kg/mol)^1/2]

    Parameters
    ----------
    temp_c : float or array   [degC]

    Notes
    -----
    sqrt(2 pi N rho) (e^2 / (4 pi eps0 eps k T))^(3/2) / ln 10 (R. A. Robinson and R. H. Stokes, Electrolyte Solutions,
    2nd ed., chapter 9) with `water_permittivity` and `water_density`: 0.510 at 25 degC, as in D. G. Archer and P. Wang
    1990, J. Phys. Chem. Ref. Data 19:371. Older tables, with an older permittivity, print 0.509; the difference moves
    the pH of a citrate buffer by less than 0.001.
    """
    temp_k = temp_c + ZERO_CELSIUS_K
    bjerrum_m = _ELEMENTARY_CHARGE**2 / (4 * math.pi * _VACUUM * water_permittivity(temp_c) * _BOLTZMANN_2018 * temp_k)
    return (2 * math.pi * _AVOGADRO_2018 * water_density(temp_c)) ** 0.5 * bjerrum_m**1.5 / math.log(10)


def log10_activity_coefficient(ionic_strength_mol_per_kg, charge, activity: str = "davies", slope=None, temp_c=25.0):
    """log10 of the activity coefficient of an ion; 0 for an uncharged one. [-]

    Parameters
    ----------
    ionic_strength_mol_per_kg : float or array   [mol/kg water]
    charge : int or array                        Of the ion, with or without its sign.
    activity : str                               "davies", "debye-hueckel" or "ideal".
    slope : float or array, None                 Debye-Hueckel slope A; None takes that of `temp_c`. [(kg/mol)^1/2]
    temp_c : float or array                      [degC]

    Raises
    ------
    ActivityError   `ph.activity`.

    Notes
    -----
    Davies: -A z^2 (sqrt I / (1 + sqrt I) - 0.3 I), C. W. Davies, Ion Association (1962); meant for I up to 0.1, usable
    to 0.5 mol/kg. Extended Debye-Hueckel: the same without its last term, one ion size for all ions such that
    B a = 1 kg^1/2 mol^-1/2 (3.04 angstrom at 25 degC; E. Guentelberg 1926, Z. phys. Chem. 123:199); for I up to 0.1.
    Above 0.5 mol/kg both keep the value they have there: Davies's last term would grow without bound.
    """
    model = activity_model(activity)
    held = _least(ionic_strength_mol_per_kg, HELD_AT)
    root = held**0.5
    a = debye_hueckel_slope(temp_c) if slope is None else slope
    return -model.slope * a * charge**2 * (root / (1 + root) - model.linear * held)


def _least(value, limit: float):
    if isinstance(value, (int, float)):
        return min(value, limit)
    import numpy as np

    return np.minimum(value, limit)
