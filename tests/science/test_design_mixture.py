from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.design_constraint import half_spaces
from kit.science.design_mixture import (
    EDGES,
    FACES,
    OVERALL,
    VERTICES,
    extreme_vertices,
    from_pseudocomponents,
    simplex_centroid,
    simplex_lattice,
    to_pseudocomponents,
)
from kit.science.design_region import mixture_region

TEA = ("CTAC", "BTAC", "alcohol")
TEA_LOWER, TEA_UPPER = (0, 0.5, 4), (1.5, 2.5, 6)


def corners_by_trying(lower, upper, total, more=()) -> set[tuple[float, ...]]:
    """Corners by solving every set of q - 1 constraints with the total, in floating point, and keeping what fits."""
    size = len(lower)
    rows = [(-np.eye(size)[i], -lower[i]) for i in range(size)] + [(np.eye(size)[i], upper[i]) for i in range(size)]
    rows += [(np.array(factors, dtype=float), bound) for factors, bound in more]
    found = set()
    for chosen in combinations(rows, size - 1):
        system = np.array([np.ones(size), *(factors for factors, _ in chosen)])
        if abs(np.linalg.det(system)) < 1e-9:
            continue
        point = np.linalg.solve(system, [total, *(bound for _, bound in chosen)])
        if all(factors @ point <= bound + 1e-9 for factors, bound in rows):
            found.add(tuple(round(float(value), 7) + 0.0 for value in point))
    return found


def rounded(points) -> set[tuple[float, ...]]:
    return {tuple(round(float(value), 7) + 0.0 for value in point) for point in points}


def failed(call) -> KitError:
    with pytest.raises(KitError) as error:
        call()
    return error.value


def test_the_region_of_three_components_has_six_corners():
    """CTAC 0-1.5, BTAC 0.5-2.5, alcohol 4-6 of 7: with alcohol = 7 less both, CTAC + BTAC lies between 1 and 3."""
    design = extreme_vertices(TEA, TEA_LOWER, TEA_UPPER, 7, parts=(VERTICES, OVERALL))
    assert set(design.levels[:-1]) == {
        (0, 1, 6),
        (0, 2.5, 4.5),
        (0.5, 0.5, 6),
        (0.5, 2.5, 4),
        (1.5, 0.5, 5),
        (1.5, 1.5, 4),
    }
    assert design.levels[-1] == pytest.approx((4 / 6, 8.5 / 6, 29.5 / 6))


def test_a_constraint_of_two_components_cuts_corners_off():
    """CTAC + BTAC <= 2.5 is alcohol >= 4.5: (0.5, 2.5, 4) and (1.5, 1.5, 4) go; BTAC 2.5 and CTAC 1.5 give new ones."""
    design = extreme_vertices(TEA, TEA_LOWER, TEA_UPPER, 7, ["CTAC + BTAC <= 2.5"], parts=(VERTICES,))
    assert set(design.levels) == {(0, 1, 6), (0, 2.5, 4.5), (0.5, 0.5, 6), (1.5, 0.5, 5), (1.5, 1, 4.5)}
    assert "lower bound of alcohol, 4, cannot be reached: the others leave 4.5 at least" in design.words


def test_edges_sides_and_their_middles():
    region = mixture_region(("a", "b", "c", "d"), [0] * 4, [0.5] * 4)
    corners, edges, sides = len(region.vertices), len(region.edges()), len(region.sides())
    assert (corners, edges, sides) == (6, 12, 8)  # pairs at one half each: an octahedron
    design = extreme_vertices(region.names, [0] * 4, [0.5] * 4, parts=(EDGES, FACES, OVERALL))
    assert (0.25, 0.25, 0.25, 0.25) in design.levels
    assert len(design) == 12 + 8 + 1
    assert region.dimension == 3


@settings(max_examples=60, deadline=None)
@given(data=st.data(), size=st.integers(3, 5))
def test_corners_are_those_found_by_trying_everything(data, size):
    lower = [data.draw(st.integers(0, 20)) / 100 for _ in range(size)]
    upper = [low + data.draw(st.integers(1, 60)) / 100 for low in lower]
    factors = [data.draw(st.integers(-2, 2)) for _ in range(size)]
    bound = data.draw(st.integers(-40, 80)) / 100
    expected = corners_by_trying(lower, upper, 1.0, [(factors, bound)])
    assume(any(factors))
    more = [(dict(zip("abcde", factors, strict=False)), bound)]
    names = tuple("abcde"[:size])
    if not expected:
        assert failed(lambda: mixture_region(names, lower, upper, 1, more)).code == "design.infeasible"
        return
    region = mixture_region(names, lower, upper, 1, more)
    assert rounded(region.vertices) == expected
    assert all(region.contains(vertex) for vertex in region.vertices)
    if region.dimension == 3:
        assert len(region.vertices) - len(region.edges()) + len(region.sides()) == 2  # Euler
    if region.dimension == 2:
        assert len(region.vertices) == len(region.edges())
        assert len(region.sides()) == 1
    middle = [sum(column) / len(region.vertices) for column in zip(*region.vertices, strict=True)]
    assert region.contains(middle)


@given(order=st.permutations(range(4)))
@settings(max_examples=15, deadline=None)
def test_components_in_another_order_give_the_same_mixtures(order):
    names, lower, upper = "wfco", (0.7, 0.05, 0.03, 0.02), (0.9, 0.15, 0.12, 0.1)
    told = extreme_vertices(tuple(names), lower, upper, parts=(VERTICES, EDGES, OVERALL))
    turned = extreme_vertices(
        tuple(names[i] for i in order),
        [lower[i] for i in order],
        [upper[i] for i in order],
        parts=(VERTICES, EDGES, OVERALL),
    )
    back = rounded([run[turned.names.index(name)] for name in names] for run in turned.levels)
    assert back == rounded(told.levels)


def test_bounds_that_clash_are_named_and_no_others():
    error = failed(
        lambda: mixture_region(TEA, (0, 0.5, 5), (3, 2.5, 6), 7, ["CTAC + BTAC >= 2.5", "alcohol >= 2 CTAC"])
    )
    assert error.code == "design.infeasible"
    assert "alcohol >= 5; CTAC + BTAC >= 2.5" in error.what
    assert "2 CTAC" not in error.what and "<= 3" not in error.what
    error = failed(lambda: mixture_region(("a", "b"), (0.6, 0.6), (1, 1)))
    assert "a >= 0.6; b >= 0.6" in error.what
    error = failed(lambda: mixture_region(("a", "b"), (0.3, 0), (0.2, 1)))
    assert "a >= 0.3; a <= 0.2" in error.what
    error = failed(lambda: mixture_region(("a", "b"), (0, 0), (0.4, 0.4)))
    assert "a <= 0.4; b <= 0.4" in error.what


def test_a_region_may_be_a_single_mixture():
    region = mixture_region(("a", "b", "c"), (0.2, 0.3, 0.5), (1, 1, 1))
    assert region.vertices == ((Fraction(1, 5), Fraction(3, 10), Fraction(1, 2)),)
    assert (region.dimension, region.edges(), region.sides()) == (0, (), ())


def test_constraints_are_read_exactly():
    names = ("fatty alcohol", "alcohol", "cetyl-esters")
    (first,) = half_spaces(names, ["2 fatty alcohol - 0.5*alcohol + 1 <= 3 + cetyl-esters"])
    assert (first.coefficients, first.bound) == ((2, Fraction(-1, 2), -1), 2)
    low, high = half_spaces(names, ["0.1 <= alcohol + cetyl-esters <= 2"])
    assert (low.coefficients, low.bound) == ((0, -1, -1), Fraction(-1, 10))
    assert (high.coefficients, high.bound) == ((0, 1, 1), 2)
    assert len(half_spaces(names, "alcohol = 3")) == 2
    assert half_spaces(names, [({"alcohol": 2}, 1.1)])[0].bound == Fraction(11, 10)


@pytest.mark.parametrize(
    "text", ["", "CTAC", "CTAC + <= 2", "CTAC BTAC <= 2", "CTAC * BTAC <= 2", "glycerin <= 2", "1 <= 2", "CTAC <= x", 5]
)
def test_constraints_that_cannot_be_read_are_refused(text):
    assert failed(lambda: half_spaces(TEA, [text])).code == "design.constraint"


@pytest.mark.parametrize(
    ("lower", "upper", "total"),
    [((0, 0), (1, 1, 1), 1), ((-0.1, 0, 0), (1, 1, 1), 1), ((0, 0, 0), (1, 1, 1), 0), (("a lot", 0, 0), (1, 1, 1), 1)],
)
def test_bounds_that_are_no_bounds_are_refused(lower, upper, total):
    assert failed(lambda: mixture_region(TEA, lower, upper, total)).code == "design.bounds"


def test_pseudocomponents_there_and_back():
    """Lower bounds 0, 0.5 and 4 of 7 leave 2.5: (0.5, 1.5, 5) is (0.2, 0.4, 0.4)."""
    assert to_pseudocomponents((0.5, 1.5, 5), TEA_LOWER, 7) == pytest.approx((0.2, 0.4, 0.4), abs=1e-15)
    assert from_pseudocomponents((0.2, 0.4, 0.4), TEA_LOWER, 7) == pytest.approx((0.5, 1.5, 5), abs=1e-15)
    assert from_pseudocomponents((1, 0, 0), TEA_LOWER, 7) == (2.5, 0.5, 4)
    for run in simplex_lattice(TEA, 3).levels:
        assert to_pseudocomponents(from_pseudocomponents(run, TEA_LOWER, 7), TEA_LOWER, 7) == pytest.approx(run)
    assert failed(lambda: to_pseudocomponents((1, 1, 5), (1, 1, 5), 7)).code == "design.bounds"


def test_lattices_have_their_total_and_their_symmetry():
    for design in (simplex_lattice(TEA, 3, total=7), simplex_centroid(TEA, total=7)):
        assert all(sum(run) == pytest.approx(7, abs=1e-12) for run in design.levels)
        assert {run[::-1] for run in design.levels} == set(design.levels)
    assert failed(lambda: simplex_lattice(TEA, 0)).code == "design.count"
    assert failed(lambda: simplex_lattice(TEA, 2, total=0)).code == "design.bounds"
    assert failed(lambda: extreme_vertices(TEA, TEA_LOWER, TEA_UPPER, 7, parts=("middles",))).code == "design.parts"


def test_what_a_mixture_breaks_is_said():
    region = mixture_region(TEA, TEA_LOWER, TEA_UPPER, 7, ["CTAC + BTAC <= 2.5"])
    assert region.broken((1.5, 1.5, 4)) == ("CTAC + BTAC <= 2.5",)
    assert region.broken((1, 1, 4)) == ("total = 7",)
    assert region.contains((1.000001, 1, 5), tolerance=1e-5) and not region.contains((1.000001, 1, 5))
