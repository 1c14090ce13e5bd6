from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.uncertainty_use import (
    CANNOT_TELL,
    INSIDE,
    OUTSIDE,
    InstrumentValue,
    against_limits,
    between_instruments,
)


@pytest.mark.parametrize(
    ("value", "state"),
    [(16_000, INSIDE), (13_400, CANNOT_TELL), (12_600, CANNOT_TELL), (12_000, OUTSIDE), (19_500, CANNOT_TELL)],
)
def test_a_viscosity_against_its_spec(value, state):
    """13,000 to 19,000 with u 400, guard band 800: inside from 13,800 to 18,200, outside below 12,200."""
    verdict = against_limits(value, 400, low=13_000, high=19_000)
    assert verdict.state == state
    assert verdict.words.endswith(".")


def test_on_the_limit_it_is_even_odds_and_cannot_be_told():
    verdict = against_limits(13_000, 400, low=13_000)
    assert verdict.state == CANNOT_TELL
    assert verdict.probability == pytest.approx(0.5)
    assert "50 %" in verdict.words


def test_the_words_name_the_limit_that_is_near():
    assert "across 19000" in against_limits(18_900, 400, low=13_000, high=19_000).words
    assert "outside 13000" in against_limits(10_000, 400, low=13_000, high=19_000).words


def test_without_uncertainty_the_limit_itself_decides():
    assert against_limits(13_000, 0, low=13_000).state == INSIDE
    assert against_limits(12_999, 0, low=13_000).state == OUTSIDE
    assert against_limits(12_999, 0, low=13_000).probability == 0


def test_a_spec_narrower_than_the_guard_bands_is_never_surely_met():
    assert against_limits(5.0, 0.2, low=4.9, high=5.1).state == CANNOT_TELL


@given(value=st.floats(0, 100), uncertainty=st.floats(0.01, 10), k=st.floats(0.5, 4))
def test_a_wider_guard_band_never_decides_more(value, uncertainty, k):
    narrow = against_limits(value, uncertainty, low=30, high=70, k=k)
    wide = against_limits(value, uncertainty, low=30, high=70, k=2 * k)
    assert narrow.state != CANNOT_TELL or wide.state == CANNOT_TELL
    assert {narrow.state, wide.state} != {INSIDE, OUTSIDE}
    assert 0 <= narrow.probability <= 1


def test_one_sample_on_two_instruments():
    """By hand: 500 against 2 root(200^2 + 150^2) = 500."""
    found = between_instruments(InstrumentValue(15_500, 200, "VIS-1"), InstrumentValue(15_000, 150, "VIS-2"))
    assert found.expanded == pytest.approx(500)
    assert found.agrees
    apart = between_instruments(InstrumentValue(14_400, 200, "VIS-1"), InstrumentValue(15_000, 150, "VIS-2"))
    assert apart.difference == pytest.approx(-600)
    assert not apart.agrees
    assert "calibration" in apart.words


def test_batches_on_one_instrument_are_refused():
    with pytest.raises(KitError, match="scatter between batches") as error:
        between_instruments(InstrumentValue(15_500, 200, "VIS-1"), InstrumentValue(15_000, 150, " vis-1"))
    assert error.value.code == "uncertainty.same_instrument"


@pytest.mark.parametrize("limits", [{}, {"low": 5, "high": 4}])
def test_limits_that_are_none_are_refused(limits):
    with pytest.raises(KitError) as error:
        against_limits(4.5, 0.1, **limits)
    assert error.value.code == "uncertainty.limits"


def test_impossible_values_are_refused():
    with pytest.raises(KitError) as error:
        against_limits(float("nan"), 0.1, low=1)
    assert error.value.code == "science.not_finite"
    with pytest.raises(KitError) as error:
        InstrumentValue(1.0, -0.1, "VIS-1")
    assert error.value.code == "science.negative"
