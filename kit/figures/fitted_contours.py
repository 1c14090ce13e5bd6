"""Lines of equal value of a fitted response in a plane, the spec shaded, and areas with a hole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.figures.fitted_points import spec_limits
from kit.figures.marks import number
from kit.show import TOKENS

if TYPE_CHECKING:
    import numpy as np

    from kit.trials.response import Response

OUTSIDE_FILL = "rgba(120,128,136,0.28)"
OUTSIDE_NAME = "beyond the batches that were made"
_SPEC_EDGE = {"color": TOKENS["series"][0], "width": 2.5, "dash": "dash"}
_LINES = 6  # over the tried region, about
_MARGIN = 2  # points of the grid that a number stays away from the edge of the tried region
_WIDE = (0.5, 1.0)  # a number is wider than high: what is beside it counts as nearer


def nice_step(span: float, count: int = _LINES) -> float:
    """A step of 1, 2, 2.5 or 5 times a power of ten that parts a span about so many times.

    Parameters
    ----------
    span : float   Above 0.
    count : int    Steps wanted.
    """
    rough = span / count
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1, 2, 2.5, 5, 10) if rough <= step * power * (1 + 1e-9))


def contour_traces(
    response: Response,
    x: Sequence[float],
    y: Sequence[float],
    values: np.ndarray,
    tried: Sequence[float],
) -> list[dict]:
    """Lines of equal value with their numbers, and the spec shaded with a line at each of its limits.

    Parameters
    ----------
    response : Response
    x, y : sequence of float         Of the grid.
    values : (y, x)                  The model there; NaN where nothing is said. [unit]
    tried : sequence of float        The model inside the tried region, from which the step of the lines comes. [unit]
    """
    # six figures: the page stays small, and no line moves by what can be seen
    rows = [[None if math.isnan(value) else float(f"{value:.6g}") for value in row] for row in values]
    base = {"type": "contour", "x": list(map(float, x)), "y": list(map(float, y)), "z": rows, "showscale": False}
    base |= {"hoverinfo": "skip", "connectgaps": False}
    levels = contour_levels(tried, [value for row in rows for value in row if value is not None])
    lines = {
        **base,
        "name": "model",
        "showlegend": False,
        "line": {"color": TOKENS["quiet"], "width": 1, "smoothing": 0},
        "contours": {
            "coloring": "none",
            "start": levels[0],
            "end": levels[-1],
            "size": levels[1] - levels[0] if len(levels) > 1 else 1.0,
        },
    }
    return [*_spec_area(response, base), lines]


def line_labels(
    response: Response,
    x: Sequence[float],
    y: Sequence[float],
    values: np.ndarray,
    tried: np.ndarray,
    batches: Sequence[tuple[float, float]],
) -> list[dict]:
    """The number of every line, and of the limits of the spec, once each, as far from batches and numbers as may be.

    Parameters
    ----------
    response : Response
    x, y : sequence of float     Of the grid.
    values : (y, x)              The model there. [unit]
    tried : (y, x) of bool       Whether a point lies in the tried region: only there is a line named.
    batches : sequence of pairs  Their places.
    """
    import numpy as np

    every = values[~np.isnan(values)]
    levels = contour_levels(values[tried].tolist(), every.tolist())
    limits = [limit for limit in spec_limits(response) if limit is not None]
    spans = np.array([x[-1] - x[0], y[-1] - y[0]])
    taken = [np.array(place) / spans for place in batches]
    notes = []
    for level in [*limits, *(level for level in levels if level not in limits)]:
        found = _crossings(x, y, values, _within(tried), level)
        found = found if len(found) else _crossings(x, y, values, tried, level)
        if not len(found):
            continue
        far = np.min([np.hypot(*((found / spans - place) * _WIDE).T) for place in taken], axis=0)
        place = found[int(far.argmax())]
        taken.append(place / spans)
        text = number(level, response.result.unit)
        notes.append(_label(place, f"spec {text}" if level in limits else text, level in limits))
    return notes


def _within(tried: np.ndarray) -> np.ndarray:
    """Points whose neighbours on all sides lie in the tried region too: a number there is not cut by its edge."""
    kept = tried.copy()
    for _ in range(_MARGIN):
        inner = kept.copy()
        inner[1:] &= kept[:-1]
        inner[:-1] &= kept[1:]
        inner[:, 1:] &= kept[:, :-1]
        inner[:, :-1] &= kept[:, 1:]
        kept = inner
    return kept


def _crossings(
    x: Sequence[float], y: Sequence[float], values: np.ndarray, kept: np.ndarray, level: float
) -> np.ndarray:
    """Where a line crosses the grid between two kept points: (places, 2)."""
    import numpy as np

    found = []
    across, up = np.meshgrid(np.asarray(x), np.asarray(y))
    for first, last in (
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[:-1], np.s_[1:]),
    ):
        low, high = values[first] - level, values[last] - level
        cut = kept[first] & kept[last] & (low * high <= 0) & (low != high)
        way = low[cut] / (low[cut] - high[cut])
        ends = [part[first][cut] + way * (part[last][cut] - part[first][cut]) for part in (across, up)]
        found.append(np.column_stack(ends))
    return np.vstack(found)


def _label(place: Sequence[float], text: str, is_spec: bool) -> dict:
    return {
        "x": float(place[0]),
        "y": float(place[1]),
        "xanchor": "center",
        "yanchor": "middle",
        "text": f"<b>{text}</b>" if is_spec else text,
        "showarrow": False,
        "bgcolor": "rgba(255,255,255,0.8)",
        "borderpad": 1,
        "font": {"size": 10, "color": TOKENS["series"][0] if is_spec else TOKENS["quiet"]},
    }


def contour_levels(tried: Sequence[float], every: Sequence[float]) -> list[float]:
    """The values at which lines are drawn: as far beyond the tried values as these range, and no further.

    Parameters
    ----------
    tried, every : sequence of float   Values inside the tried region, and all that are drawn. [unit]
    """
    low, high = min(tried, default=min(every)), max(tried, default=max(every))
    span = high - low or abs(high) or 1.0
    step = nice_step(span)
    first = math.ceil(max(min(every), low - span) / step - 1e-9)
    last = math.floor(min(max(every), high + span) / step + 1e-9)
    return [count * step for count in range(first, max(first, last) + 1)]


def _spec_area(response: Response, base: dict) -> list[dict]:
    low, high = spec_limits(response)
    if low is None and high is None:
        return []
    # plotly shades what breaks a constraint: to shade the inside, the constraint is the outside
    if low is not None and high is not None:
        rule: dict = {"operation": "][", "value": [low, high]}
    else:
        rule = {"operation": "<" if high is None else ">", "value": low if high is None else high}
    return [
        {
            **base,
            "name": f"spec {response.result.spec.words()}",
            "showlegend": True,
            "fillcolor": TOKENS["band"],
            "line": {**_SPEC_EDGE, "smoothing": 0},
            "contours": {"type": "constraint", **rule},
        }
    ]


def ring(outer: Sequence[tuple[float, float]], hole: Sequence[tuple[float, float]], **more: object) -> dict:
    """An area with a hole as one filled trace.

    Parameters
    ----------
    outer, hole : sequence of pairs   Corners in order; without a hole the whole area is filled.
    **more                            Of the trace.
    """
    path = _turned(outer, True)
    if hole:
        inner = _turned(hole, False)
        path = [*path, path[0], *inner, inner[0], path[0]]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for x, _ in path],
        "y": [y for _, y in path],
        "fill": "toself",
        "line": {"width": 0},
        "hoverinfo": "skip",
        **more,
    }


def _turned(corners: Sequence[tuple[float, float]], left: bool) -> list[tuple[float, float]]:
    pairs = zip(corners, [*corners[1:], corners[0]], strict=True)
    area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)
    return list(corners) if (area > 0) is left else list(reversed(corners))
