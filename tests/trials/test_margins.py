"""What is too small to matter: a margin stated beforehand, held against two one-sided tests of general libraries.

A margin is given with the comparison or stands on the record of the study with its day.
"""

from __future__ import annotations

import math

import numpy
import pytest
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind

from kit.errors import KitError
from kit.trials.margins import read_margins
from kit.writeup.comparison_report import ComparisonReport
from kit.writeup.results_report import ResultsReport
from kit.writeup.trial_report import TrialReport

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


# On the record of the study ------------------------------------------------------------------------------------------

# the clock of these tests starts on 2026-03-02; batches are made from that day on


def study_with(empty, margins, **more):
    empty.study(margins=margins, **more)
    return entered(empty, NEAR)


def test_the_margin_of_the_study_is_taken_with_its_day(empty):
    bench = study_with(empty, {"viscosity": "20 %"})
    found = judged(bench)
    assert (found.verdict, found.margin) == ("the same within the margin", pytest.approx(1.2, rel=1e-12))
    told = bench.compare("LIN-04").result("viscosity", "72 h").margin_words
    assert told == (
        "margin of the study, 20 %, stated 2026-03-02, before the first of these batches was made (2026-03-02)"
    )
    assert "Viscosity" not in told and "viscosity, 72 h: margin of the study, 20 %" in str(bench.compare("LIN-04"))


def test_a_margin_stated_after_the_first_batch_says_so(bench):
    entered(bench, NEAR)
    assert judged(bench).margin is None
    bench.book.state_margins({"Viscosity": "20%"}, why="asked by the client")
    assert judged(bench).verdict == "the same within the margin"
    told = bench.compare("LIN-04").result("viscosity", "72 h").margin_words
    # the last of the eight batches was read at 72 h, on 2026-03-12
    assert "stated 2026-03-12, not beforehand but after the first of these batches was made (2026-03-02)" in told


def test_a_given_margin_goes_before_that_of_the_study_and_says_so(empty):
    bench = study_with(empty, {"viscosity": "20 %", "pH": "0.1"})
    found = bench.compare("LIN-04", margin="0.5 %").result("viscosity", "72 h")
    assert found.arm("LIN-04").difference.margin == pytest.approx(1.005, rel=1e-12)
    assert found.margin_words.startswith(
        "margin 0.5 %, given with this comparison: when it was stated is not on the record; "
        "it stands in place of the study's, 20 %, stated 2026-03-02"
    )
    # one for another property leaves that of the study as it is
    other = bench.compare("LIN-04", margin={"pH": "0.2"}).result("viscosity", "72 h")
    assert other.arm("LIN-04").difference.margin == pytest.approx(1.2, rel=1e-12)


def test_a_margin_at_one_age_is_for_that_age_alone(empty):
    bench = study_with(empty, {"viscosity at 24h": "10 %"})
    assert judged(bench).margin is None
    bench.book.state_margins({"viscosity at 72 h": "15 %", "viscosity": "30 %"})
    assert judged(bench).margin == pytest.approx(1.15, rel=1e-12)
    assert judged(bench, margin="viscosity at 72 h: 5 %").margin == pytest.approx(1.05, rel=1e-12)


def test_several_versions_are_the_same_by_themselves_and_with_all_in_view(empty):
    """Three batches each: t(0.95, 6) 1.943 alone; more for two together (mvtnorm: between 2.34 and 2.45)."""
    empty.study(margins={"viscosity": "9 %"})
    plan = {"LIN-03": [19000, 19400, 18600], "LIN-04": [19600, 19200, 20000], "LIN-02": [19100, 19500, 18700]}
    empty.versions("LIN", plan, {"LIN-04": CHANGED, "LIN-02": {"cetearyl-alcohol": "4.90 %"}})
    result = empty.compare("LIN-02", "LIN-04").result("viscosity", "72 h")
    logs = {name: numpy.log(values) for name, values in plan.items()}
    sd = math.sqrt(sum(values.var(ddof=1) for values in logs.values()) / 3)
    error = sd * math.sqrt(2 / 3)
    for name in ("LIN-02", "LIN-04"):
        found = result.arm(name).difference
        gap = logs[name].mean() - logs["LIN-03"].mean()
        alone = stats.t.ppf(0.95, 6) * error
        assert (math.log(found.same_low), math.log(found.same_high)) == pytest.approx((gap - alone, gap + alone), 1e-6)
        together = (math.log(found.same_high_together) - gap) / error
        # scipy: the bound that two t values of correlation -1/2 stay below together in 95 %
        law = stats.multivariate_t([0, 0], [[1, -0.5], [-0.5, 1]], df=6)
        assert law.cdf([together, together], random_state=3) == pytest.approx(0.95, abs=1e-4)
        assert found.same_low_together < found.same_low < found.same_high < found.same_high_together
    # 3.2 % above with an error of 1.7 %: e^(0.0315 + 1.943 x 0.0171) = 1.067 and e^(0.0315 + 2.4 x 0.0171) = 1.075
    near, far = (result.arm(name).difference for name in ("LIN-02", "LIN-04"))
    assert near.code == far.code == "equivalent"
    assert "with all 2 versions in view" in near.words and near.words.count(" too (half-width") == 1
    assert "with all 2 in view, by one-sided bounds that hold at once (95 %), it is told of all of them" in (
        result.multiplicity
    )
    tight = empty.compare("LIN-02", "LIN-04", margin="7 %").result("viscosity", "72 h")
    assert "does not (half-width" in tight.arm("LIN-04").difference.words
    assert "by itself, not with all in view" in tight.arm("LIN-04").difference.short
    assert tight.multiplicity.endswith("it is told of LIN-02.")


def test_the_pages_show_the_margins_of_the_study(empty):
    bench = study_with(empty, {"viscosity": "20 %"})
    compared = str(ComparisonReport(bench.book, ["LIN-03", "LIN-04"]).identity())
    assert "margin of the study, 20 %, stated 2026-03-02, before the first of these batches was made" in compared
    for report in (TrialReport(bench.book, "LIN-04"), ResultsReport(bench.book, "LIN")):
        assert ("margin", "viscosity: 20 %, stated 2026-03-02") in list(report.identity().rows)
    # the comparison inside a write-up takes it too
    found = TrialReport(bench.book, "LIN-04").comparison.result("viscosity", "72 h").arm("LIN-04").difference
    assert found.verdict == "the same within the margin"


def test_a_page_without_a_margin_says_that_nothing_is_called_the_same(bench):
    entered(bench, NEAR)
    told = list(ComparisonReport(bench.book, ["LIN-03", "LIN-04"]).identity().rows)
    assert ("margin", "none stated: nothing is called the same") in told
