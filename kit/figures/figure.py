"""A figure as the kit shows it: the drawing, a sentence that says what it shows, and its numbers as a table.

Drawn with plotly; sent to the notebook as plotly's own MIME type, so that it shows in JupyterLab and in a page without
a request to anywhere. Colours never carry a meaning alone: markers and line styles differ too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from kit.show import TOKENS, Table

WIDTH, HEIGHT = 640, 430  # fits an A4 page, and a notebook in a window of 820 pixels
MIME = "application/vnd.plotly.v1+json"


@dataclass(frozen=True)
class Figure:
    """A drawn figure.

    Parameters
    ----------
    title : str      The question it answers.
    subtitle : str   The method line: spindle, speed, reading time, temperature, age.
    traces : list    plotly traces as plain dictionaries.
    layout : dict    plotly layout over the kit's own.
    table : Table    Every number drawn.
    summary : str    What it shows, in one sentence, for a reader who does not see it.
    footnotes : sequence of str   What the letters beside marks stand for: "a: LIN-05/1, 40 600 mPa.s, FLAGGED: ...".
    """

    title: str
    subtitle: str
    traces: Sequence[dict[str, Any]]
    layout: dict[str, Any]
    table: Table
    summary: str
    footnotes: Sequence[str] = ()

    def json(self) -> dict[str, Any]:
        """The figure as plotly JSON, plain lists only, its numbers in `layout.meta`."""
        small = f"font-size:12px;color:{TOKENS['quiet']}"
        heading = f"<b>{shown(self.title)}</b><br><span style='{small}'>{shown(self.subtitle)}</span>"
        layout = _merged(_base_layout(), {"title": {"text": heading}, **_typed(self.layout, _TYPED_IN_LAYOUT)})
        layout["meta"] = {
            "kit": {
                "title": self.title,
                "subtitle": self.subtitle,
                "columns": list(self.table.columns),
                "note": self.table.note,
                "summary": self.summary,
                "rows": [[str(cell) for cell in row] for row in self.table.rows],
                "footnotes": list(self.footnotes),
            }
        }
        data = [_typed(trace, _TYPED_IN_TRACE) for trace in self.traces]
        return {
            "data": data,
            "layout": layout,
            "config": {"displayModeBar": False, "displaylogo": False, "responsive": False},
        }

    def plotly(self):
        """The figure as a plotly `Figure`, to restyle by hand."""
        from plotly import graph_objects

        drawn = self.json()
        return graph_objects.Figure(data=drawn["data"], layout=drawn["layout"])

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        return {MIME: self.json(), "text/plain": str(self)}

    def __str__(self) -> str:
        return "\n".join([self.title, self.summary, str(self.table), *self.footnotes])


def series(index: int) -> dict[str, str]:
    """Colour, marker and line style of the n-th series; they repeat after eight."""
    place = index % len(TOKENS["series"])
    return {"color": TOKENS["series"][place], "symbol": TOKENS["symbols"][place], "dash": TOKENS["dashes"][place]}


def band(
    low: float | None, high: float | None, *, reach: Sequence[float], lines: Sequence[str]
) -> tuple[list[dict], list[dict]]:
    """A shaded band across the figure, with its limits in words beside it: (shapes, annotations).

    A side without a limit is shaded to the end of the axis, whose two ends are `reach`.
    """
    edges = [value for value in (low, high) if value is not None]
    line = {"color": TOKENS["series"][0], "width": 1, "dash": "dot"}
    shapes = [
        {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": value, "y1": value, "line": line, "layer": "below"}
        for value in edges
    ]
    shapes.append(
        {
            "type": "rect",
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "y0": reach[0] if low is None else low,
            "y1": reach[1] if high is None else high,
            "fillcolor": TOKENS["band"],
            "line": {"width": 0},
            "layer": "below",
        }
    )
    note = {
        "xref": "paper",
        "x": 1.01,
        "xanchor": "left",
        "y": sum(edges) / len(edges),
        "yanchor": "middle",
        "align": "left",
        "text": stacked(lines),
        "showarrow": False,
        "font": {"size": 11, "color": TOKENS["quiet"]},
    }
    return shapes, [note]


def stacked(lines: Sequence[str]) -> str:
    """Lines of typed text under one another, as an axis label takes them."""
    return "<br>".join(shown(line) for line in lines)


def shown(text: str) -> str:
    """Typed text inside plotly's small markup: angle brackets and ampersands are shown, not obeyed."""
    return str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


_TYPED_IN_TRACE = ("name", "text", "hovertext", "x", "y")
_TYPED_IN_LAYOUT = ("categoryarray", "tickvals", "title")


def _typed(value: Any, keys: Sequence[str], inside: bool = False) -> Any:
    """A copy in which typed text under these keys is shown as it is: names of lots and materials are no markup."""
    if isinstance(value, dict):
        return {key: _typed(item, keys, inside or key in keys) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_typed(item, keys, inside) for item in value]
    return shown(value) if inside and isinstance(value, str) else value


def _base_layout() -> dict[str, Any]:
    axis = {
        "gridcolor": "#e6e9ec",
        "linecolor": TOKENS["rule"],
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": TOKENS["rule"],
        "automargin": True,
    }
    return {
        "template": "none",
        "width": WIDTH,
        "height": HEIGHT,
        "separators": ". ",
        "font": {"family": TOKENS["font"], "size": 13, "color": TOKENS["ink"]},
        "title": {"x": 0, "xref": "paper", "xanchor": "left", "y": 0.97, "yanchor": "top", "font": {"size": 15}},
        "margin": {"l": 70, "r": 24, "t": 76, "b": 104},
        "paper_bgcolor": "#ffffff",
        "plot_bgcolor": "#ffffff",
        "xaxis": dict(axis),
        "yaxis": {**axis, "tickformat": ",.6~g"},
        "showlegend": True,
        "legend": {"orientation": "h", "x": 0, "xanchor": "left", "yref": "container", "y": 0.01, "yanchor": "bottom"},
        "hovermode": "closest",
    }


def _merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    merged = dict(base)
    for key, value in over.items():
        merged[key] = (
            _merged(base[key], value) if isinstance(value, dict) and isinstance(base.get(key), dict) else value
        )
    return merged
