from __future__ import annotations

import math
from itertools import combinations_with_replacement

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.design_crossed import cross
from kit.science.design_factorial import two_level_factorial
from kit.science.design_layout import Design
from kit.science.design_mixture import PARTS, extreme_vertices, simplex_lattice
from kit.science.design_model import tell_apart
from kit.science.design_optimal import d_optimal
from kit.science.design_surface import FACE, central_composite
from kit.science.model_terms import added_terms, crossed_terms, model_matrix, polynomial_terms, scheffe_terms

LETTERS = tuple("ABCDEF")


def grid(levels, name="x") -> Design:
    return Design((name,), tuple((level,) for level in levels))


def failed(call) -> str:
    with pytest.raises(KitError) as error:
        call()
    return error.value.code


@pytest.mark.parametrize(("size", "runs"), [(2, 4), (3, 4), (3, 8), (4, 8), (5, 8), (6, 8), (6, 12)])
def test_a_linear_model_over_the_cube_gives_an_orthogonal_design(size, runs):
    """No design of levels within -1 and 1 has |X'X| above n^p (Hadamard); an orthogonal two-level one reaches it."""
    steps = central_composite(LETTERS[:size], FACE, centre=1)
    design = d_optimal(steps, polynomial_terms(LETTERS[:size], "linear"), runs, seed=3)
    matrix = np.column_stack([np.ones(runs), design.levels])
    assert np.array_equal(matrix.T @ matrix, runs * np.eye(size + 1))
    assert design.log_determinant == pytest.approx((size + 1) * math.log(runs))
    assert design.d_efficiency == pytest.approx(1, abs=1e-3)
    assert design.condition_number == pytest.approx(1)


@pytest.mark.parametrize("size", [3, 4])
def test_a_quadratic_mixture_model_gives_the_lattice_of_kiefer(size):
    """Kiefer (1961), Ann. Math. Stat. 32:298: equal weights on the {q, 2} lattice are D-optimal over the simplex."""
    names = LETTERS[:size]
    terms = scheffe_terms(names, "quadratic")
    design = d_optimal(simplex_lattice(names, 4), terms, len(terms), seed=1)
    assert set(design.levels) == set(simplex_lattice(names, 2).levels)
    assert design.d_efficiency == pytest.approx(1, abs=1e-3)


def test_the_efficiency_of_a_parabola_by_hand():
    """x from -1 to 1: best weights 1/3 at -1, 0 and 1 (Guest (1958), Ann. Math. Stat. 29:294), |M| = 4/27. Four runs
    with one of the three twice: |X'X| = 2 x 1 x 1 x 4 = 8, a run 8/64; (8/64 / (4/27))^(1/3) = 0.94494.
    """
    design = d_optimal(grid(np.linspace(-1, 1, 21)), polynomial_terms(("x",), "quadratic"), 4, seed=1)
    assert set(design.levels) == {(-1,), (0,), (1,)}
    assert design.log_determinant == pytest.approx(math.log(8))
    assert design.d_efficiency == pytest.approx(0.94494, abs=1e-3)


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10_000), runs=st.integers(3, 5))
def test_no_other_choice_of_so_few_candidates_is_better(seed, runs):
    points = np.random.default_rng(seed).uniform(-1, 1, (9, 2))
    terms = polynomial_terms(("x", "y"), "linear")
    candidates = Design(("x", "y"), tuple(map(tuple, points)))
    matrix = model_matrix(terms, ("x", "y"), points)
    best = max(
        np.linalg.det(matrix[list(rows)].T @ matrix[list(rows)])
        for rows in combinations_with_replacement(range(9), runs)
    )
    assert math.exp(d_optimal(candidates, terms, runs, seed=seed).log_determinant) == pytest.approx(best, rel=1e-7)


@pytest.fixture(scope="module")
def crossed() -> Design:
    mixture = extreme_vertices(("CTAC", "BTAC", "alcohol"), (0, 0.5, 4), (1.5, 2.5, 6), 7, parts=PARTS)
    return cross(mixture, two_level_factorial(("rpm", "hold"), centre=1))


@pytest.fixture(scope="module")
def terms(crossed):
    return added_terms(
        scheffe_terms(crossed.names[:3], "quadratic"), polynomial_terms(crossed.names[3:], "interaction")
    )


def test_mixture_crossed_with_process_is_the_same_for_a_seed(crossed, terms):
    """Determinant by numpy from the levels alone; the runs are candidates; a seed gives one answer."""
    first, second = (d_optimal(crossed, terms, 14, seed=5) for _ in range(2))
    assert first == second
    assert set(first.levels) <= set(crossed.levels)
    x = np.array(first.levels)
    columns = [
        *x[:, :3].T,
        x[:, 0] * x[:, 1],
        x[:, 0] * x[:, 2],
        x[:, 1] * x[:, 2],
        x[:, 3],
        x[:, 4],
        x[:, 3] * x[:, 4],
    ]
    own = np.array(columns) @ np.array(columns).T
    assert first.log_determinant == pytest.approx(np.linalg.slogdet(own)[1], abs=1e-8)
    assert 0.8 < first.d_efficiency <= 1
    assert [crossed.levels[row] for row in first.rows] == list(first.levels)


def test_other_seeds_come_to_nearly_the_same(crossed, terms):
    found = [d_optimal(crossed, terms, 14, seed=seed).log_determinant for seed in range(5)]
    assert max(found) - min(found) < 0.01 * len(terms)  # 1 % of efficiency


def test_factors_in_another_order_make_no_worse_a_design(crossed, terms):
    order = (4, 2, 0, 3, 1)
    turned = Design(
        tuple(crossed.names[i] for i in order),
        tuple(tuple(run[i] for i in order) for run in crossed.levels),
        tuple(crossed.kind[i] for i in order),
    )
    told, other = (d_optimal(one, terms, 14, seed=2) for one in (crossed, turned))
    assert other.log_determinant == pytest.approx(told.log_determinant, abs=1e-9)


def test_another_unit_of_a_factor_changes_no_choice():
    """Coded, or in rev/min: the determinant moves by the square of the unit's factor, the chosen runs do not."""
    coded = grid([-1, -0.5, 0, 0.5, 1])
    real = grid([4000, 5250, 6500, 7750, 9000])
    terms = polynomial_terms(("x",), "quadratic")
    one, two = (d_optimal(candidates, terms, 5, seed=1) for candidates in (coded, real))
    assert one.rows == two.rows
    assert one.d_efficiency == pytest.approx(two.d_efficiency, abs=1e-6)


def test_runs_that_are_made_already_are_kept_and_filled_up(crossed, terms):
    made = (crossed.levels[0], (0.7, 1.4, 4.9, 0.2, -1.0))
    design = d_optimal(crossed, terms, 14, seed=1, include=made)
    assert design.levels[:2] == made
    assert design.rows[:2] == (-1, -1) and -1 not in design.rows[2:]
    free = d_optimal(crossed, terms, 14, seed=1)
    random = np.random.default_rng(1)
    matrix = model_matrix(terms, crossed.names, crossed.levels)
    fixed = model_matrix(terms, crossed.names, made)
    tried = [np.concatenate([fixed, matrix[random.choice(len(matrix), 12)]]) for _ in range(300)]
    assert design.log_determinant <= free.log_determinant + 1e-9
    assert design.log_determinant > max(np.linalg.slogdet(one.T @ one)[1] for one in tried)
    assert "first 2 were to be in" in design.words


def test_without_repeats_no_run_stands_twice(crossed, terms):
    design = d_optimal(crossed, terms, 40, seed=1, repeats=False, include=crossed.levels[:3])
    assert len(set(design.levels)) == 40
    assert len(set(d_optimal(crossed, terms, 60, seed=1).levels)) < 60


def test_what_the_candidates_cannot_tell_is_named(crossed):
    design = d_optimal(crossed, polynomial_terms(crossed.names, "linear"), 12, seed=1)
    assert len(design) == 0 and design.log_determinant is None
    assert design.reason == "the candidates cannot tell these terms apart: 1, CTAC, BTAC, alcohol"
    assert "no runs, as the candidates" in design.words
    corners = two_level_factorial(("A", "B"))
    design = d_optimal(corners, polynomial_terms(("A", "B"), "quadratic"), 8, seed=1)
    assert "1, A^2, B^2" in design.reason


def test_too_few_runs_are_said(crossed, terms):
    assert "9 terms need 9 runs" in d_optimal(crossed, terms, 8, seed=1).reason
    assert "leaves none to choose" in d_optimal(crossed, terms, 9, seed=1, include=crossed.levels[:9]).reason
    assert "more than the 65 candidates" in d_optimal(crossed, terms, 66, seed=1, repeats=False).reason
    stuck = d_optimal(crossed, terms, 9, seed=1, include=[crossed.levels[0]] * 3)
    assert "these stay mixed" in stuck.reason and len(stuck) == 0


def test_impossible_questions_are_refused(crossed, terms):
    assert failed(lambda: d_optimal(Design(("x",), ()), terms, 3, seed=1)) == "design.candidates"
    assert failed(lambda: d_optimal(crossed, terms, 0, seed=1)) == "design.count"
    assert failed(lambda: d_optimal(crossed, terms, 12, seed=-1)) == "design.count"
    assert failed(lambda: d_optimal(crossed, terms, 12, seed=1, include=[(1, 2)])) == "design.levels"
    assert failed(lambda: d_optimal(crossed, lambda points: [1], 12, seed=1)) == "design.model"
    assert failed(lambda: d_optimal(grid([0, 1]), scheffe_terms(("a", "b"), "linear"), 2, seed=1)) == "model.names"


def test_a_function_may_be_the_model():
    cubic = d_optimal(grid(np.linspace(-1, 1, 41)), lambda x: np.vander(np.ravel(x), 4), 4, seed=1)
    assert cubic.terms == ("term 1", "term 2", "term 3", "term 4")
    # Guest (1958): -1, -1/sqrt(5), 1/sqrt(5), 1
    assert sorted(level for (level,) in cubic.levels) == pytest.approx([-1, -0.45, 0.45, 1], abs=1e-9)


def test_terms_that_cannot_be_told_apart_and_no_others():
    x = np.array([[1.0, 2, 3, 0], [1, 0, 1, 1], [1, 1, 2, 5], [1, 3, 4, 2]])  # the third is the sum of the first two
    assert tell_apart(x, ("a", "b", "c", "d")) == ("a", "b", "c")
    assert tell_apart(x[:, [0, 1, 3]], ("a", "b", "d")) == ()
    assert tell_apart(x * [1, 1e-6, 1, 1], ("a", "b", "c", "d")) == ("a", "b", "c")


def test_every_coefficient_may_go_with_the_process(crossed):
    terms = crossed_terms(scheffe_terms(crossed.names[:3], "linear"), polynomial_terms(crossed.names[3:], "linear"))
    design = d_optimal(crossed, terms, 9, seed=1)
    assert np.linalg.matrix_rank(model_matrix(terms, crossed.names, design.levels)) == 9
