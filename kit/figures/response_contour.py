"""Where in two factors does a property lie, the others held? Drawn only where batches were made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from kit.errors import KitError
from kit.figures.figure import Figure
from kit.figures.response_marks import marks
from kit.science.number_text import short
from kit.show import TOKENS, Table
from kit.trials.response_levels import MIXTURE
from kit.trials.response_tables import number

if TYPE_CHECKING:
    from kit.trials.response import Response

_GRID, _ROWS = 41, 5
_LINES = 8


def contour(response: Response, first: str = "", second: str = "") -> Figure | None:
    """Lines of equal value over two factors that are no parts of a mixture; None without a model or two such factors.

    Parameters
    ----------
    response : Response
    first, second : str   Names of the factors across and up; the first two when omitted. Others are at their mean.

    Raises
    ------
    KitError   `figure.factor` for a name that is no such factor.
    """
    free = [factor.name for factor in response.space.factors if factor.kind != MIXTURE]
    if not response.is_fitted or len(free) < 2:
        return None
    across, up = (_known(name, free) or free[place] for place, name in enumerate((first, second)))
    x, y, z = _grid(response, across, up)
    low, high = float(np.nanmin(z)), float(np.nanmax(z))
    lines = np.linspace(low, high, _LINES + 2)[1:-1]
    step = float(f"{(lines[1] - lines[0]) or 1.0:.1g}")
    traces: list[dict[str, Any]] = [
        {
            "type": "contour",
            "name": response.name,
            "x": x.tolist(),
            "y": y.tolist(),
            "z": [[None if np.isnan(value) else float(value) for value in row] for row in z],
            "contours": {
                "start": float(np.floor(low / step) * step),
                "end": high,
                "size": step,
                "showlabels": True,
                "labelformat": ",.6~g",
                "coloring": "heatmap",
                "labelfont": {"size": 11, "color": TOKENS["ink"]},
            },
            "colorscale": [[0, "#ffffff"], [1, "#8fb7d6"]],
            "line": {"color": TOKENS["ink"], "width": 1},
            "connectgaps": False,
            "colorbar": {"title": {"text": response.unit}, "thickness": 14, "tickformat": ",.6~g"},
        },
        *_limits(response, x, y, z),
        _batches(response, across, up),
    ]
    heads = {factor.name: factor.head for factor in response.space.factors}
    held = [name for name in response.space.names if name not in (across, up)]
    at = f"; {', '.join(held)} at their mean" if held else ""
    return Figure(
        f"{response.name}: where in {across} and {up}?",
        f"{response.choice.name}{at}; blank: beyond the batches",
        traces,
        {
            "height": 520,
            "xaxis": {"title": {"text": heads[across], "standoff": 8}, "tickformat": ",.6~g"},
            "yaxis": {"title": {"text": heads[up]}, "tickformat": ",.6~g"},
        },
        _table(response, across, up, x, y, z),
        f"Inside the tried region {response.name} goes from {number(low, response.log)} to "
        f"{number(high, response.log)} {response.unit}".strip()
        + ".",
        response.notes,
    )


def _known(name: str, free: list[str]) -> str:
    if name and name not in free:
        raise KitError(
            f"{name!r} is no factor to draw across",
            where="contour()",
            allowed=", ".join(free),
            mend="name one of these",
            code="figure.factor",
        )
    return name


def _grid(response: Response, across: str, up: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    from kit.science.tried_region import inside_hull

    made = np.array([batch.levels for batch in response.batches])
    columns = [response.space.names.index(name) for name in (across, up)]
    x, y = (np.linspace(made[:, column].min(), made[:, column].max(), _GRID) for column in columns)
    points = np.repeat(made.mean(axis=0)[None], _GRID * _GRID, axis=0)
    mesh = np.meshgrid(x, y)
    for column, levels in zip(columns, mesh, strict=True):
        points[:, column] = levels.ravel()
    values = response.model.predict_mean(response.space.to_model(points))
    inside = inside_hull(points[:, columns], made[:, columns])
    return x, y, np.where(inside, values, np.nan).reshape(_GRID, _GRID)


def _limits(response: Response, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> list[dict[str, Any]]:
    """The limits of the spec as lines of their own."""
    spec = response.result.spec
    if spec is None:
        return []
    drawn = []
    for limit, word, dash in ((spec.low, "lower", "dash"), (spec.high, "upper", "dot")):
        if limit is None or not np.nanmin(z) < float(limit) < np.nanmax(z):
            continue
        drawn.append(
            {
                "type": "contour",
                "name": f"{word} limit of the spec, {short(float(limit), 6)}",
                "x": x.tolist(),
                "y": y.tolist(),
                "z": [[None if np.isnan(value) else float(value) for value in row] for row in z],
                "contours": {"start": float(limit), "end": float(limit), "size": 1.0, "coloring": "none"},
                "line": {"color": TOKENS["series"][1], "width": 3, "dash": dash},
                "showscale": False,
                "showlegend": True,
                "hoverinfo": "skip",
            }
        )
    return drawn


def _batches(response: Response, across: str, up: str) -> dict[str, Any]:
    columns = [response.space.names.index(name) for name in (across, up)]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": "batches",
        "x": [batch.levels[columns[0]] for batch in response.batches],
        "y": [batch.levels[columns[1]] for batch in response.batches],
        "text": marks(response.batches, response.log),
        "textposition": "top center",
        "textfont": {"size": 10},
        "cliponaxis": False,
        "marker": {"symbol": "circle", "size": 9, "color": TOKENS["ink"]},
    }


def _table(response: Response, across: str, up: str, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Table:
    picked = np.linspace(0, _GRID - 1, _ROWS).astype(int)
    rows = []
    for row in picked[::-1]:
        cells = ("" if np.isnan(z[row, column]) else number(float(z[row, column]), response.log) for column in picked)
        rows.append((short(float(y[row]), 4), *cells))
    head = (f"{up} down, {across} across", *(short(float(x[column]), 4) for column in picked))
    return Table(head, rows, f"{response.name}, as the model has it", numeric=frozenset(range(1, _ROWS + 1)))
