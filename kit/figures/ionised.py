"""How much of each acid keeps its proton at the pH of the product?

The un-ionised form of a preservative acid is the one that works best; the ionised share of an amidoamine is what makes
it a conditioner. Both against pH, with the spec shaded and the pH of the batch marked.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from kit.figures.figure import Figure, series
from kit.show import TOKENS, Table

UNIONISED, PROTONATED = "un-ionised", "protonated"
_INK = TOKENS["ink"]
_MARK_EVERY = 2  # grid points between two markers of a line
_LEGEND_PX = 20


@dataclass(frozen=True)
class FormCurve:
    """Share of one form of a substance against pH.

    Parameters
    ----------
    name : str                    Substance: "benzoic acid".
    form : str                    "un-ionised" for an acid, "protonated" for an amine.
    ph : sequence of float        Rising. [-]
    share_pct : sequence of float At each pH, 0 to 100. [% of the substance in water]
    now_pct : float               At the pH of the batch; None where that is not known. [%]
    """

    name: str
    form: str
    ph: Sequence[float]
    share_pct: Sequence[float]
    now_pct: float | None = None


@dataclass(frozen=True)
class FreeRange:
    """Free un-ionised preservative in the water of a product against pH: a range, since binding is not known.

    Parameters
    ----------
    name : str                        Substance: "benzoic acid".
    ph : sequence of float            Rising. [-]
    high_pct : sequence of float      At each pH, at most. [% of all of it that is in the product]
    low_pct : sequence of float       The same, at least; empty where that is not known. [%]
    now_pct : (low, high)             At the pH of the batch, the low None where it is not known; None without a pH. [%]
    """

    name: str
    ph: Sequence[float]
    high_pct: Sequence[float]
    low_pct: Sequence[float] = ()
    now_pct: tuple[float | None, float] | None = None


@dataclass(frozen=True)
class PhMark:
    """Whose pH is marked in a figure.

    Parameters
    ----------
    subject : str          The formula or batch.
    ph : float             Its pH; None where it is not known. [-]
    how : str              "measured" or "predicted".
    spec : (low, high)     Limits of the spec; None for a side without. [-]
    """

    subject: str
    ph: float | None
    how: str = ""
    spec: tuple[float | None, float | None] = (None, None)

    @property
    def marked(self) -> str:
        """What is marked, in words."""
        return "pH not known" if self.ph is None else f"pH {self.ph:.2f} ({self.how}) marked"


def forms_against_ph(curves: Sequence[FormCurve], mark: PhMark, notes: Sequence[str] = ()) -> Figure:
    """Un-ionised share of acids, and protonated share of amines, against pH.

    Parameters
    ----------
    curves : sequence of FormCurve   One a substance; at least one.
    mark : PhMark                    The formula or batch, its pH and spec.
    notes : sequence of str          Printed under the figure.

    Returns
    -------
    Figure   With a table of every number drawn.
    """
    traces = [_form_line(index, curve) for index, curve in enumerate(curves)]
    if mark.ph is not None:
        traces.append(_now_marks(curves, mark.ph, mark.how))
    return Figure(
        "How much is un-ionised at this pH?",
        f"{mark.subject}, 25 °C, in the water of the product; {mark.marked}",
        traces,
        _layout(curves[0].ph, len(traces), mark, "share of it in the water, %"),
        _form_table(curves, mark.ph),
        _form_summary(curves, mark.ph),
        tuple(notes),
    )


def free_against_ph(ranges: Sequence[FreeRange], mark: PhMark, notes: Sequence[str] = ()) -> Figure:
    """Free un-ionised preservative in water against pH, each a range from its low to its high estimate.

    Parameters
    ----------
    ranges : sequence of FreeRange   One a substance; at least one.
    mark, notes                      As in `forms_against_ph`.
    """
    return Figure(
        "How much of the preservative is free in the water?",
        f"{mark.subject}, 25 °C; % of all in the product, lowest to highest estimate; {mark.marked}",
        [_range_trace(index, one) for index, one in enumerate(ranges)],
        _layout(ranges[0].ph, len(ranges), mark, "free and un-ionised, %"),
        _range_table(ranges, mark.ph),
        _range_summary(ranges, mark.ph),
        tuple(notes),
    )


def _range_table(ranges: Sequence[FreeRange], now_ph: float | None) -> Table:
    columns = ("pH", *(f"{one.name}, {end} %" for one in ranges for end in ("low", "high")))
    rows = [
        (f"{ph:.2f}", *(cell for one in ranges for cell in _cells(one.low_pct[at : at + 1], one.high_pct[at])))
        for at, ph in enumerate(ranges[0].ph)
    ]
    if now_ph is not None:
        now = [_cells([low for low in one.now_pct[:1] if low is not None], one.now_pct[1]) for one in ranges]
        rows.insert(0, (f"{now_ph:.2f}, now", *(cell for cells in now for cell in cells)))
    return Table(columns, rows, numeric=frozenset(range(len(columns))))


def _cells(low: Sequence[float], high: float) -> tuple[str, str]:
    return (percent(low[0]) if len(low) else "not known", percent(high))


def _range_summary(ranges: Sequence[FreeRange], now_ph: float | None) -> str:
    if now_ph is None:
        told = f"Free un-ionised preservative against pH: {', '.join(one.name for one in ranges)}"
    else:
        parts = [
            f"{' to '.join(_cells(one.now_pct[:1], one.now_pct[1]))} % of {one.name}"
            if one.now_pct[0] is not None
            else f"at most {percent(one.now_pct[1])} % of {one.name}"
            for one in ranges
        ]
        told = f"At pH {now_ph:.2f} free and un-ionised in the water: {'; '.join(parts)}"
    return f"{told}. It falls with rising pH; no number here stands for a challenge test."


def _form_line(index: int, curve: FormCurve) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": f"{curve.name}, {curve.form}",
        "x": list(curve.ph),
        "y": list(curve.share_pct),
        "hovertemplate": "pH %{x:.2f}: %{y:.1f} %<extra></extra>",
        "line": {"color": look["color"], "dash": look["dash"], "width": 2},
        # A marker at every second point tells the lines apart in grey without hiding their dashes.
        "marker": {
            "symbol": look["symbol"],
            "size": [0 if at % _MARK_EVERY else 7 for at in range(len(curve.ph))],
            "color": look["color"],
            "line": {"width": 0},
        },
    }


def _now_marks(curves: Sequence[FormCurve], now_ph: float, now_how: str) -> dict:
    known = [curve for curve in curves if curve.now_pct is not None]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": f"at pH {now_ph:.2f} ({now_how})",
        "x": [now_ph for _ in known],
        "y": [curve.now_pct for curve in known],
        "text": [f"{percent(curve.now_pct)} %" for curve in known],
        "textposition": "middle right",
        "textfont": {"size": 12, "color": _INK},
        "hovertext": [f"{curve.name}, {curve.form}: {percent(curve.now_pct)} %" for curve in known],
        "hovertemplate": "%{hovertext}<extra></extra>",
        "marker": {"symbol": "circle-open", "size": 12, "color": _INK, "line": {"width": 2, "color": _INK}},
    }


def _range_trace(index: int, one: FreeRange) -> dict:
    """The filled range, its edges in line style and marker of the series; the upper edge where the low is not known."""
    look = series(index)
    ends = list(zip(one.ph, one.high_pct, strict=True))
    filled = {}
    if len(one.low_pct):
        ends += reversed(list(zip(one.ph, one.low_pct, strict=True)))
        filled = {"fill": "toself", "fillcolor": _faint(look["color"])}
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": f"{one.name}, {'low to high' if filled else 'at most; low end not known'}",
        "x": [x for x, _ in ends],
        "y": [y for _, y in ends],
        **filled,
        "hovertemplate": "pH %{x:.2f}: %{y:.1f} %<extra></extra>",
        "line": {"color": look["color"], "dash": look["dash"], "width": 1.5},
        "marker": {"symbol": look["symbol"], "size": 6, "color": look["color"]},
    }


def _faint(color: str) -> str:
    red, green, blue = (int(color[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.13)"


def _layout(ph: Sequence[float], named: int, mark: PhMark, title: str) -> dict:
    reach = [float(min(ph)), float(max(ph))]
    shapes, notes = spec_columns(mark.spec, reach)
    if mark.ph is not None:
        shapes.append(_upright(mark.ph, {"color": _INK, "width": 1.5, "dash": "dash"}))
    below = 64 + _LEGEND_PX * named
    return {
        "height": 380 + below,
        "margin": {"b": below, "t": 96},
        "shapes": shapes,
        "annotations": notes,
        "xaxis": {"title": {"text": "pH"}, "range": reach, "dtick": 0.5, "tickformat": ".1f"},
        "yaxis": {"title": {"text": title}, "range": [-2, 104]},
        "legend": {"orientation": "v", "font": {"size": 12}},
    }


def spec_columns(spec: tuple[float | None, float | None], reach: Sequence[float]) -> tuple[list[dict], list[dict]]:
    """The spec of a pH shaded from bottom to top, its limits in words above: (shapes, annotations).

    Parameters
    ----------
    spec : (low, high)           Limits; None for a side without. [-]
    reach : sequence of float    The two ends of the pH axis.

    Returns
    -------
    tuple of lists   Shapes and annotations of plotly; both empty without a spec.
    """
    low, high = spec
    if low is None and high is None:
        return [], []
    edges = [value for value in spec if value is not None]
    left, right = reach[0] if low is None else low, reach[1] if high is None else high
    fill = {"fillcolor": TOKENS["band"], "line": {"width": 0}, "layer": "below"}
    shapes = [{"type": "rect", "yref": "paper", "y0": 0, "y1": 1, "x0": left, "x1": right, **fill}]
    shapes += [_upright(value, {"color": TOKENS["series"][0], "width": 1, "dash": "dot"}) for value in edges]
    words = f"spec {' to '.join(f'{value:g}' for value in edges)}"
    if len(edges) == 1:
        words = f"spec: at {'least' if high is None else 'most'} {edges[0]:g}"
    note = {
        "x": min(max((left + right) / 2, reach[0]), reach[1]),
        "yref": "paper",
        "y": 1.0,
        "yanchor": "bottom",
        "showarrow": False,
        "text": "<br>".join(textwrap.wrap(words, 24)),
        "font": {"size": 11, "color": TOKENS["quiet"]},
    }
    return shapes, [note]


def _upright(ph: float, line: dict) -> dict:
    return {"type": "line", "yref": "paper", "y0": 0, "y1": 1, "x0": ph, "x1": ph, "line": line, "layer": "below"}


def _form_table(curves: Sequence[FormCurve], now_ph: float | None) -> Table:
    columns = ("pH", *(f"{curve.name}, {curve.form}, %" for curve in curves))
    rows = [(f"{ph:.2f}", *(percent(curve.share_pct[at]) for curve in curves)) for at, ph in enumerate(curves[0].ph)]
    if now_ph is not None:
        now = [("–" if curve.now_pct is None else percent(curve.now_pct)) for curve in curves]
        rows.insert(0, (f"{now_ph:.2f}, now", *now))
    return Table(columns, rows, numeric=frozenset(range(len(columns))))


def _form_summary(curves: Sequence[FormCurve], now_ph: float | None) -> str:
    if now_ph is None:
        return f"Share un-ionised against pH: {', '.join(curve.name for curve in curves)}."
    parts = [
        f"{percent(curve.now_pct)} % of {curve.name} is {curve.form}" for curve in curves if curve.now_pct is not None
    ]
    return f"At pH {now_ph:.2f}: {'; '.join(parts)}."


def percent(value: float) -> str:
    """A share as it is read: "61", "4.8", "0.36".

    Parameters
    ----------
    value : float   [%]

    Returns
    -------
    str   To two digits, whole numbers above 10.
    """
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"
