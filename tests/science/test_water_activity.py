"""Water activity against published osmotic coefficients and arithmetic by hand.

By definition of the osmotic coefficient, ln a_w = -M_w x nu x m x phi, with M_w = 0.018015 kg/mol. R. A. Robinson and
R. H. Stokes, Electrolyte Solutions, appendix (from memory): sucrose phi = 1.088 at 1.0 mol/kg, 25 degC. Norrish's K of
sucrose: 6.47 (Norrish 1966, from memory); of glycerol 1.16 and sorbitol 1.65 as in the table of alditols of PMC2836749.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.science.water_activity import norrish, ross

WATER = 1000 / 18.015  # mol in a kilogram


def _from_osmotic(molality: float, phi: float) -> float:
    return math.exp(-0.018015 * molality * phi)


def test_norrish_for_sucrose_against_its_osmotic_coefficient():
    published = _from_osmotic(1.0, 1.088)  # 0.98059
    assert norrish(WATER, 1.0, 6.47) == pytest.approx(published, abs=0.0005)
    assert abs(norrish(WATER, 1.0) - published) > 0.001  # the ideal solution, 0.98231, does not pass


# grams of glycerol (92.09) and water, by hand:
# 3 in 82: 0.032577 and 4.55176 mol, x_s = 0.0071062, (1 - x_s) exp(-1.16 x_s^2) = 0.992894 x 0.999941
# 10 in 75: 0.108589 and 4.16320, x_s = 0.0254200; 0.974580 x 0.999251
# 30 in 55: 0.325768 and 3.05301, x_s = 0.0964144; 0.903586 x 0.989275
GLYCEROL = [(3, 82, 0.9928), (10, 75, 0.9738), (30, 55, 0.8939)]


@pytest.mark.parametrize(("glycerol_g", "water_g", "activity"), GLYCEROL)
def test_glycerol_by_hand(glycerol_g, water_g, activity):
    found = norrish(water_g / 18.015, glycerol_g / 92.09, 1.16)
    assert found == pytest.approx(activity, abs=6e-5)
    assert 1 - activity > 0.007  # pure water does not pass


def test_a_mixture_is_the_product_of_each_alone():
    """Glycerol 3 g (0.99284) and sorbitol 1 g in 82 g: 0.0054894 mol, x_s 0.0012046, 0.9987954 x exp(-2.4e-6)."""
    glycerol, sorbitol = norrish(82 / 18.015, 3 / 92.09, 1.16), norrish(82 / 18.015, 1 / 182.17, 1.65)
    assert sorbitol == pytest.approx(0.998793, abs=2e-6)
    assert ross([glycerol, sorbitol]) == pytest.approx(0.9916, abs=6e-5)
    assert ross([]) == 1


@given(st.floats(0.1, 60), st.floats(0, 30), st.floats(0, 7))
def test_a_solute_lowers_it_and_a_constant_lowers_it_more(water, solute, k):
    ideal = water / (water + solute)  # Raoult: the mole fraction of water
    assert norrish(water, solute) == pytest.approx(ideal)
    assert 0 <= norrish(water, solute, k) <= ideal + 1e-15 <= 1 + 1e-12


def test_arrays():
    found = norrish(np.array([82, 75, 55]) / 18.015, np.array([3, 10, 30]) / 92.09, 1.16)
    assert found == pytest.approx([0.9928, 0.9738, 0.8939], abs=6e-5)
