from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.design_surface import FACE, ORTHOGONAL, SPHERICAL, box_behnken, central_composite

LETTERS = tuple("ABCDEFGH")


def moments(design) -> tuple[np.ndarray, np.ndarray]:
    """Sums of fourth powers, and of products of two squares, over the runs."""
    x = np.array(design.levels)
    return (x**4).sum(axis=0), np.array(
        [(x[:, i] ** 2 * x[:, j] ** 2).sum() for i, j in combinations(range(x.shape[1]), 2)]
    )


@pytest.mark.parametrize("size", [2, 3, 4, 5])
def test_a_rotatable_composite_has_the_moments_of_one(size):
    """Box and Hunter (1957): the sum of fourth powers is three times that of the products of squares."""
    fourth, mixed = moments(central_composite(LETTERS[:size]))
    assert fourth == pytest.approx(3 * mixed[0])
    assert np.ptp(mixed) < 1e-9
    fourth, mixed = moments(central_composite(LETTERS[:size], FACE))
    assert abs(fourth[0] / mixed[0] - 3) > 0.5


@pytest.mark.parametrize(("size", "centre"), [(2, 1), (2, 4), (3, 2), (4, 3)])
def test_an_orthogonal_composite_has_uncorrelated_squares(size, centre):
    squares = np.array(central_composite(LETTERS[:size], ORTHOGONAL, centre).levels) ** 2
    correlations = np.corrcoef(squares.T)[np.triu_indices(size, 1)]
    assert np.abs(correlations).max() < 1e-12
    rotatable = np.array(central_composite(LETTERS[:size], centre=centre).levels) ** 2
    assert np.abs(np.corrcoef(rotatable.T)[0, 1]) > 1e-3


def test_other_distances():
    assert max(max(run) for run in central_composite(LETTERS[:3], SPHERICAL).levels) == pytest.approx(3**0.5)
    assert max(max(run) for run in central_composite(LETTERS[:3], 1.5).levels) == 1.5
    for wrong in (0, -1, "far", True, float("nan")):
        with pytest.raises(KitError) as error:
            central_composite(LETTERS[:2], wrong)
        assert error.value.code == "design.alpha"


def test_a_fraction_of_resolution_five_carries_five_factors():
    """2^(5-1) with 10 axial runs: 26 runs, alpha 16^(1/4) = 2, every term of the quadratic model told."""
    design = central_composite(LETTERS[:5], centre=1, fraction=True)
    assert len(design) == 16 + 10 + 1
    assert max(max(run) for run in design.levels) == 2
    x = np.array(design.levels)
    columns = [np.ones(27), *x.T, *(x.T**2), *(x[:, i] * x[:, j] for i, j in combinations(range(5), 2))]
    assert np.linalg.matrix_rank(np.array(columns)) == 21


@pytest.mark.parametrize(("size", "each"), [(3, 8), (4, 12), (5, 16), (6, 24), (7, 24)])
def test_box_behnken_factors_are_balanced_and_the_quadratic_model_is_told(size, each):
    """Each factor is away from 0 as often as any other: in 2 of 3, 3 of 6, 4 of 10 pairs of four runs, and in three
    triples of eight.
    """
    x = np.array(box_behnken(LETTERS[:size], centre=3).levels)
    assert (np.abs(x).sum(axis=0) == each).all()
    assert np.abs(x.T @ x - each * np.eye(size)).max() == 0
    products = [x[:, i] * x[:, j] for i, j in combinations(range(size), 2)]
    columns = np.array([np.ones(len(x)), *x.T, *(x.T**2), *products])
    assert np.linalg.matrix_rank(columns) == (size + 1) * (size + 2) // 2
    assert np.abs(np.array(products) @ x).max() == 0


def test_without_centre_points_it_is_said():
    assert "cannot be told" in box_behnken(LETTERS[:3], centre=0).words
    assert "lack of fit" in central_composite(LETTERS[:2], centre=1).words
    assert "beyond the range" in central_composite(LETTERS[:2]).words
    assert "beyond the range" not in central_composite(LETTERS[:2], FACE).words
    with pytest.raises(KitError) as error:
        box_behnken(LETTERS[:2])
    assert error.value.code == "design.count"
