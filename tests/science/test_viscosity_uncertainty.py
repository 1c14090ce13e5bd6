from __future__ import annotations

import math

import pytest

from kit.errors import KitError
from kit.science.viscosity_uncertainty import viscosity_budget


def test_a_reading_at_37_percent_of_torque():
    """By hand: 15,000 mPa.s at 37.5 %; spring 1/root 3 of 37.5 = 1.540 %, repeat 3 %, together 3.372 %."""
    found = viscosity_budget(4000, 37.5, 10, repeat_sd_pct=3, repeat_df=5)
    assert found.value == pytest.approx(15_000)
    assert found.relative_pct == pytest.approx(3.372, abs=1e-3)
    assert found.contributions[0].source.name == "repeat"
    # (3.372/3)^4 x 5 = 7.98
    assert found.df == pytest.approx(7.98, abs=0.02)


def test_temperature_counts_only_with_a_measured_slope():
    """By hand: 0.5 degC / root 3 x 4.5 % a degree = 1.299 %; with the spring 1.540 % together 2.015 %."""
    with_slope = viscosity_budget(4000, 37.5, 10, temp_error_c=0.5, log_slope_per_c=-0.045)
    assert with_slope.relative_pct == pytest.approx(2.015, abs=2e-3)
    assert {part.source.name for part in with_slope.contributions} == {"torque", "temperature"}
    without = viscosity_budget(4000, 37.5, 10, temp_error_c=0.5)
    assert {part.source.name for part in without.contributions} == {"torque"}


def test_at_low_torque_the_spring_is_all():
    low = viscosity_budget(4000, 10, 10, repeat_sd_pct=3)
    assert low.contributions[0].source.name == "torque"
    assert low.relative_pct == pytest.approx(math.hypot(10 / math.sqrt(3), 3), rel=1e-3)


def test_a_torque_of_zero_has_no_budget():
    with pytest.raises(KitError) as error:
        viscosity_budget(4000, 0, 10)
    assert error.value.code == "science.not_positive"
