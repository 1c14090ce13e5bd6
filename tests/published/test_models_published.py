"""Response models against certified and published fits: NIST reference data, a mixture, a central composite design.

Certified values are printed to 15 digits in the data files of NIST, Statistical Reference Datasets, linear regression;
those of Pontius and Longley are typed here as other public test suites print them, standard deviations included.
"""

from __future__ import annotations

import math

import pytest
from statsmodels.datasets import longley

from kit.errors import KitError
from kit.science.desirability import combined, desirability, larger, smaller, target, within
from kit.science.model_terms import INTERCEPT, Term, polynomial_terms, scheffe_terms
from kit.science.response_model import fit_response
from kit.science.surface import best_inside, second_order, stationary_point

DIGITS = 1e-9  # certified to 15 digits; lost to double precision at the most


def estimates(model) -> list[float]:
    return [found.estimate for found in model.coefficients]


def errors(model) -> list[float]:
    return [found.standard_error for found in model.coefficients]


# ---------------------------------------------------------------- NIST StRD

# Norris.dat, ozone monitors: x and y, and each estimate with its certified standard deviation
# fmt: off
NORRIS_DATA = [
    (0.2, 0.1), (337.4, 338.8), (118.2, 118.1), (884.6, 888), (10.1, 9.2), (226.5, 228.1), (666.3, 668.5), (996.3,
    998.5), (448.6, 449.1), (777, 778.9), (558.2, 559.2), (0.4, 0.3), (0.6, 0.1), (775.5, 778.1), (666.9, 668.8),
    (338, 339.3), (447.5, 448.9), (11.6, 10.8), (556, 557.7), (228.1, 228.3), (995.8, 998), (887.6, 888.8), (120.2,
    119.6), (0.3, 0.3), (0.3, 0.6), (556.8, 557.6), (339.1, 339.3), (887.2, 888), (999, 998.5), (779, 778.9), (11.1,
    10.2), (118.3, 117.6), (229.2, 228.9), (669.1, 668.4), (448.9, 449.2), (0.5, 0.2),
]
# fmt: on
NORRIS = ((-0.262323073774029, 0.232818234301152), (1.00211681802045, 0.429796848199937e-03))


def test_norris_line():
    assert len(NORRIS_DATA) == 36
    model = fit_response(
        [[x] for x, _ in NORRIS_DATA], [y for _, y in NORRIS_DATA], polynomial_terms(["x"], "linear"), ["x"]
    )
    assert estimates(model) == pytest.approx([b for b, _ in NORRIS], rel=DIGITS)
    assert errors(model) == pytest.approx([s for _, s in NORRIS], rel=DIGITS)
    assert model.residual_sd == pytest.approx(0.884796396144373, rel=DIGITS)
    assert model.r2 == pytest.approx(0.999993745883712, rel=1e-12)
    assert model.df == 34
    # the certified F is the square of t of the slope
    assert model.coefficient("x").t ** 2 == pytest.approx(5436385.54079785, rel=1e-8)


# Pontius.dat, load cell: deflection at 20 loads, twice; y is the first and the second reading at each load
PONTIUS_LOADS = [150000 * step for step in range(1, 21)]
PONTIUS = [
    (0.11019, 0.11052),
    (0.21956, 0.22018),
    (0.32949, 0.32939),
    (0.43899, 0.43886),
    (0.54803, 0.54798),
    (0.65694, 0.65739),
    (0.76562, 0.76596),
    (0.87487, 0.87474),
    (0.98292, 0.98300),
    (1.09146, 1.09150),
    (1.20001, 1.20004),
    (1.30822, 1.30818),
    (1.41599, 1.41613),
    (1.52399, 1.52408),
    (1.63194, 1.63159),
    (1.73947, 1.73965),
    (1.84646, 1.84696),
    (1.95392, 1.95445),
    (2.06128, 2.06177),
    (2.16844, 2.16829),
]
PONTIUS_CERTIFIED = (
    (0.673565789473684e-03, 0.107938612033077e-03),
    (0.732059160401003e-06, 0.157817399981659e-09),
    (-0.316081871345029e-14, 0.486652849992036e-16),
)


def test_pontius_parabola_with_loads_as_they_are():
    """Loads to 3,000,000 and their squares: columns 13 decades apart, neither coded nor centred."""
    points = [[load] for load in PONTIUS_LOADS for _ in range(2)]
    values = [value for pair in PONTIUS for value in pair]
    model = fit_response(points, values, polynomial_terms(["load"], "quadratic"), ["load"])
    assert estimates(model) == pytest.approx([b for b, _ in PONTIUS_CERTIFIED], rel=DIGITS, abs=0)
    assert errors(model) == pytest.approx([s for _, s in PONTIUS_CERTIFIED], rel=DIGITS, abs=0)
    assert model.residual_sd == pytest.approx(0.205177424076185e-03, rel=DIGITS)
    assert model.r2 == pytest.approx(0.999999900178537, abs=2e-15)
    # by hand: half the squared differences of the 20 pairs are the squares within repeats, 20 degrees of freedom
    pure = math.fsum((first - second) ** 2 / 2 for first, second in PONTIUS)
    rest = 37 * 0.205177424076185e-03**2 - pure
    assert (model.lack_of_fit.pure_df, model.lack_of_fit.df) == (20, 17)
    assert model.lack_of_fit.f == pytest.approx(rest / 17 / (pure / 20), rel=1e-8)


# Longley.dat: nearly collinear; the data as statsmodels carries them
LONGLEY = (
    (-3482258.63459582, 890420.383607373),
    (15.0618722713733, 84.9149257747669),
    (-0.358191792925910e-01, 0.334910077722432e-01),
    (-2.02022980381683, 0.488399681651699),
    (-1.03322686717359, 0.214274163161675),
    (-0.511041056535807e-01, 0.226073200069370),
    (1829.15146461355, 455.478499142212),
)


@pytest.fixture(scope="module")
def longley_data() -> tuple[list[list[float]], list[float], list[str]]:
    data = longley.load_pandas()
    assert (float(data.endog.sum()), float(data.exog["GNP"].iloc[0])) == (1045072.0, 234289.0)
    return data.exog.to_numpy().tolist(), data.endog.tolist(), list(data.exog.columns)


def test_longley_keeps_its_digits(longley_data):
    points, values, names = longley_data
    model = fit_response(points, values, polynomial_terms(names, "linear"), names)
    assert estimates(model) == pytest.approx([b for b, _ in LONGLEY], rel=DIGITS)
    assert errors(model) == pytest.approx([s for _, s in LONGLEY], rel=1e-8)
    assert model.residual_sd == pytest.approx(304.854073561965, rel=DIGITS)
    assert model.r2 == pytest.approx(0.995479004577296, rel=1e-12)
    assert model.df == 9
    (told,) = model.notes
    assert told.startswith("the constant and GNPDEFL and GNP and POP and YEAR moved nearly together")


# Wampler4.dat: 1 + x + ... + x^5 and errors a thousand times as large as the signal; every estimate is certified as 1
WAMPLER4 = [75901, -204794, 204863, -204436, 253665, -200894, 214131, -185192, 221249, -138370, 315911, -27644]
WAMPLER4 += [455253, 197434, 783995, 608816, 1370781, 1303798, 2205519, 2408860, 3444321]
WAMPLER4_ERRORS = (215232.624678170, 236355.173469681, 77934.3524331583, 10147.5507550350, 564.566512170752)
WAMPLER4_ERRORS += (11.2324854679312,)
FIFTH = [INTERCEPT, *(Term((("x", power),)) for power in range(1, 6))]


def test_wampler_polynomials_of_the_fifth_degree():
    """Neither coded nor centred: columns from 1 to 3,200,000. Wampler1 is the same without errors."""
    model = fit_response([[x] for x in range(21)], WAMPLER4, FIFTH, ["x"])
    assert estimates(model) == pytest.approx([1.0] * 6, abs=1e-5)
    assert errors(model) == pytest.approx(WAMPLER4_ERRORS, rel=DIGITS)
    exact = fit_response([[x] for x in range(21)], [sum(x**k for k in range(6)) for x in range(21)], FIFTH, ["x"])
    assert estimates(exact) == pytest.approx([1.0] * 6, abs=1e-9)
    assert errors(exact) == [None] * 6
    assert "goes through every value exactly" in exact.reason


# ---------------------------------------------------------------- a mixture

# J. A. Cornell, Experiments with Mixtures: elongation of yarn of three fibres at each point of a {3,2} lattice; data as
# printed in Penn State STAT 503, lesson 11.3.3
YARN = {
    (1, 0, 0): (11.0, 12.4),
    (0.5, 0.5, 0): (15.0, 14.8, 16.1),
    (0.5, 0, 0.5): (17.7, 16.4, 16.6),
    (0, 1, 0): (8.8, 10.0),
    (0, 0.5, 0.5): (10.0, 9.7, 11.8),
    (0, 0, 1): (16.8, 16.0),
}
PARTS = ["x1", "x2", "x3"]


def yarn(order: str):
    points = [point for point, values in YARN.items() for _ in values]
    return fit_response(
        points, [value for values in YARN.values() for value in values], scheffe_terms(PARTS, order), PARTS
    )


def test_cornells_yarn():
    """Published: 11.7, 9.4, 16.4, 19.0, 11.4, -9.6. Errors, mean square and R squared by statsmodels 0.15.0."""
    model = yarn("quadratic")
    assert [found.term.name for found in model.coefficients] == ["x1", "x2", "x3", "x1 * x2", "x1 * x3", "x2 * x3"]
    assert estimates(model) == pytest.approx([11.7, 9.4, 16.4, 19.0, 11.4, -9.6], abs=1e-9)
    assert errors(model) == pytest.approx([0.6037] * 3 + [2.6082] * 3, abs=5e-5)
    assert model.residual_sd**2 == pytest.approx(0.7289, abs=5e-5)
    assert model.df == 9
    # about the mean, although the model has no intercept: about zero it would be 0.9975
    assert model.r2 == pytest.approx(0.9514, abs=5e-5)


def test_errors_of_the_yarn_by_hand():
    """A vertex is the mean of two: sqrt(0.7289 / 2). A product is 4 y12 - 2 y1 - 2 y2: sqrt(s2 (16/3 + 4/2 + 4/2))."""
    model = yarn("quadratic")
    squares = math.fsum((value - sum(values) / len(values)) ** 2 for values in YARN.values() for value in values)
    assert errors(model)[0] == pytest.approx(math.sqrt(squares / 9 / 2), rel=1e-12)
    assert errors(model)[3] == pytest.approx(math.sqrt(squares / 9 * (16 / 3 + 4)), rel=1e-12)


def test_a_lattice_that_its_model_uses_up_has_no_lack_of_fit_to_test():
    found = yarn("quadratic").lack_of_fit
    assert (found.f, found.p, found.pure_df, found.df) == (None, None, 9, 0)
    assert found.reason == "every setting has a coefficient of its own"


def test_the_linear_blend_of_the_yarn_misses():
    """Pure squares 6.56 with 9 df, as of the quadratic model; the linear one leaves 12 df in all."""
    found = yarn("linear").lack_of_fit
    assert (found.pure_squares, found.pure_df, found.df) == (pytest.approx(6.56, abs=1e-9), 9, 3)
    assert found.f > 10 and found.p < 0.01 and found.is_shown is True


# H. Scheffe, J. R. Stat. Soc. B 20 (1958) 344 and B 25 (1963) 235
@pytest.mark.parametrize(
    ("parts", "order", "count"),
    [
        (3, "linear", 3),
        (3, "quadratic", 6),
        (3, "special cubic", 7),
        (3, "full cubic", 10),
        (4, "linear", 4),
        (4, "quadratic", 10),
        (4, "special cubic", 14),
        (4, "full cubic", 20),
    ],
)
def test_terms_of_scheffes_models(parts, order, count):
    names = [f"x{place}" for place in range(1, parts + 1)]
    terms = scheffe_terms(names, order)
    assert len(set(terms)) == len(terms) == count
    assert INTERCEPT not in terms


def test_a_full_cubic_goes_through_every_point_of_a_third_degree_lattice_and_no_smaller_one_does():
    """Ten points of the {3,3} lattice tell ten coefficients; y = x1 x2 (x1 - x2) has the one coefficient 1."""
    lattice = [(i / 3, j / 3, (3 - i - j) / 3) for i in range(4) for j in range(4 - i)]
    values = [a * b * (a - b) for a, b, _ in lattice]
    model = fit_response(lattice, values, scheffe_terms(PARTS, "full cubic"), PARTS, known_sd=0.01, known_df=10)
    assert {
        found.term.name: round(found.estimate, 9) for found in model.coefficients if abs(found.estimate) > 1e-9
    } == {"x1 * x2 * (x1 - x2)": 1.0}
    special = fit_response(lattice, values, scheffe_terms(PARTS, "special cubic"), PARTS)
    assert special.residual_sd > 0.05


@pytest.mark.parametrize(
    ("terms", "code"),
    [
        (lambda: scheffe_terms(PARTS, "cubic"), "model.order"),
        (lambda: polynomial_terms(["a"], "special cubic"), "model.order"),
        (lambda: scheffe_terms(["x1"], "linear"), "model.names"),
        (lambda: polynomial_terms(["a", "a"], "linear"), "model.names"),
    ],
)
def test_terms_that_cannot_be_are_refused_in_words(terms, code):
    with pytest.raises(KitError) as told:
        terms()
    assert told.value.code == code


# ---------------------------------------------------------------- a central composite design

# D. C. Montgomery, Design and Analysis of Experiments (2001), example 11-1, p. 431: time and temperature coded, yield.
# Analysis of variance as printed there: residual 0.50 with 7 df, lack of fit 0.28 with 3 (F 1.78, p 0.2897), pure error
# 0.21 with 4; F of the terms 111.93, 30.01, 186.22, 98.56 and 3.53 (p 0.1022). The axial points are printed as 1.414,
# and the canonical analysis is of that; the analysis of variance is of the root of 2 (1.414 gives an F of 111.69).
AXIAL, EXACT_AXIAL = 1.414, math.sqrt(2)
MONTGOMERY = [
    (-1, -1, 76.5),
    (-1, 1, 77.0),
    (1, -1, 78.0),
    (1, 1, 79.5),
    (0, 0, 79.9),
    (0, 0, 80.3),
    (0, 0, 80.0),
    (0, 0, 79.7),
    (0, 0, 79.8),
    (AXIAL, 0, 78.4),
    (-AXIAL, 0, 75.6),
    (0, AXIAL, 78.5),
    (0, -AXIAL, 77.0),
]


YIELD = [row[2] for row in MONTGOMERY]


def montgomery_of(axial: float):
    points = [[math.copysign(axial, x) if abs(x) == AXIAL else x for x in row[:2]] for row in MONTGOMERY]
    return fit_response(points, YIELD, polynomial_terms(["x1", "x2"], "quadratic"), ["x1", "x2"])


@pytest.fixture(scope="module")
def montgomery():
    return montgomery_of(AXIAL)


def test_montgomerys_second_order_fit(montgomery):
    """Printed: 79.94 + 0.995 x1 + 0.515 x2 - 1.376 x1^2 - 1.001 x2^2 + 0.250 x1 x2."""
    found = {item.term.name: item.estimate for item in montgomery.coefficients}
    printed = {"1": 79.94, "x1": 0.995, "x2": 0.515, "x1 * x2": 0.250, "x1^2": -1.376, "x2^2": -1.001}
    assert found == pytest.approx(printed, abs=6e-4)


def test_montgomerys_analysis_of_variance():
    """Printed F of one degree of freedom each are the squares of t, in part sums of squares as here."""
    montgomery = montgomery_of(EXACT_AXIAL)
    squared = {item.term.name: item.t**2 for item in montgomery.coefficients}
    assert squared["x1"] == pytest.approx(111.93, rel=1e-3)
    assert squared["x2"] == pytest.approx(30.01, rel=1e-3)
    assert squared["x1^2"] == pytest.approx(186.22, rel=1e-3)
    assert squared["x2^2"] == pytest.approx(98.56, rel=1e-3)
    assert squared["x1 * x2"] == pytest.approx(3.53, abs=0.005)
    assert montgomery.coefficient("x1 * x2").p == pytest.approx(0.1022, abs=1e-4)
    assert montgomery.coefficient("x2").p == pytest.approx(0.0009, abs=5e-5)
    lack = montgomery.lack_of_fit
    assert (lack.df, lack.pure_df, lack.against) == (3, 4, "repeats")
    assert (lack.squares, lack.pure_squares) == (pytest.approx(0.28, abs=0.005), pytest.approx(0.21, abs=0.005))
    assert (lack.f, lack.p) == (pytest.approx(1.78, abs=0.005), pytest.approx(0.2897, abs=2e-4))
    assert lack.is_shown is False
    assert montgomery.residual_sd**2 == pytest.approx(0.071, abs=5e-4)
    # model 28.25 of 28.74 in all
    assert montgomery.r2 == pytest.approx(28.25 / 28.74, abs=5e-4)


def test_montgomerys_fit_in_the_units_of_the_plant():
    """Printed: -1430.52285 + 7.80749 time + 13.27053 temp - 0.05505 time^2 - 0.04005 temp^2 + 0.01 time temp."""
    points = [(85 + 5 * a, 175 + 5 * b) for a, b, _ in MONTGOMERY]
    names = ["time", "temp"]
    model = fit_response(points, YIELD, polynomial_terms(names, "quadratic"), names)
    found = {item.term.name: item.estimate for item in model.coefficients}
    printed = {
        "1": -1430.52285,
        "time": 7.80749,
        "temp": 13.27053,
        "time^2": -0.05505,
        "temp^2": -0.04005,
        "time * temp": 0.01,
    }
    assert found == pytest.approx(printed, rel=1e-3)


def test_montgomerys_canonical_analysis(montgomery):
    """Printed: stationary point (0.389, 0.306), yield 80.21, eigenvalues -0.9634 and -1.4143: a maximum."""
    found = stationary_point(second_order(montgomery), (-1.414, -1.414), (1.414, 1.414))
    assert found.point == pytest.approx((0.389, 0.306), abs=6e-4)
    assert found.value == pytest.approx(80.21, abs=0.005)
    assert found.eigenvalues == pytest.approx((-1.4143, -0.9634), abs=2e-4)
    assert (found.nature, found.inside, found.reason) == ("maximum", True, "")
    # along an axis the surface bends as its eigenvalue says
    surface = second_order(montgomery)
    for bend, axis in zip(found.eigenvalues, found.axes, strict=True):
        moved = [x + 0.5 * step for x, step in zip(found.point, axis, strict=True)]
        assert surface.at(moved) - found.value == pytest.approx(bend * 0.25, rel=1e-9)


def test_the_best_point_of_montgomerys_surface_is_the_stationary_one_or_on_the_edge(montgomery):
    surface = second_order(montgomery)
    inside = best_inside(surface, (-1, -1), (1, 1))
    assert (inside.point, inside.on_edge) == (pytest.approx((0.389, 0.306), abs=6e-4), ())
    # with x1 held to zero at most, x2 alone is left: 0.5152 / (2 x 1.0013)
    edge = best_inside(surface, (-1, -1), (0, 1))
    assert (edge.point, edge.on_edge) == (pytest.approx((0, 0.2573), abs=5e-4), ("x1",))
    worst = best_inside(surface, (-1, -1), (1, 1), highest=False)
    # a printed fit at the corner: 79.94 - 0.9951 - 0.5152 - 1.3764 - 1.0013 + 0.25
    assert (worst.point, worst.value) == ((-1, -1), pytest.approx(76.302, abs=2e-3))


def test_a_plane_has_no_stationary_point_and_says_so():
    model = fit_response(
        [row[:2] for row in MONTGOMERY],
        YIELD,
        polynomial_terms(["x1", "x2"], "linear"),
        ["x1", "x2"],
    )
    found = stationary_point(second_order(model))
    assert (found.point, found.value, found.nature) == (None, None, "no bending")
    assert "does not bend" in found.reason
    assert best_inside(second_order(model), (-1, -1), (1, 1)).point == (1, 1)


def test_a_saddle_by_hand():
    """y = 2 x1 x2: saddle at the middle, eigenvalues -1 and 1."""
    corners = [(-1, -1), (-1, 1), (1, -1), (1, 1), (0, 0)]
    model = fit_response(corners, [2 * a * b for a, b in corners], [INTERCEPT, Term((("a", 1), ("b", 1)))], ["a", "b"])
    found = stationary_point(second_order(model))
    assert (found.nature, found.eigenvalues) == ("saddle", pytest.approx((-1, 1), abs=1e-12))
    assert found.point == pytest.approx((0, 0), abs=1e-12)


def test_a_surface_of_the_third_order_is_refused():
    with pytest.raises(KitError) as told:
        second_order(yarn("special cubic"))
    assert told.value.code == "surface.terms"
    # a mixture of the second order, neither: its parts add up to one and cannot be moved alone
    with pytest.raises(KitError) as told:
        second_order(yarn("quadratic"))
    assert told.value.code == "surface.terms"


# ---------------------------------------------------------------- desirability

# G. Derringer and R. Suich, Journal of Quality Technology 12 (1980) 214: tread of a tyre, four responses predicted at
# the published optimum (values from memory). d and D beside them were worked by hand from the predictions.
DERRINGER_GOALS = {
    "abrasion": larger(120, 170),
    "modulus": larger(1000, 1300),
    "elongation": target(400, 500, 600),
    "hardness": target(60, 67.5, 75),
}
PUBLISHED = {"abrasion": 129.5, "modulus": 1300, "elongation": 465.7, "hardness": 68.0}
EXACT = {"abrasion": 129.434, "modulus": 1300.077, "elongation": 465.737, "hardness": 68.002}


def test_derringer_and_suich():
    """By hand for one: (129.434 - 120) / 50 = 0.1887; D is the fourth root of the product, 0.5833; published 0.583."""
    single, whole = desirability(EXACT, DERRINGER_GOALS)
    assert [float(single[name]) for name in EXACT] == pytest.approx([0.1887, 1.0, 0.6574, 0.9331], abs=1e-4)
    assert float(whole) == pytest.approx(0.5833, abs=1e-4)
    single, whole = desirability(PUBLISHED, DERRINGER_GOALS)
    assert [float(single[name]) for name in EXACT] == pytest.approx([0.189, 1.0, 0.656, 0.932], abs=3e-3)
    assert float(whole) == pytest.approx(0.583, abs=3e-3)
    # the plain mean of the four would be 0.694
    assert float(whole) < 0.6


def test_one_goal_missed_makes_the_whole_zero_and_a_broken_cap_too():
    _, whole = desirability({**EXACT, "hardness": 75}, DERRINGER_GOALS)
    assert float(whole) == 0
    _, whole = desirability(EXACT, DERRINGER_GOALS, allowed=False)
    assert float(whole) == 0
    _, whole = desirability({**EXACT, "cost": 5.0}, {**DERRINGER_GOALS, "cost": within(high=4.0)})
    assert float(whole) == 0


def test_exponents_and_importance_by_hand():
    """Half way to the target with exponent 2: 0.25; importance 3 against 1: (0.25^3 x 0.5)^(1/4)."""
    goal = target(0, 10, 20, (2, 1))
    assert float(goal.of(5)) == pytest.approx(0.25)
    assert float(goal.of(15)) == pytest.approx(0.5)
    assert float(combined([0.25, 0.5], [3, 1])) == pytest.approx((0.25**3 * 0.5) ** 0.25)
    assert [float(smaller(39, 42).of(value)) for value in (38, 39, 40.5, 42, 50)] == [1, 1, 0.5, 0, 0]
    assert [float(within(2, 3).of(value)) for value in (1.9, 2, 3, 3.1)] == [0, 1, 1, 0]
    assert float(larger(0, 1).of(math.nan)) == 0


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: larger(5, 5), "desirability.limits"),
        (lambda: target(0, 30, 20), "desirability.limits"),
        (lambda: smaller(0, 1, 0), "desirability.exponent"),
        (lambda: desirability({"a": 1}, {"b": larger(0, 1)}), "desirability.values"),
        (lambda: desirability({"a": 1}, {}), "desirability.goals"),
    ],
)
def test_goals_that_cannot_be_are_refused_in_words(make, code):
    with pytest.raises(KitError) as told:
        make()
    assert told.value.code == code
