from __future__ import annotations

import pytest

from kit.errors import KitError
from kit.science.viscometer_oil import check_with_oil, oil_accuracy_pct


def test_agreement_is_consistent_and_not_proven():
    check = check_with_oil(12_000, 12_100, 4000, 20)
    # by hand: 1 % of 20,000 and 1 % of 12,000
    assert check.allowed_mpa_s == pytest.approx(320)
    assert check.difference_mpa_s == pytest.approx(100)
    assert check.agrees
    assert check.is_telling
    assert "consistent, not proven" in check.words


def test_disagreement_says_what_to_look_at():
    check = check_with_oil(12_000, 12_900, 4000, 20)
    assert not check.agrees
    assert "outside" in check.words
    assert "oil temperature" in check.words


def test_limits_too_wide_to_tell_anything():
    """Full scale 40,000: 400 of 1,000 mPa.s allowed."""
    check = check_with_oil(1_000, 1_200, 4000, 10)
    assert check.agrees
    assert not check.is_telling
    assert "too wide" in check.words


def test_a_check_speaks_for_readings_near_it_only():
    check = check_with_oil(12_000, 12_100, 4000, 20)
    assert check.covers(15_000, 4000, 20) == ""
    assert "oil is" in check.covers(50_000, 4000, 20)
    assert "another spindle" in check.covers(15_000, 2000, 20)
    assert "20 rpm" in check.covers(15_000, 4000, 10)


def test_the_certificate_goes_before_the_usual_accuracy():
    assert oil_accuracy_pct() == 1
    assert check_with_oil(10_000, 10_000, 4000, 20, oil_pct=0.2).allowed_mpa_s == pytest.approx(220)


def test_an_oil_of_zero_is_refused():
    with pytest.raises(KitError) as error:
        check_with_oil(0, 100, 4000, 20)
    assert error.value.code == "science.not_positive"
