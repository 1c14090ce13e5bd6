"""What is too small to matter: a margin stated beforehand, held against two one-sided tests of general libraries."""

from __future__ import annotations

import math

import numpy
import pytest
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind

from kit.errors import KitError
from kit.trials.margins import read_margins

CHANGED = {"cetearyl-alcohol": "5.20 %"}
CONTROL, NEAR = [19000, 19400, 19200, 19300], [19500, 19100, 19300, 19250]


def entered(bench, trial: list[int], control: list[int] = CONTROL):
    bench.versions("LIN", {"LIN-03": control, "LIN-04": trial}, {"LIN-04": CHANGED})
    return bench


def judged(bench, **options):
    return bench.compare("LIN-04", **options).result("viscosity", "72 h").arm("LIN-04").difference


def two_one_sided(trial: list[int], control: list[int], factor: float) -> float:
    """The larger of the two probabilities (statsmodels), on ln values."""
    reach = math.log(factor)
    return float(ttost_ind(numpy.log(trial), numpy.log(control), -reach, reach, usevar="pooled")[0])


def test_without_a_margin_nothing_is_called_the_same(bench):
    found = judged(entered(bench, NEAR))
    assert (found.verdict, found.code, found.margin) == ("not shown to differ", "not_shown", None)
    assert (found.same_low, found.same_high) == (None, None)
    assert "margin" not in found.words


def test_within_twenty_percent_is_the_same_as_statsmodels_has_it(bench):
    found = judged(entered(bench, NEAR), margin="20 %")
    assert two_one_sided(NEAR, CONTROL, 1.2) < 0.05
    assert (found.verdict, found.code) == ("the same within the margin", "equivalent")
    assert found.margin == pytest.approx(1.2, rel=1e-12)
    interval = stats.ttest_ind(numpy.log(NEAR), numpy.log(CONTROL)).confidence_interval(0.90)
    assert (math.log(found.same_low), math.log(found.same_high)) == pytest.approx(interval, rel=1e-9)
    assert found.words.startswith("the same within the margin, a factor of 1.20: the 90 % interval, ")


def test_a_margin_of_half_a_percent_cannot_be_told_with_eight_batches(bench):
    found = judged(entered(bench, NEAR), margin="0.5 %")
    assert two_one_sided(NEAR, CONTROL, 1.005) > 0.05
    assert found.verdict == "cannot be told with these batches"
    assert found.detectable > 1.005
    assert "would be found too seldom" in found.words


def test_a_real_difference_inside_the_margin_is_told_as_both(bench):
    trial = [round(value * 1.05) for value in NEAR]
    found = judged(entered(bench, trial), margin="20 %")
    assert stats.ttest_ind(numpy.log(trial), numpy.log(CONTROL)).pvalue < 0.01
    assert two_one_sided(trial, CONTROL, 1.2) < 0.05
    assert found.verdict == "the same within the margin"
    assert "a real difference but too small to matter" in found.words


def test_a_difference_beyond_the_margin_is_real(bench):
    trial = [round(value * 1.5) for value in NEAR]
    found = judged(entered(bench, trial), margin="20 %")
    assert two_one_sided(trial, CONTROL, 1.2) > 0.99
    assert (found.verdict, found.code) == ("differs", "real")


@pytest.mark.parametrize(
    "margin", [{"viscosity": "20 %", "pH": "0.1"}, ["viscosity: 20 %", "pH: 0.1"], {"Viscosity": " 20% ", "pH": "0.1"}]
)
def test_margins_by_property_as_a_mapping_and_as_a_list(margin):
    found = read_margins(margin)
    assert found.of("viscosity", "ln") == pytest.approx(1.2, rel=1e-12)
    assert found.of("pH", "linear") == 0.1
    assert found.of("density", "linear") is None


def test_a_margin_for_all_serves_those_it_can_be_said_of():
    assert read_margins("20 %").of("viscosity", "ln") == pytest.approx(1.2, rel=1e-12)
    assert read_margins("20 %").of("pH", "linear") is None
    assert read_margins("0.1").of("viscosity", "ln") is None
    assert read_margins("0.1").of("pH", "linear") == 0.1
    assert read_margins(None).of("pH", "linear") is None


@pytest.mark.parametrize(
    "margin", ["much", "0 %", "-20 %", "nan", "inf %", ["20 %", "30 %"], {"viscosity": "20"}, {"pH": "20 %"}]
)
def test_a_margin_that_cannot_be_used_is_refused_in_words(bench, margin):
    entered(bench, NEAR)
    bench.ph(bench.make("LIN-03", day=20, number=20), "24 h", "4.60")
    with pytest.raises(KitError) as refused:
        bench.compare("LIN-04", margin=margin)
    assert refused.value.code == "compare.margin"
    assert "margin" in str(refused.value)
