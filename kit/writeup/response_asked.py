"""What is asked of the page of a response: factors and goals as they are typed, or as the study tells them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.formula.model import SpecLine
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.desirability import Goal
from kit.trials.judging import fold
from kit.trials.next_trial_goals import ReadGoal, read_goals
from kit.trials.plan import Plan
from kit.trials.plan_factors import LINE, Factor
from kit.trials.process import process_of
from kit.trials.response_data import find_result
from kit.trials.results import PropertyResult
from kit.units import plain

_TYPED = re.compile(r"^(?P<property>[^:,]+?)(?:(?:\s+at\s+|\s*,\s*)(?P<age>[^:,]+?))?(?:\s*:\s*(?P<wanted>.+))?$")
_MOST_UNASKED = 4  # properties that are fitted where nothing says what is wanted (own choice)


@dataclass(frozen=True)
class Wanted:
    """What is fitted, and what is wanted of it.

    Parameters
    ----------
    results : tuple of PropertyResult   To fit, in this order.
    goals : dict, None                  Property and age to words or a `Goal`; None: the spec of the study as it is.
    missing : str                       Why nothing says what is wanted; empty where something does.
    """

    results: tuple[PropertyResult, ...]
    goals: dict[str, str | Goal] | None
    missing: str = ""


def wanted_of(typed: Sequence[str], results: Sequence[PropertyResult], spec: Sequence[SpecLine]) -> Wanted:
    """What to fit and what is wanted.

    Parameters
    ----------
    typed : sequence of str   "viscosity at 72 h: 13000 to 20000", or without a goal: then that of the spec. Empty:
                              every numeric line of the spec that was read, but for the pH, which is predicted.
    results : sequence        What was read.
    spec : sequence           Of the study.

    Raises
    ------
    KitError   `next.goal` for a text that names no property, `response.property`.
    """
    if not typed:
        return _by_spec(results, spec)
    found, goals = {}, {}
    for text in typed:
        result, wanted = _read(text, results)
        found[result.title] = result
        goal = wanted or _goal_of_spec(result, results, spec)
        if goal:
            goals[result.title] = goal
    missing = "" if goals else "nothing says what is wanted: none of the properties has a goal or a line of the spec"
    return Wanted(tuple(found.values()), goals, missing)


def _by_spec(results: Sequence[PropertyResult], spec: Sequence[SpecLine]) -> Wanted:
    try:
        return Wanted(tuple(goal.result for goal in read_goals(None, results, spec)), None)
    except KitError as problem:
        if problem.code != "next.goals":
            raise
    # where nothing counts, the fits say of every reading why
    read = sorted((one for one in results if _count(one)), key=_count, reverse=True) or list(results)
    once = {fold(one.property): one for one in reversed(read)}
    shown = [one for one in read if once[fold(one.property)] is one][:_MOST_UNASKED]
    return Wanted(tuple(shown), {}, "nothing says what is wanted: the spec has no numeric line that was read, pH apart")


def _count(result: PropertyResult) -> int:
    return sum(arm.n_batches for arm in result.arms)


def _read(text: str, results: Sequence[PropertyResult]) -> tuple[PropertyResult, str]:
    match = _TYPED.match(" ".join(str(text).split()))
    if match is None:
        raise KitError(
            f"{text!r} names no property",
            where="goals",
            allowed='"viscosity at 72 h: 13000 to 20000", or "viscosity at 72 h" with the goal of the spec',
            mend="write it so",
            code="next.goal",
        )
    name, age = match["property"].strip(), (match["age"] or "").strip()
    own = [one for one in results if fold(one.property) == fold(name)]
    if not age and own:  # the age that is judged, else that of most batches
        return max(own, key=lambda one: (one.spec is not None, _count(one))), match["wanted"] or ""
    return find_result(results, name, age), match["wanted"] or ""


def _goal_of_spec(result: PropertyResult, results: Sequence[PropertyResult], spec: Sequence[SpecLine]) -> Goal | None:
    lines = [line for line in spec if fold(line.property) == fold(result.property)]
    try:
        found: tuple[ReadGoal, ...] = read_goals(None, results, lines)
    except KitError as problem:
        if problem.code != "next.goals":
            raise
        return None
    return next((goal.goal for goal in found if goal.name == result.title), None)


def factors_of(
    typed: Sequence[str], source: Source, study: StudyView, batches: Sequence[BatchView]
) -> tuple[tuple[str, ...], str]:
    """The factors, and where they come from, in words.

    Parameters
    ----------
    typed : sequence of str   "cetearyl-alcohol: 4 to 6 %", "combine rpm"; empty: those of the study's last plan.
    source : Source
    study : StudyView
    batches : sequence of BatchView   Of the study.

    Raises
    ------
    KitError   `response.factors` where none is named and no plan of numbers is kept.
    """
    if typed:
        return tuple(typed), "as asked"
    for kept in reversed(source.plans(study.name)):
        found = Plan.from_row(kept.row, kept.formulas).factors
        if all(factor.high > factor.low for factor in found) and found:
            return tuple(map(_as_typed, found)), f"of plan {kept.name}"
    raise KitError(
        "no factor was named, and no plan with levels is kept for this study",
        where="factors",
        allowed=", ".join(_varied(batches)) or "material keys and settings of the making",
        mend='name what was varied, such as factors = ["cetearyl-alcohol", "combine rpm"]',
        code="response.factors",
    )


def _as_typed(factor: Factor) -> str:
    """A factor of a plan as it would be typed here; a plan counts a percentage as supplied unless it says otherwise."""
    if factor.kind != LINE:
        return f"{factor.name}: {plain(factor.low)} to {plain(factor.high)} {factor.unit}"
    name, _, _ = factor.name.partition(" (")  # the phase, where a material stands in several
    return f"{name}: {plain(factor.low)} to {plain(factor.high)} {factor.unit} {factor.basis}"


def _varied(batches: Sequence[BatchView]) -> list[str]:
    """Materials, water apart, and numbers of the making that are not the same in every batch."""
    contents: dict[str, set] = {}
    for batch in batches:
        composition = batch.formula.composition()
        for material in composition.materials():
            if not material.is_water:
                contents.setdefault(material.key, set()).add(composition.pct(material.key))
    kept = [key for key, levels in contents.items() if len(levels) > 1]
    settings = {"combine rpm": "combining, rpm", "combine minutes": "combining, minutes"}
    made = [process_of(batch) for batch in batches]
    return kept + [name for name, subject in settings.items() if len({one.get(subject) for one in made}) > 1]
