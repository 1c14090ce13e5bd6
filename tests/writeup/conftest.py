"""For the tests of write-ups: toy templates as a lab would write them, the demo written up once, a reader of pages."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest

import kit
from kit.writeup.write_up import publish

SOURCE = {"name": "source", "type": "path", "required": True, "help": "lab book or snapshot"}
TRIAL = {"name": "trial", "type": "text", "required": True, "help": "such as LIN-03"}
KERNELSPEC = {"display_name": "Python 3", "language": "python", "name": "python3"}


def code(source: str, *tags: str) -> dict:
    metadata = {"tags": list(tags)} if tags else {}
    return {"cell_type": "code", "source": source, "metadata": metadata, "outputs": [], "execution_count": None}


def markdown(source: str) -> dict:
    return {"cell_type": "markdown", "source": source, "metadata": {}}


def notebook(cells: list[dict], parameters: list[dict], name: str = "toy", **declared) -> dict:
    declared = {"template": name, "title": "Toy", "question": "Does it run?", "parameters": parameters, **declared}
    numbered = [{"id": f"own-{number}", **cell} for number, cell in enumerate(cells, start=1)]
    metadata = {"kernelspec": KERNELSPEC, "kit": declared}
    return {"cells": numbered, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}


class Toys:
    """Writes toy templates into a folder. Cells 1 and 2 are a heading and the parameters; the given ones follow."""

    code = staticmethod(code)
    markdown = staticmethod(markdown)
    notebook = staticmethod(notebook)
    source = SOURCE
    trial = TRIAL

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def template(self, *cells: str | dict, name: str = "toy", extra: tuple[dict, ...] = (), assigned: str = "") -> Path:
        own = [cell if isinstance(cell, dict) else code(cell) for cell in cells]
        first = [markdown("# Toy\n\nText."), code(f'source = "book"\ntrial = "LIN-01"\n{assigned}', "parameters")]
        path = self.folder / f"{name}.ipynb"
        path.write_text(json.dumps(notebook([*first, *own], [SOURCE, TRIAL, *extra], name)), encoding="utf-8")
        return path


@pytest.fixture
def short_folder() -> Iterator[Path]:
    """An empty folder with a name short enough for a socket in it, which that of `tmp_path` need not be."""
    with tempfile.TemporaryDirectory(prefix="s-") as name:
        yield Path(name)


@pytest.fixture
def toys(tmp_path: Path) -> Toys:
    return Toys(tmp_path)


@pytest.fixture(scope="session")
def session_toys(tmp_path_factory: pytest.TempPathFactory) -> Toys:
    return Toys(tmp_path_factory.mktemp("toys"))


# One template with everything a write-up has: six figures of different kinds, six tables, text, typed notes.
FIGURES = """
import json
import pandas as pd
import plotly.graph_objects as go
from IPython.display import HTML, Markdown, display


def show(figure, **kit):
    figure.update_layout(meta={"kit": kit} if kit else None, template="plotly_white")
    display({"application/vnd.plotly.v1+json": json.loads(figure.to_json())}, raw=True)
"""
SIX = [
    'show(go.Figure([go.Scatter(x=[1, 24, 72], y=[9000, 19000, 21000], name="LIN-03", mode="lines+markers"),'
    ' go.Scatter(x=[1, 24, 72], y=[8500, 18200, 20400], name="LIN-06", mode="lines+markers")],'
    ' layout={"xaxis": {"title": {"text": "Age, h"}}, "title": {"text": "Viscosity over age"}}))',
    'show(go.Figure(go.Bar(x=["LIN-03", "LIN-04"], y=[19000, 26100])), title="By batch",'
    ' columns=["Batch", "Viscosity, mPa s"], rows=[["LIN-03", 19000], ["LIN-04", 26100]], note="Disc 5, 10 rpm.",'
    ' summary="Two bars: LIN-04 lies above the spec.")',
    'show(go.Figure(go.Box(y=[4.5, 4.6, 4.7, 4.55], name="LIN-03")), title="Spread of pH")',
    'show(go.Figure(go.Heatmap(z=[[1, 2], [3, 4]], x=["1 h", "24 h"], y=["LIN-03", "LIN-04"])), title="Where")',
    'show(go.Figure(go.Scattergl(x=[0.1, 1.0, 10.0], y=[30.0, 10.0, 3.0], mode="markers",'
    ' error_y={"array": [1.0, 0.5, 0.2]})), title="Flow")',
    'show(go.Figure(go.Histogram(x=[1.0, 1.1, 1.2, 2.0])), title="How often")',
]
TABLE = 'pd.DataFrame({{"batch": ["LIN-03", "LIN-04"], "pH": [{0}, 4.62]}})'
HOSTILE = """<img src=x onerror="document.title='taken'"> </script><script>document.title='taken'</script>"""


def whole_template(toys: Toys, *cells: str | dict, name: str = "whole") -> Path:
    tables = [TABLE.format(4.5 + step / 100) for step in range(6)]
    results = [cell for pair in zip(SIX, tables, strict=True) for cell in pair]
    return toys.template(FIGURES, markdown("## Results"), *results, markdown("## Notes"), *cells, name=name)


@pytest.fixture(scope="session")
def make_whole():
    return whole_template


@pytest.fixture(scope="session")
def hostile() -> str:
    return HOSTILE


@pytest.fixture(scope="session")
def chromium() -> str:
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
    if not Path(path).exists():
        pytest.skip("no Chromium here; set CHROMIUM to one")
    return path


@pytest.fixture(scope="session")
def demo(demos):
    """The invented linden study, built once. Read it; a test that writes takes a copy of the lab book."""
    return demos("linden")


@pytest.fixture(scope="session")
def written(demo, tmp_path_factory: pytest.TempPathFactory):
    """Both demo pages, written once: the trial with its bundle, and the pair."""
    to = tmp_path_factory.mktemp("written")
    trial = kit.write_up(demo.labbook, demo.control, to=to, bundle=True)
    pair = kit.write_comparison(demo.labbook, [demo.control, demo.other], control=demo.control, to=to)
    return SimpleNamespace(trial=trial, pair=pair)


@pytest.fixture(scope="session")
def sheet(demo, tmp_path_factory: pytest.TempPathFactory):
    """A blank batch sheet of the demo's control on one 0.01 g balance: 15 lines, 8 steps."""
    given = {"trial": "LIN-03", "balances": ["0.01 g"]}
    to = tmp_path_factory.mktemp("sheet")
    return publish("batch_sheet", demo.labbook, ["LIN-03"], given, to=to, name="sheet", title="Batch sheet")


@pytest.fixture(scope="session")
def results(demo, tmp_path_factory: pytest.TempPathFactory):
    """The results of all seven trials of the demo."""
    trials = [f"LIN-0{number}" for number in range(1, 8)]
    to = tmp_path_factory.mktemp("results")
    return publish("trial_results", demo.labbook, trials, {"study": "LIN"}, to=to, name="results", title="Results")


@pytest.fixture
def labbook(demo, tmp_path: Path) -> Path:
    """A copy of the demo's lab book, to write into and to damage."""
    return Path(shutil.copy(demo.labbook, tmp_path / "linden.labbook"))


class Page(HTMLParser):
    """A page as a reader meets it: tables by their caption, figures from their data, text of the whole."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.source, self.tables, self.untitled, self.words = text, {}, [], []
        self._rows, self._cell, self._caption, self._skip = None, None, None, 0
        self.feed(text)
        self.text = " ".join(" ".join(self.words).split())

    @classmethod
    def read(cls, path: Path) -> Page:
        return cls(path.read_text(encoding="utf-8"))

    @property
    def figures(self) -> list[dict]:
        found = re.findall(
            r'<script type="application/json" data-figure="[^"]*">(.*?)</script>', self.source, re.DOTALL
        )
        return [json.loads(text) for text in found]

    def table(self, caption: str) -> list[list[str]]:
        """The rows of the one table whose caption begins so, the head first."""
        (rows,) = [rows for title, rows in self.tables.items() if title.startswith(caption)]
        return rows

    def handle_starttag(self, tag: str, attrs: list) -> None:
        if tag in ("script", "style", "noscript"):
            self._skip += 1
        elif tag == "table":
            self._rows, self._caption = [], ""
        elif tag == "caption":
            self._cell = "caption"
        elif tag == "tr":
            self._rows.append([])
        elif tag in ("td", "th"):
            self._rows[-1].append("")
            self._cell = "cell"

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style", "noscript"):
            self._skip -= 1
        elif tag in ("td", "th", "caption"):
            self._cell = None
        elif tag == "table":
            if self._caption:
                self.tables[self._caption] = self._rows
            else:
                self.untitled.append(self._rows)

    def handle_data(self, data: str) -> None:
        if self._skip:
            return
        self.words.append(data)
        if self._cell == "caption":
            self._caption += data
        elif self._cell == "cell":
            self._rows[-1][-1] += data


@pytest.fixture(scope="session")
def page():
    return Page
