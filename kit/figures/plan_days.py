"""In which order are the planned batches made, and does a factor go with the day?"""

from __future__ import annotations

from kit.figures.figure import Figure, series, shown
from kit.show import TOKENS, Table
from kit.trials.plan import Plan
from kit.trials.plan_data import PlannedBatch
from kit.trials.plan_factors import Factor
from kit.units import plain

_PLACES = ("low", "below the middle", "middle", "above the middle", "high")


def plan_by_day(plan: Plan) -> Figure | None:
    """Levels in the order of making, days as bands; one factor on its own axis, several under one another.

    Parameters
    ----------
    plan : Plan   None is drawn for a plan without factors, such as swaps.
    """
    if not plan.factors:
        return None
    single = len(plan.factors) == 1
    traces = _one(plan) if single else _several(plan)
    return Figure(
        "In which order are the batches made?",
        f"{plan.design}; seed {plan.seed}",
        traces,
        {
            "height": 400 if single else 230 + 56 * len(plan.factors),
            "margin": {"l": 80, "t": 96},
            "shapes": _bands(plan),
            "annotations": _day_names(plan),
            "xaxis": {
                "title": {"text": "batch"},
                "dtick": 1,
                "range": [0.4, len(plan.batches) + 0.6],
            },
            "yaxis": {"title": {"text": plan.factors[0].head}} if single else _rows_axis(plan),
        },
        _table(plan),
        _summary(plan),
    )


def _one(plan: Plan) -> list[dict]:
    (factor,) = plan.factors
    kinds = [("planned level", False), ("control", True)]
    traces = []
    for index, (name, is_control) in enumerate(kinds):
        found = [
            (batch.order, level)
            for batch in plan.batches
            if (batch.version == plan.control) is is_control and (level := _level(plan, batch, factor)) is not None
        ]
        if found:
            traces.append(_trace(name, [one for one, _ in found], [float(level) for _, level in found], index))
    return traces


def _several(plan: Plan) -> list[dict]:
    """A row for each factor; where a level lies between low and high is told by marker and colour."""
    places: dict[str, list[tuple[int, int]]] = {}
    for row, factor in enumerate(plan.factors):
        for batch in plan.batches:
            level = _level(plan, batch, factor)
            name = "as the control" if level is None else _place(factor, level, plan)
            places.setdefault(name, []).append((batch.order, row))
    ordered = [name for name in (*_PLACES, "as the control") if name in places]
    looks = {name: index for index, name in enumerate((*_PLACES, "as the control"))}
    return [
        _trace(name, [one for one, _ in places[name]], [row for _, row in places[name]], looks[name])
        for name in ordered
    ]


def _place(factor: Factor, level, plan: Plan) -> str:
    levels = [float(one) for version in plan.versions for name, one in version.levels if name == factor.name]
    low, high = min(levels), max(levels)
    share = (float(level) - low) / (high - low) if high > low else 0.5
    for name, least, most in (("low", -1, 0.02), ("below the middle", 0.02, 0.45), ("middle", 0.45, 0.55)):
        if least < share <= most:
            return name
    return "high" if share > 0.98 else "above the middle"


def _trace(name: str, x: list, y: list, index: int) -> dict:
    look = series(index)
    symbols = ("triangle-down", "triangle-down-open", "circle", "triangle-up-open", "triangle-up", "x")
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": x,
        "y": y,
        "marker": {
            "color": look["color"],
            "symbol": symbols[index] if name in (*_PLACES, "as the control") else look["symbol"],
            "size": 12,
            "line": {"width": 1.5, "color": look["color"]},
        },
        "hovertemplate": "batch %{x}: %{y}<extra></extra>",
    }


def _bands(plan: Plan) -> list[dict]:
    """Every second day shaded."""
    return [
        {
            "type": "rect",
            "xref": "x",
            "yref": "paper",
            "x0": first - 0.5,
            "x1": last + 0.5,
            "y0": 0,
            "y1": 1,
            "fillcolor": TOKENS["shade"],
            "line": {"width": 0},
            "layer": "below",
        }
        for number, (_, first, last) in enumerate(_spans(plan))
        if number % 2 == 0
    ]


def _day_names(plan: Plan) -> list[dict]:
    return [
        {
            "xref": "x",
            "x": (first + last) / 2,
            "yref": "paper",
            "y": 1.01,
            "yanchor": "bottom",
            "text": shown(plan.date(day) or f"day {day}"),
            "showarrow": False,
            "font": {"size": 11, "color": TOKENS["quiet"]},
        }
        for day, first, last in _spans(plan)
    ]


def _spans(plan: Plan) -> list[tuple[int, int, int]]:
    """Day with its first and last batch."""
    orders: dict[int, list[int]] = {}
    for batch in plan.batches:
        orders.setdefault(batch.day, []).append(batch.order)
    return [(day, min(found), max(found)) for day, found in orders.items()]


def _rows_axis(plan: Plan) -> dict:
    rows = list(range(len(plan.factors)))
    heads = [factor.name for factor in plan.factors]
    return {"tickvals": rows, "ticktext": [shown(head) for head in heads], "range": [len(rows) - 0.4, -0.6]}


def _level(plan: Plan, batch: PlannedBatch, factor: Factor):
    return dict(plan.version(batch.version).levels).get(factor.name)


def _table(plan: Plan) -> Table:
    rows = []
    for batch in plan.batches:
        levels = [_level(plan, batch, factor) for factor in plan.factors]
        cells = ["as the control" if level is None else plain(level) for level in levels]
        rows.append((str(batch.order), plan.date(batch.day) or str(batch.day), batch.label, *cells))
    columns = ("batch", "day", "what", *(factor.head for factor in plan.factors))
    return Table(columns, rows, numeric=frozenset({0, *range(3, len(columns))}))


def _summary(plan: Plan) -> str:
    days = "; ".join(
        f"{plan.date(day) or f'day {day}'}: batches {first} to {last}" for day, first, last in _spans(plan)
    )
    mixed = [sentence for sentence in plan.power.cannot if " day" in sentence]
    return f"{len(plan.batches)} batches in drawn order, {days}. " + (
        mixed[0] if mixed else "No factor goes with the day."
    )
