"""From an executed notebook to the body of a page: every output shown, or the page refused. Nothing is dropped."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from kit.errors import RunError
from kit.show import escape
from kit.writeup.canonical import INJECTED_TAG
from kit.writeup.cells import source_of, tags_of
from kit.writeup.failures import one_line
from kit.writeup.page_figures import FIGURE, figure_html
from kit.writeup.page_text import Headings, clean_html

_WIDGET = "application/vnd.jupyter.widget"
_LOST_FIGURE = re.compile(r"plotly-graph-div|Plotly\.(?:newPlot|react)\s*\(")
_ANSI = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_PICTURES = ("image/png", "image/jpeg", "image/svg+xml")


class Body:
    """The cells of a notebook as HTML.

    Attributes
    ----------
    html : str       All cells, one after the other; code is not shown.
    figures : int    Figures that were written.
    sections : list  Id and words of each second-level heading.
    """

    def __init__(self, notebook: Mapping[str, Any], title: str) -> None:
        cells = notebook["cells"]
        self._headings = Headings([source_of(cell) for cell in cells if cell["cell_type"] == "markdown"], title)
        self.figures = 0
        own = [cell for cell in cells if INJECTED_TAG not in tags_of(cell)]
        self.html = "\n".join(filter(None, (self._cell(cell, number) for number, cell in enumerate(own, start=1))))
        self.sections = self._headings.sections

    def _cell(self, cell: Mapping[str, Any], number: int) -> str:
        if cell["cell_type"] == "markdown":
            return self._headings.html(source_of(cell)).strip()
        return "\n".join(self._output(output, number) for output in cell.get("outputs", []))

    def _output(self, output: Mapping[str, Any], number: int) -> str:
        kind = output["output_type"]
        if kind == "error":
            what = f"Cell {number} ended in an error: {output.get('ename', '')}: {one_line(output.get('evalue', ''))}"
            raise _refused(what, number, "error_output", "mend the cell and run the template again")
        if kind == "stream":
            return self._stream(output, number)
        return self._shown(output.get("data", {}), number)

    def _stream(self, output: Mapping[str, Any], number: int) -> str:
        text = _joined(output.get("text", ""))
        if output.get("name") == "stderr":
            what = f"Cell {number} wrote a warning or an error message: {one_line(text)}"
            raise _refused(what, number, "stderr", "mend what it warns of; a page shows results only")
        return _preformatted(text)

    def _shown(self, data: Mapping[str, Any], number: int) -> str:
        if any(kind.startswith(_WIDGET) for kind in data):
            what = f"Cell {number} shows a widget, which does nothing outside a notebook"
            raise _refused(what, number, "widget", "show a table or a figure instead")
        if FIGURE in data:
            self.figures += 1
            return figure_html(data[FIGURE], self.figures)
        if "text/html" in data:
            return self._html(_joined(data["text/html"]), number)
        for kind in _PICTURES:
            if kind in data:
                return _picture(_joined(data[kind]), kind, number)
        return self._plain(data, number)

    def _html(self, text: str, number: int) -> str:
        if _LOST_FIGURE.search(text):
            what = (
                f"Cell {number} sent a plotly figure as a script, which a page does not run: the figure would be lost"
            )
            raise _refused(what, number, "figure_lost", "show the figure itself, with the renderer plotly_mimetype")
        return clean_html(text)

    def _plain(self, data: Mapping[str, Any], number: int) -> str:
        readers: dict[str, Callable[[str], str]] = {"text/markdown": self._headings.html, "text/plain": _preformatted}
        for kind, reader in readers.items():
            if kind in data and not set(data) - {"text/markdown", "text/plain", "text/latex"}:
                return reader(_joined(data[kind]))
        what = f"Cell {number} has an output a page cannot show: {', '.join(sorted(data)) or 'nothing'}"
        raise _refused(what, number, "output_kind", "show a table, a plotly figure, a picture or text")


def _refused(what: str, number: int, code: str, mend: str) -> RunError:
    return RunError(what, where=f"cell {number}", mend=mend, code=f"page.{code}")


def _joined(text: Any) -> str:
    return text if isinstance(text, str) else "".join(text)


def _preformatted(text: str) -> str:
    shown = _ANSI.sub("", text).rstrip("\n")
    return f"<pre>{escape(shown)}</pre>" if shown.strip() else ""


def _picture(data: str, kind: str, number: int) -> str:
    if kind == "image/svg+xml":
        import base64

        data = base64.b64encode(data.encode("utf-8")).decode("ascii")
    flat = "".join(data.split())
    return f'<p><img src="data:{kind};base64,{escape(flat)}" alt="Picture from cell {number}"></p>'


def count_figures(notebook: Mapping[str, Any]) -> int:
    """Figures among a notebook's outputs, counted without regard to how a page is written."""
    outputs = [output for cell in notebook["cells"] for output in cell.get("outputs", [])]
    return sum(FIGURE in output.get("data", {}) for output in outputs)
