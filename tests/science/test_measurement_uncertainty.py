from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.measurement_uncertainty import budget, effective_df
from kit.science.uncertainty_inputs import UncertainInput, rectangular

sizes = st.floats(1e-3, 1e3)


def total(at):
    return math.fsum(at.values())


@given(first=sizes, second=sizes, df=st.floats(1, 200))
def test_a_sum_adds_variances_and_its_df_lies_between(first, second, df):
    found = budget(total, [UncertainInput("a", 3.0, first, df), UncertainInput("b", -2.0, second, df)])
    assert found.standard_uncertainty == pytest.approx(math.hypot(first, second))
    assert df * (1 - 1e-9) <= found.df <= 2 * df * (1 + 1e-9)
    assert math.fsum(part.share_pct for part in found.contributions) == pytest.approx(100)


def test_the_df_of_a_sum_does_not_depend_on_the_second_order():
    """Welch's interval of two means: 1 / ((s1/s)^4/df1 + ...), with 1 and 2 of 4 and 9 degrees of freedom: 12.25."""
    found = budget(total, [UncertainInput("a", 0, 1, 4), UncertainInput("b", 0, 2, 9)])
    assert found.df == pytest.approx(25 / (1 / 4 + 16 / 9), rel=1e-9)
    assert found.df == pytest.approx(effective_df([(1, 4), (2, 9)]))


@given(rho=st.floats(-1, 1))
def test_correlation_enters_with_the_sign_of_both_slopes(rho):
    inputs = [UncertainInput("a", 5, 3), UncertainInput("b", 4, 4)]
    found = budget(lambda at: at["a"] - at["b"], inputs, {("a", "b"): rho})
    assert found.standard_uncertainty == pytest.approx(math.sqrt(25 - 24 * rho), abs=1e-6)
    assert found.with_second_order is None


@given(power=st.sampled_from([-2, -1, 1, 2, 3]), relative=st.floats(1e-5, 1e-3))
def test_a_power_multiplies_the_relative_uncertainty(power, relative):
    found = budget(lambda at: at["x"] ** power, [UncertainInput("x", 7.0, 7.0 * relative)])
    assert found.relative_pct == pytest.approx(100 * abs(power) * relative, rel=1e-4)
    sign = math.copysign(1, found.contributions[0].sensitivity)
    assert sign == math.copysign(1, power)


def test_a_model_that_bends_is_told():
    """y = x2 at x = 0: first order nothing, second order by hand root(2) u2; exact for a normal input."""
    found = budget(lambda at: at["x"] ** 2, [UncertainInput("x", 0.0, 0.5)])
    assert found.standard_uncertainty == 0
    assert found.with_second_order == pytest.approx(math.sqrt(2) * 0.25)
    assert found.bends
    straight = budget(total, [UncertainInput("x", 0.0, 0.5)])
    assert not straight.bends


def test_the_second_order_of_a_product_is_exact():
    """Variance of a product of independent inputs: a2 v + b2 u + u v; by hand with a 3 (0.6) and b 2 (0.5): 4.9509."""
    found = budget(lambda at: at["a"] * at["b"], [UncertainInput("a", 3, 0.6), UncertainInput("b", 2, 0.5)])
    assert found.standard_uncertainty**2 == pytest.approx(9 * 0.25 + 4 * 0.36)
    assert found.with_second_order**2 == pytest.approx(9 * 0.25 + 4 * 0.36 + 0.36 * 0.25)


def test_the_second_order_holds_up_against_simulation():
    """exp(x) of a normal x with sd 0.3: log-normal variance (e^0.09 - 1) e^0.09; the first order alone is 5 % short in
    the standard deviation."""
    found = budget(lambda at: math.exp(at["x"]), [UncertainInput("x", 0.0, 0.3)])
    exact = math.sqrt((math.exp(0.09) - 1) * math.exp(0.09))
    assert found.with_second_order == pytest.approx(exact, rel=0.015)
    assert found.standard_uncertainty < 0.96 * exact


@pytest.mark.parametrize(
    ("df", "confidence", "factor"),
    [(math.inf, 0.95, 1.960), (16, 0.99, 2.921), (10, 0.95, 2.228), (10.9, 0.95, 2.228), (1, 0.95, 12.706)],
)
def test_coverage_factors(df, confidence, factor):
    """Student's t as JCGM 100:2008, Table G.2 prints it; degrees of freedom are cut, not rounded."""
    found = budget(total, [UncertainInput("a", 0, 1, df)])
    assert found.coverage_factor(confidence) == pytest.approx(factor, abs=6e-4)


def test_rows_and_words():
    found = budget(total, [rectangular("torque", 40, 1), UncertainInput("repeat", 0, 0.1, 2)])
    assert [row["input"] for row in found.rows()] == ["torque", "repeat"]
    assert found.rows()[0]["from"] == "rectangular, half width 1"
    assert "torque" in found.words
    assert "±" in found.words
    few = budget(total, [UncertainInput("repeat", 10, 1, 2)])
    assert "poorly known" in few.words


def test_no_uncertainty_at_all():
    found = budget(total, [UncertainInput("a", 3, 0)])
    assert (found.standard_uncertainty, found.df) == (0, math.inf)
    assert found.expanded() == 0


@pytest.mark.parametrize(
    ("inputs", "correlations", "code"),
    [
        ([UncertainInput("a", 1, 1), UncertainInput("a", 2, 1)], None, "uncertainty.names"),
        ([UncertainInput("a", 1, 1)], {("a", "b"): 0.5}, "uncertainty.names"),
        ([UncertainInput("a", 1, 1)], {("a", "a"): 0.5}, "uncertainty.names"),
        ([UncertainInput("a", 1, 1), UncertainInput("b", 1, 1)], {("a", "b"): 1.5}, "uncertainty.correlation"),
        (
            [UncertainInput("a", 1, 1), UncertainInput("b", 1, 1)],
            {("a", "b"): 0.5, ("b", "a"): 0.5},
            "uncertainty.correlation",
        ),
        (
            [UncertainInput(name, 1, 1) for name in "abc"],
            {("a", "b"): -1, ("b", "c"): -1, ("a", "c"): -1},
            "uncertainty.correlation",
        ),
    ],
)
def test_impossible_budgets_are_refused(inputs, correlations, code):
    with pytest.raises(KitError) as error:
        budget(total, inputs, correlations)
    assert error.value.code == code


def test_a_model_that_leaves_the_numbers_is_refused():
    with pytest.raises(KitError) as error:
        budget(lambda at: math.inf if at["a"] > 1 else 0.0, [UncertainInput("a", 1, 1)])
    assert error.value.code == "uncertainty.model"
    with pytest.raises(KitError) as error:
        budget(total, [UncertainInput("a", 1, 1)]).expanded(95)
    assert error.value.code == "uncertainty.confidence"
