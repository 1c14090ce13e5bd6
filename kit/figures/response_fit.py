"""Do the batches lie where the model says, and does it hold for batches it has not seen?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from kit.figures.figure import Figure, series
from kit.figures.response_marks import marks
from kit.show import TOKENS, Table
from kit.trials.response_tables import number

if TYPE_CHECKING:
    from kit.trials.response import Response
    from kit.trials.response_data import ResponseBatch


def measured_against_predicted(response: Response) -> Figure | None:
    """Every batch: measured against what the model says, with the interval of one new batch; None without a model.

    Parameters
    ----------
    response : Response   Batches kept back have a marker of their own.
    """
    if not response.is_fitted:
        return None
    traces = [_batches(response, response.batches, "batches in the fit", 0)]
    if response.data.held_out:
        traces.append(_batches(response, response.data.held_out, "batches kept back", 1))
    ends = _ends([*traces[0]["x"], *traces[0]["y"], *(v for t in traces[1:] for v in (*t["x"], *t["y"]))])
    traces.insert(
        0,
        {
            "type": "scatter",
            "mode": "lines",
            "name": "measured as predicted",
            "x": ends,
            "y": ends,
            "line": {"color": TOKENS["quiet"], "dash": "dash", "width": 1.5},
        },
    )
    unit = f", {response.unit}" if response.unit else ""
    kind = {"type": "log", "nticks": 6, "tickformat": ",.6~g"} if response.log else {"tickformat": ",.6~g"}
    return Figure(
        f"{response.name}: do the batches lie where the model says?",
        f"{response.choice.name}; bars: 95 % of new batches",
        traces,
        {
            "height": 500,
            "xaxis": {"title": {"text": f"predicted{unit}", "standoff": 8}, **kind, "nticks": 5, "tickangle": 0},
            "yaxis": {"title": {"text": f"measured{unit}"}, **kind},
        },
        _table(response),
        _words(response),
        response.notes,
    )


def _batches(response: Response, batches: tuple[ResponseBatch, ...], name: str, place: int) -> dict[str, Any]:
    found = response.predict([batch.levels for batch in batches])
    look = series(place)
    trace: dict[str, Any] = {
        "type": "scatter",
        "mode": "markers+text",
        "name": name,
        "x": [float(value) for value in found.mean],
        "y": [batch.value for batch in batches],
        "text": marks(batches),
        "textposition": "top center",
        "textfont": {"size": 10, "color": TOKENS["quiet"]},
        "cliponaxis": False,
        "marker": {"symbol": look["symbol"], "size": 10, "color": look["color"]},
    }
    if found.new_low is not None:
        trace["error_x"] = {
            "type": "data",
            "symmetric": False,
            "array": [float(high - mean) for high, mean in zip(found.new_high, found.mean, strict=True)],
            "arrayminus": [float(mean - low) for low, mean in zip(found.new_low, found.mean, strict=True)],
            "thickness": 1,
            "width": 3,
            "color": TOKENS["quiet"],
        }
    return trace


def _ends(values: list[float]) -> list[float]:
    room = 0.05 * (max(values) - min(values))
    low = min(values) - room
    return [low if low > 0 or min(values) <= 0 else min(values), max(values) + room]


def _table(response: Response) -> Table:
    rows = []
    for kept, batches in (("in the fit", response.batches), ("kept back", response.data.held_out)):
        if not batches:
            continue
        found = response.predict([batch.levels for batch in batches])
        for place, batch in enumerate(batches):
            interval = "no interval"
            if found.new_low is not None:
                ends = (number(float(part[place]), response.log) for part in (found.new_low, found.new_high))
                interval = " to ".join(ends)
            mean = number(float(found.mean[place]), response.log)
            rows.append((batch.batch, kept, number(batch.value, response.log), mean, interval))
    head = ("batch", "", "measured", "predicted", "95 % of new batches")
    return Table(head, rows, f"{response.name}: measured and predicted", numeric=frozenset({2, 3, 4}))


def _words(response: Response) -> str:
    worst = max(range(len(response.batches)), key=lambda place: abs(response.model.residuals[place]))
    left = response.model.residuals[worst]
    told = f"{100 * math.expm1(left):+.0f} %" if response.log else f"{left:+.3g} {response.unit}".strip()
    words = f"{len(response.batches)} batches; the largest residual is {told}, of {response.batches[worst].batch}"
    held = response.data.held_out
    if not held or response.model.sd is None:
        return f"{words}."
    found = response.predict([batch.levels for batch in held])
    ends = zip(held, found.new_low, found.new_high, strict=True)
    inside = [batch.batch for batch, low, high in ends if low <= batch.value <= high]
    return f"{words}. Of {len(held)} kept back {len(inside)} lie inside the interval of one new batch."
