"""The page of a plan: of one that is kept, and of one planned on the page; it reads and never writes.

Referees: the plan itself; the plain `papermill` command; two runs against each other.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import kit
from kit.cli import main
from kit.errors import KitError
from kit.writeup.plan_report import PlanReport

ROOT = Path(kit.__file__).parents[1]
SERIES = ["cetearyl-alcohol: 3.00, 4.00, 5.00, 6.00 %"]
BOUNDS = [
    "behentrimonium-chloride-80: 1 to 3 %",
    "cetearyl-alcohol: 4 to 6 %",
    "caprylic-capric-triglyceride: 1 to 3 %",
]


@pytest.fixture(scope="module")
def planned(demo, tmp_path_factory):
    """A copy of the linden lab book in which two plans are kept."""
    path = tmp_path_factory.mktemp("planned") / "linden.labbook"
    shutil.copy(demo.labbook, path)
    with kit.open_labbook(path) as book:
        base = book.trial("LIN-03").formula
        base = type(base)(**{**base.__dict__, "library": kit.load_library()})
        series = kit.plan_variations(base, "levels", SERIES, days=2, seed=5, history=book, study="LIN")
        book.add_plan(series, study="LIN", name="LIN-levels")
        mixed = kit.plan_variations(base, "extreme vertices", BOUNDS, total="8.5 % as supplied", days=2, seed=5)
        book.add_plan(mixed, study="LIN", name="LIN-mixture")
    return path, series, mixed


def test_a_kept_plan_is_shown_as_it_was_planned(planned):
    path, series, _ = planned
    report = PlanReport(str(path), plan="LIN-levels")
    assert report.plan.row() == series.row()  # a version that the lab book knew before keeps the label it has there
    assert [row[:5] for row in report.order().rows] == [row[:5] for row in series.batches_table().rows]
    assert "Plan LIN-levels of study LIN" in str(report.identity())
    assert str(report.progress()).count("NOT MADE YET") == len(series.batches)


def test_the_scatter_comes_from_the_repeated_batches_of_the_study_and_its_history(planned, demo):
    """LHC-01 was made six times, LIN-03 and LIN-06 are one version made twice: pooled by numpy from raw readings."""
    squares, df = 0.0, 0
    with kit.open_source(demo.labbook) as source:
        for trials in (("LHC-01",), ("LIN-03", "LIN-06")):
            values = [
                [float(reading.value) for reading in batch.readings if _is_at_72_h(reading)]
                for trial in trials
                for batch in source.batches(trial)
            ]
            means = np.log([np.exp(np.mean(np.log(one))) for one in values])
            squares, df = squares + means.var(ddof=1) * (len(means) - 1), df + len(means) - 1
    _, series, _ = planned
    assert series.power.scatter.df == df == 6
    assert series.power.scatter.sd == pytest.approx(np.sqrt(squares / df), rel=1e-9)
    assert "LIN-03, LIN-06 (2 batches)" in series.power.scatter.words


def _is_at_72_h(reading) -> bool:
    return reading.property == "viscosity" and reading.age_h is not None and 68 <= reading.age_h <= 76


def test_a_plan_is_made_on_the_page_and_kept_by_nobody(demo):
    before = Path(demo.labbook).read_bytes()
    report = PlanReport(demo.labbook, layout="levels", trial="LIN-03", factors=SERIES, days=2, study="LIN")
    assert "not kept" in str(report.identity())
    assert "Nothing is made" in str(report.progress())
    assert len(report.order_figure()) == 1 and report.points_figures() == []
    assert Path(demo.labbook).read_bytes() == before


def test_figures_hold_every_batch_and_say_it_in_words(planned):
    path, _, mixed = planned
    report = PlanReport(str(path), plan="LIN-mixture")
    (order,), (points,) = report.order_figure(), report.points_figures()
    assert len(order.table.rows) == len(mixed.batches)
    assert sum(int(row[-1]) for row in points.table.rows) == sum(
        bool(mixed.version(batch.version).levels) for batch in mixed.batches
    )
    for figure in (order, points):
        assert figure.summary.endswith(".") and figure.json()["layout"]["meta"]["kit"]["rows"]
        looks = [(trace["mode"], str(trace["marker"]["symbol"])) for trace in figure.traces if "marker" in trace]
        assert len(looks) == len(set(looks))


def test_the_corners_of_the_triangle_are_where_they_belong(planned):
    """A point with nothing but its first component above the lowest contents lies at the top: (1/2, sqrt(3)/2)."""
    from kit.figures.plan_points import _on_triangle

    assert _on_triangle((1, 0, 0)) == pytest.approx((0.5, 0.8660254))
    assert _on_triangle((0, 1, 0)) == pytest.approx((0, 0))
    assert _on_triangle((0, 0, 1)) == pytest.approx((1, 0))


def test_cautions_stand_on_the_page(planned):
    path, _, _ = planned
    told = str(PlanReport(str(path), plan="LIN-levels").cautions())
    assert "Hot" in told and "challenge test" in told


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"layout": "ladder", "trial": "LIN-03"}, "plan_report.layout"),
        ({"layout": "levels", "factors": SERIES}, "plan_report.subject"),
        ({"layout": "levels", "trial": "LIN-03", "formula_file": "x.toml"}, "plan_report.subject"),
        ({"plan": "LIN-none"}, "plan.unknown"),
        ({}, "labbook.study"),
    ],
)
def test_what_cannot_be_shown_is_refused_in_words(demo, given, code):
    with pytest.raises(KitError) as caught:
        PlanReport(demo.labbook, **given)
    assert caught.value.code == code


def test_kit_run_shows_a_kept_plan_and_gives_the_same_page_again(planned, tmp_path):
    path, _, _ = planned
    before = path.read_bytes()
    pages = []
    for turn in ("one", "two"):
        arguments = ["run", "plan_variations", "--source", str(path), "--set", "plan=LIN-levels", "--to"]
        assert main([*arguments, str(tmp_path / turn)]) == 0
        (page,) = (tmp_path / turn).glob("*.html")
        pages.append(page.read_text(encoding="utf-8"))
    assert pages[0] == pages[1]
    assert "Order of making" in pages[0] and "NOT MADE YET" in pages[0] and "What this plan can tell" in pages[0]
    assert path.read_bytes() == before


def test_the_plain_papermill_command_plans(demo, tmp_path):
    filled = tmp_path / "filled.ipynb"
    done = subprocess.run(
        [
            *(sys.executable, "-m", "papermill", "--no-progress-bar", "-p", "source", str(demo.labbook)),
            *("-p", "layout", "levels", "-p", "trial", "LIN-03", "-y", "factors: ['cetearyl-alcohol: 3 to 7 %']"),
            *(str(ROOT / "templates" / "plan_variations.ipynb"), str(filled)),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Order of making" in filled.read_text(encoding="utf-8")
