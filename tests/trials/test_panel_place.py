"""Whether the place served decided a choice between two: counted, with its exact interval, and said in a sentence.

Referee: scipy's exact binomial test and its Clopper and Pearson interval.
"""

from __future__ import annotations

import pytest
from scipy import stats

import kit
from kit.trials import panel_finding as said
from kit.trials.panel_place import place_effect
from tests.panel_bench import PanelBench, code_of, odd


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    bench = PanelBench(tmp_path_factory.mktemp("made"))
    for place in range(1, 3):
        bench.make(f"WOO-0{place}")
    bench.book.close()
    return bench


@pytest.fixture
def woodruff(made, tmp_path):
    bench = PanelBench(tmp_path, made)
    yield bench
    bench.book.close()


def chosen_first(bench, first: int, assessors: int = 12, kind: str = "paired", **more: object):
    """A panel of which so many chose the one served first, spread evenly over the two orders."""
    bench.plan(kind, assessors=assessors, **more)
    by_order: dict[tuple, int] = {}

    def choose(place, serving):
        turn = by_order[serving.order] = by_order.get(serving.order, 0) + 1
        own = (first + (serving.order[0] == "A")) // 2  # of this order; the odd one falls to those with A first
        return serving.codes[0 if turn <= own else 1]

    bench.answer(choose)
    return kit.panel(bench.book, "P-1")


@pytest.mark.parametrize("kind", ["paired", "preference"])
@pytest.mark.parametrize("first", [12, 11, 10, 9, 6, 2, 0])
def test_the_count_its_interval_and_its_p_are_those_of_the_exact_binomial(woodruff, kind, first):
    result = chosen_first(woodruff, first, kind=kind)
    exact = stats.binomtest(first, 12)
    interval = exact.proportion_ci(0.95, method="exact")
    low, high = 100 * interval.low, 100 * interval.high
    told = (
        f"{first} of 12 chose the one served first: {100 * first / 12:.0f} % (95 % interval {low:.0f} to {high:.0f} %)"
    )
    assert told in result.words
    found = place_effect(woodruff.panel()).test
    assert found.right == first and found.p == pytest.approx(exact.pvalue, rel=1e-9)
    assert (found.share().low, found.share().high) == pytest.approx((interval.low, interval.high), rel=1e-9)
    assert ("An effect of the place served is shown" in result.words) == (exact.pvalue <= 0.05)
    assert told in str(place_effect(woodruff.panel()))


def test_everybody_chose_the_one_served_first_is_said_and_no_preference_is_claimed(woodruff):
    result = chosen_first(woodruff, 12)
    assert result.verdict == said.NOT_SHOWN
    assert (
        "everybody chose the one served first. They chose by place, and of the samples nothing is told." in result.words
    )


def test_the_second_place_counts_as_well(woodruff):
    assert "everybody chose the one served second" in chosen_first(woodruff, 0).words


def test_most_is_not_everybody(woodruff):
    """10 of 12: p = 158 / 4096 on both sides."""
    result = chosen_first(woodruff, 10)
    assert f"p = {158 / 4096:.2g}, both sides): most chose the one served first" in result.words
    assert "everybody" not in result.words


def test_a_preference_that_all_share_is_no_effect_of_the_place(woodruff):
    woodruff.plan("preference")
    woodruff.answer(lambda place, serving: code_of(serving, "B"))
    result = kit.panel(woodruff.book, "P-1")
    assert result.verdict == said.PREFERRED
    assert "6 of 12 chose the one served first: 50 %" in result.words and "effect of the place" not in result.words


def test_uneven_orders_are_told_with_the_share(woodruff):
    """Eleven of twelve answer: one sample stood first six times, the other five."""
    woodruff.plan("preference")
    woodruff.answer(lambda place, serving: serving.codes[0], count=11)
    last = woodruff.panel().servings[-1]
    woodruff.book.panel_absent("P-1", [last.assessor], why="ill")
    words = kit.panel(woodruff.book, "P-1").words
    first, other = ("5", "6") if last.order[0] == "A" else ("6", "5")
    assert f"WOO-01/1 stood first {first} times, WOO-02/1 {other} times" in words


def test_a_risk_stated_before_is_kept(woodruff):
    """10 of 12 has p = 0.039: shown at 5 %, not at 1 %."""
    assert "effect of the place" not in chosen_first(woodruff, 10, alpha="0.01").words


def test_other_kinds_of_panel_have_no_first_of_two(woodruff):
    woodruff.plan("triangle")
    woodruff.answer(lambda place, serving: odd(serving))
    assert place_effect(woodruff.panel()) is None and "served first" not in kit.panel(woodruff.book, "P-1").words


def test_a_panel_too_small_to_show_anything_only_counts(woodruff):
    result = chosen_first(woodruff, 2, assessors=2)
    assert "2 of 2 chose the one served first" in result.words and "effect of the place" not in result.words
