"""The numbers of a figure as a table: those the figure carries for it, else read from its traces."""

from __future__ import annotations

import base64
import math
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from kit.errors import RunError
from kit.show import escape

# Letters of plotly's packed arrays and of the standard library's `struct`; packed data are little-endian.
_DTYPES = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I", "f4": "f", "f8": "d", "i8": "q", "u8": "Q"}
_FIELDS = ("labels", "values", "x", "y", "z", "a", "b", "c", "open", "high", "low", "close")
_NAMES = {"labels": "Label", "values": "Value"}
_TAGS = re.compile(r"</?(?:br|b|i|em|strong|sub|sup|span|a)\b[^>]*>", re.IGNORECASE)


@dataclass(frozen=True)
class Numbers:
    """A table of a figure's numbers, as text ready to show."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""

    def html(self, label: str) -> str:
        """The table as HTML; a column of nothing but numbers is set flush right."""
        right = [
            bool(self.rows) and all(_is_numeric(row[index]) for row in self.rows) for index in range(len(self.columns))
        ]
        head = "".join(
            _cell("th", name, flush, ' scope="col"') for name, flush in zip(self.columns, right, strict=True)
        )
        body = "".join(self._row(row, right) for row in self.rows)
        note = f'<p class="note">{escape(self.note)}</p>' if self.note else ""
        return (
            f'<div class="wide" role="group" tabindex="0" aria-label="{escape(label)}"><table>'
            f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>{note}"
        )

    def _row(self, row: tuple[str, ...], right: list[bool]) -> str:
        cells = [_cell("th", row[0], right[0], ' scope="row"')]
        cells += [_cell("td", text, flush) for text, flush in zip(row[1:], right[1:], strict=True)]
        return f"<tr>{''.join(cells)}</tr>"


def _cell(tag: str, text: str, flush: bool, scope: str = "") -> str:
    flushed = ' class="r"' if flush else ""
    return f"<{tag}{scope}{flushed}>{escape(text)}</{tag}>"


def _is_numeric(text: str) -> bool:
    if text in ("", "–"):  # a gap does not make a column of numbers one of words
        return True
    try:
        float(text.replace("−", "-").removesuffix("%"))
    except ValueError:
        return False
    return True


def numbers_of(figure: Mapping[str, Any], name: str) -> Numbers:
    """The numbers of a figure.

    Parameters
    ----------
    figure : mapping   Plotly JSON; `layout.meta.kit` may carry "columns", "rows" and "note".
    name : str         What to call the figure in an error.

    Raises
    ------
    RunError   `page.figure_numbers`: the carried table is not a table, or there is nothing to tabulate.
    """
    carried = kit_meta(figure)
    if "rows" in carried or "columns" in carried:
        return _carried(carried, name)
    found = _from_traces(figure)
    if not found.rows:
        raise RunError(
            f"{name} has no numbers that could be shown as a table",
            mend='put {"columns": [...], "rows": [...]} into its layout.meta["kit"]',
            code="page.figure_numbers",
        )
    return found


def kit_meta(figure: Mapping[str, Any]) -> Mapping[str, Any]:
    """What a figure carries for the page in `layout.meta.kit`, empty where it carries nothing."""
    meta = figure.get("layout", {}).get("meta")
    own = meta.get("kit") if isinstance(meta, Mapping) else None
    return own if isinstance(own, Mapping) else {}


def _carried(carried: Mapping[str, Any], name: str) -> Numbers:
    columns, rows = carried.get("columns"), carried.get("rows")
    fits = isinstance(columns, list) and isinstance(rows, list) and bool(columns)
    if not fits or not all(isinstance(row, list) and len(row) == len(columns) for row in rows):
        raise RunError(
            f"The table {name} carries for its numbers does not fit together",
            allowed="a list of columns, and rows that are lists of the same length",
            code="page.figure_numbers",
        )
    table = tuple(tuple(show_value(value) for value in row) for row in rows)
    return Numbers(tuple(map(str, columns)), table, str(carried.get("note") or ""))


def _from_traces(figure: Mapping[str, Any]) -> Numbers:
    """Side by side where all traces have y over the same x; else one row a point, with whatever fields there are."""
    points = [(_series(trace, index), _points(trace)) for index, trace in enumerate(figure.get("data", []))]
    if len(points) > 1 and all(set(fields) == {"x", "y"} and fields["x"] == points[0][1]["x"] for _, fields in points):
        return _side_by_side(points, figure)
    names = list(dict.fromkeys(field for _, fields in points for field in fields))
    rows = []
    for series, fields in points:
        for position in range(max(map(len, fields.values()), default=0)):
            rows.append((series, *(show_value(_at(fields.get(name, []), position)) for name in names)))
    heads = ("Series", *(_head(name, figure) for name in names))
    if len(points) == 1:
        return Numbers(heads[1:], tuple(row[1:] for row in rows))
    return Numbers(heads, tuple(rows))


def _side_by_side(points: list[tuple[str, dict[str, list[Any]]]], figure: Mapping[str, Any]) -> Numbers:
    across = points[0][1]["x"]
    columns = [across, *(fields["y"] for _, fields in points)]
    rows = tuple(tuple(show_value(_at(column, position)) for column in columns) for position in range(len(across)))
    measured = _axis_title(figure.get("layout", {}), "y")
    note = f"In the columns of the series: {measured}." if measured else ""
    return Numbers((_head("x", figure), *(series for series, _ in points)), rows, note)


def _series(trace: Mapping[str, Any], index: int) -> str:
    return str(trace.get("name") or f"Series {index + 1}")


def _at(values: list[Any], position: int) -> Any:
    return values[position] if position < len(values) else None


def _points(trace: Mapping[str, Any]) -> dict[str, list[Any]]:
    fields = {field: unpack(trace[field]) for field in _FIELDS if trace.get(field) is not None}
    if any(isinstance(value, list) for value in fields.get("z", [])):
        return _grid(fields)
    if trace.get("type", "scatter") in ("scatter", "scattergl", "bar") and not {"x", "y"} <= set(fields):
        known = "y" if "y" in fields else "x"
        if known in fields:  # plotly counts from 0 where one of the two is not given
            counted = list(range(len(fields[known])))
            fields = {"x": fields.get("x", counted), "y": fields.get("y", counted)}
    for axis in ("x", "y"):
        error = trace.get(f"error_{axis}")
        if isinstance(error, Mapping) and error.get("array") is not None and error.get("visible", True):
            fields[f"error_{axis}"] = unpack(error["array"])
            if error.get("arrayminus") is not None:
                fields[f"error_{axis}_minus"] = unpack(error["arrayminus"])
    return {field: values for field, values in fields.items() if isinstance(values, list)}


def _grid(fields: dict[str, Any]) -> dict[str, list[Any]]:
    """A matrix z over x and y as one row a cell."""
    z = fields["z"]
    width = max(map(len, z), default=0)
    across = fields.get("x") or list(range(width))
    down = fields.get("y") or list(range(len(z)))
    cells = [(_at(across, i), _at(down, j), value) for j, line in enumerate(z) for i, value in enumerate(line)]
    return {"x": [x for x, _, _ in cells], "y": [y for _, y, _ in cells], "z": [value for _, _, value in cells]}


def _head(field: str, figure: Mapping[str, Any]) -> str:
    layout = figure.get("layout", {})
    if field in ("x", "y"):
        return _axis_title(layout, field) or field
    if field.startswith("error_"):
        axis = field[6]
        way = " (below)" if field.endswith("minus") else ""
        return f"± {_axis_title(layout, axis) or axis}{way}"
    return _NAMES.get(field, field)


def _axis_title(layout: Mapping[str, Any], axis: str) -> str:
    title = (layout.get(f"{axis}axis") or {}).get("title")
    text = title.get("text") if isinstance(title, Mapping) else title
    return plain(text or "")


def plain(text: str) -> str:
    """A figure's text without the few tags plotly understands.

    Examples
    --------
    >>> plain("Viscosity<br><b>mPa s</b>")
    'Viscosity mPa s'
    """
    return " ".join(_TAGS.sub(" ", str(text)).split())


def unpack(values: Any) -> Any:
    """A trace's field as a list, or as a list of lists; plotly's packed form {"dtype", "bdata", "shape"} is decoded.

    Examples
    --------
    >>> unpack({"dtype": "i2", "bdata": "AQACAAMABAA=", "shape": "2, 2"})
    [[1, 2], [3, 4]]
    """
    if not isinstance(values, Mapping):
        if isinstance(values, list):
            return [unpack(item) if isinstance(item, Mapping) else item for item in values]
        return values
    letter = _DTYPES[str(values["dtype"]).lstrip("<|=")]
    raw = base64.b64decode(values["bdata"])
    count = len(raw) // struct.calcsize(f"<{letter}")
    flat = list(struct.unpack(f"<{count}{letter}", raw))
    shape = [int(size) for size in str(values.get("shape", count)).split(",")]
    if len(shape) < 2:
        return flat
    return [flat[start : start + shape[-1]] for start in range(0, count, shape[-1])]


def show_value(value: Any) -> str:
    """One value as text: at most six significant digits, no exponent up to a million, a dash for none.

    Examples
    --------
    >>> [show_value(value) for value in (4.590000000000001, 19000.0, None, "24 h", 1234567)]
    ['4.59', '19000', '–', '24 h', '1234567']
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e9 else f"{value:.6g}"
    if isinstance(value, list):
        return ", ".join(map(show_value, value))
    return str(value)
