"""Does the model hold for the batches it was fitted to? Measured against fitted, and what is left of each batch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.figures.figure import Figure
from kit.figures.fitted_points import fit_notes, value_words
from kit.figures.marks import axis_title, number, property_name
from kit.show import TOKENS, Table
from kit.trials.wording import plural

if TYPE_CHECKING:
    from kit.trials.response import Response

_ABOVE = ("measured above the model", "triangle-up", TOKENS["series"][1])
_BELOW = ("measured below the model", "triangle-down", TOKENS["series"][0])
_UPPER, _LOWER = (0.46, 1.0), (0.0, 0.26)  # of the height: measured against fitted; what is left

Ends = tuple[float, float] | None


def fitted_check(response: Response) -> Figure | None:
    """Measured against fitted with the line of equality, and the residual of every batch; None without a model.

    Parameters
    ----------
    response : Response   Batches kept back are drawn hollow, with the interval of one new batch.
    """
    if not response.is_fitted:
        return None
    fitted, ends = response.model.fitted, _ends(response)
    left = [_left(response, index) for index in range(len(response.batches))]
    reach = _reach(response)
    traces = [_equal(reach), *_points(response, fitted, ends, left), *_kept_back(response), *_bars(response, left)]
    value = axis_title(response.result)
    over = {"gridcolor": "#e6e9ec", "linecolor": TOKENS["rule"], "zeroline": True, "zerolinecolor": TOKENS["ink"]}
    return Figure(
        f"{property_name(response.result)} at {response.result.age}: does the model hold for its batches?",
        f"{response.choice.name} model; bars: 95 % interval of the mean"
        if ends[0]
        else f"{response.choice.name} model; no interval",
        traces,
        {
            "height": 720,
            "margin": {"b": 130},
            "xaxis": {"title": {"text": f"{value}, model", "standoff": 8}, "range": reach, "tickformat": ",.6~g",
                      "anchor": "y"},
            "yaxis": {"title": {"text": f"{value}, measured"}, "range": reach, "domain": list(_UPPER)},
            "xaxis2": {"type": "category", "anchor": "y2", "tickfont": {"size": 11}, "automargin": True,
                       "title": {"text": "batch, in order of making", "standoff": 8}},
            "yaxis2": {**over, "domain": list(_LOWER), "anchor": "x2", "title": {"text": _unit(response)},
                       "tickformat": "+,.3~g", "nticks": 5},
        },
        _table(response, fitted, ends, left),
        _summary(response, left),
        _notes(response),
    )  # fmt: skip


def _ends(response: Response) -> list[Ends]:
    """The interval of the mean at each batch, moved by the effect of its day where days are blocks."""
    found = response.predict([batch.levels for batch in response.batches])
    if found.low is None:
        return [None for _ in response.batches]
    ends = []
    for low, mean, high, fitted in zip(found.low, found.mean, found.high, response.model.fitted, strict=True):
        if response.log:
            ends.append((float(low * fitted / mean), float(high * fitted / mean)))
        else:
            ends.append((float(low + fitted - mean), float(high + fitted - mean)))
    return ends


def _left(response: Response, index: int) -> float:
    """Measured against the model. [% with ln, else the unit of the property]"""
    residual = response.model.residuals[index]
    return 100 * math.expm1(residual) if response.log else residual


def _unit(response: Response) -> str:
    return f"residual, {'%' if response.log else response.unit}".rstrip(", ")


def _reach(response: Response) -> list[float]:
    every = [*(batch.value for batch in (*response.batches, *response.data.held_out)), *response.model.fitted]
    if response.data.held_out:
        every += response.predict([batch.levels for batch in response.data.held_out]).mean.tolist()
    low, high = min(every), max(every)
    span = high - low or abs(high) or 1.0
    found = [end for pair in _ends(response) if pair for end in pair]
    least, most = max(min([low, *found]), low - span / 2), min(max([high, *found]), high + span / 2)
    return [least - 0.06 * span, most + 0.06 * span]


def _equal(reach: Sequence[float]) -> dict:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "measured = model",
        "x": list(reach),
        "y": list(reach),
        "line": {"color": TOKENS["quiet"], "width": 1.2, "dash": "dash"},
        "hoverinfo": "skip",
    }


def _points(response: Response, fitted: Sequence[float], ends: Sequence[Ends], left: Sequence[float]) -> list[dict]:
    traces = []
    for (name, symbol, color), some in _by_sign(left):
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": name,
                "legendgroup": name,
                "x": [fitted[index] for index in some],
                "y": [response.batches[index].value for index in some],
                "hovertext": [response.batches[index].batch for index in some],
                "hovertemplate": "%{hovertext}<br>%{y:,.6~g}<extra></extra>",
                "marker": {"symbol": symbol, "size": 11, "color": color},
                **_error([fitted[index] for index in some], [ends[index] for index in some]),
            }
        )
    return traces


def _by_sign(left: Sequence[float]) -> list[tuple[tuple[str, str, str], list[int]]]:
    above = [index for index, value in enumerate(left) if value >= 0]
    below = [index for index, value in enumerate(left) if value < 0]
    return [(look, some) for look, some in ((_ABOVE, above), (_BELOW, below)) if some]


def _error(middle: Sequence[float], ends: Sequence[Ends]) -> dict:
    if any(pair is None for pair in ends):
        return {}
    return {
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [pair[1] - value for value, pair in zip(middle, ends, strict=True)],
            "arrayminus": [value - pair[0] for value, pair in zip(middle, ends, strict=True)],
            "color": TOKENS["quiet"],
            "thickness": 1,
            "width": 4,
        }
    }


def _kept_back(response: Response) -> list[dict]:
    held = response.data.held_out
    if not held:
        return []
    found = response.predict([batch.levels for batch in held])
    middle = found.mean.tolist()
    ends: list[Ends] = [None] * len(held)
    if found.new_low is not None:
        ends = list(zip(found.new_low.tolist(), found.new_high.tolist(), strict=True))
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "kept back, with 95 % of new batches",
            "x": middle,
            "y": [batch.value for batch in held],
            "hovertext": [batch.batch for batch in held],
            "hovertemplate": "%{hovertext}<br>%{y:,.6~g}<extra></extra>",
            "marker": {"symbol": "diamond-open", "size": 12, "color": TOKENS["ink"], "line": {"width": 2}},
            **_error(middle, ends),
        }
    ]


def _bars(response: Response, left: Sequence[float]) -> list[dict]:
    """The residual of every batch in order of making, its sign by shape and colour."""
    order = [batch.batch for batch in response.batches]
    stems = {
        "type": "bar",
        "name": "residual",
        "showlegend": False,
        "x": order,
        "y": list(left),
        "width": 0.06,
        "marker": {"color": TOKENS["quiet"]},
        "hoverinfo": "skip",
        "xaxis": "x2",
        "yaxis": "y2",
    }
    marks = [
        {
            "type": "scatter",
            "mode": "markers",
            "name": name,
            "legendgroup": name,
            "showlegend": False,
            "x": [order[index] for index in some],
            "y": [left[index] for index in some],
            "marker": {"symbol": symbol, "size": 11, "color": color},
            "cliponaxis": False,
            "hovertemplate": "%{x}<br>%{y:+,.3~g}<extra></extra>",
            "xaxis": "x2",
            "yaxis": "y2",
        }
        for (name, symbol, color), some in _by_sign(left)
    ]
    return [stems, *marks]


def _table(response: Response, fitted: Sequence[float], ends: Sequence[Ends], left: Sequence[float]) -> Table:
    unit = response.result.unit
    rows = [
        (batch.batch, batch.day, number(batch.value, unit), number(middle, unit), _interval(pair, unit), f"{rest:+.2g}")
        for batch, middle, pair, rest in zip(response.batches, fitted, ends, left, strict=True)
    ]
    for trace in _kept_back(response):
        wide = trace.get("error_x")
        for index, batch in enumerate(response.data.held_out):
            middle = trace["x"][index]
            pair = (middle - wide["arrayminus"][index], middle + wide["array"][index]) if wide else None
            told = f"{_interval(pair, unit)} (one new batch)" if pair else _interval(pair, unit)
            values = (number(batch.value, unit), number(middle, unit))
            rows.append((f"{batch.batch}, kept back", batch.day, *values, told, "–"))
    value = axis_title(response.result)
    columns = ("batch", "made", f"{value}, measured", f"{value}, model", "95 % interval", _unit(response))
    return Table(columns, rows, numeric=frozenset({2, 3, 4, 5}))


def _interval(pair: Ends, unit: str) -> str:
    return "no interval" if pair is None else f"{number(pair[0], unit)} to {number(pair[1], unit)}"


def _summary(response: Response, left: Sequence[float]) -> str:
    worst = max(range(len(left)), key=lambda index: abs(left[index]))
    above = sum(value >= 0 for value in left)
    size = f"{left[worst]:+.2g} %" if response.log else f"{left[worst]:+.2g} {response.unit}".strip()
    batch = response.batches[worst]
    return (
        f"{response.name}: of {plural(len(left), 'batch', 'batches')} {above} were measured above the model and "
        f"{len(left) - above} below; furthest from it is {batch.batch}, {value_words(response, batch.value)} measured, "
        f"{size}."
    )


def _notes(response: Response) -> tuple[str, ...]:
    notes = [*fit_notes(response), *response.model.notes]
    if response.model.sd is None:
        notes.append(f"No intervals: {response.reason}.")
    notes += [f"In no fit and not drawn: {item.batch}, {item.why}" for item in response.data.unused]
    return tuple(note if note.endswith(".") else f"{note[:1].upper()}{note[1:]}." for note in notes)
