"""What does each factor do, the others held? And do the batches lie where the model says?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.figures.figure import Figure, series
from kit.science.number_text import short
from kit.show import TOKENS, Table
from kit.trials.response_effects import factor_effects
from kit.trials.response_tables import number

if TYPE_CHECKING:
    from kit.trials.response import Response
    from kit.trials.response_effects import FactorEffect

_COLUMNS, _LONG = 3, 24  # panels side by side, and the letters of a head that still fit under one of three
_ROW_PX, _GAP, _LEVELS = 290, 0.09, 5


def effect_of_each_factor(response: Response) -> Figure | None:
    """The property along each factor through the middle of the batches; None without a model.

    Parameters
    ----------
    response : Response   The batches stand beside the lines as they were measured, their other factors not held.
    """
    if not response.is_fitted:
        return None
    effects = factor_effects(response)
    traces: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"margin": {"b": 150, "r": 20}}
    wide = max(len(effect.head) for effect in effects) > _LONG
    columns = min(len(effects), 2 if wide else _COLUMNS)
    rows = math.ceil(len(effects) / columns)
    for place, effect in enumerate(effects):
        traces += _panel(response, effect, place)
        layout |= _axes(response, effect, place, columns, rows)
    layout["height"] = 210 + _ROW_PX * rows
    unit = f" [{response.unit}]" if response.unit else ""
    return Figure(
        f"{response.name}: what does each factor do, the others held?",
        f"{response.choice.name}, levels as {response.state}; {response.name}{unit}",
        traces,
        layout,
        _table(response, effects),
        _words(response, effects),
        response.notes,
    )


def _panel(response: Response, effect: FactorEffect, place: int) -> list[dict[str, Any]]:
    found = response.predict(effect.points)
    axis = {"xaxis": f"x{place + 1}" if place else "x", "yaxis": f"y{place + 1}" if place else "y"}
    levels = [float(level) for level in effect.levels]
    look = series(0)
    traces: list[dict[str, Any]] = []
    if found.low is not None:
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": "95 % of the mean",
                "x": [*levels, *levels[::-1]],
                "y": [*map(float, found.high), *map(float, found.low[::-1])],
                "fill": "toself",
                "fillcolor": TOKENS["band"],
                "line": {"width": 0},
                "hoverinfo": "skip",
                **axis,
            }
        )
    traces.append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": "model, others held",
            "x": levels,
            "y": [float(value) for value in found.mean],
            "line": {"color": look["color"], "width": 2.5},
            **axis,
        }
    )
    index = response.space.names.index(effect.name)
    traces.append(
        {
            "type": "scatter",
            "mode": "markers",
            "name": "batches as measured, others not held",
            "x": [batch.levels[index] for batch in response.batches],
            "y": [batch.value for batch in response.batches],
            "text": [batch.batch for batch in response.batches],
            "marker": {"symbol": "circle-open", "size": 8, "color": TOKENS["ink"]},
            **axis,
        }
    )
    return [{**trace, "showlegend": place == 0} for trace in traces]


def _axes(response: Response, effect: FactorEffect, place: int, columns: int, rows: int) -> dict[str, Any]:
    row, column = divmod(place, columns)
    width = (1 - _GAP * (columns - 1)) / columns
    height = (1 - 0.24 * (rows - 1)) / rows
    left, top = column * (width + _GAP), 1 - row * (height + 0.24)
    number_ = str(place + 1) if place else ""
    values = [batch.value for batch in response.batches]
    room = 0.12 * (max(values) - min(values) or abs(values[0]) or 1.0)
    y_axis: dict[str, Any] = {
        "domain": [max(round(top - height, 6), 0.0), round(top, 6)],
        "anchor": f"x{number_}",
        "tickformat": ",.6~g",
        "range": [min(values) - room, max(values) + room],
        "showticklabels": column == 0,
        "gridcolor": "#e6e9ec",
    }
    if response.log:
        low, high = math.log10(min(values)), math.log10(max(values))
        y_axis |= {"type": "log", "range": [low - 0.06, high + 0.06], "nticks": 6}
    return {
        f"xaxis{number_}": {
            "domain": [round(left, 6), round(left + width, 6)],
            "anchor": f"y{number_}",
            "title": {"text": effect.head, "font": {"size": 11}, "standoff": 6},
            "tickfont": {"size": 11},
            "nticks": _LEVELS,
            "gridcolor": "#e6e9ec",
        },
        f"yaxis{number_}": y_axis,
    }


def _table(response: Response, effects: tuple[FactorEffect, ...]) -> Table:
    rows = []
    for effect in effects:
        steps = range(0, len(effect.levels), (len(effect.levels) - 1) // (_LEVELS - 1))
        found = response.predict([effect.points[step] for step in steps])
        for place, step in enumerate(steps):
            low, high = (
                "not known" if ends is None else number(float(ends[place]), response.log)
                for ends in (found.low, found.high)
            )
            level, mean = short(float(effect.levels[step]), 4), number(float(found.mean[place]), response.log)
            rows.append((effect.head, level, mean, low, high))
    head = ("factor", "level", f"model{f', {response.unit}' if response.unit else ''}", "95 % low", "95 % high")
    return Table(head, rows, f"{response.name} along each factor", numeric=frozenset({1, 2, 3, 4}))


def _words(response: Response, effects: tuple[FactorEffect, ...]) -> str:
    told = []
    for effect in effects:
        change = f"times {short(effect.change)}" if response.log else f"{effect.change:+.3g}"
        mixed = " (mixed with the day)" if effect.name in response.with_day else ""
        told.append(f"{effect.name} from {short(effect.levels[0])} to {short(effect.levels[-1])}: {change}{mixed}")
    return f"{response.name}, the others held: {'; '.join(told)}."
