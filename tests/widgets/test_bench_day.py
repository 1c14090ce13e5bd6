"""The bench day without anybody at it: every cell runs, rehearsed or not, and the lab book holds what was committed."""

from __future__ import annotations

import json
from pathlib import Path

import nbformat
import papermill
import pytest

import kit

NOTEBOOK = Path(__file__).parents[2] / "notebooks" / "bench_day.ipynb"


def execute(folder, **parameters):
    """The notebook under plain papermill in a folder; gives the executed notebook."""
    to = folder / "out.ipynb"
    options = {"cwd": str(folder), "progress_bar": False, "kernel_name": "python3"}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", str(NOTEBOOK.parents[1]))
        papermill.execute_notebook(str(NOTEBOOK), str(to), parameters, **options)
    return nbformat.read(to, as_version=4)


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory):
    """A folder in which the day was rehearsed once, and the executed notebook."""
    folder = tmp_path_factory.mktemp("rehearsed")
    return folder, execute(folder, rehearse=True)


def text_of(notebook, cell):
    outputs = next(one for one in notebook.cells if one.id == cell).outputs
    return "".join(str(one.get("text") or one.get("data", {}).get("text/plain", "")) for one in outputs)


@pytest.mark.slow
def test_a_rehearsed_day_records_what_the_notebook_commits(rehearsed):
    folder, notebook = rehearsed
    with kit.open_source(folder / "bench_day.labbook") as source:
        batch = source.batch("HEA-02/1")
        masses = {item.body["material"]: item.body["mass_g"] for item in batch.standing("weigh")}
        flagged = [str(one.value) for one in batch.readings if source.flags(one, source.study())]
        entries = len(batch.entries)
    assert masses["glycerin"] == "12.01"  # put right from 14,60
    assert len(masses) == 8
    assert [str(one.value) for one in batch.readings] == ["4.56", "19200", "17400"]
    assert flagged == ["19200"]
    assert "spec" in text_of(notebook, "compare")
    assert (folder / "writeups" / "HEA-02.html").is_file()
    execute(folder, rehearse=True)  # once more over the same lab book: nothing is doubled
    with kit.open_source(folder / "bench_day.labbook") as source:
        assert len(source.batch("HEA-02/1").entries) == entries


@pytest.mark.slow
def test_run_by_nobody_it_shows_the_forms_and_records_nothing_of_the_batch(tmp_path):
    notebook = execute(tmp_path)
    with kit.open_source(tmp_path / "bench_day.labbook") as source:
        assert [entry.kind for entry in source.batch("HEA-02/1").entries] == ["start"]
    assert "0 of 8 lines weighed" in text_of(notebook, "weigh")
    assert "Still to weigh" in text_of(notebook, "finish")
    assert "new reading" in text_of(notebook, "read")
    shown = next(one for one in notebook.cells if one.id == "weigh").outputs[0].data
    assert "application/vnd.jupyter.widget-view+json" in shown


@pytest.mark.slow
def test_it_runs_through_the_kit_as_well_and_the_lab_book_holds_the_same(rehearsed, tmp_path):
    folder, _ = rehearsed
    parameters = {"source": "other.labbook", "rehearse": True}
    kit.run_template(NOTEBOOK, parameters, workdir=tmp_path)
    kept = []
    for path in (folder / "bench_day.labbook", tmp_path / "other.labbook"):
        with kit.open_source(path) as source:
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
