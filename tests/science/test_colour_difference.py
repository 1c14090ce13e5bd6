from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.colour_difference import cie76, ciede2000, colour_difference

labs = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


@given(one=labs, other=labs)
def test_a_difference_is_the_same_both_ways_and_never_below_zero(one, other):
    assert ciede2000(one, other) == pytest.approx(ciede2000(other, one), abs=1e-9)
    assert ciede2000(one, other) >= 0
    assert cie76(one, other) == cie76(other, one)


@given(one=labs)
def test_a_colour_does_not_differ_from_itself(one):
    assert ciede2000(one, one) == 0
    assert cie76(one, one) == 0


@given(one=st.floats(0, 100), other=st.floats(0, 100))
def test_greys_differ_by_lightness_alone(one, other):
    """The weight by hand: 1 + 0.015 (L - 50)2 / root(20 + (L - 50)2) at the mean lightness."""
    square = ((one + other) / 2 - 50) ** 2
    expected = abs(one - other) / (1 + 0.015 * square / math.sqrt(20 + square))
    assert ciede2000((one, 0, 0), (other, 0, 0)) == pytest.approx(expected, abs=1e-9)


def test_printed_it_says_both_differences_and_the_direction():
    """4.35 and 3.43 by colour-science 0.4.7."""
    found = colour_difference((92, -1, 5), (90.5, -0.2, 9))
    assert str(found) == repr(found) == "CIEDE2000 3.43, CIE 1976 4.35: yellower, darker, redder"


def test_the_direction_in_words_largest_first():
    found = colour_difference((92, -1, 5), (90.5, -0.2, 9))
    assert found.words == "yellower, darker, redder"
    assert found.b == pytest.approx(4)
    assert found.lightness == pytest.approx(-1.5)
    assert colour_difference((92, -1, 5), (92.1, -1, 5)).words == "no direction"
    assert colour_difference((50, 5, 5), (52, 0, 0)).words == "greener, bluer, lighter"


@pytest.mark.parametrize(
    ("colour", "code"),
    [((math.nan, 0, 0), "science.not_finite"), ((120, 0, 0), "colour.lightness"), ((-1, 0, 0), "colour.lightness")],
)
def test_impossible_colours_are_refused(colour, code):
    with pytest.raises(KitError) as error:
        ciede2000(colour, (50, 0, 0))
    assert error.value.code == code
