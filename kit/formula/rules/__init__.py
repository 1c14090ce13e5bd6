"""The review: a formula, or any composition, held against every coded rule.

Each rule is a plain function of a composition (some also of the spec) that yields findings. To add one, write it in the
module of its subject and name it in one of the tuples below, with the numbers it judges if codes depend on how much of
something is there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kit.formula.composition import Composition
from kit.formula.model import FormulaModel, SpecLine
from kit.formula.rules import (
    amine,
    balance,
    cap_numbers,
    caps,
    charge,
    conditions,
    facts,
    heat,
    hlb,
    lots,
    network,
    ph,
    predicted,
    preservation,
    ranges,
    supply,
)
from kit.formula.rules.findings import Finding, Review
from kit.formula.rules.judged import Rule

__all__ = ["RULES", "SPEC_RULES", "Finding", "Review", "review", "review_formula", "review_lots"]

review_lots = lots.review_lots

RULES = (
    Rule(balance.total, balance.total_judged),
    Rule(balance.negative),
    Rule(caps.legal_limits, cap_numbers.legal_limits_judged),
    Rule(conditions.fragrance_certificate, conditions.fragrance_certificate_judged),
    Rule(conditions.law_conditions),
    Rule(charge.anionic_polymer, charge.anionic_polymer_judged),
    Rule(charge.hard_chelator),
    Rule(charge.weak_thickener),
    Rule(amine.acidified, amine.acidified_judged),
    Rule(amine.acidified_hot, amine.acidified_hot_judged),
    Rule(amine.lactic_oligomers),
    Rule(preservation.preserved, preservation.preserved_judged),
    Rule(heat.limit),
    Rule(heat.melt),
    Rule(heat.combined_cold),
    Rule(heat.process),
    Rule(heat.unknown),
    Rule(network.without_cationic),
    Rule(network.ratio, network.ratio_judged),
    Rule(network.loads, network.loads_judged),
    Rule(network.blend_alcohol),
    Rule(network.lipid, network.lipid_judged),
    Rule(network.oil_load, network.oil_load_judged),
    Rule(hlb.hint),
    Rule(ranges.usual_contents, ranges.usual_contents_judged),
    Rule(ranges.usual_of_kind, ranges.usual_of_kind_judged),
    Rule(ranges.use_ranges, ranges.use_ranges_judged),
    Rule(ranges.unknown),
    Rule(facts.from_memory),
)
SPEC_RULES = (
    Rule(charge.anionic_surfactant, charge.anionic_surfactant_judged),
    Rule(conditions.ph_conditions),
    Rule(preservation.works_at_ph, preservation.works_at_ph_judged),
    Rule(ph.asked),
    Rule(ph.windows),
    Rule(ph.esterquat),
    Rule(ph.amidoamine),
    Rule(ph.unknown),
    Rule(predicted.outside, predicted.outside_judged),
    Rule(ranges.viscosity_spec),
)


def review(
    composition: Composition,
    spec: Sequence[SpecLine] = (),
    *,
    title: str = "",
    parent: Composition | None = None,
) -> Review:
    """A composition, meant, made or proposed, held against every rule.

    Parameters
    ----------
    composition : Composition   What is in the product, and how it is made.
    spec : sequence of SpecLine What the product must meet; its pH lines are held against pH windows.
    title : str                 What is reviewed, for the heading.
    parent : Composition        The version it came from, if a change of supply form is to be looked for.
    """
    first = () if parent is None else supply.form_changed(composition, parent)
    return _review(composition, spec, title or f"the composition as {composition.state}", first)


def review_formula(formula: FormulaModel, *, parent: FormulaModel | None = None) -> Review:
    """A formula held against every rule: first whether it adds up, then its composition.

    Parameters
    ----------
    formula, parent : FormulaModel   What is reviewed, and the version it came from if there is one.
    """
    first = list(balance.qs_lines(formula))
    if len(formula.qs_lines) > 1:
        return Review(formula.title, tuple(first), "No coded limit was checked: the composition is not determined.")
    composition = formula.composition()
    if parent is not None and len(parent.qs_lines) < 2:
        first += supply.form_changed(composition, parent.composition())
    return _review(composition, formula.spec, formula.title, first)


def _review(composition: Composition, spec: Sequence[SpecLine], title: str, first: Iterable[Finding]) -> Review:
    findings = facts.merged_unknowns([*first, *_apply(composition, spec)])
    return Review(title, tuple(findings), caps.closing(composition, findings))


def _apply(composition: Composition, spec: Sequence[SpecLine]) -> Iterator[Finding]:
    for rule in RULES:
        yield from rule.find(composition)
    for spec_rule in SPEC_RULES:
        yield from spec_rule.find(composition, spec)
