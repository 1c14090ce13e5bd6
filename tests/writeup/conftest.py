"""Toy templates for the tests of the runner and the page, written as a lab would write its own."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

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
