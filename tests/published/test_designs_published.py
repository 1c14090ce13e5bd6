"""Catalogues of designs against what is printed: numbers of runs, distances, resolutions, words, corners."""

from __future__ import annotations

from math import comb

import numpy as np
import pytest

from kit.science.design_factorial import fractional_factorial
from kit.science.design_mixture import VERTICES, extreme_vertices, simplex_centroid, simplex_lattice
from kit.science.design_screening import plackett_burman
from kit.science.design_surface import box_behnken, central_composite
from kit.science.model_terms import scheffe_terms

LETTERS = tuple("ABCDEFGHJKLMNOP")


def test_lattices_centroids_and_scheffe_terms_have_the_numbers_of_scheffe():
    """H. Scheffe, J. R. Stat. Soc. B 20 (1958) 344: {q, m} lattice, C(q + m - 1, m) points; B 25 (1963) 235: centroid,
    2^q - 1 points; linear, quadratic, special cubic and full cubic terms for 3 and 4 components.
    """
    lattices = {(3, 2): 6, (3, 3): 10, (4, 2): 10, (4, 3): 20, (5, 2): 15}
    for (size, degree), count in lattices.items():
        design = simplex_lattice(LETTERS[:size], degree)
        assert len(design) == len(set(design.levels)) == count == comb(size + degree - 1, degree)
        assert all(sum(run) == pytest.approx(1, abs=1e-12) for run in design.levels)
    for size, count in {3: 7, 4: 15, 5: 31}.items():
        assert len(set(simplex_centroid(LETTERS[:size]).levels)) == count
    orders = ("linear", "quadratic", "special cubic", "full cubic")
    assert [len(scheffe_terms(LETTERS[:3], order)) for order in orders] == [3, 6, 7, 10]
    assert [len(scheffe_terms(LETTERS[:4], order)) for order in orders] == [4, 10, 14, 20]


def test_the_points_of_a_lattice_and_a_centroid_are_those_printed():
    """NIST/SEMATECH e-Handbook, 5.5.4.2 and 5.5.4.3: {3, 2} lattice and the simplex centroid of three components."""
    corners = {(1, 0, 0), (0, 1, 0), (0, 0, 1)}
    middles = {(0.5, 0.5, 0), (0.5, 0, 0.5), (0, 0.5, 0.5)}
    assert set(simplex_lattice(LETTERS[:3], 2).levels) == corners | middles
    centroid = {tuple(round(part, 12) for part in run) for run in simplex_centroid(LETTERS[:3]).levels}
    assert centroid == corners | middles | {(round(1 / 3, 12),) * 3}


def test_the_corners_of_a_region_are_all_found():
    """By the definition of extreme vertices (Snee and Marquardt (1974), Technometrics 16:399): all but one component at
    a bound, the last between its own. Enumerated by hand over all such combinations.
    """
    names = ("water", "fatty alcohol", "cationic", "oil")
    design = extreme_vertices(names, [0.7, 0.05, 0.03, 0.02], [0.9, 0.15, 0.12, 0.1], parts=(VERTICES,))
    assert design.levels == (
        (0.7, 0.08, 0.12, 0.1),
        (0.7, 0.15, 0.05, 0.1),
        (0.7, 0.15, 0.12, 0.03),
        (0.71, 0.15, 0.12, 0.02),
        (0.72, 0.15, 0.03, 0.1),
        (0.73, 0.05, 0.12, 0.1),
        (0.8, 0.15, 0.03, 0.02),
        (0.81, 0.05, 0.12, 0.02),
        (0.82, 0.05, 0.03, 0.1),
        (0.9, 0.05, 0.03, 0.02),
    )


@pytest.mark.parametrize(
    ("size", "alpha", "composite"), [(2, 1.4142, 8), (3, 1.6818, 14), (4, 2.0, 24), (5, 2.3784, 42)]
)
def test_central_composites_have_the_distance_of_box_and_hunter(size, alpha, composite):
    """Box and Hunter (1957), Ann. Math. Stat. 28:195; NIST/SEMATECH e-Handbook 5.3.3.6.1: alpha = (2^k)^(1/4)."""
    design = central_composite(LETTERS[:size], centre=0)
    assert len(design) == composite
    assert max(max(run) for run in design.levels) == pytest.approx(alpha, abs=1e-4)
    assert max(max(run) for run in central_composite(LETTERS[:size], "face").levels) == 1


@pytest.mark.parametrize(("size", "runs"), [(3, 12), (4, 24), (5, 40), (6, 48), (7, 56)])
def test_box_behnken_designs_have_the_runs_printed(size, runs):
    """Box and Behnken (1960), Technometrics 2:455, table 1, without centre points (the counts from memory): four runs
    for each pair of 3, 4, 5 factors, eight for each of six and of seven triples.
    """
    design = box_behnken(LETTERS[:size], centre=0)
    assert len(design) == len(set(design.levels)) == runs
    assert {abs(level) for run in design.levels for level in run} == {0, 1}


@pytest.mark.parametrize(("size", "together"), [(6, {1: 1, 2: 1, 3: 2}), (7, {1: 1, 2: 1, 3: 1})])
def test_the_triples_of_box_and_behnken_are_built_again(size, together):
    """Their blocks are those of balanced incomplete block designs, in part for six factors: there a triple moved on by
    one place at a time, (0, 1, 3) modulo 6, has the steps 1, 2 and 3, each 3 standing for both directions; for seven
    factors any two meet in one of seven triples (a plane of seven points; modulo 7 the same triple makes one).
    """
    x = np.array(box_behnken(LETTERS[:size], centre=0).levels)
    triples = {tuple(int(place) for place in np.flatnonzero(run)) for run in x}
    assert len(triples) == size
    assert all((np.abs(x[:, triple]).prod(axis=1) == 1).sum() == 8 for triple in map(list, triples))
    met = [[sum({one, two} <= set(triple) for triple in triples) for two in range(size)] for one in range(size)]
    if size == 6:
        assert triples == {tuple(sorted((place + step) % 6 for step in (0, 1, 3))) for place in range(6)}
    for one in range(size):
        for two in range(one + 1, size):
            assert met[one][two] == together[min(two - one, size - two + one)]


def test_three_factors_of_box_behnken_run_by_run():
    """NIST/SEMATECH e-Handbook, table 5.3.3.6.2: two factors at their four combinations, the third at 0."""
    printed = {
        *((a, b, 0) for a in (-1, 1) for b in (-1, 1)),
        *((a, 0, b) for a in (-1, 1) for b in (-1, 1)),
        *((0, a, b) for a in (-1, 1) for b in (-1, 1)),
    }
    assert set(box_behnken(LETTERS[:3], centre=0).levels) == printed


# NIST/SEMATECH e-Handbook, table 5.3.3.4.7: resolution by factors and runs (after Box, Hunter and Hunter).
RESOLUTIONS = {
    (3, 4): 3,
    (4, 8): 4,
    (5, 16): 5,
    (5, 8): 3,
    (6, 32): 6,
    (6, 16): 4,
    (6, 8): 3,
    (7, 64): 7,
    (7, 32): 4,
    (7, 16): 4,
    (7, 8): 3,
    (8, 64): 5,
    (8, 32): 4,
    (8, 16): 4,
    (9, 64): 4,
    (9, 32): 4,
    (9, 16): 3,
    (10, 32): 4,
    (10, 16): 3,
    (11, 16): 3,
}

# Words of length 3, 4, 5 ... of the fractions of least aberration. J. Chen, D. X. Sun and C. F. J. Wu (1993), Int.
# Stat. Review 61:131 (from memory).
WORD_LENGTHS = {
    (5, 8): {3: 2, 4: 1},
    (6, 8): {3: 4, 4: 3},
    (7, 8): {3: 7, 4: 7, 7: 1},
    (6, 16): {4: 3},
    (7, 16): {4: 7},
    (8, 16): {4: 14, 8: 1},
    (9, 16): {3: 4, 4: 14, 5: 8, 7: 4, 8: 1},
    (7, 32): {4: 1, 5: 2},
    (8, 32): {4: 3, 5: 4},
    (9, 32): {4: 6, 5: 8, 8: 1},
    (10, 32): {4: 10, 5: 16, 8: 5},
    (8, 64): {5: 2, 6: 1},
    (9, 64): {4: 1, 5: 4, 6: 2},
}


@pytest.mark.parametrize("case", RESOLUTIONS, ids=str)
def test_fractions_have_the_resolution_of_the_table(case):
    factors, runs = case
    design = fractional_factorial(LETTERS[:factors], runs=runs)
    assert (len(design), design.resolution) == (runs, RESOLUTIONS[case])


@pytest.mark.parametrize("case", WORD_LENGTHS, ids=str)
def test_fractions_have_the_words_of_least_aberration(case):
    factors, runs = case
    lengths = [word.count(":") + 1 for word in fractional_factorial(LETTERS[:factors], runs=runs).defining_words]
    assert {length: lengths.count(length) for length in sorted(set(lengths))} == WORD_LENGTHS[case]


def test_seven_factors_in_eight_runs():
    """Box, Hunter and Hunter (2005), 2nd ed., section 6.5: 2^(7-4), resolution III, D = AB, E = AC, F = BC, G = ABC."""
    design = fractional_factorial(LETTERS[:7], resolution=3)
    assert design.generators == ("D = A:B", "E = A:C", "F = B:C", "G = A:B:C")
    assert len(design.defining_words) == 15
    assert "A = B:D = C:E = F:G" in design.aliases


@pytest.mark.parametrize(("factors", "runs", "first"), [(7, 8, "+++-+--"), (11, 12, "++-+++---+-")])
def test_plackett_burman_starts_with_the_row_printed(factors, runs, first):
    """Plackett and Burman (1946), Biometrika 33:305; NIST/SEMATECH e-Handbook, table 5.3.3.5 for 12 runs."""
    design = plackett_burman(LETTERS[:factors])
    assert len(design) == runs
    assert design.levels[0] == tuple(1.0 if sign == "+" else -1.0 for sign in first)
    assert design.levels[-1] == (-1.0,) * factors
    matrix = np.column_stack([np.ones(runs), design.levels])
    assert np.array_equal(matrix.T @ matrix, runs * np.eye(runs))


@pytest.mark.parametrize(("runs", "first"), [(20, "++--++++-+-+----++-"), (24, "+++++-+-++--++--+-+----")])
def test_larger_plackett_burman_designs_are_orthogonal(runs, first):
    """Plackett and Burman (1946): first rows for 20 and 24 runs (from memory); all columns orthogonal, which a wrong
    sign anywhere would undo.
    """
    design = plackett_burman([f"x{index}" for index in range(runs - 1)])
    assert design.levels[0] == tuple(1.0 if sign == "+" else -1.0 for sign in first)
    matrix = np.column_stack([np.ones(runs), design.levels])
    assert np.array_equal(matrix.T @ matrix, runs * np.eye(runs))
