"""Anionic-cationic incompatibility.

The limits are common practice, no source: sulfates, sulfonates and phosphates bind a quaternary far more strongly than
carboxylates, and an anionic polymer pulls strings by bridging, whatever the balance of charge. Charge is judged at the
highest pH the spec allows: there a carboxylate carries most and an amine least.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.charge import CATIONIC_SURFACTANTS, CATIONICS, share_meq_per_100g, shares_of
from kit.formula.charge_at_ph import charge_line
from kit.formula.composition import Composition, Share
from kit.formula.model import SpecLine
from kit.formula.ph_spec import highest_ph
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, names
from kit.formula.rules.judged import Content, Judged, Number, quotient
from kit.units import plain

_HARD = "hard anion"
POLYMER = Number((Content(("anionic polymer",)),))


@dataclass(frozen=True, slots=True)
class AnionicSurfactant:
    """Most charge the anionic surfactants of one strength have at a pH; None when a fact is not known. [meq/100 g]"""

    strength: str
    ph: Decimal | None

    def __call__(self, composition: Composition) -> Decimal | None:
        """The part of this composition."""
        amounts = [_meq(share, self.ph, max) for share in _of_strength(composition, self.strength)]
        return None if None in amounts else sum(amounts, Decimal(0))


@dataclass(frozen=True, slots=True)
class ActiveCationic:
    """Least charge the cationic surfactants have at a pH; None when a fact is not known. [meq/100 g]"""

    ph: Decimal | None

    def __call__(self, composition: Composition) -> Decimal | None:
        """The part of this composition."""
        amounts = [_meq(share, self.ph, min) for share in shares_of(composition, *CATIONIC_SURFACTANTS)]
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


def anionic_surfactant(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """Large anions against the active cationic, each strength on its own limit."""
    if not shares_of(composition, *CATIONIC_SURFACTANTS):
        return
    ph = highest_ph(spec)
    for strength in limits.ANIONIC_SURFACTANT:
        shares, number = _of_strength(composition, strength), _anions(strength, ph)
        ratio = number.of(composition) if shares else Decimal(0)
        if ratio is None:
            yield _unknown_charge(shares)
        elif ratio > limits.ANIONIC_SURFACTANT[strength][0]:
            yield _clash(composition, shares, number, ratio, ph)


def anionic_surfactant_judged(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Judged]:
    """Charge of each strength per charge of the cationic."""
    ph = highest_ph(spec)
    for strength, bounds in limits.ANIONIC_SURFACTANT.items() if shares_of(composition, *CATIONIC_SURFACTANTS) else ():
        if _of_strength(composition, strength) and _anions(strength, ph).of(composition) is not None:
            yield Judged(_anions(strength, ph), tuple(bound for bound in bounds if bound is not None))


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


def _anions(strength: str, ph: Decimal | None) -> Number:
    return Number((AnionicSurfactant(strength, ph), ActiveCationic(ph)), quotient)


def _meq(share: Share, ph: Decimal | None, end: Callable) -> Decimal | None:
    """Charge without its sign: at a pH one end of its range, without a pH as if fully charged. [meq/100 g]"""
    if ph is None:
        return share_meq_per_100g(share)
    meq = charge_line(share, ph).meq
    return None if meq is None else end(map(abs, meq))


def _of_strength(composition: Composition, strength: str) -> list[Share]:
    """Anionic surfactants of one class; an anion of unknown class is judged as the stronger one."""
    return [
        share
        for share in shares_of(composition, "anionic surfactant")
        if (share.substance.charge_strength or _HARD) == strength
    ]


def _clash(
    composition: Composition, shares: list[Share], number: Number, ratio: Decimal, ph: Decimal | None
) -> Finding:
    strength = shares[0].substance.charge_strength or _HARD
    caution, stop = limits.ANIONIC_SURFACTANT[strength]
    severity, limit = ("stop", stop) if stop is not None and ratio > stop else ("caution", caution)
    anionic, cationic = (part(composition) for part in number.parts)
    words = (
        f"{names(share.substance.inci for share in shares)}: {digits(anionic)} meq/100 g of a {strength} against "
        f"{digits(cationic)} meq/100 g of active cationic {_counted_at(composition, shares, ph)}, ratio "
        f"{digits(ratio, limit)}, above {limit:.2f}: they bind each other and the cationic is lost to the hair. Take "
        "it out, or use a nonionic instead."
    )
    return Finding(severity, "charge.anionic_surfactant", words, brought(shares), ratio, limit, PRACTICE)


def _counted_at(composition: Composition, shares: list[Share], ph: Decimal | None) -> str:
    """The pH the charges hold at, and what was taken as fully charged."""
    told = "(no pH in the spec" if ph is None else f"(at pH {plain(ph)}, the highest the spec allows"
    weak = [share for share in shares if (share.substance.charge_strength or _HARD) != _HARD]
    weak += shares_of(composition, "amine surfactant")
    full = [share.substance.inci for share in weak if ph is None or not share.substance.pka]
    return f"{told}; {names(full)} counted as fully charged)" if full else f"{told})"


def _unknown_charge(shares: list[Share]) -> Finding:
    words = (
        f"{names(share.substance.inci for share in shares)} is anionic and meets a cationic; how much is not known, "
        "because a molar mass or a charge is missing. They bind each other: take it out, or add the fact and "
        "review again."
    )
    return Finding("caution", "charge.anionic_surfactant", words, brought(shares), source=PRACTICE)
