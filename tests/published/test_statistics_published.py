"""Two means and pooled scatter against published figures, typed here from the sources named beside them."""

from __future__ import annotations

import math

import pytest

from kit.science.statistics import mean_sd, pooled_sd, pooled_two_sample, welch

# Student (1908), The probable error of a mean, Biometrika 6:1, table of additional hours of sleep, as in R's data set
# `sleep` (its ten patients under two drugs, here taken as two samples).
SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]

# NIST Statistical Reference Datasets, analysis of variance, file SiRstv.dat (Ehrstein and Croarkin, silicon
# resistivity).
SIRSTV = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]

# NIST Statistical Reference Datasets, analysis of variance, file AtmWtAg.dat (Powell, Murphy and Gramlich 1982): seven
# constant leading digits, which a one-pass sum of squares does not survive.
ATMWTAG = [
    [
        107.8681568,
        107.8681465,
        107.8681572,
        107.8681785,
        107.8681446,
        107.8681903,
        107.8681526,
        107.8681494,
        107.8681616,
        107.8681587,
        107.8681519,
        107.8681486,
        107.8681419,
        107.8681569,
        107.8681508,
        107.8681672,
        107.8681385,
        107.8681518,
        107.8681662,
        107.8681424,
        107.8681360,
        107.8681333,
        107.8681610,
        107.8681477,
    ],
    [
        107.8681079,
        107.8681344,
        107.8681513,
        107.8681197,
        107.8681604,
        107.8681385,
        107.8681642,
        107.8681365,
        107.8681151,
        107.8681082,
        107.8681517,
        107.8681448,
        107.8681198,
        107.8681482,
        107.8681334,
        107.8681609,
        107.8681101,
        107.8681512,
        107.8681469,
        107.8681360,
        107.8681254,
        107.8681261,
        107.8681450,
        107.8681368,
    ],
]


def test_welch_on_students_sleep_data_as_printed_by_r():
    # R 4.2.2, t.test(extra ~ group, data = sleep): t = -1.8608, df = 17.776, p-value = 0.07939,
    # 95 percent confidence interval -3.3654832 0.2054832, means 0.75 and 2.33
    result = welch(SLEEP_1, SLEEP_2)
    assert result.difference == pytest.approx(0.75 - 2.33, abs=1e-12)
    assert result.t == pytest.approx(-1.8608135, abs=5e-8)
    assert result.df == pytest.approx(17.776474, abs=5e-7)  # equal variances would give 18
    assert result.p == pytest.approx(0.07939414, abs=5e-9)
    assert result.low == pytest.approx(-3.3654832307, abs=5e-10)
    assert result.high == pytest.approx(0.2054832307, abs=5e-10)
    assert result.excludes_zero is False


def test_welch_turned_round_changes_only_the_sign():
    # t.test(extra ~ relevel(group, "2"), data = sleep): the same figures with the other sign
    result = welch(SLEEP_2, SLEEP_1)
    assert (result.difference, result.low, result.high) == pytest.approx((1.58, -0.2054832307, 3.3654832307), abs=5e-10)
    assert result.df == pytest.approx(17.776474, abs=5e-7)


@pytest.mark.parametrize(
    ("groups", "residual_sd", "df"),
    [
        (SIRSTV, 1.04076068334656e-01, 20),  # certified residual standard deviation, SiRstv.dat
        (ATMWTAG, 1.51048314446410e-05, 46),  # certified residual standard deviation, AtmWtAg.dat
    ],
)
def test_pooled_sd_is_nists_certified_residual_standard_deviation(groups, residual_sd, df):
    assert pooled_sd(groups).df == df
    assert pooled_sd(groups).sd == pytest.approx(residual_sd, rel=1e-8)


def test_pooled_two_sample_t_squared_is_nists_certified_f():
    # with two treatments F = t squared; AtmWtAg.dat certifies F = 15.9467335677930 with 1 and 46 degrees of freedom
    first, second = (mean_sd(group) for group in ATMWTAG)
    result = pooled_two_sample(first.mean - second.mean, first.n, second.n, *pooled_sd(ATMWTAG))
    assert result.t > 0
    assert result.df == 46
    assert result.t**2 == pytest.approx(15.9467335677930, rel=1e-7)


# t for a two-sided interval of 95 %, as any printed table gives it (Fisher and Yates, Statistical Tables, table III;
# typed from memory)
T_TABLE = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 10: 2.228, 20: 2.086, 30: 2.042, 120: 1.980}


@pytest.mark.parametrize(("df", "t"), T_TABLE.items())
def test_half_width_is_the_tabled_t_times_the_standard_error(df, t):
    # sd 1, one value against one: the standard error is sqrt(2)
    result = pooled_two_sample(0.0, 1, 1, 1.0, df)
    assert result.half_width / math.sqrt(2) == pytest.approx(t, abs=5e-4)
    assert (result.low, result.high) == (-result.half_width, result.half_width)


@pytest.mark.parametrize(
    ("n1", "n2", "sd", "df", "by_hand"),
    [
        # half-width = t x sd x sqrt(1/n1 + 1/n2), t from the table above, batch SD 8 %
        (2, 2, 0.08, 2, 4.303 * 0.08 * 1.0),
        (3, 3, 0.08, 4, 2.776 * 0.08 * 0.816497),
        (4, 4, 0.08, 6, 2.447 * 0.08 * 0.707107),
        (1, 1, 0.08, 10, 2.228 * 0.08 * 1.414214),
        (2, 2, 0.08, 10, 2.228 * 0.08 * 1.0),
        (3, 3, 0.08, 10, 2.228 * 0.08 * 0.816497),
        (1, 2, 0.08, 10, 2.228 * 0.08 * 1.224745),
    ],
)
def test_half_widths_worked_with_the_tabled_t(n1, n2, sd, df, by_hand):
    result = pooled_two_sample(0.10, n1, n2, sd, df)
    assert result.half_width == pytest.approx(by_hand, rel=3e-4)
    assert (result.low, result.high) == pytest.approx((0.10 - by_hand, 0.10 + by_hand), abs=2e-4)
