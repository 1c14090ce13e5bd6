"""The uncertainty of one reading against the edge of its spec. Expected: 1 % of full scale, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.bench.calibration import Calibration, ClosingCheck
from kit.bench.readings import Reading
from kit.bench.value_uncertainty import between_instruments, edge_notes, edge_words, uncertainty_of
from kit.errors import KitError
from kit.formula.model import SpecLine

SPEC = SpecLine("viscosity", Decimal(11000), Decimal(18000), "mPa.s", (), "viscosity", "72 h")
PH_SPEC = SpecLine("pH", Decimal("4.3"), Decimal("4.7"), "", (), "pH neat", "")


def viscosity(value: str, torque: str, rpm: str = "10", unit: str = "mPa.s", **others) -> Reading:
    known = {"rpm": Decimal(rpm), "torque_pct": Decimal(torque), "age_h": Decimal(72), "instrument": "VIS-1"}
    return Reading(1, "X-1/1", "viscosity", Decimal(value), unit, method="viscosity", **{**known, **others})


def ph(value: str, **others) -> Reading:
    return Reading(2, "X-1/1", "pH", Decimal(value), "1", method="pH neat", instrument="PH-1", **others)


def calibration(*closings: str, three: bool = True) -> Calibration:
    """Millivolts of a slope of 58 mV/pH, the middle buffer 0.58 mV, 0.01 pH, off a line through the others."""
    buffers = (Decimal("4.00"), Decimal("7.00"), Decimal("10.00")) if three else (Decimal("4.00"), Decimal("7.00"))
    millivolts = tuple(map(Decimal, ("174.0", "0.87", "-174.0")))[: len(buffers)]
    checks = tuple(ClosingCheck(Decimal("4.00"), Decimal(read)) for read in closings)
    return Calibration("CAL-1", "PH-1", buffers=buffers, temp_c=Decimal(25), millivolts=millivolts, closings=checks)


def test_one_percent_of_full_scale_is_more_at_little_torque():
    """K 4000 at 10 rpm: full scale 40,000, half width 400, standard 400 / sqrt 3 = 230.9 at any torque."""
    for value, torque in (("4000", "10"), ("36000", "90")):
        assert uncertainty_of(viscosity(value, torque)).standard == pytest.approx(230.9, abs=0.5)


def test_another_unit_stays_the_reading_s_own():
    assert uncertainty_of(viscosity("4", "10", unit="Pa.s")).standard == pytest.approx(0.2309, abs=0.0005)
    assert uncertainty_of(viscosity("4", "10", unit="Pa.s")).words.startswith("4 ± 0.46 Pa.s")


def test_inside_but_the_uncertainty_reaches_over_the_edge():
    """± 462: 11,200 lies 200 above the edge, 11,600 lies 600 above."""
    near = edge_words(uncertainty_of(viscosity("11200", "28")), SPEC)
    assert "inside 11000 to 18000 mPa.s, but the value's own uncertainty reaches over the edge" in near
    assert "81 %" in near  # Phi(200 / 230.9) = 0.807
    assert edge_words(uncertainty_of(viscosity("11600", "29")), SPEC) == ""
    assert edge_words(uncertainty_of(viscosity("15200", "38")), SPEC) == ""


def test_outside_but_it_reaches_back():
    words = edge_words(uncertainty_of(viscosity("18200", "45.5")), SPEC)
    assert "outside 11000 to 18000 mPa.s, but" in words
    assert edge_words(uncertainty_of(viscosity("18800", "47")), SPEC) == ""


def test_limits_in_another_unit_than_the_reading():
    assert "reaches over the edge" in edge_words(uncertainty_of(viscosity("11.2", "28", unit="Pa.s")), SPEC)


def test_a_limit_on_one_side():
    least = replace(SPEC, high=None)
    assert "inside at least 11000 mPa.s, but" in edge_words(uncertainty_of(viscosity("11200", "28")), least)
    assert edge_words(uncertainty_of(viscosity("30000", "75")), least) == ""
    assert (
        edge_words(uncertainty_of(viscosity("11200", "28")), replace(SPEC, low=None, high=None, allowed=("x",))) == ""
    )


def test_a_ph_rests_on_its_calibration():
    """The worst buffer: 0.58 mV off the line of three is 0.01 pH; drift 0.04, last digit 0.005; over sqrt 3."""
    known = uncertainty_of(ph("4.68"), calibration("4.04"))
    assert known.standard == pytest.approx(((0.01**2 + 0.04**2 + 0.005**2) / 3) ** 0.5, abs=0.0005)
    assert "closing check (0.04)" in known.words
    assert "reaches over the edge" in edge_words(known, PH_SPEC)
    assert edge_words(uncertainty_of(ph("4.50"), calibration("4.04")), PH_SPEC) == ""


def test_where_nothing_tells_there_is_no_uncertainty():
    assert uncertainty_of(ph("4.68")) is None
    assert uncertainty_of(ph("4.68"), calibration(three=False)) is None  # two buffers lie on their line by themselves
    assert uncertainty_of(viscosity("11200", "28", torque_pct=None)) is None
    assert uncertainty_of(viscosity("11200", "-3")) is None
    assert uncertainty_of(viscosity("11200", "28", void="slip")) is None
    assert uncertainty_of(replace(viscosity("1", "28"), property="density")) is None


def test_only_the_spec_line_of_that_method_and_age_judges():
    near = viscosity("11200", "28")
    assert len(edge_notes(near, (SPEC, PH_SPEC))) == 1
    assert edge_notes(replace(near, age_h=Decimal(24)), (SPEC,)) == []
    assert edge_notes(replace(near, age_h=None), (SPEC,)) == []
    assert edge_notes(replace(near, method="T-bar"), (SPEC,)) == []


def test_across_instruments_and_never_between_batches_on_one():
    """Each ± 462, the difference ± 653: 500 is no difference, 800 is one."""
    first, second = viscosity("15200", "38"), viscosity("14700", "36.75", instrument="VIS-2")
    assert between_instruments(uncertainty_of(first), uncertainty_of(second)).agrees
    far = viscosity("14400", "36", instrument="VIS-2")
    assert not between_instruments(uncertainty_of(first), uncertainty_of(far)).agrees
    with pytest.raises(KitError) as caught:
        between_instruments(uncertainty_of(first), uncertainty_of(replace(second, batch="X-2/1")))
    assert caught.value.code == "uncertainty.other_sample"
    with pytest.raises(KitError) as caught:
        between_instruments(uncertainty_of(first), uncertainty_of(viscosity("14700", "36.75")))
    assert caught.value.code == "uncertainty.same_instrument"
