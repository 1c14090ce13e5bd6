"""The bench day without anybody at it: every cell runs, rehearsed or not, and the lab book holds what was committed."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import nbformat
import papermill
import pytest

import kit

NOTEBOOK = Path(__file__).parents[2] / "notebooks" / "bench_day.ipynb"


@pytest.fixture
def run(tmp_path, monkeypatch):
    """run(rehearse=True): the notebook under plain papermill in a folder of its own; gives the executed notebook."""

    def execute(**parameters):
        monkeypatch.setenv("PYTHONPATH", str(NOTEBOOK.parents[1]))
        to = tmp_path / "out.ipynb"
        options = {"cwd": str(tmp_path), "progress_bar": False, "kernel_name": "python3"}
        papermill.execute_notebook(str(NOTEBOOK), str(to), parameters, **options)
        return nbformat.read(to, as_version=4)

    assert Path(sys.executable).exists()
    return execute


def text_of(notebook, cell):
    outputs = next(one for one in notebook.cells if one.id == cell).outputs
    return "".join(str(one.get("text") or one.get("data", {}).get("text/plain", "")) for one in outputs)


@pytest.mark.slow
def test_a_rehearsed_day_records_what_the_notebook_commits(run, tmp_path):
    notebook = run(rehearse=True)
    with kit.open_source(tmp_path / "bench_day.labbook") as source:
        batch = source.batch("HEA-02/1")
        masses = {item.body["material"]: item.body["mass_g"] for item in batch.standing("weigh")}
        flagged = [str(one.value) for one in batch.readings if source.flags(one, source.study())]
        entries = len(batch.entries)
    assert masses["glycerin"] == "12.01"  # put right from 14,60
    assert len(masses) == 8
    assert [str(one.value) for one in batch.readings] == ["4.56", "19200", "17400"]
    assert flagged == ["19200"]
    assert "spec" in text_of(notebook, "compare")
    assert (tmp_path / "writeups" / "HEA-02.html").is_file()
    run(rehearse=True)  # once more over the same lab book: nothing is doubled
    with kit.open_source(tmp_path / "bench_day.labbook") as source:
        assert len(source.batch("HEA-02/1").entries) == entries


@pytest.mark.slow
def test_run_by_nobody_it_shows_the_forms_and_records_nothing_of_the_batch(run, tmp_path):
    notebook = run()
    with kit.open_source(tmp_path / "bench_day.labbook") as source:
        assert [entry.kind for entry in source.batch("HEA-02/1").entries] == ["start"]
    assert "0 of 8 lines weighed" in text_of(notebook, "weigh")
    assert "Still to weigh" in text_of(notebook, "finish")
    assert "new reading" in text_of(notebook, "read")
    shown = next(one for one in notebook.cells if one.id == "weigh").outputs[0].data
    assert "application/vnd.jupyter.widget-view+json" in shown


@pytest.mark.slow
def test_it_runs_through_the_kit_as_well_and_the_lab_book_holds_the_same(run, tmp_path):
    run(rehearse=True)
    parameters = {"source": "other.labbook", "rehearse": True}
    kit.run_template(NOTEBOOK, parameters, workdir=tmp_path)
    kept = []
    for name in ("bench_day.labbook", "other.labbook"):
        with kit.open_source(tmp_path / name) as source:
            batch = source.batch("HEA-02/1")
            kept.append([(entry.kind, entry.body) for entry in batch.entries])
    assert len(kept[0]) > 15
    assert kept[0] == kept[1]


def test_the_cautions_are_in_the_notebook_and_no_value_is_measured_in_a_number_box():
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    text = "".join("".join(cell["source"]) for cell in cells)
    for word in (
        "Cationic surfactants",
        "goggles",
        "local rules",
        "not a recipe to use on people",
        "licensed or qualified",
    ):
        assert word in text
