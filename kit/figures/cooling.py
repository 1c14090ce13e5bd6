"""How did the batch cool, and when did the sensitive additions go in?"""

from __future__ import annotations

from decimal import Decimal

from kit.figures.figure import Figure, series
from kit.labbook.times import hours_between
from kit.labbook.view import BatchView
from kit.show import Table
from kit.units import plain


def cooling_curve(batches: tuple[BatchView, ...]) -> Figure | None:
    """Logged temperatures against minutes after combining, the additions marked; None when nothing was logged."""
    traces, rows = [], []
    for index, batch in enumerate(batches):
        points = cooling_points(batch)
        if not points:
            continue
        look = series(index)
        traces.append(
            {
                "type": "scatter",
                "mode": "lines+markers",
                "name": batch.name,
                "x": [x for x, _ in points],
                "y": [y for _, y in points],
                "line": {"color": look["color"], "dash": look["dash"], "width": 2},
                "marker": {"symbol": look["symbol"], "size": 8},
            }
        )
        rows += [(batch.name, f"{x:g}", f"{y:g}", "log") for x, y in points]
        added = _additions(batch)
        if added:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "markers+text",
                    "name": f"{batch.name}, addition",
                    "x": [x for x, _, _ in added],
                    "y": [y for _, y, _ in added],
                    "text": [f"phase {phase}" for _, _, phase in added],
                    "textposition": "top left",
                    "marker": {
                        "symbol": "triangle-down-open",
                        "size": 13,
                        "color": look["color"],
                        "line": {"width": 2},
                    },
                }
            )
            rows += [(batch.name, f"{x:g}", f"{y:g}", f"phase {phase} added") for x, y, phase in added]
    if not rows:
        return None
    layout = {
        "xaxis": {"title": {"text": "minutes after combining"}, "rangemode": "tozero"},
        "yaxis": {"title": {"text": "temperature, °C"}},
    }
    table = Table(("batch", "minutes after combining", "temperature, °C", "what"), rows, numeric=frozenset({1, 2}))
    names = ", ".join(dict.fromkeys(row[0] for row in rows))
    return Figure(
        "How did the batch cool?",
        f"logged temperatures of {names}",
        traces,
        layout,
        table,
        f"{len(rows)} logged temperatures and additions of {names}.",
    )


def cooling_points(batch: BatchView) -> list[tuple[float, float]]:
    """Minutes after combining and temperature [degC], from the pour and the cooling log, in order of time."""
    points = []
    for item in batch.standing("combine"):
        if "after" in item.body.get("temps_c", {}):
            points.append((0.0, float(item.body["temps_c"]["after"])))
    for item in batch.standing("temperature"):
        minutes = _minutes(item, batch)
        if minutes is not None:
            points.append((minutes, float(item.body["temp_c"])))
    return sorted(points)


def _additions(batch: BatchView) -> list[tuple[float, float, str]]:
    found = [(_minutes(item, batch), item.body) for item in batch.standing("add") if item.body.get("temp_c")]
    return [(minutes, float(body["temp_c"]), body["phase"]) for minutes, body in found if minutes is not None]


def _minutes(item, batch: BatchView) -> float | None:
    if item.body.get("minutes_after"):
        return float(item.body["minutes_after"])
    return float(hours_between(batch.combined_at, item.measured_at) * 60) if batch.combined_at else None


def cooling_minutes(batch: BatchView, low_c: float = 40.0) -> str:
    """Minutes from the pour to the first logged temperature at or below `low_c`; "NOT RECORDED" without a log."""
    points = cooling_points(batch)
    below = [minutes for minutes, temp in points if temp <= low_c]
    if not points or not below:
        return "NOT RECORDED"
    return f"{plain(round_minutes(below[0]))} min to {low_c:g} °C or below"


def round_minutes(value: float):
    """Minutes without a tail of binary digits."""
    return Decimal(f"{value:.1f}").normalize()
