"""How desirable are the suggestions, goal by goal, and where do the batches lie?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from kit.figures.figure import Figure, series
from kit.science.number_text import short
from kit.show import TOKENS, Table
from kit.trials.wording import significant

if TYPE_CHECKING:
    from kit.trials.next_trial import NextTrials
    from kit.trials.next_trial_goals import ReadGoal

_ROW_PX, _GAP = 215, 0.2
_ROOM = 0.15


def desirability_of(found: NextTrials) -> Figure | None:
    """Each goal as its desirability over the property, the suggestions on it; None without a suggestion.

    Parameters
    ----------
    found : NextTrials
    """
    if not found.suggestions:
        return None
    traces: list[dict[str, Any]] = []
    rows = len(found.goals)
    layout: dict[str, Any] = {"height": 190 + _ROW_PX * rows, "margin": {"b": 110}}
    for place, goal in enumerate(found.goals):
        number_ = str(place + 1) if place else ""
        traces += _panel(found, goal, place)
        height = (1 - _GAP * (rows - 1)) / rows
        top = 1 - place * (height + _GAP)
        unit = "" if goal.result.unit == "1" else f", {goal.result.unit}"
        layout[f"xaxis{number_}"] = {
            "anchor": f"y{number_}",
            "title": {"text": f"{goal.name}{unit}", "standoff": 6},
            "tickformat": ",.6~g",
            "gridcolor": "#e6e9ec",
        }
        layout[f"yaxis{number_}"] = {
            "anchor": f"x{number_}",
            "domain": [max(round(top - height, 6), 0.0), round(top, 6)],
            "range": [-0.08, 1.15],
            "title": {"text": "desirability"},
            "gridcolor": "#e6e9ec",
        }
    return Figure(
        f"Study {found.study}: how desirable are the suggestions?",
        "line: the goal; bars: 95 % of new batches; small marks: batches as measured",
        traces,
        layout,
        _table(found),
        _words(found),
        found.notes,
    )


def _panel(found: NextTrials, goal: ReadGoal, place: int) -> list[dict[str, Any]]:
    axis = {"xaxis": f"x{place + 1}" if place else "x", "yaxis": f"y{place + 1}" if place else "y"}
    seen = [value.mean for arm in goal.result.arms for value in arm.batch_values]
    ends = [end for end in (goal.goal.low, goal.goal.high) if end is not None]
    picks = [one.pick for one in found.suggestions]
    reach = [*seen, *ends, *(pick.low[goal.name] for pick in picks), *(pick.high[goal.name] for pick in picks)]
    room = _ROOM * (max(ends) - min(ends) if len(ends) > 1 else max(reach) - min(reach))
    across = np.linspace(min(reach) - room, max(reach) + room, 241)
    traces: list[dict[str, Any]] = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": "goal",
            "x": across.tolist(),
            "y": goal.goal.of(across).tolist(),
            "line": {"color": TOKENS["quiet"], "width": 2},
            **axis,
        },
        {
            "type": "scatter",
            "mode": "markers",
            "name": "batches as measured",
            "x": seen,
            "y": goal.goal.of(seen).tolist(),
            "marker": {"symbol": "line-ns-open", "size": 11, "color": TOKENS["ink"], "line": {"width": 1.5}},
            **axis,
        },
    ]
    for index, pick in enumerate(picks):
        look = series(index)
        middle = pick.middle[goal.name]
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": f"suggestion {index + 1}",
                "x": [middle],
                "y": goal.goal.of([middle]).tolist(),
                "error_x": {
                    "type": "data",
                    "symmetric": False,
                    "array": [pick.high[goal.name] - middle],
                    "arrayminus": [middle - pick.low[goal.name]],
                    "thickness": 1.5,
                    "color": look["color"],
                },
                "marker": {"symbol": look["symbol"], "size": 12, "color": look["color"]},
                **axis,
            }
        )
    return [{**trace, "showlegend": place == 0} for trace in traces]


def _table(found: NextTrials) -> Table:
    rows = []
    for index, one in enumerate(found.suggestions, start=1):
        for goal in found.goals:
            ends = [significant(part[goal.name], 3) for part in (one.pick.low, one.pick.high)]
            middle = one.pick.middle[goal.name]
            own = float(goal.goal.of([middle])[0])
            rows.append((f"suggestion {index}", goal.name, significant(middle, 3), " to ".join(ends), f"{own:.2f}"))
        rows.append((f"suggestion {index}", "all goals together", "", "", f"{one.pick.desirability:.2f}"))
    head = ("", "goal", "predicted", "95 % of new batches", "desirability")
    return Table(head, rows, "Desirability of the suggestions", numeric=frozenset({2, 3, 4}))


def _words(found: NextTrials) -> str:
    told = ", ".join(
        f"suggestion {index} {short(one.pick.desirability, 2)}" for index, one in enumerate(found.suggestions, start=1)
    )
    return (
        f"Desirability of the predictions: {told}; the best batch so far, {found.best}, {found.best_desirability:.2f}."
    )
