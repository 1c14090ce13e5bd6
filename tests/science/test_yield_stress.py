"""Yield values and the quick figure."""

import math

import numpy as np
import pytest

from kit.science.flow_curve import FlowCurve
from kit.science.flow_fit import fit_flow
from kit.science.flow_models import BINGHAM, CASSON, HERSCHEL_BULKLEY, POWER_LAW
from kit.science.flow_result import ABSOLUTE
from kit.science.yield_stress import quick_yield, yield_range, yield_stress

RATES = np.geomspace(0.5, 300, 12)


def curve(seed=1, sd=0.01, parameters=(12.0, 4.5, 0.42)) -> FlowCurve:
    noise = np.random.default_rng(seed).normal(0, sd, RATES.size)
    return FlowCurve(RATES, HERSCHEL_BULKLEY.stress_pa(RATES, parameters) * np.exp(noise))


def test_by_hand():
    """Straight line through 3.1, 4.9, 7.1, 8.9 Pa at 1, 2, 3, 4 1/s: 1.1 Pa at no flow, standard error
    sqrt(0.016 x 30/20) = 0.1549; t of 2 df at 95 % 4.3027: 1.1 ± 0.6666."""
    found = yield_stress(fit_flow(FlowCurve([1, 2, 3, 4], [3.1, 4.9, 7.1, 8.9]), BINGHAM, weighting=ABSOLUTE))
    assert (found.value_pa, found.standard_error_pa) == pytest.approx((1.1, 0.15492), rel=1e-4)
    assert (found.low_pa, found.high_pa) == pytest.approx((0.4334, 1.7666), abs=1e-4)
    assert found.told_from_zero
    assert found.lowest_rate_per_s == 1
    assert str(found) == "1.1 ± 0.15 Pa, extrapolated by Bingham, not measured below 1 1/s"


def test_a_yield_value_within_its_error_of_zero_is_not_told_from_zero():
    found = yield_stress(fit_flow(curve(seed=3, sd=0.05, parameters=(0.8, 14.0, 0.31)), HERSCHEL_BULKLEY))
    assert found.value_pa is not None and found.low_pa == 0.0 < found.high_pa
    assert not found.told_from_zero
    assert "not told from zero" in str(found)


@pytest.mark.parametrize(
    ("fit", "said"),
    [
        (fit_flow(curve(), POWER_LAW), "power law has none"),
        (fit_flow(FlowCurve(RATES, RATES**0.3 * (1 - 0.1 * np.exp(-RATES))), HERSCHEL_BULKLEY), "rests on 0"),
        (fit_flow(FlowCurve([1, 2], [3, 4]), CASSON), "as many unknowns as readings"),
        (fit_flow(FlowCurve([1, 2, 3], [3, -4, 5]), CASSON), "negative"),
        (fit_flow(curve(), HERSCHEL_BULKLEY, held={"yield_stress_pa": 12.0}), "held"),
    ],
)
def test_where_there_is_none(fit, said):
    found = yield_stress(fit)
    assert found.value_pa is found.standard_error_pa is found.low_pa is found.high_pa is None
    assert said in found.reason and said in str(found)
    assert not found.told_from_zero


def test_the_figure_hangs_on_the_model():
    """On one curve Bingham, with its straight line, gives more than Herschel-Bulkley."""
    fits = [fit_flow(curve(), model) for model in (HERSCHEL_BULKLEY, CASSON, BINGHAM, POWER_LAW)]
    found = yield_range(fits)
    by_model = {value.model: value.value_pa for value in found.values}
    assert by_model["Herschel-Bulkley"] == pytest.approx(12, abs=1)
    assert by_model["Bingham"] > by_model["Herschel-Bulkley"] + 1
    assert (found.low_pa, found.high_pa) == (min(by_model.values()), max(by_model.values()))
    assert yield_range(fits[-1:]).reason == "no model gives one"


def test_quick_figure():
    """(48,000 - 30,000)/100 = 180 dyn/cm²; 1 dyn/cm² is 1e-5 N on 1e-4 m²: 18 Pa."""
    found = quick_yield(48_000, 30_000)
    assert (found.dyn_per_cm2, found.pa) == pytest.approx((180, 18.0))
    assert str(found) == "180 dyn/cm² (18 Pa), for the same spindle only"


@pytest.mark.parametrize(
    ("slow", "fast", "said"),
    [
        (30_000, 48_000, "below that at 1 rpm"),
        (math.nan, 30_000, "not a viscosity"),
        (48_000, 0, "not a viscosity"),
        (48_000, -2, "not a viscosity"),
    ],
)
def test_no_quick_figure(slow, fast, said):
    found = quick_yield(slow, fast)
    assert (found.dyn_per_cm2, found.pa) == (None, None)
    assert said in str(found)
