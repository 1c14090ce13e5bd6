from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.centrifuge import LIMITS, relative_force, spin
from kit.science.creaming import holding_yield_pa


@given(radius=st.floats(1, 40), rpm=st.floats(100, 20_000))
def test_the_force_goes_with_radius_and_the_square_of_speed(radius, rpm):
    force = relative_force(radius, rpm)
    assert relative_force(2 * radius, rpm) == pytest.approx(2 * force)
    assert relative_force(radius, 2 * rpm) == pytest.approx(4 * force)


def test_a_gel_equals_no_time_at_rest():
    found = spin(10, 3000, 30)
    assert found.equivalent_days is None
    assert "no time at rest" in found.words
    assert found.limits == LIMITS
    assert str(found).startswith(found.words)
    assert all(limit in str(found) for limit in LIMITS)


def test_a_plain_liquid_equals_days():
    found = spin(10, 3000, 30, gel=False)
    assert found.equivalent_days == pytest.approx(21, abs=0.05)
    assert "does not hold in a gel" in found.limits[0]


def test_a_yield_value_makes_it_a_gel_whatever_was_said():
    assert spin(10, 3000, 30, gel=False, yield_pa=5.0).equivalent_days is None


def test_a_spin_may_break_what_stands_at_rest():
    """10 um, 80 kg/m3: 0.37 mPa at rest, 0.376 Pa at 1006 g. 5 Pa hold both, 0.1 Pa rest only, 0.1 mPa neither."""
    given_droplets = {"diameter_um": 10, "density_difference_kg_m3": 80}
    assert holding_yield_pa(10, 80) == pytest.approx(3.74e-4, rel=0.01)
    assert "even in the spin" in spin(10, 3000, 30, yield_pa=5.0, **given_droplets).words
    assert "would stay put at rest" in spin(10, 3000, 30, yield_pa=0.1, **given_droplets).words
    assert "even at rest" in spin(10, 3000, 30, yield_pa=1e-4, **given_droplets).words


def test_impossible_spins_are_refused():
    with pytest.raises(KitError) as error:
        spin(0, 3000, 30)
    assert error.value.code == "science.not_positive"
    with pytest.raises(KitError) as error:
        spin(10, 3000, -1)
    assert error.value.code == "science.negative"
