"""The notebook that sets published answers beside the kit's own: what it shows agrees with what was printed.

The printed numbers are typed in the notebook beside their sources; here the kit's column is held against them once
more, from sources named beside each check.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest

from kit.figures.figure import MIME

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.slow


class _Cells(HTMLParser):
    """Rows of all tables of a fragment, cells as text."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self._text: list[str] | None = None

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self._text = []

    def handle_data(self, data):
        if self._text is not None:
            self._text.append(data)

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.rows[-1].append(" ".join("".join(self._text).split()))
            self._text = None


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """The notebook run by the plain command, far from the checkout."""
    folder = tmp_path_factory.mktemp("handbook")
    subprocess.run(
        [sys.executable, "-m", "papermill", str(ROOT / "notebooks" / "against_the_handbook.ipynb"), "out.ipynb"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"},
        capture_output=True,
        timeout=300,
        check=True,
    )
    return nbformat.read(folder / "out.ipynb", as_version=4)


@pytest.mark.everywhere
def test_it_runs_under_the_plain_papermill_command_in_any_folder(ran):
    cells = [cell for cell in ran.cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in cells)
    outputs = [out for cell in cells for out in cell.outputs]
    assert outputs
    assert [out for out in outputs if out.output_type == "error" or out.get("name") == "stderr"] == []


def shown(notebook, cell: str) -> dict[str, tuple[str, float, str]]:
    """Quantity to what was printed, the kit's number and the agreement."""
    outputs = next(one for one in notebook.cells if one.id == cell).outputs
    parser = _Cells()
    parser.feed("".join(out.get("data", {}).get("text/html", "") for out in outputs))
    minus = str.maketrans({"\u2212": "-"})
    return {row[0]: (row[1].translate(minus), float(row[2].translate(minus)), row[3]) for row in parser.rows[1:]}


@pytest.mark.parametrize(
    ("cell", "known"),
    [
        # Cornell, Experiments with Mixtures, yarn elongation; R2 about the mean by statsmodels (centred)
        ("mixture", {"polyethylene * polystyrene": 19.0, "polystyrene * polypropylene": -9.6, "R²": 0.9514}),
        # Montgomery, Design and Analysis of Experiments, response surfaces (from memory)
        ("surface", {"constant": 79.94, "x1 x2": 0.250, "stationary x1": 0.389, "yield there": 80.21}),
        # R 4.2.2, multcomp 1.4-22, on the data of Dunnett (1955)
        ("control", {"A, p adjusted": 0.6201, "B, p adjusted": 0.0058, "B, low": 0.840, "A, high": 2.556}),
        # LeBlond, Griffith and Aubuchon (2011), tables IV and V
        ("shelf", {"F, slopes": 0.229, "F, intercepts": 0.436, "shelf life, months": 26.0, "intercept": 100.567}),
        # ISO 8587:2006, annex A
        ("ranking", {"sum B": 31, "sum C": 32, "Friedman F": 10.60, "critical L of an expected order": 383.26}),
        # Derringer and Suich (1980), from memory
        ("desirability", {"all four": 0.583}),
    ],
)
def test_the_kit_agrees_with_the_printed_number_to_its_last_digit(ran, cell, known):
    rows = shown(ran, cell)
    for name, value in known.items():
        printed, found, told = rows[name]
        assert float(printed) == value
        decimals = len(printed.partition(".")[2])
        assert found == pytest.approx(value, abs=0.51 * 10**-decimals + 1e-9)
        assert told == "to the last printed digit"


def test_what_does_not_agree_is_told_and_is_small(ran):
    """Four printed numbers are of rounded data or rounded twice: the last digits differ, and the page says so."""
    apart = {}
    for cell in ("mixture", "surface", "control", "shelf", "ranking", "desirability"):
        for name, (printed, found, told) in shown(ran, cell).items():
            if told.endswith("apart"):
                apart[name] = abs(found - float(printed))
    assert set(apart) == {"bending, strongest", "bending, weakest", "elongation", "hardness"}
    assert max(apart.values()) < 0.0015


def test_the_surface_is_drawn_and_a_new_run_is_less_sure_than_the_mean(ran):
    outputs = next(one for one in ran.cells if one.id == "surface-picture").outputs
    (figure,) = [out["data"][MIME] for out in outputs if MIME in out.get("data", {})]
    assert [trace["type"] for trace in figure["data"]] == ["contour", "scatter", "scatter"]
    cells = next(one for one in ran.cells if one.id == "new-batch").outputs[0]["data"]["text/html"]
    parser = _Cells()
    parser.feed(cells)
    for row in parser.rows[1:]:
        mean, new = ([float(end) for end in re.findall(r"-?\d+\.\d+", row[place])] for place in (3, 4))
        assert new[0] < mean[0] < mean[1] < new[1]
    assert [row[5] for row in parser.rows[1:]] == ["inside the tried region"] * 3 + [
        "beyond the batches that were made"
    ]
