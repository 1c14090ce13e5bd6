"""Where is the good region? Desirability of all goals together over two factors or a mixture of three.

By the models that were fitted, with the batches and what is suggested on it; blank where no batch was made around.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.figures.figure import Figure, series
from kit.figures.fitted_contours import OUTSIDE_NAME
from kit.figures.fitted_points import fit_notes, level_words, side_by_side
from kit.figures.good_region_plane import Plane, plane_of
from kit.figures.marks import white_rimmed
from kit.science.desirability import Goal, desirability
from kit.science.number_text import short
from kit.show import TOKENS, Table
from kit.trials.wording import significant

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.next_trial import NextTrials
    from kit.trials.response import Response

_SHADES = [[0, "#ffffff"], [1, "#7db4d6"]]  # darker is better, in a print in grey too
_BEYOND = "#d5d9dc"
_EVERY = 12  # points of the grid for one in the table
_SYMBOLS = ("star", "star-diamond", "hexagram", "star-square")


@dataclass(frozen=True)
class _Judged:
    """What the models say of some points: values and whole desirability, room to the nearest limit, why outside."""

    values: dict[str, np.ndarray]
    whole: np.ndarray
    room: np.ndarray
    outside: list[str]


def good_region(responses: Sequence[Response], found: NextTrials) -> Figure | None:
    """Desirability of all goals over a plane of the factors; None without a model, a goal or a plane.

    Parameters
    ----------
    responses : sequence of Response   Of the goals, on the same factors.
    found : NextTrials                 Its goals and suggestions; these need not be there.
    """
    fitted = {one.name: one for one in responses if one.is_fitted}
    goals = {goal.name: goal.goal for goal in found.goals if goal.name in fitted}
    first = next((fitted[name] for name in goals), None)
    plane = None if first is None else plane_of(first)
    if plane is None:
        return None
    used = [fitted[name] for name in goals]
    judged = _judged(used, goals, plane.levels)
    picks = [[one.levels[name] for name in first.space.names] for one in found.suggestions]
    return Figure(
        f"Study {found.study}: where are all goals met?",
        f"desirability of {' and '.join(goals)} by the fitted models, 1 at best; {plane.title}",
        [*_areas(plane, judged), *plane.beyond(OUTSIDE_NAME, _BEYOND), *_batches(plane, used, goals),
         *_picks(plane, picks)],
        _layout(plane, first),
        _table(plane, used, goals, judged, picks),
        _words(plane, first, judged),
        _notes(plane, found, goals, used),
    )  # fmt: skip


def _judged(responses: Sequence[Response], goals: dict[str, Goal], levels: np.ndarray) -> _Judged:
    import numpy as np

    said = {one.name: one.predict(levels) for one in responses}
    values = {name: one.mean for name, one in said.items()}
    whole = desirability(values, goals)[1]
    room = np.min([_room(goal, values[name]) for name, goal in goals.items()], axis=0)
    reasons = zip(*(one.outside for one in said.values()), strict=True)
    return _Judged(values, whole, room, [next((why for why in each if why), "") for each in reasons])


def _room(goal: Goal, values: np.ndarray) -> np.ndarray:
    """Distance to the nearest end of use, above 0 inside, as a share of the goal's own width."""
    import numpy as np

    low = goal.low if goal.kind != "smaller" else None
    high = goal.high if goal.kind != "larger" else None
    ends = [end for end in (goal.low, goal.high) if end is not None]
    width = max(ends) - min(ends) or abs(ends[0]) or 1.0
    sides = [] if low is None else [(values - low) / width]
    sides += [] if high is None else [(high - values) / width]
    return np.min(sides, axis=0)


def _areas(plane: Plane, judged: _Judged) -> list[dict]:
    base = {"type": "contour", "x": plane.x, "y": plane.y, "hoverinfo": "skip", "connectgaps": False}
    bar = {"title": {"text": "desirability", "side": "top"}, "orientation": "h", "x": 0, "xanchor": "left", "y": 1.0,
           "yanchor": "bottom", "thickness": 9, "len": 0.3, "tickvals": [0, 0.5, 1], "outlinewidth": 0.5}  # fmt: skip
    shades = {
        **base,
        "name": "desirability",
        "z": plane.grid(judged.whole),
        "colorscale": _SHADES,
        "zmin": 0,
        "zmax": 1,
        "contours": {"start": 0, "end": 1, "size": 0.1, "coloring": "fill", "showlines": False},
        "colorbar": bar,
    }
    met = {
        **base,
        "name": "every goal met, by the model's middle",
        "z": plane.grid(judged.room),
        "showscale": False,
        "showlegend": True,
        "line": {"color": TOKENS["series"][0], "width": 2, "dash": "dash", "smoothing": 0},
        "contours": {"coloring": "none", "start": 0, "end": 0, "size": 1},
    }
    return [shades, met] if (judged.room > 0).any() else [shades]


def _batches(plane: Plane, responses: Sequence[Response], goals: dict[str, Goal]) -> list[dict]:
    """Batches by whether they met every goal as measured; one without a value of some goal is told apart."""
    names = ("batch that met every goal", "batch that did not", "batch without a value of every goal")
    groups: dict[str, list[str]] = {name: [] for name in names}
    every = made_of(responses)
    drawn = side_by_side(plane.spots([levels for _, levels, _ in every]), plane.spans)
    spots = {batch: (x, y) for (batch, _, _), (x, y, _) in zip(every, drawn, strict=True)}
    for batch, _, values in every:
        missing = any(value is None for value in values.values())
        met = not missing and all(float(_room(goal, values[name])) >= 0 for name, goal in goals.items())
        groups[names[2 if missing else 0 if met else 1]].append(batch)
    return [
        white_rimmed(name, [spots[batch] for batch in members], members, series(index), 10)
        for index, (name, members) in enumerate(groups.items())
        if members
    ]


def made_of(responses: Sequence[Response]) -> list[tuple[str, Sequence[float], dict[str, float | None]]]:
    """Every batch of some fits: name, levels, and what was measured of each property, None where nothing counts.

    Parameters
    ----------
    responses : sequence of Response
    """
    measured = {one.name: {batch.batch: batch for batch in one.batches} for one in responses}
    batches = {name: batch for held in measured.values() for name, batch in held.items()}
    return [
        (name, batch.levels, {of: held[name].value if name in held else None for of, held in measured.items()})
        for name, batch in batches.items()
    ]


def _picks(plane: Plane, picks: Sequence[Sequence[float]]) -> list[dict]:
    spots = plane.spots(picks) if picks else []
    return [
        white_rimmed(
            f"suggestion {place}",
            [spot],
            [f"suggestion {place}"],
            {"symbol": _SYMBOLS[(place - 1) % len(_SYMBOLS)], "color": TOKENS["ink"]},
            14,
        )
        for place, spot in enumerate(spots, 1)
    ]


def _layout(plane: Plane, response: Response) -> dict:
    layout = plane.layout(response)
    margin = {**layout.get("margin", {}), "t": 110}
    return {**layout, "height": layout["height"] + 34, "margin": margin}


def _table(
    plane: Plane, responses: Sequence[Response], goals: dict[str, Goal], judged: _Judged, picks: Sequence
) -> Table:
    space = responses[0].space
    made = made_of(responses)
    named = [
        *((name, levels) for name, levels, _ in made),
        *((f"suggestion {k}", one) for k, one in enumerate(picks, 1)),
    ]
    rows = []
    if named:
        own = _judged(responses, goals, [levels for _, levels in named])
        rows += [_row(name, levels, own, place, goals) for place, (name, levels) in enumerate(named)]
    rows += [_row("model", plane.levels[place], judged, place, goals) for place in plane.every(_EVERY)]
    heads = ("point", *(factor.head for factor in space.factors), *(f"{name}, model" for name in goals))
    columns = (*heads, "desirability", "where")
    return Table(columns, rows, numeric=frozenset(range(1, len(heads) + 1)))


def _row(name: str, levels: Sequence[float], judged: _Judged, place: int, goals: dict[str, Goal]) -> tuple[str, ...]:
    return (
        name,
        *(short(float(level), 4) for level in levels),
        *(significant(float(judged.values[goal][place]), 4) for goal in goals),
        f"{float(judged.whole[place]):.2f}",
        judged.outside[place] or "in the tried region",
    )


def _words(plane: Plane, response: Response, judged: _Judged) -> str:
    """Where it is best, and how much of what was tried meets every goal."""
    inside = [place for place in plane.drawn if not judged.outside[place]]
    if not inside:
        return "No point of this plane lies among the batches that were made; nothing is told there."
    best = max(inside, key=lambda place: float(judged.whole[place]))
    met = sum(float(judged.room[place]) > 0 for place in inside) / len(inside)
    if not met:
        return "By the fitted models no point of the tried region meets every goal."
    at = " and ".join(
        level_words(factor, max(float(level), 0.0))
        for factor, level in zip(response.space.factors, plane.levels[best], strict=True)
    )
    return (
        f"By the fitted models {100 * met:.0f} % of the tried region meets every goal; desirability is highest, "
        f"{float(judged.whole[best]):.2f}, at {at}."
    )


def _notes(plane: Plane, found: NextTrials, goals: dict[str, Goal], responses: Sequence[Response]) -> tuple[str, ...]:
    notes = [f"Held: {plane.held}."] if plane.held else []
    left = [goal.name for goal in found.goals if goal.name not in goals]
    notes += [f"Not in it, as it has no model: {name}." for name in left]
    notes.append("The models' middle: a batch scatters around it, so that near the dashed line every other one fails.")
    if found.suggestions:
        notes.append(
            "Suggestions stand where they are meant. They are chosen by surfaces that follow single batches more "
            "closely than these models, and may lie off the darkest place."
        )
    told = [f"{one.name}: {note}" for one in responses for note in fit_notes(one)]
    return (*notes, *told)
