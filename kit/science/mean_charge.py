"""Mean charge of an acid, a base or an ampholyte at a pH."""

from __future__ import annotations

from collections.abc import Sequence


def mean_charge(ph, pka: Sequence[float], protonated_charge: int = 0):
    """Mean charge of all forms of a substance that gives up its protons one by one. [elementary charges]

    Parameters
    ----------
    ph : float or array       [-]
    pka : sequence of float   Stepwise, of the fully protonated form first; at the ionic strength of the mixture. [-]
    protonated_charge : int   Charge of the fully protonated form: 0 of an acid, 1 of an amine.

    Returns
    -------
    float or array   Between `protonated_charge` and that less one for each constant, in the shape of `ph`.

    Notes
    -----
    z - sum k w_k / sum w_k with w_k = 10^(k pH - pKa1 - ... - pKak); with one constant it is the Henderson-Hasselbalch
    form: 1 / (1 + 10^(pH - pKa)) of an amine carries its charge, 1 / (1 + 10^(pKa - pH)) of a carboxylate.

    Examples
    --------
    >>> mean_charge(4.2, (4.2,))
    -0.5
    >>> mean_charge(9.0, (9.0,), 1)
    0.5
    """
    exponent, total, given_up = 0.0, 1.0, 0.0
    for step, constant in enumerate(pka, start=1):
        exponent = exponent + ph - constant
        weight = 10**exponent
        total = total + weight
        given_up = given_up + step * weight
    return protonated_charge - given_up / total
