"""What changes at the scale? Every quantity against the bench, and how long each vessel takes to cool."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.figures.figure import Figure, series
from kit.science.number_text import short
from kit.show import TOKENS, Table

_ROW_PX = 44
_LOG_ROOM = 0.12  # of the span of the axis, left and right of what is drawn
_LEGEND_PX = 22
_UNCHANGED = 0.005  # a ratio nearer to 1 than this
_QUIET = {"size": 11, "color": TOKENS["quiet"]}


@dataclass(frozen=True, slots=True)
class ScaleRatio:
    """One quantity of one vessel over that of the bench.

    Parameters
    ----------
    vessel, quantity : str   As told to a reader.
    ratio : float            Above 0. [-]
    kept : bool              Whether it is what the rule keeps.
    """

    vessel: str
    quantity: str
    ratio: float
    kept: bool


@dataclass(frozen=True, slots=True)
class CoolingLine:
    """How one vessel cools.

    Parameters
    ----------
    name : str                     Vessel and sink.
    points : sequence of pairs     Minutes and temperature. [min, degC]
    logged : bool                  Read at the bench; else worked out.
    """

    name: str
    points: Sequence[tuple[float, float]]
    logged: bool = False


def scale_ratios(ratios: Sequence[ScaleRatio], rule: str) -> Figure | None:
    """Every quantity of every vessel over that of the bench, on a logarithmic axis; None without any.

    Parameters
    ----------
    ratios : sequence of ScaleRatio   Vessels in their order.
    rule : str                        What is kept.
    """
    if not ratios:
        return None
    quantities = list(dict.fromkeys(item.quantity for item in ratios))
    vessels = list(dict.fromkeys(item.vessel for item in ratios))
    traces = [_vessel_trace(ratios, vessel, index) for index, vessel in enumerate(vessels)]
    below = 84 + _LEGEND_PX * math.ceil(len(vessels) / 3)
    ends = _log_ends([item.ratio for item in ratios])
    layout = {
        "height": 90 + _ROW_PX * len(quantities) + below,
        "margin": {"l": 150, "r": 24, "b": below},
        "shapes": [_bench_line()],
        "annotations": [{"x": 0, "y": 1, "yref": "paper", "yanchor": "bottom", "text": "bench", **_words()}],
        "xaxis": {
            "type": "log",
            "range": ends,
            "title": {"text": "times the bench", "standoff": 8},
            **_decades(ends),
        },
        "yaxis": {"type": "category", "categoryarray": quantities[::-1], "categoryorder": "array"},
    }
    rows = [(item.vessel, item.quantity, short(item.ratio), "kept" if item.kept else "") for item in ratios]
    table = Table(("vessel", "quantity", "times the bench", "rule"), rows, numeric=frozenset({2}))
    return Figure(
        f"What changes when {rule} is kept?",
        "each vessel over the bench; middles of ranges",
        traces,
        layout,
        table,
        _ratio_words(ratios, vessels, rule),
    )


def _vessel_trace(ratios: Sequence[ScaleRatio], vessel: str, index: int) -> dict:
    own, look = [item for item in ratios if item.vessel == vessel], series(index)
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": vessel,
        "x": [item.ratio for item in own],
        "y": [item.quantity for item in own],
        "text": ["" if item.kept else f"× {short(item.ratio, 2)}" for item in own],
        "textposition": "top center" if index % 2 == 0 else "bottom center",
        "textfont": {"size": 11, "color": TOKENS["ink"]},
        "cliponaxis": False,
        "marker": {"symbol": look["symbol"], "size": 11, "color": look["color"]},
    }


def _ratio_words(ratios: Sequence[ScaleRatio], vessels: Sequence[str], rule: str) -> str:
    parts = []
    for vessel in vessels:
        moved = [item for item in ratios if item.vessel == vessel and not item.kept]
        told = ", ".join(f"{item.quantity} {_times(item.ratio)}" for item in moved)
        parts.append(f"{vessel}: {told}")
    return f"With {rule} kept, against the bench: {'; '.join(parts)}."


def _times(ratio: float) -> str:
    return "unchanged" if abs(ratio - 1) < _UNCHANGED else f"{short(ratio)} times"


def _log_ends(values: Sequence[float]) -> list[float]:
    logs = [math.log10(value) for value in (*values, 1.0)]
    room = _LOG_ROOM * max(max(logs) - min(logs), 0.6)
    return [min(logs) - room, max(logs) + room]


def _decades(ends: Sequence[float]) -> dict:
    """Ticks at every power of ten, at 2 and 5 too where the axis is short."""
    low, high = math.floor(ends[0]), math.ceil(ends[1])
    steps = (1, 2, 5) if ends[1] - ends[0] < 2 else (1,)
    ticks = [step * 10.0**power for power in range(low, high + 1) for step in steps]
    inside = [tick for tick in ticks if ends[0] <= math.log10(tick) <= ends[1]]
    return {"tickvals": inside, "ticktext": [short(tick) for tick in inside]}


def _bench_line() -> dict:
    line = {"color": TOKENS["ink"], "width": 1.5, "dash": "dash"}
    return {"type": "line", "x0": 1, "x1": 1, "yref": "paper", "y0": 0, "y1": 1, "line": line, "layer": "below"}


def _words() -> dict:
    return {"showarrow": False, "font": _QUIET}


def cooling_at_scale(lines: Sequence[CoolingLine], marks_c: Sequence[tuple[str, float]] = ()) -> Figure | None:
    """Temperature against time of the bench log and of every vessel; None without any.

    Parameters
    ----------
    lines : sequence of CoolingLine   The bench first.
    marks_c : sequence of pairs       Words and a temperature to draw across. [degC]
    """
    if not lines:
        return None
    traces = [_cooling_trace(line, index) for index, line in enumerate(lines)]
    below = 78 + _LEGEND_PX * len(lines)
    layout = {
        "height": 400 + below,
        "margin": {"b": below, "r": 110},
        "shapes": [_level(temp) for _, temp in marks_c],
        "annotations": [
            {"xref": "paper", "x": 1.01, "xanchor": "left", "y": temp, "yanchor": "middle", "text": words, **_words()}
            for words, temp in marks_c
        ],
        "xaxis": {"title": {"text": "minutes after cooling began", "standoff": 8}, "rangemode": "tozero"},
        "yaxis": {"title": {"text": "temperature, °C"}},
        "legend": {"orientation": "v", "font": {"size": 12}},
    }
    rows = [
        (line.name, short(minute, 4), f"{temp:.1f}", "log" if line.logged else "worked out")
        for line in lines
        for minute, temp in _thinned(line)
    ]
    table = Table(("vessel", "minutes", "temperature, °C", "what"), rows, numeric=frozenset({1, 2}))
    return Figure(
        "How long does each vessel take to cool?",
        "bench as logged; vessels worked out from its rate",
        traces,
        layout,
        table,
        _cooling_words(lines),
    )


def _cooling_trace(line: CoolingLine, index: int) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "lines+markers" if line.logged else "lines",
        "name": line.name,
        "x": [minute for minute, _ in line.points],
        "y": [round(temp, 2) for _, temp in line.points],
        "line": {"color": look["color"], "dash": look["dash"], "width": 2.5},
        "marker": {"symbol": look["symbol"], "size": 7, "color": look["color"]},
    }


def _level(temp_c: float) -> dict:
    line = {"color": TOKENS["quiet"], "width": 1, "dash": "dot"}
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": temp_c,
        "y1": temp_c,
        "line": line,
        "layer": "below",
    }


def _thinned(line: CoolingLine, most: int = 16) -> list[tuple[float, float]]:
    """Of a worked-out curve every so many points, the last included: the table stays readable."""
    if line.logged or len(line.points) <= most:
        return list(line.points)
    step = math.ceil((len(line.points) - 1) / (most - 1))
    kept = list(line.points[::step])
    return kept if kept[-1] == line.points[-1] else [*kept, line.points[-1]]


def _cooling_words(lines: Sequence[CoolingLine]) -> str:
    told = [
        f"{line.name} falls from {line.points[0][1]:.0f} to {line.points[-1][1]:.0f} °C in {line.points[-1][0]:.0f} min"
        for line in lines
    ]
    return "; ".join(told) + "."
