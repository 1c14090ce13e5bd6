"""How does a property build over the age of the batch?

The time axis is real, and its logarithm is said. Lines join readings of one batch only. What was read fresh is set
apart, and readings of different ages are never compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from kit.figures.figure import Figure, series
from kit.figures.marks import (
    SIDE_PX,
    Footnotes,
    axis_title,
    control_limits,
    control_polygon,
    control_words,
    left_out_traces,
    method_line,
    number,
    spec_band,
    value_range,
)
from kit.show import TOKENS, Table
from kit.trials.compare import Comparison
from kit.trials.results import NOT_COMPARABLE, BatchValue, LeftOut, PropertyResult

FRESH_BELOW_H = 24.0  # before that a gel still builds and a pH still moves (common practice, no source)
_FRESH_WORDS = "fresh, not comparable<br>with later ages"
_LEGEND_COLUMNS = 3


def over_age(comparison: Comparison, property: str) -> Figure | None:
    """One property against the age of the batch; lines join readings of one batch. None if nothing is comparable."""
    results = [result for result in comparison.results if result.property == property and result.window is not None]
    main = _main(results)
    alike = [result for result in results if main is not None and result.method == main.method]
    points = _points_by_batch(alike)
    if not points:
        return None
    left = _unique([*_left_out(alike), *_by_another_method(results, main)])
    notes = Footnotes(main.unit)
    polygon = control_polygon(alike)
    traces = [*([polygon] if polygon else [])]
    control = {value.batch for result in alike for arm in result.arms if arm.is_control for value in arm.batch_values}
    looks = _looks(comparison)
    traces += [
        _batch_line(looks[batch], f"{batch} (control)" if batch in control else batch, rows)
        for batch, rows in points.items()
    ]
    traces += left_out_traces([(_age(item), item) for item in left if _age(item) is not None], notes)
    drawn = [value for trace in traces for value in trace["y"]]
    return Figure(
        f"How does {property} develop with age?",
        method_line(main, age=False),
        traces,
        _layout(comparison, main, alike, traces, drawn),
        _table(points, left, alike, main),
        f"{property} of {len(points)} batches over age; {len(left)} readings shown but in no mean. "
        "Readings of different ages are never compared.",
        (*notes.lines, *_band_words(alike, main)),
    )


def _main(results: Sequence[PropertyResult]) -> PropertyResult | None:
    """The result whose spec and method the figure is drawn by: a judged one, else one with values, else any."""
    judged = [result for result in results if result.spec is not None]
    held = [result for result in results if any(arm.batch_values for arm in result.arms)]
    return next(iter([*judged, *held, *results]), None)


def _points_by_batch(results: Iterable[PropertyResult]) -> dict[str, list[tuple[float, float]]]:
    points: dict[str, list[tuple[float, float]]] = {}
    for result in results:
        for arm in result.arms:
            for value in arm.batch_values:
                points.setdefault(value.batch, []).append((_value_age(value, result), value.mean))
    return {batch: sorted(found) for batch, found in points.items()}


def _value_age(value: BatchValue, result: PropertyResult) -> float:
    return value.age_h if value.age_h is not None else float(result.window.age_h)


def _left_out(results: Iterable[PropertyResult]) -> list[LeftOut]:
    return [item for result in results for arm in result.arms for item in arm.left_out if item.value is not None]


def _by_another_method(results: Sequence[PropertyResult], main: PropertyResult) -> list[LeftOut]:
    """What was read by another method than the one drawn: shown grey, joined by no line."""
    return [
        LeftOut(
            reading.batch,
            reading,
            NOT_COMPARABLE,
            ("compare.method",),
            f"read by {result.method or 'a method NOT RECORDED'}, not by {main.method or 'the one drawn'}",
            result.age,
        )
        for result in results
        if result.method != main.method
        for arm in result.arms
        for value in arm.batch_values
        for reading in value.readings
    ]


def _unique(items: Iterable[LeftOut]) -> list[LeftOut]:
    found = {(item.batch, item.reading.entry): item for item in items}
    return [found[key] for key in sorted(found)]


def _age(item: LeftOut) -> float | None:
    return None if item.reading.age_h is None else float(item.reading.age_h)


def _looks(comparison: Comparison) -> dict[str, dict[str, str]]:
    """Colour and marker of a batch's version, the same in every figure; batches of one version differ in their line."""
    batches = [(place, batch.name) for place, arm in enumerate(comparison.arms) for batch in arm.batches]
    return {name: {**series(place), "dash": series(order)["dash"]} for order, (place, name) in enumerate(batches)}


def _batch_line(look: dict[str, str], batch: str, points: list[tuple[float, float]]) -> dict:
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": batch,
        "x": [age for age, _ in points],
        "y": [value for _, value in points],
        "line": {"color": look["color"], "dash": look["dash"], "width": 2},
        "marker": {"symbol": look["symbol"], "size": 9},
    }


def _layout(
    comparison: Comparison,
    main: PropertyResult,
    alike: Sequence[PropertyResult],
    traces: Sequence[dict],
    drawn: Sequence[float],
) -> dict:
    values = value_range(drawn, main)
    shapes, words = spec_band(comparison, main, values)
    ages = [age for trace in traces for age in trace["x"] if age > 0]
    ticks = sorted({float(result.window.age_h) for result in alike})
    reach = [math.log10(min(ages)) - 0.25, math.log10(max(ages)) + 0.2]
    fresh_shapes, fresh_words = _fresh(ages, reach)
    legend_rows = -(-len(traces) // _LEGEND_COLUMNS)
    return {
        "height": 446 + 20 * legend_rows,
        "margin": {"b": 80 + 20 * legend_rows, **({"r": SIDE_PX} if main.spec else {})},
        "shapes": [*fresh_shapes, *shapes],
        "annotations": [*words, *fresh_words],
        "yaxis": {"title": {"text": axis_title(main)}, "range": values},
        "xaxis": {
            "title": {"text": "age since the end of making, h and d (logarithmic scale)"},
            "type": "log",
            "range": reach,
            "tickvals": ticks,
            "ticktext": [_age_words(hours) for hours in ticks],
        },
    }


def _fresh(ages: Sequence[float], reach: Sequence[float]) -> tuple[list[dict], list[dict]]:
    """The part of the time axis where readings were fresh, shaded and named; nothing where none was."""
    early = [age for age in ages if age < FRESH_BELOW_H]
    if not early:
        return [], []
    later = min((age for age in ages if age >= FRESH_BELOW_H), default=None)
    edge = reach[1] if later is None else (math.log10(max(early)) + math.log10(later)) / 2
    share = (edge - reach[0]) / (reach[1] - reach[0])  # of the width: a shape's place on a logarithmic axis is not safe
    across = {"xref": "paper", "yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    ground = {"type": "rect", "x0": 0, "x1": share, "fillcolor": TOKENS["shade"], "line": {"width": 0}, **across}
    edge_line = {"type": "line", "x0": share, "x1": share, "line": {"width": 1, "dash": "dot", "color": "#59636e"}}
    words = {
        "xref": "paper",
        "yref": "paper",
        "x": share / 2,
        "xanchor": "center",
        "y": 1,
        "yanchor": "top",
        "showarrow": False,
        "text": _FRESH_WORDS,
        "font": {"size": 11, "color": TOKENS["quiet"]},
    }
    return [ground, {**edge_line, **across}], [words]


def _table(
    points: dict[str, list[tuple[float, float]]],
    left: Sequence[LeftOut],
    alike: Sequence[PropertyResult],
    main: PropertyResult,
) -> Table:
    rows = [
        (batch, f"{age:g}", number(value, main.unit), _use(age))
        for batch, found in points.items()
        for age, value in found
    ]
    rows += [
        (
            item.batch,
            "–" if item.reading.age_h is None else f"{item.reading.age_h:g}",
            number(item.value, main.unit),
            f"{item.state}: {item.words}",
        )
        for item in left
    ]
    for result in alike:
        for side, limit in zip(("less", "plus"), control_limits(result) or (), strict=False):
            what = f"control mean {side} 1 pooled SD of batches ({result.scatter.df} df)"
            rows.append((what, f"{result.window.age_h:g}", number(limit, main.unit), "the control's band"))
    return Table(("batch", "age, h", axis_title(main), "use"), rows, numeric=frozenset({1, 2}))


def _band_words(alike: Sequence[PropertyResult], main: PropertyResult) -> list[str]:
    """What the control's band is: at the age of the spec where it is known there, else at any age."""
    known = [result for result in (main, *alike) if control_limits(result) is not None]
    if not known:
        return control_words(main)
    return [words.removesuffix(".") + f" at {known[0].age}." for words in control_words(known[0])]


def _use(age_h: float) -> str:
    return "in the mean; fresh, not comparable with later ages" if age_h < FRESH_BELOW_H else "in the mean"


def _age_words(hours: float) -> str:
    return f"{hours / 24:g} d" if hours >= 96 else f"{hours:g} h"
