"""What a split plot can tell: effects within a hot base, and of what is set once a base, each by its scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kit.trials.plan_factors import Factor
from kit.trials.plan_layouts import EFFECTS
from kit.trials.plan_model import BASE, Batch, model_of
from kit.trials.plan_power import Answer, Power, answer_to, day_sentences, left_out
from kit.trials.plan_scatter import Scatter


def power_of_split(
    batches: Sequence[Batch], factors: Sequence[Factor], within: Sequence[str], scatter: Scatter, *, order: int = 2
) -> Power:
    """What hot bases divided into parts can tell.

    Parameters
    ----------
    batches : sequence of Batch   Parts of bases, and batches made whole such as a control, which carry no effect.
    factors : sequence            What is varied.
    within : sequence of str      Factors set for each part.
    scatter : Scatter             Of batches; taken for bases and, for want of better, for the parts within a base.
    order : int                   Of the model.

    Returns
    -------
    Power   Its own degrees of freedom are those within the bases; those between bases stand in the notes.
    """
    parts = [batch for batch in batches if batch.base]
    inner = model_of(parts, factors, EFFECTS, "", order=order, blocks=BASE)
    answers = [
        _named(answer_to(inner, question, scatter), "within a base")
        for question in inner.questions
        if set(within) & set(_factors_of(question.name))
    ]
    hot = [place for place, factor in enumerate(factors) if factor.name not in within]
    notes = []
    if hot:
        bases = _bases(parts, hot)
        outer = model_of(bases, [factors[place] for place in hot], EFFECTS, "", order=order)
        answers = [_named(answer_to(outer, one, scatter), "between bases") for one in outer.questions] + answers
        notes.append(f"Between bases {outer.df} df of the plan's own: {len(bases)} bases, however many parts.")
    notes.insert(
        0, f"Scatter: {scatter.words}, taken for bases and parts alike. Within bases {inner.df} df of its own."
    )
    cannot = [*day_sentences(parts, factors, EFFECTS), *left_out(inner)]
    return Power(scatter, inner.df, tuple(answers), tuple(cannot), tuple(notes))


def _factors_of(question: str) -> list[str]:
    """Names of the factors that a question is about: "parfum × combine rpm, low to high" is about two."""
    return question.removeprefix("curvature in ").partition(", low to high")[0].split(" × ")


def _named(answer: Answer, where: str) -> Answer:
    return replace(answer, name=f"{answer.name} ({where})")


def _bases(parts: Sequence[Batch], hot: Sequence[int]) -> list[Batch]:
    """Each base once, with what is set hot."""
    found: dict[int, Batch] = {}
    for part in parts:
        coded = tuple(part.coded[place] for place in hot)
        found.setdefault(part.base, Batch(f"base {part.base}", f"base {part.base}", part.day, coded, base=part.base))
    return list(found.values())
