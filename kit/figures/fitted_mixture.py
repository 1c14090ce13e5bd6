"""How does a property go with the parts of a mixture of three? Lines of equal value in its triangle.

The triangle is drawn in plain axes: each corner is all of one part that the lower bounds of the others leave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.figures.figure import Figure
from kit.figures.fitted_contours import OUTSIDE_FILL, OUTSIDE_NAME, contour_traces, line_labels, ring
from kit.figures.fitted_points import batch_marks, held_at, level_words, unit_of
from kit.figures.fitted_surface import batch_rows, held_words, plane_notes, plane_table, plane_words
from kit.figures.marks import number, property_name
from kit.figures.triangle import (
    CORNERS,
    STEPS,
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
from kit.science.number_text import short

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response import Response

_TABLE = 4  # parts of each side for the points of the table
_SAME_TOTAL = 0.005  # totals nearer than this are one as printed. [%]


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
    x, y, shares = triangle_grid()
    near = shares.min(axis=1) > -1.5 / STEPS
    values, outside = np.full(len(shares), np.nan), np.full(len(shares), "", dtype=object)
    levels = space.to_levels(coordinates_of(model_held, shares[near]))
    found = response.predict(levels)
    values[near], outside[near] = found.mean, found.outside
    inside = near & (shares.min(axis=1) >= -1e-9)
    tried_at = inside & (outside == "")
    places = [place_of(point[:3]) for point in response.model.points]
    outline = triangle_outline(response, held, model_held, places)
    marks, names = batch_marks(response, places, (1.0, 1.0))
    grid = values.reshape(len(y), len(x))
    labels = line_labels(response, x, y, grid, tried_at.reshape(grid.shape), places)
    drawn = [
        *contour_traces(response, x, y, grid, values[tried_at].tolist()),
        ring(list(CORNERS), outline, name=OUTSIDE_NAME, fillcolor=OUTSIDE_FILL),
        ring(frame(), list(CORNERS), name="", showlegend=False, fillcolor="#ffffff"),
        sides(),
        *bounds_of_parts(response),
        *marks,
    ]
    others = held.words(response, (0, 1, 2))
    unit = max((unit_of(factor) for factor in space.factors[:3]), key=len)  # of active matter where any part is
    subtitle = f"{short(space.total, 4)} {unit} in all; {response.choice.name} model{held_words(held, others)}"
    points = _points_in_words(response, values[tried_at], space.to_levels(coordinates_of(model_held, shares[tried_at])))
    return Figure(
        f"{property_name(response.result)} at {response.result.age}: which blend of three gives what?",
        subtitle,
        drawn,
        {
            "height": 716,
            "margin": {"l": 10, "r": 10, "b": 96},
            "annotations": [*corner_words(response), *tick_words(response), *labels, *map(inwards, names)],
            "xaxis": {"visible": False, "range": list(WIDE)},
            "yaxis": {"visible": False, "range": list(TALL), "scaleanchor": "x"},
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
    rows = batch_rows(response, range(3))
    steps = range(_TABLE + 1)
    shares = np.array([(a, b, _TABLE - a - b) for a in steps for b in steps if a + b <= _TABLE], dtype=float) / _TABLE
    levels = space.to_levels(coordinates_of(model_held, shares))
    found = response.predict(levels)
    for point, value, where in zip(levels, found.mean, found.outside, strict=True):
        parts = [short(float(level), 4) for level in point[:3]]
        rows.append(("model", *parts, "–", number(float(value), unit), where or "in the tried region"))
    return plane_table(response, [factor.head for factor in space.factors[:3]], rows, tried, every)
