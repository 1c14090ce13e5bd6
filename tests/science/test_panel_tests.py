"""Forced-choice tests. Referees: scipy.stats' binomtest and its exact interval, sums written anew by hand."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science import panel_power
from kit.science import panel_tests as tests
from kit.science.panel_tests import panel_test

CHANCE = {tests.TRIANGLE: Fraction(1, 3), tests.DUO_TRIO: Fraction(1, 2), tests.PAIRED: Fraction(1, 2)}


def tail(at: int, n: int, share: Fraction) -> Fraction:
    """P(X >= at), exactly, term by term."""
    return sum((math.comb(n, k) * share**k * (1 - share) ** (n - k) for k in range(at, n + 1)), Fraction(0))


@pytest.mark.parametrize("task", CHANCE, ids=lambda task: task.name)
@pytest.mark.parametrize(("right", "n"), [(0, 6), (5, 6), (13, 24), (19, 36), (60, 60)])
def test_probability_is_the_exact_sum(task, right, n):
    assert panel_test(task, right, n).p == pytest.approx(float(tail(right, n, CHANCE[task])), rel=1e-9)


@pytest.mark.parametrize(("right", "n"), [(0, 8), (3, 8), (9, 12), (21, 30)])
def test_both_sides_and_interval_are_those_of_scipy(right, n):
    from scipy.stats import binomtest

    found, peer = panel_test(tests.PREFERENCE, right, n), binomtest(right, n, 0.5)
    assert found.p == pytest.approx(peer.pvalue, rel=1e-9)
    interval = peer.proportion_ci(0.95, method="exact")
    share = found.share()
    assert (share.low, share.high) == pytest.approx((interval.low, interval.high), abs=1e-9)
    upper = binomtest(right, n, 0.5, alternative="less").proportion_ci(0.95, method="exact")
    assert found.share(sides=1).high == pytest.approx(upper.high, abs=1e-9)
    assert found.share(sides=-1).high == 1.0


def test_both_ends_tell_the_same_two_sided():
    for right in range(13):
        one, other = (panel_test(tests.PREFERENCE, count, 12) for count in (right, 12 - right))
        assert (one.p, one.shown, one.agreeing) == (other.p, other.shown, other.agreeing)


@given(st.integers(2, 80), st.data())
@settings(deadline=None)
def test_shown_exactly_where_the_lower_bound_is_above_chance(n, data):
    right = data.draw(st.integers(0, n))
    found = panel_test(tests.TRIANGLE, right, n)
    if found.shown is not None:
        assert found.shown == (found.p <= 0.05) == (found.discriminators(sides=-1).low > -1e-9)


def test_discriminators_of_one_half_and_one_third():
    """9 of 12: pc 0.75, so 2 x 0.75 - 1 = 0.5 and 1.5 x 0.75 - 0.5 = 0.625."""
    assert panel_test(tests.DUO_TRIO, 9, 12).discriminators().value == pytest.approx(0.5)
    assert panel_test(tests.TRIANGLE, 9, 12).discriminators().value == pytest.approx(0.625)
    assert panel_test(tests.TRIANGLE, 0, 12).discriminators().value == pytest.approx(-0.5)


def test_power_is_the_chance_of_the_minimum():
    """Triangle, 24 assessors: 13 needed; a share of 0.4 gives pc = 1/3 + 0.4 x 2/3 = 0.6."""
    assert panel_power.power(tests.TRIANGLE, 24, 0.4) == pytest.approx(float(tail(13, 24, Fraction(3, 5))), rel=1e-9)
    assert panel_power.power(tests.TRIANGLE, 24, 0.0) == pytest.approx(float(tail(13, 24, Fraction(1, 3))), rel=1e-9)
    # preference, 20 assessors: 15 needed; 0.7 may win on either side
    both = tail(15, 20, Fraction(7, 10)) + tail(15, 20, Fraction(3, 10))
    assert panel_power.power(tests.PREFERENCE, 20, 0.7) == pytest.approx(float(both), rel=1e-9)


@pytest.mark.parametrize("task", [tests.TRIANGLE, tests.DUO_TRIO, tests.PREFERENCE], ids=lambda task: task.name)
def test_the_share_found_has_the_power_asked_for(task):
    share = panel_power.detectable_share(task, 30)
    assert panel_power.power(task, 30, share) == pytest.approx(0.8, abs=1e-6)
    assert panel_power.detectable_share(task, 60) < share


def test_a_simulated_panel_finds_what_it_says_it_finds():
    """A triangle panel of 24 and a share of discriminators found four times in five: 4000 panels, SE 0.6 %."""
    import numpy as np

    share = panel_power.detectable_share(tests.TRIANGLE, 24)
    drawn = np.random.default_rng(5)
    knows = drawn.random((4000, 24)) < share
    right = (knows | (drawn.random((4000, 24)) < 1 / 3)).sum(axis=1)
    found = np.mean([panel_test(tests.TRIANGLE, int(count), 24).shown for count in right])
    assert 0.78 < found < 0.82


@pytest.mark.parametrize("share", [0.5, 0.4, 0.3, 0.2])
def test_from_the_number_of_assessors_on_the_power_holds(share):
    wanted = panel_power.assessors_for(tests.TRIANGLE, share)
    assert all(panel_power.power(tests.TRIANGLE, n, share) >= 0.8 for n in range(wanted, wanted + 60))
    assert panel_power.power(tests.TRIANGLE, wanted - 1, share) < 0.8


def test_alike_is_said_only_below_the_limit():
    """0.3 of discriminators is pc = 8/15: alike while so few right answers would come up in less than 1 of 20 then."""
    below = [1 - float(tail(right + 1, 60, Fraction(8, 15))) for right in range(61)]
    most = max(right for right in range(61) if below[right] < 0.05)
    assert panel_power.most_right_alike(tests.TRIANGLE, 60, 0.3) == most
    assert panel_test(tests.TRIANGLE, most, 60).similar(0.3) is True
    assert panel_test(tests.TRIANGLE, most + 1, 60).similar(0.3) is False
    guessing = 1 - float(tail(most + 1, 60, Fraction(1, 3)))
    assert panel_power.chance_alike(tests.TRIANGLE, 60, 0.3) == pytest.approx(guessing, rel=1e-9)
    # none right of 6: the bound 1 - 0.05^(1/6) = 0.393 is pd 0.090, below 0.1; its chance is (2/3)^6. Of 3: never.
    assert panel_power.chance_alike(tests.TRIANGLE, 6, 0.1) == pytest.approx((2 / 3) ** 6)
    assert panel_power.chance_alike(tests.TRIANGLE, 3, 0.1) == 0.0


def test_too_small_a_panel_has_a_reason_and_no_verdict():
    found = panel_test(tests.TRIANGLE, 2, 2)
    assert found.shown is None and "not even if all of them agree" in found.reason
    empty = panel_test(tests.TRIANGLE, 0, 0)
    assert (empty.p, empty.shown, empty.share(), empty.discriminators()) == (None, None, None, None)
    assert empty.reason == "no assessor has answered"
    assert panel_power.detectable_share(tests.TRIANGLE, 2) is None


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: panel_test(tests.TRIANGLE, 7, 6), "panel.counts"),
        (lambda: panel_test(tests.TRIANGLE, 1.5, 6), "panel.counts"),
        (lambda: panel_test(tests.TRIANGLE, 3, 6, alpha=0), "panel.alpha"),
        (lambda: panel_test(tests.PREFERENCE, 3, 6).discriminators(), "panel.no_discriminators"),
        (lambda: panel_test(tests.TRIANGLE, 3, 6).similar(0), "panel.limit"),
        (lambda: panel_test(tests.TRIANGLE, 3, 6).share(1.0), "statistics.confidence"),
        (lambda: panel_test(tests.TRIANGLE, 3, 6).share(sides=3), "panel.interval"),
        (lambda: panel_power.power(tests.TRIANGLE, 6, 1.1), "panel.share"),
        (lambda: panel_power.assessors_for(tests.TRIANGLE, 0.3, wanted_power=1), "panel.power"),
    ],
)
def test_what_is_no_panel_is_refused(call, code):
    with pytest.raises(KitError) as caught:
        call()
    assert caught.value.code == code
