from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.creaming import LIMIT, creaming, holding_yield_pa, stokes_velocity_m_s

diameters = st.floats(0.1, 200)
oils = st.floats(700, 1200)


@given(diameter=diameters, oil=oils, viscosity=st.floats(1e-3, 100))
def test_light_droplets_rise_and_heavy_ones_sink(diameter, oil, viscosity):
    velocity = stokes_velocity_m_s(diameter, oil, 1000, viscosity)
    assert (velocity < 0) == (oil < 1000)
    assert stokes_velocity_m_s(2 * diameter, oil, 1000, viscosity) == pytest.approx(4 * velocity)
    assert stokes_velocity_m_s(diameter, oil, 1000, 2 * viscosity) == pytest.approx(velocity / 2)


@given(diameter=diameters, oil=st.floats(700, 990), share=st.floats(0, 3).filter(lambda x: abs(x - 1) > 1e-6))
def test_a_yield_value_holds_from_its_criterion_on(diameter, oil, share):
    holding = holding_yield_pa(diameter, oil - 1000)
    found = creaming(diameter, oil, 1000, 1.0, yield_pa=share * holding)
    assert found.held == (share > 1)
    assert found.velocity_m_s == (0 if share > 1 else found.stokes_m_s)


def test_a_held_droplet_that_creams_means_a_collapsed_network():
    found = creaming(10, 920, 1000, 20.0, yield_pa=15)
    assert found.held
    assert found.mm_per_day == 0
    assert "network has collapsed" in found.words


def test_without_a_yield_value_it_is_asked_for():
    found = creaming(10, 920, 1000, 20.0)
    assert found.held is None
    assert "measure it" in found.words
    assert "creams" in found.words
    # by hand: 80 x 9.80665 x 1e-10 / (18 x 20) = 2.179e-10 m/s = 0.0188 mm/d, upwards
    assert found.mm_per_day == pytest.approx(-0.01883, rel=1e-3)


def test_printed_it_says_its_words_and_its_limit():
    found = creaming(2, 920, 998, 1e-3)
    assert str(found) == repr(found) == f"{found.words} {LIMIT}"


def test_a_thin_lotion_creams():
    found = creaming(10, 920, 1000, 0.005, yield_pa=0.0)
    assert found.held is False
    assert "does not hold" in found.words


def test_equal_densities_stay_put():
    assert creaming(10, 1000, 1000, 1.0).words == "Same density: it neither creams nor sinks."


def test_impossible_input_is_refused():
    with pytest.raises(KitError) as error:
        creaming(10, 920, 1000, 0)
    assert error.value.code == "science.not_positive"
    with pytest.raises(KitError) as error:
        creaming(10, 920, 1000, 1, yield_pa=-1)
    assert error.value.code == "science.negative"
