"""The uncertainty of a batch's mean. Expected: worked by hand from 1 % of full scale and Student's t as printed."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from kit.bench.calibration import Calibration, ClosingCheck
from kit.bench.mean_uncertainty import mean_uncertainty
from kit.bench.readings import Reading

HALF = 400 / math.sqrt(3)  # K 4000 at 10 rpm: 1 % of 40,000, as a standard uncertainty


def viscosity(value: int, instrument: str = "VIS-1", torque: bool = True) -> Reading:
    told = {"rpm": Decimal(10), "instrument": instrument, "method": "viscosity"}
    percent = Decimal(value) * 10 / 4000 if torque else None
    return Reading(1, "X-1/1", "viscosity", Decimal(value), "mPa.s", torque_pct=percent, **told)


def known(*readings: Reading, mean: float, relative: bool = False):
    return mean_uncertainty(readings, lambda name: None, mean=mean, relative=relative)


def test_one_reading_has_its_own_uncertainty_and_k_2():
    one = known(viscosity(15200), mean=15200.0)
    assert one.standard == pytest.approx(HALF, rel=1e-3) and one.k == 2
    assert one.expanded == pytest.approx(461.9, abs=0.5)
    assert str(one).startswith("15200 ± 460 mPa.s (U = 460 mPa.s, k = 2, from the full-scale error of the spring at 38")
    assert "MeanUncertainty" not in repr(one) and "<p" in one._repr_html_()


def test_what_one_spring_does_to_both_readings_does_not_average_out():
    """Two equal readings on one spring are known no better than one; on two springs by a factor of sqrt 2."""
    same = known(viscosity(15200), viscosity(15200), mean=15200.0)
    assert same.standard == pytest.approx(HALF, rel=1e-3)
    other = known(viscosity(15200), viscosity(15200, "VIS-2"), mean=15200.0)
    assert other.standard == pytest.approx(HALF / math.sqrt(2), rel=1e-3)


def test_the_scatter_of_two_readings_comes_with_student_s_t():
    """14,200 and 16,200: standard deviation of the mean 1000, df 1; combined 1026, df (1026/1000)^4 = 1.1: t 13.97."""
    two = known(viscosity(14200), viscosity(16200), mean=15200.0)
    assert two.standard == pytest.approx(math.hypot(1000, HALF), rel=1e-3)
    assert two.k == pytest.approx(13.97, abs=0.01)
    assert two.rests_on[-1] == "the scatter of its 2 readings"
    close = known(viscosity(15150), viscosity(15250), mean=15200.0)
    assert close.k == pytest.approx(2.0, abs=0.01)  # df about (236/50)^4 = 500


def test_a_geometric_mean_is_combined_in_shares():
    """One share of 230.9 / 10,000 and one of 230.9 / 20,000, added on one spring: 1.73 % of 14,142."""
    two = known(viscosity(10000), viscosity(20000), mean=math.sqrt(2e8), relative=True)
    spring = HALF * (1 / 10000 + 1 / 20000) / 2
    scatter = math.log(2) / 2  # of the mean of two, ln units
    assert two.standard == pytest.approx(math.sqrt(2e8) * math.hypot(spring, scatter), rel=1e-3)


def test_nothing_is_said_where_one_reading_tells_nothing():
    assert known(viscosity(15200), viscosity(15200, torque=False), mean=15200.0) is None
    assert mean_uncertainty((), lambda name: None, mean=0.0) is None


def test_a_ph_takes_the_calibration_it_names():
    """Closing check 0.04 off, last digit 0.005: sqrt((0.04^2 + 0.005^2) / 3) = 0.0233."""
    told = Calibration(
        "CAL-1", "PH-1", buffers=(Decimal("4.00"),), temp_c=Decimal(25),
        closings=(ClosingCheck(Decimal("4.00"), Decimal("4.04")),),
    )  # fmt: skip
    reading = Reading(1, "X-1/1", "pH", Decimal("4.68"), "1", instrument="PH-1", calibration="CAL-1")
    found = mean_uncertainty([reading], {"CAL-1": told}.get, mean=4.68)
    assert found.standard == pytest.approx(0.0233, abs=0.0002)
    assert found.unit == "" and "closing check (0.04)" in found.told
