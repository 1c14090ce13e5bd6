"""The figure of the good region: what it shades is what the goals make of what the models say.

Referees: least squares by numpy on the typed batches, and the desirability of a straight-sided target by hand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.figures.good_region import good_region
from kit.science.desirability import larger, smaller, target
from kit.trials.next_trial_goals import ReadGoal
from kit.trials.next_trial_result import NextTrials
from tests.figures.test_fitted_figures import BLENDS, SQUARE, blend, making, three


def asked(response, goal) -> NextTrials:
    """Nothing suggested: the goals alone."""
    goals = (ReadGoal(response.result, goal, "as asked"),)
    return NextTrials("KIT", (), goals, response.space, "", None, response.batches, "", ())


def plain_fit(response) -> np.ndarray:
    """ln viscosity on 1, coded speed and coded minutes, by numpy."""
    coded = [(1.0, (rpm - 6500) / 2500, (minutes - 7.5) / 4.5) for rpm, minutes in SQUARE]
    return np.linalg.lstsq(np.array(coded), np.log([batch.value for batch in response.batches]), rcond=None)[0]


def by_hand(value: float, low: float, best: float, high: float) -> float:
    side = (value - low) / (best - low) if value <= best else (high - value) / (high - best)
    return min(max(side, 0.0), 1.0)


def rows_of(figure, name):
    return [row for row in figure.table.rows if row[0] == name]


def shaded(figure) -> dict:
    return next(trace for trace in figure.traces if trace["name"] == "desirability")


def test_the_shade_of_a_place_is_the_desirability_of_the_model_there():
    response = making()
    figure = good_region([response], asked(response, target(13000, 15000, 19000)))
    constant, speed, minutes = plain_fit(response)
    trace = shaded(figure)
    seen = 0
    for column in range(0, len(trace["x"]), 8):
        for row in range(0, len(trace["y"]), 8):
            x, y = (trace["x"][column] - 6500) / 2500, (trace["y"][row] - 7.5) / 4.5
            value = math.exp(constant + speed * x + minutes * y)
            assert trace["z"][row][column] == pytest.approx(by_hand(value, 13000, 15000, 19000), abs=0.001)
            seen += 0.05 < trace["z"][row][column] < 0.95
    assert seen > 10


def test_batches_stand_in_the_table_with_what_the_model_says_of_them():
    response = making()
    figure = good_region([response], asked(response, target(13000, 15000, 19000)))
    constant, speed, minutes = plain_fit(response)
    for place, (rpm, time) in enumerate(SQUARE, 1):
        value = math.exp(constant + speed * (rpm - 6500) / 2500 + minutes * (time - 7.5) / 4.5)
        ((_, x, y, said, desirability, where),) = rows_of(figure, f"KIT-{place:02}/1")
        assert (float(x), float(y), where) == (rpm, time, "in the tried region")
        assert float(said) == pytest.approx(value, rel=1e-3)
        assert float(desirability) == pytest.approx(by_hand(value, 13000, 15000, 19000), abs=0.006)


def test_batches_are_told_apart_by_whether_they_met_the_goal_as_measured():
    """The typed values: 15000 x exp(-0.1 x (rpm - 6500) / 5000 - 0.2 x (min - 7.5) / 9 + scatter)."""
    response = making()
    inside = {batch.batch for batch in response.batches if 14500 <= batch.value <= 16000}
    assert 0 < len(inside) < len(response.batches)
    figure = good_region([response], asked(response, target(14500, 15000, 16000)))
    names = {trace["name"]: set(trace["hovertext"]) for trace in figure.traces if trace.get("hovertext")}
    assert names["batch that met every goal"] == inside
    assert names["batch that did not"] == {batch.batch for batch in response.batches} - inside


@pytest.mark.parametrize(
    ("goal", "met"),
    [
        (larger(1, 2), "100 %"),
        (smaller(1e6, 1e7), "100 %"),
        (larger(1e6, 1e7), "no point"),
        (smaller(1, 2), "no point"),
    ],
)
def test_a_goal_that_all_or_nothing_meets_is_said(goal, met):
    response = making()
    figure = good_region([response], asked(response, goal))
    assert met in figure.summary
    dashed = [trace for trace in figure.traces if trace["name"].startswith("every goal met")]
    assert bool(dashed) == (met == "100 %")


def test_a_mixture_of_three_is_drawn_in_its_triangle():
    """Its batches lie by their shares of what the lower bounds 0, 0.5 and 4 leave of 7 %."""
    response = blend()
    figure = good_region([response], asked(response, target(10000, 13000, 17000)))
    assert figure.subtitle.endswith("a mixture of three")
    marks = {}
    for trace in figure.traces:
        marks |= dict(zip(trace.get("hovertext", ()), zip(trace["x"], trace["y"], strict=True), strict=False))
    for place, (first, _, third) in enumerate(BLENDS, 1):
        if BLENDS.count(BLENDS[place - 1]) == 1:
            top, right = first / 2.5, (third - 4) / 2.5
            assert marks[f"KIT-{place:02}/1"] == pytest.approx((right + top / 2, top * math.sqrt(3) / 2))


def test_other_factors_are_held_and_named():
    response = three()
    figure = good_region([response], asked(response, larger(9, 12)))
    assert any(note.startswith("Held: oil") for note in figure.footnotes)
    assert "gum and salt" in figure.subtitle


def test_without_a_model_a_goal_or_a_plane_there_is_none():
    response = making()
    assert good_region([], asked(response, larger(1, 2))) is None
    other = blend()
    assert good_region([other], NextTrials("KIT", (), (), other.space, "", None, (), "", ())) is None
