"""The next trial: what to make so that the best formula so far is bettered, or an open question settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.labbook.source import open_source
from kit.science.goal_surfaces import Observed
from kit.trials import next_trial_words
from kit.trials.next_trial_candidates import Bench, check_bounds, mixture_words
from kit.trials.next_trial_choice import IMPROVE, SETTLE, Pick, Tried, choose, surfaces_of
from kit.trials.next_trial_goals import ReadGoal, read_goals
from kit.trials.next_trial_result import NextTrials, Suggestion
from kit.trials.response_coordinates import coordinates
from kit.trials.response_data import ResponseBatch, arms_of, collect, day_words, made_otherwise, results_of
from kit.trials.response_levels import read_level_factors
from kit.trials.results import LN
from kit.units import number

if TYPE_CHECKING:
    from kit.formula.prices import Price

_SLACK = 0.05  # of the tried ranges: batches made at an edge come out this near to it (own choice)
_MOST = 12  # suggestions at once; beyond that a plan serves better (own choice)


def next_trial(
    source: object,
    study: str,
    factors: Sequence[str] | Mapping[str, object],
    *,
    goals: Mapping[str, object] | None = None,
    n: int = 1,
    aim: str = IMPROVE,
    formula: Formula | None = None,
    mixture: bool | Sequence[str] | None = None,
    constraints: Sequence[str] = (),
    trials: Sequence[str] = (),
    without: Sequence[str] = (),
    absorb: str = "water",
    prices: Mapping[str, Price] | None = None,
    most_per_kg: object = None,
    seed: int = 1,
) -> NextTrials:
    """Suggest what to make next, from the record.

    Parameters
    ----------
    source : str, Path, Labbook or Source   A lab book, a snapshot, or something already open.
    study : str                             Its name.
    factors : sequence or dict              Material keys and settings of the making with their bounds,
                                            "cetearyl-alcohol: 4 to 6 %"; without bounds those that were tried.
    goals : dict                            "viscosity, 72 h" to words or a `Goal`, see `read_goals`; the spec of the
                                            study when omitted.
    n : int                                 How many, 12 at most; each counts those before as made.
    aim : str                               "improve", or "settle": what narrows most the question that is least sure.
    formula : Formula                       What is changed; the control's when omitted.
    mixture, trials                         As of `fit_response`.
    without : sequence of str               Trials or batches to leave aside, such as those made in another way.
    constraints : sequence of str           On the parts of a mixture, "a + b <= 2.5".
    absorb : str                            What takes up the change, as of `Formula.change`.
    prices, most_per_kg                     Materials for a kilogram at most; a formula whose cost is not known is not
                                            suggested then.
    seed : int                              Of the candidates; stated, so that the answer comes back.

    Returns
    -------
    NextTrials   Every formula balances to 100.00 and has no stop in its review. Where the batches cannot support a
                 suggestion there is none, and `reason` says what is missing.

    Raises
    ------
    KitError      `next.count`, `next.aim`, `next.bounds`, `next.setting`, `next.goal`, `next.goals`, and those of
                  `fit_response` and of a region that is empty.
    RecordError   `labbook.study`, and those of `open_source`.
    """
    _checked(n, aim)
    opened = open_source(source)
    view = opened.study(study)
    arms = arms_of(opened, view)
    results = results_of(opened, view, arms)
    wanted = read_goals(goals, results, view.spec)
    every = [batch for arm in arms for batch in arm.batches]
    chosen = [batch for batch in every if not trials or {batch.name, batch.trial} & set(trials)]
    found = read_level_factors(arms[0].formula, chosen, factors, mixture)
    data = {goal.name: collect(goal.result, arms, found, trials=trials, without=without) for goal in wanted}
    batches = tuple({item.batch: item for some in data.values() for item in some.batches}.values())
    space = coordinates(found, [batch.meant for batch in batches] or [[0.0] * len(found)])
    check_bounds(space)
    bench = Bench(
        formula or arms[0].formula,
        space,
        tuple(constraints),
        absorb,
        prices,
        None if most_per_kg is None else number(most_per_kg, where="most_per_kg"),
    )
    views = {batch.name: batch for batch in every}
    notes = (
        *mixture_words(space),
        *day_words(found, batches).values(),
        *made_otherwise(found, batches, (), views),
        *_left_aside(data),
    )
    unpriced = bench.unpriced()
    if unpriced:
        reason = f"the cost is not known: no price of {', '.join(unpriced)}"
        return NextTrials(view.name, (), wanted, space, "", None, batches, reason, notes)
    try:
        tried = _tried(batches, data, wanted)
        surfaces = surfaces_of(bench, tried)
    except KitError as problem:
        if problem.code != "next.few":
            raise
        reason = f"{problem.what}; it takes {problem.allowed}. {problem.mend.capitalize()}"
        return NextTrials(view.name, (), wanted, space, "", None, batches, reason, notes)
    picks = choose(bench, tried, surfaces, n, aim=aim, seed=seed)
    best = surfaces.outlook(surfaces.tried[:1], seed=seed)
    suggestions = tuple(
        _suggestion(pick, place, bench, tried, batches, wanted, n) for place, pick in enumerate(picks, 1)
    )
    reason = "" if suggestions else bench.why_none(seed)
    return NextTrials(
        view.name,
        suggestions,
        wanted,
        space,
        batches[best.best_batch].batch,
        best.best,
        batches,
        reason,
        (*notes, *next_trial_words.cautions(picks, surfaces)),
    )


def _checked(n: int, aim: str) -> None:
    if not 1 <= n <= _MOST:
        raise KitError(
            f"{n} suggestions at once",
            where="next_trial()",
            allowed=f"1 to {_MOST}",
            code="next.count",
            mend="ask for fewer, or plan a set of variations",
        )
    if aim not in (IMPROVE, SETTLE):
        raise KitError(f"aim={aim!r} is not known", allowed=f"{IMPROVE}, {SETTLE}", code="next.aim")


def _left_aside(data: Mapping[str, object]) -> list[str]:
    """Batches that say nothing of a goal, and why."""
    return [f"{name}: {item.batch} does not count: {item.why}" for name, some in data.items() for item in some.unused]


def _tried(batches: Sequence[ResponseBatch], data: Mapping[str, object], goals: Sequence[ReadGoal]) -> Tried:
    import numpy as np

    observed = {}
    for goal in goals:
        values = {item.batch: item.value for item in data[goal.name].batches}
        scatter = goal.result.scatter
        earlier = scatter.sd and any(told.startswith("study ") for told in scatter.rests_on)
        observed[goal.name] = Observed(
            [values.get(batch.batch) for batch in batches],
            goal.goal,
            goal.result.scale == LN,
            scatter.sd if earlier else None,
            scatter.df if earlier else None,
        )
    if not batches:
        raise KitError(
            "no batch counts",
            allowed="batches with their levels and readings",
            mend="plan a first set of batches that covers the region",
            code="next.few",
        )
    made, meant = (np.array([getattr(batch, state) for batch in batches]) for state in ("levels", "meant"))
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = np.where(meant > 0, made / meant, np.nan)
    usual = [float(np.nanmean(column)) if np.isfinite(column).any() else 1.0 for column in shares.T]
    return Tried(made.tolist(), meant.tolist(), observed, [batch.day for batch in batches], tuple(usual))


def _suggestion(
    pick: Pick,
    place: int,
    bench: Bench,
    tried: Tried,
    batches: Sequence[ResponseBatch],
    goals: Sequence[ReadGoal],
    count: int,
) -> Suggestion:
    from dataclasses import replace

    from kit.science.tried_region import outside_words

    levels = [level * share for level, share in zip(pick.candidate.levels, tried.made_share, strict=True)]
    space = bench.space
    outside = outside_words(space.to_model([levels]), space.to_model(tried.levels), _SLACK)[0]
    base = bench.base
    version = f"{base.version}-next" + (f"-{place}" if count > 1 else "")
    why = next_trial_words.reason(pick, goals, batches, outside)
    formula = replace(pick.candidate.formula, version=version, parent=base.fingerprint, why=why, file="")
    named = dict(zip(space.names, pick.candidate.levels, strict=True))
    return Suggestion(formula, named, pick, formula.predict_ph(), formula.review(), outside, why)
