"""The review: a formula, or any composition, held against every coded rule.

Each rule is a plain function of a composition (some also of the spec) that yields findings. To add one, write it in the
module of its subject and name it in one of the tuples below.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.formula.composition import Composition
from kit.formula.model import FormulaModel, SpecLine
from kit.formula.rules import (
    balance,
    caps,
    charge,
    facts,
    heat,
    network,
    preservation,
    ranges,
)
from kit.formula.rules.findings import Finding, Review

__all__ = ["RULES", "SPEC_RULES", "Finding", "Review", "review", "review_formula"]

RULES = (
    balance.total,
    balance.negative,
    caps.legal_limits,
    charge.anionic_polymer,
    charge.anionic_surfactant,
    charge.hard_chelator,
    charge.amine_acidified,
    preservation.preserved,
    heat.limit,
    heat.melt,
    heat.combined_cold,
    heat.unknown,
    network.ratio,
    network.loads,
    network.blend_alcohol,
    ranges.usual_contents,
    ranges.use_ranges,
    facts.from_memory,
)
SPEC_RULES = (ranges.ph_spec, ranges.ph_windows, ranges.unknown)


def review(composition: Composition, spec: Sequence[SpecLine] = (), *, title: str = "") -> Review:
    """A composition, meant, made or proposed, held against every rule.

    Parameters
    ----------
    composition : Composition   What is in the product, and how it is made.
    spec : sequence of SpecLine What the product must meet; its pH lines are held against pH windows.
    title : str                 What is reviewed, for the heading.
    """
    return _review(composition, spec, title or f"the composition as {composition.state}", ())


def review_formula(formula: FormulaModel) -> Review:
    """A formula held against every rule: first whether it adds up, then its composition."""
    first = tuple(balance.qs_lines(formula))
    if len(formula.qs_lines) > 1:
        return Review(formula.title, first, "No coded limit was checked: the composition is not determined.")
    return _review(formula.composition(), formula.spec, formula.title, first)


def _review(composition: Composition, spec: Sequence[SpecLine], title: str, first: tuple[Finding, ...]) -> Review:
    findings = facts.merged_unknowns([*first, *_apply(composition, spec)])
    return Review(title, tuple(findings), caps.closing(composition, findings))


def _apply(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    for rule in RULES:
        yield from rule(composition)
    for spec_rule in SPEC_RULES:
        yield from spec_rule(composition, spec)
