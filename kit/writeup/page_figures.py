"""Figures in a page: their JSON in an island the page's own script draws from, their caption, their numbers."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from kit.errors import RunError
from kit.figures.figure import shown
from kit.show import escape
from kit.writeup.figure_numbers import kit_meta, numbers_of, plain

PLOTLY_JS_VERSION = "4.1.1"
FIGURE = "application/vnd.plotly.v1+json"
DRAWN = (
    "bar", "box", "contour", "heatmap", "histogram", "histogram2d", "histogram2dcontour", "image", "pie", "scatter",
    "scatterternary", "violin",
)  # fmt: skip
_SAME = {"scattergl": "scatter"}  # the same chart by another way of drawing
_HEIGHT, _TOP = 420, 30
_SEPARATORS = re.compile("[<>&\u2028\u2029]")


@dataclass(frozen=True)
class Bundle:
    """The drawing library as a page carries it: packed text and the hash by which the page lets it run."""

    packed: str
    script_hash: str


@lru_cache(maxsize=1)
def plotly_bundle() -> Bundle:
    """The bundled plotly.js (cartesian charts), gzip in base64, with the policy hash of its text."""
    packed = files("kit.data").joinpath(f"plotly-cartesian-{PLOTLY_JS_VERSION}.min.js.gz").read_bytes()
    return Bundle(base64.b64encode(packed).decode("ascii"), script_hash(gzip.decompress(packed)))


def script_hash(text: bytes) -> str:
    """The hash of a script as a content security policy writes it."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text).digest()).decode('ascii')}'"


def island(value: Any, attributes: str) -> str:
    """A value as JSON in a data block that no parser can leave early."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    safe = _SEPARATORS.sub(lambda match: f"\\u{ord(match[0]):04x}", text)
    return f'<script type="application/json" {attributes}>{safe}</script>'


def figure_html(figure: Mapping[str, Any], number: int) -> str:
    """One figure: the place it is drawn in, its caption, its numbers, its island.

    Raises
    ------
    RunError   `page.figure_kind`: a chart the bundled library cannot draw; `page.figure_remote`: a picture in it that
               would have to be fetched; `page.figure_numbers`: no table could be made.
    """
    name = f"Figure {number}"
    data = [_drawable(trace, name) for trace in figure.get("data", [])]
    layout = dict(figure.get("layout", {}))
    _refuse_remote(data, layout, name)
    meta = kit_meta(figure)
    title = str(meta.get("title") or plain(_title(layout)) or "")
    numbers = numbers_of(figure, name)
    label = f"Numbers of figure {number}"
    _prepare(layout, title, str(meta.get("subtitle") or ""))
    height = layout["height"]
    return (
        f'<figure><div class="figure-top"><div class="plot" id="fig-{number}" role="img" '
        f'aria-label="{escape(_summary(meta, title, data, number))}" style="min-height:{height:g}px"></div>'
        f"<figcaption><b>{name}.</b> {escape(title)}{_method(meta)}</figcaption>{_footnotes(meta)}</div>"
        f'<details class="numbers" open><summary>{label}</summary>{numbers.html(label)}</details></figure>'
        + island({"data": _plain_json(data), "layout": _plain_json(layout)}, f'data-figure="fig-{number}"')
    )


def _drawable(trace: Mapping[str, Any], name: str) -> dict[str, Any]:
    kind = trace.get("type", "scatter")
    kind = _SAME.get(kind, kind)
    if kind not in DRAWN:
        raise RunError(
            f'{name} is a chart of the type "{kind}", which a page cannot draw',
            allowed=", ".join(DRAWN),
            code="page.figure_kind",
        )
    return {**trace, "type": kind}


def _refuse_remote(data: list[dict[str, Any]], layout: Mapping[str, Any], name: str) -> None:
    holders = [*layout.get("images", []), *(trace for trace in data if trace["type"] == "image")]
    for holder in holders:
        source = holder.get("source")
        if source and not str(source).startswith("data:image/"):
            raise RunError(
                f"{name} holds a picture from elsewhere: {str(source)[:80]}",
                mend="put the picture itself into the figure, as a data: address",
                code="page.figure_remote",
            )


def _title(layout: Mapping[str, Any]) -> str:
    title = layout.get("title")
    return (title.get("text") if isinstance(title, Mapping) else title) or ""


def _method(meta: Mapping[str, Any]) -> str:
    """The method line under the title, where the figure carries one."""
    words = str(meta.get("subtitle") or "")
    return f'<br><span class="method">{escape(words)}</span>' if words else ""


def _footnotes(meta: Mapping[str, Any]) -> str:
    lines = meta.get("footnotes")
    if not isinstance(lines, list) or not lines:
        return ""
    return f'<ul class="footnotes">{"".join(f"<li>{escape(line)}</li>" for line in lines)}</ul>'


def _prepare(layout: dict[str, Any], title: str, subtitle: str) -> None:
    """Fit the layout to the page: as wide as there is room, and no title twice."""
    layout.pop("width", None)
    layout["autosize"] = True
    layout["height"] = layout.get("height") or _HEIGHT
    if plain(_title(layout)) in (title, " ".join(shown(f"{title} {subtitle}").split())):  # the caption says it
        layout.pop("title", None)
        if subtitle and "t" in (layout.get("margin") or {}):
            layout["height"] -= layout["margin"]["t"] - _TOP
            layout["margin"] = {**layout["margin"], "t": _TOP}
    if not _title(layout):
        layout["margin"] = {"t": _TOP, **(layout.get("margin") or {})}
    if isinstance(layout.get("meta"), Mapping):
        layout["meta"] = {key: value for key, value in layout["meta"].items() if key != "kit"}


def _summary(meta: Mapping[str, Any], title: str, data: list[dict[str, Any]], number: int) -> str:
    if meta.get("summary"):
        return str(meta["summary"])
    names = [str(trace["name"]) for trace in data if trace.get("name")]
    said = f"Figure {number}: {title or 'chart'}."
    shown = f" Shows {', '.join(names[:8])}{' and more' if len(names) > 8 else ''}." if names else ""
    return f"{said}{shown} The numbers are in the table below it."


def _plain_json(value: Any) -> Any:
    """The value with what JSON cannot say, a number that is none, as null."""
    if isinstance(value, Mapping):
        return {str(key): _plain_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain_json(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
