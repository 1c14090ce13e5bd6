"""Panels on the pages: beside flow and feel, and in the write-up of a trial whose batch was judged; else nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import kit
from kit.errors import KitError
from kit.writeup.flow_report import FlowReport
from kit.writeup.panel_papers import write_panel_papers
from kit.writeup.trial_report import TrialReport
from kit.writeup.write_up import publish
from tests.panel_bench import PanelBench, odd

FIGURE = "application/vnd.plotly.v1+json"


@pytest.fixture(scope="module")
def woodruff(tmp_path_factory):
    bench = PanelBench(tmp_path_factory.mktemp("woodruff"))
    for place in range(1, 4):
        bench.make(f"WOO-0{place}")
    bench.plan("triangle")
    bench.answer(lambda place, serving: odd(serving))
    for trial in ("WOO-01/1", "WOO-02/1"):
        for place, share in enumerate((41, 44, 47)):
            bench.book.batch(trial).read("wet-combing force", f"{share} %", sample=f"{trial} {place}", at="")
    bench.book.close()
    return bench.path


@pytest.fixture(scope="module")
def published(woodruff, tmp_path_factory):
    to = tmp_path_factory.mktemp("pages")
    return publish("flow_and_feel", woodruff, ["WOO-01", "WOO-02", "WOO-03"], {}, to=to, name="feel", title="Feel")


def told(notebook: Path) -> list[str]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ()) if "data" in output]
    return ["".join(one.get("text/plain", "")) for one in found]


def test_flow_and_feel_tells_the_panel_and_the_tresses(published, page):
    made = page.read(published.page)
    assert "12 of 12 named the odd sample." in made.text and "A difference is shown." in made.text
    assert published.figures == len(made.figures) == 2
    assert {row[0]: row[1] for row in made.table("Panel P-1: counts")[1:]}["needed"] == "8"
    assert made.table("Combing: force left, % of the same tress untreated")[1][0].startswith("WOO-01/1")
    assert "takes batches" in made.text


def test_the_write_up_of_a_judged_trial_tells_its_panel_and_no_other(woodruff):
    shown = " ".join(str(part) for part in TrialReport(woodruff, "WOO-02").panels())
    assert "Panel P-1 (triangle, 12 assessors)" in shown
    assert TrialReport(woodruff, "WOO-03").panels() == []
    assert FlowReport(woodruff, trials=["WOO-03"]).panels() == []


def test_the_page_of_a_trial_without_a_panel_prints_nothing_of_panels(woodruff, tmp_path):
    bundles = {name: kit.write_up(kit.open_source(woodruff), name, to=tmp_path / name) for name in ("WOO-02", "WOO-03")}
    texts = {name: made.page.read_text(encoding="utf-8") for name, made in bundles.items()}
    assert "named the odd sample" in texts["WOO-02"]
    assert "named the odd sample" not in texts["WOO-03"] and "Panel P-1" not in texts["WOO-03"]


def test_the_papers_are_two_files_and_the_sheets_tell_nothing(woodruff, tmp_path):
    sheets, key = write_panel_papers(woodruff, "P-1", to=tmp_path / "papers")
    text = sheets.read_text(encoding="utf-8")
    assert text.count("<section>") == 12 and "WOO-0" not in text and "<script" not in text
    assert "WOO-01/1" in key.read_text(encoding="utf-8")
    with pytest.raises(KitError) as caught:
        write_panel_papers(woodruff, "P-1", to=tmp_path / "papers")
    assert caught.value.code == "panel.papers"
