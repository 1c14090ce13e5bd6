"""Pure water at atmospheric pressure: density, and how far it splits into hydrogen and hydroxide ions."""

from __future__ import annotations

import math

ZERO_CELSIUS_K = 273.15
_MOLAR_MASS_KG = 0.018015268

# IAPWS R11-07, table 1.
_CLUSTER = 6
_ALPHA = (-0.864671, 8659.19, -22786.2)
_BETA = (0.642044, -56.8534, -0.375754)
_GAS = (6.141500e-1, 4.825133e4, -6.770793e4, 1.010210e7)

# Marshall and Franck 1981, table of constants of their equation 4.
_POWERS = (-4.098, -3245.2, 2.2362e5, -3.984e7)
_DENSITY_POWERS = (13.957, -1262.3, 8.5641e5)

# Kell 1975, equation 16.
_KELL = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)
_KELL_DIVISOR = 16.879850e-3


def water_density(temp_c):
    """Density of air-free water at one atmosphere. [kg/m3]

    Parameters
    ----------
    temp_c : float or array   [degC]

    Notes
    -----
    G. S. Kell 1975, J. Chem. Eng. Data 20:97, equation 16: 0 to 150 degC.

    Examples
    --------
    >>> round(water_density(25.0), 2)
    997.05
    """
    total = 0.0
    for coefficient in reversed(_KELL):
        total = total * temp_c + coefficient
    return total / (1 + _KELL_DIVISOR * temp_c)


def pkw(temp_c, equation: str = "iapws-2007"):
    """Ionisation of water, -log10 of its constant in molalities. [-]

    Parameters
    ----------
    temp_c : float or array   [degC]
    equation : str            "iapws-2007", which the kit solves with, or "marshall-franck-1981", the older standard.

    Returns
    -------
    float or array   Half of it is the neutral pH.

    Raises
    ------
    ValueError   There is no equation of that name.

    Notes
    -----
    IAPWS R11-07, equations 3 to 6 (A. V. Bandura and S. N. Lvov 2006, J. Phys. Chem. Ref. Data 35:15), and
    W. L. Marshall and E. U. Franck 1981, J. Phys. Chem. Ref. Data 10:295, at the density of water at one atmosphere.
    The two differ by up to 0.015 between 0 and 75 degC. A later release of IAPWS (2024, not read; its coefficients as
    the Python library iapws 1.5.5 has them) lies within 0.0022 of the first between 0 and 100 degC.

    Examples
    --------
    >>> round(pkw(25.0), 3)
    13.995
    """
    equations = {"iapws-2007": _bandura_lvov, "marshall-franck-1981": _marshall_franck}
    if equation not in equations:
        raise ValueError(f"no equation {equation!r} for the ionisation of water; there are {', '.join(equations)}")
    return equations[equation](temp_c + ZERO_CELSIUS_K, water_density(temp_c) / 1000)


def _bandura_lvov(temp_k, density_g_cm3):
    bound = density_g_cm3 * _exp(_ALPHA[0] + _ALPHA[1] / temp_k + _ALPHA[2] / temp_k**2 * density_g_cm3 ** (2 / 3))
    hydration = _BETA[0] + _BETA[1] / temp_k + _BETA[2] * density_g_cm3
    gas = sum(coefficient / temp_k**power for power, coefficient in enumerate(_GAS))
    in_water = -2 * _CLUSTER * (_log10(1 + bound) - bound / (bound + 1) * density_g_cm3 * hydration)
    return in_water + gas + 2 * math.log10(_MOLAR_MASS_KG)


def _marshall_franck(temp_k, density_g_cm3):
    constant = sum(coefficient / temp_k**power for power, coefficient in enumerate(_POWERS))
    slope = sum(coefficient / temp_k**power for power, coefficient in enumerate(_DENSITY_POWERS))
    return -(constant + slope * _log10(density_g_cm3))


def _exp(value):
    if isinstance(value, float):
        return math.exp(value)
    import numpy as np

    return np.exp(value)


def _log10(value):
    if isinstance(value, float):
        return math.log10(value)
    import numpy as np

    return np.log10(value)
