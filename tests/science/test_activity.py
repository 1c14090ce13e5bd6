"""Activity coefficients and water: numbers and arrays alike, and what happens beyond the range."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.errors import KitError
from kit.science.activity import debye_hueckel_slope, log10_activity_coefficient, water_permittivity
from kit.science.water_ionisation import _bandura_lvov, _marshall_franck, pkw, water_density


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


@pytest.mark.parametrize(
    ("temp_k", "density", "iapws", "marshall_franck"),
    [(300.0, 1.0, 13.906565, 13.906222), (600.0, 0.7, 11.203153, 11.274522), (800.0, 1.2, 6.438330, 6.796756)],
)
def test_the_equations_of_water_far_from_the_bench(temp_k, density, iapws, marshall_franck):
    """IAPWS R11-07, table for program verification; Marshall and Franck as the Python library thermo 0.6 computes it.
    Far away a wrong digit shows that moves nothing at the bench.
    """
    assert _bandura_lvov(temp_k, density) == pytest.approx(iapws, abs=1e-6)
    assert _marshall_franck(temp_k, density) == pytest.approx(marshall_franck, abs=1e-6)


def test_permittivity_and_density_by_another_library():
    """The Python library iapws 1.5.5: R8-97, and the density of IAPWS-95 at one atmosphere, 0.01 to 99 degC."""
    temps = np.array([0.01, 25.0, 50.0, 75.0, 99.0])
    assert water_density(temps) == pytest.approx([999.844, 997.048, 988.035, 974.843, 959.066], abs=0.016)
    assert water_permittivity(temps) == pytest.approx([87.8994, 78.4085, 69.9161, 62.3180, 55.7839], abs=0.0015)


def test_a_model_there_is_none_of():
    with pytest.raises(KitError) as refused:
        log10_activity_coefficient(0.1, 1, "pitzer")
    assert refused.value.code == "ph.activity"
    assert "davies, debye-hueckel, ideal" in str(refused.value)
