"""Why this one next, and what limits it, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.science.number_text import short
from kit.trials.next_trial_choice import SETTLE
from kit.trials.wording import plural, significant

if TYPE_CHECKING:
    from kit.science.goal_surfaces import Surfaces
    from kit.trials.next_trial_choice import Pick
    from kit.trials.next_trial_goals import ReadGoal
    from kit.trials.response_data import ResponseBatch

_FEW = 5  # degrees of freedom below which a scatter is called poorly known (common practice, no source)
_BLIND = 0.2  # explained share of left-out batches below which a surface says little (own choice)


def reason(pick: Pick, goals: Sequence[ReadGoal], batches: Sequence[ResponseBatch], outside: str) -> str:
    """Why this one, in words.

    Parameters
    ----------
    pick : Pick
    goals : sequence of ReadGoal
    batches : sequence of ResponseBatch   Those it rests on.
    outside : str                         Why it lies outside the tried region.
    """
    best = batches[pick.best_batch].batch
    said = "; ".join(_predicted(pick, goal) for goal in goals)
    where = f" It lies {outside}: the prediction leans on the trend." if outside else ""
    if pick.aim == SETTLE:
        now, after = pick.half_width
        log = next(goal.result.scale == "ln" for goal in goals if goal.name == pick.question)
        widths = (f"{100 * math.expm1(w):.0f} %" if log else short(w, 2) for w in (now, after))
        first, second = widths
        return (
            f"It settles most: whether {pick.question} of {best} meets its goal is the least sure. What is known of "
            f"its mean narrows from ± {first} to ± {second}. Predicted {said}.{where}"
        )
    if pick.out_of_reach:
        return f"{_beyond(pick, goals, len(batches))} This comes nearest: predicted {said}.{where}"
    if not pick.gains:
        return (
            f"No gain over {best} is in sight: this is the most that the batches promise (desirability "
            f"{pick.desirability:.2f}). Make it to confirm, or widen the bounds. Predicted {said}.{where}"
        )
    if pick.best <= 0:
        return (
            f"Chance of {_chance(pick.chance)} to meet every goal, which no batch so far is predicted to do; expected "
            f"gain {pick.improvement:.3f}. Predicted {said}.{where}"
        )
    return (
        f"Chance of {_chance(pick.chance)} to be better than {best}, of which a desirability of "
        f"{pick.best_expected:.2f} can be expected (of its prediction alone {pick.best:.2f}); expected gain "
        f"{pick.improvement:.3f}. Predicted {said}.{where}"
    )


def _beyond(pick: Pick, goals: Sequence[ReadGoal], count: int) -> str:
    """What is out of reach, and how near the nearest prediction comes."""
    told = f"within these bounds, as far as {plural(count, 'batch', 'batches')} can tell"
    advice = "Widen the bounds, vary something else, or ask for less."
    named = {goal.name: goal for goal in goals}
    parts = []
    for one in pick.out_of_reach:
        if not one.goal:
            return (
                f"No gain is in sight: each goal can be met by itself, but no formula {told} meets all of them "
                f"together (chance {_chance(one.chance)} at most). {advice}"
            )
        nearest = interval_of((one.middle, one.low, one.high), named[one.goal])
        limits = _limits(named[one.goal])
        parts.append(
            f"{one.goal} {limits} is out of reach (chance {_chance(one.chance)} at most): the nearest is {nearest}"
        )
    return f"No gain is in sight: {'; '.join(parts)}, {told}. {advice}"


def _limits(goal: ReadGoal) -> str:
    """ "of 60000 mPa.s or more", "between 13000 and 20000 mPa.s" """
    wanted, unit = goal.goal, "" if goal.result.unit == "1" else f" {goal.result.unit}"
    low = None if wanted.kind == "smaller" else wanted.low
    high = None if wanted.kind == "larger" else wanted.high
    if low is not None and high is not None:
        return f"between {low:g} and {high:g}{unit}"
    return f"of {high:g}{unit} or less" if low is None else f"of {low:g}{unit} or more"


def _chance(share: float) -> str:
    return "less than 1 %" if share < 0.01 else f"{100 * share:.0f} %"


def _predicted(pick: Pick, goal: ReadGoal) -> str:
    return f"{goal.name} {interval(pick, goal)}"


def interval(pick: Pick, goal: ReadGoal) -> str:
    """The prediction of one property with the interval of a new batch.

    Parameters
    ----------
    pick : Pick
    goal : ReadGoal   Whose property.
    """
    return interval_of([part[goal.name] for part in (pick.middle, pick.low, pick.high)], goal)


def interval_of(values: Sequence[float], goal: ReadGoal) -> str:
    """A middle with the interval of a new batch.

    Parameters
    ----------
    values : sequence of float   Middle, low and high. [unit]
    goal : ReadGoal              Whose property.
    """
    unit = "" if goal.result.unit == "1" else f" {goal.result.unit}"
    middle, low, high = (significant(value, 3) for value in values)
    return f"{middle}{unit} (95 % of new batches {low} to {high})"


def cautions(picks: Sequence[Pick], surfaces: Surfaces) -> list[str]:
    """What limits the suggestions: how far the surfaces can be trusted."""
    told = []
    for name, fit in surfaces.fits.items():
        share = fit.left_out_r2
        if share < _BLIND:
            told.append(
                f"{name}: of a batch left out the others say next to nothing (predicted R² {max(share, 0):.2f}): the "
                "suggestion explores, it does not rest on a trend."
            )
        if fit.df < _FEW:
            told.append(f"{name}: scatter itself poorly known ({fit.df} df).")
    if picks:
        told.append("The predicted pH is that of the formula as meant; read it before anything is concluded.")
    return told
