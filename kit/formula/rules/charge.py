"""Anionic-cationic incompatibility.

The limits are common practice, no source: sulfates, sulfonates and phosphates bind a quaternary far more strongly than
carboxylates, and an anionic polymer pulls strings by bridging, whatever the balance of charge.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.charge import (
    CATIONIC_SURFACTANTS,
    CATIONICS,
    cationic_meq_per_100g,
    share_meq_per_100g,
    shares_of,
)
from kit.formula.composition import Composition, Share
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, names
from kit.formula.rules.judged import Content, Judged, Number, quotient

_HARD = "hard anion"
POLYMER = Number((Content(("anionic polymer",)),))


@dataclass(frozen=True, slots=True)
class AnionicSurfactant:
    """Charge of the anionic surfactants of one strength; None when a fact is not known. [meq/100 g]"""

    strength: str

    def __call__(self, composition: Composition) -> Decimal | None:
        """The part of this composition."""
        amounts = [share_meq_per_100g(share) for share in _of_strength(composition, self.strength)]
        return None if None in amounts else sum(amounts, Decimal(0))


def anionic_polymer(composition: Composition) -> Iterable[Finding]:
    """Any anionic polymer above 0.05 % together with a cationic."""
    cationics, polymers = shares_of(composition, *CATIONICS), shares_of(composition, "anionic polymer")
    content, most = POLYMER.of(composition), limits.ANIONIC_POLYMER_PCT
    if cationics and content > most:
        words = (
            f"Anionic polymer, {names(share.substance.inci for share in polymers)} {digits(content, most)} %, with a "
            f"cationic, {names(share.substance.inci for share in cationics)}: above {most} % it pulls "
            "strings on contact and weeps later. Take a nonionic or cationic thickener instead."
        )
        yield Finding("stop", "charge.anionic_polymer", words, brought(polymers), content, most, PRACTICE)


def anionic_polymer_judged(composition: Composition) -> Iterable[Judged]:
    """The anionic polymer."""
    if shares_of(composition, *CATIONICS):
        yield Judged(POLYMER, (limits.ANIONIC_POLYMER_PCT,))


def anionic_surfactant(composition: Composition) -> Iterable[Finding]:
    """Large anions against the active cationic, each strength on its own limit."""
    if not shares_of(composition, *CATIONIC_SURFACTANTS):
        return
    for strength in limits.ANIONIC_SURFACTANT:
        shares, number = _of_strength(composition, strength), _anions(strength)
        ratio = number.of(composition) if shares else Decimal(0)
        if ratio is None:
            yield _unknown_charge(shares)
        elif ratio > limits.ANIONIC_SURFACTANT[strength][0]:
            yield _clash(composition, shares, number, ratio)


def anionic_surfactant_judged(composition: Composition) -> Iterable[Judged]:
    """Charge of each strength per charge of the cationic."""
    for strength, bounds in limits.ANIONIC_SURFACTANT.items() if shares_of(composition, *CATIONIC_SURFACTANTS) else ():
        if _of_strength(composition, strength) and _anions(strength).of(composition) is not None:
            yield Judged(_anions(strength), tuple(bound for bound in bounds if bound is not None))


def hard_chelator(composition: Composition) -> Iterable[Finding]:
    """A chelator with phosphate groups may haze with a quaternary."""
    shares = [
        share for share in shares_of(composition, "chelator") if (share.substance.charge_strength or "soft") == _HARD
    ]
    if shares and shares_of(composition, *CATIONIC_SURFACTANTS):
        words = (
            f"{names(share.substance.inci for share in shares)} ({digits(sum(share.pct for share in shares))} %) "
            "carries several hard anionic groups and may haze with the cationic: look at the water phase after the "
            "cationic is in."
        )
        yield Finding("note", "charge.hard_chelator", words, brought(shares), source=PRACTICE)


def weak_thickener(composition: Composition) -> Iterable[Finding]:
    """A thickener with a few anionic groups, such as a starch phosphate, is used with cationics, and watched."""
    thickeners = shares_of(composition, "thickener", "starch")
    shares = [share for share in thickeners if "anion" in share.substance.charge_strength]
    if shares and shares_of(composition, *CATIONICS):
        words = (
            f"{names(share.substance.inci for share in shares)} carries a few anionic groups: try it with the cationic "
            "in a beaker first, and look for strings and haze."
        )
        yield Finding("note", "charge.weak_thickener", words, brought(shares), source=PRACTICE)


def _anions(strength: str) -> Number:
    return Number((AnionicSurfactant(strength), cationic_meq_per_100g), quotient)


def _of_strength(composition: Composition, strength: str) -> list[Share]:
    """Anionic surfactants of one class; an anion of unknown class is judged as the stronger one."""
    return [
        share
        for share in shares_of(composition, "anionic surfactant")
        if (share.substance.charge_strength or _HARD) == strength
    ]


def _clash(composition: Composition, shares: list[Share], number: Number, ratio: Decimal) -> Finding:
    strength = shares[0].substance.charge_strength or _HARD
    caution, stop = limits.ANIONIC_SURFACTANT[strength]
    severity, limit = ("stop", stop) if stop is not None and ratio > stop else ("caution", caution)
    anionic, cationic = (part(composition) for part in number.parts)
    amine = " (amine counted as if fully neutralised)" if shares_of(composition, "amine surfactant") else ""
    words = (
        f"{names(share.substance.inci for share in shares)}: {digits(anionic)} meq/100 g of a {strength} against "
        f"{digits(cationic)} meq/100 g of active cationic{amine}, ratio {digits(ratio, limit)}, above {limit:.2f}: "
        "they bind each other and the cationic is lost to the hair. Take it out, or use a nonionic instead."
    )
    return Finding(severity, "charge.anionic_surfactant", words, brought(shares), ratio, limit, PRACTICE)


def _unknown_charge(shares: list[Share]) -> Finding:
    words = (
        f"{names(share.substance.inci for share in shares)} is anionic and meets a cationic; how much is not known, "
        "because a molar mass or a charge is missing. They bind each other: take it out, or add the fact and "
        "review again."
    )
    return Finding("caution", "charge.anionic_surfactant", words, brought(shares), source=PRACTICE)
