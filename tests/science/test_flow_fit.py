"""Fit of flow models: what the readings tell and what they do not, invariance, weighting, standard errors."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from kit.errors import KitError
from kit.science.flow_curve import FlowCurve
from kit.science.flow_fit import fit_flow, fit_flow_many
from kit.science.flow_least_squares import least_squares
from kit.science.flow_models import (
    BINGHAM,
    CARREAU,
    CASSON,
    CROSS,
    HERSCHEL_BULKLEY,
    MODELS,
    NEWTONIAN,
    POWER_LAW,
    THREE_COMPONENT,
)
from kit.science.flow_result import ABSOLUTE, LOWER, RELATIVE, STATED, UPPER

RATES = np.geomspace(0.1, 300, 14)
SAMPLE = {
    NEWTONIAN: (4.0,),
    BINGHAM: (11.0, 0.6),
    POWER_LAW: (14.0, 0.31),
    HERSCHEL_BULKLEY: (12.0, 4.5, 0.42),
    CASSON: (9.0, 0.35),
    CROSS: (60.0, 0.05, 2.5, 0.8),
    CARREAU: (60.0, 0.05, 2.5, 0.3),
    THREE_COMPONENT: (10.0, 0.9, 0.7),
}


def noisy(model, seed=1, sd=0.02, rates=RATES, parameters=None) -> FlowCurve:
    stress = model.stress_pa(rates, parameters or SAMPLE[model])
    return FlowCurve(rates, stress * np.exp(np.random.default_rng(seed).normal(0, sd, rates.size)))


def values(fit) -> list:
    return list(fit.parameters.values())


def errors(fit) -> list:
    return list(fit.standard_errors.values())


# What cannot be told


@pytest.mark.parametrize("model", MODELS, ids=repr)
@pytest.mark.parametrize(
    ("rates", "stresses", "said"),
    [
        ([], [], "no reading"),
        ([1, 10, 100, 200], [5, 9, float("nan"), 20], "reading 3 has a stress that is not a number"),
        ([1, 10, math.inf, 200], [5, 9, 14, 20], "reading 3 has a shear rate that is not a number"),
        ([1, 10, 100, 200], [5, -9, 14, 20], "reading 2 has a negative stress"),
        ([1, 10, 100, 200], [5, 9, 14, 0], "reading 4 has no stress"),
        ([0, 10, 100, 200], [5, 9, 14, 20], "reading 1 has a shear rate that is not above zero"),
        ([10, 10, 10, 10], [5, 9, 14, 20], "one shear rate"),
        ([1, 10, 100, 200], [7, 7, 7, 7], "the stress is the same at every rate"),
    ],
)
def test_what_is_no_flow_curve(model, rates, stresses, said):
    found = fit_flow(FlowCurve(rates, stresses), model)
    assert not found.ok
    assert said in found.reasons[0]
    assert found.estimates == () and found.fitted == () and found.aicc is None and found.residual_sd is None
    assert math.isnan(found.stress_pa(10.0))


@pytest.mark.parametrize("model", [POWER_LAW, BINGHAM, CASSON], ids=repr)
def test_two_readings_and_two_unknowns(model):
    found = fit_flow(FlowCurve([1, 10], [5, 9]), model)
    assert not found.ok
    assert "as many unknowns as readings" in found.reasons[0]
    assert values(found) == errors(found) == [None, None]
    assert (found.df, found.residual_sd, found.aicc) == (0, None, None)


@pytest.mark.parametrize("model", [HERSCHEL_BULKLEY, CROSS, CARREAU, THREE_COMPONENT], ids=repr)
def test_two_rates_do_not_tell_three_unknowns_however_often_read(model):
    for curve in (FlowCurve([1, 10], [5, 9]), FlowCurve([1, 1, 1, 10, 10, 10], [5, 5.1, 5.2, 9, 9.1, 9.2])):
        found = fit_flow(curve, model)
        assert "readings at 2 rates do not tell" in found.reasons[0]
        assert found.estimates == ()


@pytest.mark.parametrize("model", [CROSS, CARREAU], ids=repr)
@pytest.mark.parametrize("seed", range(5))
def test_plateaus_are_not_told_by_a_straight_power_law(model, seed):
    """Without a bend in the window any time constant beyond it does: no viscosity at rest may be told."""
    found = fit_flow(noisy(POWER_LAW, seed), model)
    assert not found.ok
    assert values(found) == errors(found) == [None] * 4
    assert "not tell" in found.reasons[0] or "not told" in found.reasons[0] or "larger" in found.reasons[0]


@pytest.mark.parametrize("model", [CROSS, CARREAU], ids=repr)
def test_a_newtonian_liquid_has_no_bend(model):
    found = fit_flow(noisy(NEWTONIAN), model)
    assert not found.ok
    assert values(found) == errors(found) == [None] * 4


def test_no_yield_value_in_a_power_law():
    """With the sign of the noise such that the best yield value would be negative."""
    hit = [fit_flow(noisy(POWER_LAW, seed), HERSCHEL_BULKLEY) for seed in range(12)]
    resting = [found for found in hit if found.at_bound]
    assert resting
    for found in resting:
        assert found.at_bound == ("yield_stress_pa",)
        assert (found["yield_stress_pa"].value, found["yield_stress_pa"].standard_error) == (0.0, None)
        assert found["yield_stress_pa"].at_bound == LOWER
        assert "ask for no yield value" in found.notes[0]
    # the power law fitted alone, to the last digits
    seed = next(seed for seed, found in enumerate(hit) if found.at_bound)
    alone = fit_flow(noisy(POWER_LAW, seed), POWER_LAW)
    assert values(hit[seed])[1:] == pytest.approx(values(alone), rel=1e-7)


def test_a_stress_that_falls_with_rate_has_no_index():
    found = fit_flow(FlowCurve([1, 3, 10, 30, 100], [20, 17, 13, 11, 9]), POWER_LAW)
    assert not found.ok
    assert (found["flow_index"].value, found["flow_index"].at_bound) == (None, LOWER)
    assert "lower bound of 0.01" in found.reasons[0]
    thick = fit_flow(FlowCurve([1, 3, 10, 30, 100], [1, 27, 1e3, 27e3, 1e6]), POWER_LAW)
    assert thick["flow_index"].at_bound == UPPER


# Standard errors and weighting


@pytest.mark.parametrize(
    ("model", "function"),
    [
        (BINGHAM, lambda r, y, v: y + v * r),
        (POWER_LAW, lambda r, k, n: k * r**n),
        (CASSON, lambda r, y, v: (np.sqrt(y) + np.sqrt(v * r)) ** 2),
        (CROSS, lambda r, a, b, t, m: r * (b + (a - b) / (1 + (t * r) ** m))),
    ],
    ids=lambda value: repr(value)[:20],
)
@pytest.mark.parametrize("weighting", [RELATIVE, ABSOLUTE, STATED])
def test_fit_and_errors_as_scipy(model, function, weighting):
    curve = noisy(model)
    sigma = {RELATIVE: curve.stress_pa, ABSOLUTE: None, STATED: 0.3 + 0.001 * curve.stress_pa}[weighting]
    if weighting == STATED:
        curve = FlowCurve(curve.shear_rate_per_s, curve.stress_pa, sigma)
    found = fit_flow(curve, model, weighting=weighting)
    exact = {"ftol": 1e-14, "xtol": 1e-14, "gtol": 1e-14, "maxfev": 20_000}
    expected, covariance = curve_fit(function, curve.shear_rate_per_s, curve.stress_pa, SAMPLE[model], sigma, **exact)
    if (expected < 0).any() or found.at_bound:
        pytest.skip("the best parameters lie beyond a bound")
    left = (function(curve.shear_rate_per_s, *expected) - curve.stress_pa) / (1 if sigma is None else sigma)
    assert found.residual_sd == pytest.approx(math.sqrt(left @ left / found.df), rel=1e-6)
    assert values(found) == pytest.approx(expected, rel=2e-5)
    scale = 1 if weighting != STATED else max(1.0, found.residual_sd) / found.residual_sd
    assert errors(found) == pytest.approx(np.sqrt(np.diag(covariance)) * scale, rel=1e-3)


def test_a_straight_line_by_hand():
    """Bingham with the same error at all points is a straight line. Rates 1, 2, 3, 4 and stresses 3.1, 4.9, 7.1, 8.9:
    slope 9.8/5 = 1.96, intercept 6 - 1.96 x 2.5 = 1.1; left over 0.04, -0.12, 0.12, -0.04, squares 0.032, variance
    0.016; error of the slope sqrt(0.016/5) = 0.05657, of the intercept sqrt(0.016 x 30/20) = 0.15492."""
    found = fit_flow(FlowCurve([1, 2, 3, 4], [3.1, 4.9, 7.1, 8.9]), BINGHAM, weighting=ABSOLUTE)
    assert values(found) == pytest.approx([1.1, 1.96], rel=1e-9)
    assert errors(found) == pytest.approx([0.15492, 0.05657], rel=1e-4)
    assert found.residual_sd == pytest.approx(math.sqrt(0.016))
    # t of 2 degrees of freedom at 95 %: 4.3027
    assert found.interval("plastic_viscosity_pa_s") == pytest.approx((1.96 - 0.2434, 1.96 + 0.2434), abs=1e-4)
    # AICc: 4 ln(0.032/4) + 2 x 3 + 2 x 3 x 4/(4 - 3 - 1): no room
    assert found.aicc is None


def test_aicc_by_hand():
    """The line above without yield value, v = 61.7/30 by least squares from zero; one unknown and the scatter."""
    rates, stresses = [1, 2, 3, 4], [3.1, 4.9, 7.1, 8.9]
    found = fit_flow(FlowCurve(rates, stresses), NEWTONIAN, weighting=ABSOLUTE)
    assert found["viscosity_pa_s"].value == pytest.approx((3.1 + 9.8 + 21.3 + 35.6) / 30)
    squares = sum((stress - 69.8 / 30 * rate) ** 2 for rate, stress in zip(rates, stresses, strict=True))
    assert found.aicc == pytest.approx(4 * math.log(squares / 4) + 4 + 2 * 2 * 3 / (4 - 2 - 1))


def test_stated_errors_are_taken_as_they_are_and_enlarged_when_too_small():
    rates = np.array([1, 2, 3, 4.0])
    stresses = np.array([3.1, 4.9, 7.1, 8.9])
    large = fit_flow(FlowCurve(rates, stresses, np.full(4, 1.0)), BINGHAM)
    assert large.weighting == STATED
    assert errors(large) == pytest.approx([math.sqrt(1.5), math.sqrt(0.2)], rel=1e-9)
    small = fit_flow(FlowCurve(rates, stresses, np.full(4, 0.01)), BINGHAM)
    assert errors(small) == pytest.approx([0.15492, 0.05657], rel=1e-4)
    assert "times as far as stated" in small.notes[0]
    assert large.notes == ()


def test_the_interval_of_the_yield_value_holds_the_truth():
    """600 simulated curves, 3 % noise: 95 % expected, binomial SD 0.9 %; the weights are of the readings themselves."""
    curves = [noisy(HERSCHEL_BULKLEY, seed, sd=0.03) for seed in range(600)]
    found = fit_flow_many(curves, HERSCHEL_BULKLEY)
    for name, truth in zip(HERSCHEL_BULKLEY.names, SAMPLE[HERSCHEL_BULKLEY], strict=True):
        held = [low <= truth <= high for low, high in (fit.interval(name) for fit in found if fit.ok)]
        assert len(held) > 590
        assert 0.92 < sum(held) / len(held) < 0.98


def test_a_shape_that_the_model_lacks_is_said():
    assert any("shape that the model lacks" in note for note in fit_flow(noisy(CROSS, sd=0.001), POWER_LAW).notes)
    assert fit_flow(noisy(POWER_LAW), POWER_LAW).notes == ()


# One or many, order, units


@pytest.mark.parametrize("model", MODELS, ids=repr)
def test_many_curves_of_different_length_are_fitted_as_alone(model):
    curves = [noisy(model, seed, rates=np.geomspace(0.1, 300, 8 + seed)) for seed in range(5)]
    curves.insert(2, FlowCurve([1, 10], [5, math.nan]))
    together = fit_flow_many(curves, model)
    assert [fit.ok for fit in together][2] is False
    for curve, fit in zip(curves, together, strict=True):
        alone = fit_flow(curve, model)
        assert values(fit) == pytest.approx(values(alone), rel=1e-7)
        assert fit.reasons == alone.reasons


def test_no_curve_no_fit():
    assert fit_flow_many([], CROSS) == ()


shapes = st.sampled_from([BINGHAM, POWER_LAW, HERSCHEL_BULKLEY, CASSON, CROSS, CARREAU, THREE_COMPONENT])
factors = st.floats(1e-4, 1e4)
# What a parameter is multiplied with when stresses are s and rates are r times as large; K by s / r^n.
STRESS_POWER = {"Pa": 1, "Pa·s": 1, "Pa·s^n": 1, "s": 0, "1/s": 0, "-": 0}
RATE_POWER = {"Pa": 0, "Pa·s": -1, "Pa·s^n": 0, "s": -1, "1/s": 1, "-": 0}


@settings(max_examples=40, deadline=None)
@given(model=shapes, stress_factor=factors, rate_factor=factors, seed=st.integers(0, 50))
def test_other_units_scale_the_parameters_exactly(model, stress_factor, rate_factor, seed):
    curve = noisy(model, seed)
    first = fit_flow(curve, model)
    second = fit_flow(FlowCurve(curve.shear_rate_per_s * rate_factor, curve.stress_pa * stress_factor), model)
    assert second.ok == first.ok and second.at_bound == first.at_bound
    assert second.residual_sd == pytest.approx(first.residual_sd, rel=1e-7)
    assert second.aicc == pytest.approx(first.aicc, abs=1e-5)
    for one, two in zip(first.estimates, second.estimates, strict=True):
        unit = one.parameter.unit
        factor = stress_factor ** STRESS_POWER[unit] * rate_factor ** RATE_POWER[unit]
        if unit == "Pa·s^n":
            factor /= rate_factor ** first["flow_index"].value
        elif one.standard_error is not None:  # that of K hangs on the unit of rate through n
            assert two.standard_error == pytest.approx(one.standard_error * factor, rel=1e-4)
        if one.value is not None:
            assert two.value == pytest.approx(one.value * factor, rel=1e-5, abs=1e-300)


@settings(max_examples=30, deadline=None)
@given(model=shapes, order=st.permutations(range(14)), seed=st.integers(0, 50))
def test_the_order_of_the_readings_does_not_matter(model, order, seed):
    curve = noisy(model, seed)
    first = fit_flow(curve, model)
    second = fit_flow(FlowCurve(curve.shear_rate_per_s[order], curve.stress_pa[order]), model)
    assert values(second) == values(first) and errors(second) == errors(first)
    assert second.notes == first.notes


@settings(max_examples=30, deadline=None)
@given(model=shapes, seed=st.integers(0, 50))
def test_every_reading_twice_changes_errors_only(model, seed):
    """The same minimum with 28 readings for 14: errors smaller by sqrt of (14 - p)/(28 - p) over 2, squares twice."""
    curve = noisy(model, seed)
    first = fit_flow(curve, model)
    second = fit_flow(FlowCurve(np.repeat(curve.shear_rate_per_s, 2), np.repeat(curve.stress_pa, 2)), model)
    ratio = math.sqrt(first.df / second.df)
    for one, two in zip(first.estimates, second.estimates, strict=True):
        if one.value is not None and two.value is not None:
            assert two.value == pytest.approx(one.value, rel=1e-6)
        if one.standard_error is not None and two.standard_error is not None:
            assert two.standard_error == pytest.approx(one.standard_error * ratio, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(
    model=st.sampled_from(MODELS),
    rates=st.lists(st.floats(1e-3, 1e4), min_size=2, max_size=9),
    data=st.data(),
)
def test_any_readings_give_a_finite_answer_or_say_why_not(model, rates, data):
    stresses = data.draw(st.lists(st.floats(-1, 1e6), min_size=len(rates), max_size=len(rates)))
    found = fit_flow(FlowCurve(rates, stresses), model)
    assert found.ok != bool(found.reasons)
    for estimate in found.estimates:
        assert estimate.value is None or math.isfinite(estimate.value)
        assert estimate.standard_error is None or estimate.standard_error >= 0
        assert found.ok or estimate.value is None or estimate.standard_error is not None or estimate.at_bound
    assert str(found)


# What is refused


def test_what_is_refused():
    curve = FlowCurve([1, 10, 100], [5, 9, 14])
    cases = [
        (lambda: FlowCurve([1, 2], [1]), "flow.readings"),
        (lambda: FlowCurve([[1, 2]], [[1, 2]]), "flow.readings"),
        (lambda: FlowCurve.from_viscosity([1, 2], [1]), "flow.readings"),
        (lambda: fit_flow(curve, POWER_LAW, weighting="log"), "flow.weighting"),
        (lambda: fit_flow(curve, POWER_LAW, weighting=STATED), "flow.weighting"),
        (lambda: fit_flow(curve, POWER_LAW, held={"yield_stress_pa": 0}), "flow.held"),
        (lambda: fit_flow(curve, POWER_LAW, held={"flow_index": 3}), "flow.held"),
        (lambda: fit_flow(curve, POWER_LAW, held={"consistency_pa_s_n": 0}), "flow.held"),
        (lambda: least_squares(None, *np.ones((3, 2, 4)), np.ones((3, 1))), "fit.shape"),
    ]
    for call, code in cases:
        with pytest.raises(KitError) as refused:
            call()
        assert refused.value.code == code


def test_a_held_parameter_counts_as_known():
    curve = noisy(HERSCHEL_BULKLEY)
    found = fit_flow(curve, HERSCHEL_BULKLEY, held={"flow_index": 0.42})
    assert found["flow_index"].held and found["flow_index"].value == 0.42 and found["flow_index"].standard_error is None
    assert found.df == 12
    assert errors(found)[0] < errors(fit_flow(curve, HERSCHEL_BULKLEY))[0]
    assert "(held)" in str(found)


def test_viscosities_are_fitted_as_stresses():
    curve = noisy(CASSON)
    same = FlowCurve.from_viscosity(RATES, curve.viscosity_pa_s, 0.02 * curve.viscosity_pa_s)
    assert same.standard_deviation_pa == pytest.approx(0.02 * curve.stress_pa)
    assert values(fit_flow(same, CASSON)) == pytest.approx(values(fit_flow(curve, CASSON)), rel=1e-7)


def test_nothing_is_told_outside_the_measured_rates():
    found = fit_flow(noisy(POWER_LAW, sd=0.0), POWER_LAW)
    assert found.stress_pa(1.0) == pytest.approx(14.0)
    assert found.viscosity_pa_s(np.array([0.01, 1.0, 1e3])) == pytest.approx([math.nan, 14.0, math.nan], nan_ok=True)
    assert found.covers(0.1) and not found.covers(0.09)
