"""The figure of suggestions: every goal a panel, every number in the table."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest

from kit.figures.next_trial import desirability_of
from kit.science.desirability import smaller, target
from kit.trials.next_trial_goals import ReadGoal
from kit.trials.results import ArmResult, BatchValue, PropertyResult


def goal(name, unit, values, wanted, scale="linear"):
    means = tuple(BatchValue(f"A-{place}/1", value, None, 1, "2026-08-03") for place, value in enumerate(values))
    arm = ArmResult("A", means, len(means), len(means), None, None, "", "", None, (), (), ())
    return ReadGoal(PropertyResult(name, name, unit, "72 h", None, scale, None, (arm,)), wanted, "as asked")


GOALS = (
    goal("viscosity", "mPa.s", [12000.0, 16000.0], target(13000, 16000, 20000), "ln"),
    goal("wet-combing <b>", "%", [39.0, 44.0], smaller(38, 42)),
)


def pick(viscosity, combing, desirability):
    middle = {"viscosity, 72 h": viscosity, "wet-combing <b>, 72 h": combing}
    low, high = ({name: value * share for name, value in middle.items()} for share in (0.9, 1.1))
    return SimpleNamespace(pick=SimpleNamespace(middle=middle, low=low, high=high, desirability=desirability))


@pytest.fixture
def figure():
    found = SimpleNamespace(
        study="TEA",
        goals=GOALS,
        suggestions=(pick(14500.0, 40.0, 0.5), pick(16000.0, 39.0, 0.87)),
        best="A-1/1",
        best_desirability=0.4,
        notes=("single batches",),
    )
    return desirability_of(found)


def test_every_suggestion_stands_on_every_goal(figure):
    assert [row[:3] for row in figure.table.rows] == [
        ("suggestion 1", "viscosity, 72 h", "14500"),
        ("suggestion 1", "wet-combing <b>, 72 h", "40.0"),
        ("suggestion 1", "all goals together", ""),
        ("suggestion 2", "viscosity, 72 h", "16000"),
        ("suggestion 2", "wet-combing <b>, 72 h", "39.0"),
        ("suggestion 2", "all goals together", ""),
    ]
    # 14500 is half the way from 13000 to 16000; 40 half the way from 42 to 38
    assert [row[4] for row in figure.table.rows] == ["0.50", "0.50", "0.50", "1.00", "0.75", "0.87"]
    assert figure.table.rows[0][3] == "13000 to 16000"  # 13050 to 15950, three figures


def test_it_is_drawn_as_it_is_told(figure):
    drawn = figure.json()
    assert {trace["xaxis"] for trace in drawn["data"]} == {"x", "x2"}
    marks = {(trace["name"], trace["xaxis"]): trace for trace in drawn["data"]}
    assert marks["suggestion 2", "x"]["x"] == [16000.0] and marks["suggestion 2", "x"]["y"] == [1.0]
    assert marks["batches as measured", "x2"]["y"] == [0.75, 0.0]
    looks = {marks[f"suggestion {place}", "x"]["marker"]["symbol"] for place in (1, 2)}
    assert len(looks) == 2
    assert "0.87" in figure.summary and "A-1/1" in figure.summary
    assert "&lt;b&gt;" in json.dumps(drawn["layout"]["xaxis2"])
    assert figure.plotly() is not None


def test_without_a_suggestion_there_is_no_figure():
    assert desirability_of(SimpleNamespace(suggestions=())) is None
