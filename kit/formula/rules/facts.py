"""What the review rests on: what was not checked because a fact is unknown, and what rests on memory."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from kit.formula.composition import Composition
from kit.formula.material import Fact
from kit.formula.rules.caps import met
from kit.formula.rules.findings import Finding, names

_PLURALS = {
    "use_range": ("use range", "use ranges"),
    "heat_max": ("heat limit", "heat limits"),
    "melt_min": ("melting temperature", "melting temperatures"),
    "ph_window": ("pH window", "pH windows"),
    "molar_mass": ("molar mass", "molar masses"),
    "charge_density": ("charge density", "charge densities"),
    "pka": ("pKa", "pKa"),
    "norrish_k": ("Norrish constant", "Norrish constants"),
    "hlb": ("HLB", "HLB"),
    "required_hlb": ("required HLB", "required HLB"),
    "cap": ("limit of law", "limits of law"),
}

UNKNOWN = "facts.unknown"
_ACIDS = ("acid", "preservative")


def from_memory(composition: Composition) -> Iterable[Finding]:
    """One note that counts the numbers used here which no document read backs."""
    used = [*_facts(composition), *(("cap", cap.kind) for cap in met(composition))]
    counts = Counter(name for name, kind in used if kind == "memory")
    if counts:
        told = names((f"{count} {_PLURALS[name][count > 1]}" for name, count in counts.most_common()), most=len(counts))
        limits = [cap.title for cap in met(composition) if cap.kind == "memory"]
        law = (
            f" Limits of law among them, to be read before use: {names(limits)}."
            if limits
            else " No limit of law is among them."
        )
        yield Finding(
            "note",
            "facts.memory",
            f"{sum(counts.values())} of the {len(used)} numbers used here rest on memory or common practice, "
            f"not on a document read: {told}.{law} Replace them with the supplier's data.",
        )


def merged_unknowns(findings: Iterable[Finding]) -> list[Finding]:
    """All findings, those with the code `facts.unknown` drawn together into one note."""
    known, gaps = [], []
    for finding in findings:
        (gaps if finding.code == UNKNOWN else known).append(finding)
    if gaps:
        words = f"Not checked, because a fact is unknown: {'; '.join(dict.fromkeys(gap.words for gap in gaps))}."
        about = tuple(dict.fromkeys(key for gap in gaps for key in gap.materials))
        known.append(Finding("note", UNKNOWN, words, about))
    return known


def _facts(composition: Composition) -> Iterable[tuple[str, str]]:
    for material in composition.materials():
        for name, fact in material.facts():
            if name in _PLURALS:
                yield name, fact.kind
    for share in composition.shares().values():
        for name in ("molar_mass", "charge_density"):
            fact: Fact | None = getattr(share.substance, name)
            if fact is not None and _counts_by_mole(share.substance.category):
                yield name, fact.kind
        for name in ("norrish_k", "hlb", "required_hlb"):
            fact = getattr(share.substance, name)
            if fact is not None and share.pct > 0:
                yield name, fact.kind
        for fact in share.substance.pka if share.substance.category in _ACIDS else ():
            yield "pka", fact.kind


def _counts_by_mole(category: str) -> bool:
    """Categories whose amount in moles or charge a rule uses."""
    return category in (
        "cationic surfactant",
        "amine surfactant",
        "fatty alcohol",
        "anionic surfactant",
        "anionic polymer",
        "acid",
        "preservative",
    )
