"""Response models against statsmodels on drawn designs, by hand, and where the batches tell nothing.

All batches here are drawn or constructed. The second reference is statsmodels (ordinary and weighted least squares);
linear programming of SciPy for the tried region.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import linprog
from scipy.stats import f as f_distribution

from kit.errors import KitError
from kit.science.model_choice import choose_model
from kit.science.model_terms import (
    added_terms,
    crossed_terms,
    model_matrix,
    polynomial_terms,
    scheffe_terms,
)
from kit.science.response_model import fit_response
from kit.science.tried_region import HULL, LEVERAGE, inside_hull
from kit.science.two_level_effects import two_level_effects

MIX, PROCESS = ["a", "b", "c"], ["rpm", "minutes"]
# kind: names of the factors and terms; the matrix is built anew below, by another way than the kit's
KINDS = {
    "linear": (PROCESS, polynomial_terms(PROCESS, "linear")),
    "quadratic": (PROCESS, polynomial_terms(PROCESS, "quadratic")),
    "mixture": (MIX, scheffe_terms(MIX, "quadratic")),
    "side by side": (
        [*MIX, "rpm"],
        added_terms(scheffe_terms(MIX, "linear"), polynomial_terms(["rpm"], "linear")),
    ),
    "crossed": ([*MIX, "rpm"], crossed_terms(scheffe_terms(MIX, "linear"), polynomial_terms(["rpm"], "linear"))),
}


def columns_of(kind: str, points: np.ndarray) -> np.ndarray:
    """The columns of each model written out."""
    one = np.ones(len(points))
    if kind in ("linear", "quadratic"):
        x, y = points.T
        return np.column_stack([one, x, y] if kind == "linear" else [one, x, y, x * y, x**2, y**2])
    a, b, c, *rest = points.T
    if kind == "mixture":
        return np.column_stack([a, b, c, a * b, a * c, b * c])
    (rpm,) = rest
    more = [rpm] if kind == "side by side" else [a * rpm, b * rpm, c * rpm]
    return np.column_stack([a, b, c, *more])


def drawn(kind: str, seed: int, count: int = 16) -> tuple[np.ndarray, np.ndarray]:
    """Points, one of them made twice, and values above zero."""
    rng = np.random.default_rng(seed)
    if kind in ("linear", "quadratic"):
        points = rng.uniform(-1, 1, (count, 2))
    else:
        points = rng.dirichlet([1, 1, 1], count)
        if kind != "mixture":
            points = np.column_stack([points, rng.uniform(-1, 1, count)])
    points[1] = points[0]
    columns = columns_of(kind, points)
    values = np.exp(9 + columns @ rng.normal(0, 0.4, columns.shape[1]) + rng.normal(0, 0.1, count))
    return points, values


CASES = [(kind, seed) for kind in KINDS for seed in (1, 2, 3)]


@pytest.mark.parametrize(("kind", "seed"), CASES)
@pytest.mark.parametrize("log", [False, True])
def test_estimates_errors_and_leverage_are_those_of_statsmodels(kind, seed, log):
    names, terms = KINDS[kind]
    points, values = drawn(kind, seed)
    columns = columns_of(kind, points)
    seen = np.log(values) if log else values
    other = sm.OLS(seen, columns).fit()
    model = fit_response(points, values, terms, names, log=log)
    assert [c.estimate for c in model.coefficients] == pytest.approx(list(other.params), rel=1e-9)
    assert [c.standard_error for c in model.coefficients] == pytest.approx(list(other.bse), rel=1e-9)
    assert [c.t for c in model.coefficients] == pytest.approx(list(other.tvalues), rel=1e-8)
    assert [c.p for c in model.coefficients] == pytest.approx(list(other.pvalues), rel=1e-6, abs=1e-300)
    assert (model.df, model.sd_df) == (other.df_resid, other.df_resid)
    assert model.residual_sd == pytest.approx(math.sqrt(other.mse_resid), rel=1e-10)
    assert model.residuals == pytest.approx(list(other.resid), rel=1e-6, abs=1e-9 * float(np.abs(seen).max()))
    influence = other.get_influence()
    assert model.leverage == pytest.approx(list(influence.hat_matrix_diag), rel=1e-9)
    assert model.studentized == pytest.approx(list(influence.resid_studentized_internal), rel=1e-7)
    # about the mean, also where statsmodels takes a mixture for a model without a constant
    assert model.r2 == pytest.approx(1 - other.ssr / float(((seen - seen.mean()) ** 2).sum()), rel=1e-9)
    assert model.press == pytest.approx(float((influence.resid_press**2).sum()), rel=1e-8)


@pytest.mark.parametrize(("kind", "seed"), CASES)
def test_intervals_of_the_mean_and_of_a_new_batch_are_those_of_statsmodels(kind, seed):
    names, terms = KINDS[kind]
    points, values = drawn(kind, seed)
    asked, _ = drawn(kind, seed + 100, 6)
    model = fit_response(points, values, terms, names, log=True)
    other = sm.OLS(np.log(values), columns_of(kind, points)).fit()
    for confidence in (0.95, 0.8):
        told = other.get_prediction(columns_of(kind, asked)).summary_frame(alpha=1 - confidence)
        found = model.predict(asked, confidence)
        assert list(found.mean) == pytest.approx(list(np.exp(told["mean"])), rel=1e-9)
        assert list(found.low) == pytest.approx(list(np.exp(told["mean_ci_lower"])), rel=1e-9)
        assert list(found.high) == pytest.approx(list(np.exp(told["mean_ci_upper"])), rel=1e-9)
        assert list(found.new_low) == pytest.approx(list(np.exp(told["obs_ci_lower"])), rel=1e-9)
        assert list(found.new_high) == pytest.approx(list(np.exp(told["obs_ci_upper"])), rel=1e-9)
        assert list(found.standard_error) == pytest.approx(list(told["mean_se"]), rel=1e-9)
        assert (found.new_low < found.low).all() and (found.high < found.new_high).all()


def test_the_matrix_of_the_terms_is_the_one_written_out():
    for kind, (names, terms) in KINDS.items():
        points, _ = drawn(kind, 7)
        np.testing.assert_allclose(model_matrix(terms, names, points), columns_of(kind, points), rtol=1e-14)


@pytest.mark.parametrize("seed", [1, 2])
def test_weights_are_those_of_weighted_least_squares(seed):
    """Weights as in statsmodels WLS; a whole weight is the batch as often as that, but for the degrees of freedom."""
    names, terms = KINDS["linear"]
    points, values = drawn("linear", seed)
    weights = np.random.default_rng(seed).integers(1, 4, len(values))
    model = fit_response(points, values, terms, names, weights=weights)
    other = sm.WLS(values, columns_of("linear", points), weights).fit()
    assert [c.estimate for c in model.coefficients] == pytest.approx(list(other.params), rel=1e-9)
    assert [c.standard_error for c in model.coefficients] == pytest.approx(list(other.bse), rel=1e-9)
    assert model.r2 == pytest.approx(other.rsquared, rel=1e-9)
    again = fit_response(np.repeat(points, weights, axis=0), np.repeat(values, weights), terms, names)
    assert [c.estimate for c in again.coefficients] == pytest.approx([c.estimate for c in model.coefficients], rel=1e-9)


@pytest.mark.parametrize("kind", ["linear", "mixture"])
def test_blocks_are_a_level_for_every_day_and_the_model_speaks_of_their_mean(kind):
    names, terms = KINDS[kind]
    points, values = drawn(kind, 5)
    days = np.arange(len(values)) % 3
    values = values * np.array([1.0, 1.3, 0.8])[days]
    model = fit_response(points, values, terms, names, log=True, blocks=[f"day {day}" for day in days])
    # a column a day less one, against the last day; then the mean over the days
    dummies = np.column_stack([days == 0, days == 1]).astype(float)
    other = sm.OLS(np.log(values), np.column_stack([columns_of(kind, points), dummies])).fit()
    offsets = np.append(other.params[-2:], 0.0)
    assert list(model.block_effects.values()) == pytest.approx(list(offsets - offsets.mean()), rel=1e-8)
    assert model.df == other.df_resid
    assert model.residual_sd == pytest.approx(math.sqrt(other.mse_resid), rel=1e-9)
    # a new point on the mean of the days
    (point,) = points[3:4]
    row = np.append(columns_of(kind, points[3:4])[0], [1 / 3, 1 / 3])
    told = other.get_prediction(row[None])
    found = model.predict([point])
    assert math.log(found.mean[0]) == pytest.approx(float(told.predicted_mean[0]), rel=1e-9)
    assert found.standard_error[0] == pytest.approx(float(told.se[0]), rel=1e-8)
    # one new batch comes on a day of its own: wider than without the scatter between days
    assert model.block_sd > 0
    t = (math.log(found.high[0]) - math.log(found.mean[0])) / found.standard_error[0]
    alone = t * math.hypot(model.sd, found.standard_error[0])
    assert math.log(found.new_high[0] / found.mean[0]) > alone * 1.1


@pytest.mark.parametrize("kind", KINDS)
def test_the_order_of_the_batches_does_not_matter(kind):
    names, terms = KINDS[kind]
    points, values = drawn(kind, 11)
    order = np.random.default_rng(3).permutation(len(values))
    first = fit_response(points, values, terms, names, log=True)
    second = fit_response(points[order], values[order], terms, names, log=True)
    assert [c.estimate for c in second.coefficients] == pytest.approx(
        [c.estimate for c in first.coefficients], rel=1e-10
    )
    assert [second.leverage[i] for i in np.argsort(order)] == pytest.approx(list(first.leverage), rel=1e-10)
    assert second.r2_predicted == pytest.approx(first.r2_predicted, rel=1e-9)
    assert second.aicc == pytest.approx(first.aicc, rel=1e-10)
    assert second.lack_of_fit.f == pytest.approx(first.lack_of_fit.f, rel=1e-8)


def test_the_order_of_the_factors_does_not_matter():
    points, values = drawn("quadratic", 4)
    first = fit_response(points, values, polynomial_terms(["rpm", "minutes"], "quadratic"), ["rpm", "minutes"])
    second = fit_response(
        points[:, ::-1], values, polynomial_terms(["minutes", "rpm"], "quadratic"), ["minutes", "rpm"]
    )
    assert second.coefficient("rpm^2").estimate == pytest.approx(first.coefficient("rpm^2").estimate, rel=1e-9)
    assert second.coefficient("minutes * rpm").p == pytest.approx(first.coefficient("rpm * minutes").p, rel=1e-7)


def test_other_units_say_the_same():
    """Levels in other units and offsets, values in other units: the same predictions, t of the highest order and R2."""
    names, terms = KINDS["quadratic"]
    points, values = drawn("quadratic", 8)
    plain = fit_response(points, values, terms, names)
    other = fit_response(points * [2500, 4.5] + [6500, 7.5], values / 1000, terms, names)
    asked = np.array([[0.2, -0.3], [0.7, 0.1]])
    one, two = plain.predict(asked), other.predict(asked * [2500, 4.5] + [6500, 7.5])
    for name in ("mean", "low", "high", "new_low", "new_high"):
        assert list(getattr(two, name)) == pytest.approx(list(getattr(one, name) / 1000), rel=1e-9)
    for name, factor in (("rpm^2", 2500**2), ("minutes^2", 4.5**2), ("rpm * minutes", 2500 * 4.5)):
        assert other.coefficient(name).estimate * factor * 1000 == pytest.approx(
            plain.coefficient(name).estimate, rel=1e-8
        )
        assert other.coefficient(name).t == pytest.approx(plain.coefficient(name).t, rel=1e-8)
    assert other.r2 == pytest.approx(plain.r2, rel=1e-10)
    assert other.leverage == pytest.approx(plain.leverage, rel=1e-8)


def test_on_the_ln_scale_another_unit_moves_only_the_constant():
    names, terms = KINDS["linear"]
    points, values = drawn("linear", 9)
    plain = fit_response(points, values, terms, names, log=True)
    other = fit_response(points, values / 1000, terms, names, log=True)
    moved = [one.estimate - two.estimate for one, two in zip(plain.coefficients, other.coefficients, strict=True)]
    assert moved == pytest.approx([math.log(1000), 0, 0], abs=1e-10)
    assert [c.standard_error for c in other.coefficients] == pytest.approx(
        [c.standard_error for c in plain.coefficients], rel=1e-8
    )
    assert plain.fitted == pytest.approx([1000 * value for value in other.fitted], rel=1e-10)


# ---------------------------------------------------------------- lack of fit and left-out batches, by hand

# two makings at each of four levels
LEVELS = [(1.0,), (1.0,), (2.0,), (2.0,), (3.0,), (3.0,), (4.0,), (4.0,)]
BENT = [1.0, 3.0, 5.0, 7.0, 5.0, 7.0, 1.0, 3.0]


def test_lack_of_fit_by_hand():
    """Means 2, 6, 6, 2: slope 0, mean 4. Pure squares 4 x 2 = 8, 4 df; about the means 2 x (4 + 4 + 4 + 4) = 32, 2 df.

    F = (32 / 2) / (8 / 4) = 8; p = (1 + 8 x 2 / 4)^-2 = 0.04, the closed form for 2 and 4 degrees of freedom.
    """
    model = fit_response(LEVELS, BENT, polynomial_terms(["x"], "linear"), ["x"])
    found = model.lack_of_fit
    assert (found.squares, found.df, found.pure_squares, found.pure_df) == (
        pytest.approx(32),
        2,
        pytest.approx(8),
        4,
    )
    assert (found.f, found.p, found.against) == (pytest.approx(8), pytest.approx(0.04), "repeats")
    assert found.is_shown is True
    assert model.residual_sd == pytest.approx(math.sqrt(40 / 6))
    assert model.r2 == pytest.approx(0, abs=1e-12)
    # a parabola goes through the means: 2 x 4 squares of nothing are left
    parabola = fit_response(LEVELS, BENT, polynomial_terms(["x"], "quadratic"), ["x"]).lack_of_fit
    assert (parabola.squares, parabola.df, parabola.f) == (pytest.approx(0, abs=1e-9), 1, pytest.approx(0, abs=1e-9))
    assert parabola.is_shown is False


def test_repeats_may_be_told_by_label():
    """With every batch its own label nothing was repeated; levels as made that differ a little are still repeats."""
    terms = polynomial_terms(["x"], "linear")
    made = [(x + 0.001 * place,) for place, (x,) in enumerate(LEVELS)]
    labelled = fit_response(made, BENT, terms, ["x"], repeats=[x for (x,) in LEVELS])
    assert labelled.lack_of_fit.pure_df == 4
    alone = fit_response(made, BENT, terms, ["x"]).lack_of_fit
    assert (alone.f, alone.p, alone.pure_df) == (None, None, 0)
    assert alone.reason == "nothing was made again, and no scatter of batches is known"


def test_lack_of_fit_against_a_known_scatter():
    """F = 40 / 6 over 4 with 6 and 12 degrees of freedom, where nothing was repeated."""
    made = [(x + 0.001 * place,) for place, (x,) in enumerate(LEVELS)]
    model = fit_response(made, BENT, polynomial_terms(["x"], "linear"), ["x"], known_sd=2.0, known_df=12)
    found = model.lack_of_fit
    assert found.against == "known scatter"
    assert found.f == pytest.approx(40 / 6 / 4, rel=1e-3)
    assert found.p == pytest.approx(float(f_distribution.sf(found.f, 6, 12)), rel=1e-9)


def test_a_known_scatter_is_used_unless_the_residuals_are_larger():
    terms = polynomial_terms(["x"], "linear")
    wide = fit_response(LEVELS, BENT, terms, ["x"], known_sd=2.0, known_df=12)
    assert (wide.sd, wide.sd_df) == (2.0, 12)
    assert "known scatter" in wide.sd_from
    # 40 / 6 over 0.25 is 27 times the known one
    tight = fit_response(LEVELS, BENT, terms, ["x"], known_sd=0.5, known_df=12)
    assert (tight.sd, tight.sd_df) == (pytest.approx(math.sqrt(40 / 6)), 6)
    assert any("larger than the known scatter" in note for note in tight.notes)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("log", [False, True])
def test_predicted_r2_is_that_of_leaving_every_batch_out_and_fitting_again(kind, log):
    names, terms = KINDS[kind]
    points, values = drawn(kind, 21)
    model = fit_response(points, values, terms, names, log=log)
    seen = np.log(values) if log else values
    press = 0.0
    for left in range(len(values)):
        kept = [place for place in range(len(values)) if place != left]
        fitted, *_ = np.linalg.lstsq(columns_of(kind, points[kept]), seen[kept], rcond=None)
        press += float(seen[left] - columns_of(kind, points[left : left + 1])[0] @ fitted) ** 2
    assert model.press == pytest.approx(press, rel=1e-7)
    assert model.r2_predicted == pytest.approx(1 - press / float(((seen - seen.mean()) ** 2).sum()), rel=1e-7)
    assert model.r2_predicted < model.r2_adjusted < model.r2


def test_a_batch_that_carries_a_coefficient_alone_leaves_no_predicted_r2():
    points = [(0.0,), (0.0,), (0.0,), (1.0,)]
    model = fit_response(points, [1.0, 2.0, 3.0, 9.0], polynomial_terms(["x"], "linear"), ["x"])
    assert (model.r2_predicted, model.press) == (None, None)
    assert model.studentized[3] is None
    assert "one batch carries a coefficient alone: nothing checks it" in model.notes


# ---------------------------------------------------------------- the choice of an order


def test_aicc_by_hand_and_the_smaller_of_two_that_are_level():
    """n ln(RSS / n) + 2 k + 2 k (k + 1) / (n - k - 1), k with the variance: 8 ln 5 + 6 + 24 / 4 for the line."""
    candidates = [(order, polynomial_terms(["x"], order)) for order in ("linear", "quadratic")]
    found = choose_model(LEVELS, BENT, ["x"], candidates)
    line, parabola = (item.model for item in found.tried)
    assert line.aicc == pytest.approx(8 * math.log(40 / 8) + 6 + 24 / 4, rel=1e-12)
    assert parabola.aicc == pytest.approx(8 * math.log(8 / 8) + 8 + 40 / 3, rel=1e-12)
    assert found.name == "quadratic"
    # the same with a line and scatter: the parabola gains nothing, and the line is taken
    straight = [x + (0.1 if place % 2 else -0.1) for place, (x,) in enumerate(LEVELS)]
    assert choose_model(LEVELS, straight, ["x"], candidates).name == "linear"


# ---------------------------------------------------------------- where the batches tell nothing

SQUARE = [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)]


def no_numbers(model) -> None:
    """No coefficient, no scatter, no share, no prediction."""
    assert not model.is_fitted and model.coefficients == ()
    assert (model.sd, model.r2, model.r2_predicted, model.lack_of_fit) == (None, None, None, None)
    assert (model.leverage, model.residuals) == ((), ())
    with pytest.raises(KitError) as told:
        model.predict([(0.0, 0.0)])
    assert told.value.code == "model.not_fitted"
    assert model.reason in told.value.what


@pytest.mark.parametrize(
    ("points", "values", "order", "said"),
    [
        (SQUARE[:1], [1], "linear", "1 batch for 3 coefficients: at least 3 different settings are needed"),
        (SQUARE[:2], [1, 2], "linear", "2 batches for 3 coefficients: at least 3 different settings are needed"),
        (SQUARE, [1, 2, 3, 4], "quadratic", "4 batches for 6 coefficients"),
        (SQUARE[:2] * 3, [1, 2, 3, 4, 5, 6], "linear", "a is the same in every batch"),
        ([(x, 2 * x) for x in (-1.0, 0.0, 1.0, 2.0)], [1, 2, 3, 5], "linear", "a and b cannot be told apart"),
        (SQUARE * 2, range(1, 9), "quadratic", "a^2 and b^2 cannot be told apart"),
        ([(5.0, 5.0)] * 6, [1, 2, 3, 4, 5, 6], "linear", "the constant and a and b cannot be told apart"),
    ],
)
def test_too_few_or_singular_batches_give_a_reason_in_words_and_no_numbers(points, values, order, said):
    model = fit_response(points, values, polynomial_terms(["a", "b"], order), ["a", "b"])
    no_numbers(model)
    assert said in model.reason


def test_three_parts_that_were_never_varied_against_each_other_are_named():
    """Parts b and c always half and half."""
    points = [(a, (1 - a) / 2, (1 - a) / 2) for a in (0.2, 0.4, 0.6, 0.8, 0.5)]
    model = fit_response(points, [1, 2, 3, 4, 5], scheffe_terms(MIX, "linear"), MIX)
    assert not model.is_fitted and model.coefficients == ()
    assert "b and c cannot be told apart" in model.reason


def test_factors_that_go_with_the_day_cannot_be_told_from_it():
    model = fit_response(
        SQUARE * 2,
        range(1, 9),
        polynomial_terms(["a", "b"], "linear"),
        ["a", "b"],
        blocks=["monday" if a < 0 else "tuesday" for a, _ in SQUARE * 2],
    )
    no_numbers(model)
    assert "a and block monday cannot be told apart" in model.reason


def test_a_saturated_design_gives_coefficients_and_no_errors():
    model = fit_response(SQUARE, [1.0, 2.0, 4.0, 9.0], polynomial_terms(["a", "b"], "interaction"), ["a", "b"])
    assert "as many coefficients as batches" in model.reason
    assert [c.estimate for c in model.coefficients] == pytest.approx([4, 2.5, 1.5, 1])
    assert all((c.standard_error, c.t, c.p) == (None, None, None) for c in model.coefficients)
    assert (model.sd, model.residual_sd, model.df, model.r2_adjusted, model.r2_predicted) == (None, None, 0, None, None)
    found = model.predict([(0.0, 0.0)])
    assert (found.low, found.high, found.new_low, found.new_high) == (None, None, None, None)
    assert found.mean[0] == pytest.approx(4)
    # with a scatter known from elsewhere the same design has errors: s / sqrt 4
    told = fit_response(
        SQUARE,
        [1.0, 2.0, 4.0, 9.0],
        polynomial_terms(["a", "b"], "interaction"),
        ["a", "b"],
        known_sd=0.6,
        known_df=9,
    )
    assert [c.standard_error for c in told.coefficients] == pytest.approx([0.3] * 4)
    assert told.reason == ""


def test_values_that_are_all_the_same_tell_no_scatter():
    model = fit_response(SQUARE * 2, [7.0] * 8, polynomial_terms(["a", "b"], "linear"), ["a", "b"])
    assert "no scatter is told" in model.reason
    assert model.sd is None and model.r2 is None
    assert all(c.standard_error is None and c.p is None for c in model.coefficients)
    assert model.predict([(0.0, 0.0)]).new_low is None


def test_a_straight_line_without_scatter_is_no_certainty():
    model = fit_response(LEVELS, [3.3 + 0.7 * x for (x,) in LEVELS], polynomial_terms(["x"], "linear"), ["x"])
    assert "goes through every value exactly" in model.reason
    assert model.coefficient("x").estimate == pytest.approx(0.7)
    assert model.coefficient("x").standard_error is None
    assert model.lack_of_fit.p is None


@pytest.mark.parametrize("bad", [math.nan, math.inf, 0.0, -3.0])
def test_values_that_cannot_be_fitted_are_refused_in_words(bad):
    with pytest.raises(KitError) as told:
        fit_response(SQUARE, [1.0, 2.0, 3.0, bad], polynomial_terms(["a", "b"], "linear"), ["a", "b"], log=True)
    assert told.value.code == "model.values"


def test_points_and_values_that_do_not_match_are_refused():
    terms = polynomial_terms(["a", "b"], "linear")
    with pytest.raises(KitError) as told:
        fit_response(SQUARE, [1.0, 2.0, 3.0], terms, ["a", "b"])
    assert told.value.code == "model.values"
    with pytest.raises(KitError) as told:
        fit_response([(1.0,), (2.0,)], [1.0, 2.0], terms, ["a", "b"])
    assert told.value.code == "model.points"
    with pytest.raises(KitError) as told:
        fit_response(SQUARE, [1, 2, 3, 4], polynomial_terms(["a", "z"], "linear"), ["a", "b"])
    assert told.value.code == "model.names"


def test_few_degrees_of_freedom_are_told():
    model = fit_response([*SQUARE, (0.0, 0.0)], [1, 2, 3, 4.5, 2.7], polynomial_terms(["a", "b"], "linear"), ["a", "b"])
    assert "scatter itself poorly known (2 df)" in model.notes
    wide = fit_response(SQUARE * 3, range(1, 13), polynomial_terms(["a", "b"], "linear"), ["a", "b"])
    assert not any("poorly known" in note for note in wide.notes)


# ---------------------------------------------------------------- the tried region


def test_a_point_beyond_the_batches_is_said_to_be_outside():
    """A triangle of batches: (0.9, 0.9) lies in the box of the levels and outside the hull; (0.3, 0.3) lies inside."""
    points = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.3, 0.2), (0.2, 0.4), (0.5, 0.5)]
    model = fit_response(points, [1, 2, 3, 1.6, 1.9, 2.6], polynomial_terms(["a", "b"], "linear"), ["a", "b"])
    found = model.predict([(0.9, 0.9), (0.3, 0.3), (1.0, 0.0), (1.5, 0.0), (-0.01, 0.5), (0.5, 0.5)])
    assert [bool(words) for words in found.outside] == [True, False, False, True, True, False]
    assert found.outside[0] == HULL


def test_a_point_in_a_hole_of_the_batches_is_said_to_rest_on_less():
    """Batches on a ring: the parabola in the middle has a larger leverage than at any of them."""
    ring = [(math.cos(turn), math.sin(turn)) for turn in np.linspace(0, 2 * math.pi, 9)[:-1]]
    ring = [(a * (1 + 0.1 * (place % 2)), b * (1 + 0.1 * (place % 2))) for place, (a, b) in enumerate(ring)]
    values = [1.0, 1.2, 1.1, 1.4, 1.3, 1.25, 1.15, 1.05]
    model = fit_response(ring, values, polynomial_terms(["a", "b"], "quadratic"), ["a", "b"])
    (said,) = model.predict([(0.0, 0.0)]).outside
    assert said == LEVERAGE


@pytest.mark.parametrize(("factors", "count", "seed"), [(2, 8, 1), (3, 12, 2), (4, 20, 3), (5, 40, 4)])
def test_the_hull_is_that_of_linear_programming(factors, count, seed):
    rng = np.random.default_rng(seed)
    made = rng.normal(size=(count, factors)) * [10.0 ** (2 * i) for i in range(factors)]
    asked = np.vstack([rng.normal(size=(12, factors)) * np.ptp(made, axis=0) / 5, made[:2], made.mean(axis=0)[None]])
    found = inside_hull(asked, made)
    scale = np.ptp(made, axis=0)
    for point, inside in zip(asked, found, strict=True):
        equal = np.vstack([(made / scale).T, np.ones(count)])
        solved = linprog(np.zeros(count), A_eq=equal, b_eq=np.append(point / scale, 1), bounds=(0, None))
        assert bool(inside) is (solved.status == 0)
    assert found[-3:].all() and not found.all()


def test_mixtures_lie_in_a_plane_and_the_hull_is_found_there():
    vertices = [(0.2, 0.3, 0.5), (0.5, 0.3, 0.2), (0.2, 0.6, 0.2)]
    assert inside_hull([(0.3, 0.4, 0.3), (0.2, 0.3, 0.5), (0.6, 0.2, 0.2), (0.3, 0.4, 0.4)], vertices).tolist() == [
        True,
        True,
        False,
        False,
    ]


# ---------------------------------------------------------------- corners and centres


def test_effects_of_a_two_level_design_by_hand():
    """Corners 10, 14, 16, 26 and centres 15, 17: a 9, b 7, a * b 3; centre 16 less 16.5; SD sqrt 2 with 1 df.

    The error of an effect is the SD, 2 s / sqrt 4; that of the curvature s sqrt(1/2 + 1/4); t is 12.706.
    """
    found = two_level_effects(
        [*[(int(a), int(b)) for a, b in SQUARE], (0, 0), (0, 0)], [10, 14, 16, 26, 15, 17], ["a", "b"]
    )
    assert {one.name: one.effect for one in found.effects} == pytest.approx({"a": 9, "b": 7, "a * b": 3})
    assert (found.sd, found.df, found.corners, found.centres) == (pytest.approx(math.sqrt(2)), 1, 4, 2)
    assert [one.standard_error for one in found.effects] == pytest.approx([math.sqrt(2)] * 3)
    assert [one.needed for one in found.effects] == pytest.approx([12.706 * math.sqrt(2)] * 3, rel=1e-4)
    assert [one.is_shown for one in found.effects] == [False] * 3
    assert found.curvature.effect == pytest.approx(-0.5)
    assert found.curvature.standard_error == pytest.approx(math.sqrt(2 * 0.75))
    assert found.effect("a").t == pytest.approx(9 / math.sqrt(2))


def test_a_half_fraction_names_what_it_cannot_tell_apart():
    """c = a b: the three main effects go with the interactions of the other two."""
    runs = [(a, b, a * b) for a, b in itertools.product((-1, 1), repeat=2)]
    found = two_level_effects(runs, [1.0, 2.0, 4.0, 8.0], ["a", "b", "c"])
    assert {one.name: one.same_as for one in found.effects} == {"a": ("b * c",), "b": ("a * c",), "c": ("a * b",)}
    assert all(one.is_shown is None and one.p is None for one in found.effects)
    assert "nothing was made again" in found.reason


def test_levels_that_are_no_corner_are_refused():
    with pytest.raises(KitError) as told:
        two_level_effects([(0.5, 1)], [1.0], ["a", "b"])
    assert told.value.code == "effects.levels"
