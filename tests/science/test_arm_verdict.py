from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.errors import KitError
from kit.science.arm_verdict import (
    CANNOT_TELL,
    EQUIVALENT,
    NO_SCATTER,
    NO_SHARED_DAY,
    NOT_COMPARABLE,
    NOT_SHOWN,
    REAL,
    TWO_AGAINST_TWO,
    ArmBatches,
    arm_verdicts,
)
from kit.science.scatter_known import POORLY_KNOWN
from tests.published.r import stored

SAME_THREE = ("2026-03-02", "2026-03-03", "2026-03-04")


def arm(label, *values, days=()):
    return ArmBatches(label, values, tuple(days))


def one(control, other, **options):
    found = arm_verdicts(control, [other], **options)
    return found, found.verdicts[0]


def test_a_single_batch_without_history_has_no_verdict():
    found, verdict = one(arm("LIN-03", 19_000), arm("LIN-04", 24_000))
    assert (found.analysis, verdict.verdict) == ("none", NO_SCATTER)
    assert verdict.value == pytest.approx(24 / 19)
    assert (verdict.low, verdict.p, verdict.detectable) == (None, None, None)
    assert "nothing was repeated" in verdict.words and "not tested" in verdict.words


def test_with_history_one_against_one_is_student_on_the_pooled_scatter():
    """ln(24/19) = 0.2336; half-width t(0.975, 10) x 0.08 x sqrt 2 = 0.2521: a factor of 1.287, not shown."""
    found, verdict = one(arm("LIN-03", 19_000), arm("LIN-04", 24_000), history_sd=0.08, history_df=10)
    assert (found.analysis, found.df, verdict.verdict) == ("pooled", 10, NOT_SHOWN)
    assert verdict.half_width == pytest.approx(math.exp(0.25208), rel=1e-4)
    assert verdict.detectable == pytest.approx(math.exp(0.35185), rel=1e-4)
    assert "half-width a factor of 1.29" in verdict.words
    # 0.08 with 10 df: chi-squared 20.483 and 3.247
    assert (found.sd_low, found.sd_high) == pytest.approx((0.0559, 0.1404), abs=1e-4)


def test_two_against_two_is_welch_and_says_that_it_is_wide():
    control, trial = (19_000.0, 20_080.0), (24_000.0, 28_400.0)
    found, verdict = one(arm("C", *control), arm("T", *trial))
    theirs = stats.ttest_ind(np.log(trial), np.log(control), equal_var=False).confidence_interval(0.95)
    assert found.analysis == "welch"
    assert (math.log(verdict.low), math.log(verdict.high)) == pytest.approx(tuple(theirs), rel=1e-9)
    assert verdict.verdict == CANNOT_TELL
    assert TWO_AGAINST_TWO in verdict.cautions and POORLY_KNOWN in verdict.words
    assert "cannot be told with these batches" in verdict.words


def test_five_degrees_of_freedom_are_pooled_and_several_arms_are_dunnetts():
    found = arm_verdicts(arm("C", 1.0, 1.1, 0.9), [arm("T", 2.0, 2.1), arm("U", 1.0, 1.05, 1.1)], scale="linear")
    assert (found.analysis, found.df) == ("pooled", 5)
    assert "Dunnett" in found.multiplicity
    first = found.arm("T")
    assert first.verdict == REAL and first.p_adjusted > first.p
    assert first.low < first.low_alone < first.value < first.high_alone < first.high
    # alone: SD from (0.02 + 0.005 + 0.005) / 5, t(0.975, 5) = 2.5706
    reach = 2.5706 * math.sqrt(0.03 / 5) * math.sqrt(1 / 2 + 1 / 3)
    assert (first.low_alone, first.high_alone) == pytest.approx((1.05 - reach, 1.05 + reach), abs=1e-4)


def test_days_shared_with_the_control_cancel():
    """Every day moves both alike; without days the same numbers tell nothing."""
    control = arm("C", 1.0, 2.0, 3.0, days=SAME_THREE)
    trial = arm("T", 1.3, 2.28, 3.31, days=SAME_THREE)
    found, verdict = one(control, trial, scale="linear")
    # pairs 0.3, 0.28, 0.31: mean 0.29667, SD 0.015275, t(0.975, 2) = 4.3027
    assert found.analysis == "mixed"
    assert verdict.df == pytest.approx(2)
    reach = 4.30265 * 0.0152753 / math.sqrt(3)
    assert (verdict.low, verdict.high) == pytest.approx((0.296667 - reach, 0.296667 + reach), abs=1e-5)
    assert verdict.verdict == REAL
    _, without = one(arm("C", 1.0, 2.0, 3.0), arm("T", 1.3, 2.28, 3.31), scale="linear")
    assert without.verdict == CANNOT_TELL


def test_batches_of_one_day_without_the_control_count_once():
    found, verdict = one(
        arm("C", 4.6, 4.62, days=("1", "2")),
        arm("T", 4.7, 4.74, days=("3", "3")),
        scale="linear",
        history_sd=0.03,
        history_df=9,
    )
    assert (verdict.n_arm, verdict.n_control) == (1, 2)
    assert NO_SHARED_DAY in verdict.words
    assert "count once" in found.notes[0]


def test_of_two_pairs_the_narrower_interval_is_taken_and_each_is_a_little_wider_for_it():
    """Worked by hand. Pairs 0.12 and 0.13: SE 0.005, Student's t of one df is Cauchy's, cot(pi 0.033 / 2) = 19.27.

    Pooled: (9 x 0.05^2 + 0.005 + 0.00605) / 11 = 0.003050, SE 0.05523; t of 11 df for 3.7 % by SciPy's distribution.
    """
    days = ("1", "2")
    earlier = {"scale": "linear", "history_sd": 0.05, "history_df": 9}
    found, verdict = one(arm("C", 4.6, 4.7, days=days), arm("T", 4.83, 4.72, days=days[::-1]), **earlier)
    assert found.analysis == "pooled" and found.sd == pytest.approx(0.05523, abs=1e-5)
    assert verdict.value == pytest.approx(0.125) and verdict.df == 1
    assert verdict.half_width == pytest.approx(0.005 / math.tan(math.pi * 0.0165), rel=1e-9)
    assert verdict.verdict == REAL and POORLY_KNOWN in verdict.words
    assert verdict.by_pairs and "1 degree of freedom by the pairs of each day" in verdict.words
    assert any("the narrower of two intervals" in note for note in found.notes)
    assert NO_SHARED_DAY not in verdict.cautions
    _, apart = one(arm("C", 4.6, 4.7, days=days), arm("T", 4.76, 4.75, days=days), **earlier)
    sd = math.sqrt((9 * 0.05**2 + 0.1**2 / 2 + 0.01**2 / 2) / 11)
    assert apart.half_width == pytest.approx(sd * stats.t.ppf(1 - 0.037 / 2, 11), rel=1e-9) and apart.df == 11
    assert apart.verdict == NOT_SHOWN and not apart.by_pairs
    # what can be found does not hang on how two pairs happened to lie: as if the pooled scatter alone were there
    narrow = found.sd * (stats.t.ppf(1 - 0.037 / 2, 11) + stats.t.ppf(0.8, 11))
    assert verdict.detectable == pytest.approx(narrow, rel=0.03)  # the sum of two quantiles is near only


def test_two_pairs_need_a_scatter_from_elsewhere_and_both_days_shared():
    days = ("1", "2")
    found, verdict = one(arm("C", 4.6, 4.7, days=days), arm("T", 4.72, 4.83, days=days), scale="linear")
    assert found.analysis == "welch" and TWO_AGAINST_TWO in verdict.cautions
    earlier = {"scale": "linear", "history_sd": 0.05, "history_df": 9}
    found, verdict = one(arm("C", 4.6, 4.7, days=days), arm("T", 4.72, 4.83, days=("2", "3")), **earlier)
    assert any("rather too wide" in note for note in found.notes) and verdict.df == 11


def test_pairs_that_differ_all_alike_leave_the_pooled_scatter():
    days = ("1", "2")
    _, verdict = one(
        arm("C", 4.5, 4.75, days=days), arm("T", 4.75, 5.0, days=days), scale="linear", history_sd=0.05, history_df=9
    )
    assert verdict.df == 11 and verdict.half_width > 0.1


def test_a_margin_gives_the_same_within_it_and_what_cannot_be_told():
    """SD 0.02, 12 df, two against two: 90 % half-width 1.782 x 0.02 = 0.036; detectable about 0.062 in ln units."""
    options = {"history_sd": 0.02, "history_df": 12}
    control = arm("C", 1.0, 1.0)
    _, same = one(control, arm("T", 1.01, 1.01), margin=1.10, **options)
    assert same.verdict == EQUIVALENT and same.words.startswith("the same within a factor of 1.10")
    assert same.equivalence.shown
    _, small = one(control, arm("T", 1.06, 1.06), margin=1.2, **options)
    assert small.verdict == EQUIVALENT and "too small to matter" in small.words
    _, unknown = one(control, arm("T", 1.03, 1.03), margin=1.04, **options)
    assert unknown.verdict == CANNOT_TELL and "more than the margin, a factor of 1.04" in unknown.words
    _, shown = one(control, arm("T", 1.4, 1.4), margin=1.10, **options)
    assert shown.verdict == REAL


def test_nothing_to_compare_is_not_comparable():
    found = arm_verdicts(arm("C", 1.0, 1.1), [arm("T"), arm("U", 1.2, 1.3)])
    assert found.arm("T").verdict == NOT_COMPARABLE and "no batch of T" in found.arm("T").words
    assert found.arm("U").verdict != NOT_COMPARABLE
    nothing = arm_verdicts(arm("C"), [arm("T", 1.0)])
    assert nothing.arm("T").verdict == NOT_COMPARABLE and "no batch of C" in nothing.arm("T").words


def test_constant_batches_are_not_tested():
    _, verdict = one(arm("C", 4.6, 4.6), arm("T", 4.7, 4.7), scale="linear")
    assert verdict.verdict == NO_SCATTER and "constant" in verdict.words


def test_arms_that_scatter_apart_are_noticed():
    """Bartlett: p 0.0012 for the first pair of samples and 0.043 for the second, as R has it."""
    p_apart, p_alike = stored.read("comparisons")["bartlett"]
    assert p_apart < 0.01 < p_alike
    quiet, loud, other = (1, 1.1, 0.9, 1.05), (1, 2.4, -0.6, 1.9), (1, 1.4, 0.6, 1.3)
    apart, _ = one(arm("C", *quiet), arm("T", *loud), scale="linear")
    alike, _ = one(arm("C", *quiet), arm("T", *other), scale="linear")
    assert any("hardly scatter alike" in note for note in apart.notes) and not alike.notes
    each, _ = one(arm("C", *quiet), arm("T", *loud), scale="linear", alike=False)
    assert each.analysis == "welch" and not each.notes


def test_it_shows_itself():
    found = arm_verdicts(arm("C <b>", 1.0, 1.1), [arm("<i>T", 2.0, 2.2)], unit="mPa.s")
    assert "<i>T" not in found._repr_html_() and "&lt;i&gt;T" in found._repr_html_()
    assert str(found).startswith("Only 2 degrees of freedom to pool")
    assert str(found.verdicts[0]) == found.verdicts[0].words


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"scale": "log"}, "verdict.scale"),
        ({"margin": 0.9}, "verdict.margin"),
        ({"margin": 0.0, "scale": "linear"}, "verdict.margin"),
        ({"history_sd": 0.1}, "verdict.history"),
        ({"history_df": 4}, "verdict.history"),
        ({"confidence": 95}, "statistics.confidence"),
    ],
)
def test_what_cannot_be_asked_is_refused(options, code):
    with pytest.raises(KitError) as problem:
        arm_verdicts(arm("C", 1.0, 1.1), [arm("T", 2.0, 2.1)], **options)
    assert problem.value.code == code


def test_values_that_have_no_ratio_and_days_that_do_not_fit_are_refused():
    for make, code in (
        (lambda: arm_verdicts(arm("C", 1.0, 0.0), [arm("T", 2.0)]), "verdict.not_positive"),
        (lambda: arm_verdicts(arm("C", 1.0, math.nan), [arm("T", 2.0)], scale="linear"), "statistics.not_finite"),
        (lambda: arm("C", 1.0, 2.0, days=("1",)), "verdict.days"),
        (lambda: arm_verdicts(arm("C", 1.0), [arm("T", 2.0)]).arm("X"), "verdict.arm"),
    ):
        with pytest.raises(KitError) as problem:
            make()
        assert problem.value.code == code


def test_a_ratio_that_no_number_holds_is_infinite_and_no_error():
    """ln 1e-150 and ln 1e150 lie 691 apart: t of 12.7 at one degree of freedom times 598 is beyond any number."""
    (found,) = arm_verdicts(arm("C", 1e-150, 1e150), [arm("T", 1.0)]).verdicts
    assert (found.low, found.high) == (0.0, math.inf)
    assert found.value == pytest.approx(1.0)
    assert found.verdict == "cannot_tell"


# Invariants ----------------------------------------------------------------------------------------------------------

level = st.floats(0.5, 2.0)
day = st.sampled_from(["1", "2", "3"])
batches = st.lists(st.tuples(level, day), min_size=1, max_size=4)
study = st.tuples(batches, st.lists(batches, min_size=1, max_size=2), st.booleans())


def build(told, known, *, days=True):
    values, dates = zip(*told, strict=True)
    return ArmBatches(known, values, dates if days else ())


def verdicts(told, **options):
    control, others, days = told
    return arm_verdicts(
        build(control, "C", days=days), [build(other, f"T{k}", days=days) for k, other in enumerate(others)], **options
    )


def numbers(found):
    return [
        number
        for one in found.verdicts
        for number in (one.value, one.low, one.high, one.half_width, one.detectable, one.df, one.p, one.p_adjusted)
    ]


def alike(mine, theirs, rel=1e-5):
    for one, other in zip(mine, theirs, strict=True):
        assert (one is None) == (other is None)
        if one is not None and one < 1e150:
            assert one == pytest.approx(other, rel=rel, abs=1e-7)


@settings(max_examples=40, deadline=None)
@given(study, st.randoms(use_true_random=False))
def test_the_order_of_batches_changes_nothing(told, random):
    control, others, days = told
    mixed = (random.sample(control, len(control)), [random.sample(other, len(other)) for other in others], days)
    one, other = verdicts(told, scale="linear"), verdicts(mixed, scale="linear")
    assert one.analysis == other.analysis
    alike(numbers(one), numbers(other))


@settings(max_examples=40, deadline=None)
@example(
    ([(1.0, "1"), (1.0, "2"), (1.0, "2"), (1.0, "2")], [[(1.0, "1"), (1.0, "2"), (1.0, "1"), (2.0, "1")]], True), 2.0
)
@given(study, st.floats(0.01, 1000))
def test_another_unit_leaves_ratios_as_they_are(told, factor):
    control, others, days = told

    def turned(rows):
        return [(factor * value, date) for value, date in rows]

    one, other = verdicts(told), verdicts((turned(control), [turned(rows) for rows in others], days))
    assert [found.verdict for found in one.verdicts] == [found.verdict for found in other.verdicts]
    alike(numbers(one), numbers(other))


@settings(max_examples=40, deadline=None)
@example(([(1.0, "1"), (1.0, "1"), (1.0, "1"), (2.0, "1")], [[(2.0, "2"), (2.0, "3")], [(1.0, "1")]], True))
@example(([(1.0, "1"), (1.0, "1"), (2.0, "1")], [[(2.0, "2"), (2.0, "3")], [(1.0, "1")]], True))
@given(study)
def test_dropping_a_batch_never_adds_one(told):
    control, others, days = told
    assume(len(others[0]) > 1)
    one, other = verdicts(told), verdicts((control, [others[0][1:], *others[1:]], days))
    for found, rows in ((one, others[0]), (other, others[0][1:])):
        assert 1 <= found.verdicts[0].n_arm <= len(rows)
        assert 1 <= found.verdicts[0].n_control <= len(control)
    if days:
        return  # without that batch another analysis may be due, such as all on one day
    assert (other.verdicts[0].n_arm, other.verdicts[0].n_control) == (len(others[0]) - 1, len(control))
    means = [np.exp(np.mean(np.log([value for value, _ in rows]))) for rows in (others[0][1:], control)]
    assert other.verdicts[0].value == pytest.approx(means[0] / means[1], rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.lists(level, min_size=2, max_size=4), st.lists(level, min_size=2, max_size=4))
def test_swapping_arm_and_control_turns_the_ratio_round(first, second):
    one = arm_verdicts(arm("A", *first), [arm("B", *second)]).verdicts[0]
    other = arm_verdicts(arm("B", *second), [arm("A", *first)]).verdicts[0]
    assert one.value == pytest.approx(1 / other.value)
    if one.low is not None and one.high < 1e100:
        assert (one.low, one.high) == pytest.approx((1 / other.high, 1 / other.low), rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.lists(level, min_size=3, max_size=3), st.lists(level, min_size=3, max_size=3), st.floats(0.2, 5))
def test_what_a_day_does_to_both_changes_nothing(first, second, effect):
    """A factor on all batches of one day, where every day holds one of each and days differ widely already."""
    pace = (1.0, 40.0, 1600.0)

    def told(factor):
        days = (pace[0] * factor, *pace[1:])
        one = arm("C", *(value * step for value, step in zip(first, days, strict=True)), days=SAME_THREE)
        other = arm("T", *(value * step for value, step in zip(second, days, strict=True)), days=SAME_THREE)
        return arm_verdicts(one, [other])

    assume(np.std(np.log(second) - np.log(first)) > 0.02)  # below, days may be a millionfold: then each has a level
    assert told(1.0).analysis == "mixed"
    alike(numbers(told(1.0)), numbers(told(effect)), rel=1e-3)
