from __future__ import annotations

from collections import Counter
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.design_crossed import split_plot
from kit.science.design_day import day_correlation
from kit.science.design_factorial import fractional_factorial, two_level_factorial
from kit.science.design_levels import level_series, swaps
from kit.science.design_mixture import extreme_vertices
from kit.science.design_run_order import run_order
from kit.science.design_surface import box_behnken, central_composite

LETTERS = tuple("ABCDEFG")


def failed(call) -> str:
    with pytest.raises(KitError) as error:
        call()
    return error.value.code


def of_day(order, values):
    """Correlation of one value a run with the day of making, controls left out."""
    made = [slot for slot in order.slots if not slot.is_control]
    return day_correlation([values[slot.run] for slot in made], [slot.day for slot in made])


@settings(max_examples=25, deadline=None)
@given(runs=st.integers(1, 20), seed=st.integers(0, 2**32), days=st.integers(1, 5), control=st.booleans())
def test_every_run_is_made_once_and_every_day_has_its_control(runs, seed, days, control):
    days = min(days, runs)
    order = run_order(runs, days, seed=seed, control_each_day=control)
    assert sorted(slot.run for slot in order.slots if not slot.is_control) == list(range(runs))
    assert [sum(slot.is_control for slot in day) for day in order.days] == [int(control)] * days
    assert [slot.place for day in order.days for slot in day] == [
        n for day in order.days for n in range(1, len(day) + 1)
    ]
    sizes = [len(day) for day in order.days]
    assert max(sizes) - min(sizes) <= 1
    assert order == run_order(runs, days, seed=seed, control_each_day=control)


def test_the_order_inside_a_day_is_at_random():
    """Of 400 seeds each of four runs and the control is first about a fifth of the time: 80, standard deviation 8."""
    firsts = Counter(run_order(4, 1, seed=seed).slots[0].run for seed in range(400))
    assert set(firsts) == {0, 1, 2, 3, None}
    assert all(abs(count - 80) < 4 * 8 for count in firsts.values())


@pytest.mark.parametrize(
    ("factors", "runs", "days", "given_up"),
    [
        (2, 4, 2, {"A:B"}),
        (3, 8, 2, {"A:B:C"}),
        (4, 16, 2, {"A:B:C:D"}),
        (5, 32, 2, {"A:B:C:D:E"}),
        (3, 8, 4, {"A:B", "A:C", "B:C"}),
    ],
)
def test_a_factorial_gives_up_its_highest_interactions(factors, runs, days, given_up):
    """Box, Hunter and Hunter (2005), 2nd ed., table 5A.1: two blocks by the highest product, four of 2^3 by pairs."""
    design = two_level_factorial(LETTERS[:factors])
    order = run_order(design, days, seed=1)
    assert set(order.given_up) == given_up
    for name in design.names:
        assert of_day(order, design.column(name)) < 1e-9
    for word in given_up:
        assert of_day(order, np.prod([design.column(name) for name in word.split(":")], axis=0)) == pytest.approx(1)


def test_four_factors_on_four_days_give_up_one_pair():
    """Box, Hunter and Hunter (2005), table 5A.1, 2^4 in four blocks: two interactions of three and one of two."""
    order = run_order(two_level_factorial(LETTERS[:4]), 4, seed=1)
    assert sorted(word.count(":") + 1 for word in order.given_up) == [2, 3, 3]
    assert sum(one.effect in order.given_up for one in order.confounded) == 1


def test_a_fraction_gives_up_no_main_effect_through_an_alias():
    design = fractional_factorial(LETTERS[:4], runs=8)
    order = run_order(design, 2, seed=1)
    assert len(order.given_up) == 1 and order.given_up[0].count(":") == 1
    assert max(of_day(order, design.column(name)) for name in design.names) < 1e-9


def test_centre_points_are_spread():
    order = run_order(two_level_factorial(("rpm", "hold"), centre=4), 2, seed=9)
    assert [sum(slot.run is not None and slot.run >= 4 for slot in day) for day in order.days] == [2, 2]
    assert order.given_up == ("rpm:hold",)
    seven = run_order(two_level_factorial(("rpm", "hold"), centre=3), 2, seed=9)
    assert sorted(sum(slot.run is not None and slot.run >= 4 for slot in day) for day in seven.days) == [1, 2]
    assert [len(day) for day in seven.days] == [5, 4]


@pytest.mark.parametrize(
    ("design", "days", "most"),
    [
        (central_composite(LETTERS[:2], centre=4), 2, 0.05),
        (box_behnken(LETTERS[:3]), 3, 0.05),
        (level_series("alcohol", [3, 4, 5, 6, 7, 5]), 2, 0.01),
        (extreme_vertices(("a", "b", "c"), (0, 0.5, 4), (1.5, 2.5, 6), 7), 2, 0.15),
    ],
    ids=["composite", "box-behnken", "series", "mixture"],
)
def test_other_designs_are_shared_out_by_swaps(design, days, most):
    """The strongest correlation of a factor with the day: far below what days drawn at random have in the mean."""
    found = [
        of_day(run_order(design, days, seed=seed), design.column(name)) for seed in range(3) for name in design.names
    ]
    assert max(found) <= most
    random = np.random.default_rng(1)
    drawn = [random.permutation([row % days for row in range(len(design))]) for _ in range(50)]
    worst = [max(day_correlation(design.column(name), list(one)) for name in design.names) for one in drawn]
    assert np.mean(worst) > 1.5 * most


def test_repeats_are_made_on_another_day_and_marked():
    design = level_series("alcohol", [3, 4, 5, 6, 7])
    order = run_order(design, 3, seed=2, repeats=[2, 2])
    days = [slot.day for slot in order.slots if slot.run == 2]
    assert sorted(days) == [1, 2, 3]
    assert sum(slot.repeat for slot in order.slots) == 2
    ends = run_order(design, 2, seed=2, repeats=2)
    assert {slot.run for slot in ends.slots if slot.repeat} == {0, 4}  # a straight line is told at its ends
    assert "2 of them repeats" in ends.words


def test_the_parts_of_a_base_stay_together_and_each_base_is_made_whole_on_one_day():
    design = split_plot(two_level_factorial(("hot",)).repeated(2), two_level_factorial(("cold", "rest")))
    order = run_order(design, 2, seed=4)
    made = [slot for slot in order.slots if not slot.is_control]
    bases = [slot.base for slot in made]
    assert [base for index, base in enumerate(bases) if index == 0 or bases[index - 1] != base] == list(
        dict.fromkeys(bases)
    )
    assert Counter(bases) == {base: 4 for base in range(4)}
    assert of_day(order, design.column("hot")) < 1e-9
    orders = {tuple(slot.run % 4 for slot in made if slot.base == base) for base in range(4)}
    assert len(orders) > 1


def test_categories_are_spread():
    design = swaps("thickener", ["none", "gum", "starch"]).repeated(2)
    order = run_order(design, 2, seed=1)
    assert [sorted(design.levels[slot.run][0] for slot in day if slot.run is not None) for day in order.days] == [
        [0, 1, 2]
    ] * 2


def test_a_day_has_room_for_so_many():
    design = two_level_factorial(("A", "B"), centre=3)
    order = run_order(design, seed=1, capacity=4)
    assert len(order.days) == 3 and max(len(day) for day in order.days) <= 4
    uneven = run_order(design, 2, seed=1, capacity=[3, 7])
    assert [len(day) for day in uneven.days] == [3, 6]
    assert failed(lambda: run_order(design, 2, seed=1, capacity=4)) == "design.capacity"
    assert failed(lambda: run_order(design, seed=1, capacity=1)) == "design.capacity"
    assert failed(lambda: run_order(design, 8, seed=1)) == "design.capacity"
    assert failed(lambda: run_order(design, 2, seed=1, repeats=[7])) == "design.runs"
    assert failed(lambda: run_order(0, 1, seed=1)) == "design.count"
    assert failed(lambda: run_order(design, 2, seed=1.5)) == "design.count"


def test_what_goes_with_the_day_is_said():
    order = run_order(two_level_factorial(("rpm", "hold")), 4, seed=1, control_each_day=False)
    assert {one.effect for one in order.confounded} >= {"rpm", "hold", "rpm:hold"}
    assert "nothing carries the day" in order.words
    html = order._repr_html_()
    assert "Run order" in html and "hold coincides with the day wholly" in html
    assert "control" in str(run_order(two_level_factorial(("rpm",)), 1, seed=1))


def test_no_pair_of_factors_is_nearer_to_the_day_than_the_best_of_all_ways():
    """Six runs of three components on two days: the sum that is made small is near the least of all 10 ways."""
    design = extreme_vertices(("a", "b", "c"), (0, 0.5, 4), (1.5, 2.5, 6), 7, parts=("vertices",))
    levels = np.array(design.levels)
    z = (levels - levels.mean(axis=0)) / np.sqrt(((levels - levels.mean(axis=0)) ** 2).sum(axis=0))

    def between(first) -> float:
        rest = [row for row in range(6) if row not in first]
        return sum((z[list(rows)].sum(axis=0) ** 2).sum() / 3 for rows in (first, rest))

    best = min(between(first) for first in combinations(range(6), 3))
    order = run_order(design, 2, seed=1)
    assert between([slot.run for slot in order.days[0] if slot.run is not None]) <= best + 0.1
