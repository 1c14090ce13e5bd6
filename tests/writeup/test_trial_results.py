"""Results across trials: the numbers of `kit.compare`, the same outputs however it is run, refusals in words.

Referees: the readings as entered, worked by hand; the plain `papermill` command; two runs against each other.
"""

from __future__ import annotations

import json
import math
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import kit
from kit.cli import main
from kit.errors import KitError
from kit.writeup.canonical import canonical_text
from kit.writeup.results_report import ResultsReport

ROOT = Path(kit.__file__).parents[1]
TRIALS = [f"LIN-0{number}" for number in range(1, 8)]
CONTROL = "LIN-03, LIN-06"


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ())]
    return [{kind: "".join(text) if isinstance(text, list) else text for kind, text in one.items()} for one in found]


def refused(parameters: dict, source: object) -> str:
    with pytest.raises(KitError) as caught:
        kit.run_template("trial_results", {"source": str(source), **parameters})
    assert "\n" not in str(caught.value)
    return caught.value.code


def refused_within(source: object, **given) -> str:
    """What the page's own class says, without a kernel: what it raises in a cell is what the runner hands on."""
    with pytest.raises(KitError) as caught:
        ResultsReport(source, **given)
    assert "\n" not in str(caught.value)
    return caught.value.code


def test_every_figure_and_every_trial_is_there(results, page):
    """pH and viscosity: at the age of the spec, over age, by day."""
    made = page.read(results.page)
    assert results.figures == len(made.figures) == 6
    identity = {(row[0], row[1]) for row in made.table("What is shown")[1:]}
    assert ("batches", "7 of 6 formula versions") in identity
    assert ("spec", "viscosity: 15000 to 25000 mPa.s at 72 h, viscosity") in identity
    assert {row[1].split(":")[0] for row in made.table("What is shown")[1:] if row[0] in ("control", "version")} == {
        CONTROL, "LIN-01", "LIN-02", "LIN-04", "LIN-05", "LIN-07"
    }  # fmt: skip


def test_verdicts_stand_in_words_and_agree_with_the_readings_as_entered(results, page):
    """72 h, disc 5, 400 mPa.s for each % of torque: 27.0, 74.0, 51.5; control sqrt(47.5 x 50.2) = 48.83 %."""
    rows = {(row[0], row[1]): row[2:] for row in page.read(results.page).table("Against the spec")[1:]}
    assert rows["viscosity, 72 h", CONTROL][0] == "PASS"
    middle = 400 * math.sqrt(47.5 * 50.2)
    assert f"mean {round(middle, -1):.0f} mPa.s inside 15000 to 25000" in rows["viscosity, 72 h", CONTROL][1]
    assert rows["viscosity, 72 h", "LIN-02"][0] == rows["viscosity, 72 h", "LIN-04"][0] == "FAIL"
    assert "10800" in rows["viscosity, 72 h", "LIN-02"][1] and "29600" in rows["viscosity, 72 h", "LIN-04"][1]
    assert rows["viscosity, 72 h", "LIN-07"][0] == "PASS" and "20600" in rows["viscosity, 72 h", "LIN-07"][1]
    assert rows["viscosity, 72 h", "LIN-05"][0] == "FLAGGED"
    assert rows["viscosity, 72 h", "LIN-01"][0] == "NOT TESTED"
    assert {rows["pH, 24 h", arm][0] for _, arm in rows} == {"PASS"}
    assert rows["grain, 7 d", "LIN-05"][0] == "FAIL"


def test_numbers_of_tables_and_figures_are_those_of_compare(demo, results, page):
    compared = kit.compare(demo.labbook, TRIALS)
    made = page.read(results.page)
    rows = {(row[0].split("\n")[0], row[1]): row[2] for row in made.table("Results")[1:]}
    checked = 0
    for result in compared.results:
        for arm in result.arms:
            if arm.mean is not None:
                printed = float(rows[result.title, arm.arm_label].split("\n")[0].split(" ")[0])
                assert math.isclose(printed, arm.mean, rel_tol=5e-4, abs_tol=0.0051 if result.property == "pH" else 0)
                checked += 1
    assert checked > 25
    drawn = [figure["data"] for figure in made.figures[:2]]
    for traces, (name, age) in zip(drawn, (("pH", "24 h"), ("viscosity", "72 h")), strict=True):
        (marks,) = [trace for trace in traces if trace["name"] == "batch mean"]
        result = compared.result(name, age)
        assert marks["y"] == [value.mean for arm in result.arms for value in arm.batch_values]


def test_reasons_of_what_is_left_out_stand_under_the_figure(results, page):
    made = page.read(results.page)
    assert "LIN-05/1, 40 600 mPa.s, FLAGGED: The torque of 101.5 % is above 100 % of full scale" in made.text
    assert "Grey band: control LIN-03, LIN-06, mean ± 1 pooled SD of batches (6 df)" in made.text
    assert "no control that counts on 2026-04-20" in made.text
    assert made.text.count("viscosity: disc 5, 10 rpm, 60 s, 25 ± 0.5 degC, 100 mL jar, age 72 h ± 4 h") >= 2


@pytest.mark.slow
def test_papermill_the_runner_and_the_command_give_the_same_outputs(demo, results, tmp_path, monkeypatch):
    out = tmp_path / "plain.ipynb"
    command = [sys.executable, "-m", "papermill", str(ROOT / "templates" / "trial_results.ipynb"), str(out)]
    given = ["-p", "source", str(demo.labbook), "-p", "study", "LIN"]
    done = subprocess.run([*command, *given], cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert outputs(out) == outputs(results.notebook)
    monkeypatch.chdir(tmp_path)
    arguments = ["run", "trial_results", "--source", str(demo.labbook), "--set", "study=LIN", "--to", "pages"]
    assert main(arguments) == 0
    assert outputs(tmp_path / "pages" / "trial_results.ipynb") == outputs(results.notebook)


def test_a_second_run_on_the_snapshot_is_the_same_text(results, tmp_path):
    shutil.copy(results.snapshot, tmp_path / "snapshot.json")
    again = kit.run_template("trial_results", {"source": "snapshot.json", "study": "LIN"}, workdir=tmp_path)
    assert canonical_text(again.notebook) == results.notebook.read_text(encoding="utf-8")


def test_ages_and_properties_asked_for_are_the_ones_drawn(demo):
    run = kit.run_template(
        "trial_results",
        {"source": str(demo.labbook), "trials": ["LIN-03", "LIN-04"], "properties": ["viscosity"], "ages": ["7 d"]},
    )
    titles = [
        output["data"]["application/vnd.plotly.v1+json"]["layout"]["meta"]["kit"]["title"]
        for cell in run.notebook.cells
        for output in cell.get("outputs", ())
        if "application/vnd.plotly.v1+json" in output["data"]
    ]
    assert titles == [
        "Viscosity at 7 d: how do the versions compare?",
        "How does viscosity develop with age?",
        "Viscosity at 7 d: is the control the same on every day?",
    ]


def test_what_is_asked_for_wrongly_is_refused_in_words(demo, tmp_path):
    book = demo.labbook
    assert refused({}, book) == refused_within(book) == "labbook.study"  # the demo holds two studies
    assert refused_within(book, study="LIN", trials=["LHC-01"]) == "results.study"
    assert refused_within(book, trials=["LIN-33"]) == "labbook.trial"
    assert refused_within(book, study="LIN", ages=["71 h"]) == "results.age"
    assert refused_within(book, study="LIN", properties=["density"]) == "compare.property"
    assert refused({"study": "LIN", "trials": "LIN-03"}, demo.labbook) == "template.parameter_type"
    assert refused({"study": "LIN", "age": "72 h"}, demo.labbook) == "template.parameter_unknown"
    with kit.new_labbook(tmp_path / "new.labbook") as book:
        book.new_study("NEW", question="?", control="NEW-01")
    assert refused_within(tmp_path / "new.labbook") == "results.no_batch"
