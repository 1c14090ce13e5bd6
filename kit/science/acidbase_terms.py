"""Charge and ionic strength of a mixture at a trial point, with their slopes: the chemistry of the solver.

Every function takes floats or arrays alike and uses nothing but sums, products, quotients and square roots, which
round in the same way in both: a mixture solved alone and in an array of thousands gives the same bits.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from kit.science.activity import HELD_AT


class Water(NamedTuple):
    """What does not depend on the point: ion product and activity model at the temperature.

    `product` is the constant of water; `slope` is A ln 10 of the model, `linear` Davies's term.
    """

    product: object
    slope: object
    linear: float


class Acid(NamedTuple):
    """An acid system in the solver: charge of its first form, constants of its steps, total. [mol/kg]"""

    charge: int
    constants: tuple
    total: object


class Ions(NamedTuple):
    """Ions that do not react: positive and negative net charge, and half of all their c z^2. [mol/kg]"""

    positive: object
    negative: object
    half_strength: object


class Terms(NamedTuple):
    """Positive and negative charge and ionic strength, with their slopes in ln a_H (`_h`) and in ln t (`_t`). [mol/kg]

    t is 1 over the activity coefficient of an ion of charge 1.
    """

    positive: object
    positive_h: object
    positive_t: object
    negative: object
    negative_h: object
    negative_t: object
    strength: object
    strength_h: object
    strength_t: object

    def plus(self, other: tuple) -> Terms:
        """Two sets of terms added."""
        return Terms(*(one + two for one, two in zip(self, other, strict=True)))


def inverse_coefficient(water: Water, root):
    """1 over the activity coefficient of an ion of charge 1 at the root of an ionic strength held at its limit. [-]

    The exponential is a Pade approximant of an eighth of the exponent, raised again: within 1e-13.
    """
    eighth = water.slope * (root / (1 + root) - water.linear * root * root) * 0.125
    square = eighth * eighth
    even, odd = 120 + 12 * square, eighth * (60 + square)
    ratio = (even + odd) / (even - odd)
    ratio = ratio * ratio
    ratio = ratio * ratio
    return ratio * ratio


def coefficient_slope(water: Water, root, strength):
    """Slope of ln t in the ionic strength; 0 where the coefficients are held. [kg/mol]"""
    rising = 1 + root
    return (strength < HELD_AT) * (water.slope * (0.5 / (root * rising * rising) - water.linear))


def terms(h, t, water: Water, acids: list[Acid], ions: Ions) -> Terms:
    """All terms at a hydrogen activity and an inverse activity coefficient.

    Parameters
    ----------
    h, t : float or array   Activity of hydrogen ions; 1 over the activity coefficient of an ion of charge 1. [-]
    water : Water           [-]
    acids : list of Acid    [mol/kg]
    ions : Ions             [mol/kg]
    """
    free, hydroxide = h * t, water.product * t / h
    both, half_difference = 0.5 * (free + hydroxide), 0.5 * (free - hydroxide)
    found = (
        ions.positive + free, free, free,
        ions.negative + hydroxide, -hydroxide, hydroxide,
        ions.half_strength + both, half_difference, both,
    )  # fmt: skip
    inverse = 1 / h
    for acid in acids:
        if len(acid.constants) > 1 or acid.charge not in (0, 1):
            found = _add_any(found, acid, inverse, t)
        elif acid.charge == 0:
            found = _add_acid(found, acid, inverse, t)
        else:
            found = _add_base(found, acid, inverse, t)
    return Terms(*found)


def _add_acid(found: tuple, acid: Acid, inverse, t) -> tuple:
    """A monoprotic acid: its anion is the only charged form."""
    weight = acid.constants[0] * t * inverse
    rest = 1 / (1 + weight)
    ionised = acid.total * (weight * rest)
    change = ionised * rest
    half = 0.5 * change
    p, p_h, p_t, n, n_h, n_t, s, s_h, s_t = found
    return p, p_h, p_t, n + ionised, n_h - change, n_t + change, s + 0.5 * ionised, s_h - half, s_t + half


def _add_base(found: tuple, acid: Acid, inverse, t) -> tuple:
    """A base with one proton: its cation is the only charged form."""
    weight = acid.constants[0] * inverse / t
    rest = 1 / (1 + weight)
    ionised = acid.total * rest
    change = ionised * (weight * rest)
    half = 0.5 * change
    p, p_h, p_t, n, n_h, n_t, s, s_h, s_t = found
    return p + ionised, p_h + change, p_t + change, n, n_h, n_t, s + 0.5 * ionised, s_h + half, s_t + half


def shares(acid: Acid, inverse, t) -> list:
    """Share of every form of an acid system, the one that holds all protons first. [-]"""
    weights = list(_weights(acid, inverse, t))
    rest = 1 / sum(weights)
    return [weight * rest for weight in weights]


def _weights(acid: Acid, inverse, t) -> Iterator:
    """Amount of every form beside 1 of the form that holds all protons. [-]"""
    weight, square, factor = 1.0, t * t, inverse * _odd_power(t, 1 - 2 * acid.charge)
    yield weight
    for constant in acid.constants:
        weight = weight * (constant * factor)
        yield weight
        factor = factor * square


def _odd_power(t, exponent: int):
    """A small odd power of t, by products alone."""
    power, square = t, t * t
    for _ in range((abs(exponent) - 1) // 2):
        power = power * square
    return power if exponent > 0 else 1 / power


def _add_any(found: tuple, acid: Acid, inverse, t) -> tuple:
    """Any system, by the moments of the charge over its forms: slopes are covariances."""
    all_forms, charge = 0.0, acid.charge
    up_1 = up_2 = up_3 = down_1 = down_2 = down_3 = up_4 = down_4 = 0.0
    for weight in _weights(acid, inverse, t):
        all_forms = all_forms + weight
        if charge > 0:
            part = charge * weight
            up_1, part = up_1 + part, charge * part
            up_2, part = up_2 + part, charge * part
            up_3, up_4 = up_3 + part, up_4 + charge * part
        elif charge == -1:
            down_1, down_2, down_3, down_4 = down_1 + weight, down_2 + weight, down_3 + weight, down_4 + weight
        elif charge < -1:
            part = -charge * weight
            down_1, part = down_1 + part, -charge * part
            down_2, part = down_2 + part, -charge * part
            down_3, down_4 = down_3 + part, down_4 - charge * part
        charge -= 1
    share = 1 / all_forms
    mean, square = (up_1 - down_1) * share, (up_2 + down_2) * share
    part, half = acid.total * share, 0.5 * acid.total
    p, p_h, p_t, n, n_h, n_t, s, s_h, s_t = found
    if acid.charge > 0:
        p = p + part * up_1
        p_h = p_h + part * (up_2 - up_1 * mean)
        p_t = p_t + part * (up_3 - up_1 * square)
    if acid.charge < len(acid.constants):
        n = n + part * down_1
        n_h = n_h - part * (down_2 + down_1 * mean)
        n_t = n_t + part * (down_3 - down_1 * square)
    return (
        p, p_h, p_t, n, n_h, n_t,
        s + half * square,
        s_h + half * ((up_3 - down_3) * share - square * mean),
        s_t + half * ((up_4 + down_4) * share - square * square),
    )  # fmt: skip
