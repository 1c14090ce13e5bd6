"""Kriging against the equations of a textbook solved another way, with one fixed reach and shares of scatter and day.

The reference is the system of universal kriging with its Lagrange multipliers (Cressie, Statistics for Spatial Data,
3.4, from memory), written out anew for one point at a time. Batches are drawn.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.science import kriging
from kit.science.kriging import fit_kriging

REACH, SCATTER, DAY = np.array([0.6, 1.1]), 0.1, 0.2


def alike(first, second):
    """The Matern function with 5/2 of the distance in units of the reach."""
    away = math.sqrt(sum(((a - b) / r) ** 2 for a, b, r in zip(first, second, REACH, strict=True)))
    return (1 + math.sqrt(5) * away + 5 * away**2 / 3) * math.exp(-math.sqrt(5) * away)


@pytest.fixture
def one_sample(monkeypatch):
    """One reach and one pair of shares in place of the sample."""

    def fixed(factors, *, with_days):
        assert factors == 2
        return REACH[None], np.array([SCATTER]), np.array([DAY if with_days else 0.0])

    monkeypatch.setattr(kriging, "_sample", fixed)


@pytest.fixture
def batches():
    draw = np.random.default_rng(4)
    points = draw.uniform(size=(9, 2))
    points[8] = points[0]  # made again on another day
    values = 3 + 2 * points[:, 0] + np.sin(4 * points[:, 1]) + 0.1 * draw.standard_normal(9)
    return points, values, np.column_stack([np.ones(9), points]), [0, 0, 0, 1, 1, 1, 2, 2, 2]


def by_lagrange(points, values, trend, days, new, new_trend):
    """Mean, and error variance over the variance of a batch, by weights that are right for every trend."""
    count, terms = trend.shape
    share = 1 - SCATTER - DAY
    covariance = np.array([[share * alike(a, b) for b in points] for a in points])
    covariance += DAY * np.array([[float(a == b) for b in days] for a in days]) + SCATTER * np.eye(count)
    near = np.array([share * alike(new, point) for point in points])
    system = np.block([[covariance, trend], [trend.T, np.zeros((terms, terms))]])
    solved = np.linalg.solve(system, np.append(near, new_trend))
    weights, multipliers = solved[:count], solved[count:]
    return weights @ values, share - weights @ near - multipliers @ new_trend


def test_mean_and_error_are_those_of_the_textbook(one_sample, batches):
    points, values, trend, days = batches
    fit = fit_kriging(points, values, trend, days=days)
    new = np.array([[0.3, 0.4], [1.2, -0.1], points[0]])
    new_trend = np.column_stack([np.ones(3), new])
    found = fit.predict(new, new_trend)
    for place in range(3):
        mean, variance = by_lagrange(points, values, trend, days, new[place], new_trend[place])
        assert found.mean[place] == pytest.approx(mean, rel=1e-6)
        assert found.standard_error[place] ** 2 == pytest.approx(variance * fit.variance[0], rel=1e-5)
    assert found.df == 9 - 3


def test_the_variance_is_the_generalised_residual_mean_square(one_sample, batches):
    points, values, trend, days = batches
    covariance = np.array([[(1 - SCATTER - DAY) * alike(a, b) for b in points] for a in points])
    covariance += DAY * np.equal.outer(days, days) + SCATTER * np.eye(9)
    root = np.linalg.cholesky(covariance)
    rows, right = np.linalg.solve(root, trend), np.linalg.solve(root, values)
    squares = np.linalg.lstsq(rows, right, rcond=None)[1][0]
    fit = fit_kriging(points, values, trend, days=days)
    assert fit.variance[0] == pytest.approx(squares / 6, rel=1e-6)
    assert fit.batch_sd == pytest.approx(math.sqrt(squares / 6 * (SCATTER + DAY)), rel=1e-6)


def test_covariance_has_the_errors_on_its_diagonal_and_tells_what_a_further_batch_would(one_sample, batches):
    points, values, trend, days = batches
    fit = fit_kriging(points, values, trend, days=days)
    two = np.array([[0.3, 0.4], [0.8, 0.2]])
    terms = np.column_stack([np.ones(2), two])
    shared = fit.covariance(two, terms, two, terms)
    found = fit.predict(two, terms)
    assert np.diag(shared) == pytest.approx(found.standard_error**2, rel=1e-9)
    assert shared[0, 1] == pytest.approx(shared[1, 0], rel=1e-9)
    # a batch at the second point on a day of its own: the error at the first, in units of the variance
    more = fit_kriging(np.vstack([points, two[1]]), [*values, 0.0], np.vstack([trend, terms[1]]), days=[*days, 3])
    after = more.predict(two[:1], terms[:1]).standard_error[0] ** 2 / more.variance[0]
    told = shared[0, 0] - shared[0, 1] ** 2 / (shared[1, 1] + fit.batch_sd**2)
    assert told / fit.variance[0] == pytest.approx(after, rel=1e-6)


def test_left_out_batches_are_those_of_fitting_again(one_sample, batches):
    points, values, trend, days = batches
    missed = []
    for out in range(9):
        kept = [place for place in range(9) if place != out]
        # left out is the whole batch, the effect of its day told by the others of that day
        share = 1 - SCATTER - DAY
        near = np.array([share * alike(points[out], points[k]) + DAY * (days[out] == days[k]) for k in kept])
        covariance = np.array([[share * alike(points[a], points[b]) + DAY * (days[a] == days[b]) for b in kept]
                               for a in kept]) + SCATTER * np.eye(8)  # fmt: skip
        system = np.block([[covariance, trend[kept]], [trend[kept].T, np.zeros((3, 3))]])
        weights = np.linalg.solve(system, np.append(near, trend[out]))[:8]
        missed.append(values[out] - weights @ values[kept])
    expected = 1 - np.sum(np.square(missed)) / np.sum((values - values.mean()) ** 2)
    assert fit_kriging(points, values, trend, days=days).left_out_r2 == pytest.approx(expected, rel=1e-5)


def test_the_sample_finds_scatter_and_days_that_were_drawn():
    draw = np.random.default_rng(8)
    points = draw.uniform(size=(60, 2))
    days = [place // 4 for place in range(60)]
    surface = 2 * points[:, 0] - points[:, 1]
    still = surface + 0.3 * draw.standard_normal(60)
    moving = surface + 0.3 * draw.standard_normal(60) + 0.6 * draw.standard_normal(15)[days]
    trend = np.column_stack([np.ones(60), points])
    assert 0.2 < fit_kriging(points, still, trend, days=days).batch_sd < 0.42
    fit = fit_kriging(points, moving, trend, days=days)
    assert 0.45 < fit.batch_sd < 0.95  # root of 0.09 + 0.36 is 0.67
    assert fit.weights @ fit.day > 2 * (fit.weights @ fit.scatter) > 0


def test_a_known_scatter_is_listened_to():
    draw = np.random.default_rng(2)
    points = draw.uniform(size=(12, 1))
    values = np.sin(9 * points[:, 0]) + 0.05 * draw.standard_normal(12)
    trend = np.ones((12, 1))
    little, much = (fit_kriging(points, values, trend, known_sd=sd, known_df=50).batch_sd for sd in (0.05, 0.4))
    assert little < 0.12
    assert much > 0.2


def test_too_few_batches_are_refused_in_words():
    with pytest.raises(KitError) as caught:
        fit_kriging([[0.0], [1.0], [0.5]], [1.0, 2.0, 1.5], np.ones((3, 2)))
    assert caught.value.code == "kriging.few" and "4 batches" in str(caught.value)
