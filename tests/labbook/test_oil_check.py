"""A check with a certified oil in the lab book. Expected: what was typed."""

from __future__ import annotations

from decimal import Decimal

import pytest

import kit
from kit.errors import KitError

TYPED = {
    "spindle": "disc 5",
    "rpm": 20,
    "certified": "12000 mPa.s",
    "found": "12.1 Pa.s",
    "temp": "25 degC",
    "oil": "lot 7",
}


def test_a_check_is_kept_and_says_consistent_not_proven(bench):
    receipt = bench.book.check_with_oil("VIS-1", "OIL-1", **TYPED)
    assert "consistent, not proven" in receipt.notes[0]
    with kit.open_source(bench.path) as source:
        (check,) = source.oil_checks("VIS-1")
        assert source.oil_checks("PH-1") == ()
        assert source.instrument("VIS-1").constants == {"disc 5": Decimal(4000)}
    assert (check.certified_mpa_s, check.found_mpa_s, check.rpm) == (Decimal(12000), Decimal(12100), Decimal(20))
    assert (check.temp_c, check.oil, check.constant) == (Decimal(25), "lot 7", Decimal(4000))


def test_the_same_check_again_is_not_doubled_and_another_needs_its_name(bench):
    bench.book.check_with_oil("VIS-1", "OIL-1", **TYPED)
    assert not bench.book.check_with_oil("VIS-1", "OIL-1", **TYPED).new
    with pytest.raises(KitError) as caught:
        bench.book.check_with_oil("VIS-1", "OIL-1", **{**TYPED, "found": "11000 mPa.s"})
    assert caught.value.code == "labbook.oil-check_exists"
    outside = bench.book.check_with_oil("VIS-1", "OIL-2", **{**TYPED, "found": "11000 mPa.s"})
    assert "outside" in outside.notes[0]
    assert len(bench.book.source().oil_checks()) == 2


@pytest.mark.parametrize(
    ("instrument", "changes", "code"),
    [
        ("VIS-9", {}, "labbook.instrument"),
        ("VIS-1", {"spindle": "disc 6"}, "oil_check.constant"),
        ("VIS-1", {"certified": "0 mPa.s"}, "science.not_positive"),
        ("VIS-1", {"rpm": 0}, "science.not_positive"),
        ("VIS-1", {"found": "12000"}, "units.missing"),
    ],
)
def test_what_cannot_be_a_check_is_refused_and_not_kept(bench, instrument, changes, code):
    with pytest.raises(KitError) as caught:
        bench.book.check_with_oil(instrument, "OIL-1", **{**TYPED, **changes})
    assert caught.value.code == code
    assert bench.book.source().oil_checks() == ()
