"""How far did the batch come out from what was meant?"""

from __future__ import annotations

from decimal import Decimal

from kit.figures.figure import Figure, series
from kit.formula.composition import show_pct
from kit.labbook.view import BatchView
from kit.show import Table


def meant_and_made(batch: BatchView) -> Figure:
    """Difference of every line between made and meant. [percentage points]"""
    meant, made = batch.composition("meant"), batch.composition("made")
    materials = {material.key: material for composition in (meant, made) for material in composition.materials()}
    rows = [(material.name, meant.pct(key), made.pct(key)) for key, material in materials.items()]
    rows.sort(key=lambda row: (row[2] - row[1], row[0]))
    gaps = [float(after - before) for _, before, after in rows]
    look = series(0)
    trace = {
        "type": "bar",
        "orientation": "h",
        "x": gaps,
        "y": [name for name, _, _ in rows],
        "name": "made less meant",
        "marker": {"color": look["color"], "line": {"color": "#1f2328", "width": 0.5}},
        "text": [f"{gap:+.2f}" if abs(gap) >= 0.005 else "0.00" for gap in gaps],
        "textposition": "outside",
        "cliponaxis": False,
    }
    reach = max([abs(gap) for gap in gaps] + [0.05]) * 1.3
    layout = {
        "height": 150 + 22 * len(rows),
        "showlegend": False,
        "margin": {"b": 56},
        "yaxis": {"title": {"text": ""}},
        "xaxis": {
            "title": {"text": "made less meant, percentage points"},
            "range": [-reach, reach],
            "zeroline": True,
            "zerolinecolor": "#59636e",
        },
    }
    table = Table(
        ("material", "meant, % w/w", "made, % w/w", "difference, pp"),
        [(name, show_pct(before), show_pct(after), f"{after - before:+.3f}") for name, before, after in reversed(rows)],
        numeric=frozenset({1, 2, 3}),
    )
    widest = max(rows, key=lambda row: abs(row[2] - row[1])) if rows else ("", Decimal(0), Decimal(0))
    return Figure(
        f"{batch.name}: what was made against what was meant",
        f"batch of {batch.batch_g} g; mass balance of all weighings, losses and adjusters",
        [trace],
        layout,
        table,
        f"The largest difference is {widest[0]}: {show_pct(widest[1])} % meant, {show_pct(widest[2])} % made.",
    )
