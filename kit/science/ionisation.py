"""How much of an acid or of an amine carries a charge at a pH."""

from __future__ import annotations

from collections.abc import Sequence


def unionised_fraction(ph, pka: float | Sequence[float]):
    """Share of an acid that keeps all its protons: the un-ionised part of a preservative acid. [-]

    Parameters
    ----------
    ph : float or array         [-]
    pka : float or sequence     Of the acid, lowest first; at the ionic strength of the mixture. [-]

    Returns
    -------
    float or array   Between 0 and 1, in the shape of `ph`.

    Notes
    -----
    1 / (1 + sum over k of 10^(k pH - pKa1 - ... - pKak)); with one constant it is the Henderson-Hasselbalch form
    1 / (1 + 10^(pH - pKa)). Free acid in water only: what dissolves in oil or bilayer is not in it.

    Examples
    --------
    >>> unionised_fraction(4.2, 4.2)
    0.5
    >>> round(unionised_fraction(5.6, 4.2), 4)
    0.0383
    """
    exponent, total = 0.0, 1.0
    for constant in (pka,) if isinstance(pka, (int, float)) else pka:
        exponent = exponent + ph - constant
        total = total + 10**exponent
    return 1 / total
