"""Activity coefficients and water: numbers and arrays alike, and what happens beyond the range."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.activity import debye_hueckel_slope, log10_activity_coefficient, water_permittivity
from kit.science.water_ionisation import pkw, water_density


@pytest.mark.parametrize("function", [debye_hueckel_slope, water_permittivity, pkw, water_density])
def test_numbers_and_arrays_alike(function):
    temps = np.array([5.0, 25.0, 90.0])
    assert function(temps) == pytest.approx([function(temp_c) for temp_c in (5.0, 25.0, 90.0)], rel=1e-14)
    assert function(25) == function(25.0)


def test_the_models_by_hand():
    """I = 0.04: root 0.2, 0.2 / 1.2 = 0.16667; Davies less 0.3 x 0.04 = 0.012; A = 0.5, z = 2."""
    assert log10_activity_coefficient(0.04, 2, "debye-hueckel", slope=0.5) == pytest.approx(-2 * 0.2 / 1.2)
    assert log10_activity_coefficient(0.04, -2, "davies", slope=0.5) == pytest.approx(-2 * (0.2 / 1.2 - 0.012))
    assert log10_activity_coefficient(0.04, 2, "ideal") == 0
    assert log10_activity_coefficient(0.04, 0, "davies") == 0
    assert log10_activity_coefficient(0.0, 3, "davies") == 0


@pytest.mark.parametrize("model", ["davies", "debye-hueckel"])
def test_beyond_half_a_mole_it_is_held(model):
    """The formula of Davies turns up: at 5 mol/kg it would give an ion of charge 4 a coefficient of 10^6."""
    held = log10_activity_coefficient(np.array([0.5, 0.6, 5.0, 50.0]), 1, model)
    assert np.ptp(held) == 0
    assert held[0] < -0.1
    root = math.sqrt(5)
    assert 16 * debye_hueckel_slope(25.0) * (0.3 * 5 - root / (1 + root)) > 6


def test_a_model_there_is_none_of():
    with pytest.raises(KitError) as refused:
        log10_activity_coefficient(0.1, 1, "pitzer")
    assert refused.value.code == "ph.activity"
    assert "davies, debye-hueckel, ideal" in str(refused.value)
