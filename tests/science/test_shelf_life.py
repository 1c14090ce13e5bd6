"""Shelf life against statsmodels on drawn data, and at the edges of what data allow."""

from __future__ import annotations

import math

import numpy
import pandas
import pytest
from scipy.optimize import brentq
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from kit.errors import KitError
from kit.science.accelerated import (
    activation_energy_kj_mol,
    arrhenius_factor,
    implied_q10,
    months_by_q10,
    q10_factor,
    rule_of_thumb,
)
from kit.science.shelf_life import BEYOND, TOLD, UNTOLD, shelf_life
from kit.science.shelf_life_lines import COMMON, COMMON_SLOPE, MODELS, SEPARATE

FORMULAS = {COMMON: "y ~ t", COMMON_SLOPE: "y ~ 0 + C(b) + t", SEPARATE: "y ~ 0 + C(b) + C(b):t"}


def drawn(seed: int, slopes=(-0.9, -1.1, -1.0), levels=(100.0, 100.4, 99.7), sd: float = 0.4) -> dict[str, list]:
    random = numpy.random.default_rng(seed)
    months = [0, 1, 2, 3, 6]
    rows = [
        (month, level + slope * month + random.normal(0, sd), name)
        for name, slope, level in zip("ABC", slopes, levels, strict=True)
        for month in months
    ]
    return {"t": [row[0] for row in rows], "y": [row[1] for row in rows], "b": [row[2] for row in rows]}


@pytest.mark.parametrize("seed", range(6))
def test_tests_and_bounds_agree_with_statsmodels(seed):
    data = drawn(seed)
    fits = {name: ols(text, pandas.DataFrame(data)).fit() for name, text in FORMULAS.items()}
    found = shelf_life(data["t"], data["y"], data["b"], lower=93.0)
    whole = anova_lm(fits[COMMON_SLOPE], fits[SEPARATE])
    assert (found.pooled.slopes.f, found.pooled.slopes.p) == pytest.approx(
        (whole["F"].iloc[1], whole["Pr(>F)"].iloc[1]), rel=1e-9
    )
    for name in MODELS:
        ours = shelf_life(data["t"], data["y"], data["b"], lower=93.0, model=name)
        for crossing in ours.crossings:
            if crossing.months is not None:
                assert crossing.months == pytest.approx(_by_statsmodels(fits[name], crossing.batch, 93.0), rel=1e-8)


def _by_statsmodels(fit, batch: str, limit: float) -> float:
    def gap(month: float) -> float:
        told = fit.get_prediction(pandas.DataFrame({"t": [month], "b": [batch]})).conf_int(
            alpha=0.10
        )  # 5 % on each side
        return told[0][0] - limit

    return brentq(gap, 0, 12)


@pytest.mark.parametrize(
    ("slopes", "levels", "model"),
    [
        ((-1.0, -1.0, -1.0), (100.0, 100.0, 100.0), COMMON),
        ((-1.0, -1.0, -1.0), (100.0, 103.0, 97.0), COMMON_SLOPE),
        ((-0.5, -1.0, -2.0), (100.0, 100.0, 100.0), SEPARATE),
    ],
)
def test_the_model_is_chosen_by_what_the_batches_share(slopes, levels, model):
    data = drawn(1, slopes, levels, sd=0.05)
    found = shelf_life(data["t"], data["y"], data["b"], lower=90.0)
    assert found.pooled.model == model
    assert (found.pooled.intercepts is None) == (model == SEPARATE)
    if model != COMMON:
        assert found.worst.batch == "C" and "worst batch C" in found.words


def test_the_order_of_readings_and_the_unit_change_nothing_but_the_unit():
    data = drawn(1)
    plain = shelf_life(data["t"], data["y"], data["b"], lower=93.0)
    turned = [list(reversed(data[key])) for key in "tyb"]
    assert shelf_life(*turned, lower=93.0).months == pytest.approx(plain.months, rel=1e-9)
    scaled = shelf_life(data["t"], [1000 * value for value in data["y"]], data["b"], lower=93000.0)
    assert scaled.months == pytest.approx(plain.months, rel=1e-9)


@pytest.mark.parametrize(
    ("months", "values", "told"),
    [
        ([], [], "no reading counts"),
        ([0], [5.0], "1 of the 4 stations it takes was read"),
        ([0, 1, 2], [5.0, 4.9, 4.7], "3 of the 4 stations it takes were read"),
        ([0, 0, 1, 1, 2, 2], [5.0, 5.1, 4.9, 4.8, 4.7, 4.8], "3 of the 4 stations it takes were read"),
        ([0, 1, 2, 3], [5.0, 5.0, 5.0, 5.0], "every value is the same"),
        ([0, 1, 2, 3], [5.0, 4.5, 4.0, 3.5], "to the last digit"),
        ([0, 1, 2, 3], [5.0, 3.1, 4.9, 3.2], "the bound lies beyond the lower limit from the start"),
    ],
)
def test_what_cannot_be_told_says_why_and_gives_no_number(months, values, told):
    found = shelf_life(months, values, lower=3.0)
    assert (found.state, found.months) == (UNTOLD, None)
    assert told in found.words


def test_without_a_limit_nothing_is_told():
    assert "no limit was set" in shelf_life([0, 1, 2, 3], [1.0, 1.1, 1.0, 1.2]).words


def test_a_ratio_needs_values_above_zero():
    assert "above zero" in shelf_life([0, 1, 2, 3], [1.0, 0.5, 0.1, -0.1], lower=0.5, scale="ln").words


def test_what_moves_away_from_the_limit_says_so():
    found = shelf_life([0, 1, 2, 3], [5.0, 5.52, 5.98, 6.51], lower=3.0)
    assert found.state == BEYOND and "moves away from the limit" in found.words


def test_what_shows_no_trend_says_so():
    found = shelf_life([0, 1, 2, 3], [5.0, 5.1, 4.95, 5.03], lower=3.0)
    assert found.state == BEYOND and "no trend is shown" in found.words


def test_what_lies_outside_from_the_start_is_said():
    found = shelf_life([0, 1, 2, 3], [2.0, 1.95, 1.91, 1.84], lower=3.0)
    assert (found.state, found.months) == (TOLD, 0.0)
    assert "outside the lower limit from the start" in found.words


def test_a_batch_with_too_few_stations_is_left_out_and_named():
    data = drawn(2)
    short = shelf_life([*data["t"], 0, 1], [*data["y"], 99.0, 97.0], [*data["b"], "D", "D"], lower=93.0)
    assert short.months == shelf_life(data["t"], data["y"], data["b"], lower=93.0).months
    assert "D left out: fewer than 4 stations" in short.words


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (([0, 1], [1.0]), "shelf_life.readings"),
        (([0, 1], [1.0, float("nan")]), "shelf_life.readings"),
        (([-1, 1], [1.0, 2.0]), "shelf_life.readings"),
    ],
)
def test_what_are_no_readings_is_refused(arguments, code):
    with pytest.raises(KitError) as caught:
        shelf_life(*arguments, lower=0.5)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"lower": 2.0, "upper": 1.0}, "shelf_life.limits"),
        ({"lower": 1.0, "scale": "root"}, "shelf_life.scale"),
        ({"lower": 1.0, "confidence": 1.0}, "shelf_life.confidence"),
        ({"lower": 1.0, "model": "mixed"}, "shelf_life.model"),
    ],
)
def test_what_cannot_be_asked_is_refused(options, code):
    with pytest.raises(KitError) as caught:
        shelf_life([0, 1, 2, 3], [1.0, 1.2, 1.1, 1.3], **options)
    assert caught.value.code == code


def test_a_factor_needs_two_temperatures_and_a_number_above_zero():
    for call, code in (
        (lambda: implied_q10(2.0, 0.0), "accelerated.temperature"),
        (lambda: arrhenius_factor(50, -300), "accelerated.temperature"),
        (lambda: arrhenius_factor(0, 40), "science.not_positive"),
        (lambda: rule_of_thumb(-1, 45, 24), "science.not_positive"),
    ):
        with pytest.raises(KitError) as caught:
            call()
        assert caught.value.code == code


def test_the_bound_holds_the_true_line_as_often_as_it_says(thorough):
    """A true crossing at month 7: the bound says so before it in 95 % of the runs, within three deviations."""
    runs = 4000 if thorough else 400
    random = numpy.random.default_rng(20260112)
    months = [0, 1, 2, 3, 6]
    before = 0
    for _ in range(runs):
        values = [100 - month + random.normal(0, 0.5) for month in months]
        found = shelf_life(months, values, lower=93.0)
        before += found.state == TOLD and found.months <= 7.0
    assert abs(before / runs - 0.95) < 3 * (0.95 * 0.05 / runs) ** 0.5


@pytest.mark.parametrize(
    "call",
    [
        lambda: q10_factor(10.0, 1e5),
        lambda: q10_factor(10.0, -1e5),
        lambda: q10_factor(2.0, math.inf),
        lambda: q10_factor(2.0, math.nan),
        lambda: implied_q10(4.0, 1e-3),
        lambda: implied_q10(0.25, 1e-3),
        lambda: arrhenius_factor(50, 40, -273.1),
        lambda: arrhenius_factor(50, -273.1),
        lambda: arrhenius_factor(1e300, 40),
        lambda: months_by_q10(12, 10.0, 1e5),
        lambda: rule_of_thumb(1e-200, 25.001, 1e100),
    ],
)
def test_a_factor_that_no_number_holds_is_refused_in_words(call):
    with pytest.raises(KitError, match="beyond every number") as caught:
        call()
    assert caught.value.code == "accelerated.range"


def test_temperatures_apart_by_rounding_alone_are_one():
    warmer = math.nextafter(25.0, 26.0)
    assert warmer + 273.15 == 25.0 + 273.15
    with pytest.raises(KitError) as caught:
        activation_energy_kj_mol(2.0, warmer)
    assert caught.value.code == "accelerated.temperature"
