from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.design_day import BUT_FOR_ONE_LEVEL, IN_PART, WHOLLY, confounded_with_day, day_correlation
from kit.science.design_factorial import two_level_factorial
from kit.science.design_levels import swaps

# The nettle study: four corners of speed and hold time over two days, centres on three.
RPM = [4000, 9000, 4000, 9000, 6500, 6500, 6500, 6500]
HOLD = [3, 3, 12, 12, 7, 7, 7, 7]
DAYS = ["d1", "d1", "d2", "d2", "d1", "d2", "d3", "d3"]


def test_hold_time_coincides_with_the_day_but_for_the_centre():
    """Mean 7.25, sum of squares 81.5. Days 13/3, 31/3 and 7: between days 3 x 2.91667^2 + 3 x 3.08333^2 + 2 x 0.25^2 =
    54.1667; sqrt(54.1667 / 81.5) = 0.81525. Speed and the interaction are balanced over the days.
    """
    (found,) = confounded_with_day({"rpm": RPM, "hold": HOLD}, DAYS)
    assert (found.effect, found.extent, found.shared_level) == ("hold", BUT_FOR_ONE_LEVEL, "7")
    assert found.correlation == pytest.approx(0.81525, abs=1e-5)
    assert "3 only on d1; 7 on d1 and d2 and d3; 12 only on d2" in found.words
    assert "never made on one day" in found.words


def test_without_the_centres_it_coincides_wholly():
    found = confounded_with_day({"rpm": RPM[:4], "hold": HOLD[:4]}, DAYS[:4])
    assert [(one.effect, one.extent) for one in found] == [("hold", WHOLLY)]
    assert found[0].correlation == 1
    assert "cannot be told from what the day did" in found[0].words


def test_a_level_series_goes_with_the_day_in_part():
    """3, 4, 5 on d1, 6, 7, 5 on d2, 5 on d3: mean 5, sum of squares 10, between days 3 + 3 = 6; sqrt(0.6) = 0.7746."""
    levels = {"alcohol": [3, 4, 5, 6, 7, 5, 5]}
    (found,) = confounded_with_day(levels, ["d1", "d1", "d1", "d2", "d2", "d2", "d3"])
    assert (found.extent, found.correlation) == (IN_PART, pytest.approx(0.774597, abs=1e-6))


def test_an_interaction_may_be_the_day():
    design = two_level_factorial(("A", "B"))
    (found,) = confounded_with_day(design, ["d1", "d2", "d2", "d1"])
    assert (found.effect, found.extent) == ("A:B", WHOLLY)
    assert confounded_with_day(design, ["d1", "d2", "d2", "d1"], interactions=False) == ()


def test_what_is_balanced_is_not_told():
    assert confounded_with_day(two_level_factorial(("A",)).repeated(2), [1, 1, 2, 2]) == ()
    assert confounded_with_day({"A": [1, 2]}, ["d1", "d1"]) == ()
    assert confounded_with_day({"A": [5, 5]}, ["d1", "d2"]) == ()
    assert confounded_with_day({}, []) == ()


def test_categories():
    (found,) = confounded_with_day(swaps("acid", ["citric", "lactic"]).repeated(2), ["d1", "d2", "d1", "d2"])
    assert (found.extent, found.correlation) == (WHOLLY, 1)
    assert "citric only on d1; lactic only on d2" in found.words
    swapped = {"acid": ["citric", "lactic", "citric", "malic"]}
    (found,) = confounded_with_day(swapped, ["d1", "d1", "d2", "d2"])
    assert found.extent == BUT_FOR_ONE_LEVEL  # lactic and malic meet only through citric
    assert confounded_with_day({"acid": ["citric", "lactic"] * 2}, ["d1", "d1", "d2", "d2"]) == ()


def test_batches_without_a_level_are_left_out():
    found = confounded_with_day({"hold": [3, None, 12]}, ["d1", "d1", "d2"])
    assert found[0].extent == WHOLLY
    assert confounded_with_day({"hold": [None, None], "rpm": [None, 2]}, ["d1", "d2"]) == ()


def test_levels_and_days_must_belong_together():
    with pytest.raises(KitError) as error:
        confounded_with_day({"hold": [3, 12]}, ["d1"])
    assert error.value.code == "design.days"


@given(
    rows=st.lists(st.tuples(st.integers(-5, 5), st.sampled_from("abc")), min_size=3, max_size=12),
    factor=st.sampled_from([-3.0, 0.5, 10.0]),
    shift=st.integers(-100, 100),
)
def test_the_correlation_does_not_hang_on_unit_order_or_names_of_days(rows, factor, shift):
    values, days = [value for value, _ in rows], [day for _, day in rows]
    told = day_correlation(values, days)
    changed = day_correlation([value * factor + shift for value in values[::-1]], [day.upper() for day in days[::-1]])
    assert (told is None) == (changed is None)
    if told is not None:
        assert changed == pytest.approx(told, abs=1e-9)
        assert 0 <= told <= 1 + 1e-12
