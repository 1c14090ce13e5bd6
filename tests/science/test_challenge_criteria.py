"""Verdicts that stay open: a missing count and a detection limit are never guessed away."""

from __future__ import annotations

import math

import pytest

from kit.science.challenge_criteria import Criterion, Requirement, decide, judge
from kit.science.microbial_counts import Count

# Invented: 3 log at day 7 and day 14, no increase from day 7 to 14, half a log counting as none.
STRICT = Criterion(
    "strict",
    "invented",
    "strict",
    (Requirement("bacteria", 7, 3.0), Requirement("bacteria", 14, 3.0, 7)),
    0.5,
    no_increase_kind="memory",
)


def judged(**counts: Count):
    return judge(STRICT, "bacteria", {int(day[1:]): count for day, count in counts.items()})


def test_a_missing_day_leaves_it_open_and_is_named():
    found = judged(d0=Count(1e6), d7=Count(100))
    assert (found.met, found.missing) == (None, (14,))
    assert judged(d7=Count(100), d14=Count(100)).missing == (0,)


def test_what_failed_fails_whatever_is_missing():
    found = judged(d0=Count(1e6), d7=Count(5000))
    assert (found.met, found.missing) == (False, (14,))
    assert found.reasons == ("day 7: log reduction 2.301, 3 asked",)


def test_a_detection_limit_too_high_to_tell():
    """From 1e6 a count below 10,000 shows 2 log or more: 3 may be there or not."""
    found = judged(d0=Count(1e6), d7=Count(10000, "<"), d14=Count(10, "<"))
    assert (found.met, found.missing) == (None, ())
    assert "the plates cannot tell" in found.reasons[0]
    assert judged(d0=Count(1e6), d7=Count(1000, "<"), d14=Count(10, "<")).met is True


@pytest.mark.parametrize(
    ("before", "after", "met"),
    [
        (Count(10, "<"), Count(10, "<"), True),
        (Count(10, "<"), Count(31), True),  # lg 31 - lg 10 = 0.491, counted from the limit
        (Count(10, "<"), Count(32), False),  # 0.505
        (Count(10, "<"), Count(100, "<"), None),  # the limit itself rose by one log
        (Count(100), Count(31, "<"), True),
        (Count(100), Count(200, ">"), None),
        (Count(100), Count(400, ">"), False),  # more than 0.602
        (Count(500, ">"), Count(600), True),  # at most 0.079
        (Count(100, ">"), Count(600), None),
    ],
)
def test_a_rise_beside_a_detection_limit(before, after, met):
    alone = Criterion("rise", "invented", "rise", (Requirement("bacteria", 14, None, 7),), 0.5)
    assert judge(alone, "bacteria", {7: before, 14: after}).met is met


@pytest.mark.parametrize("digits", [tenths / 10 for tenths in range(10, 100)])
def test_a_reduction_of_exactly_what_is_asked_is_enough(digits):
    """From 9.9e5 to 9.9e2 the logarithms differ by 3 less a last binary figure."""
    counts = [Count(float(f"{digits}e{power}")) for power in (5, 2, 2)]
    assert judged(d0=counts[0], d7=counts[1], d14=counts[2]).met is True
    short = judged(d0=counts[0], d7=Count(counts[1].cfu_per_g * 1.01), d14=counts[2])
    assert short.met is False and "2.996, 3 asked" in short.reasons[0]


@pytest.mark.parametrize("before", [7.0, 100.0, 331.0, 4.7e5])
def test_a_rise_of_exactly_what_counts_as_none_is_none(before):
    """Half a log is a factor of 3.16228; with a thousandth more it is a rise."""
    alone = Criterion("rise", "invented", "rise", (Requirement("bacteria", 14, None, 7),), 0.5)
    at, above = (Count(before * math.sqrt(10) * factor) for factor in (1.0, 1.001))
    assert judge(alone, "bacteria", {7: Count(before), 14: at}).met is True
    assert judge(alone, "bacteria", {7: Count(before), 14: above}).met is False
    assert judge(alone, "bacteria", {7: Count(before), 14: Count(before)}).notes == ()


def test_an_inoculum_too_small_to_show_what_is_asked_leaves_it_open():
    """From 5,000 to below 10 the plates show 2.699 log or more, whatever the preservative did."""
    found = judged(d0=Count(5000), d7=Count(10, "<"), d14=Count(10, "<"))
    assert found.met is None
    assert found.reasons[0] == "day 7: log reduction >= 2.699, 3 asked: the plates cannot tell"


def test_a_rise_that_is_let_pass_is_said_with_what_it_rests_on():
    found = judged(d0=Count(1e6), d7=Count(100), d14=Count(200))
    assert found.met is True
    assert found.notes == ("day 14, from day 7: a rise of 0.301 log; up to 0.5 log (from memory) counts as none",)
    assert "found again" in judged(d0=Count(1e6), d7=Count(10, "<"), d14=Count(20)).notes[0]


def test_another_group_asks_nothing_and_is_not_met_by_default():
    assert judge(STRICT, "mould", {0: Count(1e5)}).met is None


@pytest.mark.parametrize(
    ("first", "second", "decision"),
    [
        (True, True, "A"),
        (False, True, "B only"),
        (False, False, "neither"),
        (None, False, "neither"),
        (None, True, ""),
        (False, None, ""),
        (None, None, ""),
    ],
)
def test_the_decision_of_two_criteria(first, second, decision):
    assert decide(first, second) == decision


def test_a_requirement_in_words():
    assert STRICT.of("bacteria")[1].words() == "day 14: at least 3 log below the inoculum, no increase from day 7"
