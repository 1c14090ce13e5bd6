"""Did the control come out the same on every day, and had every day a control?"""

from __future__ import annotations

from kit.figures.figure import Figure, series
from kit.figures.marks import (
    SIDE_PX,
    axis_title,
    control_band,
    control_limits,
    control_words,
    method_line,
    number,
    property_name,
    span,
    spec_band,
    value_range,
)
from kit.show import Table
from kit.trials.compare import Comparison
from kit.trials.results import ArmResult, BatchValue, PropertyResult

NO_CONTROL = "*"  # beside a day; the words stand under the figure


def by_day(comparison: Comparison, result: PropertyResult) -> Figure | None:
    """One property at one age against the day of making, the control's batches beside the others; None without one.

    A trial without a control of the same day can be set against the control only with the day in between.
    """
    rows = [(arm, value) for arm in result.arms for value in arm.batch_values]
    if not rows:
        return None
    days = sorted({value.day for _, value in rows})
    with_control = {value.day for arm in result.arms if arm.is_control for value in arm.batch_values}
    reach = value_range([value.mean for _, value in rows], result)
    shapes, words = spec_band(comparison, result, reach)
    return Figure(
        f"{property_name(result)} at {result.age}: is the control the same on every day?",
        method_line(result),
        [
            _places([value for _, value in rows], with_control),
            *(_batches(index, arm, with_control) for index, arm in enumerate(result.arms) if arm.batch_values),
        ],
        {
            "height": 500,
            "margin": {"b": 170, **({"r": SIDE_PX} if result.spec else {})},
            "shapes": [*control_band(result), *shapes],
            "annotations": words,
            "xaxis": {"title": {"text": "batch, day of making", "standoff": 12}, "type": "multicategory"},
            "yaxis": {
                "title": {"text": axis_title(result)},
                "range": reach,
            },
        },
        _table(result, rows, with_control),
        _summary(result, days, with_control),
        (*_without_control(days, with_control), *control_words(result)),
    )


def _places(values: list[BatchValue], with_control: set[str]) -> dict:
    """A trace that draws nothing and lays the days out in order: the axis takes them as they come."""
    ordered = sorted(values, key=_day)
    days, batches = [day_words(value.day, with_control) for value in ordered], [value.batch for value in ordered]
    return {
        "type": "scatter",
        "mode": "none",
        "name": "days in order",
        "x": [days, batches],
        "y": [None] * len(ordered),
        "showlegend": False,
        "hoverinfo": "skip",
    }


def _batches(index: int, arm: ArmResult, with_control: set[str]) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": f"{arm.arm_label} (control)" if arm.is_control else arm.arm_label,
        "x": [
            [day_words(value.day, with_control) for value in arm.batch_values],
            [value.batch for value in arm.batch_values],
        ],
        "y": [value.mean for value in arm.batch_values],
        "hovertemplate": "%{x}<br>%{y:,.6~g}<extra></extra>",
        "marker": {
            "color": look["color"],
            "symbol": look["symbol"],
            "size": 14 if arm.is_control else 12,
            "line": {"color": "#1f2328" if arm.is_control else "#ffffff", "width": 1.5 if arm.is_control else 1},
        },
    }


def _without_control(days: list[str], with_control: set[str]) -> list[str]:
    absent = [day for day in days if day not in with_control]
    if not absent:
        return []
    return [f"{NO_CONTROL} no control that counts on {' or '.join(absent)}: the day is not separated from the change."]


def day_words(day: str, with_control: set[str]) -> str:
    """The day as the axis names it, marked where no control was made on it."""
    return day if day in with_control else f"{day} {NO_CONTROL}"


def _table(result: PropertyResult, rows: list[tuple[ArmResult, BatchValue]], with_control: set[str]) -> Table:
    ordered = sorted(rows, key=lambda row: (row[1].day, not row[0].is_control, row[1].batch))
    limits = control_limits(result)
    return Table(
        ("day of making", "batch", "trials", axis_title(result), "control of the day"),
        [
            (
                value.day,
                value.batch,
                f"{arm.arm_label} (control)" if arm.is_control else arm.arm_label,
                number(value.mean, result.unit),
                "yes" if value.day in with_control else "none: the day is not separated from the change",
            )
            for arm, value in ordered
        ],
        numeric=frozenset({3}),
        note=f"Control ± 1 pooled SD of batches: {span(limits, result.unit)}." if limits else "",
    )


def _summary(result: PropertyResult, days: list[str], with_control: set[str]) -> str:
    control = ", ".join(
        f"{value.day} {number(value.mean, result.unit)}"
        for arm in result.arms
        if arm.is_control
        for value in sorted(arm.batch_values, key=_day)
    )
    without = [day for day in days if day not in with_control]
    missing = f" No control was made on {', '.join(without)}." if without else " Every day has a control."
    return f"{property_name(result)} at {result.age}. Control: {control or 'no value'}.{missing}"


def _day(value: BatchValue) -> tuple[str, str]:
    return value.day, value.batch
