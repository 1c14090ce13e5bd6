"""What each factor does, the others held: along the tried range, with the interval of the change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.science.number_text import short
from kit.science.two_level_effects import Effect, TwoLevelEffects, two_level_effects
from kit.show import Fielded, Table
from kit.trials.response_levels import MIXTURE
from kit.trials.wording import significant

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response_fitted import Fitted

# a level nearer than this share of half the range to the low end, the middle or the high end is that level (own choice)
_NEAR = 0.2
_FEW = 5  # degrees of freedom below which a scatter is called poorly known (common practice, no source)


@dataclass(frozen=True, repr=False)
class FactorEffect(Fielded):
    """A property along one factor, from its lowest to its highest tried level.

    Parameters
    ----------
    name, head : str         Of the factor; with its unit.
    levels : array           Of the factor. [its unit]
    points : array           All levels at each of them.
    change : float           Highest against lowest: a ratio on the ln scale, else a difference.
    low, high : float, None  Interval of the change; None where no scatter is known.
    held : str               What the others do, in words.
    """

    name: str
    head: str
    levels: np.ndarray
    points: np.ndarray
    change: float
    low: float | None
    high: float | None
    held: str


def factor_effects(response: Fitted, steps: int = 41) -> tuple[FactorEffect, ...]:
    """The property along every factor through the middle of the batches.

    Parameters
    ----------
    response : Fitted   Fitted.
    steps : int           Points along each.

    Notes
    -----
    A part of a mixture rises while the others keep their proportions to each other (Cox's direction).
    """
    import numpy as np

    made = np.array([batch.levels for batch in response.batches])
    middle = made.mean(axis=0)
    found = []
    for index, factor in enumerate(response.space.factors):
        levels = np.linspace(made[:, index].min(), made[:, index].max(), steps)
        points = points_along(response, middle, index, levels)
        held = "others at their mean"
        if factor.kind == MIXTURE:
            held = "the other parts in their proportion, other factors at their mean"
        change, low, high = _change(response, points[0], points[-1])
        found.append(FactorEffect(factor.name, factor.head, levels, points, change, low, high, held))
    return tuple(found)


def points_along(response: Fitted, base: np.ndarray, place: int, levels: np.ndarray) -> np.ndarray:
    """Levels of all factors while one of them moves.

    Parameters
    ----------
    response : Fitted   Its space.
    base : array        Where the others are held, one level a factor. [unit of each]
    place : int         Of the factor that moves.
    levels : array      Of that factor. [its unit]

    Returns
    -------
    array   A row for each of the levels. While a part of a mixture moves, the other parts keep their proportions.
    """
    import numpy as np

    points = np.repeat(base[None, :], len(levels), axis=0)
    points[:, place] = levels
    if response.space.factors[place].kind == MIXTURE:
        parts = [part for part in range(response.space.parts) if part != place]
        total, rest = base[: response.space.parts].sum(), base[parts].sum()
        share = base[parts] / rest if rest > 0 else np.full(len(parts), 1 / len(parts))
        points[:, parts] = share * (total - levels)[:, None]
    return points


def _change(response: Fitted, first: np.ndarray, last: np.ndarray) -> tuple[float, float | None, float | None]:
    """The last point against the first, with its interval."""
    import numpy as np
    from scipy.special import stdtrit

    from kit.science.model_terms import model_matrix

    model = response.model
    rows = model_matrix(model.terms, model.names, response.space.to_model([first, last]))
    step = rows[1] - rows[0]
    middle = float(step @ [found.estimate for found in model.coefficients])
    back = math.exp if response.log else float
    if model.sd is None:
        return back(middle), None, None
    error = model.sd * math.sqrt(float(step @ np.array(model.inverse) @ step))
    half = float(stdtrit(model.sd_df, 0.975)) * error
    return back(middle), back(middle - half), back(middle + half)


def effects_table(response: Fitted) -> Table:
    """What each factor does from its lowest to its highest level, others held."""
    rows, effects = [], factor_effects(response, 2)
    for found in effects:
        interval = "no interval" if found.low is None else f"{_text(found.low)} to {_text(found.high)}"
        none = 1.0 if response.log else 0.0
        shown = found.low is not None and not found.low <= none <= found.high
        verdict = "not tested" if found.low is None else "shown" if shown else "not shown"
        verdict += "; mixed with the day" if found.name in response.with_day else ""
        span = f"{short(found.levels[0])} to {short(found.levels[-1])}"
        rows.append((found.head, span, _text(found.change), interval, verdict))
    what = "times" if response.log else f"change, {response.unit}".rstrip(", ")
    head = ("factor", "from lowest to highest", what, "95 % interval", "verdict")
    title = f"What each factor does to {response.name}"
    note = "Along the whole range only: a response that bends may rise and fall between. Each interval holds by itself."
    return Table(head, rows, title, f"{_held_words(effects)}{note}", frozenset({2, 3}))


def _held_words(found: Sequence[FactorEffect]) -> str:
    """Where the others are while one factor moves; nothing with one factor."""
    if len(found) < 2:
        return ""
    told: dict[str, list[str]] = {}
    for one in found:
        told.setdefault(one.held, []).append(one.name)
    if len(told) == 1:
        return f"Held: {next(iter(told))}. "
    each = "; of ".join(f"{', '.join(names)}: {held}" for held, names in told.items())
    return f"Held, of {each}. "


def _text(value: float) -> str:
    return significant(value, 3)


def two_level(response: Fitted) -> TwoLevelEffects:
    """The effects of the batches that are corners or centres of a two-level design.

    Parameters
    ----------
    response : Fitted   Its factors without a mixture; batches elsewhere are left out.
    """
    space = response.space
    names = space.names[space.parts :]
    if space.parts:
        return TwoLevelEffects((), None, None, 0, 0, 0, "parts of a mixture are no factors of a two-level design")
    coded, values = [], []
    for point, batch in zip(space.to_model([b.levels for b in response.batches]), response.batches, strict=True):
        near = [_near(float(level)) for level in point]
        if None not in near and (all(near) or not any(near)):
            coded.append(tuple(near))
            values.append(batch.value)
    if not coded:
        return TwoLevelEffects((), None, None, 0, 0, 0, "no batch lies at a corner or at the centre")
    return two_level_effects(coded, values, names, log=response.log)


def two_level_table(response: Fitted) -> Table | None:
    """Effects of corners and centres, the curvature last; None where the batches are no such design."""
    if response.space.parts or len(response.space.names) < 2:
        return None
    found = two_level(response)
    if not found.effects or not found.centres:
        return None
    rows = [_effect_row(effect, response) for effect in found.effects]
    if found.curvature is not None:
        rows.append(_effect_row(found.curvature, response))
    spread = "" if found.sd is None else f"{100 * found.sd:.1f} %" if response.log else f"{found.sd:.3g}"
    scatter = found.reason or f"Scatter of settings made again {spread} with {found.df} df"
    if not found.reason and found.df < _FEW:
        scatter += ": itself poorly known"
    head = ("effect, low to high", "size", "needed to be shown", "t", "verdict")
    note = f"{scatter}. Curvature: the centre against the corners; it cannot say which factor bends."
    title = f"Corners and centres of {response.name} ({found.corners} and {found.centres} batches)"
    return Table(head, rows, title, note, frozenset({1, 2, 3}))


def _effect_row(found: Effect, response: Fitted) -> tuple[str, ...]:
    verdict = {True: "shown", False: "not shown", None: "not tested"}[found.is_shown]
    if found.name in response.with_day:
        verdict += "; mixed with the day"
    if found.same_as:
        verdict += f"; cannot be told from {' and '.join(found.same_as)}"
    needed = "not known" if found.needed is None else f"above {_amount(found.needed, response)}"
    t = "" if found.t is None else f"{found.t:.1f}"
    return (found.name, f"{_amount(found.effect, response, sign=True)}", needed, t, verdict)


def _amount(value: float, response: Fitted, *, sign: bool = False) -> str:
    form = "+.1f" if sign else ".1f"
    if response.log:
        return f"{format(100 * math.expm1(value), form)} %"
    return f"{value:+.3g}" if sign else f"{value:.3g}"


def _near(level: float) -> int | None:
    return next((place for place in (-1, 0, 1) if abs(level - place) <= _NEAR), None)
