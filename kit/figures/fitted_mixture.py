"""How does a property go with the parts of a mixture of three? Lines of equal value in its triangle.

The triangle is drawn in plain axes: each corner is all of one part that the lower bounds of the others leave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.figures.figure import Figure, shown
from kit.figures.fitted_contours import OUTSIDE_FILL, OUTSIDE_NAME, contour_traces, line_labels, ring
from kit.figures.fitted_points import Held, batch_marks, held_at, level_words, unit_of
from kit.figures.fitted_region import cut_outline, hull_outline
from kit.figures.fitted_surface import held_words, plane_notes, plane_table, plane_words
from kit.figures.marks import number, property_name
from kit.science.number_text import short
from kit.show import TOKENS

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response import Response

_HEIGHT = math.sqrt(3) / 2  # of a triangle with sides of 1
_CORNERS = ((0.5, _HEIGHT), (0.0, 0.0), (1.0, 0.0))  # first part at the top, second at the left, third at the right
_STEPS = 61  # of the grid, each way
_TABLE = 4  # parts of each side for the points of the table
_BESIDE = 0.06  # of the triangle: nearer to a side the name of a batch stands on the inner side
_SAME_TOTAL = 0.005  # totals nearer than this are one as printed. [%]
_TICKS = (0.25, 0.5, 0.75)
_WIDE, _TALL = (-0.17, 1.17), (-0.17, _HEIGHT + 0.11)


def fitted_mixture(response: Response, at: str = "") -> Figure | None:
    """The model over a mixture of three as contour lines in its triangle, the batches on it; None for anything else.

    Parameters
    ----------
    response : Response
    at : str              The batch at which factors beside the mixture are held; the middle of the batches when empty.

    Raises
    ------
    KitError   `figure.batch`.
    """
    space = response.space
    if not response.is_fitted or space.parts != 3:
        return None
    import numpy as np

    held = held_at(response, at)
    model_held = space.to_model([held.levels])[0]
    x, y, shares = _grid()
    near = shares.min(axis=1) > -1.5 / _STEPS
    values, outside = np.full(len(shares), np.nan), np.full(len(shares), "", dtype=object)
    levels = space.to_levels(_coordinates(model_held, shares[near]))
    found = response.predict(levels)
    values[near], outside[near] = found.mean, found.outside
    inside = near & (shares.min(axis=1) >= -1e-9)
    tried_at = inside & (outside == "")
    places = [_place(point[:3]) for point in response.model.points]
    outline = _outline(response, held, model_held, places)
    marks, names = batch_marks(response, places, (1.0, 1.0))
    grid = values.reshape(len(y), len(x))
    labels = line_labels(response, x, y, grid, tried_at.reshape(grid.shape), places)
    drawn = [
        *contour_traces(response, x, y, grid, values[tried_at].tolist()),
        ring(list(_CORNERS), outline, name=OUTSIDE_NAME, fillcolor=OUTSIDE_FILL),
        ring(_frame(), list(_CORNERS), name="", showlegend=False, fillcolor="#ffffff"),
        _sides(),
        *_bounds(response),
        *marks,
    ]
    others = held.words(response, (0, 1, 2))
    unit = max((unit_of(factor) for factor in space.factors[:3]), key=len)  # of active matter where any part is
    subtitle = f"{short(space.total, 4)} {unit} in all; {response.choice.name} model{held_words(held, others)}"
    points = _points_in_words(response, values[tried_at], space.to_levels(_coordinates(model_held, shares[tried_at])))
    return Figure(
        f"{property_name(response.result)} at {response.result.age}: which blend of three gives what?",
        subtitle,
        drawn,
        {
            "height": 716,
            "margin": {"l": 10, "r": 10, "b": 96},
            "annotations": [*_corner_words(response), *_tick_words(response), *labels, *map(_inwards, names)],
            "xaxis": {"visible": False, "range": list(_WIDE)},
            "yaxis": {"visible": False, "range": list(_TALL), "scaleanchor": "x"},
        },
        _table(response, model_held, values[tried_at].tolist(), values[inside].tolist()),
        plane_words(response, points),
        (*_notes(response), *plane_notes(response, outside[inside].tolist(), others)),
    )


def _notes(response: Response) -> tuple[str, ...]:
    """What the model does with a total that came out otherwise."""
    totals = [math.fsum(batch.levels[:3]) for batch in response.batches]
    if max(totals) - min(totals) < _SAME_TOTAL and abs(max(totals) - response.space.total) < _SAME_TOTAL:
        return ()
    return (f"The batches hold {short(min(totals))} to {short(max(totals))} % in all: each lies by its shares.",)


def _grid() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The grid over the triangle and the shares of the three parts at each of its points, rows first."""
    import numpy as np

    room = 1.0 / _STEPS
    x, y = np.linspace(-room, 1 + room, _STEPS), np.linspace(-room, _HEIGHT + room, _STEPS)
    across, up = (part.ravel() for part in np.meshgrid(x, y))
    return x, y, _shares(np.column_stack([across, up]))


def _shares(places: np.ndarray) -> np.ndarray:
    import numpy as np

    return np.column_stack(_shares_at(places[:, 0], places[:, 1]))


def _place(shares: Sequence[float]) -> tuple[float, float]:
    return tuple(
        math.fsum(float(share) * corner[axis] for share, corner in zip(shares, _CORNERS, strict=True))
        for axis in (0, 1)
    )


def _coordinates(model_held: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Coordinates of the model at some shares, the factors beside the mixture held."""
    import numpy as np

    rows = np.repeat(model_held[None, :], len(shares), axis=0)
    rows[:, :3] = shares
    return rows


def _outline(
    response: Response, held: Held, model_held: np.ndarray, places: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    if len(response.space.names) == 3:
        return hull_outline(places, (1.0, 1.0))
    middle = _place(response.space.to_model([held.levels])[0][:3])

    def to_points(asked: np.ndarray) -> np.ndarray:
        return _coordinates(model_held, _shares(asked))

    return cut_outline(middle, (1.0, 1.0), to_points, response.model.points)


def _frame() -> list[tuple[float, float]]:
    """Wider than the drawing: what is white around the triangle."""
    return [(-2.0, -2.0), (3.0, -2.0), (3.0, 3.0), (-2.0, 3.0)]


def _sides() -> dict:
    path = [*_CORNERS, _CORNERS[0]]
    return _line("triangle", path, {"color": TOKENS["ink"], "width": 1.2}, showlegend=False)


def _line(name: str, path: Sequence[tuple[float, float]], line: dict, **more: object) -> dict:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": [x for x, _ in path],
        "y": [y for _, y in path],
        "line": line,
        "hoverinfo": "skip",
        **more,
    }


def _bounds(response: Response) -> list[dict]:
    """The region that the bounds of the parts leave, where an upper bound cuts a corner off; else nothing."""
    space = response.space
    free = space.total - sum(space.low[:3])
    most = [(high - low) / free for low, high in zip(space.low[:3], space.high[:3], strict=True)]
    corners = [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)]
    for part, limit in enumerate(most):
        corners = _cut(corners, part, limit)
    if len(corners) < 3 or min(most) >= 1 - 1e-6:
        return []
    path = [_place(corner) for corner in [*corners, corners[0]]]
    return [_line("bounds of the parts", path, {"color": TOKENS["ink"], "width": 1.6, "dash": "dot"})]


def _cut(corners: Sequence[tuple[float, ...]], part: int, limit: float) -> list[tuple[float, ...]]:
    """An outline without what lies above a limit of one part."""
    kept = []
    for here, there in zip(corners, [*corners[1:], *corners[:1]], strict=True):
        if here[part] <= limit:
            kept.append(here)
        if (here[part] <= limit) != (there[part] <= limit):
            way = (limit - here[part]) / (there[part] - here[part])
            kept.append(tuple(a + way * (b - a) for a, b in zip(here, there, strict=True)))
    return kept


def _level(response: Response, part: int, share: float) -> float:
    space = response.space
    return space.low[part] + share * (space.total - sum(space.low[:3]))


def _corner_words(response: Response) -> list[dict]:
    notes = []
    for part, factor in enumerate(response.space.factors[:3]):
        x, y = _CORNERS[part]
        unit = unit_of(factor)
        here, across = (short(_level(response, part, share), 4) for share in (1.0, 0.0))
        text = f"<b>{shown(factor.name)}</b><br>{here} {unit} here, {across} opposite"
        notes.append(
            {
                "x": x,
                "y": y,
                "xanchor": ("center", "left", "right")[part],
                "xshift": (0, -70, 70)[part],
                "yanchor": "bottom" if part == 0 else "top",
                "yshift": 22 if part == 0 else -38,
                "align": ("center", "left", "right")[part],
                "text": text,
                "showarrow": False,
                "font": {"size": 11, "color": TOKENS["ink"]},
            }
        )
    return notes


def _tick_words(response: Response) -> list[dict]:
    """Levels of each part beside the side on which it rises: the first left, the second below, the third right."""
    notes = []
    for part, factor in enumerate(response.space.factors[:3]):
        other = (part + 1) % 3
        for share in _TICKS:
            shares = [0.0, 0.0, 0.0]
            shares[part], shares[other] = share, 1 - share
            x, y = _place(shares)
            notes.append(
                {
                    "x": x,
                    "y": y,
                    "xanchor": ("right", "center", "left")[part],
                    "yanchor": ("middle", "top", "middle")[part],
                    "xshift": (-7, 0, 7)[part],
                    "yshift": (0, -5, 0)[part],
                    "text": short(_level(response, part, share), 3),
                    "showarrow": False,
                    "font": {"size": 10, "color": TOKENS["quiet"]},
                }
            )
        notes.append(_side_words(part, factor.name))
    return notes


def _side_words(part: int, name: str) -> dict:
    """Along a side, which way its part rises."""
    start, end = _CORNERS[(part + 1) % 3], _CORNERS[part]
    return {
        "x": (start[0] + end[0]) / 2,
        "y": (start[1] + end[1]) / 2,
        "xanchor": "center",
        "yanchor": "middle",
        "xshift": (-40, 0, 40)[part],
        "yshift": (23, -26, 23)[part],
        "textangle": (-60, 0, 60)[part],
        "text": f"← {shown(name)}" if part == 1 else f"{shown(name)} →",
        "showarrow": False,
        "font": {"size": 10, "color": TOKENS["quiet"]},
    }


def _inwards(name: dict) -> dict:
    """The name of a batch beside a side of the triangle, moved inside: outside stand the levels."""
    top, left, right = _shares_at(name["x"], name["y"])
    if min(left, right) > _BESIDE or top < _BESIDE:
        return name
    anchor, shift = ("left", 9) if right <= left else ("right", -9)
    return {**name, "xanchor": anchor, "xshift": shift, "yanchor": "middle", "yshift": 0}


def _shares_at(x: float | np.ndarray, y: float | np.ndarray) -> tuple:
    top = y / _HEIGHT
    right = x - top / 2
    return top, 1 - top - right, right


def _points_in_words(response: Response, values: np.ndarray, levels: np.ndarray) -> list[tuple[float, str]]:
    factors = response.space.factors[:3]
    return [
        (
            float(value),
            ", ".join(level_words(factor, max(float(part), 0.0)) for factor, part in zip(factors, point, strict=True)),
        )
        for value, point in zip(values, levels[:, :3], strict=True)
    ]


def _table(response: Response, model_held: np.ndarray, tried: Sequence[float], every: Sequence[float]):
    import numpy as np

    space, unit = response.space, response.result.unit
    rows = [
        (
            batch.batch,
            *(short(level, 4) for level in batch.levels[:3]),
            number(batch.value, unit),
            number(fitted, unit),
            "batch",
        )
        for batch, fitted in zip(response.batches, response.model.fitted, strict=True)
    ]
    steps = range(_TABLE + 1)
    shares = np.array([(a, b, _TABLE - a - b) for a in steps for b in steps if a + b <= _TABLE], dtype=float) / _TABLE
    levels = space.to_levels(_coordinates(model_held, shares))
    found = response.predict(levels)
    for point, value, where in zip(levels, found.mean, found.outside, strict=True):
        parts = [short(float(level), 4) for level in point[:3]]
        rows.append(("model", *parts, "–", number(float(value), unit), where or "in the tried region"))
    return plane_table(response, [factor.head for factor in space.factors[:3]], rows, tried, every)
