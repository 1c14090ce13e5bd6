"""The triangle of a mixture of three in plain axes.

Each corner is all of one part that the lower bounds of the others leave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.figures.figure import shown
from kit.figures.fitted_points import Held, unit_of
from kit.figures.fitted_region import cut_outline, hull_outline
from kit.science.number_text import short
from kit.show import TOKENS

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response import Response

HEIGHT = math.sqrt(3) / 2  # of a triangle with sides of 1
CORNERS = ((0.5, HEIGHT), (0.0, 0.0), (1.0, 0.0))  # first part at the top, second at the left, third at the right
STEPS = 61  # of the grid, each way
WIDE, TALL = (-0.17, 1.17), (-0.17, HEIGHT + 0.11)  # what is drawn, with room for words
_BESIDE = 0.06  # of the triangle: nearer to a side the name of a batch stands on the inner side
_TICKS = (0.25, 0.5, 0.75)


def triangle_grid() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The grid over the triangle and the shares of the three parts at each of its points, rows first."""
    import numpy as np

    room = 1.0 / STEPS
    x, y = np.linspace(-room, 1 + room, STEPS), np.linspace(-room, HEIGHT + room, STEPS)
    across, up = (part.ravel() for part in np.meshgrid(x, y))
    return x, y, shares_of(np.column_stack([across, up]))


def shares_of(places: np.ndarray) -> np.ndarray:
    """Shares of the three parts at places in the triangle: (places, 3).

    Parameters
    ----------
    places : (places, 2)
    """
    import numpy as np

    return np.column_stack(_shares_at(places[:, 0], places[:, 1]))


def place_of(shares: Sequence[float]) -> tuple[float, float]:
    """Where shares of the three parts lie.

    Parameters
    ----------
    shares : three of float   They add up to 1.
    """
    return tuple(
        math.fsum(float(share) * corner[axis] for share, corner in zip(shares, CORNERS, strict=True)) for axis in (0, 1)
    )


def coordinates_of(model_held: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Coordinates of the model at some shares, the factors beside the mixture held.

    Parameters
    ----------
    model_held : (factors,)   Coordinates of what is held.
    shares : (points, 3)
    """
    import numpy as np

    rows = np.repeat(model_held[None, :], len(shares), axis=0)
    rows[:, :3] = shares
    return rows


def triangle_outline(
    response: Response, held: Held, model_held: np.ndarray, places: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Outline of the tried region: the batches' own where no other factor is held, else the cut through it.

    Parameters
    ----------
    response : Response
    held : Held
    model_held : (factors,)      Coordinates of what is held.
    places : sequence of pairs   Of the batches.
    """
    if len(response.space.names) == 3:
        return hull_outline(places, (1.0, 1.0))
    middle = place_of(response.space.to_model([held.levels])[0][:3])

    def to_points(asked: np.ndarray) -> np.ndarray:
        return coordinates_of(model_held, shares_of(asked))

    return cut_outline(middle, (1.0, 1.0), to_points, response.model.points)


def frame() -> list[tuple[float, float]]:
    """Wider than the drawing: what is white around the triangle."""
    return [(-2.0, -2.0), (3.0, -2.0), (3.0, 3.0), (-2.0, 3.0)]


def sides() -> dict:
    """The sides of the triangle as a trace."""
    path = [*CORNERS, CORNERS[0]]
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


def bounds_of_parts(response: Response) -> list[dict]:
    """The region that the bounds of the parts leave, where an upper bound cuts a corner off; else nothing.

    Parameters
    ----------
    response : Response
    """
    space = response.space
    free = space.total - sum(space.low[:3])
    most = [(high - low) / free for low, high in zip(space.low[:3], space.high[:3], strict=True)]
    corners = [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)]
    for part, limit in enumerate(most):
        corners = _cut(corners, part, limit)
    if len(corners) < 3 or min(most) >= 1 - 1e-6:
        return []
    path = [place_of(corner) for corner in [*corners, corners[0]]]
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


def corner_words(response: Response) -> list[dict]:
    """What each corner is: its part, how much of it is there and how much on the side opposite.

    Parameters
    ----------
    response : Response
    """
    notes = []
    for part, factor in enumerate(response.space.factors[:3]):
        unit = unit_of(factor)
        here, across = (short(_level(response, part, share), 4) for share in (1.0, 0.0))
        text = f"<b>{shown(factor.name)}</b><br>{here} {unit} here{', ' if part == 0 else ',<br>'}{across} opposite"
        # those below stand at the edges of the figure, so that a narrow page cuts nothing off
        place = {"x": CORNERS[0][0]} if part == 0 else {"xref": "paper", "x": part - 1}
        notes.append(
            {
                **place,
                "y": CORNERS[part][1],
                "xanchor": ("center", "left", "right")[part],
                "yanchor": "bottom" if part == 0 else "top",
                "yshift": 22 if part == 0 else -38,
                "align": ("center", "left", "right")[part],
                "text": text,
                "showarrow": False,
                "font": {"size": 11, "color": TOKENS["ink"]},
            }
        )
    return notes


def tick_words(response: Response) -> list[dict]:
    """Levels of each part beside the side on which it rises: the first left, the second below, the third right.

    Parameters
    ----------
    response : Response
    """
    notes = []
    for part, factor in enumerate(response.space.factors[:3]):
        other = (part + 1) % 3
        for share in _TICKS:
            shares = [0.0, 0.0, 0.0]
            shares[part], shares[other] = share, 1 - share
            x, y = place_of(shares)
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
    start, end = CORNERS[(part + 1) % 3], CORNERS[part]
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


def inwards(name: dict) -> dict:
    """The name of a batch beside a side of the triangle, moved inside: outside stand the levels.

    Parameters
    ----------
    name : dict   The annotation.
    """
    top, left, right = _shares_at(name["x"], name["y"])
    if min(left, right) > _BESIDE or top < _BESIDE:
        return name
    anchor, shift = ("left", 9) if right <= left else ("right", -9)
    return {**name, "xanchor": anchor, "xshift": shift, "yanchor": "middle", "yshift": 0}


def _shares_at(x: float | np.ndarray, y: float | np.ndarray) -> tuple:
    top = y / HEIGHT
    right = x - top / 2
    return top, 1 - top - right, right
