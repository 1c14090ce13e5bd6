"""Flow and feel: what the page says of a sweep, of a study without one, and of a warm jar; the same however it is run.

Referees: the readings as entered (`tests/flow_readings.py`), worked by hand; the plain `papermill` command; two runs
against each other.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import kit
from kit.cli import main
from kit.errors import KitError
from kit.writeup.canonical import canonical_text
from kit.writeup.flow_report import FlowReport
from kit.writeup.write_up import publish
from tests.flow_readings import build_flow_book

ROOT = Path(kit.__file__).parents[1]
FIGURE = "application/vnd.plotly.v1+json"
TRIALS = ["FLO-01", "FLO-02"]


@pytest.fixture(scope="module")
def labbook(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("flow")
    build_flow_book(str(folder))
    return folder / "flow.labbook"


@pytest.fixture(scope="module")
def published(labbook, tmp_path_factory):
    to = tmp_path_factory.mktemp("page")
    return publish("flow_and_feel", labbook, TRIALS, {}, to=to, name="flow", title="Flow and feel")


@pytest.fixture(scope="module")
def calendula(demos):
    return demos("calendula").labbook


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ())]
    return [{kind: "".join(text) if isinstance(text, list) else text for kind, text in one.items()} for one in found]


def test_the_page_tells_curves_yield_build_recovery_and_feel(published, page):
    made = page.read(published.page)
    assert published.figures == len(made.figures) == 4
    identity = {(row[0], row[1]) for row in made.table("What is shown")[1:]}
    assert {("flow curves", "4"), ("viscosity build", "2 batches"), ("trials", "FLO-01, FLO-02")} <= identity
    rows = {row[0]: row[1:] for row in made.table("Yield, hysteresis and recovery")[1:]}
    value, error = (float(part) for part in rows["FLO-01/1, 72 h, cup"][0].split(" Pa")[0].split(" ± "))
    assert abs(value - 8) < 3 * error < 3  # the law has 8 Pa, its factor 1.5 gives 12 Pa
    value, error = (float(part) for part in rows["FLO-02/1, 72 h, cup"][0].split(" Pa")[0].split(" ± "))
    assert abs(value - 12) < 3 * error < 4
    assert rows["FLO-01/1, 72 h, disc 5"][0] == "cannot be told by this spindle"
    assert rows["FLO-01/1, 72 h, disc 5"][2:] == ["not read up and down", "not read after rest"]
    assert "after 60 s" in rows["FLO-01/1, 72 h, cup"][3] and "after 15 min" in rows["FLO-01/1, 72 h, cup"][3]
    (used,) = [row[0] for row in made.table("FLO-01/1, 72 h, cup, up")[1:] if "used" in row[0]]
    assert used.startswith("Herschel-Bulkley")
    (build,) = [row for row in made.table("Viscosity build")[1:] if row[0].startswith("FLO-01/1")]
    assert build[1] == "4" and build[-1] == "builds" and 18000 < float(build[2].split(" ± ")[0]) < 19000
    feel = {(row[0], row[1]): row[2:] for row in made.table("Feel and look")[1:]}
    assert feel["FLO-01/1", "wet-combing force"] == ["7 d", "46.0 %", "4.6", "3", ""]
    assert feel["FLO-02/1", "grain"][:2] == ["7 d", "none"]
    assert "whether batches differ is not tested" in made.text


def test_every_figure_has_its_numbers_and_a_sentence(published):
    """Points drawn: two trials by 8 up, 8 down, 3 after rest; by 6 on the disc; by 4 ages; two combed batches."""
    told = [one[FIGURE]["layout"]["meta"]["kit"] for one in outputs(published.notebook) if FIGURE in one]
    assert [len(figure["rows"]) for figure in told] == [38, 12, 8, 2]
    assert all("FLO-01/1" in figure["summary"] and "FLO-02/1" in figure["summary"] for figure in told)


def test_without_readings_at_several_speeds_it_says_plainly_what_to_measure(demo, page, tmp_path):
    trials = kit.open_source(demo.labbook).trials("LIN")
    made = publish("flow_and_feel", demo.labbook, trials, {"study": "LIN"}, to=tmp_path, name="none", title="Flow")
    text = page.read(made.page).text
    assert made.figures == 1  # the viscosity build
    assert "No viscosity of these trials was read at three speeds or more with one spindle" in text
    assert "Read one batch at one age at 3 speeds or more" in text
    assert "Nothing can be told without a flow curve." in text
    assert "LIN-05/1, 40 600 mPa.s, FLAGGED: The torque of 101.5 %" in text


def test_the_warm_jar_is_refused_and_nothing_is_corrected(calendula):
    """CAL-07: 9,920 mPa.s at 31.6 degC is 6.6 degC off; combing 28, 31 and 34 % of CAL-04 has the mean 31.0."""
    report = FlowReport(calendula, trials=["CAL-04", "CAL-07"])
    (table,) = [part for part in report.temperature().parts if not isinstance(part, str)]
    (row,) = table.rows
    assert (row[0], row[2], row[3], str(row[4])) == ("CAL-07/1", "9920", "31.6", "REFUSED")
    assert "6.6 °C is too far" in row[-1] and "read it again" in row[-1]
    feel = {(row[0], row[1]): row[3] for row in report.felt().rows}
    assert feel["CAL-04/1", "wet-combing force"] == "31.0 %"
    assert feel["CAL-07/1", "strings"] == "none"


@pytest.mark.slow
def test_papermill_the_runner_and_the_command_give_the_same_outputs(labbook, published, tmp_path, monkeypatch):
    out = tmp_path / "plain.ipynb"
    command = [sys.executable, "-m", "papermill", str(ROOT / "templates" / "flow_and_feel.ipynb"), str(out)]
    done = subprocess.run(
        [*command, "-p", "source", str(labbook)], cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert len(outputs(out)) == 19  # five of them tell the tresses
    assert outputs(out) == outputs(published.notebook)
    monkeypatch.chdir(tmp_path)
    assert main(["run", "flow_and_feel", "--source", str(labbook), "--to", "pages"]) == 0
    assert outputs(tmp_path / "pages" / "flow_and_feel.ipynb") == outputs(published.notebook)


def test_a_second_run_on_the_snapshot_is_the_same_text(published, tmp_path):
    shutil.copy(published.snapshot, tmp_path / "snapshot.json")
    again = kit.run_template("flow_and_feel", {"source": "snapshot.json"}, workdir=tmp_path)
    assert canonical_text(again.notebook) == published.notebook.read_text(encoding="utf-8")


def test_age_trials_and_feel_asked_for_are_the_ones_shown(labbook):
    report = FlowReport(labbook, trials=["FLO-02"], age="72 h", method="viscosity", feel=["grain"])
    assert {flow.filling.batch.trial for flow in report.flow.flows} == {"FLO-02"}
    assert {row[1] for row in report.felt().rows} == {"grain"}
    assert len(report.curves()) == 2
    assert FlowReport(labbook, age="24 h").curves() == []


def test_what_is_asked_for_wrongly_is_refused_in_words(labbook, demo):
    """Once through a kernel; the rest by the page's own class: what it raises in a cell is what the runner hands on."""

    def run(source, **parameters):
        kit.run_template("flow_and_feel", {"source": str(source), **parameters})

    for asked, source, parameters, code in (
        (run, demo.labbook, {}, "labbook.study"),  # the demo holds two studies
        (run, labbook, {"trials": "FLO-01"}, "template.parameter_type"),
        (FlowReport, demo.labbook, {}, "labbook.study"),
        (FlowReport, demo.labbook, {"study": "LIN", "trials": ["LHC-01"]}, "flow.study"),
        (FlowReport, labbook, {"trials": ["FLO-33"]}, "labbook.trial"),
        (FlowReport, labbook, {"age": "71 h"}, "age.unknown"),
        (FlowReport, labbook, {"method": "spread"}, "flow.method"),
    ):
        with pytest.raises(KitError) as caught:
            asked(source, **parameters)
        assert "\n" not in str(caught.value)
        assert caught.value.code == code
