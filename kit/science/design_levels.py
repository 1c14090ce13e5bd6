"""Designs of one factor: a series of levels, and swaps of one thing for another."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kit.errors import KitError
from kit.science.design_checks import factor_names, require_count
from kit.science.design_layout import AMOUNT, CATEGORY, Design


def level_series(name: str, levels: Sequence[float], *, repeats: int = 1) -> Design:
    """One factor at levels that are told, each made so many times.

    The levels stay in their own unit (they are amounts), in the order told; the same level may stand twice, which is a
    repeat.

    Parameters
    ----------
    name : str                   The factor.
    levels : sequence of float   Two different ones or more. [unit of the factor]
    repeats : int                Batches of each.

    Raises
    ------
    KitError   `design.names`, `design.levels`, `design.count`.
    """
    told = tuple(float(level) for level in levels)
    require_count("level series", least=1, repeats=repeats)
    if len(set(told)) < 2 or not all(math.isfinite(level) for level in told):
        raise KitError(
            f"{len(set(told))} level of {name} is no series",
            where="level series",
            allowed="two different finite levels or more",
            mend="add a level; a single one is a repeat, not a series",
            code="design.levels",
        )
    title = f"level series of {name}"
    return Design((name,), tuple((level,) for level in told), (AMOUNT,), title).repeated(repeats)


def spaced_levels(low: float, high: float, count: int, *, logarithmic: bool = False) -> tuple[float, ...]:
    """Equal steps from low to high, or equal ratios.

    Parameters
    ----------
    low, high : float     Ends, both included. [unit of the factor]
    count : int           2 or more.
    logarithmic : bool    Equal ratios instead of equal steps; low is above zero then.

    Raises
    ------
    KitError   `design.count`, `design.levels`.
    """
    require_count("levels", least=2, count=count)
    if not (math.isfinite(low) and math.isfinite(high) and low < high) or (logarithmic and low <= 0):
        raise KitError(
            f"there are no levels from {low} to {high}",
            where="levels",
            allowed="a low end below the high end; above zero for equal ratios",
            mend="give the ends the other way round, or take equal steps",
            code="design.levels",
        )
    if logarithmic:
        inner = [low * (high / low) ** (step / (count - 1)) for step in range(1, count - 1)]
    else:
        inner = [low + (high - low) * step / (count - 1) for step in range(1, count - 1)]
    return (float(low), *inner, float(high))


def swaps(name: str, choices: Sequence[str], *, repeats: int = 1) -> Design:
    """One thing swapped for another: a factor with names instead of numbers.

    Parameters
    ----------
    name : str                 What is swapped, such as "thickener".
    choices : sequence of str  Two different ones or more; the first is usually the control.
    repeats : int              Batches of each.

    Raises
    ------
    KitError   `design.names`, `design.count`.
    """
    told = factor_names(choices)
    require_count("swaps", least=1, repeats=repeats)
    require_count("swaps", least=2, choices=len(told))
    levels = tuple((float(index),) for index in range(len(told)))
    note = "Interactions with anything else are not seen: everything but the swap stays as it is."
    return Design((name,), levels, (CATEGORY,), f"swaps of {name}", (told,), notes=(note,)).repeated(repeats)
