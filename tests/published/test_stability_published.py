"""Shelf life and accelerated storage against published data, other libraries' results and arithmetic by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from kit.science.accelerated import (
    activation_energy_kj_mol,
    arrhenius_factor,
    implied_q10,
    months_by_q10,
    q10_factor,
    rule_of_thumb,
)
from kit.science.shelf_life import BEYOND, TOLD, UNTOLD, shelf_life
from kit.science.shelf_life_lines import COMMON, COMMON_SLOPE, ONE_BATCH, SEPARATE

# D. LeBlond, D. Griffith, K. Aubuchon, "Linear Regression 102: Stability Shelf Life Estimation Using Analysis of
# Covariance", Journal of Validation Technology 17(3) (2011) 47-68, Table IV: potency, % of label claim, by month.
LEBLOND = {
    "b2": ([0, 1, 3, 3, 6, 6, 12, 12, 24, 24], [101, 101.3, 99.8, 99.2, 99.5, 97.8, 97.4, 97.2, 96.9, 96]),
    "b5": (
        [0, 1, 2, 3, 3, 6, 6, 12, 12, 24, 24],
        [102, 101.4, 100.8, 100.2, 99.7, 98.8, 98.5, 98, 97.1, 96.6, 96.1],
    ),
    "b7": ([0, 1, 3, 3, 6, 6, 12, 12, 24, 24], [101.3, 101.5, 100.2, 99.8, 99, 98.5, 98.5, 97.4, 96.6, 96.4]),
}
MONTHS = [month for months, _ in LEBLOND.values() for month in months]
POTENCY = [value for _, values in LEBLOND.values() for value in values]
BATCHES = [name for name, (months, _) in LEBLOND.items() for _ in months]


def test_three_batches_pool_as_published():
    """Table V: F 0.229 for slopes and 0.436 for intercepts, y = 100.567 - 0.192994 t, 26 months."""
    found = shelf_life(MONTHS, POTENCY, BATCHES, lower=95)
    assert found.pooled.model == COMMON
    assert (found.pooled.slopes.f, found.pooled.slopes.p) == pytest.approx((0.2287, 0.7972), abs=1e-4)
    assert (found.pooled.intercepts.f, found.pooled.intercepts.p) == pytest.approx((0.436, 0.6514), abs=1e-4)
    line = found.pooled.lines[0]
    assert (line.intercept, line.slope) == pytest.approx((100.5669, -0.192994), rel=1e-5)
    assert found.state == TOLD and found.worst.limit == "lower"
    assert found.months == pytest.approx(25.996, abs=0.002)
    assert "crosses the lower limit at 26 months" in found.words and "this batch only" not in found.words


@pytest.mark.parametrize(("model", "months"), [(COMMON, 26.22410), (COMMON_SLOPE, 24.80030), (SEPARATE, 23.66724)])
def test_every_model_gives_what_an_r_package_gives(model, months):
    """R package expirest (P. Dahinden), man/examples/examples_expirest_osle.R, on these batches with a limit of 95 that
    its `sl_sf = 3` rounds down to 94.95: cics 26.22410, dics 24.80030, dids.pmse 23.66724 months.
    """
    found = shelf_life(MONTHS, POTENCY, BATCHES, lower=94.95, model=model)
    assert found.months == pytest.approx(months, abs=2e-5)


def test_batches_alone_give_what_an_r_package_gives():
    """The same file, model dids: each batch with its own scatter; the shortest is 23.34184 months."""
    alone = [shelf_life(*read, lower=94.95).months for read in LEBLOND.values()]
    assert min(alone) == pytest.approx(23.34184, abs=2e-5)


def test_one_batch_by_the_bound_and_not_by_the_line():
    """Batch b2: bound of the mean at 23.326 months, the line itself at (95 - 100.2491) / -0.180125 = 29.142."""
    found = shelf_life(*LEBLOND["b2"], lower=95)
    line = found.pooled.lines[0]
    assert found.pooled.model == ONE_BATCH
    assert (line.intercept, line.slope, line.residual_sd) == pytest.approx((100.2491, -0.180125, 0.90439), rel=1e-5)
    assert found.months == pytest.approx(23.326, abs=0.001)
    assert found.worst.line_months == pytest.approx(29.142, abs=0.001)
    assert "this batch only" in found.words


def test_a_ph_that_falls():
    """Constructed data; slope, interval and bound as statsmodels 0.15 gives them."""
    months, ph = [0, 1, 2, 3, 6, 9, 12], [4.50, 4.47, 4.45, 4.43, 4.36, 4.30, 4.24]
    found = shelf_life(months, ph, lower=4.0)
    line = found.pooled.lines[0]
    assert (line.slope, line.slope_low, line.slope_high) == pytest.approx((-0.021471, -0.022437, -0.020505), abs=1e-6)
    assert found.months == pytest.approx(22.372, abs=0.001)
    assert found.worst.line_months == pytest.approx(23.011, abs=0.001)


@pytest.mark.parametrize(("last", "most"), [(3, 6.0), (12, 24.0), (24, 36.0), (36, 48.0)])
def test_nothing_is_said_beyond_twice_the_data_nor_beyond_them_plus_a_year(last, most):
    """ICH Q1E (2003), 2.4 and Appendix A, from memory: up to twice, not more than 12 months beyond."""
    months = [last * share for share in (0, 0.25, 0.5, 0.75, 1)]
    found = shelf_life(months, [100.0, 99.99, 100.01, 100.0, 99.99], lower=90)
    assert (found.state, found.months, found.most_months) == (BEYOND, None, most)
    assert f"up to {most:g} months" in found.words and "nothing is said beyond" in found.words


def test_the_bound_is_found_just_before_the_last_time_and_not_just_after():
    months, values = [0, 1, 2, 3], [100.0, 98.1, 95.9, 94.0]  # 100 - 2 t
    inside = shelf_life(months, values, lower=88.6)
    beyond = shelf_life(months, values, lower=85.0)
    assert inside.state == TOLD and 5 < inside.months < 6
    assert beyond.state == BEYOND and beyond.most_months == 6


def _reaches(months, values, limit, confidence):
    """Where the upper bound of SciPy's least-squares line, by its textbook formula, reaches a limit."""
    line = stats.linregress(months, values)
    apart = np.array(months) - np.mean(months)
    left = values - line.intercept - line.slope * np.array(months)
    sd = np.sqrt((left @ left) / (len(months) - 2))
    far = stats.t.ppf(confidence, len(months) - 2) * sd

    def bound(month):
        error = np.sqrt(1 / len(months) + (month - np.mean(months)) ** 2 / (apart @ apart))
        return line.intercept + line.slope * month + far * error

    return optimize.brentq(lambda month: bound(month) - limit, max(months), 2 * max(months))


def test_both_limits_and_the_one_that_is_crossed_first():
    """Two limits: the value may go either way, so each is held against half of what a two-sided 95 % leaves.

    ICH Q1E (2003), as quoted word for word in secondary sources: "For an attribute that can either increase or
    decrease, or whose direction of change is not known, two-sided 95 percent confidence limits should be calculated and
    compared to the upper and lower acceptance criteria."
    """
    months = [0, 1, 2, 3, 4, 6]
    rising = [10.0, 10.21, 10.38, 10.61, 10.80, 11.19]
    found = shelf_life(months, rising, lower=9.0, upper=12.0)
    assert found.worst.limit == "upper"
    assert found.confidence == 0.975 and "one-sided 97.5 % bound" in found.words
    assert found.months == pytest.approx(_reaches(months, rising, 12.0, 0.975), rel=1e-6)
    one = shelf_life(months, rising, upper=12.0)
    assert one.confidence == 0.95
    assert one.months == pytest.approx(_reaches(months, rising, 12.0, 0.95), rel=1e-6)
    mirrored = shelf_life(months, [-value for value in rising], lower=-12.0, upper=-9.0)
    assert mirrored.worst.limit == "lower" and mirrored.months == pytest.approx(found.months)


@pytest.mark.parametrize(("energy", "factor"), [(50, 2.6278), (83.144, 4.9857), (100, 6.9052)])
def test_arrhenius_between_25_and_40_degrees(energy, factor):
    """k2 / k1 = exp[-Ea / R (1 / T2 - 1 / T1)], worked with T = 298.15 and 313.15 K."""
    assert arrhenius_factor(energy, 40) == pytest.approx(factor, rel=5e-5)
    assert arrhenius_factor(energy, 10) < 1 < arrhenius_factor(energy, 26)
    assert activation_energy_kj_mol(factor, 40) == pytest.approx(energy, rel=5e-5)


@pytest.mark.parametrize(("q10", "warmer", "factor"), [(2, 15, 2.8284), (2, 20, 4.0), (3, 15, 5.1962)])
def test_the_q10_rule(q10, warmer, factor):
    """2^1.5, 2^2, 3^1.5."""
    assert q10_factor(q10, warmer) == pytest.approx(factor, rel=2e-5)
    assert implied_q10(factor, warmer) == pytest.approx(q10, rel=2e-5)


def test_a_q10_of_two_between_25_and_35_degrees_as_an_energy():
    """R ln 2 / (1 / 298.15 - 1 / 308.15) = 8.31446 x 0.693147 / 1.08843e-4 = 52.95 kJ/mol."""
    assert activation_energy_kj_mol(2, 35) == pytest.approx(52.949, abs=0.002)


def test_weeks_in_the_warm_taken_for_two_years_imply_a_q10_of_three():
    """24 months are 104.36 weeks; over 12 that is 8.70, and 8.70^(10 / 20) = 2.95: the rule prints what it assumes."""
    rule = rule_of_thumb(12, 45, 24)
    assert rule.factor == pytest.approx(24 * 365.25 / 12 / 7 / 12, rel=1e-9)
    assert rule.q10 == pytest.approx(2.947, rel=0.001)
    assert "Q10 of 2.95" in rule.words and "indicative only" in rule.words
    assert months_by_q10(12, 2.0, 45).months == pytest.approx(12 * 4 * 7 / (365.25 / 12), rel=1e-9)


def test_scale_of_logarithms_is_the_line_of_logarithms():
    """exp of a straight line: the same crossing as the logarithms give on a linear scale."""
    months = [0, 1, 2, 4, 6, 9]
    values = [100.0, 97.6, 95.3, 90.1, 86.2, 79.8]
    found = shelf_life(months, values, lower=75, scale="ln")
    plain = shelf_life(months, [math.log(value) for value in values], lower=math.log(75))
    assert found.months == pytest.approx(plain.months, rel=1e-12)
    assert found.state == TOLD != UNTOLD
