"""Water activity of a mixture of water and small solutes: Norrish, ideal without his constant, and Ross's product."""

from __future__ import annotations

import math
from collections.abc import Iterable


def norrish(water_mol, solute_mol, k: float = 0.0):
    """Water activity over one non-electrolyte, x_w exp(-K x_s^2). [-]

    Parameters
    ----------
    water_mol, solute_mol : float or array   Amounts in the same unit. [mol]
    k : float                                Norrish's constant of the solute, above 0 where it binds water more than an
                                             ideal one; 0 gives Raoult's law. [-]

    Notes
    -----
    R. S. Norrish 1966, J. Food Technol. 1:25 (from memory). Constants of polyols are fitted down to about 0.3.
    """
    share = solute_mol / (water_mol + solute_mol)
    return (1 - share) * _exp(-k * share**2)


def ross(activities: Iterable):
    """Water activity of a mixture: the product of those each solute gives alone in all the water. [-]

    Parameters
    ----------
    activities : iterable of float or array   One for each solute; none gives 1. [-]

    Notes
    -----
    K. D. Ross 1975, Food Technol. 29(3):26 (from memory): within about 0.02 down to 0.65.
    """
    product = 1.0
    for activity in activities:
        product = product * activity
    return product


def _exp(power):
    """Exponential of a number or of an array, which alone needs the array library."""
    if isinstance(power, (int, float)):
        return math.exp(power)
    import numpy as np

    return np.exp(power)
