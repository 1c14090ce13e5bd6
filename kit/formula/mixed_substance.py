"""One ingredient from two sources that differ in chain or equivalent weight, such as two lots of a fatty alcohol."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from kit.formula.molar import molar_mass
from kit.formula.substance import Fact, Substance


def mixed_substance(one: Substance, amount: Decimal, other: Substance, other_amount: Decimal) -> Substance:
    """The ingredient that two amounts of it make together.

    Parameters
    ----------
    one, other : Substance           The same INCI name, possibly with another molar mass or another chain split.
    amount, other_amount : Decimal   Their masses, in one unit.

    Returns
    -------
    Substance   Chains are averaged by mass, molar masses over moles: M = (m1 + m2) / (m1 / M1 + m2 / M2). Where one of
                the two molar masses is not known, that of the mixture is not.
    """
    if one is other or (one.molar_mass == other.molar_mass and one.mixture_of == other.mixture_of) or other_amount <= 0:
        return one
    if amount <= 0:
        return other
    if one.mixture_of and other.mixture_of and one.molar_mass is None and other.molar_mass is None:
        return replace(one, mixture_of=_chains(one, amount, other, other_amount))
    return replace(one, molar_mass=_mean_mass(one, amount, other, other_amount), mixture_of=())


def _chains(
    one: Substance, amount: Decimal, other: Substance, other_amount: Decimal
) -> tuple[tuple[str, Decimal], ...]:
    first, second, total = dict(one.mixture_of), dict(other.mixture_of), amount + other_amount
    return tuple(
        (inci, (amount * first.get(inci, Decimal(0)) + other_amount * second.get(inci, Decimal(0))) / total)
        for inci in dict.fromkeys([*first, *second])
    )


def _mean_mass(one: Substance, amount: Decimal, other: Substance, other_amount: Decimal) -> Fact | None:
    masses = molar_mass(one), molar_mass(other)
    if None in masses:
        return None
    facts = [fact for fact in (one.molar_mass, other.molar_mass) if fact is not None]
    return Fact(
        "g/mol",
        "measured" if any(fact.kind == "measured" for fact in facts) else "estimated",
        ", ".join(dict.fromkeys(fact.source for fact in facts)),
        value=(amount + other_amount) / (amount / masses[0] + other_amount / masses[1]),
        conditions="mean of several sources, over moles",
    )
