"""Ends and ticks of a logarithmic axis, with numbers written out."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

_FEW, _MANY = (1, 2, 5), (1, 2, 3, 4, 5, 6, 8)
_NARROW, _WIDE = 0.8, 2.6  # decades
_LEAST = 0.3


def log_axis(values: Iterable[float], title: str) -> dict[str, Any]:
    """A logarithmic axis that holds some values, its scale named in the title.

    Parameters
    ----------
    values : iterable of float   Above zero.
    title : str                  Quantity and unit.

    Returns
    -------
    dict   As plotly takes an axis.
    """
    logs = [math.log10(value) for value in values]
    low, high = min(logs), max(logs)
    room = max(0.06 * (high - low), (_LEAST - (high - low)) / 2, 0.03)
    low, high = low - room, high + room
    ticks = log_ticks(10**low, 10**high)
    return {
        "title": {"text": f"{title} (logarithmic scale)"},
        "type": "log",
        "range": [low, high],
        "tickvals": ticks,
        "ticktext": [written(tick) for tick in ticks],
    }


def log_ticks(low: float, high: float) -> list[float]:
    """Ticks between two values above zero: powers of ten over a wide range, with steps between over a narrow one.

    Parameters
    ----------
    low, high : float   Ends of the axis.

    Returns
    -------
    list of float   Rising.
    """
    decades = math.log10(high / low)
    steps = _MANY if decades < _NARROW else _FEW if decades < _WIDE else (1,)
    tens = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return [tick for ten in tens for step in steps if low <= (tick := float(f"{step}e{ten}")) <= high]


def written(value: float) -> str:
    """A number without an exponent, thousands set apart: 0.05, 12, 20 000."""
    return f"{value:,.0f}".replace(",", " ") if value >= 1000 else f"{value:g}"
