"""Charge of the large ions in a composition: active cationic, large anions, and the acid an amine needs.

Only surfactants and polymers count. Small counter-ions (chloride, lactate, citrate, benzoate, EDTA) bind loosely and
are left out. An amine is a cation only when acidified; here it is counted as if fully neutralised, at no pH in
particular: kit/formula/charge_at_ph.py says what is charged at one.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.composition import Composition, Share
from kit.formula.material import Substance
from kit.formula.molar import mmol_per_100g

CATIONIC_SURFACTANTS = ("cationic surfactant", "amine surfactant")
CATIONICS = (*CATIONIC_SURFACTANTS, "cationic polymer")
ANIONICS = ("anionic surfactant", "anionic polymer")

# A proton with a pKa below this is given up to an amine while the product is still mildly acid.
_GIVEN_UP_BELOW_PKA = Decimal(5)


def shares_of(composition: Composition, *categories: str) -> list[Share]:
    """The INCI parts of these categories that are present, largest first."""
    return [
        share for share in composition.shares().values() if share.substance.category in categories and share.pct > 0
    ]


def share_meq_per_100g(share: Share) -> Decimal | None:
    """Charge one INCI part brings, without its sign; None when a fact it needs is not known. [meq/100 g]

    For a polymer whose charge density is known as a range, the upper end counts.
    """
    substance = share.substance
    if substance.charge_density is not None:
        return share.pct * _density(substance)
    amount = mmol_per_100g(substance, share.pct)
    return None if amount is None or not substance.charge else amount * abs(substance.charge)


def cationic_meq_per_100g(composition: Composition) -> Decimal | None:
    """Active cationic surfactant, amines as if fully neutralised; cationic polymers apart. [meq/100 g]"""
    return _total(shares_of(composition, *CATIONIC_SURFACTANTS))


def anionic_meq_per_100g(composition: Composition) -> Decimal | None:
    """Large anions: anionic surfactants and polymers, as if fully ionised. [meq/100 g]"""
    return _total(shares_of(composition, *ANIONICS))


def amine_meq_per_100g(composition: Composition) -> Decimal | None:
    """Amine surfactant to be neutralised. [meq/100 g]"""
    return _total(shares_of(composition, "amine surfactant"))


def acid_groups(substance: Substance) -> int | None:
    """Protons one molecule gives up to an amine: as stated, else the pKa below 5 are counted; None when not known."""
    if substance.acid_groups is not None:
        return substance.acid_groups
    if not substance.pka:
        return None
    return sum(1 for fact in substance.pka if fact.value is not None and fact.value < _GIVEN_UP_BELOW_PKA)


def surfactant_class(substance: Substance) -> str:
    """Class of a cationic: esterquat, amidoamine, monoalkyl or dialkyl quat; read from the INCI name if not stated.

    Two-chain quaternaries carry it in their name (Distearyldimonium); their esters name the ethyl between (oylethyl).
    """
    name = substance.inci.lower()
    if substance.surfactant_class or substance.category not in CATIONIC_SURFACTANTS:
        return substance.surfactant_class
    if substance.category == "amine surfactant":
        return "amidoamine"
    if "oylethyl" in name:
        return "esterquat"
    return "dialkyl quat" if name.startswith("di") else "monoalkyl quat"


def _total(shares: Iterable[Share]) -> Decimal | None:
    parts = [share_meq_per_100g(share) for share in shares]
    return None if any(part is None for part in parts) else sum(parts, Decimal(0))


def _density(substance: Substance) -> Decimal:
    fact = substance.charge_density
    return max(abs(number) for number in (fact.value, fact.low, fact.high) if number is not None)
