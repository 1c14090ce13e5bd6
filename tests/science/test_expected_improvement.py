"""Expected improvement against its own integral, worked out by SciPy, and against the normal case as published."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from kit.errors import KitError
from kit.science.expected_improvement import expected_improvement, student_draws


@pytest.mark.parametrize("df", [1.5, 2, 5, 30])
@pytest.mark.parametrize(("mean", "spread", "best"), [(1.0, 0.5, 1.5), (2.0, 0.3, 1.0), (-3.0, 2.0, -3.0)])
def test_it_is_the_integral_of_the_gain(df, mean, spread, best):
    gain, _ = quad(
        lambda y: (y - best) * stats.t.pdf(y, df, loc=mean, scale=spread), best, math.inf, epsabs=1e-11, limit=400
    )
    assert expected_improvement(mean, spread, df, best) == pytest.approx(gain, rel=1e-6, abs=1e-9)


def test_the_normal_case_is_that_of_jones_schonlau_and_welch():
    # (mean - best) Phi(z) + s phi(z), equation 15 of the paper with the sign of a maximum (from memory)
    z = (1.0 - 1.4) / 0.7
    expected = (1.0 - 1.4) * stats.norm.cdf(z) + 0.7 * stats.norm.pdf(z)
    assert expected_improvement(1.0, 0.7, math.inf, 1.4) == pytest.approx(expected, rel=1e-12)
    assert expected_improvement(1.0, 0.7, 1e7, 1.4) == pytest.approx(expected, rel=1e-5)


def test_smaller_is_the_mirror_of_larger():
    assert expected_improvement(3.0, 0.7, 4, 2.5, larger=False) == pytest.approx(
        float(expected_improvement(-3.0, 0.7, 4, -2.5)), rel=1e-12
    )


def test_without_scatter_only_a_sure_gain_counts():
    assert expected_improvement([1.0, 2.0], [0.0, 0.0], 5, 1.5).tolist() == [0.0, 0.5]


def test_poorly_known_scatter_hopes_for_more():
    few, many = (float(expected_improvement(0.0, 1.0, df, 3.0)) for df in (3, 300))
    assert few > 5 * many > 0


@pytest.mark.parametrize("df", [0.5, 1.0, math.nan])
def test_one_degree_of_freedom_has_no_mean_gain(df):
    with pytest.raises(KitError) as caught:
        expected_improvement(0.0, 1.0, df, 0.0)
    assert caught.value.code == "improvement.df"


def test_draws_are_students_and_independent():
    drawn = student_draws(4096, 2, [4, 30], seed=3)
    for column, df in zip(drawn.T, (4, 30), strict=True):
        assert np.quantile(column, [0.05, 0.5, 0.95]) == pytest.approx(stats.t.ppf([0.05, 0.5, 0.95], df), abs=0.02)
    assert abs(np.corrcoef(stats.rankdata(drawn[:, 0]), stats.rankdata(drawn[:, 1]))[0, 1]) < 0.02
    assert (student_draws(64, 2, 5, seed=3) == student_draws(64, 2, 5, seed=3)).all()
