"""Statistics at the ends of their range: other units, values all alike, few or no values, unequal numbers.

Second references: SciPy, quadrature of the defining integrals, draws with a fixed seed, and arithmetic by hand beside
the check.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import integrate, stats

from kit.errors import KitError
from kit.science.arm_verdict import TWO_AGAINST_TWO, TWO_ON_A_SIDE, ArmBatches, arm_verdicts
from kit.science.combing import against, combed, treatments
from kit.science.control_chart import individuals_chart
from kit.science.design_crossed import cross, split_plot
from kit.science.design_day import confounded_with_day, day_correlation
from kit.science.design_factorial import fractional_factorial, two_level_factorial
from kit.science.design_layout import AMOUNT, Design
from kit.science.design_optimal import d_optimal
from kit.science.design_run_order import run_order
from kit.science.design_screening import plackett_burman
from kit.science.design_value import what_it_tells, where_repeats_help
from kit.science.desirability import within
from kit.science.detectable import detectable_difference, half_width
from kit.science.gauge_study import gauge_study
from kit.science.mean_comparison import dunnett, tukey
from kit.science.mixed_batches import mixed_model
from kit.science.model_choice import choose_model
from kit.science.model_terms import polynomial_terms
from kit.science.outlier_critical import furthest_value
from kit.science.panel_tests import TRIANGLE, minimum_right, panel_test
from kit.science.ranking import friedman, page
from kit.science.ranking_incomplete import skillings_mack
from kit.science.ratings import signed_rank
from kit.science.response_model import fit_response
from kit.science.same_day import same_day
from kit.science.sample_size import batches_for_two_means
from kit.science.scatter_known import sd_interval
from kit.science.serving_orders import blind_codes
from kit.science.shelf_life import shelf_life
from kit.science.simultaneous import critical_value, range_probability, within_probability
from kit.science.statistics import mean_sd, pooled_sd
from kit.science.surface import best_inside, second_order, stationary_point
from kit.science.two_level_effects import two_level_effects
from kit.science.welch_exact import welch_coverage

NINE = list(itertools.product((-1, 0, 1), repeat=2))
FOUR = list(itertools.product((-1, 1), repeat=2))
AB = ("a", "b")


def failed(call) -> str:
    with pytest.raises(KitError) as error:
        call()
    return error.value.code


# ---------------------------------------------------------------- several differences at once


def both_within(bound: float, load: float) -> float:
    """P(|t1|, |t2| <= bound) of two normals that share a part: one integral, by quadrature in pieces."""
    own = math.sqrt(1 - load * load)

    def inside(shared: float) -> float:
        one = stats.norm.cdf((bound - load * shared) / own) - stats.norm.cdf((-bound - load * shared) / own)
        return one * one * stats.norm.pdf(shared)

    edges = sorted({-9.0, -bound / load, bound / load, 9.0})
    return math.fsum(integrate.quad(inside, low, high, limit=300, epsabs=1e-12)[0] for low, high in
                     itertools.pairwise(edges))  # fmt: skip


@pytest.mark.parametrize("load", [0.7071, 0.95, 0.99, 0.999])
def test_arms_of_many_batches_against_a_control_of_few(load):
    """A loading near one is an arm of many batches: 0.99 is 49 against 1. As if each were alone would be 0.9545."""
    assert within_probability(2.0, (load, load)) == pytest.approx(both_within(2.0, load), abs=1e-9)


def test_a_range_of_many_means():
    """P = k int phi(z) (Phi(z) - Phi(z - q))^(k - 1) dz where the scatter is known (Harter 1960), by quadrature."""
    for means, bound in ((20, 5.0), (80, 6.0)):
        theirs = means * integrate.quad(
            lambda z, k=means, q=bound: stats.norm.pdf(z) * (stats.norm.cdf(z) - stats.norm.cdf(z - q)) ** (k - 1),
            -9, 9, points=[0, 2, 4], epsabs=1e-12,
        )[0]  # fmt: skip
        assert range_probability(bound, means) == pytest.approx(theirs, abs=1e-9)


def test_a_bound_of_one_degree_of_freedom_at_a_tenth_of_a_per_mille():
    """t table: 636.619 standard errors for 99.9 % at one degree of freedom; the tail there by SciPy."""
    assert 1 - within_probability(636.619, (0.0,), 1) == pytest.approx(2 * stats.t.sf(636.619, 1), rel=1e-6)
    assert critical_value((0.5,), 1.0, 0.999) == pytest.approx(636.619, abs=1e-3)


@pytest.mark.parametrize(("sd", "df"), [(math.nan, 5), (math.inf, 5), (-1.0, 5), (1.0, math.nan)])
def test_a_scatter_that_is_no_number_is_refused(sd, df):
    assert failed(lambda: dunnett([[1.0, 2.0]], [3.0], sd=sd, df=df)) == "statistics.not_finite"
    assert failed(lambda: tukey([[1.0, 2.0], [3.0]], sd=sd, df=df)) == "statistics.not_finite"


def test_comparisons_are_counted_from_one():
    for call in (half_width, detectable_difference):
        assert failed(lambda call=call: call(1.0, 5, 2, 2, comparisons=0)) == "detectable.comparisons"
        assert failed(lambda call=call: call(1.0, 0.5, 2, 2)) == "statistics.df"


# ---------------------------------------------------------------- values all alike


def test_equal_values_have_no_scatter_at_all():
    """14.42 three times over 3 is 14.420000000000002: a scatter of 2e-15 that every difference would pass."""
    for value in (14.42, 0.1, 30.32, 2.76):
        for count in (3, 5, 6, 7):
            assert mean_sd([value] * count) == (value, 0.0, count)
    assert pooled_sd([[0.1] * 3, [0.3] * 3]).sd == 0.0


def test_a_scatter_of_nothing_is_no_scatter_of_exactly_zero():
    assert sd_interval(0.0, 9).words == "0: all values are alike, so that their scatter is not known"


def test_repeats_that_agree_judge_no_effect():
    found = two_level_effects([*FOUR, *[(0, 0)] * 3], [1.0, 2.0, 4.0, 8.0, 3.3, 3.3, 3.3], AB)
    assert (found.sd, found.df) == (None, 2)
    assert all(effect.is_shown is None and effect.needed is None for effect in found.effects)
    assert "agrees to the last digit" in found.reason and "nothing was made again" not in found.reason
    # ln(3) - ln(1) is not ln(3) to the last digit: a scatter of rounding, neither
    rounded = two_level_effects([*FOUR, *[(0, 0)] * 3], [1.0, 2.0, 4.0, 8.0, 0.1 + 0.2, 0.3, 0.3], AB)
    assert rounded.sd is None and rounded.effect("a").is_shown is None


def test_repeats_that_agree_leave_the_interaction_of_operators_in():
    """Cell means 1, 2 / 4, 3: the interaction's mean square is (1 - 2 - 4 + 3)^2 / 4 x 2 = 2, half of it a variance."""
    for repeats in (2, 3, 7):
        readings = [[[0.1] * repeats, [0.2] * repeats], [[0.4] * repeats, [0.3] * repeats]]
        found = gauge_study(readings)
        assert found.interaction_f is None
        assert found.components.interaction == pytest.approx(0.01)
        assert found.components.repeat == 0.0


def test_values_all_alike_have_no_share_explained():
    model = fit_response(NINE[:7], [2.76] * 7, polynomial_terms(AB, "linear"), AB)  # whose mean is not 2.76 to the end
    assert (model.r2, model.r2_adjusted, model.r2_predicted, model.sd) == (None, None, None, None)
    assert "exactly" in model.reason


def test_a_model_that_goes_through_every_value_is_not_passed_over():
    """y = 1 + 2 x + x^2 to the last digit: the straight line misses by up to 2, and only it has an AICc."""
    points = [(float(x),) for x in range(7)]
    candidates = [(order, polynomial_terms(["x"], order)) for order in ("linear", "quadratic")]
    found = choose_model(points, [1 + 2 * x + x * x for (x,) in points], ["x"], candidates)
    assert found.name == "quadratic" and "exactly, so no scatter is told" in found.words
    assert found.model.coefficient("x^2").estimate == pytest.approx(1.0)
    known = choose_model(points, [1 + 2 * x + x * x for (x,) in points], ["x"], candidates, known_sd=0.1, known_df=9)
    assert known.name == "quadratic" and "no scatter" not in known.words


# ---------------------------------------------------------------- other units


@pytest.mark.parametrize(("of_a", "of_b"), [((2000.0, 1000.0), (0.002, 0.001)), ((3000.0, 300.0), (80.0, 3.0))])
def test_designs_in_their_own_units_are_those_of_the_coded_ones(of_a, of_b):
    """A line turns one into the other, so that determinant and variances of prediction go with each other."""
    terms = polynomial_terms(AB, "quadratic")
    coded = Design(AB, NINE)
    real = Design(AB, [(of_a[0] + of_a[1] * a, of_b[0] + of_b[1] * b) for a, b in NINE], (AMOUNT, AMOUNT))
    one, other = (d_optimal(design, terms, 8, seed=1) for design in (coded, real))
    assert (one.reason, other.reason) == ("", "")
    assert other.d_efficiency == pytest.approx(one.d_efficiency, abs=1e-6)
    assert where_repeats_help(real, 3) == where_repeats_help(coded, 3)
    assert where_repeats_help(real, 3, terms) == where_repeats_help(coded, 3, terms)
    told = [what_it_tells(design, terms, sd=0.1, df=6) for design in (coded, real)]
    assert told[1].leverage == pytest.approx(told[0].leverage, abs=1e-6)
    # the last coefficient of a chain is the coded one over its scale: of x^2 and of the product
    scale = of_a[1] ** 2
    assert told[1].term("a^2").standard_error * scale == pytest.approx(told[0].term("a^2").standard_error, rel=1e-6)


@pytest.mark.parametrize(("wide_a", "wide_b", "of_y"), [(1000.0, 1.0, 1.0), (1.0, 1e-3, 1.0), (1e3, 1e-3, 1e-9)])
def test_a_stationary_point_does_not_depend_on_units(wide_a, wide_b, of_y):
    """10 - (a - 0.3)^2 - 2 (b + 0.2)^2 + 0.3 a b with a little scatter, coded and in other units: a maximum in both."""

    def surface(width_a: float, width_b: float, unit: float):
        points = [(width_a * (10 + a), width_b * (5 + b)) for a, b in NINE]
        values = [
            unit * (10 - (a - 0.3) ** 2 - 2 * (b + 0.2) ** 2 + 0.3 * a * b + 0.01 * (place % 3))
            for place, (a, b) in enumerate(NINE)
        ]
        return second_order(fit_response(points, values, polynomial_terms(AB, "quadratic"), AB))

    coded, real = surface(1.0, 1.0, 1.0), surface(wide_a, wide_b, of_y)
    limits = [9 * wide_a, 4 * wide_b], [11 * wide_a, 6 * wide_b]
    one, other = stationary_point(coded, [9, 4], [11, 6]), stationary_point(real, *limits)
    assert one.nature == other.nature == "maximum"
    assert other.point == pytest.approx([one.point[0] * wide_a, one.point[1] * wide_b], rel=1e-6)
    assert other.inside
    best = best_inside(real, *limits)
    assert best.point == pytest.approx(other.point, rel=1e-6) and best.on_edge == ()
    assert best.value == pytest.approx(best_inside(coded, [9, 4], [11, 6]).value * of_y, rel=1e-6)


def test_a_plane_stays_a_plane_in_other_units():
    points = [(1000 * a, 1e-3 * b) for a, b in NINE]
    model = fit_response(points, [3 + a + 2 * b for a, b in NINE], polynomial_terms(AB, "quadratic"), AB)
    found = stationary_point(second_order(model), (-1000, -1e-3), (1000, 1e-3))
    assert found.point is None and "does not bend" in found.reason


# ---------------------------------------------------------------- designs


def test_two_factors_have_no_half_fraction():
    """Two runs tell two factors from a constant only if one of them is left out."""
    assert failed(lambda: fractional_factorial(("A", "B"))) == "design.runs"


def test_a_centre_on_each_day_repeats_nothing_that_the_day_does_not_take():
    """Six runs on two days, the centre once on each: what the two centres differ by is the day's effect."""
    design = Design(AB, [*FOUR, (0, 0), (0, 0)])
    terms = polynomial_terms(AB, "linear")
    assert what_it_tells(design, terms, sd=0.1).df_repeats == 1
    days = [1, 2, 2, 1, 1, 2]
    told = what_it_tells(design, terms, sd=0.1, days=days)
    assert (told.df_residual, told.df_repeats) == (2, 0)
    again = Design(AB, [*FOUR, (0, 0), (0, 0), (0, 0)])
    assert what_it_tells(again, terms, sd=0.1, days=[*days, 2]).df_repeats == 1


@pytest.mark.parametrize(("factors", "runs"), [(3, 8), (4, 8), (7, 8), (3, 12), (11, 12), (2, 12)])
def test_plackett_burman_says_how_main_effects_are_mixed(factors, runs):
    """The sum over the runs of three columns: all of them, a part, or nothing."""
    design = plackett_burman([f"x{index}" for index in range(factors)], runs=runs)
    levels = np.array(design.levels)
    sums = [abs(levels[:, list(three)].prod(axis=1).sum()) for three in itertools.combinations(range(factors), 3)]
    most = max(sums, default=0)
    says = "clear of" if not most else "wholly" if most == runs else "in part"
    assert says in design.notes[0]
    assert design.resolution == (3 if most else None)


def test_an_irregular_set_of_corners_names_every_effect_that_takes_up_another():
    """Seven of the eight corners: no column is left for the product of three; every effect takes up a share of it."""
    corners = list(itertools.product((-1, 1), repeat=3))[1:]
    values = [float(place) for place in range(7)]
    found = two_level_effects(corners, values, ["a", "b", "c"])
    assert len(found.effects) == 6
    x = np.array([[1, a, b, c, a * b, a * c, b * c] for a, b, c in corners], dtype=float)
    share = np.linalg.solve(x, np.prod(corners, axis=1).astype(float))
    assert (np.abs(share[1:]) > 0.5).all()
    assert {effect.same_as for effect in found.effects} == {("a * b * c",)}


def test_effects_of_values_that_have_no_logarithm_are_refused():
    for values in ([0.0, 1.0, 2.0, 3.0], [-1.0, 1.0, 2.0, 3.0]):
        assert failed(lambda values=values: two_level_effects(FOUR, values, AB, log=True)) == "model.values"
    assert failed(lambda: two_level_effects(FOUR, [math.nan, 1.0, 2.0, 3.0], AB)) == "model.values"
    assert failed(lambda: two_level_effects(FOUR, [1.0, 2.0, 3.0], AB)) == "model.values"


@pytest.mark.parametrize(
    "options",
    [{"weights": [1, 1, 1]}, {"weights": []}, {"weights": [1, 1, 0, 1]}, {"weights": [1, 1, math.nan, 1]},
     {"known_sd": math.nan}, {"known_sd": -0.1, "known_df": 4}, {"known_sd": 0.1, "known_df": math.inf}],
)  # fmt: skip
def test_weights_and_scatters_that_are_none_are_refused(options):
    terms = polynomial_terms(AB, "linear")
    assert failed(lambda: fit_response(FOUR, [1.0, 2.0, 3.0, 5.0], terms, AB, **options)) == "model.values"


def test_levels_and_labels_that_are_none_are_refused():
    terms, values = polynomial_terms(AB, "linear"), [1.0, 2.0, 3.0, 5.0]
    for level in (math.nan, math.inf):
        points = [(level, 1.0), *FOUR[1:]]
        assert failed(lambda points=points: fit_response(points, values, terms, AB)) == "model.points"
    for labels in ({"blocks": [1, 2]}, {"repeats": [1, 2]}):
        assert failed(lambda labels=labels: fit_response(FOUR, values, terms, AB, **labels)) == "model.labels"
    assert fit_response(FOUR, values, [], AB).reason == "the model has no term"
    assert fit_response(FOUR[:1], [1.0], terms, AB).reason.startswith("1 batch for 3 coefficients")


def test_blocks_do_not_hide_a_hole_among_the_batches():
    """The variance of the mean over the days at a point, over that of a batch, by the covariance of all coefficients.
    One batch is alone on its day, so that it is fitted whatever it reads: no measure of how well a point is supported.
    """
    ring = [(math.cos(turn), math.sin(turn)) for turn in np.linspace(0, 2 * math.pi, 9)[:-1]]
    ring = [(a * (1 + 0.25 * (place % 2)), b * (1 + 0.25 * (place % 2))) for place, (a, b) in enumerate(ring)]
    points, days = [*ring * 4, ring[0]], ["two"] * 32 + ["one"]
    terms = polynomial_terms(AB, "quadratic")
    model = fit_response(points, [1.0 + 0.1 * (place % 5) for place in range(33)], terms, AB, blocks=days)

    def columns(a: float, b: float, day: float) -> list[float]:
        return [1, a, b, a * b, a * a, b * b, day]

    x = np.array([columns(a, b, 1 if day == "one" else -1) for (a, b), day in zip(points, days, strict=True)])
    inverse = np.linalg.inv(x.T @ x)
    spread = [np.array(columns(*point, 0)) @ inverse @ columns(*point, 0) for point in (*ring, (0.0, 0.0))]
    assert max(spread[:-1]) < spread[-1] < 1  # and 1 is what the batch alone has
    assert model.predict([(0.0, 0.0)]).outside[0]
    assert model.predict([ring[0]]).outside == ("",)


# ---------------------------------------------------------------- arms


def test_what_welch_would_find_goes_with_the_scatter_of_each_arm():
    """Two batches that scatter by 10 against ten that scatter by 1: the error is nearly that of the two alone, so the
    difference found four times in five is that of one sample: (t(1) noncentral), never less than the half-width.
    """
    control = ArmBatches("C", [20.0 + (1 if place % 2 else -1) * math.sqrt(0.9) for place in range(10)])
    trial = ArmBatches("T", (20.0, 20.0 + 10 * math.sqrt(2)))
    found = arm_verdicts(control, [trial], scale="linear", alike=False).verdicts[0]
    assert found.standard_error == pytest.approx(math.sqrt(100 / 2 + 1 / 10))
    drawn = np.random.default_rng(5)
    first = found.detectable + 10 * drawn.normal(size=(60_000, 2))
    second = drawn.normal(size=(60_000, 10))
    theirs = stats.ttest_ind(first, second, axis=1, equal_var=False).pvalue
    assert (theirs < 0.05).mean() == pytest.approx(0.8, abs=0.006)
    assert found.detectable > found.half_width


@pytest.mark.parametrize(
    ("sizes", "ratio", "held"), [((2, 2), 1.0, 0.977), ((2, 10), 2.0, 0.882), ((2, 100), 0.5, 0.873)]
)
def test_welch_with_two_on_one_side_may_hold_much_less_than_it_says(sizes, ratio, held):
    """SciPy's Welch test on 100,000 draws, standard error 0.1 %."""
    drawn = np.random.default_rng(12)
    first, second = ratio * drawn.normal(size=(100_000, sizes[0])), drawn.normal(size=(100_000, sizes[1]))
    theirs = (stats.ttest_ind(first, second, axis=1, equal_var=False).pvalue > 0.05).mean()
    assert theirs == pytest.approx(held, abs=0.004)
    assert welch_coverage(*sizes, sd_ratio=ratio) == pytest.approx(theirs, abs=0.004)


def test_a_version_of_two_batches_with_a_scatter_of_its_own_says_what_its_interval_holds():
    control, two = ArmBatches("C", (1.0, 1.2, 0.9, 1.1)), ArmBatches("T", (3.0, 3.9))
    three = ArmBatches("U", (3.0, 3.9, 3.3))
    found = arm_verdicts(control, [two, three], scale="linear", alike=False)
    assert [TWO_ON_A_SIDE in one.words for one in found.verdicts] == [True, False]
    pair = arm_verdicts(ArmBatches("C", (1.0, 1.2)), [two], scale="linear").verdicts[0]
    assert TWO_AGAINST_TWO in pair.words and TWO_ON_A_SIDE not in pair.words


def test_what_welch_would_find_counts_a_day_once_as_its_interval_does():
    """Two batches a day that agree: days of 1 and 3 against 5 and 7 scatter by sqrt 2, the eight batches by less."""
    control = ArmBatches("C", (1.0, 1.0, 3.0, 3.0), ("1", "1", "2", "2"))
    trial = ArmBatches("T", (5.0, 5.0, 7.0, 7.0), ("3", "3", "4", "4"))
    by_day = arm_verdicts(control, [trial], scale="linear")
    plain = arm_verdicts(ArmBatches("C", (1.0, 3.0)), [ArmBatches("T", (5.0, 7.0))], scale="linear")
    assert by_day.analysis == plain.analysis == "welch"
    assert by_day.verdicts[0].half_width == pytest.approx(plain.verdicts[0].half_width)
    assert by_day.verdicts[0].detectable == pytest.approx(plain.verdicts[0].detectable)


def test_an_arm_of_equal_values_is_planned_for_by_the_other_one():
    found = arm_verdicts(
        ArmBatches("C", (5.0, 5.0, 5.0)), [ArmBatches("T", (5.0, 6.0, 7.0))], scale="linear", alike=False
    ).verdicts[0]
    # one sample of three with an SD of 1: noncentral t with 2 df, both tails
    bound, shift = stats.t.ppf(0.975, 2), found.detectable * math.sqrt(3)
    assert stats.nct.sf(bound, 2, shift) + stats.nct.cdf(-bound, 2, shift) == pytest.approx(0.8, abs=2e-4)


def test_batches_that_stand_for_an_earlier_scatter_are_not_counted_as_made():
    days = ("1", "2", "3")
    found = arm_verdicts(
        ArmBatches("C", (4.6, 4.7, 4.65), days),
        [ArmBatches("T", (4.72, 4.83, 4.8), days)],
        scale="linear",
        history_sd=0.05,
        history_df=9,
    )
    assert found.analysis == "mixed"
    assert "over 6 batches of 3 days and a scatter pooled before (9 degrees of freedom)" in found.why


def test_values_without_their_arm_or_day_are_refused():
    assert failed(lambda: same_day([1.0, 2.0, 3.0], "aab", "xy", "a")) == "statistics.layout"
    assert failed(lambda: mixed_model([1.0, 2.0, 3.0], "aab", "xy", control="a")) == "statistics.layout"
    values, arms, days = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], list("aabbab"), list("xyxyzz")
    assert failed(lambda: mixed_model(values, arms, days, control="a", compared=["q"])) == "mixed.control"


# ---------------------------------------------------------------- panels and numbers of batches


def test_steps_of_a_tenth_are_equal_steps():
    """3.3 - 3.2 is 0.0999999999999998, 4.4 - 4.3 is 0.1000000000000005: tied all the same, as tenfold ratings are."""
    first, second = [3.3, 2.1, 4.4, 6.1, 1.3], [3.2, 2.2, 4.3, 5.9, 1.0]
    tenths = signed_rank(first, second)
    whole = signed_rank([33, 21, 44, 61, 13], [32, 22, 43, 59, 10])
    assert (tenths.p, tenths.statistic) == (whole.p, whole.statistic)
    # steps 1, -1, 1, 2, 3: ranks 2, 2, 2, 4, 5; of 32 signs those with 2 or less, either way: 4 and 4
    assert whole.p == pytest.approx(8 / 32)
    assert (tenths.shift, tenths.equal) == (pytest.approx(whole.shift / 10), 0)


def test_rows_of_a_panel_that_do_not_fit_are_refused():
    assert failed(lambda: skillings_mack([])) == "panel.rows"
    assert failed(lambda: skillings_mack([[1, 2], [1, 2, 3]])) == "panel.rows"
    assert failed(lambda: skillings_mack([[1, 2, math.nan], [1, 2, 3]])) == "panel.not_finite"


def test_risks_that_are_none_are_refused():
    found, trend = friedman([[1, 2, 3], [1, 3, 2], [2, 1, 3]]), page([[1, 2, 3], [1, 3, 2]], [0, 1, 2])
    for call in (found.critical, found.least_difference, found.least_difference_of_all, trend.critical):
        for alpha in (0.0, 1.0, 5, math.nan):
            assert failed(lambda call=call, alpha=alpha: call(alpha)) == "panel.alpha"
    assert failed(lambda: shelf_life([0, 1, 2, 3], [1, 2, 3, 4.5], upper=9, pooling_alpha=5)) == "shelf_life.confidence"


def test_the_fewest_right_answers_at_a_generous_risk():
    """Binomial tail of 9 with 1/3: P(X >= 3) 0.623, P(X >= 2) 0.857. At a risk of 0.7 three are enough, at 0.9 two."""
    for alpha in (0.7, 0.9):
        least = next(at for at in range(10) if stats.binom.sf(at - 1, 9, 1 / 3) <= alpha)
        assert minimum_right(TRIANGLE, 9, alpha) == least


def test_limits_that_leave_nothing_between_them_are_refused():
    assert failed(lambda: within(5.0, 3.0)) == "desirability.limits"
    assert within(3.0, 3.0).of([3.0, 3.1]).tolist() == [1.0, 0.0]


def test_a_difference_far_beyond_the_scatter_takes_two_batches():
    """Noncentral t of scipy; below 1.5 an arm there is not one degree of freedom."""
    n = batches_for_two_means(6.0)
    df, shift = 2 * n - 2, 6.0 * math.sqrt(n / 2)
    bound = stats.t.ppf(0.975, df)
    assert stats.nct.sf(bound, df, shift) + stats.nct.cdf(-bound, df, shift) == pytest.approx(0.8, abs=1e-6)
    assert batches_for_two_means(1e6) == 1.5


# ---------------------------------------------------------------- days


def test_every_day_has_room_for_a_batch_or_it_is_refused():
    """Two capacities for three days; a day that holds its control alone."""
    assert failed(lambda: run_order(6, 3, seed=1, capacity=[4, 4])) == "design.capacity"
    assert failed(lambda: run_order(6, 2, seed=1, capacity=[1, 8])) == "design.capacity"
    with pytest.raises(KitError) as told:
        run_order(6, seed=1, capacity=[4, 2])
    assert "6 batches do not go into 2 days with room for 4 beside the control" in told.value.what


def test_a_part_that_is_made_once_more_takes_a_base_of_its_own():
    design = split_plot(two_level_factorial(("hot",)), two_level_factorial(("cold",)))
    slots = run_order(design, 2, seed=1, repeats=[0, 3]).slots
    first = {slot.base for slot in slots if not slot.is_control and not slot.repeat}
    again = [slot.base for slot in slots if slot.repeat]
    assert first == {0, 1} and sorted(again) == [2, 3]


def test_levels_that_are_not_known_go_with_no_day():
    """The third batch has no level: of the other two each is alone on its day."""
    (found,) = confounded_with_day({"hold": [3.0, 12.0, math.nan]}, ["d1", "d2", "d2"])
    assert (found.extent, found.correlation) == ("wholly", 1.0) and "NaN" not in found.words
    assert day_correlation([], []) is None
    assert day_correlation([1e7, 1e7 + 1, 1e7, 1e7 + 1], ["a", "b", "a", "b"]) == pytest.approx(1.0)


def test_counts_that_are_none_are_refused():
    assert failed(lambda: panel_test(TRIANGLE, math.nan, 3)) == "panel.counts"
    assert failed(lambda: blind_codes([2, -1], 1)) == "panel.codes"
    assert failed(lambda: mean_sd([1e200, 2.0])) == "statistics.not_finite"


def test_what_differs_in_the_last_digit_alone_has_no_scatter():
    """21/70, 30/100 and 33/110 are 30 % each; as quotients of forces they differ in the last digit of a float."""
    tresses = [
        combed(f"{name}{place}", name, [before], [before * share])
        for name, share in (("A", 0.3), ("B", 0.6), ("C", 0.9))
        for place, before in enumerate((0.7, 1.0, 1.1))
    ]
    assert len({tress.residual_pct for tress in tresses if tress.treatment == "A"}) > 1
    found = treatments(tresses)
    assert all((one.low, one.lowers) == (None, None) and "all alike" in one.reason for one in found)
    assert all(one.low is None and one.differs is None for one in against(found, "A"))
    assert furthest_value([0.1 + 0.2, 0.3, 0.3, 0.3]).distance is None
    assert individuals_chart([0.1 + 0.2, 0.3, 0.3, 0.3]).low is None


def test_more_runs_than_a_bench_can_make_are_refused_before_they_are_written_out():
    square = Design(AB, FOUR)
    many = Design(("c",), [(float(level),) for level in range(2000)])
    assert failed(lambda: cross(square, many)) == "design.levels"
    assert failed(lambda: square.repeated(10**12)) == "design.levels"
    assert failed(lambda: square.with_centre(10**12)) == "design.levels"
    assert failed(lambda: square.with_centre(-1)) == "design.centre"
    assert failed(lambda: square.repeated(0)) == "design.runs"
