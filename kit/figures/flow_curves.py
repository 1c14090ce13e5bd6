"""How does the viscosity of the trials go with shear?

Both scales are logarithmic. Only curves that may stand side by side are drawn in one figure: true ones together, those
of a disc or T-bar by instrument and spindle. A fitted line ends where the readings end.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from kit.figures.figure import Figure, series
from kit.figures.log_axis import log_axis, written
from kit.figures.marks import Footnotes, left_out_traces
from kit.show import Table
from kit.trials.flow_batch import BatchFlow, CurvePoint, RunFit, accuracy_words
from kit.trials.flow_sweep import DOWN
from kit.trials.wording import plural, significant

_STEPS = 60  # points of a fitted line
_LEGEND_PX = 20
_UNIT = "mPa.s"
_OPEN = "-open"


def flow_curves(flows: Sequence[BatchFlow]) -> Figure | None:
    """Viscosity against shear rate, or against speed for a relative geometry; None without a curve.

    Parameters
    ----------
    flows : sequence of BatchFlow   Of one place: see `FlowStudy.places`.
    """
    flows = [flow for flow in flows if flow.runs]
    if not flows:
        return None
    notes = Footnotes(_UNIT)
    traces = [trace for place, flow in enumerate(flows) for trace in _traces(flow, place)]
    traces += left_out_traces([pair for flow in flows for pair in _left_out(flow)], notes)
    return Figure(
        _title(flows),
        _subtitle(flows),
        traces,
        _layout(flows, traces),
        Table(_columns(flows), [row for flow in flows for row in _rows(flow)], numeric=frozenset(range(3, 10))),
        _summary(flows),
        notes.lines,
    )


def _title(flows: Sequence[BatchFlow]) -> str:
    if flows[0].is_true:
        return "How does viscosity go with shear rate?"
    return f"How does the reading go with speed on {flows[0].geometry.spindle}?"


def _subtitle(flows: Sequence[BatchFlow]) -> str:
    first = flows[0].filling.first
    spindles = ", ".join(dict.fromkeys(flow.geometry.spindle for flow in flows))
    kind = "true shear rates" if flows[0].is_true else "relative, no material property"
    return f"{spindles} on {first.instrument}; {kind}; bars: accuracy of full scale"


def _traces(flow: BatchFlow, place: int) -> Iterable[dict]:
    look = series(place)
    line = _line(flow, flow.main)
    drawn = f"; line: {_line_name(flow)}" if line else "; no model"
    for run in flow.runs:
        named = run.run + (drawn if run is flow.main else "")
        yield _markers(flow, run.points, named, look, _OPEN if run.run == DOWN else "", bars=run is flow.main)
    if flow.after_rest:
        yield _markers(flow, flow.after_rest, "after rest", look, "-open-dot", bars=False)
    if line is not None:
        yield {
            "type": "scatter",
            "mode": "lines",
            "name": f"{_name(flow)}: {_line_name(flow)}",
            "showlegend": False,
            "x": [x for x, _ in line],
            "y": [y for _, y in line],
            "line": {"color": look["color"], "dash": look["dash"], "width": 2},
            "hoverinfo": "skip",
        }


def _markers(flow: BatchFlow, points: Sequence[CurvePoint], named: str, look: dict, shape: str, *, bars: bool) -> dict:
    trace = {
        "type": "scatter",
        "mode": "markers",
        "name": f"{_name(flow)}, {named}",
        "x": [_x(point) for point in points],
        "y": [point.viscosity_mpa_s for point in points],
        "marker": {
            "symbol": look["symbol"] + shape,
            "size": 9,
            "color": look["color"],
            "line": {"width": 1.5, "color": look["color"]},
        },
    }
    errors = [point.viscosity_mpa_s * (point.error_pct or 0) / 100 for point in points]
    if bars and any(errors):
        trace["error_y"] = {"type": "data", "array": errors, "thickness": 1, "width": 3}
    return trace


def _name(flow: BatchFlow) -> str:
    named = [flow.filling.first.sample, flow.filling.first.replicate]
    return ", ".join(part for part in (flow.filling.batch.name, flow.filling.age, *named) if part)


def _x(point: CurvePoint) -> float:
    return point.rpm if point.shear_rate_per_s is None else point.shear_rate_per_s


def _line_name(flow: BatchFlow) -> str:
    return flow.main.fit.model.name if flow.is_true else "power law in speed"


def _line(flow: BatchFlow, run: RunFit) -> list[tuple[float, float]] | None:
    """The fitted line between the first and the last reading; None where no model is used."""
    xs = [_x(point) for point in run.points]
    low, high = min(xs), max(xs)
    grid = [low * (high / low) ** (step / _STEPS) for step in range(_STEPS)] + [high]
    if flow.is_true:
        if run.fit is None:
            return None
        fitted = run.fit.viscosity_pa_s(grid)
        return [(x, 1000 * float(y)) for x, y in zip(grid, fitted, strict=True) if math.isfinite(y)]
    if run.index is None:
        return None
    return [(x, _power_law(run, x)) for x in grid]


def _power_law(run: RunFit, rpm: float) -> float:
    """Viscosity on the line of the flow index, through the middle of the readings. [mPa·s]"""
    slope = run.index[0] - 1
    middle_x = math.fsum(math.log(point.rpm) for point in run.points) / len(run.points)
    middle_y = math.fsum(math.log(point.viscosity_mpa_s) for point in run.points) / len(run.points)
    return math.exp(middle_y + slope * (math.log(rpm) - middle_x))


def _left_out(flow: BatchFlow) -> Iterable[tuple[float, object]]:
    """What was read on this spindle and does not count, at its place on the axis."""
    for item in flow.filling.left_out:
        reading = item.reading
        known = reading.rpm is not None and reading.rpm > 0 and reading.value is not None and reading.value > 0
        if known and not reading.void and reading.unit == _UNIT and reading.spindle == flow.geometry.spindle:
            rate = flow.geometry.shear_rate_per_s(reading.rpm)
            yield (float(reading.rpm) if rate is None else rate), item


def _layout(flows: Sequence[BatchFlow], traces: Sequence[dict]) -> dict:
    xs = [x for trace in traces for x in trace["x"]]
    ys = [y for trace in traces for y in trace["y"]]
    bars = [
        point.viscosity_mpa_s * (1 + sign * (point.error_pct or 0) / 100)
        for flow in flows
        for point in flow.points
        for sign in (1, -1)
    ]
    below = 78 + _LEGEND_PX * sum(trace.get("showlegend", True) for trace in traces)
    x_title = "shear rate, 1/s" if flows[0].is_true else "speed, rpm"
    return {
        "height": 420 + below,
        "margin": {"b": below},
        "xaxis": log_axis(xs, x_title),
        "yaxis": log_axis([*ys, *(bar for bar in bars if bar > 0)], f"viscosity, {_UNIT}"),
        "legend": {"orientation": "v", "font": {"size": 12}},
    }


def _columns(flows: Sequence[BatchFlow]) -> tuple[str, ...]:
    true = ("shear rate, 1/s", "stress, Pa") if flows[0].is_true else ()
    end = ("torque, %", "error from full scale, %", "fitted, mPa.s")
    return ("batch", "age", "run", "speed, rpm", *true, "viscosity, mPa.s", *end)


def _rows(flow: BatchFlow) -> Iterable[tuple[str, ...]]:
    for run in flow.runs:
        for point in run.points:
            yield _row(flow, point, _fitted(flow, run, point) if run is flow.main else None)
    for point in flow.after_rest:
        yield _row(flow, point, None)


def _fitted(flow: BatchFlow, run: RunFit, point: CurvePoint) -> float | None:
    if not flow.is_true:
        return _power_law(run, point.rpm) if run.index is not None else None
    return None if run.fit is None else 1000 * run.fit.viscosity_pa_s(point.shear_rate_per_s)


def _row(flow: BatchFlow, point: CurvePoint, fitted: float | None) -> tuple[str, ...]:
    true = (_told(point.shear_rate_per_s, 4), _told(point.stress_pa, 4)) if flow.is_true else ()
    return (
        _batch(flow),
        flow.filling.age,
        point.run,
        f"{point.rpm:g}",
        *true,
        _told(point.viscosity_mpa_s, 4),
        "–" if point.torque_pct is None else f"{point.torque_pct:g}",
        _told(point.error_pct, 2),
        _told(fitted, 4),
    )


def _batch(flow: BatchFlow) -> str:
    named = [flow.filling.first.sample, flow.filling.first.replicate]
    return ", ".join([flow.filling.batch.name, *(part for part in named if part)])


def _told(value: float | None, digits: int) -> str:
    return "–" if value is None or not math.isfinite(value) else significant(value, digits)


def _summary(flows: Sequence[BatchFlow]) -> str:
    unit = "1/s" if flows[0].is_true else "rpm"
    told = []
    for flow in flows:
        points = sorted(flow.main.points, key=_x)
        slow, fast = points[0], points[-1]
        line = f", {_line_name(flow)}" if _line(flow, flow.main) else ", no model"
        told.append(
            f"{_name(flow)}: {written(round(slow.viscosity_mpa_s))} mPa.s at {_x(slow):.3g} {unit} and "
            f"{written(round(fast.viscosity_mpa_s))} at {_x(fast):.3g} {unit}{line}"
        )
    return (
        f"{plural(len(flows), 'flow curve')}. {'; '.join(told)}. Lines end where the readings end; {accuracy_words()}."
    )
