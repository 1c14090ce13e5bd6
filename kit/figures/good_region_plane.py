"""The plane that a figure of the good region is drawn in: two factors, or the triangle of a mixture of three."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.figures.fitted_contours import ring
from kit.figures.fitted_points import batch_marks, held_at
from kit.figures.fitted_region import cut_outline, hull_outline
from kit.figures.fitted_surface import held_words, pairs_of
from kit.figures.triangle import (
    CORNERS,
    TALL,
    WIDE,
    bounds_of_parts,
    coordinates_of,
    corner_words,
    frame,
    inwards,
    place_of,
    sides,
    tick_words,
    triangle_grid,
    triangle_outline,
)

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response import Response

_STEPS, _ROOM = 49, 0.10  # of the grid, each way; of the tried range, around it


@dataclass(frozen=True)
class Plane:
    """A grid of levels and how it is drawn.

    Parameters
    ----------
    response : Response        Whose factors and batches they are.
    x, y : list of float       Of the grid.
    levels : (points, factors)   At each point of the grid, rows first. [unit of each]
    drawn : tuple of int       Points that are drawn.
    outline : list of pairs    Of the tried region; empty where it has no area here.
    title, held : str          In a few words; factors that are held, with their levels.
    pair : tuple of int        Places of the two factors; empty for the triangle.
    """

    response: Response
    x: list[float]
    y: list[float]
    levels: np.ndarray
    drawn: tuple[int, ...]
    outline: list[tuple[float, float]]
    title: str
    held: str
    pair: tuple[int, ...] = ()

    def grid(self, values: np.ndarray) -> list[list[float | None]]:
        """Values of the points as rows of the grid, None where nothing is drawn.

        Parameters
        ----------
        values : (points,)
        """
        drawn = set(self.drawn)
        told = [round(float(value), 3) if place in drawn else None for place, value in enumerate(values)]
        across = len(self.x)
        return [told[row * across : (row + 1) * across] for row in range(len(self.y))]

    def every(self, step: int) -> list[int]:
        """Points of the grid for a table, one in so many each way, those that are drawn.

        Parameters
        ----------
        step : int
        """
        across, drawn = len(self.x), set(self.drawn)
        points = (row * across + column for row in range(0, len(self.y), step) for column in range(0, across, step))
        return [point for point in points if point in drawn]

    def spots(self, levels: Sequence[Sequence[float]]) -> list[tuple[float, float]]:
        """Where levels lie in the plane.

        Parameters
        ----------
        levels : (points, factors)   [unit of each]
        """
        if self.pair:
            return [tuple(float(row[place]) for place in self.pair) for row in levels]
        return [place_of(point[:3]) for point in self.response.space.to_model(levels)]

    @property
    def spans(self) -> tuple[float, float]:
        """Width and height of what is drawn."""
        return (self.x[-1] - self.x[0], self.y[-1] - self.y[0]) if self.pair else (1.0, 1.0)

    def names(self) -> list[dict]:
        """The names of the batches of its response as annotations."""
        places = self.spots([batch.levels for batch in self.response.batches])
        words = batch_marks(self.response, places, self.spans)[1]
        return words if self.pair else [inwards(name) for name in words]

    def beyond(self, name: str, fill: str) -> list[dict]:
        """What covers the plane beyond the batches, and the frame of a triangle.

        Parameters
        ----------
        name, fill : str   Of the cover in the legend, and its colour.
        """
        if self.pair:
            (left, right), (low, high) = (_widened(axis) for axis in (self.x, self.y))
            box = [(left, low), (right, low), (right, high), (left, high)]
            return [ring(box, self.outline, name=name, fillcolor=fill)]
        return [
            ring(list(CORNERS), self.outline, name=name, fillcolor=fill),
            ring(frame(), list(CORNERS), name="", showlegend=False, fillcolor="#ffffff"),
            sides(),
            *bounds_of_parts(self.response),
        ]

    def layout(self, response: Response) -> dict:
        """Axes and words around the plane.

        Parameters
        ----------
        response : Response
        """
        if not self.pair:
            return {
                "height": 716,
                "margin": {"l": 10, "r": 10, "b": 120},
                "annotations": [*corner_words(response), *tick_words(response), *self.names()],
                "xaxis": {"visible": False, "range": list(WIDE)},
                "yaxis": {"visible": False, "range": list(TALL), "scaleanchor": "x"},
            }
        first, second = (response.space.factors[place] for place in self.pair)
        return {
            "height": 580,
            "margin": {"b": 140},
            "annotations": self.names(),
            "xaxis": {
                "title": {"text": first.head, "standoff": 8},
                "range": [self.x[0], self.x[-1]],
                "tickformat": ",.6~g",
                "showgrid": False,
            },
            "yaxis": {"title": {"text": second.head}, "range": [self.y[0], self.y[-1]], "showgrid": False},
        }


def _widened(axis: Sequence[float]) -> tuple[float, float]:
    """The ends of an axis and a little beyond, so that no sliver of the plane shows at its edge."""
    room = 0.02 * (axis[-1] - axis[0])
    return axis[0] - room, axis[-1] + room


def plane_of(response: Response) -> Plane | None:
    """The plane of a response: the triangle of its mixture of three, else its first two other factors; None else.

    Parameters
    ----------
    response : Response   Fitted.
    """
    if response.space.parts == 3:
        return _triangle(response)
    pairs = pairs_of(response)
    if not pairs:
        return None
    return _pair(response, tuple(response.space.names.index(name) for name in pairs[0]))


def _pair(response: Response, pair: tuple[int, int]) -> Plane:
    import numpy as np

    held = held_at(response)
    made = np.array([batch.levels for batch in response.batches])
    ends = [(float(made[:, place].min()), float(made[:, place].max())) for place in pair]
    axes = [np.linspace(low - _ROOM * (high - low), high + _ROOM * (high - low), _STEPS) for low, high in ends]
    across, up = np.meshgrid(*axes)
    levels = np.repeat(np.array([held.levels]), across.size, axis=0)
    levels[:, list(pair)] = np.column_stack([across.ravel(), up.ravel()])
    spans = tuple(float(axis[-1] - axis[0]) for axis in axes)
    if len(response.space.names) == 2:
        outline = hull_outline([(float(row[pair[0]]), float(row[pair[1]])) for row in made], spans)
    else:

        def to_points(asked: np.ndarray) -> np.ndarray:
            rows = np.repeat(np.array([held.levels]), len(asked), axis=0)
            rows[:, list(pair)] = asked
            return response.space.to_model(rows)

        middle = tuple(held.levels[place] for place in pair)
        outline = cut_outline(middle, spans, to_points, response.model.points)
    others = held.words(response, pair)
    title = f"{' and '.join(response.space.names[place] for place in pair)}{held_words(held, others)}"
    x, y = (axis.tolist() for axis in axes)
    return Plane(response, x, y, levels, tuple(range(across.size)), outline, title, others, pair)


def _triangle(response: Response) -> Plane:
    import numpy as np

    held = held_at(response)
    model_held = response.space.to_model([held.levels])[0]
    x, y, shares = triangle_grid()
    near = shares.min(axis=1) > -1.5 / len(x)
    levels = response.space.to_levels(coordinates_of(model_held, shares))
    places = [place_of(point[:3]) for point in response.model.points]
    outline = triangle_outline(response, held, model_held, places)
    others = held.words(response, (0, 1, 2))
    title = f"a mixture of three{held_words(held, others)}"
    drawn = tuple(np.flatnonzero(near).tolist())
    return Plane(response, x.tolist(), y.tolist(), levels, drawn, outline, title, others)
