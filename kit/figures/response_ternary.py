"""Where in a mixture of three does a property lie? Lines of equal value on the triangle, the batches on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from kit.figures.figure import Figure, series
from kit.figures.response_marks import marks
from kit.science.number_text import short
from kit.science.tried_region import inside_hull
from kit.show import TOKENS, Table
from kit.trials.response_tables import number

if TYPE_CHECKING:
    from kit.trials.response import Response

_STEPS = 60  # along each side of the triangle
_LINES = 7
_ROOM = 0.02


def ternary(response: Response) -> Figure | None:
    """Lines of equal value inside the tried region, in L-pseudocomponents' triangle; None without a mixture of three.

    Parameters
    ----------
    response : Response   Factors that are no parts of the mixture are at their mean.
    """
    if not response.is_fitted or response.space.parts != 3:
        return None
    shares, faces = _triangle()
    levels, inside = _levels(response, shares)
    values = response.model.predict_mean(response.space.to_model(levels))
    shown = values[inside]
    lines = _round_lines(float(shown.min()), float(shown.max()))
    traces = [_line(levels, values, inside, faces, level, response, place) for place, level in enumerate(lines)]
    traces += _limits(response, levels, values, inside, faces)
    traces.append(_batches(response))
    names = response.space.names[:3]
    low = [
        min([float(part), *(batch.levels[i] for batch in response.batches)])
        for i, part in enumerate(response.space.low[:3])
    ]
    return Figure(
        f"{response.name}: where in the mixture?",
        f"{response.choice.name}; parts of {response.space.total:.2f} %; lines only where batches were made",
        [trace for trace in traces if trace],
        {
            "height": 620,
            "margin": {"t": 110, "b": 150, "l": 120, "r": 110},
            "ternary": {
                "sum": response.space.total,
                "bgcolor": TOKENS["paper"],
                "domain": {"y": [0.0, 1.0]},
                **{
                    f"{axis}axis": {
                        "title": {"text": f"{name}, %", "font": {"size": 12}},
                        "min": max(least - _ROOM, 0.0),
                        "linecolor": TOKENS["rule"],
                        "gridcolor": "#e6e9ec",
                        "tickfont": {"size": 11},
                        "nticks": 5,
                    }
                    for axis, name, least in zip("abc", names, low, strict=True)
                },
            },
        },
        _table(response, lines),
        _words(response, shown),
        response.notes,
    )


def _triangle() -> tuple[np.ndarray, np.ndarray]:
    """Shares on a triangular grid, and its small triangles as rows of three."""
    place = {}
    shares = []
    for first in range(_STEPS + 1):
        for second in range(_STEPS + 1 - first):
            place[first, second] = len(shares)
            shares.append((first / _STEPS, second / _STEPS, 1 - (first + second) / _STEPS))
    faces = []
    for (first, second), here in place.items():
        right, above, beyond = (first + 1, second), (first, second + 1), (first + 1, second + 1)
        if right in place and above in place:
            faces.append((here, place[right], place[above]))
        if beyond in place:
            faces.append((place[right], place[above], place[beyond]))
    return np.array(shares), np.array(faces)


def _levels(response: Response, shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All levels over the triangle of pseudocomponents, and whether they lie among the batches."""
    made = np.array([batch.levels for batch in response.batches])
    coded = np.repeat(response.space.to_model(made).mean(axis=0)[None], len(shares), axis=0)
    coded[:, :3] = shares
    tried = response.space.to_model(made)[:, :3]
    return response.space.to_levels(coded), inside_hull(shares, tried)


def _round_lines(low: float, high: float) -> list[float]:
    step = float(f"{(high - low) / _LINES or 1.0:.1g}")
    first = np.ceil(low / step) * step
    return [float(value) for value in np.arange(first, high, step)] or [(low + high) / 2]


def _crossings(
    levels: np.ndarray, values: np.ndarray, inside: np.ndarray, faces: np.ndarray, level: float
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Pieces of a line of equal value: where it crosses two sides of a small triangle."""
    found = []
    for face in faces:
        if not inside[face].all():
            continue
        cut = []
        for one, other in ((0, 1), (1, 2), (2, 0)):
            a, b = face[one], face[other]
            if (values[a] < level) != (values[b] < level):
                share = (level - values[a]) / (values[b] - values[a])
                cut.append(levels[a] + share * (levels[b] - levels[a]))
        if len(cut) == 2:
            found.append((cut[0], cut[1]))
    return found


def _joined(pieces: list[tuple[np.ndarray, np.ndarray]]) -> list[np.ndarray]:
    """Pieces put end to end, gaps as rows of not-a-number."""
    left = [(tuple(np.round(a, 9)), tuple(np.round(b, 9))) for a, b in pieces]
    points: list[np.ndarray] = []
    while left:
        start, end = left.pop()
        line = [start, end]
        for grows_at, take in ((-1, list.append), (0, lambda line, point: line.insert(0, point))):
            while True:
                match = next((piece for piece in left if line[grows_at] in piece), None)
                if match is None:
                    break
                left.remove(match)
                take(line, match[1] if match[0] == line[grows_at] else match[0])
        points += [np.array(point) for point in line]
        points.append(np.full(len(line[0]), np.nan))
    return points


def _line(
    levels: np.ndarray,
    values: np.ndarray,
    inside: np.ndarray,
    faces: np.ndarray,
    level: float,
    response: Response,
    place: int,
) -> dict[str, Any]:
    points = _joined(_crossings(levels, values, inside, faces, level))
    if not points:
        return {}
    text = [""] * len(points)
    text[max(len(points) // 2 - 1, 0)] = number(level, response.log)
    return {
        "type": "scatterternary",
        "mode": "lines+text",
        "name": "lines of equal value",
        "showlegend": place == 0,
        **_coordinates(points),
        "text": text,
        "textfont": {"size": 11, "color": TOKENS["ink"]},
        "line": {"color": TOKENS["quiet"], "width": 1.3},
        "hoverinfo": "skip",
    }


def _coordinates(points: list[np.ndarray]) -> dict[str, list[float | None]]:
    return {
        axis: [None if np.isnan(point[place]) else float(point[place]) for point in points]
        for place, axis in enumerate("abc")
    }


def _limits(
    response: Response, levels: np.ndarray, values: np.ndarray, inside: np.ndarray, faces: np.ndarray
) -> list[dict[str, Any]]:
    spec = response.result.spec
    if spec is None:
        return []
    drawn = []
    for limit, word, dash in ((spec.low, "lower", "dash"), (spec.high, "upper", "dot")):
        points = [] if limit is None else _joined(_crossings(levels, values, inside, faces, float(limit)))
        if points:
            drawn.append(
                {
                    "type": "scatterternary",
                    "mode": "lines",
                    "name": f"{word} limit of the spec, {short(float(limit), 6)}",
                    **_coordinates(points),
                    "line": {"color": TOKENS["series"][1], "width": 3, "dash": dash},
                }
            )
    return drawn


def _batches(response: Response) -> dict[str, Any]:
    look = series(0)
    return {
        "type": "scatterternary",
        "mode": "markers+text",
        "name": "batches",
        **_coordinates([np.array(batch.levels[:3]) for batch in response.batches]),
        "text": marks(response.batches, response.log),
        "textposition": "top center",
        "textfont": {"size": 10, "color": TOKENS["ink"]},
        "cliponaxis": False,
        "marker": {"symbol": look["symbol"], "size": 9, "color": look["color"]},
    }


def _table(response: Response, lines: list[float]) -> Table:
    rows = [
        (batch.batch, *(f"{level:.2f}" for level in batch.levels[:3]), number(batch.value, response.log))
        for batch in response.batches
    ]
    unit = f", {response.unit}" if response.unit else ""
    drawn = ", ".join(number(level, response.log) for level in lines)
    head = ("batch", *(f"{name}, %" for name in response.space.names[:3]), f"measured{unit}")
    return Table(head, rows, "Batches on the triangle", f"Lines at {drawn}{unit}.", frozenset({1, 2, 3, 4}))


def _words(response: Response, shown: np.ndarray) -> str:
    low, high = (number(float(value), response.log) for value in (shown.min(), shown.max()))
    return f"Inside the tried region {response.name} goes from {low} to {high} {response.unit}".strip() + "."
