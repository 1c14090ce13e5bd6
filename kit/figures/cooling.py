"""How did the batch cool, and when did the sensitive additions go in?"""

from __future__ import annotations

from decimal import Decimal

from kit.bench.cooling_log import AdditionFound, addition_findings, additions_found, heat_limits
from kit.figures.figure import Figure, series
from kit.labbook.cooling_record import cooling_log
from kit.labbook.view import BatchView
from kit.show import Table
from kit.units import plain

_HEADS = ("batch", "minutes after combining", "temperature, °C", "what")


def cooling_curve(batches: tuple[BatchView, ...]) -> Figure | None:
    """Logged temperatures against minutes after combining, the additions marked; None when nothing was logged.

    An addition whose temperature was not noted stands where the log puts it, with its interval; one too hot for a line
    is filled and named in a footnote.
    """
    traces, rows, footnotes = [], [], []
    for index, batch in enumerate(batches):
        log = cooling_log(batch)
        if not log.points:
            continue
        traces.append(_curve(batch.name, log.points, index))
        rows += [(batch.name, f"{minutes:g}", f"{temp:g}", "log") for minutes, temp in log.points]
        placed = [found for found in additions_found(log) if _is_placed(found)]
        if placed:
            hot = {finding.words for finding in addition_findings(log) if finding.code == "cooling.addition_hot"}
            traces.append(_additions(batch.name, placed, index))
            rows += [_row(batch.name, found) for found in placed]
            footnotes += [f"{batch.name}: {words}" for words in sorted(hot)]
    if not rows:
        return None
    layout = {
        "xaxis": {"title": {"text": "minutes after combining"}, "rangemode": "tozero"},
        "yaxis": {"title": {"text": "temperature, °C"}},
    }
    names = ", ".join(dict.fromkeys(row[0] for row in rows))
    return Figure(
        "How did the batch cool?",
        f"logged temperatures of {names}",
        traces,
        layout,
        Table(_HEADS, rows, numeric=frozenset({1, 2})),
        f"{len(rows)} logged temperatures and additions of {names}.",
        footnotes,
    )


def _curve(name: str, points: tuple[tuple[float, float], ...], index: int) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": name,
        "x": [x for x, _ in points],
        "y": [y for _, y in points],
        "line": {"color": look["color"], "dash": look["dash"], "width": 2},
        "marker": {"symbol": look["symbol"], "size": 8},
    }


def _additions(name: str, placed: list[AdditionFound], index: int) -> dict:
    color = series(index)["color"]
    half = [0.0 if found.how == "noted" else (found.high_c - found.low_c) / 2 for found in placed]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": f"{name}, addition",
        "x": [round(found.addition.minutes, 1) for found in placed],
        "y": [round(found.temp_c, 1) for found in placed],
        "error_y": {"type": "data", "array": [round(value, 1) for value in half], "color": color, "thickness": 1},
        "text": [f"phase {found.addition.phase}" for found in placed],
        "textposition": "top left",
        "marker": {
            "symbol": ["triangle-down" if _too_hot(found) else "triangle-down-open" for found in placed],
            "size": 13,
            "color": color,
            "line": {"width": 2},
        },
    }


def _is_placed(found: AdditionFound) -> bool:
    return found.addition.minutes is not None and found.temp_c is not None


def _too_hot(found: AdditionFound) -> bool:
    return any(found.temp_c > limit for _, limit in heat_limits(found.addition.materials))


def _row(name: str, found: AdditionFound) -> tuple[str, str, str, str]:
    how = "" if found.how == "noted" else f", {found.how}: {found.low_c:.1f} to {found.high_c:.1f}"
    too_hot = ", too hot for a line" if _too_hot(found) else ""
    what = f"phase {found.addition.phase} added{how}{too_hot}"
    return name, f"{round(found.addition.minutes, 1):g}", f"{round(found.temp_c, 1):g}", what


def cooling_points(batch: BatchView) -> list[tuple[float, float]]:
    """Minutes after combining and temperature [degC], from the pour and the cooling log, in order of time."""
    return list(cooling_log(batch).points)


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
