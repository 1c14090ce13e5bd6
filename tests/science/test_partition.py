"""Partition against mass balances solved another way, and against the worked example of a conditioner."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from kit.science.partition import WIDEST_USEFUL_RATIO, free_share, too_wide, water_concentration

MASS = st.floats(0.1, 30)
COEFFICIENT = st.floats(0, 300)


def test_phenoxyethanol_in_a_conditioner():
    """0.8 % phenoxyethanol, 82 g water, 3.5 g oil with K 2.7, 7 g bilayer: 82 / (82 + 9.45) = 0.897 with nothing in the
    bilayer, 82 / (82 + 9.45 + 112) = 0.403 at K 16. Free between 40 and 90 %: too wide to choose by."""
    most, least = free_share(82, [(2.7, 3.5)]), free_share(82, [(2.7, 3.5)], 7, 16)
    assert (most, least) == (pytest.approx(0.8967, abs=1e-4), pytest.approx(0.4031, abs=1e-4))
    assert too_wide(0.40, 0.90) and too_wide(least, most)
    assert not too_wide(0.50, 0.90) and too_wide(0.0, 0.01)
    assert WIDEST_USEFUL_RATIO == 2
    # 48.9 and 97.9 % are shown as 49 and 98: twice, to a reader, and so are 49.4 and 98.7, shown as 49 and 99
    assert not too_wide(0.489, 0.979) and not too_wide(0.494, 0.987) and too_wide(0.47, 0.98)


@given(MASS, MASS, COEFFICIENT, MASS, COEFFICIENT, st.floats(2, 8), st.floats(3, 6), st.floats(0, 60))
def test_every_gram_is_found_again(water, oil, into_oil, lipid, into_lipid, ph, pka, bound):
    """Masses of all the forms, put together from the concentration in the water, add up to the whole."""
    share = free_share(water, [(into_oil, oil)], lipid, into_lipid, ph, pka, bound)
    concentration = share / water
    ion = concentration * 10 ** (ph - pka) * water
    whole = share + concentration * into_oil * oil + concentration * into_lipid * lipid + ion + ion * bound
    assert whole == pytest.approx(1, rel=1e-9)
    assert 0 < share <= 1


@given(MASS, COEFFICIENT, st.floats(2, 8), st.floats(0, 60), st.floats(0, 1))
def test_room_for_the_ion_is_a_saturation(oil, into_oil, ph, bound, room):
    """The same balance solved by bisection, the ion bound being the smaller of its ratio and the room."""

    def excess(share: float) -> float:
        ion = share * 10 ** (ph - 4.2)
        return share + share / 80 * into_oil * oil + ion + min(bound * ion, room) - 1

    found = free_share(80, [(into_oil, oil)], 0, 0, ph, 4.2, bound, room)
    assert found == pytest.approx(brentq(excess, 0, 1, xtol=1e-15, rtol=1e-12), rel=1e-8, abs=1e-12)


def test_one_oil_by_mass_is_the_two_phase_formula():
    """With densities of one, phi = m_o / m_w: share of the whole x T over m_w is C (phi + 1) / (K phi + 1)."""
    free = 5 * free_share(80, [(116.7, 20)]) / 80
    assert free == pytest.approx(water_concentration(5 / 100, 116.7, 20 / 80))


def test_an_acid_only_loses_by_ph_oil_and_binding():
    ph = np.linspace(3, 7, 50)
    bare = free_share(82, ph=ph, pka=4.2)
    assert bare == pytest.approx(1 / (1 + 10 ** (ph - 4.2)))
    oiled = free_share(82, [(6, 3)], ph=ph, pka=4.2)
    bound = free_share(82, [(6, 3)], ph=ph, pka=4.2, ion_bound_per_free=39)
    assert all(np.diff(bare) < 0) and all(oiled < bare) and all(bound < oiled)


def test_arrays_are_the_numbers_one_by_one():
    ph = [3.5, 4.5, 5.5]
    together = free_share(82, [(6, 3)], 7, 76, np.array(ph), 4.2, 39, 0.6)
    assert list(together) == [free_share(82, [(6, 3)], 7, 76, one, 4.2, 39, 0.6) for one in ph]
