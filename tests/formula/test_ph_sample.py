"""The fixed sample of what is not known, against exact normal distributions (scipy.stats)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from kit.formula.ph_sample import POINTS, band, sample, standard_points


@pytest.mark.parametrize("dimensions", [1, 2, 12, 25, 40])
def test_it_has_mean_zero_and_unit_covariance(dimensions):
    points = standard_points(dimensions)
    assert points.shape == (POINTS, dimensions)
    assert np.abs(points.mean(axis=0)).max() < 0.02
    assert points.T @ points / POINTS == pytest.approx(np.eye(dimensions), abs=1e-9)


@pytest.mark.parametrize("dimensions", [2, 12, 40])
def test_every_column_is_normal(dimensions):
    """Kolmogorov-Smirnov distance of each column: 509 random draws would have one of 0.038 in the middle."""
    distances = [stats.kstest(column, "norm").statistic for column in standard_points(dimensions).T]
    assert max(distances) < 0.035


def test_quantiles_of_any_sum_are_those_of_its_normal_distribution():
    """A sum a z has quantiles -/+ 1.645 |a|, for any weights a; 509 random draws would scatter by 0.1 of them."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        weights = rng.normal(size=15) * rng.exponential(size=15)
        low, high = np.quantile(standard_points(15) @ weights, (0.05, 0.95)) / np.linalg.norm(weights)
        assert (low, high) == (pytest.approx(-1.645, abs=0.14), pytest.approx(1.645, abs=0.14))


def test_a_sample_has_the_mean_and_covariance_asked_for():
    mean = np.array([1.0, -2.0, 0.5])
    covariance = np.array([[0.04, 0.01, 0.0], [0.01, 0.09, -0.02], [0.0, -0.02, 0.25]])
    points = sample(mean, covariance)
    assert points.mean(axis=0) == pytest.approx(mean, abs=0.02)
    assert np.cov(points.T) == pytest.approx(covariance, rel=0.02, abs=1e-3)
    assert sample(np.zeros(0), np.zeros((0, 0))).shape == (POINTS, 0)


def test_unknowns_apart_keep_their_own_columns_and_a_trace_of_correlation_moves_nothing():
    sds, points = np.array([0.02, 1.5, 0.3]), standard_points(3)
    apart = sample(np.zeros(3), np.diag(sds**2))
    assert apart == pytest.approx(points * sds, abs=1e-12)
    hardly = np.diag(sds**2)
    hardly[0, 1] = hardly[1, 0] = 1e-9
    assert sample(np.zeros(3), hardly) == pytest.approx(apart, abs=1e-6)


def test_a_singular_covariance_is_taken():
    ones = np.ones((2, 2))
    points = sample(np.zeros(2), ones)
    assert points[:, 0] == pytest.approx(points[:, 1])
    assert points.std(axis=0) == pytest.approx([1, 1], abs=0.01)


@pytest.mark.parametrize(("spread", "noise"), [(0.1, 0.05), (0.0, 0.05), (0.3, 0.01)])
def test_the_band_of_a_normal_prediction_with_noise(spread, noise):
    """Variances add: half of the band is 1.645 times the root of their sum."""
    low, high = band(4.5 + spread * standard_points(1)[:, 0], noise)
    half = 1.645 * np.hypot(spread, noise)
    assert (low, high) == (pytest.approx(4.5 - half, abs=0.1 * half), pytest.approx(4.5 + half, abs=0.1 * half))
