"""The page of the panels: what they found, what they could have found, and no key before the last answer.

Referees: tables of the standards for the numbers needed, scipy for probabilities, arithmetic by hand beside the check;
the plain `papermill` command; two runs against each other; Chromium, and axe-core if installed.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from scipy import stats

import kit
from kit.cli import main
from kit.errors import KitError
from kit.figures.panel_marks import mark_differences
from kit.writeup.panel_page import NO_PANEL, PanelPage
from kit.writeup.panel_page_served import CLOSED
from kit.writeup.write_up import publish
from tests.panel_bench import PanelBench, odd, twin

ROOT = Path(kit.__file__).parents[1]
# marks of A and B, assessor by assessor: ten differences +1, one -1, one 0
MARKS = [(6, 5)] * 10 + [(4, 5), (5, 5)]


@pytest.fixture(scope="module")
def woodruff(tmp_path_factory) -> Path:
    """Six panels on two batches: one of each way to end, one of them still open; and six tresses."""
    bench = PanelBench(tmp_path_factory.mktemp("woodruff"))
    for place in range(1, 3):
        bench.make(f"WOO-0{place}")
    bench.now = bench.now.replace(day=bench.now.day + 1)
    bench.plan("triangle", "WOO-triangle", assessors=24, question="Which is not like the others?")
    bench.answer(lambda place, serving: odd(serving) if place < 13 else twin(serving), "WOO-triangle")
    bench.plan("preference", "WOO-place", question="Which do you prefer to touch?")
    bench.answer(lambda place, serving: serving.codes[0], "WOO-place")
    bench.plan("rating", "WOO-marks", scale=(1, 9), question="How easily does the comb run?")
    bench.answer(
        lambda place, serving: {code: MARKS[place]["AB".index(letter)] for code, letter in serving.letters.items()},
        "WOO-marks",
    )
    bench.plan("duo-trio", "WOO-open", question="Which is the reference?")
    bench.answer(lambda place, serving: serving.codes[0], "WOO-open", count=7)
    bench.plan("triangle", "WOO-alike", assessors=30, similar_below="30 %", question="Which is the odd one?")
    bench.answer(lambda place, serving: odd(serving) if place < 8 else twin(serving), "WOO-alike")
    given = {"on": "hair", "consent": "forms with the study director", "override": "a passed test lies on paper"}
    bench.plan("paired", "WOO-hair", expected="B", question="Which combs more easily?", **given)
    for trial, shares in (("WOO-01/1", (41, 44, 47)), ("WOO-02/1", (35, 37, 33))):
        for place, share in enumerate(shares):
            bench.book.batch(trial).read("wet-combing force", f"{share} %", sample=f"{trial} {place}", at="")
    bench.book.close()
    return bench.path


@pytest.fixture(scope="module")
def report(woodruff) -> PanelPage:
    return PanelPage(str(woodruff))


@pytest.fixture(scope="module")
def published(woodruff, tmp_path_factory):
    to = tmp_path_factory.mktemp("page")
    given = {"study": "WOO", "panels": [], "control": "", "age": ""}
    return publish("panel", woodruff, ["WOO-01", "WOO-02"], given, to=to, name="panel", title="Panels")


def outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    found = [output["data"] for cell in cells for output in cell.get("outputs", ())]
    return [{kind: "".join(text) if isinstance(text, list) else text for kind, text in one.items()} for one in found]


def test_every_panel_has_its_verdict_and_the_open_one_none(published, page):
    """13 of 24 in a triangle is the number of ISO 4120 at 5 %; 8 of 30 with a limit of 30 %: bound below."""
    made = page.read(published.page)
    verdicts = {row[0]: (row[3], row[4]) for row in made.table("What the panels found")[1:]}
    assert verdicts == {
        "WOO-triangle": ("24 of 24", "a difference is shown"),
        "WOO-place": ("12 of 12", "no preference is shown"),
        "WOO-marks": ("12 of 12", "a difference is shown"),
        "WOO-open": ("7 of 12", "NO VERDICT"),
        "WOO-alike": ("30 of 30", "shown to be alike within the limit stated"),
        "WOO-hair": ("0 of 12", "NO VERDICT"),
    }
    bound = stats.binomtest(8, 30, alternative="less").proportion_ci(0.95).high
    assert f"At most {100 * (1.5 * bound - 0.5):.0f} % tell the two apart (one-sided 95 %)" in made.text
    assert "5 answers still to come" in made.text
    # triangle, alike, place: answers against the number needed; marks; tresses
    assert published.figures == len(made.figures) == 5
    assert made.table("Panel WOO-triangle: counts")[3] == ["needed", "13"]


def test_everybody_chose_the_one_served_first_and_the_page_says_so(published, page):
    """12 of 12: Clopper and Pearson 74 to 100 %, both sides p = 2 / 4096."""
    made = page.read(published.page)
    exact = stats.binomtest(12, 12).proportion_ci(0.95, method="exact")
    assert (
        f"12 of 12 chose the one served first: 100 % (95 % interval {100 * exact.low:.0f} to {100 * exact.high:.0f} %)"
    ) in made.text
    assert "everybody chose the one served first. They chose by place, and of the samples nothing is told." in made.text
    numbers = {row[0]: row[1] for row in made.table("Panel WOO-place: counts")[1:]}
    assert numbers["p of the place served, both sides"] == f"{stats.binomtest(12, 12).pvalue:.4f}" == "0.0005"


def test_the_key_is_on_the_page_only_where_no_answer_can_come(woodruff, published, page):
    made = page.read(published.page)
    with kit.open_source(woodruff) as source:
        panels = {kept.name: kept for kept in source.panels("WOO")}
    served = {row[0]: row[2] for row in made.table("Panel WOO-triangle: servings")[1:]}
    for serving in panels["WOO-triangle"].servings:
        assert served[serving.assessor] == ", ".join(f"{code} {letter}" for code, letter in serving.letters.items())
    for name in ("WOO-open", "WOO-hair"):
        rows = made.table(f"Panel {name}: servings")
        assert rows[0] == ["assessor", "coded samples", "answer"] and len(rows) == 13
        assert not any(code in " ".join(map(" ".join, rows)) for code in panels[name].servings[0].codes)
    assert [row[2] for row in made.table("Panel WOO-open: servings")[1:]] == ["given"] * 7 + ["still to come"] * 5
    assert CLOSED in made.text


def test_places_and_plan_stand_as_they_were_kept_before_the_answers(report, page, published):
    """24 assessors over 6 orders of a triangle, 4 each: in every place A as often as B, 12 times."""
    made = page.read(published.page)
    assert made.table("Panel WOO-triangle: how often each sample stood where")[1:] == [
        ["WOO-01/1", "12", "12", "12"],
        ["WOO-02/1", "12", "12", "12"],
    ]
    plan = {row[0]: row[1] for row in made.table("Panel WOO-hair: as it was planned")[1:]}
    assert plan["consent"] == "forms with the study director" and plan["expected before"] == "WOO-02/1 more"
    assert "a passed test lies on paper" in plan["set aside"] and plan["first answer"] == "none yet"
    opened = {row[0]: row[1] for row in made.table("Panel WOO-open: as it was planned")[1:]}
    assert "expected before" not in opened and opened["answers"] == "7 of 12"
    assert opened["kept"] <= opened["first answer"]
    assert report.served()


def test_what_more_assessors_would_find_holds_against_the_binomial(published, page):
    """Triangle, 5 %: 13 of 24, 18 of 36, 27 of 60 (ISO 4120); the share named is found with a chance of 0.8."""
    made = page.read(published.page)
    rows = made.table("Panel WOO-triangle: what it could have found")[1:]
    assert [row[:2] for row in rows][:3] == [["24, this panel", "13"], ["36", "18"], ["60", "27"]]
    for size, row in zip((24, 36, 60), rows, strict=False):
        share = float(row[2].removesuffix(" %")) / 100
        chance = stats.binom.sf(int(row[1]) - 1, size, 1 / 3 + share * 2 / 3)
        assert chance == pytest.approx(0.8, abs=0.025)  # the share is printed in whole per cent
    alike = made.table("Panel WOO-alike: what it could have found")[1]
    assert alike[2] == f"{100 * stats.binom.cdf(int(alike[1]), 30, 1 / 3):.0f} %"


def test_two_rated_samples_are_drawn_by_their_differences(report):
    """Ten +1, one -1, one 0; the middle of all 78 Walsh means is 1."""
    result = next(one for one in report.results if one.panel.name == "WOO-marks")
    figure = mark_differences(result)
    assert dict(list(figure.table.rows)[:3]) == {"−1": "1", "0": "1", "+1": "10"}
    assert figure.traces[0]["y"] == [1, 1, 10] and figure.traces[0]["x"] == [-1, 0, 1]
    assert figure.traces[1]["x"] == [1.0]
    low, high = figure.traces[1]["error_x"]["arrayminus"][0], figure.traces[1]["error_x"]["array"][0]
    assert (1 - low, 1 + high) == (result.finding.test.low, result.finding.test.high)
    triangle = next(one for one in report.results if one.panel.name == "WOO-triangle")
    assert mark_differences(triangle) is None


def test_tresses_are_their_own_controls_and_the_ages_are_said(report, published, page):
    """Geometric means of 41, 44, 47 and of 35, 37, 33: 43.9 and 35.0."""
    made = page.read(published.page)
    left = {row[0].split(",")[0]: row[2] for row in made.table("Combing: force left")[1:]}
    assert left == {"WOO-01/1": "43.9", "WOO-02/1": "35.0"}
    assert "The tress is the unit" in str(report.hair())


def test_cautions_for_people_and_for_the_bench(published, page):
    made = page.read(published.page)
    for said in (
        "Before you begin (on hair, rinsed off)",
        "Before you begin (on cut tresses)",
        "Keep it out of the eyes",
        "A sample that is not preserved, or outside a limit, is never put on anybody",
        "No coded limit exceeded",
    ):
        assert said in made.text
    assert made.table("Cautions for whoever repeats this batch") and "compliant" not in made.text


@pytest.mark.slow
def test_papermill_and_the_command_give_the_same_page(woodruff, published, tmp_path, monkeypatch):
    out = tmp_path / "plain.ipynb"
    command = [sys.executable, "-m", "papermill", "--no-progress-bar", "-p", "source", str(woodruff), "-p", "study"]
    command += ["WOO", str(ROOT / "templates" / "panel.ipynb"), str(out)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert outputs(out) == outputs(published.notebook)
    monkeypatch.chdir(tmp_path)
    told = ["run", "panel", "--source", str(woodruff), "--set", "study=WOO", "--to", "pages"]
    assert main(told) == 0
    assert (tmp_path / "pages" / "panel.html").read_bytes() == published.page.read_bytes()


def test_a_study_without_a_panel_says_how_to_plan_one(tmp_path):
    book = kit.new_labbook(tmp_path / "empty.labbook")
    book.new_study("NIL", question="Anything?")
    empty = PanelPage(book)
    told = [str(part) for part in (empty.identity(), empty.reach(), empty.served(), empty.hair(), empty.cautions())]
    assert list(empty.findings()) == [] and empty.hair_figure() == []
    book.close()
    assert NO_PANEL in told[0] and told[1] == told[2] == "" and "No wet-combing force is recorded" in told[3]


def test_only_the_panels_asked_for_are_shown_and_others_are_refused(woodruff):
    one = PanelPage(str(woodruff), panels=["WOO-place"])
    assert [kept.name for kept in one.panels] == ["WOO-place"] and one.study.name == "WOO"
    with pytest.raises(KitError) as caught:
        PanelPage(str(woodruff), panels=["WOO-plaice"])
    assert caught.value.code == "panel.unknown" and "WOO-place" in caught.value.allowed


def test_a_panel_of_another_study_is_refused(tmp_path):
    bench = PanelBench(tmp_path)
    for place in range(1, 3):
        bench.make(f"WOO-0{place}")
    bench.plan("triangle")
    bench.book.new_study("NIL", question="Anything?")
    with pytest.raises(KitError) as caught:
        PanelPage(bench.book, study="NIL", panels=["P-1"])
    bench.book.close()
    assert caught.value.code == "panel_page.study"


@pytest.mark.browser
def test_the_page_is_drawn_fits_a_phone_and_has_no_serious_barrier(published, chromium):
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        engine = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        opened = engine.new_context(viewport={"width": 1280, "height": 900}, offline=True).new_page()
        said: list[str] = []
        opened.on("console", lambda message: said.append(message.text))
        opened.on("pageerror", lambda error: said.append(str(error)))
        opened.goto(published.page.as_uri())
        opened.wait_for_function("document.body.dataset.ready !== 'false'", timeout=30_000)
        assert opened.evaluate("document.body.dataset.ready") == "true" and said == []
        assert opened.evaluate("document.querySelectorAll('.plot .main-svg').length") >= 5
        assert opened.evaluate("document.documentElement.scrollWidth") <= 1280
        axe = pytest.importorskip("axe_playwright_python.sync_playwright")
        opened.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true })")
        found = axe.Axe().run(opened).response
        assert len(found["passes"]) > 10
        assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
        opened.set_viewport_size({"width": 390, "height": 844})
        opened.wait_for_timeout(500)  # figures are set anew after a moment
        assert opened.evaluate("document.documentElement.scrollWidth") <= 390 and said == []
        engine.close()
