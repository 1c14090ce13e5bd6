"""How does the viscosity of each batch build with age, and where does it settle?

Lines are fits, drawn between the first and the last age only; where none is told, readings are joined by a thin line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.figures.figure import Figure, series
from kit.figures.log_axis import log_axis
from kit.figures.marks import Footnotes, left_out_traces, number
from kit.show import Table
from kit.trials.flow_build import BatchBuild
from kit.trials.results import LeftOut

_UNIT = "mPa.s"
_STEPS = 60
_LEGEND_PX = 20


def viscosity_build(builds: Sequence[BatchBuild]) -> Figure | None:
    """Viscosity against age, batch by batch; None without a batch that was read at two ages.

    Parameters
    ----------
    builds : sequence of BatchBuild
    """
    if not builds:
        return None
    ways = list(dict.fromkeys(build.way for build in builds))
    notes = Footnotes(_UNIT)
    traces = [trace for place, build in enumerate(builds) for trace in _traces(build, place, len(ways) > 1)]
    left = [(float(item.reading.age_h), item) for build in builds for item in build.left_out if _drawn(item)]
    traces += left_out_traces(left, notes)
    apart = "; another spindle or speed is another scale: not comparable" if len(ways) > 1 else ""
    return Figure(
        "How does viscosity build with age?",
        f"{ways[0] if len(ways) == 1 else f'{len(ways)} ways of reading'}{apart}",
        traces,
        _layout(traces),
        _table(builds),
        _summary(builds),
        notes.lines,
    )


def _drawn(item: LeftOut) -> bool:
    """Whether a reading that does not count has a place in the figure."""
    reading = item.reading
    known = reading.age_h is not None and reading.age_h > 0 and reading.value is not None and reading.value > 0
    return known and not reading.void and reading.unit == _UNIT


def _traces(build: BatchBuild, place: int, name_way: bool) -> Iterable[dict]:
    look = series(place)
    name = f"{build.batch.name} ({build.spindle}, {build.rpm:f} rpm)" if name_way else build.batch.name
    line = _line(build)
    yield {
        "type": "scatter",
        "mode": "markers" if line else "lines+markers",
        "name": f"{name}, {_end(build)}",
        "x": [point.age_h for point in build.points],
        "y": [point.viscosity_mpa_s for point in build.points],
        "line": {"color": look["color"], "dash": look["dash"], "width": 1},
        "marker": {"symbol": look["symbol"], "size": 9, "color": look["color"]},
    }
    if line:
        yield {
            "type": "scatter",
            "mode": "lines",
            "name": f"{name}, fit",
            "showlegend": False,
            "x": [age for age, _ in line],
            "y": [value for _, value in line],
            "line": {"color": look["color"], "dash": look["dash"], "width": 2},
            "hoverinfo": "skip",
        }


def _end(build: BatchBuild) -> str:
    """What the legend says of a batch: the marker stands for it, its line goes through the markers."""
    return f"settles at {number(build.build.settled_mpa_s, _UNIT)}" if build.build.ok else "no fit"


def _line(build: BatchBuild) -> list[tuple[float, float]]:
    """The fitted build between the first and the last age; empty where it is not told."""
    if not build.build.ok:
        return []
    low, high = max(build.build.first_age_h, 1e-3), build.build.last_age_h
    ages = [low * (high / low) ** (step / _STEPS) for step in range(_STEPS)] + [high]
    found = [(age, build.build.at(age)) for age in ages]
    return [(age, value) for age, value in found if value is not None]


def _layout(traces: Sequence[dict]) -> dict:
    below = 78 + _LEGEND_PX * sum(trace.get("showlegend", True) for trace in traces)
    ages = [age for trace in traces for age in trace["x"] if age > 0]
    values = [value for trace in traces for value in trace["y"]]
    ticks = [tick for tick in (1, 4, 24, 72, 168, 336, 672, 2016) if min(ages) / 1.5 <= tick <= max(ages) * 1.5]
    return {
        "height": 420 + below,
        "margin": {"b": below},
        "xaxis": {
            **log_axis(ages, "age, h and d"),
            "tickvals": ticks,
            "ticktext": [f"{tick // 24} d" if tick >= 96 else f"{tick} h" for tick in ticks],
        },
        "yaxis": {
            "title": {"text": f"viscosity, {_UNIT}"},
            "range": [0, 1.1 * max(values)],
        },
        "legend": {"orientation": "v", "font": {"size": 12}},
    }


def _table(builds: Sequence[BatchBuild]) -> Table:
    rows = [
        (
            build.batch.name,
            build.way,
            f"{point.age_h:.4g}",
            number(point.viscosity_mpa_s, _UNIT),
            number(build.build.at(point.age_h), _UNIT),
        )
        for build in builds
        for point in build.points
    ]
    columns = ("batch", "read with", "age, h", f"viscosity, {_UNIT}", f"fitted, {_UNIT}")
    return Table(columns, rows, numeric=frozenset({2, 3, 4}))


def _summary(builds: Sequence[BatchBuild]) -> str:
    return " ".join(build.words for build in builds)
