"""The review: a formula, or any composition, held against every coded rule.

Each rule is a plain function of a composition (some also of the spec) that yields findings. To add one, write it in the
module of its subject and name it in one of the tuples of `listed`, with the numbers it judges if codes depend on how
much of something is there. The rules are loaded by the first review: whoever only reads a formula needs none of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kit.formula.composition import Composition
from kit.formula.model import FormulaModel, SpecLine
from kit.formula.rules.findings import Finding, Review
from kit.formula.rules.lots import review_lots

__all__ = ["Finding", "Review", "review", "review_formula", "review_lots"]


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
    from kit.formula.rules import supply

    first = () if parent is None else supply.form_changed(composition, parent)
    return _review(composition, spec, title or f"the composition as {composition.state}", first)


def review_formula(formula: FormulaModel, *, parent: FormulaModel | None = None) -> Review:
    """A formula held against every rule: first whether it adds up, then its composition.

    Parameters
    ----------
    formula, parent : FormulaModel   What is reviewed, and the version it came from if there is one.
    """
    from kit.formula.rules import balance, supply

    first = list(balance.qs_lines(formula))
    if len(formula.qs_lines) > 1:
        return Review(formula.title, tuple(first), "No coded limit was checked: the composition is not determined.")
    composition = formula.composition()
    if parent is not None and len(parent.qs_lines) < 2:
        first += supply.form_changed(composition, parent.composition())
    return _review(composition, formula.spec, formula.title, first)


def _review(composition: Composition, spec: Sequence[SpecLine], title: str, first: Iterable[Finding]) -> Review:
    from kit.formula.rules import caps, facts

    findings = facts.merged_unknowns([*first, *_apply(composition, spec)])
    return Review(title, tuple(findings), caps.closing(composition, findings))


def _apply(composition: Composition, spec: Sequence[SpecLine]) -> Iterator[Finding]:
    from kit.formula.rules.listed import RULES, SPEC_RULES

    for rule in RULES:
        yield from rule.find(composition)
    for spec_rule in SPEC_RULES:
        yield from spec_rule.find(composition, spec)
