"""Several means at once against Dunnett's and Tukey's published values and what R printed (stored beside, in r/).

Where R finds a multivariate t by random numbers its digits end at the fourth; there the tolerance is 1e-4.
"""

from __future__ import annotations

import math

import pytest

from kit.science.arm_verdict import ArmBatches, arm_verdicts
from kit.science.detectable import detectable_difference, half_width, resolution
from kit.science.equivalence import equivalence
from kit.science.mean_comparison import GREATER, LESS, TWO_SIDED, dunnett, holm, tukey, welch_each
from kit.science.same_day import paired
from kit.science.sample_size import answers_for_two_shares, batches_for_several_means, batches_for_two_means
from kit.science.scatter_known import sd_interval
from kit.science.simultaneous import critical_value, either_side_critical, range_critical, within_probability
from kit.science.statistics import welch
from kit.science.welch_exact import welch_coverage
from tests.published.r import stored

R = stored.read("comparisons")

# C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096-1121, blood counts of animals: a control and two drugs
CONTROL = [7.4, 8.5, 7.2, 8.24, 9.84, 8.32]
DRUG_A = [9.76, 8.8, 7.68, 9.36]
DRUG_B = [12.8, 9.68, 12.16, 9.2, 10.55]

HALF = math.sqrt(0.5)  # loading of every arm where all have as many values as the control


def test_dunnetts_own_example():
    """Differences 0.65 and 2.628; adjusted p 0.62 and 0.0058; 95 % together: -1.256 to 2.556 and 0.840 to 4.416."""
    first, second = dunnett([DRUG_A, DRUG_B], CONTROL)
    assert (first.difference, second.difference) == pytest.approx((0.65, 2.628), abs=1e-12)
    assert (first.low, first.high) == pytest.approx((-1.256412, 2.556412), abs=2e-4)
    assert (second.low, second.high) == pytest.approx((0.839627, 4.416373), abs=2e-4)
    assert (first.t, second.t) == pytest.approx(R["dunnett.two.sided.t"], rel=1e-9)
    assert (first.p_adjusted, second.p_adjusted) == pytest.approx((0.6201, 0.005825), abs=1e-4)
    assert (first.excludes_zero, second.excludes_zero) == (False, True)
    assert first.df == 12
    # one at a time the second p is smaller: t of 3.694 with 12 df
    assert second.p == pytest.approx(0.003069, abs=2e-6)


@pytest.mark.parametrize(("side", "named"), [(TWO_SIDED, "two.sided"), (GREATER, "greater"), (LESS, "less")])
def test_every_side_as_multcomp_has_it(side, named):
    found = dunnett([DRUG_A, DRUG_B], CONTROL, side=side)
    assert [one.p_adjusted for one in found] == pytest.approx(R[f"dunnett.{named}.p"], abs=1e-4)
    assert found[0].critical == pytest.approx(abs(R[f"dunnett.{named}.critical"][0]), abs=3e-4)
    assert math.isinf(found[0].high) is (side == GREATER)
    assert math.isinf(found[0].low) is (side == LESS)


def test_a_scatter_from_outside_takes_the_place_of_the_own():
    """Half-width of one against one with SD 1 and 10 df for two arms: 2.5686 x sqrt 2 (table below)."""
    for found in dunnett([[1.0], [2.0]], [1.5], sd=1.0, df=10):
        assert found.half_width == pytest.approx(2.5686 * math.sqrt(2), abs=1e-3)
        assert found.df == 10


# C. W. Dunnett, Biometrics 20 (1964) 482: two-sided 5 %, printed to two decimals; four decimals from R 4.2.2 mvtnorm
# 1.1-3 qmvt. One-sided from the same.
@pytest.mark.parametrize(
    ("arms", "df", "printed", "critical"),
    [(2, 10, 2.57, 2.5686), (3, 10, 2.76, 2.7591), (4, 20, 2.65, 2.6509), (5, 20, 2.73, 2.7346)],
)
def test_dunnetts_table(arms, df, printed, critical):
    assert critical_value((HALF,) * arms, df) == pytest.approx(critical, abs=4e-4)
    assert critical_value((HALF,) * arms, df) == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize(("arms", "df", "critical"), [(2, 10, 2.1509), (3, 20, 2.1916)])
def test_dunnetts_table_one_sided(arms, df, critical):
    assert critical_value((HALF,) * arms, df, two_sided=False) == pytest.approx(critical, abs=1e-3)


def test_probabilities_within_printed_bounds_as_mvtnorm_has_them():
    two = [within_probability(bound, (HALF,) * k, df) for k, df, bound in ((2, 10, 2.57), (3, 10, 2.76), (4, 20, 2.65))]
    assert two == pytest.approx(R["pmvt.two"][:3], abs=2e-5)
    one = [within_probability(b, (HALF,) * k, df, two_sided=False) for k, df, b in ((2, 10, 2.15), (3, 20, 2.19))]
    assert one == pytest.approx(R["pmvt.one"], abs=2e-5)


@pytest.mark.parametrize(("means", "df", "q"), [(3, 10, 3.8768), (4, 16, 4.0461), (4, 20, 3.9583), (5, 20, 4.2319)])
def test_table_of_the_studentized_range(means, df, q):
    """Table of q at 5 % (3.88, 4.05, 3.96, 4.23 in print); four decimals from R's qtukey."""
    assert range_critical(means, df) == pytest.approx(q, abs=6e-5)


def test_all_pairs_as_r_has_them():
    assert range_critical(3, 2) == pytest.approx(R["qtukey"][4], rel=1e-7)
    # R's order: a less control, b less control, b less a
    found = tukey([CONTROL, DRUG_A, DRUG_B])
    assert [(one.first, one.second) for one in found] == [(1, 0), (2, 0), (2, 1)]
    for ours, key in (("difference", "difference"), ("low", "low"), ("high", "high"), ("p_adjusted", "p")):
        assert [getattr(one, ours) for one in found] == pytest.approx(R[f"tukey.{key}"], abs=1e-6)


def test_welch_one_by_one_with_holm_and_bonferroni():
    found = welch_each([DRUG_A, DRUG_B], CONTROL)
    assert [one.p for one in found] == pytest.approx(R["welch.p"], rel=1e-9)
    assert [one.p_adjusted for one in found] == pytest.approx(R["welch.holm"], rel=1e-9)
    assert [end for one in found for end in (one.low, one.high)] == pytest.approx(R["welch.bonferroni"], abs=1e-9)


def test_holm_worked_by_hand():
    """0.01 x 3, 0.02 x 2, 0.03 x 1 but never below the one before."""
    assert holm([0.03, 0.01, 0.02]) == pytest.approx([0.04, 0.03, 0.04])
    assert holm([0.6, None, 0.01]) == [1.0, None, 0.03]


# Student, Biometrika 6 (1908): hours of sleep of ten patients under two drugs
SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_pairs():
    """R, t.test(paired = TRUE): t = -4.0621, df = 9, p = 0.002833, -2.4598858 to -0.7001142."""
    found = paired(SLEEP_1, SLEEP_2)
    assert (found.t, found.df, found.p, found.low, found.high) == pytest.approx(R["paired"], rel=1e-9)
    assert found.difference == pytest.approx(-1.58, abs=1e-12)


def test_two_one_sided_tests():
    """Margin 3 hours on the same data, unpaired: R's two one-sided t.test and the 90 % interval."""
    alone = welch(SLEEP_1, SLEEP_2)
    found = equivalence(alone.difference, alone.standard_error, alone.df, 3.0)
    assert found.p == pytest.approx(R["tost.p"][0], rel=1e-9)
    assert (found.low, found.high) == pytest.approx(R["tost.interval"], rel=1e-9)
    assert not found.shown  # -3.05 lies below -3
    assert equivalence(alone.difference, alone.standard_error, alone.df, 3.1).shown


def test_a_bound_for_all_whichever_side_each_is_held_against_as_mvtnorm_has_it():
    """A little more than Dunnett's one-sided bound of the same counts, 2.1213, and less than Bonferroni's, 2.1788."""
    blood = (math.sqrt(4 / 10), math.sqrt(5 / 11))
    found = (either_side_critical(blood, 12), either_side_critical((HALF,) * 3, 20))
    assert found == pytest.approx(R["either.side"], abs=4e-4)
    assert abs(R["dunnett.greater.critical"][0]) + 0.05 < found[0] < 2.1788
    # with all on one side the same, whatever the order
    assert either_side_critical(blood[::-1], 12) == found[0]


def test_the_same_for_several_by_itself_and_with_all_in_view():
    """Two drugs against Dunnett's control, margin 4: t(0.95, 12) = 1.7823 alone and mvtnorm's bound for both."""
    found = arm_verdicts(
        ArmBatches("control", CONTROL), [ArmBatches("A", DRUG_A), ArmBatches("B", DRUG_B)], scale="linear", margin=4.0
    )
    for verdict, difference, t in zip(found.verdicts, (0.65, 2.628), R["dunnett.two.sided.t"], strict=True):
        error, same = difference / t, verdict.equivalence
        alone, together = 1.782288 * error, R["either.side"][0] * error
        assert (same.low, same.high) == pytest.approx((difference - alone, difference + alone), abs=1e-5)
        assert (same.low_together, same.high_together) == pytest.approx(
            (difference - together, difference + together), abs=5e-4
        )
    # B: 2.628 + 1.7823 x 0.7115 = 3.896 is inside 4, 2.628 + 2.1773 x 0.7115 = 4.177 is not
    assert [(one.equivalence.shown, one.equivalence.shown_together) for one in found.verdicts] == [
        (True, True),
        (True, False),
    ]
    assert "for all versions together too" in found.arm("A").words
    assert "told of this version by itself, not of all together" in found.arm("B").words


def test_half_widths_with_few_batches_worked_by_hand():
    """t x 0.08 x sqrt(2/n) in ln units: t(2) 4.303, t(4) 2.776, t(6) 2.447; with ten degrees of freedom t 2.228."""
    own = [half_width(0.08, 2 * n - 2, n, n) for n in (2, 3, 4)]
    assert own == pytest.approx([0.344, 0.181, 0.138], abs=5e-4)
    with_history = [half_width(0.08, 10, n, n) for n in (1, 2, 3)]
    assert with_history == pytest.approx([0.252, 0.178, 0.146], abs=5e-4)


def test_what_is_found_four_times_in_five():
    """In SD, as R's noncentral t has it; with 8 % these are 45, 25, 19 % and one against one 35 %."""
    sizes = ((2, 2), (3, 4), (4, 6), (1, 10), (2, 10), (3, 10))
    found = [detectable_difference(1.0, df, n, n) for n, df in sizes]
    assert found == pytest.approx(R["detectable"], rel=1e-7)
    assert [round(100 * 0.08 * one) for one in found[:4]] == [45, 25, 19, 35]


def test_the_two_are_told_apart_and_as_ratios():
    words = resolution(0.08, 10, 1, 1, relative=True).words
    # exp(0.2521) = 1.287 and exp(0.3519) = 1.422
    assert "half-width a factor of 1.29" in words
    assert "a difference of a factor of 1.42 is found four times in five" in words
    assert "poorly known" not in words
    assert "scatter itself poorly known" in resolution(0.08, 2, 2, 2, relative=True).words


def test_a_scatter_of_three_centre_points_is_itself_poorly_known():
    """3.3 % with 2 df: chi-squared 7.3778 and 0.0506 (any table), so 3.3 sqrt(2/7.3778) = 1.72 to 20.7 %."""
    found = sd_interval(3.3, 2)
    assert (found.low, found.high) == pytest.approx((1.718, 20.74), abs=0.01)
    assert found.poorly and "scatter itself poorly known" in found.words
    assert not sd_interval(3.3, 5).poorly


def test_welch_at_two_against_two_holds_more_than_it_says():
    """97.7 % by simulation (2 000 000 draws with numpy, beside this test: 0.9766, standard error 0.0001)."""
    assert welch_coverage(2, 2) == pytest.approx(0.9766, abs=4e-4)
    # equal sizes of two, all scatter in one: a single sample of two with t of 1 degree of freedom
    assert welch_coverage(2, 2, sd_ratio=1e4) == pytest.approx(0.95, abs=1e-3)


def test_sample_sizes():
    """J. Cohen, Statistical Power Analysis, 2nd ed. 1988, Table 2.4.1: 393, 64, 26; Table 8.4.4: 52 and 18."""
    two = [batches_for_two_means(0.2), batches_for_two_means(0.5), batches_for_two_means(0.8)]
    assert [*two, batches_for_two_means(1.0, power=0.9)] == pytest.approx(R["power.t"], rel=1e-6)
    assert two == pytest.approx([393, 64, 26], abs=1)
    several = [batches_for_several_means(3, 0.25), batches_for_several_means(4, 0.4)]
    assert several == pytest.approx([52, 18], abs=0.5)
    # power.anova.test(groups = 4, between.var = 1, within.var = 3): f = sqrt(1 x 3/4 / 3)
    example = batches_for_several_means(4, math.sqrt(0.25))
    assert [*several, example] == pytest.approx(R["power.anova"], rel=1e-5)
    assert answers_for_two_shares(0.5, 0.75, power=0.9) == pytest.approx(R["power.prop"][0], rel=1e-6)
