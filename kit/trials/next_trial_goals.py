"""What is wanted of the next trial: goals typed in words or taken from the spec of the study."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.formula.model import SpecLine
from kit.science.desirability import Goal, larger, smaller, target
from kit.science.number_text import short
from kit.trials.judging import fold
from kit.trials.response_data import find_result
from kit.trials.results import LN, PropertyResult

# a limit of a spec: of no use beyond it, soon content inside (own choice)
_SOON_CONTENT = 0.3
_NUMBER = r"([-+]?\d[\d ]*(?:\.\d+)?)"
_TARGET = re.compile(rf"^(?:target\s+)?{_NUMBER}\s+in\s+{_NUMBER}\s+to\s+{_NUMBER}$")
_BETWEEN = re.compile(rf"^{_NUMBER}\s+to\s+{_NUMBER}$")
_ONE_SIDE = re.compile(rf"^(at most|at least)\s+{_NUMBER}$")


@dataclass(frozen=True)
class ReadGoal:
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
        return _between(*(_number(part) for part in found.groups()), result.scale)
    if found := _ONE_SIDE.match(words):
        return _one_side(found[1] == "at most", _number(found[2]), result)
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
    low, high = result.spec.low, result.spec.high
    if low is not None and high is not None:
        return ReadGoal(result, _between(float(low), float(high), result.scale), "spec of the study")
    limit = high if low is None else low
    return ReadGoal(result, _one_side(low is None, float(limit), result), "spec of the study")


def _between(low: float, high: float, scale: str) -> Goal:
    middle = (low * high) ** 0.5 if scale == LN and low > 0 else (low + high) / 2
    return target(low, float(short(middle, 3)), high, _SOON_CONTENT)


def _one_side(at_most: bool, limit: float, result: PropertyResult) -> Goal:
    """From the limit, where a value is of no use, to the best that was read; else to a tenth beyond."""
    means = [value.mean for arm in result.arms for value in arm.batch_values]
    if at_most:
        inside = [mean for mean in means if mean < limit]
        return smaller(min(inside, default=limit - 0.1 * abs(limit)), limit, _SOON_CONTENT)
    inside = [mean for mean in means if mean > limit]
    return larger(limit, max(inside, default=limit + 0.1 * abs(limit)), _SOON_CONTENT)
