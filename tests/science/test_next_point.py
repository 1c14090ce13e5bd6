"""Which point next: on surfaces that are known, so that what is best and what is open is known without the kit."""

from __future__ import annotations

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.desirability import larger, smaller, target, within
from kit.science.next_point import Observed, best_points, fit_surfaces, settling_points

GRID = np.array([[x, y] for x in np.linspace(-1, 1, 15) for y in np.linspace(-1, 1, 15)])
TRIED = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1], [0, 0], [0, 0], [-1, 0], [0, 1], [0.6, -0.3], [0.2, -0.7]])
NOISE = np.array([0.3, -0.4, 0.2, -0.1, 0.4, -0.2, 0.1, -0.3, 0.2, -0.3])


def hill(points):
    """Highest, 100, at (0.4, -0.2)."""
    return 100 - 20 * ((points[:, 0] - 0.4) ** 2 + (points[:, 1] + 0.2) ** 2)


@pytest.fixture(scope="module")
def surfaces():
    return fit_surfaces(TRIED, {"gloss": Observed((hill(TRIED) + NOISE).tolist(), larger(60, 101))})


def test_the_pick_lies_by_the_top_that_was_never_made(surfaces):
    ((index, outlook),) = best_points(surfaces, GRID)
    assert GRID[index] == pytest.approx([0.4, -0.2], abs=0.3)
    assert outlook.best_batch == 8  # (0.6, -0.3)
    assert outlook.improvement[index] == outlook.improvement.max() > 0
    assert outlook.low["gloss"][index] < outlook.middle["gloss"][index] < outlook.high["gloss"][index]


def test_further_picks_count_those_before_as_made(surfaces):
    picks = [index for index, _ in best_points(surfaces, GRID, 3)]
    assert len(set(picks)) == 3


def test_smaller_is_better_turned_round():
    picked = best_points(fit_surfaces(TRIED, {"haze": Observed((200 - hill(TRIED)).tolist(), smaller(99, 140))}), GRID)
    assert GRID[picked[0][0]] == pytest.approx([0.4, -0.2], abs=0.3)


def test_two_goals_are_weighed_against_each_other():
    observed = {
        "gloss": Observed(hill(TRIED).tolist(), larger(60, 101)),
        "cost": Observed((10 + TRIED[:, 0]).tolist(), within(None, 9.9)),
    }
    ((index, outlook),) = best_points(fit_surfaces(TRIED, observed), GRID)
    assert GRID[index][0] < -0.05  # as near to the top as the limit lets it
    beyond = GRID[:, 0] > 0.3
    assert outlook.desirability[beyond].max() == 0


def test_a_ratio_property_is_fitted_on_ln_and_told_in_its_unit():
    viscosity = np.exp(9.5 + 0.4 * TRIED[:, 0] - 0.2 * TRIED[:, 1])
    observed = {"viscosity": Observed(viscosity.tolist(), target(9000, 16000, 25000), log=True)}
    outlook = fit_surfaces(TRIED, observed).outlook(np.array([[0.5, 0.5]]))
    assert outlook.middle["viscosity"][0] == pytest.approx(np.exp(9.5 + 0.1), rel=0.01)


def test_a_response_that_was_not_read_of_every_batch_is_fitted_to_those_that_were():
    plane = 50 + 20 * TRIED[:, 0] - 10 * TRIED[:, 1] + 0.2 * NOISE
    holes = [None if place in (2, 5) else float(value) for place, value in enumerate(plane)]
    outlook = fit_surfaces(TRIED, {"gloss": Observed(holes, larger(20, 80))}).outlook(TRIED[:4])
    assert outlook.middle["gloss"] == pytest.approx([40, 80, 20, 60], abs=0.6)  # a shifted row would miss by 10


def test_where_nothing_can_be_gained_no_gain_is_told():
    flat = fit_surfaces(TRIED, {"gloss": Observed((90 + 0.01 * NOISE).tolist(), larger(60, 80))})
    outlook = flat.outlook(GRID)
    assert outlook.best == 1.0 and outlook.improvement.max() < 1e-9


def test_a_question_is_settled_best_where_it_is_asked(surfaces):
    corner = np.array([0.9, 0.4])
    index, now, after = settling_points(surfaces, "gloss", corner, GRID)
    assert np.abs(GRID[index] - corner).max() < 0.6
    assert 0 < after < now


def test_too_few_batches_say_how_many_it_takes():
    with pytest.raises(KitError) as caught:
        fit_surfaces(TRIED[:3], {"gloss": Observed([1.0, 2.0, 3.0], larger(0, 1))})
    assert caught.value.code == "next.few"
    assert "gloss was read of 3 batches" in str(caught.value) and "4 batches or more" in str(caught.value)
