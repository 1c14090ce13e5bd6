"""A stability protocol typed wrongly is refused before it is frozen. Expected: what was typed, read by a person."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit.bench.stability_acceptance import read_acceptance
from kit.errors import KitError


def refused(**typed) -> KitError:
    with pytest.raises(KitError) as caught:
        kit.plan_stability("a rinse", **typed)
    return caught.value


@pytest.mark.parametrize(
    ("property", "typed"),
    [
        ("pack mass loss", "at most"),  # the number is missing
        ("viscosity", "15 000 to 20 000 mPa.s"),
        ("viscosity", "+30 % to -20 %"),
        ("viscosity", "± 2000 mPa.s"),
        ("pH", "4.3 - "),
        ("pH", None),
        ("pH", 0.3),
    ],
)
def test_a_number_that_cannot_be_read_is_never_frozen_as_a_word(property, typed):
    assert refused(properties={property: typed}).code == "stability.limit"


@pytest.mark.parametrize("typed", ["± 0.3; at the start", "± 20 %; at the start", "no change; at the start"])
def test_the_baseline_is_no_change_against_itself(typed):
    assert refused(properties={"pH": typed}).code == "stability.limit"


@pytest.mark.parametrize("typed", ["none", "none or slight", "white, off-white"])
def test_words_stay_words(typed):
    assert read_acceptance("grain", typed).is_coded


def test_freeze_thaw_needs_its_number_of_cycles():
    """Without it, it would be a place pulled every week."""
    problem = refused(conditions=["25 degC", "freeze-thaw"])
    assert problem.code == "stability.condition" and "cycles" in problem.what


@pytest.mark.parametrize("typed", [{"spare": 1.5}, {"spare": "1"}, {"batches": 0}, {"batches": True}])
def test_jars_and_batches_are_whole(typed):
    assert refused(**typed).code == "stability.batches"


def test_a_rest_below_nothing_is_refused():
    assert refused(rest="-2 h").code == "stability.rest"


def test_a_window_that_begins_before_storage_is_refused():
    assert refused(stations=["1 d ± 3 d"]).code == "stability.station"


@pytest.mark.parametrize(
    ("typed", "unit", "ends"),
    [
        ("15 to 20 Pa.s", "mPa.s", (15000, 20000)),
        ("at least 15 Pa.s", "mPa.s", (15000, None)),
        ("15000 to 20000 mPa.s", "mPa.s", (15000, 20000)),
        ("4.3 to 4.8", "1", (Decimal("4.3"), Decimal("4.8"))),
        ("at most 2 g", "%", None),
    ],
)
def test_limits_are_held_in_the_unit_of_the_readings(typed, unit, ends):
    assert read_acceptance("a property", typed).ends_in(unit) == ends


BITS = (
    "3", "0.5", "1,5", "-", "–", "to", "±", "%", "mPa.s", "at most", ">=", "none", "no change", "; at the end", "nan",
)  # fmt: skip


@given(st.lists(st.sampled_from(BITS), max_size=6).map(" ".join) | st.text(max_size=12))
def test_whatever_is_typed_as_a_limit_is_refused_in_words_or_comes_back_as_it_was(typed):
    try:
        found = read_acceptance("pH", typed)
    except KitError as problem:
        assert problem.code in ("stability.limit", "units.not_a_number", "units.ambiguous_comma", "units.mixed_marks")
        return
    assert type(found).from_row(found.row()) == found and found.words
    assert found.is_coded == (found.low is None and found.high is None)
    assert not (found.is_coded and any(letter in "0123456789%±<>" for letter in " ".join(found.allowed)))
