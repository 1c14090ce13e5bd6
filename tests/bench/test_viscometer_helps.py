"""Proposed constants and a check with oil. Expected: 100 K / rpm and 1 % of full scale plus 1 % of the oil, by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.bench.oil_check import OilChecked, oil_checks_table
from kit.bench.proposed_constants import proposed_constants
from kit.bench.readings import Reading
from kit.errors import KitError

CHECK = OilChecked("OIL-1", "VIS-1", "disc 5", Decimal(4000), Decimal(20), Decimal(12000), Decimal(12100))
READING = Reading(
    1,
    "X-1/1",
    "viscosity",
    Decimal(15200),
    "mPa.s",
    instrument="VIS-1",
    spindle="disc 5",
    rpm=Decimal(20),
    torque_pct=Decimal(76),
)


def test_proposed_constants_say_that_they_are_to_be_checked():
    """Disc 5 on RV: 40 x 100 = 4,000, full scale 40,000 at 10 rpm; on HB eight times that."""
    found = proposed_constants("RV", ["disc 5", "disc 3"])
    assert found.constants == {"disc 5": Decimal(4000), "disc 3": Decimal(1000)}
    assert proposed_constants("HB", ["disc 5"]).constants == {"disc 5": Decimal(32000)}
    shown = str(found)
    assert "check every constant against the manual" in shown
    assert "40000" in shown
    with pytest.raises(KitError) as caught:
        proposed_constants("XX", ["disc 5"])
    assert caught.value.code == "viscometer.spring"


def test_a_check_within_its_limits_is_consistent_not_proven():
    """1 % of 20,000 and 1 % of 12,000: 320 allowed."""
    assert CHECK.check.allowed_mpa_s == pytest.approx(320)
    assert "consistent, not proven" in CHECK.words
    outside = replace(CHECK, found_mpa_s=Decimal(12330))
    assert "consistent" not in outside.words
    assert "outside" in outside.words
    assert [row[5].text for row in oil_checks_table((CHECK, outside)).rows] == ["consistent", "outside"]


def test_the_accuracy_of_the_bottle_goes_before_the_usual_one():
    assert replace(CHECK, oil_pct=Decimal("0.5")).check.allowed_mpa_s == pytest.approx(260)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, ""),
        ({"instrument": "VIS-2"}, "checked on VIS-1, read on VIS-2"),
        ({"spindle": "disc 6"}, "checked with disc 5, read with disc 6"),
        ({"rpm": Decimal(10), "torque_pct": Decimal(38)}, "checked at 20 rpm, read at 10"),
        ({"torque_pct": None}, "torque or speed NOT RECORDED"),
        ({"value": Decimal(2000), "torque_pct": Decimal(10)}, "the oil is 12000 mPa.s, the reading 2000"),
    ],
)
def test_what_a_check_does_not_speak_for(changes, said):
    why = CHECK.why_not_for(replace(READING, **changes))
    assert said in why
    assert bool(why) == bool(said)
