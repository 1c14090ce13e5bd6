"""Variance components, gauge study, charts, outliers and tolerance factors against published figures."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kit.science.calibration_line import calibration_line
from kit.science.control_chart import chart_constants, individuals_chart, lag_one
from kit.science.gauge_study import gauge_study
from kit.science.mixed_batches import mixed_model
from kit.science.model_terms import polynomial_terms
from kit.science.outlier_critical import furthest_value, grubbs_critical
from kit.science.response_model import fit_response
from kit.science.statistics import mean_sd
from kit.science.tolerance_factor import one_sided_tolerance, two_sided_tolerance
from kit.science.variance_components import one_way
from tests.published.r import stored
from tests.published.test_statistics_published import ATMWTAG, SIRSTV

NIST = json.loads((Path(__file__).parent / "data" / "nist_statistics.json").read_text(encoding="utf-8"))
MIXED = stored.read("mixed")


@pytest.mark.parametrize("name", ["Michelso", "Mavro"])
def test_nist_univariate(name):
    told = NIST[name]
    found = mean_sd(told["values"])
    assert found.mean == pytest.approx(told["mean"], rel=1e-14)
    assert found.sd == pytest.approx(told["sd"], rel=1e-12)
    assert lag_one(told["values"]) == pytest.approx(told["lag_one"], rel=1e-10)


def test_nist_one_way():
    """SiRstv.dat: sums of squares 5.11462616000000E-02 and 2.16636560000000E-01, F 1.18046237440255 with 4 and 20;
    AtmWtAg.dat, seven leading digits in common: F 15.9467335677930 with 1 and 46."""
    found = one_way(SIRSTV)
    assert (found.df_between, found.df_within) == (4, 20)
    assert found.squares_between == pytest.approx(5.11462616e-02, rel=1e-9)
    assert found.squares_within == pytest.approx(2.1663656e-01, rel=1e-9)
    assert found.f == pytest.approx(1.18046237440255, rel=1e-9)
    assert found.p == pytest.approx(0.34944749, abs=1e-8)
    assert one_way(ATMWTAG).f == pytest.approx(15.9467335677930, rel=1e-8)


def test_nist_norris_line():
    told = NIST["Norris"]
    line = calibration_line(told["x"], told["y"])
    assert (line.intercept, line.slope) == pytest.approx(told["certified"], rel=1e-10)
    assert (line.u_intercept, line.u_slope) == pytest.approx(told["deviations"], rel=1e-10)
    assert line.residual_sd == pytest.approx(told["residual_sd"], rel=1e-10)


def test_nist_pontius_parabola():
    told = NIST["Pontius"]
    points = [[x] for x in told["x"]]
    fit = fit_response(points, told["y"], polynomial_terms(["load"], "quadratic"), ["load"])
    assert [one.estimate for one in fit.coefficients] == pytest.approx(told["certified"], rel=1e-9)
    assert [one.standard_error for one in fit.coefficients] == pytest.approx(told["deviations"], rel=1e-9)
    assert fit.residual_sd == pytest.approx(told["residual_sd"], rel=1e-9)


def test_nist_longley_nearly_collinear():
    told = NIST["Longley"]
    names = ["deflator", "product", "unemployed", "armed", "population", "year"]
    fit = fit_response(told["x"], told["y"], polynomial_terms(names, "linear"), names)
    assert [one.estimate for one in fit.coefficients] == pytest.approx(told["certified"], rel=1e-7)
    assert [one.standard_error for one in fit.coefficients] == pytest.approx(told["deviations"], rel=1e-7)
    assert fit.residual_sd == pytest.approx(told["residual_sd"], rel=1e-7)


# O. L. Davies and P. L. Goldsmith, Statistical Methods in Research and Production, 1972, yield of dyestuff
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]


def test_dyestuff_both_ways():
    """Mean 1527.5, variances 1764.05 and 2451.25 (SD 42.0006 and 49.5101), as printed for lme4's data set."""
    found = one_way(DYESTUFF)
    assert (found.between_variance, found.within_variance) == pytest.approx((1764.05, 2451.25), rel=1e-12)
    assert (found.likely_mean, found.likely_between, found.likely_within) == pytest.approx(MIXED["dyestuff"], rel=1e-6)
    assert "42" in found.words and "49.5" in found.words


# invented: the data of tests/published/r/mixed.R
UNEQUAL = [9.852, 9.871, 9.902, 10.051, 10.098, 9.781, 9.803, 9.955, 9.690, 9.741, 9.948, 9.995, 10.201]
UNEQUAL_ARMS = list("CCCTTCUTCUUTT")
UNEQUAL_DAYS = [1, 1, 2, 1, 2, 3, 3, 3, 4, 4, 5, 5, 6]
BLOCKS = [4.60, 4.71, 4.55, 4.69, 4.66, 4.80, 4.52, 4.60]


@pytest.mark.parametrize(
    ("name", "values", "arms", "days"),
    [("unequal", UNEQUAL, UNEQUAL_ARMS, UNEQUAL_DAYS), ("blocks", BLOCKS, list("CTCTCTCT"), [1, 1, 2, 2, 3, 3, 4, 4])],
)
def test_days_and_batches_at_random_as_lme4_pbkrtest_and_nlme_have_them(name, values, arms, days):
    found = mixed_model(values, arms, days, control="C")
    assert (found.day_sd**2, found.batch_sd**2) == pytest.approx(MIXED[f"{name}.variances"], rel=1e-4)
    assert (found.day_sd**2, found.batch_sd**2) == pytest.approx(MIXED[f"{name}.nlme"][:2], rel=1e-4)
    assert found.log_likelihood == pytest.approx(MIXED[f"{name}.likelihood"][0], abs=1e-8)
    for arm, difference in zip(found.arms, found.differences, strict=True):
        estimate, error, df = MIXED[f"{name}.{arm}"]
        assert difference.difference == pytest.approx(estimate, rel=1e-5)
        assert difference.standard_error == pytest.approx(error, rel=1e-5)
        assert difference.df == pytest.approx(df, rel=1e-4)


def test_gauge_study():
    """Three operators, five samples, three readings each: the public worked example (first five parts of the usual
    industry study, moved up by 3): sums of squares 1.63 and 28.909; components worked with numpy from its mean squares
    (0.815, 7.227)."""
    readings = [
        [[3.29, 3.41, 3.64], [2.44, 2.32, 2.42], [4.34, 4.17, 4.27], [3.47, 3.5, 3.64], [2.2, 2.08, 2.16]],
        [[3.08, 3.25, 3.07], [2.53, 1.78, 2.32], [4.19, 3.94, 4.34], [3.01, 4.03, 3.2], [2.44, 1.8, 1.72]],
        [[3.04, 2.89, 2.85], [1.62, 1.87, 2.04], [3.88, 4.09, 3.67], [3.14, 3.2, 3.11], [1.54, 1.93, 1.55]],
    ]
    found = gauge_study(readings)
    assert found.df == (2, 4, 8, 30)
    assert found.squares == pytest.approx((1.6304, 28.909, 0.065004, 1.7121), rel=1e-3)
    assert (found.interaction_f, found.interaction_p) == pytest.approx((0.14238, 0.99637), rel=1e-4)
    shown = found.with_interaction
    assert (shown.repeat, shown.operator, shown.sample) == pytest.approx((0.057071, 0.053803, 0.80214), rel=1e-4)
    assert shown.interaction == 0
    pooled = found.pooled
    assert (pooled.repeat, pooled.operator, pooled.sample) == pytest.approx((0.046767, 0.051227, 0.79784), rel=1e-4)
    assert found.components is pooled


# ASTM E2587, ISO 7870-2, and D. C. Montgomery, Introduction to Statistical Quality Control, Appendix VI, as printed
CHART = {
    2: (1.128, 0.853, 0.7979, 1.880, 2.659, 0, 3.267, 0, 3.267, 2.659),
    3: (1.693, 0.888, 0.8862, 1.023, 1.954, 0, 2.568, 0, 2.575, 1.772),
    4: (2.059, 0.880, 0.9213, 0.729, 1.628, 0, 2.266, 0, 2.282, 1.457),
    5: (2.326, 0.864, 0.9400, 0.577, 1.427, 0, 2.089, 0, 2.115, 1.290),
    6: (2.534, 0.848, 0.9515, 0.483, 1.287, 0.030, 1.970, 0, 2.004, 1.184),
    7: (2.704, 0.833, 0.9594, 0.419, 1.182, 0.118, 1.882, 0.076, 1.924, 1.109),
    8: (2.847, 0.820, 0.9650, 0.373, 1.099, 0.185, 1.815, 0.136, 1.864, 1.054),
    10: (3.078, 0.797, 0.9727, 0.308, 0.975, 0.284, 1.716, 0.223, 1.777, 0.975),
}


@pytest.mark.parametrize(("n", "printed"), CHART.items())
def test_constants_of_control_charts(n, printed):
    found = chart_constants(n)
    names = ("d2", "d3", "c4", "a2", "a3", "b3", "b4", "d3_limit", "d4_limit", "e2")
    assert tuple(getattr(found, name) for name in names) == pytest.approx(printed, abs=1e-3)


def test_the_range_of_two_and_of_three_exactly():
    """d2(2) = 2 / sqrt(pi), d2(3) = 3 / sqrt(pi), c4(2) = sqrt(2 / pi)."""
    assert chart_constants(2).d2 == pytest.approx(1.1283791670955126, rel=1e-11)
    assert chart_constants(3).d2 == pytest.approx(1.6925687506432689, rel=1e-11)
    assert chart_constants(2).c4 == pytest.approx(0.7978845608028654, rel=1e-12)


def test_chart_of_single_values():
    """Worked by hand: eleven jumps add up to 0.62, mean 0.056364, over 1.128 is 0.04997; limits ± 3 of these."""
    values = [4.52, 4.48, 4.55, 4.5, 4.47, 4.53, 4.49, 4.56, 4.51, 4.44, 4.5, 4.58]
    found = individuals_chart(values)
    assert found.mean == pytest.approx(4.51083, abs=1e-5)
    assert (found.moving_range, found.sigma) == pytest.approx((0.05636, 0.04995), abs=2e-5)
    assert (found.low, found.high, found.range_high) == pytest.approx((4.3609, 4.6607, 0.1841), abs=1e-4)
    assert found.outside == found.range_outside == ()
    assert individuals_chart([*values, 4.9]).outside == (12,)
    assert individuals_chart([*values, 4.9]).range_outside == (12,)


# F. E. Grubbs, Technometrics 11 (1969) 1, and ISO 5725-2; two-sided 5 %, one-sided 5 %, two-sided 1 %
GRUBBS = {
    3: (1.1543, 1.1531, 1.1547),
    4: (1.4813, 1.4625, 1.4963),
    5: (1.7150, 1.6714, 1.7637),
    6: (1.8871, 1.8221, 1.9728),
    7: (2.0200, 1.9381, 2.1391),
    8: (2.1266, 2.0317, 2.2744),
    10: (2.2900, 2.1761, 2.4821),
    15: (2.5483, 2.4090, 2.8061),
    20: (2.7082, 2.5566, 3.0008),
}


@pytest.mark.parametrize(("n", "printed"), GRUBBS.items())
def test_grubbs_critical_values(n, printed):
    found = (grubbs_critical(n), grubbs_critical(n, two_sided=False), grubbs_critical(n, 0.01))
    assert found == pytest.approx(printed, abs=6e-5)


def test_the_furthest_value_stays():
    far = furthest_value([4.60, 4.61, 4.59, 4.60, 5.20])
    assert far.stands_out and far.place == 4
    assert "it stays unless there is a physical reason" in far.words and "fewer than 6" in far.words
    assert furthest_value([4.6, 4.6]).distance is None


def test_tolerance_factors():
    """NIST/SEMATECH e-Handbook 7.2.6.3: 43 values, 90 % with 99 % confidence: k2 = 2.217, k1 = 1.8740."""
    assert two_sided_tolerance(43, 0.90, 0.99) == pytest.approx(2.2173, abs=1e-4)
    assert one_sided_tolerance(43, 0.90, 0.99) == pytest.approx(1.8740, abs=5e-5)
