"""Do two rated samples differ? How many assessors gave which difference of marks, and the middle shift."""

from __future__ import annotations

from collections import Counter

from kit.figures.figure import Figure, series
from kit.science.ratings import SignedRank
from kit.show import TOKENS, Table
from kit.trials.panel import PanelResult
from kit.trials.panel_rows import marks_of
from kit.trials.wording import plural, signed


def mark_differences(result: PanelResult) -> Figure | None:
    """The differences of marks of two samples, a bar a step; None without a verdict or for anything else.

    Parameters
    ----------
    result : PanelResult
    """
    found = None if result.reason or result.finding is None else result.finding.test
    if not isinstance(found, SignedRank):
        return None
    kept = result.panel
    first, second = kept.samples.values()
    counts = Counter(row[0] - row[1] for row in marks_of(kept) if None not in row)
    reach = max(1, *(abs(int(step)) for step in counts))
    steps = list(range(-reach, reach + 1))
    look = series(0)
    bars = {
        "type": "bar",
        "name": "assessors",
        "x": steps,
        "y": [counts[step] for step in steps],
        "width": 0.6,
        "marker": {"color": look["color"]},
    }
    traces, rows = [bars], [(_step(step), str(counts[step])) for step in steps]
    top = max(counts.values())
    if found.low is not None:
        traces.append(_shift(found, 1.12 * top))
        interval = f"{100 * found.confidence:g} % interval {_step(found.low)} to {_step(found.high)}"
        rows.append((f"middle shift {_step(found.shift)}", interval))
    layout = {
        "height": 330,
        "shapes": [{"type": "line", "x0": 0, "x1": 0, "yref": "paper", "y0": 0, "y1": 1,
                    "line": {"color": TOKENS["quiet"], "width": 1, "dash": "dot"}}],
        "xaxis": {
            "title": {"text": f"{first} less {second}, marks", "standoff": 8},
            "tickvals": steps,
            "ticktext": [_step(step) for step in steps],
            "range": [-reach - 0.6, reach + 0.6],
        },
        "yaxis": {"title": {"text": "assessors"}, "range": [0, 1.3 * top], "tickformat": "d"},
    }  # fmt: skip
    told = f"{found.higher} rated {first} higher, {found.lower} {second}, {found.equal} both the same"
    return Figure(
        f"{kept.question}",
        f"{kept.kind}, {plural(sum(counts.values()), 'assessor')}, risk {kept.alpha}: {result.verdict}",
        traces,
        layout,
        Table(("difference of marks", "assessors"), rows, numeric=frozenset({1})),
        f"{told}: {result.verdict}.",
        ("Marks are an order, not a measure: the middle shift takes the steps of the scale as equal.",),
    )


def _shift(found: SignedRank, height: float) -> dict:
    look = series(1)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": f"middle shift with its {100 * found.confidence:g} % interval",
        "x": [found.shift],
        "y": [height],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [found.high - found.shift],
            "arrayminus": [found.shift - found.low],
            "thickness": 2,
            "color": TOKENS["ink"],
        },
        "marker": {"symbol": look["symbol"], "size": 11, "color": look["color"]},
    }


def _step(value: float) -> str:
    return signed(f"{value:g}") if value else "0"
