"""One supply form from several lots: the mixture of their parts by mass, and what it means for its chemistry.

Masses of parts add by mass; amounts of substance add by moles: the molar mass of a mixture is the mass over the moles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from kit.formula.composition import apportion
from kit.formula.material import Material
from kit.formula.mixed_substance import mixed_substance
from kit.formula.substance import Fact, Part

_PLACES = 12  # of a blended part: far below what any certificate states, and together still 100 exactly

Dose = tuple[Material, Fraction]  # the form as one lot has it, and its mass [g]


def blend(form: Material, doses: Sequence[Dose]) -> Material:
    """The form that several lots of it make together; the key stays, its parts add up to 100 % exactly.

    Parameters
    ----------
    form : Material                    The supply form as its supplier describes it.
    doses : sequence of (Material, Fraction)   The form as each lot's certificate describes it, and its mass. [g]

    Returns
    -------
    Material   `form` itself when no lot is certified, the one lot's form when there is one; else the mean by mass, to
               twelve decimals, with molar masses averaged over moles and chains over mass.
    """
    kept = [(material, mass) for material, mass in doses if mass]
    if not kept or all(not material.lot for material, _ in kept):
        return form
    if len({material.lot for material, _ in kept}) == 1:
        return kept[0][0]
    total = sum(mass for _, mass in kept)
    incis = list(dict.fromkeys(part.inci for material, _ in kept for part in material.parts))
    shares = [sum(mass * _pct(material, inci) for material, mass in kept) / total for inci in incis]
    pcts = apportion(shares, Decimal(100), _PLACES)
    parts = tuple(_part(inci, pct, kept) for inci, pct in zip(incis, pcts, strict=True))
    labels = dict.fromkeys(material.lot or "typical values" for material, _ in kept)
    return replace(form, parts=parts, lot=", ".join(labels), density=_density(form, kept, total))


def _pct(material: Material, inci: str) -> Fraction:
    return Fraction(next((part.pct for part in material.parts if part.inci == inci), Decimal(0)))


def _part(inci: str, pct: Decimal, doses: Sequence[Dose]) -> Part:
    bringing = [(part, mass) for material, mass in doses for part in material.parts if part.inci == inci]
    substance, amount = bringing[0][0].substance, Fraction(0)
    for part, mass in bringing:
        own = mass * Fraction(part.pct)
        substance = mixed_substance(substance, _decimal(amount), part.substance, _decimal(own))
        amount += own
    certified = [part for part, _ in bringing if part.kind == "measured"]
    source = ", ".join(dict.fromkeys(part.source for part in certified))
    first = certified[0] if certified else bringing[0][0]
    return replace(first, substance=substance, pct=pct.normalize() + 0, source=source or first.source)


def _density(form: Material, doses: Sequence[Dose], total: Fraction) -> Fact | None:
    """Volumes add: mass over the sum of volumes, where the density of every lot is known as one number. [g/mL]"""
    facts = [material.density for material, _ in doses]
    if any(fact is None or fact.value is None for fact in facts):
        return form.density
    if len({fact.value for fact in facts}) == 1:
        return facts[0]
    volume = sum(mass / Fraction(material.density.value) for material, mass in doses)
    value = _decimal(total / volume).quantize(Decimal("0.0001"))
    return Fact("g/mL", "measured", ", ".join(dict.fromkeys(fact.source for fact in facts)), value=value)


def _decimal(value: Fraction) -> Decimal:
    return Decimal(value.numerator) / Decimal(value.denominator)
