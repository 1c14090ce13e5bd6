"""How does a property move in each place of storage, against its limits, and how far may be spoken of?

One panel a place. Lines and bounds are drawn to the last time that may be spoken of; beyond the last station the line
is dashed. Readings before the baseline are hollow: they are of a product that still builds, and are in no line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from kit.bench.stability_station import HOURS_PER_MONTH, HOURS_PER_WEEK
from kit.bench.storage import freeze_thaw_cycles
from kit.figures.figure import Figure, band, series, shown
from kit.figures.marks import GREY
from kit.science.shelf_life import UNTOLD
from kit.science.shelf_life_lines import COMMON, BatchLine
from kit.show import TOKENS, Table
from kit.trials.stability import Stability
from kit.trials.stability_series import StoragePoint, StorageSeries
from kit.trials.stability_sorting import warm_c
from kit.trials.stability_verdicts import StabilityVerdict, relative_words
from kit.trials.stability_warm import MELTED, Network

_PANEL_PX, _GAP_PX, _TOP_PX, _BELOW_PX, _LEGEND_PX = 168, 34, 84, 62, 21
_STEPS = 40
_WEEKS_UNTIL_H = 26 * 168.0
_BOUND = {"color": TOKENS["ink"], "width": 1, "dash": "dot"}


def stability_trends(found: Stability) -> list[Figure]:
    """A figure for each property that was read in numbers, version by version, with a panel for each place.

    Parameters
    ----------
    found : Stability
    """
    groups: dict[tuple[str, str], list[StabilityVerdict]] = {}
    for verdict in found.verdicts:
        one = verdict.series
        if one.stored and freeze_thaw_cycles(one.place) is None:
            groups.setdefault((one.arm, one.property), []).append(verdict)
    return [_figure(verdicts, found.networks.get(arm, Network())) for (arm, _), verdicts in groups.items()]


def _figure(verdicts: Sequence[StabilityVerdict], network: Network) -> Figure:
    first = verdicts[0].series
    unit, hours = _time_unit(verdicts)
    batches = list(dict.fromkeys(batch for verdict in verdicts for batch in verdict.series.batches))
    panels = [_Panel(verdict, number, unit, batches, network) for number, verdict in enumerate(verdicts)]
    traces = [trace for panel in panels for trace in panel.traces()]
    _name_once(traces)
    height, layout = _layout(panels, unit, hours, sum(trace["showlegend"] for trace in traces))
    ends = [panel.reach() for panel in panels]
    reach = min(low for low, _ in ends), max(high for _, high in ends)
    for panel in panels:
        layout[panel.y_key] = panel.axis(height, reach)
        layout["shapes"] += panel.shapes(reach)
        layout["annotations"] += panel.annotations()
    layout["shapes"] += [_upright(hours[0] / unit[1], "solid"), _upright(hours[1] / unit[1], "dash")]
    return Figure(
        f"How does the {first.property} of {first.arm} keep?",
        f"{_axis(first)}; limit {first.limit.words if first.limit else 'none put down before the data'}",
        traces,
        layout,
        _table(verdicts),
        " ".join(f"{verdict.series.where}: {verdict.words}." for verdict in verdicts),
    )


class _Panel:
    """One place."""

    def __init__(
        self,
        verdict: StabilityVerdict,
        number: int,
        unit: tuple[str, float],
        batches: Sequence[str],
        network: Network,
    ) -> None:
        self.verdict, self.one, self.number, self.unit, self.batches = verdict, verdict.series, number, unit, batches
        temp = warm_c(self.one.place)
        self.melted = temp is not None and network.at(temp) == MELTED
        self.domain = (0.0, 1.0)

    @property
    def y_key(self) -> str:
        return "yaxis" if self.number == 0 else f"yaxis{self.number + 1}"

    @property
    def y_name(self) -> str:
        return "y" if self.number == 0 else f"y{self.number + 1}"

    def traces(self) -> Iterable[dict]:
        for index, batch in enumerate(self.batches):
            look = series(index)
            mine = [point for point in self.one.points if point.batch == batch and point.relative is not None]
            yield self._markers(batch, mine, look)
        early = [(point, self._early(point)) for point in self.one.earlier]
        early = [(point, value) for point, value in early if value is not None]
        if early:
            yield {
                **self._trace("before the baseline, in no line", "markers"),
                "x": [point.hours / self.unit[1] for point, _ in early],
                "y": [value for _, value in early],
                "marker": {"symbol": "circle-open", "size": 8, "color": GREY},
            }
        yield from self._lines()

    def _markers(self, batch: str, points: Sequence[StoragePoint], look: dict) -> dict:
        return {
            **self._trace(batch, "markers"),
            "x": [point.hours / self.unit[1] for point in points],
            "y": [point.relative for point in points],
            "marker": {"symbol": look["symbol"], "size": 8, "color": look["color"]},
        }

    def _lines(self) -> Iterable[dict]:
        trend, life = self.one.trend, self.one.life
        lines: Sequence[BatchLine] = trend.lines if trend else ()
        last = life.last_month if life else 0.0
        told = life is not None and life.state != UNTOLD and not self.melted
        for line in lines[:1] if trend and trend.model == COMMON else lines:
            look = series(self.batches.index(line.batch)) if trend.model != COMMON else {"color": TOKENS["ink"]}
            yield self._curve("mean line", [(0.0, line.mean(0.0)), (last, line.mean(last))], look["color"], "solid")
            if told:
                beyond = [(last, line.mean(last)), (life.most_months, line.mean(life.most_months))]
                yield self._curve("mean line beyond the last station", beyond, look["color"], "dash")
        if told:
            yield from self._bounds(lines, life.most_months, life.confidence)

    def _bounds(self, lines: Sequence[BatchLine], most: float, confidence: float) -> Iterable[dict]:
        """The bound of the worst batch at each time, for each limit."""
        for side, limit in zip((-1, 1), self.one.limits, strict=True):
            if limit is None:
                continue
            months = [most * step / _STEPS for step in range(_STEPS + 1)]
            worst = [side * max(side * line.bound(month, side, confidence) for line in lines) for month in months]
            points = list(zip(months, worst, strict=True))
            name = f"one-sided {100 * confidence:g} % bound of the mean"
            yield self._curve(name, points, _BOUND["color"], "dot", 1)

    def _curve(self, name: str, points: Sequence[tuple[float, float]], color: str, dash: str, width: int = 2) -> dict:
        per = float(HOURS_PER_MONTH) / self.unit[1]
        return {
            **self._trace(name, "lines"),
            "x": [month * per for month, _ in points],
            "y": [self._back(value) for _, value in points],
            "line": {"color": color, "dash": dash, "width": width},
            "hoverinfo": "skip",
        }

    def _trace(self, name: str, mode: str) -> dict:
        return {"type": "scatter", "mode": mode, "name": name, "legendgroup": name, "xaxis": "x", "yaxis": self.y_name,
                "showlegend": True}  # fmt: skip

    def _back(self, value: float) -> float:
        """From the scale of the fit to what is drawn."""
        is_ratio = self.one.is_ratio if self.one.is_relative else self.one.scale == "ln"
        return math.exp(value) if is_ratio else value

    def _early(self, point: StoragePoint) -> float | None:
        if not self.one.is_relative:
            return point.value
        base = self.one.baselines.get(point.batch)
        if base is None or self.one.against_jar:
            return None
        return point.value / base if self.one.is_ratio else point.value - base

    def reach(self) -> tuple[float, float]:
        values = [value for trace in self.traces() for value in trace["y"]]
        values += [limit for limit in self.one.limits if limit is not None]
        low, high = min(values), max(values)
        room = 0.08 * (high - low or abs(high) or 1.0)
        return low - room, high + room

    def axis(self, height: float, reach: tuple[float, float]) -> dict:
        top = _PANEL_PX + _GAP_PX
        start = 1 - (self.number * top + _GAP_PX) / height
        self.domain = (max(start - _PANEL_PX / height, 0.0), start)
        return {
            "domain": list(self.domain),
            "range": list(reach),
            "title": {"text": _axis(self.one), "font": {"size": 11}},
            "nticks": 5,
            "tickformat": ".2~f",
            "gridcolor": "#e6e9ec",
            "linecolor": TOKENS["rule"],
            "zeroline": False,
            "automargin": True,
        }

    def shapes(self, reach: tuple[float, float]) -> list[dict]:
        low, high = self.one.limits
        if low is None and high is None:
            return []
        drawn, _ = band(low, high, reach=reach, lines=())
        return [{**shape, "yref": self.y_name} for shape in drawn]

    def annotations(self) -> list[dict]:
        text = f"<b>{shown(self.one.where)}</b>: {shown(self.verdict.headline)}"
        if self.melted:
            text += ", melts there"
        return [
            {
                "xref": "paper", "x": 0, "xanchor": "left", "yref": "paper", "y": self.domain[1], "yanchor": "bottom",
                "text": text, "showarrow": False, "font": {"size": 12, "color": TOKENS["ink"]},
            }
        ]  # fmt: skip


def _layout(panels: Sequence[_Panel], unit: tuple[str, float], hours: tuple[float, float], entries: int) -> tuple:
    inside = len(panels) * (_PANEL_PX + _GAP_PX)
    below = _BELOW_PX + _LEGEND_PX * entries
    early = min([point.hours for panel in panels for point in panel.one.earlier], default=0.0)
    layout = {
        "height": inside + _TOP_PX + below,
        "margin": {"t": _TOP_PX, "b": below, "r": 20},
        "xaxis": {
            "title": {"text": f"time in storage, {unit[0]}"},
            "range": [(early - 0.03 * hours[1]) / unit[1], 1.03 * hours[1] / unit[1]],
            "anchor": panels[-1].y_name,
        },
        "legend": {"orientation": "v", "font": {"size": 12}},
        "shapes": [],
        "annotations": [
            {
                "xref": "x",
                "x": at / unit[1],
                "xanchor": "right",
                "yref": "paper",
                "y": 1,
                "yanchor": "bottom",
                "text": text,
                "showarrow": False,
                "font": {"size": 10, "color": TOKENS["quiet"]},
            }
            for at, text in zip(hours, ("last station", "nothing is said beyond"), strict=True)
        ],
    }
    return inside, layout


def _upright(x: float, dash: str) -> dict:
    line = {"color": GREY, "width": 1, "dash": dash}
    return {"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1, "line": line}


def _time_unit(verdicts: Sequence[StabilityVerdict]) -> tuple[tuple[str, float], tuple[float, float]]:
    """The unit of the time axis with its hours, and the last station and the last time spoken of. [h]"""
    last = max(verdict.series.last_hours for verdict in verdicts)
    most = max(
        (verdict.series.life.most_months for verdict in verdicts if verdict.series.life), default=0.0
    ) * float(HOURS_PER_MONTH)  # fmt: skip
    weeks = last <= _WEEKS_UNTIL_H
    return ("weeks", float(HOURS_PER_WEEK)) if weeks else ("months", float(HOURS_PER_MONTH)), (last, max(most, last))


def _axis(one: StorageSeries) -> str:
    if one.is_relative:
        what = "over" if one.is_ratio else "less"
        return f"{one.property} {what} {'the jar at 25 °C' if one.against_jar else 'its baseline'}"
    return one.property if one.unit in ("", "1") else f"{one.property}, {one.unit}"


def _name_once(traces: Sequence[dict]) -> None:
    """Each name stands once in the legend."""
    named: set[str] = set()
    for trace in traces:
        trace["showlegend"] = trace["name"] not in named and bool(trace["x"])
        named |= {trace["name"]} if trace["x"] else set()


def _table(verdicts: Sequence[StabilityVerdict]) -> Table:
    rows = [
        (point.batch, verdict.series.where, point.when, f"{point.value:.5g}", relative_words(point, verdict.series))
        for verdict in verdicts
        for point in (*verdict.series.earlier, *verdict.series.points)
    ]
    first = verdicts[0].series
    unit = "" if first.unit in ("", "1") else f", {first.unit}"
    return Table(("batch", "kept at", "after", f"{first.property}{unit}", "drawn"), rows, numeric=frozenset({3, 4}))
