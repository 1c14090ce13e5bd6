"""How the kit shows things: escaping, tables and the theme. The only place that turns typed text into HTML.

A table carries its own inline style, so that it survives in a notebook, in a page and in a foreign document,
and it prints as aligned text in a terminal.
"""

from __future__ import annotations

import hashlib
import html
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields

# Eight hues that stay apart for colour-blind readers (Okabe and Ito 2008, "Color universal design"); lines and
# markers differ in shape as well, so that a print in grey can still be read.
TOKENS = {
    "series": ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#6A51A3", "#000000"),
    "symbols": ("circle", "square", "diamond", "triangle-up", "triangle-down", "cross", "x", "star"),
    "dashes": ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "solid", "dash"),
    "ink": "#1f2328",
    "paper": "#ffffff",  # tables and figures keep their own ground, so that they read the same in a dark notebook
    "quiet": "#59636e",
    "rule": "#c8ced5",
    "shade": "#f3f5f7",
    "band": "rgba(0,114,178,0.12)",
    "font": "system-ui, -apple-system, 'Segoe UI', 'Liberation Sans', Arial, sans-serif",
}

# A tone never stands alone: the word in the cell says the same.
_TONES = {
    "pass": "color:#0b5d3b;font-weight:600",
    "fail": "color:#9a1c13;font-weight:600",
    "flag": "color:#7a4a00;font-weight:600",
    "quiet": f"color:{TOKENS['quiet']}",
    "strong": "font-weight:600",
    "": "",
}


def escape(text: object) -> str:
    """Typed text made safe for HTML, quotes included. Nothing reaches a page without it."""
    return html.escape(str(text), quote=True)


_ROW = '<tr style="background:transparent">'  # a notebook's own stripes would shine through
_SHORT = 12  # a batch name, a code word; the first column may hold a recorded time of 23


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text and a tone ("pass", "fail", "flag", "quiet", "strong") that underlines the word."""

    text: str
    tone: str = ""

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Table:
    """A table of text that shows itself in a notebook, in a page and in a terminal.

    Parameters
    ----------
    columns : sequence of str       Column heads, units included.
    rows : sequence of sequences    Cells as text, `Cell` or anything with `str()`.
    title, note : str               Caption above and remark below.
    numeric : set of int            Indices of columns set flush right.
    key : str                       Fixed id of the HTML element; made from the contents when empty.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[object]]
    title: str = ""
    note: str = ""
    numeric: frozenset[int] = field(default_factory=frozenset)
    key: str = ""

    def _repr_html_(self) -> str:
        return self.html()

    def __str__(self) -> str:
        return self.text()

    __repr__ = __str__

    def html(self) -> str:
        """The table as an HTML fragment with inline style."""
        ident = self.key or "t-" + hashlib.sha256(self.text().encode()).hexdigest()[:10]
        head = "".join(self._th(name, index) for index, name in enumerate(self.columns))
        body = "".join(
            f"{_ROW}{''.join(self._td(cell, index) for index, cell in enumerate(row))}</tr>" for row in self.rows
        )
        caption = (
            f'<caption style="text-align:left;font-weight:600;padding:0 0 .35em">{escape(self.title)}</caption>'
            if self.title
            else ""
        )
        note = (
            f'<p style="margin:.3em 0 0;color:{TOKENS["quiet"]};white-space:pre-wrap">{escape(self.note)}</p>'
            if self.note
            else ""
        )
        return (
            f'<div class="kit-table" id="{escape(ident)}" style="font-family:{TOKENS["font"]};font-size:.9rem;'
            f'overflow-x:auto;margin:.6em 0 1em;background:{TOKENS["paper"]};color:{TOKENS["ink"]}">'
            f'<table style="border-collapse:collapse;color:{TOKENS["ink"]}">{caption}'
            f"<thead>{_ROW}{head}</tr></thead><tbody>{body}</tbody></table>{note}</div>"
        )

    def text(self) -> str:
        """The table as aligned plain text."""
        grid = [*_split_lines(self.columns), *(line for row in self.rows for line in _split_lines(row))]
        widths = [max(len(row[index]) for row in grid) for index in range(len(self.columns))]
        lines = [self._line(row, widths) for row in grid]
        lines.insert(len(_split_lines(self.columns)), "  ".join("-" * width for width in widths))
        return "\n".join([*([self.title] if self.title else []), *lines, *([self.note] if self.note else [])])

    def _line(self, row: Sequence[str], widths: Sequence[int]) -> str:
        cells = (
            text.rjust(width) if index in self.numeric else text.ljust(width)
            for index, (text, width) in enumerate(zip(row, widths, strict=True))
        )
        return "  ".join(cells).rstrip()

    def _white_space(self, cell: object, index: int) -> str:
        """Numbers with their unit, names and times are not broken over two lines; longer text is."""
        longest = max(len(line) for line in str(cell).split("\n"))
        keeps = longest <= (32 if index in self.numeric else 24 if index == 0 else _SHORT)
        return "pre" if keeps else "pre-line"

    def _align(self, index: int) -> str:
        return "text-align:right;font-variant-numeric:tabular-nums" if index in self.numeric else "text-align:left"

    def _th(self, name: str, index: int) -> str:
        return (
            f'<th scope="col" style="{self._align(index)};padding:.25em .7em;border-bottom:2px solid {TOKENS["rule"]};'
            f'vertical-align:bottom">{escape(name)}</th>'
        )

    def _td(self, cell: object, index: int) -> str:
        shown, tone = _toned(cell)
        style = (
            f"{self._align(index)};padding:.25em .7em;border-bottom:1px solid {TOKENS['rule']};vertical-align:top;"
            f"white-space:{self._white_space(cell, index)};{tone}"
        ).rstrip(";")
        return (
            f'<th scope="row" style="font-weight:400;{style}">{shown}</th>'
            if index == 0
            else f'<td style="{style}">{shown}</td>'
        )


def _toned(cell: object) -> tuple[str, str]:
    """A cell as HTML and the style of all of it: of "PASS: mean 4.59 ..." the verdict alone has the tone."""
    tone = _TONES[cell.tone] if isinstance(cell, Cell) else ""
    verdict, mark, rest = str(cell).partition(":")
    if not (tone and mark and verdict.isupper()):
        return escape(cell), tone
    return f'<span style="{tone}">{escape(verdict)}:</span>{escape(rest)}', ""


def _split_lines(row: Sequence[object]) -> list[list[str]]:
    """A row of cells as rows of single lines, the short cells padded below."""
    cells = [str(cell).split("\n") for cell in row]
    height = max((len(cell) for cell in cells), default=1)
    return [[cell[line] if line < len(cell) else "" for cell in cells] for line in range(height)]


class Worded:
    """What tells itself in its own `words`, in a notebook, on a page and in a terminal; dataclasses with repr=False."""

    __slots__ = ()

    def __str__(self) -> str:
        return str(self.words() if callable(self.words) else self.words)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        return paragraph(self)


_UNITS = {"g": "g", "c": "degC", "h": "h", "s": "s", "pct": "%", "mpa_s": "mPa.s", "mv": "mV", "w": "W", "min": "min"}
_MOST_TOLD, _LONGEST = 3, 240  # of several things, and letters of one


class Fielded:
    """What is shown by its fields, those that hold something, a row each, below its kind; dataclasses: repr=False."""

    __slots__ = ()

    def _shown(self) -> Table:
        held = ((field.name, _told(getattr(self, field.name))) for field in fields(self) if field.repr)
        rows = [(_label(name), text) for name, text in held if text]
        kind = re.sub(r"(?<!^)([A-Z])", r" \1", type(self).__name__.removesuffix("View")).lower()
        return Table(("item", "entry"), rows, title=f"{kind[:1].upper()}{kind[1:]}")

    def __str__(self) -> str:
        table = self._shown()
        return "\n".join([table.title, *(f"  {label}: {text}" for label, text in table.rows)])

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        return self._shown()._repr_html_()


def _label(name: str) -> str:
    """The name of a field in words, its unit behind it: "mass_g" is "mass, g"."""
    for end, unit in _UNITS.items():
        stem = name.removesuffix(f"_{end}")
        if stem != name and not stem.endswith("_per"):
            return f"{stem.replace('_', ' ')}, {unit}"
    return name.replace("_", " ")


def _told(value: object) -> str:
    """What a field holds in a line; empty where it holds nothing."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, Mapping):
        return _several([f"{_told(key)}: {_told(one)}" for key, one in value.items()])
    if isinstance(value, tuple | list | set | frozenset):
        return _several([_told(one) for one in value])
    if value is None or (hasattr(type(value).__repr__, "__wrapped__") and type(value).__str__ is object.__str__):
        return ""  # nothing, or a dataclass that cannot tell itself
    lines = str(value).strip().splitlines() or [""]
    told = lines[0] if len(lines) < 2 else f"{lines[0].rstrip(':')} ..."
    return told if len(told) <= _LONGEST else f"{told[:_LONGEST]} ..."


def _several(told: Sequence[str]) -> str:
    """Several things in a line: the first few where there are many."""
    more = len(told) - _MOST_TOLD if sum(map(len, told)) > _LONGEST else 0
    first = "; ".join(told[:_MOST_TOLD] if more > 0 else told)
    return f"{first}; {more} more" if more > 0 else first


@dataclass(frozen=True)
class Block:
    """Several pieces shown one under the other: tables, paragraphs and lists of plain text."""

    parts: tuple[object, ...]

    def _repr_html_(self) -> str:
        return "".join(part._repr_html_() if hasattr(part, "_repr_html_") else paragraph(part) for part in self.parts)

    def __str__(self) -> str:
        return "\n\n".join(str(part) for part in self.parts)

    __repr__ = __str__


def paragraph(text: object) -> str:
    """Plain typed text as an HTML paragraph; line breaks are kept, markup is shown and not obeyed."""
    return (
        f'<p style="font-family:{TOKENS["font"]};white-space:pre-wrap;margin:.4em 0;max-width:48em">{escape(text)}</p>'
    )


@dataclass(frozen=True)
class Listing:
    """A titled list of plain sentences."""

    title: str
    items: tuple[str, ...]

    def _repr_html_(self) -> str:
        style = f"font-family:{TOKENS['font']};max-width:48em"
        items = "".join(f'<li style="margin:.15em 0;white-space:pre-wrap">{escape(item)}</li>' for item in self.items)
        title = f'<p style="{style};margin:.8em 0 .2em;font-weight:600">{escape(self.title)}</p>'
        return f'{title}<ul style="{style};margin:.2em 0 .6em;padding-left:1.4em">{items}</ul>'

    def __str__(self) -> str:
        return "\n".join((self.title, *(f"- {item}" for item in self.items)))

    __repr__ = __str__


def listing(title: str, items: Iterable[object]) -> Listing:
    """A titled list of plain sentences."""
    return Listing(title, tuple(map(str, items)))
