from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.density_air import air_content, density_from_cup_g_ml, fill_mass_g, volume_ml

densities = st.floats(0.5, 1.3)


def test_an_aerated_cream():
    """By hand: 1 - 0.871 / 0.987 = 11.75 %."""
    air = air_content(0.871, 0.987)
    assert air.volume_pct == pytest.approx(11.75, abs=0.005)
    assert air.distinguishable
    assert "11.8 % air" in air.words
    assert "deaerate" in air.words


def test_the_same_cream_deaerated():
    """By hand: 1 - 0.975 / 0.987 = 1.216 %, below 1.5."""
    air = air_content(0.975, 0.987)
    assert air.volume_pct == pytest.approx(1.216, abs=0.001)
    assert not air.distinguishable
    assert "not distinguishable" in air.words


def test_printed_it_says_its_words():
    """1 - 0.98 / 0.987 = 0.7 %, below 1.5 %."""
    found = air_content(0.98, 0.987)
    assert str(found) == repr(found) == "Air not distinguishable: below 1.5 % it may be the error of the two densities."


def test_denser_than_without_air():
    air = air_content(1.02, 0.987)
    assert air.volume_pct < 0
    assert not air.distinguishable
    assert "air-free density is wrong" in air.words


def test_a_little_denser_is_not_distinguishable_either():
    assert "not distinguishable" in air_content(0.990, 0.987).words


def test_poorly_known_densities_raise_the_limit():
    """By hand: 0.01/0.95 and 0.005/0.987 give 1.168 %, times 0.9625 is 1.124 %, twice 2.25 %."""
    air = air_content(0.95, 0.987, density_sd_g_ml=0.01, air_free_sd_g_ml=0.005)
    assert air.limit_pct == pytest.approx(2.25, abs=0.005)
    assert air.distinguishable  # 3.75 %
    assert air_content(0.95, 0.987, density_sd_g_ml=1e-5).limit_pct == 1.5


def test_a_density_cup():
    assert density_from_cup_g_ml(148.7, 51.2, 100) == pytest.approx(0.975)
    with pytest.raises(KitError) as error:
        density_from_cup_g_ml(51.2, 148.7, 100)
    assert error.value.code == "science.not_positive"


@given(air_free=densities, fraction=st.floats(0, 0.9))
def test_what_is_whipped_in_is_found(air_free, fraction):
    assert air_content(air_free * (1 - fraction), air_free).volume_fraction == pytest.approx(fraction, abs=1e-12)


@given(density=densities, container=st.floats(1, 5000))
def test_a_container_filled_by_mass_is_full(density, container):
    assert volume_ml(fill_mass_g(container, density), density) == pytest.approx(container)


@pytest.mark.parametrize("bad", [0, -1, math.nan])
def test_an_impossible_density_is_refused(bad):
    with pytest.raises(KitError) as error:
        air_content(bad, 0.987)
    assert error.value.code == "science.not_positive"
