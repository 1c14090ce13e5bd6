from __future__ import annotations

import math

import pytest

from kit.errors import KitError
from kit.science.stirrers import Span, Stirrer, known_stirrers, stirrer


def code_of(call, *arguments) -> str:
    with pytest.raises(KitError) as error:
        call(*arguments)
    return error.value.code


def test_a_range_runs_upwards():
    assert code_of(Span, 3.0, 1.0) == "mixing.span"
    assert str(Span(1, 3)) == "1 to 3"


def test_published_numbers_are_ranges_with_their_source():
    assert {"rotor-stator", "propeller", "pitched blade", "flat blade turbine"} <= known_stirrers().keys()
    assert stirrer("rotor-stator", 0.025).power_number == Span(1, 3)
    assert stirrer("rotor-stator", 0.025).pumping_number is None
    assert stirrer("flat blade turbine", 0.1).metzner_otto == 11.5


def test_the_middle_of_a_range_is_as_many_times_from_either_end():
    assert Span(1, 3).middle == pytest.approx(math.sqrt(3))
    assert Span(1, 3).times(2) == Span(2, 6)
    assert Span(1, 3).plus(0.5) == Span(1.5, 3.5)


def test_an_unknown_kind_lists_the_known_ones():
    assert code_of(stirrer, "whisk", 0.05) == "mixing.stirrer"


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_impossible_sizes_are_refused(bad):
    assert code_of(Stirrer, "x", bad) == "science.not_positive"
    assert code_of(Span, 1.0, math.inf) == "science.negative"
