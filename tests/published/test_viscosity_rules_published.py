"""Rules for viscosity of blends and against temperature."""

from __future__ import annotations

import pytest

from kit.science.blend_viscosity import blend_viscosity, refutas_index
from kit.science.flow_activation import flow_activation

# IAPWS viscosity of water at 0.101325 MPa, with CoolProp 8.0.0.
WATER_C = [10, 20, 25, 30, 40, 50, 60]
WATER_MPA_S = [1.3059, 1.0016, 0.8900, 0.7972, 0.6527, 0.5465, 0.4660]


def test_the_apparent_activation_energy_of_water():
    """16.07 kJ/mol by NumPy on the same values; water is not Arrhenius, the worst point lies 2.7 % off."""
    found = flow_activation(WATER_C, WATER_MPA_S)
    assert found.energy_kj_mol == pytest.approx(16.07, rel=1e-3)
    assert found.worst_misfit == pytest.approx(0.027, abs=5e-4)


def test_a_blend_of_two_oils():
    """30 % of 350 and 70 % of 12 mm2/s: Refutas 25.578 (numbers 36.6738 and 24.577), logarithms 33.01, cube roots
    51.346. R. E. Maples, Petroleum Refinery Process Economics, 2000; Arrhenius 1887; Kendall and Monroe 1917."""
    assert refutas_index(350) == pytest.approx(36.6738, abs=1e-3)
    assert refutas_index(12) == pytest.approx(24.577, abs=1e-3)
    blend = blend_viscosity([0.3, 0.7], [350, 12])
    assert blend.refutas_mm2_s == pytest.approx(25.578, rel=1e-4)
    assert blend.logarithmic_mm2_s == pytest.approx(33.01, rel=1e-4)
    assert blend.cube_root_mm2_s == pytest.approx(51.346, rel=1e-4)
