"""How do the versions compare at one age, and how does a property build over age?

Drawn the way a bench reads it: one marker for each batch, small ticks for its readings, a bar for one standard
deviation of batches only where there are two or more, the spec shaded with its numbers, flagged readings hollow,
readings that are not comparable grey, and nothing of that kind in a mean.
"""

from __future__ import annotations

from collections.abc import Iterable

from kit.figures.figure import Figure, band, series
from kit.show import TOKENS, Table
from kit.trials.compare import Comparison
from kit.trials.results import ArmResult, LeftOut, PropertyResult
from kit.trials.values import one_sd

_QUIET = "#8a939c"


def at_one_age(comparison: Comparison, result: PropertyResult) -> Figure:
    """One property at one age, version by version."""
    labels = [arm.arm_label for arm in result.arms]
    traces = [_batch_markers(result), _reading_ticks(result)]
    traces += [
        trace
        for trace in (
            _sd_bars(result),
            _left_out(result, "flagged"),
            _left_out(result, "not_comparable"),
            _left_out(result, "shown"),
        )
        if trace is not None
    ]
    shapes, notes = _spec(result)
    control_shapes, control_notes = _control_band(result)
    layout = {
        "shapes": [*control_shapes, *shapes],
        "annotations": [*control_notes, *notes],
        "xaxis": {
            "title": {"text": "trials of one formula version (control first)"},
            "type": "category",
            "categoryorder": "array",
            "categoryarray": labels,
            "range": [-0.6, len(labels) - 0.4],
        },
        "yaxis": {"title": {"text": _axis(result)}, "range": _reach(result)},
    }
    return Figure(
        f"{_name(result)} at {result.age}: which version is inside the spec?",
        _method_line(result),
        traces,
        layout,
        _age_table(result),
        _age_summary(result),
    )


def over_age(comparison: Comparison, property: str) -> Figure | None:
    """One property against the age of the batch; lines join readings of one batch. None if nothing is comparable."""
    results = [result for result in comparison.results if result.property == property and result.window is not None]
    points = _points_by_batch(results)
    if not points:
        return None
    traces = [_batch_line(index, batch, rows) for index, (batch, rows) in enumerate(points.items())]
    left = _unique_left_out(results)
    traces += [
        trace
        for trace in (
            _left_out_over_age(left, "FLAGGED", "flagged, in no mean", "circle-open"),
            _left_out_over_age(left, "not comparable", "not comparable, shown only", "x-thin-open"),
        )
        if trace is not None
    ]
    spec_result = next((result for result in results if result.spec is not None), results[0])
    shapes, notes = _spec(spec_result)
    ticks = sorted({float(result.window.age_h) for result in results})
    layout = {
        "shapes": shapes,
        "annotations": notes,
        "yaxis": {"title": {"text": _axis(spec_result)}},
        "xaxis": {
            "title": {"text": "age since the end of making (logarithmic scale)"},
            "type": "log",
            "tickvals": ticks,
            "ticktext": [_age_words(hours) for hours in ticks],
        },
    }
    rows = [
        (batch, f"{age:g}", _shown(value, spec_result.unit), "in the mean")
        for batch, found in points.items()
        for age, value in found
    ]
    rows += [
        (
            item.batch,
            "–" if item.reading.age_h is None else f"{item.reading.age_h:g}",
            _shown(item.value, spec_result.unit),
            f"{item.state}: {item.words}",
        )
        for item in left
        if item.value is not None
    ]
    table = Table(("batch", "age, h", _axis(spec_result), "use"), rows, numeric=frozenset({1, 2}))
    return Figure(
        f"How does {property} develop with age?",
        _method_line(spec_result),
        traces,
        layout,
        table,
        f"{property} of {len(points)} batches over age; {len(left)} readings shown but in no mean. "
        "Readings of different ages are never compared.",
    )


def _batch_markers(result: PropertyResult) -> dict:
    rows = [(arm.arm_label, value) for arm in result.arms for value in arm.batch_values]
    look = series(0)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "batch (mean of its readings)",
        "x": [label for label, _ in rows],
        "y": [value.mean for _, value in rows],
        "text": [f"{value.batch}, {value.n_readings} reading(s), made {value.day}" for _, value in rows],
        "hovertemplate": "%{text}<br>%{y:,.6~g}<extra></extra>",
        "marker": {"color": look["color"], "symbol": "circle", "size": 11, "line": {"color": "#ffffff", "width": 1}},
    }


def _reading_ticks(result: PropertyResult) -> dict:
    rows = [(arm.arm_label, number) for arm in result.arms for value in arm.batch_values for number in value.values]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "single reading",
        "x": [label for label, _ in rows],
        "y": [number for _, number in rows],
        "hoverinfo": "skip",
        "marker": {"symbol": "line-ew-open", "size": 16, "color": TOKENS["ink"], "line": {"width": 1}},
    }


def _scattered(result: PropertyResult) -> list[ArmResult]:
    """Arms of two or more batches, which have a mean with an SD of batches."""
    return [arm for arm in result.arms if arm.sd_batches is not None and arm.mean is not None]


def _sd_bars(result: PropertyResult) -> dict | None:
    arms = _scattered(result)
    if not arms:
        return None
    ends = [one_sd(arm.mean, arm.sd_batches, result.scale) for arm in arms]
    highs = [high - arm.mean for arm, (_, high) in zip(arms, ends, strict=True)]
    lows = [arm.mean - low for arm, (low, _) in zip(arms, ends, strict=True)]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "mean ± 1 SD of batches",
        "x": [arm.arm_label for arm in arms],
        "y": [arm.mean for arm in arms],
        "marker": {"symbol": "diamond-open", "size": 13, "color": TOKENS["ink"], "line": {"width": 1.5}},
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": highs,
            "arrayminus": lows,
            "color": TOKENS["ink"],
            "thickness": 1.2,
            "width": 9,
        },
    }


_LEFT_LOOKS = {
    "flagged": ("flagged, in no mean", "circle-open", TOKENS["series"][1]),
    "not_comparable": ("not comparable, shown only", "x-thin-open", _QUIET),
    "shown": ("condition missing, not tested", "square-open", _QUIET),
}


def _left_out(result: PropertyResult, which: str) -> dict | None:
    rows = [(arm.arm_label, item) for arm in result.arms for item in getattr(arm, which) if item.value is not None]
    if not rows:
        return None
    name, symbol, color = _LEFT_LOOKS[which]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [label for label, _ in rows],
        "y": [item.value for _, item in rows],
        "text": [f"{item.batch}: {item.words}" for _, item in rows],
        "hovertemplate": "%{text}<br>%{y:,.6~g}<extra></extra>",
        "marker": {"symbol": symbol, "size": 12, "color": color, "line": {"width": 2, "color": color}},
    }


def _control_band(result: PropertyResult) -> tuple[list[dict], list[dict]]:
    limits = _control_limits(result)
    if limits is None:
        return [], []
    low, high = limits
    shape = {
        "type": "rect",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": low,
        "y1": high,
        "fillcolor": "rgba(60,60,60,0.10)",
        "layer": "below",
        "line": {"width": 1, "dash": "dash", "color": "#8a939c"},
    }
    note = {
        "xref": "paper",
        "x": 0,
        "xanchor": "left",
        "y": high,
        "yanchor": "bottom",
        "showarrow": False,
        "text": f"control ± 1 pooled SD of batches ({result.scatter.df} df)",
        "font": {"size": 11, "color": TOKENS["quiet"]},
    }
    return [shape], [note]


def _control_limits(result: PropertyResult) -> tuple[float, float] | None:
    """The control's mean less and plus one pooled SD of batches. [unit]"""
    mean, spread = result.arms[0].mean, result.scatter.sd
    if mean is None or spread is None:
        return None
    return one_sd(mean, spread, result.scale)


def _spec(result: PropertyResult) -> tuple[list[dict], list[dict]]:
    if result.spec is None or (result.spec.low is None and result.spec.high is None):
        return [], []
    low, high = (None if limit is None else float(limit) for limit in (result.spec.low, result.spec.high))
    return band(low, high, words=f"spec {result.spec.words()}{f' at {result.spec.age}' if result.spec.age else ''}")


def _reach(result: PropertyResult) -> list[float]:
    values = [value for arm in result.arms for item in arm.batch_values for value in (item.mean, *item.values)]
    values += [item.value for arm in result.arms for item in arm.left_out if item.value is not None]
    values += [
        float(limit) for limit in ((result.spec.low, result.spec.high) if result.spec else ()) if limit is not None
    ]
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = 0.12 * (high - low or abs(high) or 1.0)
    return [max(low - room, 0.0) if low >= 0 else low - room, high + room]


def _points_by_batch(results: Iterable[PropertyResult]) -> dict[str, list[tuple[float, float]]]:
    points: dict[str, list[tuple[float, float]]] = {}
    for result in results:
        for arm in result.arms:
            for value in arm.batch_values:
                age = value.age_h if value.age_h is not None else float(result.window.age_h)
                points.setdefault(value.batch, []).append((age, value.mean))
    return {batch: sorted(found) for batch, found in points.items()}


def _batch_line(index: int, batch: str, points: list[tuple[float, float]]) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": batch,
        "x": [age for age, _ in points],
        "y": [value for _, value in points],
        "line": {"color": look["color"], "dash": look["dash"], "width": 2},
        "marker": {"symbol": look["symbol"], "size": 9},
    }


def _unique_left_out(results: Iterable[PropertyResult]) -> list[LeftOut]:
    found = {
        (item.batch, item.reading.entry): item for result in results for arm in result.arms for item in arm.left_out
    }
    return [found[key] for key in sorted(found)]


def _left_out_over_age(left: list[LeftOut], state: str, name: str, symbol: str) -> dict | None:
    rows = [item for item in left if item.state == state and item.value is not None and item.reading.age_h is not None]
    if not rows:
        return None
    color = TOKENS["series"][1] if state == "FLAGGED" else _QUIET
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [float(item.reading.age_h) for item in rows],
        "y": [item.value for item in rows],
        "text": [f"{item.batch}: {item.words}" for item in rows],
        "hovertemplate": "%{text}<br>%{y:,.6~g}<extra></extra>",
        "marker": {"symbol": symbol, "size": 12, "color": color, "line": {"width": 2, "color": color}},
    }


def _age_table(result: PropertyResult) -> Table:
    rows = [
        (
            arm.arm_label,
            value.batch,
            _shown(value.mean, result.unit),
            str(value.n_readings),
            "in the mean",
            arm.verdict or "no spec",
        )
        for arm in result.arms
        for value in arm.batch_values
    ]
    rows += [
        (
            arm.arm_label,
            f"mean of {arm.n_batches} batches",
            _shown(arm.mean, result.unit),
            str(arm.n_readings),
            f"± 1 SD of batches: {_span(one_sd(arm.mean, arm.sd_batches, result.scale), result)}",
            arm.verdict or "no spec",
        )
        for arm in _scattered(result)
    ]
    rows += [
        (
            arm.arm_label,
            item.batch,
            _shown(item.value, result.unit),
            "1",
            f"{item.state}: {item.words}",
            arm.verdict or "no spec",
        )
        for arm in result.arms
        for item in arm.left_out
        if item.value is not None
    ]
    return Table(
        ("trials", "batch", _axis(result), "readings", "use", "against the spec"),
        rows,
        numeric=frozenset({2, 3}),
        note=_age_note(result),
    )


def _age_note(result: PropertyResult) -> str:
    limits = _control_limits(result)
    band_words = f" Control ± 1 pooled SD of batches: {_span(limits, result)}." if limits else ""
    return f"{sum(arm.n_batches for arm in result.arms)} batches in the means.{band_words}"


def _span(limits: tuple[float, float], result: PropertyResult) -> str:
    return " to ".join(_shown(limit, result.unit) for limit in limits)


def _age_summary(result: PropertyResult) -> str:
    parts = [
        f"{arm.arm_label}: {_shown(arm.mean, result.unit) if arm.mean is not None else 'no value'}"
        f"{f', {arm.verdict}' if arm.verdict else ''}"
        for arm in result.arms
    ]
    return f"{_name(result)} at {result.age}. " + "; ".join(parts) + "."


def _name(result: PropertyResult) -> str:
    return result.property[0].upper() + result.property[1:] if result.property != "pH" else "pH"


def _axis(result: PropertyResult) -> str:
    return result.property if result.unit in ("", "1") else f"{result.property}, {result.unit}"


def _method_line(result: PropertyResult) -> str:
    return result.conditions or (f"method: {result.method}" if result.method else "method NOT RECORDED")


def _shown(value: float | None, unit: str) -> str:
    if value is None:
        return "–"
    return (
        f"{value:.2f}"
        if unit in ("", "1", "g/mL")
        else f"{value:,.0f}".replace(",", " ")
        if abs(value) >= 10000
        else f"{value:.4g}"
    )


def _age_words(hours: float) -> str:
    return f"{hours / 24:g} d" if hours >= 96 else f"{hours:g} h"
