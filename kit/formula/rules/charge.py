"""Anionic-cationic incompatibility, and amines that stay a wax because acid is missing.

The limits are common practice, no source: sulfates and sulfonates bind a quaternary far more strongly than
carboxylates, and an anionic polymer pulls strings by bridging, whatever the balance of charge.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.charge import (
    CATIONIC_SURFACTANTS,
    CATIONICS,
    acid_meq_per_100g,
    amine_meq_per_100g,
    cationic_meq_per_100g,
    share_meq_per_100g,
    shares_of,
)
from kit.formula.composition import Composition, Share
from kit.formula.rules.findings import PRACTICE, Finding, brought, digits, names

_POLYMER_PCT = Decimal("0.05")
_HARD = "hard anion"
# Charge of the anions per charge of the cationic: (look again, do not make).
_SURFACTANT_LIMITS = {_HARD: (Decimal("0.02"), Decimal("0.1")), "soft anion": (Decimal("0.1"), None)}


def anionic_polymer(composition: Composition) -> Iterable[Finding]:
    """Any anionic polymer above 0.05 % together with a cationic."""
    cationics, polymers = shares_of(composition, *CATIONICS), shares_of(composition, "anionic polymer")
    content = sum((share.pct for share in polymers), Decimal(0))
    if cationics and content > _POLYMER_PCT:
        words = (
            f"Anionic polymer, {names(share.substance.inci for share in polymers)} {digits(content)} %, with a "
            f"cationic, {names(share.substance.inci for share in cationics)}: above {_POLYMER_PCT} % it pulls "
            "strings on contact and weeps later. Take a nonionic or cationic thickener instead."
        )
        yield Finding("stop", "charge.anionic_polymer", words, brought(polymers), content, _POLYMER_PCT, PRACTICE)


def anionic_surfactant(composition: Composition) -> Iterable[Finding]:
    """Large anions against the active cationic, each strength on its own limit."""
    cationic = cationic_meq_per_100g(composition)
    if not shares_of(composition, *CATIONIC_SURFACTANTS):
        return
    for strength in _SURFACTANT_LIMITS:
        shares = [share for share in shares_of(composition, "anionic surfactant") if _strength(share) == strength]
        amounts = [share_meq_per_100g(share) for share in shares]
        if shares and (cationic is None or None in amounts):
            yield _unknown_charge(shares)
        elif shares and sum(amounts) / cationic > _SURFACTANT_LIMITS[strength][0]:
            yield _clash(composition, shares, sum(amounts), cationic)


def hard_chelator(composition: Composition) -> Iterable[Finding]:
    """A chelator with phosphate groups may haze with a quaternary."""
    shares = [share for share in shares_of(composition, "chelator") if share.substance.charge_strength == _HARD]
    if shares and shares_of(composition, *CATIONIC_SURFACTANTS):
        words = (
            f"{names(share.substance.inci for share in shares)} ({digits(sum(share.pct for share in shares))} %) "
            "carries several hard anionic groups and may haze with the cationic: look at the water phase after the "
            "cationic is in."
        )
        yield Finding("note", "charge.hard_chelator", words, brought(shares), source=PRACTICE)


def amine_acidified(composition: Composition) -> Iterable[Finding]:
    """An amine needs about one equivalent of acid to be a cationic; no pH is computed, and the finding says so."""
    amines = shares_of(composition, "amine surfactant")
    amine, acid = amine_meq_per_100g(composition), acid_meq_per_100g(composition)
    if not amines:
        return
    if amine is None or acid is None:
        yield Finding(
            "note", "facts.unknown", "whether the acid neutralises the amine (molar mass or pKa)", brought(amines)
        )
        return
    met = (
        f"{names(share.substance.inci for share in amines)} ({digits(amine)} meq/100 g) meets {digits(acid, amine)} "
        "meq/100 g of acid (protons with a pKa below 5)"
    )
    counted = (
        "It is counted as if fully neutralised; no pH was computed, and alkaline lines take acid too: measure the pH."
    )
    if acid < amine:
        words = f"{met}, less than one equivalent: the rest stays a wax. Add acid to the water phase. {counted}"
        yield Finding("caution", "charge.amine_acid", words, brought(amines), acid, amine, PRACTICE)
    else:
        yield Finding(
            "note",
            "charge.amine_counted",
            f"{met}, one equivalent or more. {counted}",
            brought(amines),
            acid,
            amine,
            PRACTICE,
        )


def _strength(share: Share) -> str:
    """The strength class; an anion of unknown class is judged as the stronger one."""
    return share.substance.charge_strength or _HARD


def _clash(composition: Composition, shares: list[Share], anionic: Decimal, cationic: Decimal) -> Finding:
    strength, ratio = _strength(shares[0]), anionic / cationic
    caution, stop = _SURFACTANT_LIMITS[strength]
    severity, limit = ("stop", stop) if stop is not None and ratio > stop else ("caution", caution)
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
