"""What does each factor do, the others held? The model along each, with the 95 % band of its mean and the batches."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.figures.figure import Figure, shown, stacked
from kit.figures.fitted_points import (
    Held,
    fit_notes,
    held_at,
    level_words,
    marks_by_spec,
    spec_limits,
    unit_of,
    value_words,
)
from kit.figures.marks import axis_title, number, property_name
from kit.science.number_text import short
from kit.show import TOKENS, Table
from kit.trials.response_effects import points_along

if TYPE_CHECKING:
    import numpy as np

    from kit.science.response_result import Prediction
    from kit.trials.response import Response

_STEPS, _EVERY = 33, 4  # points along a factor, and of these every so many in the table
_ACROSS = 3  # panels in a row
_PANEL_PX, _GAP_PX, _TOP_PX = 240, 84, 76
_BELOW_PX, _LINE_PX = 132, 16  # without words; a line of words. A narrow page sets the legend in one column
_INSIDE_PX, _LETTER_PX = 540, 6.6  # width of all panels, and of a letter under one
_NARROW = 15  # letters under one of three panels: on a narrow page no more have room
_GAP = 0.06  # of the width, between panels
_BAND_NAME, _LINE_NAME = "95 % band of the mean", "model"


@dataclass(frozen=True)
class _Along:
    """One factor moved: its place, the points, what the model says there."""

    place: int
    points: np.ndarray
    found: Prediction

    @property
    def levels(self) -> list[float]:
        return self.points[:, self.place].tolist()


def fitted_effects(response: Response, at: str = "") -> Figure | None:
    """A panel a factor: the model along it, others held, batches as measured, the spec shaded; None without a model.

    Parameters
    ----------
    response : Response
    at : str              The batch at which the others are held; the middle of the batches when empty.

    Raises
    ------
    KitError   `figure.batch`.

    Notes
    -----
    A part of a mixture rises while the other parts keep their proportions to each other (Cox's direction).
    """
    if not response.is_fitted:
        return None
    held = held_at(response, at)
    sweeps = [_along(response, held, place) for place in range(len(response.space.factors))]
    reach, is_cut = _reach(response, sweeps)
    rows = math.ceil(len(sweeps) / _ACROSS)
    inside = rows * _PANEL_PX + (rows - 1) * _GAP_PX
    below = _BELOW_PX + _LINE_PX * max(len(_under(response, sweep.place)) for sweep in sweeps)
    layout: dict = {
        "height": inside + _TOP_PX + below,
        "margin": {"t": _TOP_PX, "b": below},
        "legend": {"tracegroupgap": 0},
        "shapes": [],
        "annotations": [],
    }
    traces: list[dict] = []
    for panel, sweep in enumerate(sweeps):
        axes = _axes(response, sweep, panel, len(sweeps), inside, reach)
        layout |= axes
        layout["annotations"].append(_head(response, sweep, panel, axes))
        traces += _traces(response, sweep, panel)
        layout["shapes"] += _spec(response, panel, reach)
    _name_once(traces)
    return Figure(
        f"{property_name(response.result)} at {response.result.age}: what does each factor do?",
        f"{response.choice.name} model; others held at {held.where}",
        traces,
        layout,
        _table(response, sweeps),
        _summary(response, sweeps, held),
        _notes(response, held, is_cut),
    )


def _along(response: Response, held: Held, place: int) -> _Along:
    import numpy as np

    made = [batch.levels[place] for batch in response.batches]
    levels = np.linspace(min(made), max(made), _STEPS)
    points = points_along(response, np.array(held.levels), place, levels)
    return _Along(place, points, response.predict(points))


def _reach(response: Response, sweeps: Sequence[_Along]) -> tuple[list[float], bool]:
    """The ends of the value axis, and whether a band runs on beyond them: a wide one would flatten all else."""
    middle = [float(value) for sweep in sweeps for value in sweep.found.mean]
    middle += [batch.value for batch in response.batches]
    middle += [limit for limit in spec_limits(response) if limit is not None]
    low, high = min(middle), max(middle)
    span = high - low or abs(high) or 1.0
    ends = [value for sweep in sweeps if sweep.found.low is not None
            for side in (sweep.found.low, sweep.found.high) for value in side.tolist()]  # fmt: skip
    least, most = min([low, *ends]), max([high, *ends])
    bottom, top = max(least, low - span / 2), min(most, high + span / 2)
    bottom, top = bottom - 0.05 * span, top + 0.05 * span
    return [max(bottom, 0.0) if low >= 0 else bottom, top], least < bottom or most > top


def _axes(
    response: Response, sweep: _Along, panel: int, count: int, inside: float, reach: Sequence[float]
) -> dict[str, dict]:
    across = min(count, _ACROSS)
    row, column = divmod(panel, _ACROSS)
    width = (1 - _GAP * (across - 1)) / across
    top = 1 - row * (_PANEL_PX + _GAP_PX) / inside
    tag = "" if panel == 0 else str(panel + 1)
    made = [batch.levels[sweep.place] for batch in response.batches]
    room = 0.08 * (max(made) - min(made) or 1.0)
    plain = {"gridcolor": "#e6e9ec", "linecolor": TOKENS["rule"], "zeroline": False, "ticks": "outside",
             "tickcolor": TOKENS["rule"]}  # fmt: skip
    start = column * (width + _GAP)
    return {
        f"xaxis{tag}": {
            **plain,
            "domain": [start, start + width],
            "anchor": f"y{tag}",
            "range": [min(made) - room, max(made) + room],
            "nticks": 5,
            "tickformat": ",.6~g",
        },
        f"yaxis{tag}": {
            **plain,
            "domain": [max(top - _PANEL_PX / inside, 0.0), top],
            "anchor": f"x{tag}",
            "range": list(reach),
            "tickformat": ",.6~g",
            "showticklabels": column == 0,
            **({"title": {"text": axis_title(response.result)}} if column == 0 else {}),
        },
    }


def _under(response: Response, place: int) -> list[str]:
    """Name and unit of a factor in lines as wide as its panel."""
    factor, across = response.space.factors[place], min(len(response.space.factors), _ACROSS)
    letters = _NARROW if across == _ACROSS else int(_INSIDE_PX / across / _LETTER_PX)
    return [*textwrap.wrap(factor.name, letters), *([unit_of(factor)] if unit_of(factor) else [])]


def _head(response: Response, sweep: _Along, panel: int, axes: dict[str, dict]) -> dict:
    """Name and unit of the factor under its panel."""
    tag = "" if panel == 0 else str(panel + 1)
    left, right = axes[f"xaxis{tag}"]["domain"]
    return {
        "xref": "paper",
        "x": (left + right) / 2,
        "xanchor": "center",
        "yref": "paper",
        "y": axes[f"yaxis{tag}"]["domain"][0],
        "yanchor": "top",
        "yshift": -26,
        "text": stacked(_under(response, sweep.place)),
        "showarrow": False,
        "font": {"size": 12, "color": TOKENS["ink"]},
    }


def _traces(response: Response, sweep: _Along, panel: int) -> list[dict]:
    tag = "" if panel == 0 else str(panel + 1)
    on = {"xaxis": f"x{tag}", "yaxis": f"y{tag}"}
    levels, found = sweep.levels, sweep.found
    traces = []
    if found.low is not None:
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": _BAND_NAME,
                "legendgroup": _BAND_NAME,
                "x": [*levels, *levels[::-1]],
                "y": [*found.high.tolist(), *found.low.tolist()[::-1]],
                "fill": "toself",
                "fillcolor": "rgba(60,60,60,0.14)",
                "line": {"width": 0},
                "hoverinfo": "skip",
                **on,
            }
        )
    traces.append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": _LINE_NAME,
            "legendgroup": _LINE_NAME,
            "x": levels,
            "y": found.mean.tolist(),
            "line": {"color": TOKENS["ink"], "width": 2},
            **on,
        }
    )
    spots = {batch.batch: (batch.levels[sweep.place], batch.value) for batch in response.batches}
    marks = marks_by_spec(response, spots, 9)
    return [*traces, *({**mark, "legendgroup": mark["name"], **on} for mark in marks)]


def _name_once(traces: Sequence[dict]) -> None:
    """Each name stands once in the legend."""
    named: set[str] = set()
    for trace in traces:
        trace["showlegend"] = trace["name"] not in named
        named.add(trace["name"])


def _spec(response: Response, panel: int, reach: Sequence[float]) -> list[dict]:
    low, high = spec_limits(response)
    if low is None and high is None:
        return []
    tag = "" if panel == 0 else str(panel + 1)
    on = {"xref": f"x{tag} domain", "yref": f"y{tag}", "x0": 0, "x1": 1, "layer": "below"}
    edge = {"color": TOKENS["series"][0], "width": 1, "dash": "dot"}
    lines = [
        {"type": "line", **on, "y0": limit, "y1": limit, "line": edge} for limit in (low, high) if limit is not None
    ]
    area = {
        "type": "rect",
        **on,
        "y0": reach[0] if low is None else low,
        "y1": reach[1] if high is None else high,
        "fillcolor": TOKENS["band"],
        "line": {"width": 0},
        **({"name": f"spec {shown(response.result.spec.words())}", "showlegend": True} if panel == 0 else {}),
    }
    return [*lines, area]


def _table(response: Response, sweeps: Sequence[_Along]) -> Table:
    unit = response.result.unit
    rows = []
    for sweep in sweeps:
        factor = response.space.factors[sweep.place]
        for step in range(0, _STEPS, _EVERY):
            ends = "no band"
            if sweep.found.low is not None:
                ends = f"{number(float(sweep.found.low[step]), unit)} to {number(float(sweep.found.high[step]), unit)}"
            value = number(float(sweep.found.mean[step]), unit)
            rows.append((factor.head, short(sweep.levels[step], 4), "model", value, ends))
        rows += [
            (factor.head, short(batch.levels[sweep.place], 4), batch.batch, number(batch.value, unit), "–")
            for batch in response.batches
        ]
    note = f"Spec {response.result.spec.words()}." if spec_limits(response) != (None, None) else ""
    columns = ("factor", "level", "what", axis_title(response.result), _BAND_NAME)
    return Table(columns, rows, note=note, numeric=frozenset({1, 3, 4}))


def _summary(response: Response, sweeps: Sequence[_Along], held: Held) -> str:
    told = []
    for sweep in sweeps:
        factor, levels = response.space.factors[sweep.place], sweep.levels
        ends = [value_words(response, float(sweep.found.mean[step])) for step in (0, -1)]
        told.append(
            f"from {level_words(factor, levels[0])} to {short(levels[-1], 4)} "
            f"the model goes from {ends[0]} to {ends[1]}"
        )
    return f"{response.name}, others held at {held.where}: {'; '.join(told)}."


def _notes(response: Response, held: Held, is_cut: bool) -> tuple[str, ...]:
    notes = [f"Held: {held.words(response, ())}. Each batch stands as measured, at its own levels of the others."]
    if response.space.parts:
        notes.append("Where one part of the mixture rises, the other parts keep their proportions to each other.")
    if response.model.sd is None:
        notes.append(f"No band: {response.reason}.")
    if is_cut:
        notes.append("The band runs on beyond the figure; its ends stand in the table.")
    return (*notes, *fit_notes(response))
