"""The least-squares engine: bounds, what is not told, starts that lead nowhere. Certified sets: tests/published."""

import numpy as np
import pytest

from kit.science.flow_least_squares import complex_step, least_squares, standard_errors

X = np.array([[1.0, 2, 3, 4], [1.0, 2, 3, 4]])
Y = np.array([[3.1, 4.9, 7.1, 8.9], [2.9, 2.1, 0.9, 0.1]])
ONE = np.ones_like(X)


def line(x, parameters):
    return parameters[:, 0:1] + parameters[:, 1:2] * x


def test_a_slope_rests_on_its_bound_on_one_curve_only():
    """The first line rises: 1.1 + 1.96 x. The second falls by 0.96 a step; with no slope below 0 its mean is left, 1.5,
    and squares 1.4² + 0.6² + 0.6² + 1.4² = 4.64."""
    found = least_squares(complex_step(line), X, Y, ONE, np.ones((2, 2)), lower=np.array([-np.inf, 0.0]))
    assert found.converged.all()
    assert found.parameters[0] == pytest.approx([1.1, 1.96])
    assert found.parameters[1] == pytest.approx([1.5, 0.0])
    assert found.squares[1] == pytest.approx(4.64)
    assert found.at_lower.tolist() == [[False, False], [False, True]]
    assert not found.at_upper.any()
    covariance, errors = standard_errors(found, np.array([4, 4]), ~found.at_lower)
    # sqrt(0.016 x 30/20), sqrt(0.016/5); of a mean sqrt(4.64/3/4); covariance of intercept and slope -0.016 x 2.5/5
    assert errors[0] == pytest.approx([0.154919, 0.0565685], rel=1e-5)
    assert covariance[0, 0, 1] == pytest.approx(-0.008)
    assert errors[1, 0] == pytest.approx(0.621825, rel=1e-5)
    assert np.isnan(errors[1, 1])


def test_a_held_parameter_stays_where_it_is():
    low, high = np.array([[2.0, -np.inf]] * 2), np.array([[2.0, np.inf]] * 2)
    found = least_squares(complex_step(line), X, Y, ONE, np.array([[2.0, 1.0]] * 2), low, high)
    assert (found.parameters[:, 0] == 2.0).all()
    # slope through (0, 2): sum x (y - 2) / 30 = (1.1 + 5.8 + 15.3 + 27.6)/30
    assert found.parameters[0, 1] == pytest.approx(49.8 / 30)


def test_parameters_that_cannot_be_told_apart_have_no_error():
    found = least_squares(complex_step(lambda x, p: (p[:, 0:1] + p[:, 1:2]) * x), X, Y, ONE, np.ones((2, 2)))
    covariance, errors = standard_errors(found, np.array([4, 4]), np.ones((2, 2), dtype=bool))
    assert np.isnan(errors).all() and np.isnan(covariance).all()


def test_no_spare_reading_no_error():
    weight = ONE.copy()
    weight[:, 2:] = 0
    found = least_squares(complex_step(line), X, Y, weight, np.ones((2, 2)))
    assert found.parameters[0] == pytest.approx([1.3, 1.8])  # through (1, 3.1) and (2, 4.9)
    assert np.isnan(standard_errors(found, np.array([2, 2]), np.ones((2, 2), dtype=bool))[1]).all()


def test_a_start_where_the_model_has_no_value_is_not_converged():
    function = complex_step(lambda x, p: p[:, 0:1] * np.log(p[:, 1:2] * x))
    found = least_squares(function, X, np.array([Y[0]] * 2), ONE, np.array([[1.0, -1.0], [1.0, 1.0]]))
    assert found.converged.tolist() == [False, True]


def test_what_has_no_weight_counts_for_nothing():
    x, y, weight = np.array([[1.0, 2, 3, 4, np.nan]]), np.array([[3.1, 4.9, 7.1, 8.9, np.nan]]), np.ones((1, 5))
    weight[0, 4] = 0
    y = np.where(weight > 0, y, 0.0)
    found = least_squares(complex_step(line), x, y, weight, np.ones((1, 2)))
    assert found.parameters[0] == pytest.approx([1.1, 1.96])
