"""What is wanted of the next trial: goals typed in words or taken from the spec of the study."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.formula.model import SpecLine
from kit.science.desirability import Goal, between, larger, smaller, target
from kit.show import Worded
from kit.trials.judging import fold
from kit.trials.response_data import find_result
from kit.trials.results import PropertyResult

_INSIDE, _OF_THE_WAY = 0.1, 0.25  # of the limit, of the way to the other one: see `goal_of_limits` (own choice)
_NARROW = {"density": 0.015, "air-free density": 0.015}  # of the limit: less air than that is not told apart
_NUMBER = r"([-+]?\d[\d ]*(?:\.\d+)?)"
_TARGET = re.compile(rf"^(?:target\s+)?{_NUMBER}\s+in\s+{_NUMBER}\s+to\s+{_NUMBER}$")
_BETWEEN = re.compile(rf"^{_NUMBER}\s+to\s+{_NUMBER}$")
_ONE_SIDE = re.compile(rf"^(at most|at least)\s+{_NUMBER}$")


@dataclass(frozen=True, repr=False)
class ReadGoal(Worded):
    """One goal with the property it is about.

    Parameters
    ----------
    result : PropertyResult   The property at its age.
    goal : Goal               [unit of the property]
    from_where : str          "as asked" or "spec of the study".
    """

    result: PropertyResult
    goal: Goal
    from_where: str

    @property
    def name(self) -> str:
        """ "viscosity, 72 h" """
        return self.result.title

    @property
    def words(self) -> str:
        """The goal in a sentence."""
        unit = "" if self.result.unit == "1" else f" {self.result.unit}"
        return f"{self.name}{f' in{unit}' if unit else ''}: {self.goal.words} ({self.from_where})"


def read_goals(
    asked: Mapping[str, object] | None, results: Sequence[PropertyResult], spec: Sequence[SpecLine]
) -> tuple[ReadGoal, ...]:
    """The goals: as asked, or every numeric line of the spec that was read, but for the pH, which is predicted.

    Parameters
    ----------
    asked : dict, None   "viscosity, 72 h" to a `Goal` or to words: "13000 to 20000", "16000 in 13000 to 20000",
                         "at most 42", "at least 13000". None: by the spec.
    results : sequence   What was read.
    spec : sequence      Of the study.

    Raises
    ------
    KitError   `next.goal` for words that are no goal, `next.goals` where there is none, `response.property`.
    """
    if asked is None:
        found = [_of_spec(line, results) for line in spec if not line.allowed and fold(line.property) != "ph"]
        goals = tuple(goal for goal in found if goal is not None)
    else:
        goals = tuple(_asked(str(name), wanted, results) for name, wanted in asked.items())
    if not goals:
        raise KitError(
            "nothing says what is wanted: the spec has no numeric line that was read, the pH apart",
            where="next_trial()",
            allowed='goals={"viscosity, 72 h": "13000 to 20000", "wet-combing force, 7 d": "at most 42"}',
            mend="give goals=",
            code="next.goals",
        )
    return goals


def _asked(name: str, wanted: object, results: Sequence[PropertyResult]) -> ReadGoal:
    title, _, age = name.rpartition(",")
    ages = {item.age for item in results if fold(item.property) == fold(name)}
    if not title and len(ages) == 1:
        title, age = name, next(iter(ages))
    result = find_result(results, title.strip() or name, age.strip())
    if isinstance(wanted, Goal):
        return ReadGoal(result, wanted, "as asked")
    return ReadGoal(result, _typed(str(wanted), name, result), "as asked")


def _typed(text: str, name: str, result: PropertyResult) -> Goal:
    words = " ".join(text.lower().split())
    if found := _TARGET.match(words):
        best, low, high = (_number(part) for part in found.groups())
        return target(low, best, high)
    if found := _BETWEEN.match(words):
        low, high = (_number(part) for part in found.groups())
        return goal_of_limits(low, high, inside=_inside(result), where=f"goal of {name}")
    if found := _ONE_SIDE.match(words):
        limit = _number(found[2])
        low, high = (None, limit) if found[1] == "at most" else (limit, None)
        return goal_of_limits(low, high, inside=_inside(result), where=f"goal of {name}")
    raise KitError(
        f"{text!r} is no goal",
        where=f"goal of {name}",
        allowed='"13000 to 20000", "16000 in 13000 to 20000", "at most 42", "at least 13000", or a Goal',
        mend="write it so",
        code="next.goal",
    )


def _number(text: str) -> float:
    return float(text.replace(" ", ""))


def _of_spec(line: SpecLine, results: Sequence[PropertyResult]) -> ReadGoal | None:
    fitting = [item for item in results if item.spec is not None and fold(item.property) == fold(line.property)]
    read = [item for item in fitting if any(arm.n_batches for arm in item.arms)]
    if not read:
        return None
    result = read[0]
    low, high = (None if end is None else float(end) for end in (result.spec.low, result.spec.high))
    goal = goal_of_limits(low, high, inside=_inside(result), where=f"spec of {line.property}")
    return ReadGoal(result, goal, "spec of the study")


def _inside(result: PropertyResult) -> float:
    return _NARROW.get(fold(result.property), _INSIDE)


def goal_of_limits(low: float | None, high: float | None, *, inside: float = _INSIDE, where: str = "goal") -> Goal:
    """The goal that limits of a spec stand for: 0 at a limit and beyond, 1 a little inside it, a straight line between.

    Parameters
    ----------
    low, high : float, None   One of them at least. [unit]
    inside : float            How far inside a limit all is had that one could wish. [share of the limit]
    where : str               For the words of an error.

    Raises
    ------
    KitError   `next.goal` for a one-sided limit of 0, which says nothing of how far inside it is far;
               `desirability.limits` for limits that do not rise.

    Notes
    -----
    A limit says where use ends, and a spec of two names no value between them that is better than another. What lies a
    tenth of the limit inside, a little more than batches scatter, is taken to be all one could wish, at either limit
    alike; where the other limit is near, a quarter of the way to it; of a density, 1.5 %. A batch at the limit fails
    every other time, so from there on less counts for less: the straight line of Derringer and Suich, exponent 1. An
    exponent below 1 would choose no other formula where all goals have it; it only calls more of them good. It does not
    hang on what was read so far: a desirability means the same before and after the next batch. Who wants one value
    gives it as a target, "16000 in 13000 to 20000"; who wants more gives a `Goal`.
    """
    if low is not None and high is not None:
        way = _OF_THE_WAY * (high - low)
        first, last = (min(inside * abs(limit) or way, way) for limit in (low, high))
        return between(low, low + first, high - last, high)
    limit = high if low is None else low
    if limit == 0:
        raise KitError(
            "a limit of 0 on one side does not say how far inside it all is had that one could wish",
            where=where,
            allowed="a Goal such as smaller(-2, 0) or larger(0, 2)",
            mend="give goals= with such a Goal",
            code="next.goal",
        )
    room = inside * abs(limit)
    return smaller(limit - room, limit) if low is None else larger(limit, limit + room)
