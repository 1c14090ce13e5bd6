"""How do the versions compare at one age?

Drawn the way a bench reads it: one marker for each batch, small ticks for its readings, a bar for one standard
deviation of batches only where there are two or more, the spec shaded with its numbers, flagged readings hollow,
readings that are not comparable grey, and nothing of that kind in a mean. Beside a pH stands the band predicted for it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from kit.figures.figure import Figure, series, stacked
from kit.figures.marks import (
    SIDE_PX,
    Footnotes,
    arm_counts,
    axis_title,
    control_band,
    control_limits,
    control_words,
    left_out_traces,
    method_line,
    number,
    property_name,
    span,
    spec_band,
    value_range,
)
from kit.figures.predicted import PredictedBand, band_rows, band_trace, band_words, predicted_bands
from kit.show import TOKENS, Table
from kit.trials.compare import Comparison
from kit.trials.results import ArmResult, PropertyResult
from kit.trials.values import one_sd

_LINE_PX = 14
_LEVEL_LABELS = 8  # labels that stand side by side; more of them are turned
_LABEL_WORDS = 13  # letters of a line of a label, at most
_AXIS_PX, _LETTER_PX = 450, 6.2  # width of the axis beside a spec, and of a letter of a label


def at_one_age(comparison: Comparison, result: PropertyResult) -> Figure:
    """One property at one age, version by version."""
    notes = Footnotes(result.unit)
    left = [(arm.arm_label, item) for arm in result.arms for item in arm.left_out]
    bars, bands = _sd_bars(result), predicted_bands(comparison, result)
    traces = [*([band_trace(bands)] if bands else [])]
    traces += [_batch_markers(result), _reading_ticks(result), *([bars] if bars else [])]
    traces += left_out_traces(left, notes)
    reach = value_range([*_drawn(result), *(end for band in bands for end in (band.low, band.high))], result)
    shapes, words = spec_band(comparison, result, reach)
    return Figure(
        f"{property_name(result)} at {result.age}: which version is inside the spec?"
        if result.spec
        else f"{property_name(result)} at {result.age}: how do the versions compare?",
        method_line(result),
        traces,
        {
            **_room(result),
            "shapes": [*control_band(result), *shapes],
            "annotations": words,
            "xaxis": _arm_axis(result),
            "yaxis": {"title": {"text": axis_title(result)}, "range": reach},
        },
        _table(result, bands),
        _summary(result),
        (*notes.lines, *control_words(result), *band_words(comparison, result, bands)),
    )


def _arm_axis(result: PropertyResult) -> dict:
    """A label an arm: its trials, what is in its mean, the verdict in words."""
    labels = [arm.arm_label for arm in result.arms]
    return {
        "title": {"text": "trials of one formula version (control first)", "standoff": 12},
        "type": "category",
        "categoryorder": "array",
        "categoryarray": labels,
        "tickvals": labels,
        "ticktext": [stacked(_label(arm, len(labels))) for arm in result.arms],
        "tickfont": {"size": 11},
        **({"tickangle": 0} if len(labels) <= _LEVEL_LABELS else {}),
        "range": [-0.6, len(labels) - 0.4],
    }


def _label(arm: ArmResult, arms: int) -> list[str]:
    """The lines of an arm's label, no wider than its share of the axis."""
    letters = min(_LABEL_WORDS, int(_AXIS_PX / _LETTER_PX / arms))
    names = arm.arm_label.split(", ")
    said = [
        *names,
        *(["(control)"] if arm.is_control else []),
        *arm_counts(arm),
        *([arm.verdict] if arm.verdict else []),
    ]
    return [line for words in said for line in textwrap.wrap(words, max(letters, 1), break_long_words=False)]


def _room(result: PropertyResult) -> dict:
    """Height and lower margin that hold the longest label and the legend."""
    lines = max(len(_label(arm, len(result.arms))) for arm in result.arms)
    below = 100 + _LINE_PX * lines
    beside = {"r": SIDE_PX} if result.spec else {}
    return {"height": 376 + below, "margin": {"b": below, **beside}}


def _drawn(result: PropertyResult) -> list[float]:
    values = [value for arm in result.arms for item in arm.batch_values for value in (item.mean, *item.values)]
    return values + [item.value for arm in result.arms for item in arm.left_out if item.value is not None]


def _batch_markers(result: PropertyResult) -> dict:
    rows = [(arm.arm_label, value) for arm in result.arms for value in arm.batch_values]
    look = series(0)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "batch mean",
        "x": [label for label, _ in rows],
        "y": [value.mean for _, value in rows],
        "hovertext": [f"{value.batch}, {value.n_readings} reading(s), made {value.day}" for _, value in rows],
        "hovertemplate": "%{hovertext}<br>%{y:,.6~g}<extra></extra>",
        "marker": {"color": look["color"], "symbol": "circle", "size": 11, "line": {"color": "#ffffff", "width": 1}},
    }


def _reading_ticks(result: PropertyResult) -> dict:
    rows = [(arm.arm_label, read) for arm in result.arms for value in arm.batch_values for read in value.values]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "single reading",
        "x": [label for label, _ in rows],
        "y": [read for _, read in rows],
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
            "array": [high - arm.mean for arm, (_, high) in zip(arms, ends, strict=True)],
            "arrayminus": [arm.mean - low for arm, (low, _) in zip(arms, ends, strict=True)],
            "color": TOKENS["ink"],
            "thickness": 1.2,
            "width": 9,
        },
    }


def _table(result: PropertyResult, bands: Sequence[PredictedBand]) -> Table:
    rows = [
        (arm, value.batch, value.mean, str(value.n_readings), "in the mean")
        for arm in result.arms
        for value in arm.batch_values
    ]
    rows += [
        (arm, f"mean of {arm.n_batches} batches", arm.mean, str(arm.n_readings), _sd_words(arm, result))
        for arm in _scattered(result)
    ]
    rows += [
        (arm, item.batch, item.value, "1", f"{item.state}: {item.words}")
        for arm in result.arms
        for item in arm.left_out
        if item.value is not None
    ]
    told = [
        (arm.arm_label, batch, number(value, result.unit), count, use, arm.verdict or "no spec")
        for arm, batch, value, count, use in rows
    ]
    told += [(label, batch, number(value, result.unit), "–", use, "–") for label, batch, value, use in band_rows(bands)]
    return Table(
        ("trials", "batch", axis_title(result), "readings", "use", "against the spec"),
        told,
        numeric=frozenset({2, 3}),
        note=_note(result),
    )


def _sd_words(arm: ArmResult, result: PropertyResult) -> str:
    return f"± 1 SD of batches: {span(one_sd(arm.mean, arm.sd_batches, result.scale), result.unit)}"


def _note(result: PropertyResult) -> str:
    limits = control_limits(result)
    words = f" Control ± 1 pooled SD of batches: {span(limits, result.unit)}." if limits else ""
    return f"{sum(arm.n_batches for arm in result.arms)} batches in the means.{words}"


def _summary(result: PropertyResult) -> str:
    parts = [
        f"{arm.arm_label}: {number(arm.mean, result.unit) if arm.mean is not None else 'no value'}"
        f"{f', {arm.verdict}' if arm.verdict else ''}"
        for arm in result.arms
    ]
    return f"{property_name(result)} at {result.age}. " + "; ".join(parts) + "."
