"""Where do the planned points lie: two factors against each other, or three lines of a mixture in their triangle?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

from kit.figures.figure import Figure, series, shown
from kit.show import TOKENS, Table
from kit.trials.plan import Plan
from kit.trials.plan_factors import LINE, Factor
from kit.trials.plan_layouts import ARMS, EFFECTS

_HEIGHT = math.sqrt(3) / 2  # of a triangle with sides of 1
_MOST_PAIRS = 3

Spot = tuple[tuple[float, ...], int, bool, str]
"""Levels, batches made there, whether it is the control, its label."""


def plan_points(plan: Plan) -> list[Figure]:
    """The points of a plan; none for a series of one factor or for swaps.

    Parameters
    ----------
    plan : Plan   With two factors or more.
    """
    if plan.judged == ARMS or len(plan.factors) < 2:
        return []
    parts = [factor for factor in plan.factors if plan.judged != EFFECTS and factor.kind == LINE]
    if len(parts) == 3:
        return [_ternary(plan, parts)]
    pairs = list(combinations(plan.factors if plan.judged == EFFECTS else parts, 2))
    return [_pair(plan, first, second) for first, second in pairs[:_MOST_PAIRS]]


def _pair(plan: Plan, first: Factor, second: Factor) -> Figure:
    spots = _spots(plan, (first, second))
    traces = _planned_and_control(spots)
    return Figure(
        f"Where do the points lie: {first.name} against {second.name}?",
        f"{plan.design}; beside a point how many batches are made there",
        traces,
        {"xaxis": {"title": {"text": first.head}}, "yaxis": {"title": {"text": second.head}}},
        _table(spots, (first, second)),
        _summary(plan, spots),
    )


def _ternary(plan: Plan, parts: Sequence[Factor]) -> Figure:
    """A mixture of three in the triangle above their lowest contents."""
    spots = _spots(plan, parts)
    total = sum(spots[0][0])
    lows = [min(spot[0][place] for spot in spots) for place in range(3)]
    free = total - sum(lows)
    placed = [(_on_triangle([(value - low) / free for value, low in zip(spot[0], lows, strict=True)]), *spot[1:])
              for spot in spots]  # fmt: skip
    traces = [_outline(), *_planned_and_control(placed)]
    return Figure(
        f"Where do the points lie in the mixture of {', '.join(factor.name for factor in parts)}?",
        f"{plan.design}; beside a point how many batches are made there",
        traces,
        {
            "height": 620,
            "margin": {"l": 20, "r": 20, "b": 90},
            "annotations": _corners(parts, lows, free),
            "xaxis": {"visible": False, "range": [-0.2, 1.2]},
            "yaxis": {"visible": False, "range": [-0.18, _HEIGHT + 0.16], "scaleanchor": "x"},
        },
        _table(spots, parts),
        _summary(plan, spots),
    )


def _spots(plan: Plan, factors: Sequence[Factor]) -> list[Spot]:
    """Each place once, with the batches made there; what is outside the factors is left out."""
    found: dict[tuple[float, ...], list] = {}
    for batch in plan.batches:
        levels = dict(plan.version(batch.version).levels)
        if all(factor.name in levels for factor in factors):
            place = tuple(float(levels[factor.name]) for factor in factors)
            held = found.setdefault(place, [0, False, batch.label])
            held[0] += 1
            held[1] = held[1] or batch.version == plan.control
    return [(place, *held) for place, held in found.items()]


def _on_triangle(shares: Sequence[float]) -> tuple[float, float]:
    """First component at the top, second at the left, third at the right."""
    top, _, right = shares
    return right + top / 2, top * _HEIGHT


def _outline() -> dict:
    """The triangle with lines at a quarter, a half and three quarters of each component."""
    x, y = [], []
    for ends in [((1, 0, 0), (0, 1, 0)), ((0, 1, 0), (0, 0, 1)), ((0, 0, 1), (1, 0, 0))]:
        for end in ends:
            x.append(_on_triangle(end)[0])
            y.append(_on_triangle(end)[1])
        x.append(None)
        y.append(None)
    for share in (0.25, 0.5, 0.75):
        for place in range(3):
            others = [other for other in range(3) if other != place]
            for other in others:
                point = [0.0, 0.0, 0.0]
                point[place], point[other] = share, 1 - share
                x.append(_on_triangle(point)[0])
                y.append(_on_triangle(point)[1])
            x.append(None)
            y.append(None)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "a quarter, half, three quarters of the way",
        "x": x,
        "y": y,
        "line": {"color": TOKENS["rule"], "width": 1},
        "hoverinfo": "skip",
    }


def _corners(parts: Sequence[Factor], lows: Sequence[float], free: float) -> list[dict]:
    notes = []
    for place, factor in enumerate(parts):
        share = [float(place == other) for other in range(3)]
        x, y = _on_triangle(share)
        unit = "% active" if factor.basis == "active" else "%"
        notes.append(
            {
                "x": x,
                "y": y,
                "xanchor": "center",
                "yanchor": "bottom" if place == 0 else "top",
                "yshift": 6 if place == 0 else -6,
                "text": f"{shown(factor.name)}<br>{lows[place] + free:g} {unit} here<br>{lows[place]:g} opposite",
                "showarrow": False,
                "font": {"size": 11},
            }
        )
    return notes


def _planned_and_control(spots: Sequence[Spot]) -> list[dict]:
    found = {name: [spot for spot in spots if spot[2] is is_control] for name, is_control in
             (("planned", False), ("control", True))}  # fmt: skip
    return [_markers(name, listed, index) for index, (name, listed) in enumerate(found.items()) if listed]


def _markers(name: str, spots: Sequence[Spot], index: int) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": name,
        "x": [spot[0][0] for spot in spots],
        "y": [spot[0][1] for spot in spots],
        "text": [f"  {spot[1]}" for spot in spots],
        "textposition": "middle right",
        "hovertext": [spot[3] for spot in spots],
        "hoverinfo": "text",
        "marker": {
            "color": look["color"],
            "symbol": look["symbol"],
            "size": 13,
            "line": {"color": "#ffffff", "width": 1},
        },
    }


def _table(spots: Sequence[Spot], factors: Sequence[Factor]) -> Table:
    rows = [
        (("control: " if spot[2] and not spot[3].startswith("control") else "") + spot[3], *(f"{value:g}" for value in
         spot[0]), str(spot[1]))
        for spot in spots
    ]  # fmt: skip
    columns = ("point", *(factor.head for factor in factors), "batches")
    return Table(columns, rows, numeric=frozenset(range(1, len(columns))))


def _summary(plan: Plan, spots: Sequence[Spot]) -> str:
    control = [spot for spot in spots if spot[2]]
    told = f"The control, made {control[0][1]} times, is one of them." if control else "The control is none of them."
    return f"{len(spots)} places, {sum(spot[1] for spot in spots)} batches: {plan.design}. {told}"
