"""Student's t in closed form against printed tables and scipy."""

from __future__ import annotations

import pytest
from scipy.special import stdtr, stdtrit

from kit.errors import KitError
from kit.science.student_t import t_quantile, t_within

# Two-sided 95 % and 99 % points as every printed table has them, such as NIST/SEMATECH e-Handbook, 1.3.6.7.2.
TABLE = {1: (12.706, 63.657), 2: (4.303, 9.925), 3: (3.182, 5.841), 4: (2.776, 4.604), 5: (2.571, 4.032),
         10: (2.228, 3.169), 30: (2.042, 2.750)}  # fmt: skip


@pytest.mark.parametrize("df", TABLE)
def test_the_points_are_those_of_the_printed_tables(df):
    assert t_quantile(df, 0.95) == pytest.approx(TABLE[df][0], abs=6e-4)
    assert t_quantile(df, 0.99) == pytest.approx(TABLE[df][1], abs=6e-4)


@pytest.mark.parametrize("df", [1, 2, 3, 4, 5, 6, 7, 12, 29, 60, 401, 1000])
def test_points_and_probabilities_are_those_of_scipy(df):
    for confidence in (0.05, 0.5, 0.9, 0.95, 0.999):
        assert t_quantile(df, confidence) == pytest.approx(float(stdtrit(df, (1 + confidence) / 2)), rel=1e-10)
    for t in (0.0, 0.01, 1.0, 2.5, 40.0):
        assert t_within(t, df) == pytest.approx(1 - 2 * float(stdtr(df, -t)), abs=1e-13)


def test_degrees_of_freedom_that_are_none_are_refused():
    for df in (0, -1, 2.5):
        with pytest.raises(KitError) as caught:
            t_quantile(df, 0.95)
        assert caught.value.code == "statistics.df"
    for confidence in (0, 1, -0.5):
        with pytest.raises(KitError) as caught:
            t_quantile(3, confidence)
        assert caught.value.code == "statistics.confidence"
