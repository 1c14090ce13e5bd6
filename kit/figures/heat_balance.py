"""Will the phases meet hot enough? The heat balance before the pour, vessel by vessel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.figures.figure import Figure, series, stacked
from kit.show import TOKENS, Table

_LEGEND_PX = 20
_ROW_PX = 46


@dataclass(frozen=True, slots=True)
class PourTemperatures:
    """What one vessel does to the temperature of the phases poured into it.

    Parameters
    ----------
    vessel : str                           As told to a reader, with how warm its wall is.
    phases_c : sequence of pairs           Name and temperature of each phase before the pour. [degC]
    mixed_c, low_c, high_c : float         After the pour; the ends are what unknown heat capacities leave open. [degC]
    held_c : float                         After the hold-back water too; None without. [degC]
    measured_c : float                     As read after the pour; None where it was not. [degC]
    """

    vessel: str
    phases_c: Sequence[tuple[str, float]]
    mixed_c: float
    low_c: float
    high_c: float
    held_c: float | None = None
    measured_c: float | None = None


def heat_before_the_pour(
    pours: Sequence[PourTemperatures], setting_c: float | None = None, wanted_c: float = 0.0
) -> Figure | None:
    """Temperatures of phases, mixture and hold-back quench beside the setting temperature; None without any.

    Parameters
    ----------
    pours : sequence of PourTemperatures   One a vessel and case.
    setting_c : float                      Where the mixture sets; None where not known. [degC]
    wanted_c : float                       Margin wanted above it. [degC]
    """
    if not pours:
        return None
    traces = list(_traces(pours))
    below = 84 + _LEGEND_PX * len(traces)
    shapes, words = _setting(setting_c, wanted_c)
    layout = {
        "height": 110 + _ROW_PX * len(pours) + below,
        "margin": {"b": below, "r": 24, "t": 110},
        "shapes": shapes,
        "annotations": words,
        "xaxis": {"title": {"text": "temperature, °C", "standoff": 8}, "range": _reach(pours, setting_c)},
        "yaxis": {
            "tickvals": list(range(len(pours))),
            "ticktext": [stacked(pour.vessel.split(", ")) for pour in pours],
            "range": [len(pours) - 0.4, -0.6],
        },
        "legend": {"orientation": "v", "font": {"size": 12}},
    }
    return Figure(
        "Heat balance before the pour: do the phases meet hot enough?",
        "heat in equals heat out; losses while pouring not counted",
        traces,
        layout,
        _table(pours),
        _summary(pours, setting_c),
    )


def _traces(pours: Sequence[PourTemperatures]):
    phases = list(dict.fromkeys(name for pour in pours for name, _ in pour.phases_c))
    for index, name in enumerate(phases):
        points = [(place, temp) for place, pour in enumerate(pours) for own, temp in pour.phases_c if own == name]
        yield _marks(f"{name} before the pour", points, index, open_mark=True)
    mixed = _marks("mixture, worked out", [(place, pour.mixed_c) for place, pour in enumerate(pours)], len(phases))
    mixed["error_x"] = {
        "type": "data",
        "symmetric": False,
        "array": [pour.high_c - pour.mixed_c for pour in pours],
        "arrayminus": [pour.mixed_c - pour.low_c for pour in pours],
        "color": TOKENS["ink"],
        "thickness": 1.5,
        "width": 6,
    }
    mixed["text"] = [f"{pour.mixed_c:.1f}" for pour in pours]
    yield {**mixed, "mode": "markers+text", "textposition": "top center", "textfont": {"size": 12}}
    for number, (words, values) in enumerate(
        (
            ("after the hold-back water", _known([pour.held_c for pour in pours])),
            ("read after the pour", _known([pour.measured_c for pour in pours])),
        )
    ):
        if values:
            yield _marks(words, values, len(phases) + 1 + number)


def _known(values: Sequence[float | None]) -> list[tuple[int, float]]:
    return [(place, value) for place, value in enumerate(values) if value is not None]


def _marks(name: str, points: Sequence[tuple[int, float]], index: int, open_mark: bool = False) -> dict:
    look = series(index)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [round(temp, 2) for _, temp in points],
        "y": [place for place, _ in points],
        "marker": {
            "symbol": f"{look['symbol']}{'-open' if open_mark else ''}",
            "size": 15 if open_mark else 10,
            "color": look["color"],
            "line": {"width": 2, "color": look["color"]},
        },
    }


def _setting(setting_c: float | None, wanted_c: float) -> tuple[list[dict], list[dict]]:
    if setting_c is None:
        return [], []
    line = {"color": TOKENS["ink"], "width": 1.5, "dash": "dash"}
    across = {"yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    wanted = {"type": "rect", **across, "x0": setting_c, "x1": setting_c + wanted_c, "fillcolor": TOKENS["band"]}
    shapes = [
        {"type": "line", **across, "x0": setting_c, "x1": setting_c, "line": line},
        {**wanted, "line": {"width": 0}},
    ]
    text = f"sets at {setting_c:g} °C; shaded:<br>less than {wanted_c:g} °C above"
    font = {"size": 11, "color": TOKENS["quiet"]}
    place = {"x": setting_c, "xanchor": "left", "align": "left", "yref": "paper", "y": 1, "yanchor": "bottom"}
    return shapes, [{**place, "showarrow": False, "text": text, "font": font}]


def _reach(pours: Sequence[PourTemperatures], setting_c: float | None) -> list[float]:
    temps = [temp for pour in pours for _, temp in pour.phases_c]
    temps += [value for pour in pours for value in (pour.low_c, pour.high_c, pour.held_c, pour.measured_c)]
    known = [value for value in (*temps, setting_c) if value is not None]
    room = 0.1 * (max(known) - min(known) or 10.0)
    return [min(known) - room, max(known) + room]


def _table(pours: Sequence[PourTemperatures]) -> Table:
    rows = [
        (
            pour.vessel,
            ", ".join(f"{name} {temp:g}" for name, temp in pour.phases_c),
            f"{pour.mixed_c:.1f}",
            f"{pour.low_c:.1f} to {pour.high_c:.1f}",
            "–" if pour.held_c is None else f"{pour.held_c:.1f}",
            "–" if pour.measured_c is None else f"{pour.measured_c:g}",
        )
        for pour in pours
    ]
    heads = ("vessel", "phases, °C", "mixture, °C", "range, °C", "after hold-back, °C", "read after the pour, °C")
    return Table(heads, rows, numeric=frozenset({2, 3, 4, 5}))


def _summary(pours: Sequence[PourTemperatures], setting_c: float | None) -> str:
    told = "; ".join(f"{pour.vessel}: {pour.mixed_c:.1f} °C" for pour in pours)
    against = "" if setting_c is None else f"; the mixture sets at {setting_c:g} °C"
    return f"Temperature of the mixture after the pour: {told}{against}."
