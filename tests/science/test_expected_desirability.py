"""The desirability to be expected against its integral, worked out by SciPy one point at a time."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from kit.errors import KitError
from kit.science.desirability import between, larger, smaller, target, within
from kit.science.expected_desirability import expected_power

BOX = target(13000, 16000, 20000)


def integral(goal, power, mean, spread, df, *, log):
    """Over the middle 99.9 % of Student's t, piece by piece between the ends of the goal."""

    def value(u):
        x = math.exp(u) if log else u
        return float(goal.of(x)) ** power * stats.t.pdf(u, df, loc=mean, scale=spread)

    first, last = stats.t.ppf([0.0005, 0.9995], df, loc=mean, scale=spread)
    ends = [
        end for end in (goal.low, goal.best, *(goal.full or ()), goal.high) if end is not None and (end > 0 or not log)
    ]
    ends = [math.log(end) if log else end for end in ends]
    edges = [first, *sorted(end for end in ends if first < end < last), last]
    return sum(quad(value, one, two, limit=200)[0] for one, two in itertools.pairwise(edges))


@pytest.mark.parametrize("df", [3, 12])
@pytest.mark.parametrize(
    ("goal", "power", "mean", "spread", "log"),
    [
        (BOX, 0.5, math.log(16000), 0.04, True),
        (BOX, 0.5, math.log(16000), 0.3, True),
        (BOX, 1.0, math.log(13500), 0.1, True),
        (BOX, 0.5, math.log(11000), 0.15, True),
        (smaller(38, 42), 0.5, 41.0, 1.5, False),
        (larger(60, 90), 0.25, 70.0, 12.0, False),
        (between(13000, 14300, 18250, 20000), 0.5, math.log(14300), 0.1, True),
        (within(3, None), 1.0, 3.4, 0.5, False),
    ],
)
def test_it_is_the_mean_over_what_the_value_may_be(goal, power, mean, spread, log, df):
    found = float(expected_power(goal, power, np.array([mean]), np.array([spread]), df, log=log)[0])
    # the desirability of the middle alone is 0.06 or more away in every case
    plain = float(goal.of(math.exp(mean) if log else mean)) ** power
    wanted = integral(goal, power, mean, spread, df, log=log)
    assert found == pytest.approx(wanted, abs=0.015)
    assert abs(plain - wanted) > 0.03


def test_a_stretch_of_values_is_worth_one_and_falls_in_straight_lines():
    goal = between(10, 12, 15, 19)
    worth = goal.of([9, 10, 11, 12, 13.5, 15, 16, 19, 20, math.nan])
    assert worth == pytest.approx([0, 0, 0.5, 1, 1, 1, 0.75, 0, 0, 0])
    assert goal.words == "1 from 12 to 15, 0 at 10 and below and at 19 and above"
    assert goal.short_of([9, 12, 20.8]) == pytest.approx([1 / 9, 0, 0.2])  # in widths of the goal
    with pytest.raises(KitError) as problem:
        between(10, 15, 12, 19)
    assert problem.value.code == "desirability.limits"


def test_many_at_once_are_each_by_itself():
    means, spreads = np.meshgrid(np.log([9000, 13100, 15000, 16000, 19500, 30000]), [0.01, 0.05, 0.2, 0.6])
    together = expected_power(BOX, 0.5, means, spreads, 6, log=True)
    for place in np.ndindex(means.shape):
        wanted = integral(BOX, 0.5, means[place], spreads[place], 6, log=True)
        assert together[place] == pytest.approx(wanted, abs=0.02)


def test_what_is_known_exactly_is_the_desirability_itself():
    means = np.linspace(12000, 21000, 400)
    found = expected_power(BOX, 1.0, means, np.zeros(400), 5)
    assert found == pytest.approx(BOX.of(means), abs=0.01)


def test_what_is_not_known_counts_for_less_on_the_target_and_for_more_beyond_the_end():
    spreads = np.array([0.0, 0.05, 0.1, 0.2, 0.4])
    on, beyond = (expected_power(BOX, 0.5, np.full(5, math.log(m)), spreads, 8, log=True) for m in (16000, 12000))
    assert (np.diff(on) < -0.05).all() and on[0] == pytest.approx(1, abs=0.02)
    assert beyond[0] == 0 and (np.diff(beyond[:4]) > 0.02).all()


def test_the_side_on_which_the_goal_ends_sooner_is_kept_away_from():
    lopsided, means = target(0, 1, 5), np.linspace(0.5, 3, 251)
    best = means[np.argmax(expected_power(lopsided, 1.0, means, np.full(251, 0.8), 20))]
    assert 1.3 < best < 2.2
