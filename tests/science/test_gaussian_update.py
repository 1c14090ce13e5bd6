"""The update against generalised least squares and minimisers that were written by others, and at its edges."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize
from statsmodels.regression.linear_model import GLS

from kit.errors import KitError
from kit.science.gaussian_update import update


def linear_case(seed: int, unknowns: int, readings: int):
    """A random straight-line problem: design, prior mean and covariance, readings and their scatter."""
    random = np.random.default_rng(seed)
    half = random.normal(size=(unknowns, unknowns))
    return (
        random.normal(size=(readings, unknowns)),
        random.normal(size=unknowns),
        half @ half.T + 0.1 * np.eye(unknowns),
        random.normal(size=readings) * 3,
        random.uniform(0.05, 0.4, readings),
    )


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize(("unknowns", "readings"), [(1, 1), (2, 5), (6, 3), (4, 40)])
def test_a_straight_line_is_statsmodels_gls_with_the_prior_as_further_rows(seed, unknowns, readings):
    design, mean, covariance, observed, noise = linear_case(seed, unknowns, readings)
    ours = update(mean, covariance, lambda theta: theta @ design.T, observed, noise)
    scatter = np.block(
        [
            [covariance, np.zeros((unknowns, readings))],
            [np.zeros((readings, unknowns)), np.diag(noise**2)],
        ]
    )
    theirs = GLS(np.concatenate([mean, observed]), np.vstack([np.eye(unknowns), design]), sigma=scatter).fit()
    assert ours.mean == pytest.approx(theirs.params, rel=1e-6, abs=1e-7)
    assert ours.covariance == pytest.approx(theirs.normalized_cov_params, rel=1e-6, abs=1e-9)
    assert ours.sd == pytest.approx(np.sqrt(np.diag(theirs.normalized_cov_params)), rel=1e-6)
    assert ours.predicted == pytest.approx(design @ theirs.params, abs=1e-6)
    assert ours.residuals == pytest.approx(observed - design @ theirs.params, abs=1e-6)
    assert ours.prior_residuals == pytest.approx(observed - design @ mean, abs=1e-9)
    assert ours.converged
    assert ours.iterations <= 3  # the start, the one step, and one more only where rounding asks for it


def test_one_unknown_read_once_worked_by_hand():
    # prior 2 with variance 1, reading 5 with variance 1/4 of twice the unknown:
    # precision 1 + 4 * 4 = 17; mean = (1 * 2 + 4 * 2 * 5) / 17 = 42 / 17
    found = update([2.0], [[1.0]], lambda theta: 2 * theta, [5.0], 0.5)
    assert found.mean == pytest.approx([42 / 17], abs=1e-9)
    assert found.covariance == pytest.approx(np.array([[1 / 17]]), rel=1e-9)
    assert found.residuals == pytest.approx([5 - 84 / 17], abs=1e-9)
    assert found.prior_residuals == pytest.approx([1.0])


def curved(theta: np.ndarray) -> np.ndarray:
    """What a weak acid does, in short: a logarithm of a sum, steep on one side."""
    times = np.array([0.2, 0.5, 1.0, 2.0, 3.0])
    return 5 + np.log10(0.05 + np.exp(theta[:, :1]) * times) + 0.5 * np.tanh(4 * (theta[:, 1:2] - 0.3 * times))


@pytest.mark.parametrize("seed", range(8))
def test_a_curved_model_finds_the_minimum_that_scipy_finds(seed):
    random = np.random.default_rng(seed)
    prior, covariance = np.array([0.0, 0.0]), np.array([[0.5, 0.1], [0.1, 0.3]])
    truth = random.multivariate_normal(prior, covariance)
    observed = curved(truth[None])[0] + random.normal(0, 0.05, 5)
    inverse = np.linalg.inv(covariance)

    def half_misfit(theta):
        residuals = (observed - curved(theta[None])[0]) / 0.05
        return 0.5 * ((theta - prior) @ inverse @ (theta - prior) + residuals @ residuals)

    found = update(prior, covariance, curved, observed, 0.05)
    theirs = minimize(half_misfit, found.mean + 0.05, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12})
    assert found.converged
    assert found.mean == pytest.approx(theirs.x, abs=5e-5)
    assert half_misfit(found.mean) <= theirs.fun + 1e-7


def test_the_covariance_is_the_inverse_of_the_numeric_hessian_where_the_residuals_are_zero():
    # at readings that the prior mean explains exactly the Gauss-Newton Hessian is the whole Hessian
    prior, covariance = np.array([0.1, 0.2]), np.diag([0.4, 0.2])
    observed = curved(prior[None])[0]

    def half_misfit(theta):
        residuals = (observed - curved(theta[None])[0]) / 0.05
        return 0.5 * ((theta - prior) @ np.linalg.inv(covariance) @ (theta - prior) + residuals @ residuals)

    def gradient(theta):
        return approx_fprime(theta, half_misfit, 1e-6)

    numeric = np.array([(gradient(prior + 1e-4 * e) - gradient(prior - 1e-4 * e)) / 2e-4 for e in np.eye(2)])
    found = update(prior, covariance, curved, observed, 0.05)
    assert found.mean == pytest.approx(prior, abs=1e-9)
    assert found.covariance == pytest.approx(np.linalg.inv(numeric), rel=2e-3)


def test_a_cliff_far_from_the_prior_is_reached_by_damping():
    # full Gauss-Newton steps from the flat side overshoot by thousands: exp is flat at -8
    found = update([-8.0], [[25.0]], lambda theta: np.exp(np.minimum(theta, 700.0)), [20.0], 0.1)
    assert found.converged
    assert found.mean == pytest.approx([np.log(20)], abs=2e-3)


def test_the_model_is_called_once_a_step_with_all_points_at_once():
    shapes = []

    def watched(theta):
        shapes.append(theta.shape)
        return curved(theta)

    found = update([0.0, 0.0], np.eye(2), watched, curved(np.array([[0.4, 0.3]]))[0], 0.05)
    assert set(shapes) == {(5, 2)}  # the point itself and two on either side
    assert len(shapes) == found.iterations


def test_an_unknown_that_no_reading_feels_keeps_its_prior():
    found = update([1.0, 7.0], np.diag([1.0, 4.0]), lambda theta: theta[:, :1], [3.0], 0.1)
    assert found.mean[1] == pytest.approx(7.0)
    assert found.covariance[1, 1] == pytest.approx(4.0)
    assert found.covariance[0, 1] == pytest.approx(0.0, abs=1e-12)
    assert found.covariance[0, 0] < 0.0101


def test_the_same_readings_give_the_same_answer_and_nothing_can_be_changed():
    first, second = (update([0.0, 0.0], np.eye(2), curved, [4.6, 4.9, 5.1, 5.0, 4.9], 0.05) for _ in range(2))
    assert (first.mean == second.mean).all()
    with pytest.raises(ValueError, match="read-only"):
        first.mean[0] = 1.0


def line(theta):
    return theta


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (([], [], line, [1.0], 0.1), "update.prior"),
        (([0.0], np.eye(2), line, [1.0], 0.1), "update.prior"),
        (([0.0], [[0.0]], line, [1.0], 0.1), "update.prior"),
        (([0.0, 0.0], [[1.0, 2.0], [2.0, 1.0]], line, [1.0], 0.1), "update.prior"),
        (([0.0, 0.0], [[1.0, 0.5], [0.0, 1.0]], line, [1.0], 0.1), "update.prior"),
        (([float("nan")], [[1.0]], line, [1.0], 0.1), "update.prior"),
        (([0.0], [[1.0]], line, [], 0.1), "update.readings"),
        (([0.0], [[1.0]], line, [float("inf")], 0.1), "update.readings"),
        (([0.0], [[1.0]], line, [1.0], 0.0), "update.noise"),
        (([0.0], [[1.0]], line, [1.0], [0.1, 0.1]), "update.noise"),
        (([0.0], [[1.0]], lambda theta: theta[:1], [1.0], 0.1), "update.forward"),
        (([0.0], [[1.0]], lambda theta: theta * float("nan"), [1.0], 0.1), "update.forward"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(arguments, code):
    with pytest.raises(KitError) as refused:
        update(*arguments)
    assert refused.value.code == code
    assert refused.value.mend


def test_a_minimum_on_a_kink_is_told_as_not_settled():
    # |theta| read as -1 wants theta = 0, where the slope jumps from -1 to 1 and no step is negligible
    found = update([1.0], [[1.0]], np.abs, [-1.0], 0.5)
    assert not found.converged
    assert abs(found.mean[0]) < 0.05
