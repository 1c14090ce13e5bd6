from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import nct, t

from kit.errors import KitError
from kit.science.design_crossed import BETWEEN_BASES, WITHIN_A_BASE, cross, split_plot
from kit.science.design_factorial import fractional_factorial, two_level_factorial
from kit.science.design_layout import Design
from kit.science.design_levels import level_series
from kit.science.design_mixture import simplex_lattice
from kit.science.design_screening import plackett_burman
from kit.science.design_split_plot import d_optimal_split_plot, strata, whitened
from kit.science.design_surface import FACE, central_composite
from kit.science.design_value import alias_matrix, what_it_tells, where_repeats_help
from kit.science.model_terms import model_matrix, polynomial_terms, scheffe_terms


def failed(call) -> str:
    with pytest.raises(KitError) as error:
        call()
    return error.value.code


def test_two_squared_with_three_centres():
    """7 runs: intercept 1/sqrt(7), effects 1/sqrt(4), all free of each other; 3 degrees of freedom, 2 from the centres.
    With an SD of 8 % known with 10 more: t(13) = 2.16037, half-width of low to high 2 x 0.5 x 0.08 x 2.16037.
    """
    design = two_level_factorial(("rpm", "hold"), centre=3)
    found = what_it_tells(design, polynomial_terms(design.names, "interaction"), sd=0.08, df=10)
    assert (found.df_residual, found.df_repeats, found.df) == (3, 2, 13)
    assert found.term("1").standard_error == pytest.approx(1 / math.sqrt(7))
    for name in ("rpm", "hold", "rpm * hold"):
        value = found.term(name)
        assert value.standard_error == pytest.approx(0.5)
        assert value.variance_inflation == pytest.approx(1)
        assert value.half_width == pytest.approx(0.08 * 2.16037, abs=1e-6)
    assert found.leverage == pytest.approx([0.75 + 1 / 7] * 4 + [1 / 7] * 3)
    assert sum(found.leverage) == pytest.approx(4)


def test_the_detectable_change_is_found_four_times_in_five():
    design = two_level_factorial(("A", "B")).repeated(2)
    value = what_it_tells(design, polynomial_terms(("A", "B"), "interaction"), sd=0.05).term("A")
    critical = t.ppf(0.975, 4)
    shift = value.detectable / (2 * value.standard_error * 0.05)
    assert 1 - nct.cdf(critical, 4, shift) + nct.cdf(-critical, 4, shift) == pytest.approx(0.8, abs=1e-6)
    assert value.detectable > value.half_width
    more = what_it_tells(design, polynomial_terms(("A", "B"), "interaction"), sd=0.05, power=0.95).term("A")
    assert more.detectable > value.detectable


def test_a_straight_line_by_hand():
    """3 to 7 in five steps: slope 1/sqrt(10) of an SD, times the span of 4."""
    found = what_it_tells(level_series("alcohol", [3, 4, 5, 6, 7]), polynomial_terms(("alcohol",), "linear"), sd=1.0)
    value = found.term("alcohol")
    assert value.standard_error == pytest.approx(1 / math.sqrt(10))
    assert value.half_width == pytest.approx(4 / math.sqrt(10) * 3.182446, abs=1e-5)  # t(3)
    assert "poorly known" in found.words


def test_variance_inflation_of_two_factors_that_move_together():
    """Two columns with a correlation r: 1 / (1 - r^2), whatever the rest."""
    rows = ((-1, -1), (-1, -1), (1, 1), (1, 1), (1, -1), (-1, 1), (0, 0.5))
    design = Design(("A", "B"), rows)
    r = np.corrcoef(np.array(rows).T)[0, 1]
    found = what_it_tells(design, polynomial_terms(("A", "B"), "linear"))
    assert found.term("A").variance_inflation == pytest.approx(1 / (1 - r * r))
    assert found.term("1").variance_inflation is None
    assert "no scatter of batches is told" in found.reason


def test_aliases_of_a_fraction_and_of_plackett_burman():
    """Half of 2^3, C = AB: each main effect takes up one whole interaction. 12 runs: a third, with either sign."""
    half = fractional_factorial(("A", "B", "C"))
    found = what_it_tells(half, polynomial_terms(half.names, "linear"))
    assert {(*one[:2], round(one[2], 9)) for one in found.aliases} == {
        ("A", "B * C", 1.0),
        ("B", "A * C", 1.0),
        ("C", "A * B", 1.0),
    }
    assert "C takes up 1 of A * B" in found.words
    screening = plackett_burman([f"x{index}" for index in range(11)])
    shares = {
        round(abs(share), 9)
        for _, _, share in what_it_tells(screening, polynomial_terms(screening.names, "linear")).aliases
    }
    assert shares == {round(1 / 3, 9)}
    full = two_level_factorial(("A", "B"), centre=1)
    assert {one[1] for one in what_it_tells(full, polynomial_terms(full.names, "interaction")).aliases} == {
        "A^2",
        "B^2",
    }


def test_the_alias_matrix_is_the_bias_of_least_squares():
    random = np.random.default_rng(3)
    x, z = random.normal(size=(9, 3)), random.normal(size=(9, 2))
    beta, gamma = random.normal(size=3), random.normal(size=2)
    fitted = np.linalg.lstsq(x, x @ beta + z @ gamma, rcond=None)[0]
    assert fitted - beta == pytest.approx(alias_matrix(x, z) @ gamma)


def test_what_cannot_be_told_is_said():
    half = fractional_factorial(("A", "B", "C"))
    found = what_it_tells(half, polynomial_terms(half.names, "interaction"), sd=0.1)
    assert found.terms == ()
    assert "cannot tell these terms apart: A, B, C, A * B, A * C, B * C" in found.reason
    assert found.words.startswith("Nothing can be told")
    saturated = what_it_tells(half, polynomial_terms(half.names, "linear"), sd=0.1)
    assert "no degree of freedom is left" in saturated.reason
    assert saturated.term("A").half_width is None
    assert "Fitted whatever they read: run 1, 2, 3, 4" in saturated.words
    with_history = what_it_tells(half, polynomial_terms(half.names, "linear"), sd=0.1, df=10)
    assert with_history.term("A").half_width == pytest.approx(0.1 * 2.228139, abs=1e-6)  # t(10)
    assert "no runs" in what_it_tells(Design(("A",), ()), polynomial_terms(("A",), "linear")).reason


def test_wrong_questions_are_refused():
    design = two_level_factorial(("A",))
    terms = polynomial_terms(("A",), "linear")
    assert failed(lambda: what_it_tells(design, terms, sd=0)) == "science.not_positive"
    assert failed(lambda: what_it_tells(design, terms, sd=1, df=-1)) == "science.negative"
    assert failed(lambda: what_it_tells(design, terms, sd=1, confidence=1)) == "statistics.confidence"
    assert failed(lambda: what_it_tells(design, terms, sd=1, df=5, power=0.01)) == "detectable.power"
    assert failed(lambda: what_it_tells(design, terms).term("B")) == "design.term"


def test_changes_are_shown_as_ratios_where_the_scatter_is_relative():
    design = two_level_factorial(("rpm", "hold"), centre=3)
    terms = polynomial_terms(design.names, "interaction")
    assert "x 1.19" in str(what_it_tells(design, terms, sd=0.08, df=10))  # exp(0.08 x 2.16037) = 1.189
    assert "0.173" in str(what_it_tells(design, terms, sd=0.08, df=10, relative=False))
    assert "found four times in five" in what_it_tells(design, terms)._repr_html_()


def test_repeats_go_where_they_help_a_straight_line():
    series = level_series("alcohol", [3, 4, 5, 6, 7])
    assert set(where_repeats_help(series, 2)) == {0, 4}
    assert where_repeats_help(series, 0) == ()
    assert len(set(where_repeats_help(series, 5))) == 5
    quadratic = where_repeats_help(series, 1, polynomial_terms(("alcohol",), "quadratic"))
    matrix = model_matrix(polynomial_terms(("alcohol",), "quadratic"), ("alcohol",), series.levels)

    def summed(row: int) -> float:
        more = np.vstack([matrix, matrix[row]])
        return float(np.trace(matrix @ np.linalg.inv(more.T @ more) @ matrix.T))

    assert summed(quadratic[0]) == pytest.approx(min(summed(row) for row in range(5)))
    assert len(where_repeats_help(simplex_lattice(("a", "b", "c"), 2), 2)) == 2


def test_a_split_plot_judges_bases_against_bases():
    """Four bases in two parts, variance between bases as that within: a whole effect has (1 + 1/2)/4 = 0.375 of the
    variance within and 4 - 2 degrees of freedom; a part's effect 1/8 and 8 - 4 - 2.
    """
    design = split_plot(two_level_factorial(("hot",)).repeated(2), two_level_factorial(("cold",)))
    found = what_it_tells(design, polynomial_terms(design.names, "interaction"), sd=0.05)
    hot, cold = found.term("hot"), found.term("cold")
    assert (hot.judged, hot.df, hot.standard_error) == (BETWEEN_BASES, 2, pytest.approx(math.sqrt(0.375)))
    assert (cold.judged, cold.df, cold.standard_error) == (WITHIN_A_BASE, 2, pytest.approx(math.sqrt(1 / 8)))
    assert hot.half_width == pytest.approx(2 * math.sqrt(0.375) * 0.05 * 4.302653, abs=1e-6)  # t(2)
    once = split_plot(two_level_factorial(("hot",)), two_level_factorial(("cold",)).repeated(2))
    found = what_it_tells(once, polynomial_terms(once.names, "interaction"), sd=0.05)
    assert found.term("hot").half_width is None and found.term("cold").half_width is not None
    assert "(hot)" in found.reason
    same = what_it_tells(design, polynomial_terms(design.names, "interaction"), sd=0.05, base_ratio=0)
    assert same.term("hot").standard_error == pytest.approx(same.term("cold").standard_error)


def test_whitening_is_generalised_least_squares():
    plots = (0, 0, 0, 1, 1, 2)
    x = np.random.default_rng(2).normal(size=(6, 2))
    covariance = np.eye(6) + 1.7 * np.equal.outer(plots, plots)
    white = whitened(x, plots, 1.7)
    assert white.T @ white == pytest.approx(x.T @ np.linalg.inv(covariance) @ x)
    assert whitened(x, None, 1.7) is x
    assert strata(x, None)[1] == (4, 4)


@pytest.fixture(scope="module")
def bases_and_parts() -> Design:
    return cross(
        two_level_factorial(("hot", "rpm"), centre=1),
        central_composite(("cold", "rest"), FACE, 1),
    )


def test_a_split_plot_chosen_for_its_determinant(bases_and_parts):
    """Against the plain covariance matrix, worked out by numpy, and against 200 plans drawn at random."""
    terms = polynomial_terms(bases_and_parts.names, "interaction")
    design = d_optimal_split_plot(bases_and_parts, terms, 6, 3, ("hot", "rpm"), seed=1)
    assert len(design) == 18
    inverse = np.linalg.inv(np.eye(18) + np.equal.outer(design.whole_plot, design.whole_plot))

    def logged(levels) -> float:
        matrix = model_matrix(terms, design.names, levels)
        return float(np.linalg.slogdet(matrix.T @ inverse @ matrix)[1])

    for base in range(6):
        assert len({row[:2] for row, own in zip(design.levels, design.whole_plot, strict=True) if own == base}) == 1
    random = np.random.default_rng(1)
    settings = sorted({row[:2] for row in bases_and_parts.levels})
    parts = sorted({row[2:] for row in bases_and_parts.levels})
    tried = []
    for _ in range(200):
        whole = [settings[random.integers(5)] for _ in range(6)]
        tried.append([(*one, *parts[random.integers(9)]) for one in whole for _ in range(3)])
    assert logged(design.levels) > max(map(logged, tried)) + 0.5
    assert design == d_optimal_split_plot(bases_and_parts, terms, 6, 3, ("hot", "rpm"), seed=1)


def test_a_split_plot_that_cannot_be_is_explained(bases_and_parts):
    terms = polynomial_terms(bases_and_parts.names, "interaction")
    few = d_optimal_split_plot(bases_and_parts, terms, 3, 6, ("hot", "rpm"), seed=1)
    assert few.reason == "4 terms of what is set once a base need 4 bases or more, and 3 are asked for"
    assert "11 terms need 11 runs" in d_optimal_split_plot(bases_and_parts, terms, 5, 2, ("hot", "rpm"), seed=1).reason
    squares = polynomial_terms(bases_and_parts.names, "quadratic")
    mixed = d_optimal_split_plot(bases_and_parts, squares, 9, 3, ("hot", "rpm"), seed=1)
    assert "hot^2, rpm^2" in mixed.reason
    assert len(mixed) == 0


def test_a_mixture_model_needs_no_intercept():
    design = simplex_lattice(("a", "b", "c"), 2)
    found = what_it_tells(design, scheffe_terms(design.names, "linear"), sd=0.1)
    assert [value.term for value in found.terms] == ["a", "b", "c"]
    assert len({round(value.standard_error, 9) for value in found.terms}) == 1
    assert found.df_residual == 3


def test_days_that_may_lie_higher_or_lower_as_a_whole():
    """The nettle study. Four corners on two days, the hold time with the day: nothing is told. With the centres over
    three days: of the sum of squares of hold, 81.5, 27.3333 lie within days: 1/sqrt(27.3333) of an SD, inflation 2.98.
    """
    terms = polynomial_terms(("rpm", "hold"), "linear")
    corners = Design(("rpm", "hold"), ((-1, 3), (1, 3), (-1, 12), (1, 12)))
    found = what_it_tells(corners, terms, days=["d1", "d1", "d2", "d2"])
    assert found.reason == "the runs cannot tell these terms apart: 1, hold, day d2"
    levels = ((-1, 3), (1, 3), (-1, 12), (1, 12), (0, 7), (0, 7), (0, 7), (0, 7))
    days = ["d1", "d1", "d2", "d2", "d1", "d2", "d3", "d3"]
    told = what_it_tells(Design(("rpm", "hold"), levels), terms, sd=0.05, days=days)
    hold, free = told.term("hold"), what_it_tells(Design(("rpm", "hold"), levels), terms, sd=0.05).term("hold")
    assert hold.standard_error == pytest.approx(27.3333333**-0.5)
    assert free.standard_error == pytest.approx(81.5**-0.5)
    assert hold.variance_inflation == pytest.approx(81.5 / 27.3333333)
    assert (hold.df, free.df) == (3, 5)
    assert told.term("rpm").variance_inflation == pytest.approx(1)
    assert [value.term for value in told.terms] == ["1", "rpm", "hold"]
    assert failed(lambda: what_it_tells(corners, terms, days=["d1"])) == "design.days"
