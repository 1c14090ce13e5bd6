"""How far is each version from the control? Ratios or differences with their intervals, the margin shaded.

The interval holds for all versions together; the ticks beside it stand at the difference that these batches would find
four times in five, which is another thing. A version without an interval is drawn hollow and is not tested.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence

from kit.figures.figure import Figure, series, stacked
from kit.figures.marks import method_line, property_name
from kit.show import TOKENS, Table
from kit.trials.difference_words import size_text
from kit.trials.results import LN, ArmResult, Difference, PropertyResult
from kit.trials.wording import decimals, plural

INTERVAL, FOUND, HOLLOW = "95 % interval", "found four times in five", "no interval: not tested"
AGAINST_MARGIN = "90 % interval, held against the margin"

_LINE_PX, _LETTERS = 15, 17  # height of a line of a label, and its letters at most
_ROOM = 0.06  # of the span of the axis, left and right of what is drawn
_TICKS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.3, 1.5, 1.8, 2, 2.5, 3, 4, 5, 7, 10)
_MOST_TICKS = 8
_LEAST_DECADES = 0.12


def against_the_control(result: PropertyResult) -> Figure | None:
    """One property at one age: every version against the control; None where nothing was compared.

    Parameters
    ----------
    result : PropertyResult   With the differences of its arms.
    """
    arms = [arm for arm in result.arms if arm.difference is not None]
    if not arms:
        return None
    ratio = result.scale == LN
    name = property_name(result)
    unit = "" if result.unit in ("", "1") else f", {result.unit}"
    title = "ratio to the control" if ratio else f"difference{unit}"
    ends = _ends(arms, ratio)
    lines = max(len(_label(arm)) for arm in arms)
    return Figure(
        f"{name} at {result.age}: how far is each version from the control?",
        method_line(result),
        _traces(arms),
        {
            "height": 190 + len(arms) * max(_LINE_PX * lines + 12, 44),
            "margin": {"l": 140, "r": 24, "b": 104},
            "shapes": [*_margin_band(arms, ratio), _level(1.0 if ratio else 0.0)],
            "annotations": [_same(1.0 if ratio else 0.0, ratio)],
            "xaxis": {"title": {"text": title, "standoff": 8}, **_axis(ends, ratio)},
            "yaxis": _rows(arms),
        },
        _table(result, arms),
        _summary(result, arms),
        _footnotes(result, arms),
    )


def _traces(arms: Sequence[ArmResult]) -> list[dict]:
    known = [arm for arm in arms if arm.difference.low is not None]
    lone = [arm for arm in arms if arm.difference.low is None]
    margin = [_against_margin(known)] if known and known[0].difference.margin is not None else []
    return [*margin, *([_intervals(known), _found(known)] if known else []), *([_hollow(lone)] if lone else [])]


def _against_margin(arms: Sequence[ArmResult]) -> dict:
    """A broad bar behind the interval: it is what the margin is held against."""
    found = [arm.difference for arm in arms]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": AGAINST_MARGIN,
        "x": [end for one in found for end in (one.same_low, one.same_high, None)],
        "y": [label for arm in arms for label in (arm.arm_label, arm.arm_label, None)],
        "hoverinfo": "skip",
        "line": {"color": TOKENS["series"][4], "width": 9},
    }


def _intervals(arms: Sequence[ArmResult]) -> dict:
    look, found = series(0), [arm.difference for arm in arms]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": INTERVAL,
        "x": [one.value for one in found],
        "y": [arm.arm_label for arm in arms],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [one.high - one.value for one in found],
            "arrayminus": [one.value - one.low for one in found],
            "color": look["color"],
            "thickness": 2.5,
            "width": 7,
        },
        "hovertext": [one.short.replace("\n", ", ") for one in found],
        "hovertemplate": "%{y}: %{hovertext}<extra></extra>",
        "marker": {"symbol": "circle", "size": 11, "color": look["color"]},
    }


def _found(arms: Sequence[ArmResult]) -> dict:
    """Two ticks a version, either side of no difference."""
    ticks = [(arm.arm_label, end) for arm in arms for end in _detectable_ends(arm.difference)]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": FOUND,
        "x": [end for _, end in ticks],
        "y": [label for label, _ in ticks],
        "hovertemplate": f"%{{y}}: {FOUND}: %{{x:.3~g}}<extra></extra>",
        "marker": {"symbol": "line-ns-open", "size": 20, "color": TOKENS["ink"], "line": {"width": 2}},
    }


def _hollow(arms: Sequence[ArmResult]) -> dict:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": HOLLOW,
        "x": [arm.difference.value for arm in arms],
        "y": [arm.arm_label for arm in arms],
        "hovertext": [arm.difference.words for arm in arms],
        "hovertemplate": "%{hovertext}<extra></extra>",
        "marker": {"symbol": "circle-open", "size": 11, "color": TOKENS["quiet"], "line": {"width": 2}},
    }


def _detectable_ends(found: Difference) -> tuple[float, ...]:
    if found.detectable is None:
        return ()
    if found.kind == "ratio":
        return 1 / found.detectable, found.detectable
    return -found.detectable, found.detectable


def _margin_ends(arms: Sequence[ArmResult], ratio: bool) -> tuple[float, float] | None:
    margin = arms[0].difference.margin
    if margin is None:
        return None
    return (1 / margin, margin) if ratio else (-margin, margin)


def _margin_band(arms: Sequence[ArmResult], ratio: bool) -> list[dict]:
    ends = _margin_ends(arms, ratio)
    if ends is None:
        return []
    return [
        {
            "type": "rect",
            "name": "too small to matter (margin)",
            "showlegend": True,
            "x0": ends[0],
            "x1": ends[1],
            "yref": "paper",
            "y0": 0,
            "y1": 1,
            "fillcolor": TOKENS["band"],
            "line": {"width": 1, "dash": "dot", "color": TOKENS["series"][0]},
            "layer": "below",
        }
    ]


def _level(none: float) -> dict:
    line = {"color": TOKENS["ink"], "width": 1.5, "dash": "dash"}
    return {"type": "line", "x0": none, "x1": none, "yref": "paper", "y0": 0, "y1": 1, "line": line, "layer": "below"}


def _same(none: float, ratio: bool) -> dict:
    return {
        "x": math.log10(none) if ratio else none,
        "y": 1,
        "yref": "paper",
        "yanchor": "bottom",
        "text": "as the control",
        "showarrow": False,
        "font": {"size": 11, "color": TOKENS["quiet"]},
    }


def _ends(arms: Sequence[ArmResult], ratio: bool) -> tuple[float, float]:
    """What the axis has to hold."""
    found = [arm.difference for arm in arms]
    values = [1.0 if ratio else 0.0, *(_margin_ends(arms, ratio) or ())]
    for one in found:
        values += [one.value, *_detectable_ends(one), *(end for end in (one.low, one.high) if end is not None)]
    return min(values), max(values)


def _axis(ends: tuple[float, float], ratio: bool) -> dict:
    if not ratio:
        room = _ROOM * (ends[1] - ends[0] or 1.0)
        return {"range": [ends[0] - room, ends[1] + room], "zeroline": False}
    low, high = math.log10(ends[0]), math.log10(ends[1])
    room = max(_ROOM * (high - low), (_LEAST_DECADES - (high - low)) / 2)
    low, high = low - room, high + room
    ticks = list(_ticks(low, high))
    return {"type": "log", "range": [low, high], "tickvals": ticks, "ticktext": [f"{tick:g}" for tick in ticks]}


def _ticks(low: float, high: float) -> Iterable[float]:
    """Ratios that stand apart on the axis, 1 always among them."""
    inside = [tick for tick in _TICKS if low <= math.log10(tick) <= high]
    inside += [10.0**ten for ten in (*range(math.floor(low), -1), *range(2, math.ceil(high))) if low <= ten <= high]
    apart, kept = (high - low) / _MOST_TICKS, [1.0]
    for tick in sorted(inside, key=lambda tick: abs(math.log10(tick))):
        if all(abs(math.log10(tick / other)) >= apart for other in kept):
            kept.append(tick)
    return sorted(kept)


def _label(arm: ArmResult) -> list[str]:
    found = arm.difference
    batches = f"{plural(found.n_arm, 'batch', 'batches')} against {found.n_control}"
    said = [*arm.arm_label.split(", "), batches, found.verdict]
    return [line for words in said for line in textwrap.wrap(words, _LETTERS, break_long_words=False)]


def _rows(arms: Sequence[ArmResult]) -> dict:
    """A row a version, the first on top, with its batches and the verdict in words."""
    labels = [arm.arm_label for arm in arms]
    return {
        "type": "category",
        "categoryorder": "array",
        "categoryarray": labels[::-1],
        "tickvals": labels,
        "ticktext": [stacked(_label(arm)) for arm in arms],
        "tickfont": {"size": 11},
        "range": [-0.6, len(labels) - 0.4],
    }


def _table(result: PropertyResult, arms: Sequence[ArmResult]) -> Table:
    rows, against = [], _against_columns(arms)
    for arm in arms:
        found = arm.difference
        numbers = (found.value, found.low, found.high, found.low_alone, found.high_alone)
        same = (getattr(found, name) for name in against.values())
        reach = (found.half_width, found.detectable)
        told = [_size(result, arm, number) for number in (*numbers, *same, *reach)]
        rows.append((arm.arm_label, *told, str(found.n_arm), str(found.n_control), found.verdict))
    kind = arms[0].difference.kind
    interval = ("trials", kind, "low", "high", "low alone", "high alone")
    heads = (*interval, *against, "half-width", FOUND, "batches", "of control")
    numeric = frozenset(range(1, len(heads)))
    return Table((*heads, "verdict"), rows, numeric=numeric, note="\n".join(_margin_words(result, arms)))


def _against_columns(arms: Sequence[ArmResult]) -> dict[str, str]:
    """Columns of what is held against the margin, each with the number it shows; none without a margin."""
    found = [arm.difference for arm in arms]
    columns = {}
    if any(one.same_low is not None for one in found):
        columns |= {"90 % low": "same_low", "90 % high": "same_high"}
    if any(one.same_low_together is not None for one in found):
        columns |= {"low, all in view": "same_low_together", "high, all in view": "same_high_together"}
    return columns


def _size(result: PropertyResult, arm: ArmResult, value: float | None) -> str:
    readings = [reading for one in arm.batch_values for reading in one.readings]
    if value is None:
        return "–"
    return size_text(value, scale=result.scale, unit=result.unit, places=decimals(readings))


def _summary(result: PropertyResult, arms: Sequence[ArmResult]) -> str:
    parts = [f"{arm.arm_label}: {arm.difference.short.replace(chr(10), ', ')}" for arm in arms]
    return f"{property_name(result)} at {result.age} against {result.arms[0].arm_label}. {'; '.join(parts)}."


def _margin_words(result: PropertyResult, arms: Sequence[ArmResult]) -> list[str]:
    ends = _margin_ends(arms, result.scale == LN)
    if ends is None:
        return ["No margin was stated: nothing is called the same."]
    low, high = (_size(result, arms[0], end) for end in ends)
    source = f"{result.margin_words[:1].upper()}{result.margin_words[1:]}."
    return [f"Shaded: {low} to {high}, stated to be too small to matter.", source]


def _footnotes(result: PropertyResult, arms: Sequence[ArmResult]) -> list[str]:
    known = [arm for arm in arms if arm.difference.low is not None]
    told = [f"{result.analysis[:1].upper()}{result.analysis[1:]}."] if result.analysis else []
    told += [result.multiplicity] if result.multiplicity else []
    if known:
        told.append(f"Ticks: the difference that these batches would find four times in five; the bar: {INTERVAL}.")
    told += _margin_words(result, arms)
    told += list(result.notes)
    told += _weak(known)
    told += [
        f"{arm.arm_label} is not drawn: {arm.difference_why}."
        for arm in result.arms
        if arm.difference is None and not arm.is_control and arm.difference_why
    ]
    return told


def _weak(arms: Sequence[ArmResult]) -> list[str]:
    """What weakens the differences drawn, each with its versions where it is not all of them."""
    by_caution: dict[str, list[str]] = {}
    for arm in arms:
        for caution in arm.difference.cautions:
            by_caution.setdefault(caution, []).append(arm.arm_label)
    return [
        f"{caution[:1].upper()}{caution[1:]}." if len(labels) == len(arms) else f"{', '.join(labels)}: {caution}."
        for caution, labels in by_caution.items()
    ]
