"""How does a property go with two factors together? Lines of equal value, the batches on them, the spec shaded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from kit.figures.figure import Figure
from kit.figures.fitted_contours import OUTSIDE_FILL, OUTSIDE_NAME, contour_levels, contour_traces, line_labels, ring
from kit.figures.fitted_points import (
    Held,
    batch_marks,
    fit_notes,
    held_at,
    is_inside,
    level_words,
    spec_limits,
    value_words,
)
from kit.figures.fitted_region import cut_outline, hull_outline
from kit.figures.marks import axis_title, number, property_name
from kit.science.number_text import short
from kit.show import Table
from kit.trials.wording import plural

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response import Response

_STEPS = 41  # of the grid, each way
_EVERY = 10  # every so many points of the grid stand in the table
_ROOM = 0.10  # of the tried range, around it
_MOST_PAIRS = 3


@dataclass(frozen=True)
class _Plane:
    """Two factors over a grid: levels of each, the model there and why a point lies outside the tried region."""

    pair: tuple[int, int]
    x: np.ndarray
    y: np.ndarray
    values: np.ndarray
    outside: list[list[str]]

    @property
    def is_tried(self) -> np.ndarray:
        """Whether a point lies in the tried region."""
        import numpy as np

        return np.array([[not words for words in row] for row in self.outside])

    def tried(self) -> list[tuple[float, float, float]]:
        """Level, level and value inside the tried region."""
        return [
            (float(self.x[i]), float(self.y[j]), float(self.values[j, i]))
            for j, row in enumerate(self.outside)
            for i, words in enumerate(row)
            if not words
        ]


def pairs_of(response: Response) -> list[tuple[str, str]]:
    """The pairs of factors that have a figure: those beside a mixture, three pairs at most.

    Parameters
    ----------
    response : Response
    """
    return list(combinations(response.space.names[response.space.parts :], 2))[:_MOST_PAIRS]


def fitted_surface(response: Response, first: str = "", second: str = "", at: str = "") -> Figure | None:
    """The model over two process or content factors as contour lines, the batches on it; None without either.

    Parameters
    ----------
    response : Response
    first, second : str   Names of the factors; the first pair when empty.
    at : str              The batch at which the others are held; the middle of the batches when empty.

    Raises
    ------
    KitError   `figure.batch`.
    """
    pairs = pairs_of(response)
    if not response.is_fitted or not pairs:
        return None
    names = (first, second) if first and second else pairs[0]
    held = held_at(response, at)
    plane = _plane(response, tuple(response.space.names.index(name) for name in names), held)
    factors = [response.space.factors[place] for place in plane.pair]
    places = [tuple(batch.levels[place] for place in plane.pair) for batch in response.batches]
    spans = (float(plane.x[-1] - plane.x[0]), float(plane.y[-1] - plane.y[0]))
    tried = [value for _, _, value in plane.tried()]
    marks, words = batch_marks(response, places, spans)
    box = [(float(x), float(y)) for x, y in [(plane.x[0], plane.y[0]), (plane.x[-1], plane.y[0]),
           (plane.x[-1], plane.y[-1]), (plane.x[0], plane.y[-1])]]  # fmt: skip
    outline = _outline(response, plane, held, places, spans)
    beyond = ring(box, outline, name=OUTSIDE_NAME, fillcolor=OUTSIDE_FILL)
    others = held.words(response, plane.pair)
    return Figure(
        f"{property_name(response.result)} at {response.result.age}: what do two factors give together?",
        f"{names[0]} and {names[1]}; {response.choice.name} model{held_words(held, others)}",
        [*contour_traces(response, plane.x, plane.y, plane.values, tried), beyond, *marks],
        {
            "height": 560,
            "annotations": [*line_labels(response, plane.x, plane.y, plane.values, plane.is_tried, places), *words],
            "xaxis": {
                "title": {"text": factors[0].head, "standoff": 8},
                "range": [box[0][0], box[1][0]],
                "tickformat": ",.6~g",
                "showgrid": False,
            },
            "yaxis": {"title": {"text": factors[1].head}, "range": [box[0][1], box[2][1]], "showgrid": False},
        },
        _table(response, plane, tried),
        _summary(response, plane),
        plane_notes(response, [words for row in plane.outside for words in row], others),
    )


def held_words(held: Held, others: str) -> str:
    """Where the others are held, for a subtitle; empty where there are none."""
    return f"; others held at {held.where}" if others else ""


def plane_notes(response: Response, outside: Sequence[str], others: str) -> tuple[str, ...]:
    """What stands under a figure of a plane.

    Parameters
    ----------
    response : Response
    outside : sequence of str   Why each point of the grid lies outside the tried region.
    others : str                The factors that are held, with their levels; empty without any.
    """
    from kit.science.tried_region import LEVERAGE

    notes = ["Lines are the model's middle; how far a batch may lie from it is not drawn here."]
    if others:
        notes.insert(0, f"Held: {others}.")
    if LEVERAGE in outside:
        notes.append(f"In places inside the outline the model {LEVERAGE}: the table names them.")
    return (*notes, *fit_notes(response))


def _plane(response: Response, pair: tuple[int, int], held: Held) -> _Plane:
    import numpy as np

    made = np.array([batch.levels for batch in response.batches])
    axes = []
    for place in pair:
        low, high = float(made[:, place].min()), float(made[:, place].max())
        room = _ROOM * (high - low)
        axes.append(np.linspace(low - room, high + room, _STEPS))
    across, up = np.meshgrid(*axes)
    rows = _rows(held, pair, np.column_stack([across.ravel(), up.ravel()]))
    found = response.predict(rows)
    outside = [list(found.outside[row * _STEPS : (row + 1) * _STEPS]) for row in range(_STEPS)]
    return _Plane(pair, axes[0], axes[1], found.mean.reshape(_STEPS, _STEPS), outside)


def _rows(held: Held, pair: tuple[int, int], places: np.ndarray) -> np.ndarray:
    import numpy as np

    rows = np.repeat(np.array([held.levels]), len(places), axis=0)
    rows[:, list(pair)] = places
    return rows


def _outline(
    response: Response,
    plane: _Plane,
    held: Held,
    places: Sequence[tuple[float, float]],
    spans: tuple[float, float],
) -> list[tuple[float, float]]:
    """Of the tried region: that of the batches themselves where no other factor is held, else the cut through it."""
    if len(response.space.names) == 2:
        return hull_outline(places, spans)
    middle = tuple(held.levels[place] for place in plane.pair)

    def to_points(asked: np.ndarray) -> np.ndarray:
        return response.space.to_model(_rows(held, plane.pair, asked))

    return cut_outline(middle, spans, to_points, response.model.points)


def _table(response: Response, plane: _Plane, tried: Sequence[float]) -> Table:
    factors = [response.space.factors[place] for place in plane.pair]
    unit = response.result.unit
    rows = batch_rows(response, plane.pair)
    for j in range(0, _STEPS, _EVERY):
        for i in range(0, _STEPS, _EVERY):
            place = plane.outside[j][i] or "in the tried region"
            value = number(float(plane.values[j, i]), unit)
            rows.append(("model", short(float(plane.x[i]), 4), short(float(plane.y[j]), 4), "–", value, place))
    return plane_table(response, [factor.head for factor in factors], rows, tried, plane.values.ravel().tolist())


def batch_rows(response: Response, places: Sequence[int]) -> list[tuple[str, ...]]:
    """The batches as rows of the table of a plane: name, levels, measured, model, "batch".

    Parameters
    ----------
    response : Response
    places : sequence of int   Of the factors that are shown.
    """
    unit = response.result.unit
    return [
        (
            batch.batch,
            *(short(batch.levels[place], 4) for place in places),
            number(batch.value, unit),
            number(fitted, unit),
            "batch",
        )
        for batch, fitted in zip(response.batches, response.model.fitted, strict=True)
    ]


def plane_table(
    response: Response, heads: Sequence[str], rows: Sequence[tuple], tried: Sequence[float], every: Sequence[float]
) -> Table:
    """The table of a figure of a plane; its note names the lines that are drawn.

    Parameters
    ----------
    response : Response
    heads : sequence of str            Of the factors, with units.
    rows : sequence of tuple           Name, levels, measured, model, where.
    tried, every : sequence of float   Of the model inside the tried region, and all. [unit]
    """
    levels = ", ".join(number(level, response.result.unit) for level in contour_levels(tried, every))
    spec = response.result.spec
    note = f"Lines at {levels}{f' {response.unit}' if response.unit else ''}."
    if spec_limits(response) != (None, None):
        note += f" Spec {spec.words()}."
    value = axis_title(response.result)
    columns = ("point", *heads, f"{value}, measured", f"{value}, model", "where")
    return Table(columns, rows, note=note, numeric=frozenset(range(1, len(heads) + 3)))


def _summary(response: Response, plane: _Plane) -> str:
    factors = [response.space.factors[place] for place in plane.pair]
    points = [
        (value, " and ".join(level_words(*one) for one in zip(factors, (x, y), strict=True)))
        for x, y, value in plane.tried()
    ]
    return plane_words(response, points)


def plane_words(response: Response, points: Sequence[tuple[float, str]]) -> str:
    """A plane in a sentence: where the model is lowest and highest, and how much of what was tried meets the spec.

    Parameters
    ----------
    response : Response
    points : sequence of pairs   The model inside the tried region, and the levels there in words. [unit]
    """
    count = plural(len(response.batches), "batch", "batches")
    if not points:
        return f"{response.name}: no point of this plane lies among the {count} that were made; nothing is told there."
    (low, least), (high, most) = min(points), max(points)
    told = f"{response.name}, from {count}: inside the tried region the model goes from {value_words(response, low)}"
    told += f" at {least} to {value_words(response, high)} at {most}."
    limits = spec_limits(response)
    if limits == (None, None):
        return told
    share = sum(is_inside(value, limits) for value, _ in points) / len(points)
    made = sum(is_inside(batch.value, limits) for batch in response.batches)
    return f"{told} {100 * share:.0f} % of that region and {made} of {count} are inside the spec."
