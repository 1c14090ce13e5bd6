"""Differences and their intervals against general-purpose statistics libraries, from readings entered at the bench."""

from __future__ import annotations

import math

import numpy
import pytest
from scipy import stats
from statsmodels.api import OLS, MixedLM
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from tests.trials.together import chance_together

CHANGED = {"cetearyl-alcohol": "6.00 %"}


def found(bench, *trials: str, label: str = "LIN-04", **options: object):
    return bench.compare(*(trials or ("LIN-04",)), **options).result("viscosity", "72 h").arm(label).difference


def test_single_batches_without_history_give_a_ratio_and_no_interval(bench):
    bench.versions("LIN", {"LIN-03": [19000], "LIN-04": [24000]}, {"LIN-04": CHANGED})
    result = found(bench)
    assert result.value == pytest.approx(24 / 19, rel=1e-12)
    assert (result.low, result.high, result.half_width, result.df, result.interval_by, result.verdict) == (
        None,
        None,
        None,
        None,
        "single batch",
        "not tested",
    )
    assert "single batch" in result.words
    assert "1 batch, 1 reading against 1 batch, 1 reading" in result.words


def test_two_against_two_is_welch_as_scipy_and_statsmodels_have_it_and_called_conservative(bench):
    control, trial = [19000, 20080], [24000, 28400]
    bench.versions("LIN", {"LIN-03": control, "LIN-04": trial}, {"LIN-04": CHANGED})
    result = found(bench)
    theirs = stats.ttest_ind(numpy.log(trial), numpy.log(control), equal_var=False)
    interval = theirs.confidence_interval(0.95)
    assert result.interval_by == "Welch"
    assert result.df == pytest.approx(theirs.df, rel=1e-9)
    assert result.df < 2  # pooled variances would give 2
    assert (result.low, result.high) == pytest.approx((math.exp(interval.low), math.exp(interval.high)), rel=1e-9)
    other = CompareMeans(DescrStatsW(numpy.log(trial)), DescrStatsW(numpy.log(control))).tconfint_diff(usevar="unequal")
    assert (result.low, result.high) == pytest.approx(tuple(numpy.exp(other)), rel=1e-9)
    assert result.half_width == pytest.approx(math.sqrt(result.high / result.low), rel=1e-9)
    assert "Welch at two against two is conservative" in result.words
    # R: t.test(log(trial), log(control)) has 1.213243 df; 8.859 % with sqrt(df / qchisq(c(.975, .025), df)) of that df
    # reaches from 4.130 to 158.1 % (with 2 df it would reach from 4.6 to 56 %)
    assert "scatter itself poorly known (1.2 df: 8.9 % of the value, 95 % between 4.1 and 160 %)" in result.words


def test_five_degrees_of_freedom_in_the_study_itself_are_pooled(bench):
    plan = {"LIN-03": [19000, 20080, 18500], "LIN-04": [24000, 28400, 26000, 25500], "LIN-02": [10800]}
    bench.versions("LIN", plan, {"LIN-04": CHANGED, "LIN-02": {"cetearyl-alcohol": "4.00 %"}})
    result = found(bench, "LIN-02", "LIN-04")
    assert (result.interval_by, result.df) == ("pooled batch scatter", 5)  # 2 + 3 + 0
    theirs = CompareMeans(DescrStatsW(numpy.log(plan["LIN-04"])), DescrStatsW(numpy.log(plan["LIN-03"]))).tconfint_diff(
        usevar="pooled"
    )
    assert (result.low_alone, result.high_alone) == pytest.approx(tuple(numpy.exp(theirs)), rel=1e-9)
    assert result.cautions == (
        "no control was made on 2026-03-05 or 2026-03-06 or 2026-03-07 or 2026-03-08: "
        "the day is not separated from the change",
    )
    # the single batch leans on the same scatter: a residual of the model with one mean a version
    lone = found(bench, "LIN-02", "LIN-04", label="LIN-02")
    assert (lone.low_alone, lone.high_alone) == pytest.approx(ols_interval(plan, "LIN-02"), rel=1e-9)


def test_two_versions_against_one_control_are_dunnetts_as_scipy_has_it(bench):
    plan = {"LIN-03": [19000, 20080, 18500], "LIN-04": [24000, 28400, 26000, 25500], "LIN-02": [19800, 18100]}
    bench.versions("LIN", plan, {"LIN-04": CHANGED, "LIN-02": {"cetearyl-alcohol": "4.80 %"}})
    versions = ("LIN-02", "LIN-04")
    theirs = stats.dunnett(*(numpy.log(plan[name]) for name in versions), control=numpy.log(plan["LIN-03"]), rng=7)
    interval = theirs.confidence_interval(0.95)
    for place, name in enumerate(versions):
        result = found(bench, *versions, label=name)
        assert (math.log(result.low), math.log(result.high)) == pytest.approx(
            (interval.low[place], interval.high[place]), abs=0.002
        )
        assert result.p_adjusted == pytest.approx(theirs.pvalue[place], abs=0.002)
        alone = ols_interval(plan, name)
        assert (result.low_alone, result.high_alone) == pytest.approx(alone, rel=1e-9)
        assert math.log(alone[0]) - math.log(result.low) > 0.01  # what allowing for two versions costs
        assert "for all 2 versions together" in result.words


def test_control_and_version_made_each_day_are_compared_within_days_as_scipy_has_it(bench):
    control, trial = [19000, 21500, 17800, 20600], [24100, 27900, 22300, 26500]
    for day, (mine, theirs) in enumerate(zip(control, trial, strict=True), start=1):
        bench.viscosity(bench.make("LIN-03", day=day, number=day), "72 h", mine)
        bench.viscosity(bench.make("LIN-04", CHANGED, day=day, number=day), "72 h", theirs)
    result = found(bench)
    paired = stats.ttest_rel(numpy.log(trial), numpy.log(control))
    interval = paired.confidence_interval(0.95)
    apart = stats.ttest_ind(numpy.log(trial), numpy.log(control), equal_var=False).confidence_interval(0.95)
    assert (math.log(result.low), math.log(result.high)) == pytest.approx((interval.low, interval.high), rel=1e-4)
    assert result.df == pytest.approx(3, abs=0.01)  # four days
    assert interval.high - interval.low < 0.4 * (apart.high - apart.low)  # what the same day takes away
    assert result.interval_by in ("control of the same day", "days and batches at random")
    assert result.verdict == "differs"
    told = bench.compare("LIN-04").result("viscosity", "72 h").analysis
    assert "days" in told or "day" in told
    assert not any("no control was made" in caution for caution in result.cautions)


def ols_interval(groups: dict[str, list[int]], arm: str, control: str = "LIN-03") -> tuple[float, float]:
    """The interval of arm over control from a least-squares fit of ln value with one mean a version (statsmodels)."""
    names = list(groups)
    values = numpy.log([value for name in names for value in groups[name]])
    design = numpy.array([[float(name == other) for other in names] for name in names for _ in groups[name]])
    contrast = [float(name == arm) - float(name == control) for name in names]
    low, high = OLS(values, design).fit().t_test(contrast).conf_int()[0]
    return math.exp(low), math.exp(high)


@pytest.fixture
def with_history(empty):
    """Two versions repeated in an earlier study, then a study of three single-batch trials that names it."""
    empty.study("HIS")
    empty.versions(
        "HIS", {"HIS-03": [18800, 20500, 19700, 21000], "HIS-04": [26000, 28900, 27000]}, {"HIS-04": CHANGED}
    )
    empty.study("LIN", history=["HIS"])
    empty.versions(
        "LIN",
        {"LIN-03": [19000], "LIN-04": [29600], "LIN-02": [17500]},
        {"LIN-04": CHANGED, "LIN-02": {"cetearyl-alcohol": "4.80 %"}},
    )
    return empty


def test_the_scatter_of_an_earlier_study_gives_single_batches_an_interval(with_history):
    groups = {
        "HIS-03": [18800, 20500, 19700, 21000],
        "HIS-04": [26000, 28900, 27000],
        "LIN-03": [19000],
        "LIN-04": [29600],
        "LIN-02": [17500],
    }
    result = found(with_history, "LIN-02", "LIN-04")
    assert (result.interval_by, result.df, result.n_arm, result.n_control) == ("pooled batch scatter", 5, 1, 1)  # 3 + 2
    low, high = ols_interval(groups, "LIN-04")
    assert (result.low_alone, result.high_alone) == pytest.approx((low, high), rel=1e-9)
    # together: Dunnett's 3.03 (two sided, two versions, 5 df) for Student's 2.571: C. W. Dunnett (1964), Biometrics
    # 20:482, table II, from memory, and by the multivariate t of scipy
    error = math.log(high / low) / (2 * stats.t.ppf(0.975, 5))
    assert math.log(result.half_width) / error == pytest.approx(3.03, abs=0.005)
    assert chance_together(math.log(result.half_width) / error, 5, 1, (1, 1)) == pytest.approx(0.95, abs=0.0005)
    assert result.verdict == "differs"
    assert result.words.startswith("differs (half-width a factor of ")
    assert "poorly known" not in result.words
    other = found(with_history, "LIN-02", "LIN-04", label="LIN-02")
    assert (other.low_alone, other.high_alone) == pytest.approx(ols_interval(groups, "LIN-02"), rel=1e-9)
    assert other.verdict == "not shown to differ"
    rests = with_history.compare("LIN-04").result("viscosity", "72 h").scatter.rests_on
    assert rests == ("study HIS: HIS-03 (4 batches)", "study HIS: HIS-04 (3 batches)")


def test_own_repeats_join_the_history(with_history):
    batch = with_history.make("LIN-06", day=2)
    with_history.viscosity(batch, "72 h", 20080)
    groups = {
        "HIS-03": [18800, 20500, 19700, 21000],
        "HIS-04": [26000, 28900, 27000],
        "LIN-03": [19000, 20080],
        "LIN-04": [29600],
    }
    result = found(with_history)
    assert (result.df, result.n_control) == (6, 2)
    assert (result.low, result.high) == pytest.approx(ols_interval(groups, "LIN-04"), rel=1e-9)


@pytest.mark.parametrize(
    "spoilt",
    [
        {"spindle": "disc 6"},  # another spindle than the method's
        {"instrument": "VIS-2"},  # by the method, but not comparable with the control's reading
        {"torque": "30"},  # flagged: the constant does not fit
        {"temp": "29 degC"},  # flagged
    ],
)
def test_history_that_is_flagged_or_not_comparable_says_nothing_about_the_scatter(empty, spoilt):
    empty.book.add_instrument("VIS-2", kind="viscometer", constants={"disc 5": 4000})
    empty.study("HIS")
    empty.versions("HIS", {"HIS-03": [18800, 20500, 19700, 21000, 19900, 20200]}, **spoilt)
    empty.study("LIN", history=["HIS"])
    empty.versions("LIN", {"LIN-03": [19000], "LIN-04": [29600]}, {"LIN-04": CHANGED})
    assert found(empty).interval_by == "single batch"


def test_history_at_another_age_says_nothing(empty):
    empty.study("HIS")
    for number, value in enumerate([8800, 9000, 9300, 8500, 8700, 9100], start=1):
        empty.viscosity(empty.make("HIS-03", day=number, number=number, study="HIS"), "1 h", value)
    empty.study("LIN", history=["HIS"])
    empty.versions("LIN", {"LIN-03": [19000], "LIN-04": [29600]}, {"LIN-04": CHANGED})
    assert found(empty).interval_by == "single batch"


def test_a_ph_difference_from_history_is_linear(empty):
    empty.study("HIS")
    history = ["4.58", "4.61", "4.60", "4.63", "4.57", "4.60"]
    for number, value in enumerate(history, start=1):
        empty.ph(empty.make("HIS-03", day=number, number=number, study="HIS"), "24 h", value)
    empty.study("LIN", history=["HIS"])
    for trial, changes, value in (("LIN-03", {}, "4.60"), ("LIN-04", CHANGED, "4.75")):
        empty.ph(empty.make(trial, changes), "24 h", value)
    result = empty.compare("LIN-04").result("pH", "24 h").arm("LIN-04").difference
    # one against one, 5 df: half-width = t x SD x sqrt 2, all from scipy and numpy
    half = stats.t.ppf(0.975, 5) * numpy.std([float(value) for value in history], ddof=1) * math.sqrt(2)
    assert (result.kind, result.df) == ("difference", 5)
    assert (result.value, result.half_width) == (pytest.approx(0.15, abs=1e-9), pytest.approx(half, rel=1e-9))
    assert (result.low, result.high) == pytest.approx((0.15 - half, 0.15 + half), abs=1e-9)
    assert result.verdict == "differs"


def test_two_days_that_hold_one_batch_of_each_may_rest_on_their_pairs(empty):
    """pH apart by 0.21 and 0.22 on two days that are far apart themselves: SE 0.005, t of one df is Cauchy's.

    cot(pi 0.033 / 2) = 19.27, half-width 0.0964. All batches together: SD 0.15, far wider.
    """
    empty.study("HIS")
    for number, value in enumerate(["4.40", "4.71", "4.60", "4.83", "4.47", "4.60"], start=1):
        empty.ph(empty.make("HIS-03", day=number, number=number, study="HIS"), "24 h", value)
    empty.study("LIN", history=["HIS"])
    for trial, changes, values in (("LIN-03", {}, ("4.40", "4.68")), ("LIN-04", CHANGED, ("4.61", "4.90"))):
        for day, value in enumerate(values, start=1):
            empty.ph(empty.make(trial, changes, day=10 + day, number=day), "24 h", value)
    result = empty.compare("LIN-04").result("pH", "24 h").arm("LIN-04").difference
    assert (result.interval_by, result.df, result.verdict) == ("pairs of each day", 1, "differs")
    assert result.value == pytest.approx(0.215, abs=1e-9)
    assert result.half_width == pytest.approx(0.005 / math.tan(math.pi * 0.0165), rel=1e-6)
    assert "scatter itself poorly known (1 df)" in result.words


def test_identical_repeats_give_no_interval_of_width_zero(bench):
    for number in (1, 2):
        bench.ph(bench.make("LIN-03", day=number, number=number), "24 h", "4.60")
    bench.ph(bench.make("LIN-04", CHANGED), "24 h", "4.61")
    result = bench.compare("LIN-04").result("pH", "24 h").arm("LIN-04").difference
    assert (result.low, result.verdict) == (None, "not tested")
    assert "constant" in result.words


def test_swapping_arm_and_control_turns_the_ratio_round(with_history):
    one = found(with_history)
    other = found(with_history, "LIN-03", label="LIN-03", control="LIN-04")
    assert (other.value, other.low, other.high) == pytest.approx((1 / one.value, 1 / one.high, 1 / one.low), rel=1e-12)
    assert other.half_width == pytest.approx(one.half_width, rel=1e-12)


def test_days_that_hold_both_only_in_part_are_a_mixed_model_as_statsmodels_has_it(bench):
    control = {1: 19000, 2: 22400, 3: 17100, 4: 20900, 5: 18300, 6: 21700}
    trial = {1: 24300, 2: 27600, 4: 26900, 5: 22100, 6: 27900}
    for name, changes, values in (("LIN-03", {}, control), ("LIN-04", CHANGED, trial)):
        for number, (day, value) in enumerate(values.items(), start=1):
            bench.viscosity(bench.make(name, changes, day=day, number=number), "72 h", value)
    result = found(bench)
    values = numpy.log([*control.values(), *trial.values()])
    design = numpy.array([[1.0, 0.0]] * len(control) + [[1.0, 1.0]] * len(trial))
    theirs = MixedLM(values, design, groups=[*control, *trial]).fit(reml=True)
    assert result.interval_by == "days and batches at random"
    assert math.log(result.value) == pytest.approx(theirs.fe_params[1], abs=2e-4)
    assert result.standard_error == pytest.approx(theirs.bse_fe[1], rel=0.02)
    plain = OLS(values, design).fit()
    assert result.standard_error < 0.6 * plain.bse[1]  # what the shared days take away


def test_a_control_made_twice_on_one_day_says_that_its_batches_count_once(bench):
    """Two batches of one day tell nothing of how batches of other days scatter, though something was repeated."""
    for number, value in enumerate((19000, 19600), start=1):
        bench.viscosity(bench.make("LIN-03", day=1, number=number), "72 h", value)
    bench.viscosity(bench.make("LIN-04", CHANGED, day=2), "72 h", 24000)
    result = bench.compare("LIN-04").result("viscosity", "72 h")
    found = result.arm("LIN-04").difference
    assert found.value == pytest.approx(24000 / math.sqrt(19000 * 19600), rel=1e-12)
    assert (found.low, found.df, found.verdict) == (None, None, "not tested")
    why = "batches of one day count once, so how much batches of other days scatter is not known"
    assert found.words.startswith(f"not tested ({why}): ratio 1.24")
    assert "nothing was repeated" not in found.words and "single batch" not in found.short
    assert "no interval" in found.short
    assert result.analysis == why
    assert result.notes == ("LIN-03: batches of one day count once, by their mean, as they share that day.",)


@pytest.mark.parametrize(("values", "told"), [([19000, 20080], "1 degree"), ([19000, 20080, 18500], "2 degrees")])
def test_degrees_of_freedom_in_the_singular_and_versions_not_arms(bench, values, told):
    """One version a single batch, so that the control alone tells the scatter: one less than its batches."""
    plan = {"LIN-03": values, "LIN-04": [24000], "LIN-02": [10800]}
    bench.versions("LIN", plan, {"LIN-04": CHANGED, "LIN-02": {"cetearyl-alcohol": "4.00 %"}})
    result = bench.compare("LIN-02", "LIN-04").result("viscosity", "72 h")
    assert result.analysis == f"the scatter of batches pooled over all versions: {told} of freedom"
    assert result.multiplicity.startswith("2 versions against one control: ")
    assert "arm" not in f"{result.analysis} {result.multiplicity} {' '.join(result.notes)}"
