"""Desirability: how well values meet several goals at once, each from 0 (of no use) to 1 (all one could wish).

Derringer and Suich (1980), Journal of Quality Technology 12:214. Limits that must hold, such as caps, are no goals:
where one is broken the whole is 0.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.show import Worded

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, repr=False)
class Goal(Worded):
    """One goal: 0 at `low` and below, 1 at `best`, and for a target 0 again at `high` and above.

    A goal "between" is 1 over a stretch instead of at one value.

    Parameters
    ----------
    kind : str             "larger", "smaller", "target", "between" or "within".
    low, high : float, None  Where desirability ends or, of "within", the limits; None: no limit. [unit]
    best : float, None     The target. [unit]
    exponents : tuple      Below and above the target: 1 straight, more: only near the target, less: soon content.
    importance : float     Weight in the mean of several, above 0.
    full : tuple, None     Of "between": where the stretch of 1 begins and ends. [unit]
    """

    kind: str
    low: float | None
    high: float | None
    best: float | None = None
    exponents: tuple[float, float] = (1.0, 1.0)
    importance: float = 1.0
    full: tuple[float, float] | None = None

    def of(self, values: ArrayLike) -> np.ndarray:
        """Desirability of some values, 0 to 1; not a number gives 0."""
        import numpy as np

        x = np.asarray(values, dtype=float)
        below, above = np.ones_like(x), np.ones_like(x)
        if self.kind == "within":
            inside = np.ones_like(x, dtype=bool)
            inside &= True if self.low is None else x >= self.low
            inside &= True if self.high is None else x <= self.high
            return np.where(inside & ~np.isnan(x), 1.0, 0.0)
        first, last = self.full or (self.best, self.best)
        if self.kind != "smaller":
            top = self.high if self.kind == "larger" else first
            below = np.clip((x - self.low) / (top - self.low), 0.0, 1.0) ** self.exponents[0]
        if self.kind != "larger":
            top = self.low if self.kind == "smaller" else last
            above = np.clip((self.high - x) / (self.high - top), 0.0, 1.0) ** self.exponents[1]
        return np.where(np.isnan(x), 0.0, below * above)

    def short_of(self, values: ArrayLike) -> np.ndarray:
        """How far outside its limits, in widths of the goal (of a single limit: in sizes of it); 0 where it is met."""
        import numpy as np

        x = np.asarray(values, dtype=float)
        lower = None if self.kind == "smaller" else self.low
        upper = None if self.kind == "larger" else self.high
        ends = [end for end in (self.low, self.high) if end is not None]
        width = (max(ends) - min(ends) or max(abs(end) for end in ends) or 1.0) if ends else 1.0
        below = np.zeros_like(x) if lower is None else np.maximum(lower - x, 0.0)
        above = np.zeros_like(x) if upper is None else np.maximum(x - upper, 0.0)
        return (below + above) / width

    @property
    def words(self) -> str:
        """ "larger is better, of no use at 120 and below, all one could wish at 170" """
        if self.kind == "larger":
            return f"larger is better: 0 at {self.low:g} and below, 1 from {self.high:g}"
        if self.kind == "smaller":
            return f"smaller is better: 1 up to {self.low:g}, 0 at {self.high:g} and above"
        if self.kind == "between":
            first, last = self.full
            return f"1 from {first:g} to {last:g}, 0 at {self.low:g} and below and at {self.high:g} and above"
        if self.kind == "target":
            return f"target {self.best:g}: 0 at {self.low:g} and below and at {self.high:g} and above"
        low = "" if self.low is None else f"from {self.low:g} "
        high = "" if self.high is None else f"to {self.high:g}"
        return f"must lie {low}{high}".strip()


def larger(low: float, high: float, exponent: float = 1.0, *, importance: float = 1.0) -> Goal:
    """Larger is better.

    Parameters
    ----------
    low, high : float    0 at low and below, 1 at high and above. [unit]
    exponent : float     Above 0.
    importance : float   Above 0.

    Raises
    ------
    KitError   `desirability.limits`, `desirability.exponent`.
    """
    return _checked(Goal("larger", float(low), float(high), None, (exponent, exponent), importance))


def smaller(low: float, high: float, exponent: float = 1.0, *, importance: float = 1.0) -> Goal:
    """Smaller is better: 1 at low and below, 0 at high and above.

    Parameters
    ----------
    low, high : float    [unit]
    exponent : float     Above 0.
    importance : float   Above 0.

    Raises
    ------
    KitError   `desirability.limits`, `desirability.exponent`.
    """
    return _checked(Goal("smaller", float(low), float(high), None, (exponent, exponent), importance))


def target(
    low: float, best: float, high: float, exponents: float | tuple[float, float] = 1.0, *, importance: float = 1.0
) -> Goal:
    """A value to be met: 1 there, 0 at low and at high and beyond.

    Parameters
    ----------
    low, best, high : float     [unit]
    exponents : float or pair   Below and above the target, above 0.
    importance : float          Above 0.

    Raises
    ------
    KitError   `desirability.limits`, `desirability.exponent`.
    """
    pair = (exponents, exponents) if isinstance(exponents, int | float) else tuple(exponents)
    return _checked(Goal("target", float(low), float(high), float(best), pair, importance))


def between(low: float, first: float, last: float, high: float, *, importance: float = 1.0) -> Goal:
    """A stretch of values that are all as good: 1 from first to last, straight lines to 0 at low and at high.

    Parameters
    ----------
    low, first, last, high : float   In rising order. [unit]
    importance : float               Above 0.

    Raises
    ------
    KitError   `desirability.limits`, `desirability.exponent`.
    """
    full = (float(first), float(last))
    return _checked(Goal("between", float(low), float(high), importance=importance, full=full))


def within(low: float | None = None, high: float | None = None) -> Goal:
    """Limits that must hold: 1 inside and on them, 0 outside. It outweighs every other goal.

    Parameters
    ----------
    low, high : float, None   None: no limit on that side. [unit]

    Raises
    ------
    KitError   `desirability.limits` where the low limit lies above the high one.
    """
    if low is not None and high is not None and not low <= high:
        raise KitError(
            f"no value lies within {low:g} and {high:g}",
            where="desirability",
            allowed="a lower limit that is not above the upper one",
            mend="give the lower limit first",
            code="desirability.limits",
        )
    return Goal("within", low, high)


def desirability(
    values: Mapping[str, ArrayLike], goals: Mapping[str, Goal], *, allowed: ArrayLike | None = None
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Each desirability and the whole: their geometric mean, weighted by importance; 0 where one of them is.

    Parameters
    ----------
    values : dict          Property to values, arrays of one shape. [unit]
    goals : dict           Property to goal; every one needs values.
    allowed : array        Whether a point breaks no cap, rule or process limit; all do when omitted.

    Returns
    -------
    tuple   Property to desirability, and the whole.

    Raises
    ------
    KitError   `desirability.values` for a goal without values, `desirability.goals` without any.
    """
    import numpy as np

    missing = [name for name in goals if name not in values]
    if missing or not goals:
        raise KitError(
            f"there are no values of {missing[0]}" if missing else "there is no goal",
            where="desirability()",
            allowed=", ".join(values),
            mend="give values and a goal for the same properties",
            code="desirability.values" if missing else "desirability.goals",
        )
    single = {name: goal.of(values[name]) for name, goal in goals.items()}
    whole = combined([single[name] for name in goals], [goal.importance for goal in goals.values()])
    return single, whole if allowed is None else np.where(np.asarray(allowed, dtype=bool), whole, 0.0)


def combined(single: Sequence[np.ndarray], importance: Sequence[float]) -> np.ndarray:
    """The weighted geometric mean of desirabilities; 0 where one of them is.

    Parameters
    ----------
    single : sequence of arrays   Of one shape, 0 to 1.
    importance : sequence         Weights, above 0.
    """
    import numpy as np

    stacked = np.stack([np.asarray(part, dtype=float) for part in single])
    weights = np.asarray(importance, dtype=float) / np.sum(importance)
    with np.errstate(divide="ignore"):
        return np.exp(np.tensordot(weights, np.log(stacked), axes=1))


def _checked(goal: Goal) -> Goal:
    edges = [goal.low, *(goal.full or ([] if goal.best is None else [goal.best])), goal.high]
    if any(not after > before for before, after in itertools.pairwise(edges)):
        raise KitError(
            f"a goal from {' to '.join(f'{edge:g}' for edge in edges)} does not rise",
            where="desirability",
            allowed="limits in rising order",
            mend="give the lower limit first",
            code="desirability.limits",
        )
    if any(not value > 0 for value in (*goal.exponents, goal.importance)):
        raise KitError(
            "an exponent or an importance of zero or below",
            where="desirability",
            allowed="above 0",
            mend="leave the goal out where it does not matter",
            code="desirability.exponent",
        )
    return goal
