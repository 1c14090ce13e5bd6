"""Un-ionised shares against the definition of pKa, exact fractions and a general acid-base mass-action solution.

At pH = pKa half of a monoprotic acid is un-ionised (definition). At pKa - 1 it is 10 / 11, at pKa + 1 it is 1 / 11: the
ratio of acid to ion is 10^(pKa - pH), Henderson-Hasselbalch, any textbook of analytical chemistry.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.science.ionisation import unionised_fraction


@pytest.mark.parametrize(("away", "share"), [(-1, Fraction(10, 11)), (0, Fraction(1, 2)), (1, Fraction(1, 11))])
def test_whole_units_from_the_pka(away, share):
    assert unionised_fraction(4.2 + away, 4.2) == pytest.approx(float(share), rel=1e-12)
    assert unionised_fraction(9.2 + away, 9.2) == pytest.approx(float(share), rel=1e-12)


# pKa of benzoic acid 4.20 (CRC Handbook: 4.204), sorbic 4.76, worked here step by step: ratio 10^(pH - pKa), then
# 1 / (1 + ratio). Taking all of it as acid (1) or none (0) is off by 0.03 at least; the tolerance is 0.0005.
BY_HAND = [
    (4.0, 4.20, 0.6131),  # 10^-0.20 = 0.6310; 1 / 1.6310
    (4.5, 4.20, 0.3339),  # 10^0.30 = 1.9953; 1 / 2.9953
    (5.0, 4.20, 0.1368),  # 10^0.80 = 6.3096; 1 / 7.3096
    (5.6, 4.20, 0.0383),  # 10^1.40 = 25.119; 1 / 26.119
    (5.0, 4.76, 0.3653),  # 10^0.24 = 1.7378; 1 / 2.7378
    (5.5, 4.76, 0.1540),  # 10^0.74 = 5.4954; 1 / 6.4954
]


@pytest.mark.parametrize(("ph", "pka", "share"), BY_HAND)
def test_preservative_acids_by_hand(ph, pka, share):
    assert unionised_fraction(ph, pka) == pytest.approx(share, abs=5e-5)


def test_an_acid_of_several_protons_is_solved_by_mass_action():
    """Citric acid 3.13, 4.76, 6.40 at pH 4: with [H] = 1e-4 each ion is the one before times K / [H]. Sum to 1."""
    h, constants = 1e-4, [10**-pka for pka in (3.13, 4.76, 6.40)]
    species = [1.0]
    for constant in constants:
        species.append(species[-1] * constant / h)
    share = species[0] / sum(species)  # 1 / (1 + 7.413 + 1.2883 + 0.00513) = 0.1030
    assert share == pytest.approx(0.1030, abs=5e-5)
    assert unionised_fraction(4.0, (3.13, 4.76, 6.40)) == pytest.approx(share, rel=1e-12)
    assert unionised_fraction(4.0, 3.13) - share > 0.01  # with the first constant alone it would be 0.1189


@given(st.floats(0, 14), st.floats(0, 14))
def test_acid_and_ion_make_the_whole(ph, pka):
    acid = unionised_fraction(ph, pka)
    assert 0 < acid < 1
    assert math.log10((1 - acid) / acid) == pytest.approx(ph - pka, abs=1e-3) or acid > 1 - 1e-12


def test_arrays_are_taken_as_they_are():
    ph = np.array([3.2, 4.2, 5.2])
    assert unionised_fraction(ph, 4.2) == pytest.approx([10 / 11, 0.5, 1 / 11])
    assert unionised_fraction(ph, (4.2,)).shape == (3,)
