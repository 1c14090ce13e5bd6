"""The stability page: what it says of a study with a protocol and of one without; the same however it is run.

Referees: the laws of `tests/stability_readings.py`; the plain `papermill` command; two runs against each other.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from icalendar import Calendar

import kit
from kit.cli import main
from kit.writeup.stability_report import StabilityReport
from kit.writeup.trial_report import TrialReport
from tests.stability_readings import whole_bench

ROOT = Path(kit.__file__).parents[1]
FIGURE = "application/vnd.plotly.v1+json"


@pytest.fixture(scope="module")
def labbook(tmp_path_factory) -> Path:
    bench = whole_bench(tmp_path_factory.mktemp("yarrow"), batches=2, weeks={"1 week": 1, "4 weeks": 4, "12 weeks": 12})
    bench.book.close()
    return bench.path


@pytest.fixture(scope="module")
def published(labbook, tmp_path_factory):
    return kit.write_stability(labbook, setting="43 degC", to=tmp_path_factory.mktemp("page"))


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ())]
    return [{kind: "".join(text) if isinstance(text, list) else text for kind, text in one.items()} for one in found]


def test_the_page_judges_draws_and_lists_what_is_due(published, page):
    made = page.read(published.written.page)
    assert published.written.figures == len(made.figures) == 3
    identity = {row[0]: row[1] for row in made.table("What is shown")[1:]}
    assert identity["protocol"] == "YAR-stability" and identity["batches"] == "YAR-01/1, YAR-01/2"
    verdicts = [" ".join(row) for row in made.table("Against the protocol")[1:]]
    (melted,) = [row for row in verdicts if row.startswith("viscosity") and "45 °C" in row]
    assert "OUTSIDE SINCE 1 WEEK" in melted
    life = [" ".join(row) for row in made.table("Time to limit")[1:]]
    assert any("NONE: the network sets at 43 °C and melts there" in row for row in life)
    assert any(row.startswith("pH") and "25 °C" in row and "OVER 5." in row for row in life)
    assert "It is no claim of shelf life" in made.text and "indicative only" in made.text
    assert "limits frozen since" in made.text and "compliant" not in made.text
    jars = made.table("Jars and grams")
    assert jars[-1][0] == "in all, one batch"
    stream = json.loads(published.written.snapshot.read_text(encoding="utf-8"))["streams"]
    assert "protocol/YAR-stability" in stream


def test_the_calendar_lies_beside_the_page(published):
    assert published.calendar == published.written.page.with_suffix(".ics")
    events = Calendar.from_ical(published.calendar.read_bytes()).walk("VEVENT")
    assert sum(str(event["summary"]).startswith("Baseline") for event in events) == 2
    assert published.calendar.name in str(published)


@pytest.mark.slow
def test_papermill_and_the_command_give_the_same_outputs(labbook, published, tmp_path, monkeypatch):
    out = tmp_path / "plain.ipynb"
    told = ["-p", "source", str(labbook), "-p", "study", "YAR", "-p", "protocol", "YAR-stability", "-p", "setting"]
    command = [
        sys.executable,
        "-m",
        "papermill",
        str(ROOT / "templates" / "stability.ipynb"),
        str(out),
        *told,
        "43 degC",
    ]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert len(outputs(out)) == 14
    assert outputs(out) == outputs(published.written.notebook)
    monkeypatch.chdir(tmp_path)
    told = ["--set", "protocol=YAR-stability", "--set", "setting=43 degC", "--set", "study=YAR"]
    assert main(["run", "stability", "--source", str(labbook), "--to", "pages", *told]) == 0
    assert outputs(tmp_path / "pages" / "stability.ipynb") == outputs(published.written.notebook)


def test_without_a_protocol_it_says_how_to_plan_one_and_judges_nothing(demo):
    """LIN-03 and LIN-06: pH at 24 h and 7 d, viscosity at 72 h and 7 d; two stations are too few."""
    report = StabilityReport(demo.labbook, batches=["LIN-03", "LIN-06"])
    assert "No stability protocol covers these batches" in str(report.identity())
    assert {str(row[1]).partition(":")[0] for row in report.verdicts().rows} == {"NOT IN THE PROTOCOL"}
    assert "kit.plan_stability" in str(report.protocol()) and "kit.plan_stability" in str(report.pulls())
    assert "2 of the 4 stations it takes were read" in str(report.life())
    assert report.figures() and not str(report.no_figure())
    assert "Nothing was read of a jar kept warmer" in str(report.warm())


def test_a_study_without_a_batch_says_so(tmp_path):
    book = kit.new_labbook(tmp_path / "empty.labbook")
    book.new_study("NIL", question="Anything?")
    report = StabilityReport(book)
    told = str(report.identity()) + str(report.verdicts()) + str(report.no_figure()) + str(report.life())
    book.close()
    assert "none yet" in told and "Nothing was read of jars in storage" in told and "there is no trend to draw" in told


def test_a_write_up_of_the_trial_names_the_protocol_and_its_pulls(labbook):
    rows = {str(row[0]): str(row[1]) for row in TrialReport(labbook, "YAR-01", []).stability().rows}
    assert rows["protocol"].startswith("YAR-stability, recorded 2026-01-12 08:00 +01:00")
    assert "done" in rows["stations done and due"] and "MISSED" in rows["stations done and due"]  # 2 and 8 weeks
