"""Charge of a composition at a pH: which large ions carry theirs, and what the small ones carry beside them.

An amine is a cation as far as it is protonated, a carboxylate an anion as far as it is ionised, a quaternary, a sulfate
or a sulfonate always. Constants are taken as the facts state them and are not moved to the ionic strength of the
product: in a conditioner that is worth 0.1 to 0.3 of a pKa for the later protons of citrate and EDTA, nothing for an
amine well below its pKa.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.errors import FormulaError
from kit.formula.charge import ANIONICS, CATIONICS
from kit.formula.charge_balance import ChargeBalance, ChargeLine, CounterIon, Span
from kit.formula.composition import Composition, Share
from kit.formula.material import Fact, Substance
from kit.formula.model import FormulaModel
from kit.formula.molar import mmol_per_100g
from kit.formula.ph_spec import highest_ph
from kit.science.mean_charge import mean_charge
from kit.units import number, plain

_DEFAULT_STRENGTH = {
    "cationic surfactant": "quaternary",
    "cationic polymer": "quaternary",
    "amine surfactant": "amine",
    "anionic surfactant": "hard anion",
    "anionic polymer": "soft anion",
}
# Categories whose fully protonated form is an acid without charge, where nothing else is stated.
_ACIDS = ("acid", "chelator", "preservative", "salt")
_WHOLE = Span(Decimal(1), Decimal(1))
_ON_BILAYER = "lower on a charged bilayer by an unknown amount"


def charge_at_ph(composition: Composition, ph: object, *, title: str = "") -> ChargeBalance:
    """Signed charge of the large ions at a pH, and the small counter-ions beside them.

    Parameters
    ----------
    composition : Composition   Meant, made or proposed.
    ph : str or number          The pH the product has or is to have, 0 to 14. [-]
    title : str                 What it is the charge of, for the heading.

    Raises
    ------
    FormulaError   `charge.ph`: a pH outside 0 to 14.
    UnitError      `units.not_a_number`.
    """
    at = number(ph, where="the pH of the charge balance")
    if not 0 <= at <= 14:
        raise FormulaError(f"pH {plain(at)} is no pH of a product", allowed="0 to 14", code="charge.ph")
    shares = [share for share in composition.shares().values() if share.pct > 0]
    lines = [charge_line(share, at) for share in shares if is_large_ion(share.substance)]
    small = [_counter_ion(share, at) for share in shares if _is_counter_ion(share.substance)]
    return ChargeBalance(
        title or f"the composition as {composition.state}",
        at,
        tuple(sorted(lines, key=_place)),
        tuple(sorted(small, key=lambda ion: (ion.meq is None, ion.meq or 0, ion.inci))),
        tuple(_remarks(shares)),
    )


def charge_of(formula: FormulaModel, ph: object = None) -> ChargeBalance:
    """Charge of a formula as meant, at a pH or at the upper end of its pH spec.

    Parameters
    ----------
    formula : FormulaModel   As meant.
    ph : str or number       Without it the highest pH its spec allows: there an amine carries least and a
                             carboxylate most. [-]

    Raises
    ------
    FormulaError   `charge.ph`: no pH given and none in the spec, or one outside 0 to 14.
    """
    at = highest_ph(formula.spec) if ph is None else ph
    if at is None:
        raise FormulaError(
            "no pH to work the charge out at",
            where=formula.title,
            mend='give one, charge(ph="4.5"), or add a pH line to the spec',
            code="charge.ph",
        )
    return charge_at_ph(formula.composition(), at, title=formula.title)


def is_large_ion(substance: Substance) -> bool:
    """Whether a substance is a surfactant or a polymer with a charge, known in number or not."""
    if substance.category in (*CATIONICS, *ANIONICS):
        return True
    return substance.category not in _ACIDS and bool(substance.charge_strength)


def strength_of(substance: Substance) -> str:
    """Class of a large ion: as stated, else that of its category; an anion of unknown class is the stronger one."""
    return substance.charge_strength or _DEFAULT_STRENGTH[substance.category]


def charged_share(substance: Substance, ph: Decimal) -> Span:
    """Share of a large ion's groups that carry their charge; all of them where no pKa is known. [-]

    Parameters
    ----------
    substance : Substance   A surfactant or polymer.
    ph : Decimal            [-]
    """
    strength = strength_of(substance)
    if strength == "quaternary" or not substance.pka:
        return _WHOLE
    ends = [tuple(float(_end(fact, high)) for fact in substance.pka) for high in (False, True)]
    if strength == "amine":
        shares = [mean_charge(float(ph), pka, len(pka)) / len(pka) for pka in ends]
    else:
        shares = [-mean_charge(float(ph), pka) / len(pka) for pka in ends]
    return Span(*sorted(Decimal(f"{share:.6g}") for share in shares))


def charge_line(share: Share, ph: Decimal) -> ChargeLine:
    """What one large ion carries at a pH.

    Parameters
    ----------
    share : Share   An INCI part of a composition.
    ph : Decimal    [-]
    """
    substance, charged = share.substance, charged_share(share.substance, ph)
    whole = _whole_meq(share)
    meq = None if whole is None else _times(whole, charged)
    return ChargeLine(substance.inci, share.pct, strength_of(substance), charged, meq, _remark(substance, charged))


def _whole_meq(share: Share) -> Span | None:
    """Signed charge with every group charged; None when a fact is not known. [meq/100 g]"""
    substance, sign = share.substance, -1 if "anion" in strength_of(share.substance) else 1
    density = substance.charge_density
    if density is not None:
        known = [abs(value) for value in (density.value, density.low, density.high) if value is not None]
        return Span(*sorted((sign * share.pct * min(known), sign * share.pct * max(known))))
    amount = mmol_per_100g(substance, share.pct)
    if amount is None or not substance.charge:
        return None
    return Span(sign * amount * abs(substance.charge), sign * amount * abs(substance.charge))


def _times(meq: Span, charged: Span) -> Span:
    products = [one * other for one in meq for other in charged]
    return Span(min(products), max(products))


def _remark(substance: Substance, charged: Span) -> str:
    strength = strength_of(substance)
    stated = "" if substance.charge_strength else f"class not stated, taken as a {strength}"
    if strength in ("quaternary", "hard anion") and not substance.pka:
        return stated
    if not substance.pka:
        full = "protonated" if strength == "amine" else "ionised"
        return "; ".join(filter(None, [stated, f"pKa not known, counted as fully {full}"]))
    known = f"pKa {_pka_words(substance.pka)}"
    if strength == "amine":
        known += f", {_ON_BILAYER}"
    elif charged.high < Decimal("0.1"):
        known += ": nearly all un-ionised, about no charge"
    if substance.category == "anionic polymer":
        known += "; beside a polycation it gives up its protons more easily"
    return "; ".join(filter(None, [stated, known]))


def _pka_words(facts: Iterable[Fact]) -> str:
    listed = tuple(facts)
    words = ", ".join(fact.words() for fact in listed)
    return f"{words} (from memory)" if any(fact.kind == "memory" for fact in listed) else words


def _end(fact: Fact, high: bool) -> Decimal:
    """The value of a constant, or one end of its range."""
    if fact.value is not None:
        return fact.value
    first, second = (fact.high, fact.low) if high else (fact.low, fact.high)
    return first if first is not None else second


def _is_counter_ion(substance: Substance) -> bool:
    return not is_large_ion(substance) and bool(substance.pka or substance.charge)


def _counter_ion(share: Share, ph: Decimal) -> CounterIon:
    substance, amount = share.substance, mmol_per_100g(share.substance, share.pct)
    charge = _mean_charge(substance, ph) if substance.pka else Decimal(substance.charge)
    meq = None if amount is None or charge is None else amount * charge
    return CounterIon(substance.inci, share.pct, charge, meq, _counter_remark(substance))


def _mean_charge(substance: Substance, ph: Decimal) -> Decimal | None:
    protonated = substance.protonated_charge
    if protonated is None and substance.category in _ACIDS:
        protonated = 0
    if protonated is None:
        return None
    pka = tuple(float(_end(fact, True)) for fact in substance.pka)
    return Decimal(f"{mean_charge(float(ph), pka, protonated):.6g}")


def _counter_remark(substance: Substance) -> str:
    if not substance.pka:
        return f"a {substance.charge_strength or 'charge'} as stated, at any pH"
    return f"pKa {_pka_words(substance.pka)}" if any(fact.kind == "memory" for fact in substance.pka) else ""


def _remarks(shares: Iterable[Share]) -> Iterable[str]:
    both = [share.substance.inci for share in shares if share.substance.category == "protein"]
    if both:
        yield f"Charges of both signs, not known and left out: {', '.join(both)}."


def _place(line: ChargeLine) -> tuple:
    anion = "anion" in line.strength
    return anion, line.meq is None, -max(map(abs, line.meq)) if line.meq is not None else 0, line.inci
