"""Did the panel tell them apart, and does the hair? Answers against the number needed, rank sums, tresses."""

from __future__ import annotations

from collections.abc import Sequence

from kit.figures.figure import Figure, series
from kit.science.panel_tests import PanelTest
from kit.science.ranking import Ranking
from kit.show import TOKENS, Table
from kit.trials.combing import Combing
from kit.trials.panel import PanelResult

_ROW_PX = 46


def panel_figure(result: PanelResult) -> Figure | None:
    """What a panel found: answers against the number needed, or rank sums; None without a verdict or for two marks.

    Parameters
    ----------
    result : PanelResult
    """
    if result.reason or result.finding is None:
        return None
    if isinstance(result.finding.test, PanelTest):
        return right_answers(result)
    return rank_sums(result) if isinstance(result.finding.test, Ranking) else None


def right_answers(result: PanelResult) -> Figure:
    """The answers of a forced choice beside what guessing gives and what is needed.

    Parameters
    ----------
    result : PanelResult   With a verdict.
    """
    test, kept = result.finding.test, result.panel
    chance = test.task.chance * test.assessors
    head = "answers for the larger side" if test.task.two_sided else "right answers"
    marks = [("guessing gives", chance), ("needed", float(test.minimum)), (head, float(test.agreeing))]
    traces = [
        _points(name, [value], [kept.name], place, size=15 if place == 2 else 11)
        for place, (name, value) in enumerate(marks)
    ]
    table = Table(
        ("panel", "what", "answers"), [(kept.name, name, f"{value:g}") for name, value in marks], numeric=frozenset({2})
    )
    layout = {
        "height": 230,
        "margin": {"l": 90, "b": 96},
        "shapes": [_upright(float(test.minimum), "solid"), _upright(chance, "dot")],
        "xaxis": {
            "range": [-0.4, test.assessors + 0.4],
            "title": {"text": f"answers of {test.assessors}", "standoff": 8},
        },
        "yaxis": {"type": "category"},
    }
    return Figure(
        f"{kept.question}",
        f"{kept.kind}, {test.assessors} assessors, risk {kept.alpha}: {result.verdict}",
        traces,
        layout,
        table,
        f"{test.agreeing} of {test.assessors} {head}, {test.minimum} needed, {chance:g} by guessing: {result.verdict}.",
    )


def rank_sums(result: PanelResult) -> Figure:
    """Rank sums, each with half the least significant difference to either side: bars that do not meet are apart.

    Parameters
    ----------
    result : PanelResult   Of a ranking, or a rating of three samples or more, with a verdict.
    """
    found, kept = result.finding.test, result.panel
    least = found.least_difference(float(kept.alpha))
    order = sorted(range(found.products), key=lambda place: found.rank_sums[place])
    names = [kept.samples[kept.letters[place]] for place in order]
    sums = [found.rank_sums[place] for place in order]
    trace = _points("rank sum", sums, names, 0)
    trace["error_x"] = {"type": "constant", "value": least / 2, "thickness": 2, "color": TOKENS["ink"]}
    direction = "the smaller, the more" if kept.kind == "ranking" else "the larger, the more"
    rows = [
        (name, f"{total:g}", f"{total - least / 2:.1f}", f"{total + least / 2:.1f}")
        for name, total in zip(names, sums, strict=True)
    ]
    layout = {
        "height": 150 + _ROW_PX * len(names),
        "margin": {"l": 100, "b": 70},
        "showlegend": False,
        "xaxis": {"title": {"text": f"rank sum, {direction}", "standoff": 8}},
        "yaxis": {"type": "category", "categoryorder": "array", "categoryarray": names[::-1]},
    }
    told = ", ".join(f"{name} {total:g}" for name, total in zip(names, sums, strict=True))
    return Figure(
        f"{kept.question}",
        f"{kept.kind}, {found.assessors} assessors; bars of ± half the least significant difference of one pair: where "
        f"two do not meet, the pair is apart, if the whole is: {result.verdict}",
        [trace],
        layout,
        Table(("sample", "rank sum", "bar from", "to"), rows, numeric=frozenset({1, 2, 3})),
        f"Rank sums: {told}; least significant difference {least:.1f}: {result.verdict}.",
    )


def tress_residuals(found: Combing) -> Figure | None:
    """The force left on every tress, and the mean of each batch with its interval; None without a tress.

    Parameters
    ----------
    found : Combing
    """
    if not found.treatments:
        return None
    names = [treatment.name for treatment in found.treatments]
    tresses = [tress for treatment in found.treatments for tress in treatment.tresses]
    ticks = _points(
        "tress", [tress.residual_pct for tress in tresses], [tress.treatment for tress in tresses], 1, size=8
    )
    ticks["marker"] |= {"symbol": "line-ns-open", "line": {"width": 2}}
    means = _points("batch, with its 95 % interval", [item.residual_pct for item in found.treatments], names, 0)
    means["error_x"] = _unequal(
        [None if item.high is None else item.high - item.residual_pct for item in found.treatments],
        [None if item.low is None else item.residual_pct - item.low for item in found.treatments],
    )
    rows = [
        (
            item.name,
            f"{item.residual_pct:.1f}",
            "–" if item.low is None else f"{item.low:.1f}",
            "–" if item.high is None else f"{item.high:.1f}",
            ", ".join(f"{tress.residual_pct:.3g}" for tress in item.tresses),
        )
        for item in found.treatments
    ]
    layout = {
        "height": 170 + _ROW_PX * len(names),
        "margin": {"l": 110, "b": 92},
        "xaxis": {"title": {"text": "force left, % of the same tress untreated", "standoff": 8}},
        "yaxis": {"type": "category", "categoryorder": "array", "categoryarray": names[::-1]},
    }
    heads = ("batch", "force left, %", "low", "high", "tresses")
    told = ", ".join(f"{item.name} {item.residual_pct:.0f} %" for item in found.treatments)
    return Figure(
        "How much of the combing force is left?",
        "wet; each tress its own control; geometric mean over tresses",
        [means, ticks],
        layout,
        Table(heads, rows, numeric=frozenset({1, 2, 3})),
        f"Force left: {told}.",
    )


def _points(name: str, x: Sequence[float], y: Sequence[str], place: int, *, size: int = 12) -> dict:
    look = series(place)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": list(x),
        "y": list(y),
        "marker": {"symbol": look["symbol"], "size": size, "color": look["color"]},
    }


def _unequal(above: Sequence[float | None], below: Sequence[float | None]) -> dict:
    return {"type": "data", "array": list(above), "arrayminus": list(below), "thickness": 2, "color": TOKENS["ink"]}


def _upright(x: float, dash: str) -> dict:
    line = {"color": TOKENS["quiet"], "width": 1, "dash": dash}
    return {"type": "line", "x0": x, "x1": x, "yref": "paper", "y0": 0, "y1": 1, "line": line, "layer": "below"}
