"""How a preservative shares itself out between the water, the oil and the bilayers of an emulsion.

What is free in the water is what acts in the short term (Kazmi and Mitchell 1978, J. Pharm. Sci. 67:1260, the abstract
only). Every coefficient is a concentration in the other phase over that in the water.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.science.ionisation import unionised_fraction

# A range whose ends differ by more than this cannot tell a preserved product from one that is not.
WIDEST_USEFUL_RATIO = 2.0
_HALF_A_DIGIT = 0.05


def water_concentration(total, oil_water, oil_water_ratio, total_to_free=1.0):
    """Concentration free in the water of an oil and water mixture, C (phi + 1) / (K phi + R).

    Parameters
    ----------
    total : float or array             Concentration in the whole mixture, in any unit by volume.
    oil_water : float or array         Partition coefficient K, oil over water. [-]
    oil_water_ratio : float or array   Oil to water by volume, phi. [-]
    total_to_free : float or array     Total over free in the water alone, R, where an emulsifier binds; see
                                       `bound_ratio`. [-]

    Returns
    -------
    float or array   In the unit of `total`.

    Notes
    -----
    Not valid where the preservative ionises or pairs up in the oil, as benzoic acid does in liquid paraffin.
    [jscc-1965-emulsions] with R = 1; [jscc-1972-preservatives], equation (v), with an emulsifier.

    Examples
    --------
    >>> round(water_concentration(4.0, 116.7, 1.0), 3)
    0.068
    """
    return total * (oil_water_ratio + 1) / (oil_water * oil_water_ratio + total_to_free)


def bound_ratio(emulsifier, constant):
    """Total over free concentration in water that holds an emulsifier, R = S C + 1. [-]

    Parameters
    ----------
    emulsifier : float or array   Its concentration S. [% w/v]
    constant : float or array     C of this emulsifier and this preservative. [1/% w/v]

    Notes
    -----
    [jscc-1972-preservatives], p. 714.
    """
    return emulsifier * constant + 1


def free_share(
    water_g,
    oils: Iterable[tuple[float, float]] = (),
    lipid_g=0.0,
    lipid_water=0.0,
    ph=None,
    pka: float | Sequence[float] = (),
    ion_bound_per_free=0.0,
    ion_capacity_share=None,
):
    """Share of a preservative that is dissolved, un-ionised and unbound in the water. [-]

    Parameters
    ----------
    water_g : float or array              Water. [g in 100 g]
    oils : iterable of pairs              Partition coefficient and mass of each oil. [-, g in 100 g]
    lipid_g : float or array              Bilayer and micelles. [g in 100 g]
    lipid_water : float or array          Partition coefficient of the un-ionised form into them. [-]
    ph : float or array                   Needed with `pka`. [-]
    pka : float or sequence               Of an acid, lowest first; empty where nothing ionises. [-]
    ion_bound_per_free : float or array   Ion at charged surfaces over ion in the water. [-]
    ion_capacity_share : float or array   The most that those surfaces can hold, as a share of the whole
                                          preservative; None where nothing limits it. [-]

    Returns
    -------
    float or array   Between 0 and 1, in the common shape.

    Notes
    -----
    C (m_w (1 + i + i b) + sum K_o m_o + K_l m_l) = T, where i is ion over un-ionised in the water, 10^(pH - pKa) of a
    monoprotic acid, and b ion bound over free. Where b would bind more than there is room for, the bound ion is that
    room. The ion is taken to enter neither oil nor bilayer.

    Examples
    --------
    >>> round(free_share(82, oils=[(2.7, 3.5)]), 2)
    0.9
    >>> round(free_share(82, oils=[(2.7, 3.5)], lipid_g=7, lipid_water=16), 2)
    0.4
    """
    ion = 1 / unionised_fraction(ph, pka) - 1 if _ionises(pka) else 0.0
    others = sum((coefficient * mass for coefficient, mass in oils), 0.0) + lipid_water * lipid_g
    unbound = water_g * (1 + ion) + others
    share = water_g / (unbound + water_g * ion * ion_bound_per_free)
    if ion_capacity_share is None:
        return share
    return _larger(share, water_g * (1 - ion_capacity_share) / unbound)


def too_wide(low, high):
    """Whether a range is too wide to choose by: its ends differ by more than a factor of two, or the low one is 0.

    The factor counts to one decimal, so that ends which a page shows as 49 and 98 % are never called more than twice.

    Parameters
    ----------
    low, high : float or array   Ends of the range, in one unit.
    """
    return high >= (WIDEST_USEFUL_RATIO + _HALF_A_DIGIT) * low


def _ionises(pka: float | Sequence[float]) -> bool:
    return isinstance(pka, (int, float)) or len(pka) > 0


def _larger(one, other):
    """The larger of two numbers, or of two arrays element by element."""
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return max(one, other)
    import numpy as np

    return np.maximum(one, other)
