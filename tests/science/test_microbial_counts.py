"""Counts and log reductions, numbers by hand: lg 2 = 0.30103."""

from __future__ import annotations

import math

import pytest

from kit.errors import KitError
from kit.science.microbial_counts import Count, log_reduction


def test_what_a_count_can_be():
    assert (Count(200).log_low, Count(200).log_high) == (pytest.approx(2.30103), pytest.approx(2.30103))
    assert (Count(10, "<").log_low, Count(10, "<").log_high) == (-math.inf, 1)
    assert (Count(300, ">").log_low, Count(300, ">").log_high) == (pytest.approx(2.47712), math.inf)


@pytest.mark.parametrize(("cfu", "bound"), [(0, ""), (-1, ""), (math.inf, ""), (math.nan, ""), (10, "~")])
def test_what_is_no_count_is_refused(cfu, bound):
    with pytest.raises(KitError) as problem:
        Count(cfu, bound)
    assert problem.value.code == "challenge.count"


def test_a_reduction_says_what_is_open():
    assert str(log_reduction(Count(2000), Count(1000))) == "0.301"
    assert str(log_reduction(Count(1000), Count(2000))) == "-0.301"
    assert str(log_reduction(Count(1000), Count(300, ">"))) == "<= 0.523"
    assert str(log_reduction(Count(10, "<"), Count(10, "<"))) == "not known"
