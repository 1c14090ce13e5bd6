"""Which point next: on surfaces that are known, so that what is best and what is open is known without the kit."""

from __future__ import annotations

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.desirability import larger, smaller, target, within
from kit.science.goal_surfaces import Observed, fit_surfaces
from kit.science.next_point import best_points, settling_points, unreached

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


def test_a_goal_that_nothing_reaches_is_told_and_the_nearest_is_picked(surfaces):
    far = fit_surfaces(TRIED, {"gloss": Observed((hill(TRIED) + NOISE).tolist(), larger(130, 150))})
    outlook = far.outlook(GRID)
    (beyond,) = unreached(far, outlook)
    assert beyond.goal == "gloss" and beyond.chance < 0.05
    assert GRID[beyond.nearest] == pytest.approx([0.4, -0.2], abs=0.3)
    ((index, _),) = best_points(far, GRID)
    assert index == beyond.nearest  # the top, 100, comes nearest to 130
    assert outlook.short[index] == pytest.approx(30 / 20, abs=0.1)
    assert unreached(surfaces, surfaces.outlook(GRID)) == ()


def test_goals_that_cannot_be_met_together_are_told_together():
    """Gloss above 95 only near the top, cost below 9.5 only at x < -0.5."""
    observed = {
        "gloss": Observed(hill(TRIED).tolist(), larger(95, 101)),
        "cost": Observed((10 + TRIED[:, 0]).tolist(), smaller(9.0, 9.5)),
    }
    both = fit_surfaces(TRIED, observed)
    (beyond,) = unreached(both, both.outlook(GRID))
    assert beyond.goal == "" and beyond.chance < 0.05


def test_the_best_batch_is_the_one_of_which_most_can_be_expected():
    """Two batches predicted alike: made again three times counts for more than made once, far from all others."""
    tried = np.array([[-0.8, -0.8]] * 4 + [[-0.8, 0.0], [0.0, -0.8], [-0.4, -0.4], [1.0, 1.0]])
    values = [10.1, 9.9, 10.0, 10.0, 12.0, 12.0, 12.0, 10.0]
    outlook = fit_surfaces(tried, {"haze": Observed(values, target(8, 10, 12))}).outlook(tried)
    assert outlook.best_batch in (0, 1, 2, 3)
    assert outlook.expected[0] > outlook.expected[7] + 0.02
    assert (outlook.expected <= 1).all() and outlook.best_expected == pytest.approx(outlook.expected.max())


def test_too_few_batches_say_how_many_it_takes():
    with pytest.raises(KitError) as caught:
        fit_surfaces(TRIED[:3], {"gloss": Observed([1.0, 2.0, 3.0], larger(0, 1))})
    assert caught.value.code == "next.few"
    assert "gloss was read of 3 batches" in str(caught.value) and "4 batches or more" in str(caught.value)
    with pytest.raises(KitError, match=r"gloss was read of 1 batch[.;,\n ]"):
        fit_surfaces(TRIED[:1], {"gloss": Observed([1.0], larger(0, 1))})
