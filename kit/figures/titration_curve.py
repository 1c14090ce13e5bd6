"""How much acid or base, how steep is it here, and what will one drop do?

pH against the grams of a stock solution added to the batch, a line a stock. The spec is shaded, the pH the batch has
now and the target are marked, and so is every single drop around now: where the marks lie far apart one drop decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kit.figures.figure import Figure, band, series
from kit.figures.titration_words import (
    StockCurve,
    TitrationPlot,
    drops_words,
    grams,
    per_100_g,
    reach_g,
    spec_limits,
    thinned,
    titration_summary,
    titration_table,
)
from kit.show import TOKENS

_INK = TOKENS["ink"]
_BAND_FILL, _BAND_EDGE = "rgba(60,60,60,0.10)", "#8a939c"
_LEGEND_PX, _SIDE_PX = 20, 92  # a row of the legend, and the room for the words of spec and target
_TICKS = 5


def titration_curve(plot: TitrationPlot) -> Figure:
    """The titration curves of a batch, a line a stock solution.

    Parameters
    ----------
    plot : TitrationPlot   Curves, present pH, spec, target, drops and bench readings.

    Returns
    -------
    Figure   With a table of every number drawn.
    """
    traces = [
        *_bands(plot),
        *(_line(index, curve) for index, curve in enumerate(plot.curves)),
        *_drops(plot),
        *_bench(plot),
        *_firsts(plot),
        *_targets(plot),
        _now(plot),
    ]
    return Figure(
        "How much acid or base, and what does one drop do?",
        f"{plot.batch}, {plot.batch_g:g} g, 25 °C; starts from the {plot.now_how} pH {plot.now_ph:.2f}",
        traces,
        _layout(plot, traces),
        titration_table(plot),
        titration_summary(plot),
        tuple(plot.notes),
    )


def _bands(plot: TitrationPlot) -> list[dict]:
    """The bands of all curves; the legend names them once."""
    found = []
    for curve in plot.curves:
        if not len(curve.low):
            continue
        kept = thinned(curve.doses_g, curve.ph)
        there = [(curve.doses_g[at], curve.high[at]) for at in kept]
        back = [(curve.doses_g[at], curve.low[at]) for at in reversed(kept)]
        found.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": plot.band_words,
                "legendgroup": "band",
                "showlegend": not found,
                "x": [x for x, _ in [*there, *back]],
                "y": [y for _, y in [*there, *back]],
                "fill": "toself",
                "fillcolor": _BAND_FILL,
                "line": {"width": 0.8, "dash": "dot", "color": _BAND_EDGE},
                "hoverinfo": "skip",
            }
        )
    return found


def _line(index: int, curve: StockCurve) -> dict:
    look, kept = series(index), thinned(curve.doses_g, curve.ph)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": curve.stock,
        "x": [curve.doses_g[at] for at in kept],
        "y": [curve.ph[at] for at in kept],
        "line": {"color": look["color"], "dash": look["dash"], "width": 2.2},
        "hoverinfo": "skip",
    }


def _drops(plot: TitrationPlot) -> list[dict]:
    """Short upright ticks, which can be told apart where circles would run into one another."""
    points = [point for curve in plot.curves for point in curve.drops]
    if not points:
        return []
    marker = {"symbol": "line-ns-open", "size": 9, "color": _INK, "line": {"width": 1.2, "color": _INK}}
    return [{**_marks(plot, points, f"from tick to tick: {drops_words(plot)}"), "marker": marker}]


def _bench(plot: TitrationPlot) -> list[dict]:
    if not plot.bench:
        return []
    return [
        {
            **_marks(plot, plot.bench, "read at the bench"),
            "mode": "lines+markers",
            "line": {"color": _INK, "dash": "dot", "width": 1},
            "marker": {"symbol": "x-thin", "size": 10, "color": _INK, "line": {"width": 2, "color": _INK}},
        }
    ]


def _firsts(plot: TitrationPlot) -> list[dict]:
    points = [curve.first for curve in plot.curves if curve.first]
    if not points:
        return []
    name = f"first {100 * plot.first_share:.0f} %: add, wait, read again"
    return [{**_marks(plot, points, name), "marker": _marker("triangle-down-open", 12)}]


def _targets(plot: TitrationPlot) -> list[dict]:
    points = [curve.target for curve in plot.curves if curve.target]
    if not points or plot.target_ph is None:
        return []
    falls = plot.target_ph < plot.now_ph
    return [
        {
            **_marks(plot, points, f"whole dose to the target {plot.target_ph:.2f}"),
            "mode": "markers+text",
            "text": [f"{grams(dose)} g" for dose, _ in points],
            "textposition": "top right" if falls else "bottom right",
            "textfont": {"size": 12, "color": _INK},
            "marker": _marker("star-open", 14),
        }
    ]


def _now(plot: TitrationPlot) -> dict:
    return {
        **_marks(plot, [(0.0, plot.now_ph)], f"now {plot.now_ph:.2f} ({plot.now_how})"),
        "cliponaxis": False,
        "marker": {"symbol": "circle", "size": 12, "color": _INK},
    }


def _marker(symbol: str, size: int) -> dict:
    return {"symbol": symbol, "size": size, "color": _INK, "line": {"width": 2, "color": _INK}}


def _marks(plot: TitrationPlot, points: Sequence[tuple[float, float]], name: str) -> dict:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [dose for dose, _ in points],
        "y": [ph for _, ph in points],
        "hovertext": [f"{grams(dose)} g, {per_100_g(dose, plot)} g/100 g: pH {ph:.2f}" for dose, ph in points],
        "hovertemplate": "%{hovertext}<extra></extra>",
    }


def _layout(plot: TitrationPlot, traces: Sequence[dict]) -> dict:
    reach, values = reach_g(plot), _ph_range(plot)
    shapes, words = _spec(plot, values)
    target_shapes, target_words = _target_line(plot)
    ticks = nice_ticks(reach)
    named = sum(trace.get("showlegend", True) for trace in traces)
    below = 78 + _LEGEND_PX * named
    return {
        "height": 420 + below,
        "margin": {"b": below, "r": _SIDE_PX, "l": 56},
        "shapes": [*shapes, *target_shapes],
        "annotations": [*words, *target_words],
        "xaxis": {
            "title": {"text": f"g of stock to {plot.batch_g:g} g (per 100 g)", "standoff": 8},
            "range": [-0.02 * reach, 1.04 * reach],
            "tickangle": 0,
            "tickvals": ticks,
            "ticktext": [f"{tick:g}<br>({per_100_g(tick, plot)})" for tick in ticks],
        },
        "yaxis": {"title": {"text": "pH"}, "range": values},
        "legend": {"orientation": "v", "font": {"size": 12}},
    }


def _spec(plot: TitrationPlot, reach: Sequence[float]) -> tuple[list[dict], list[dict]]:
    if plot.spec_low is None and plot.spec_high is None:
        return [], []
    shapes, (note,) = band(plot.spec_low, plot.spec_high, reach=reach, lines=["spec", spec_limits(plot)])
    edge = plot.spec_high if plot.spec_high is not None else plot.spec_low
    return shapes, [{**note, "y": edge, "yanchor": "bottom"}]  # over the band: the target has its words in it


def _target_line(plot: TitrationPlot) -> tuple[list[dict], list[dict]]:
    if plot.target_ph is None:
        return [], []
    line = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": plot.target_ph, "y1": plot.target_ph}
    words = {
        "xref": "paper",
        "x": 1.01,
        "xanchor": "left",
        "y": plot.target_ph,
        "yanchor": "top",
        "showarrow": False,
        "text": f"target {plot.target_ph:.2f}",
        "font": {"size": 11, "color": _INK},
    }
    return [{**line, "line": {"color": _INK, "width": 1.5, "dash": "dash"}, "layer": "below"}], [words]


def _ph_range(plot: TitrationPlot) -> list[float]:
    """From below the lowest to above the highest pH drawn, the spec and the target included."""
    values = [value for curve in plot.curves for value in (*curve.ph, *curve.low, *curve.high)]
    values += [ph for _, ph in plot.bench]
    values += [value for value in (plot.now_ph, plot.target_ph, plot.spec_low, plot.spec_high) if value is not None]
    low, high = min(values), max(values)
    room = 0.08 * (high - low or 1.0)
    return [low - room, high + room]


def nice_ticks(reach: float) -> list[float]:
    """Ticks from 0 in steps of 1, 2 or 5 times a power of ten, about five of them.

    Parameters
    ----------
    reach : float   Right end of the axis, above 0.

    Returns
    -------
    list of float   Rising from 0.
    """
    rough = reach / _TICKS
    ten = 10 ** math.floor(math.log10(rough))
    step = next(factor * ten for factor in (1, 2, 5, 10) if factor * ten >= rough * (1 - 1e-9))
    return [round(step * number, 12) for number in range(math.floor(reach / step + 1e-9) + 1)]
