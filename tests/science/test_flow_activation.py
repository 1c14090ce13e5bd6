from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.flow_activation import flow_activation

TEMPS = [20, 25, 30, 40]


@given(energy=st.floats(-50, 120), at_25=st.floats(0.1, 1e5))
def test_an_exact_line_is_found_again(energy, at_25):
    readings = [at_25 * math.exp(1000 * energy / 8.314462618 * (1 / (t + 273.15) - 1 / 298.15)) for t in TEMPS]
    found = flow_activation(TEMPS, readings)
    assert found.energy_kj_mol == pytest.approx(energy, abs=1e-8)
    assert found.worst_misfit == pytest.approx(0, abs=1e-9)
    assert found.viscosity_mpa_s(25) == pytest.approx(at_25)


def test_its_standard_error_is_that_of_a_straight_line():
    """Against scipy.stats.linregress of ln viscosity on 1/(R T)."""
    from scipy.stats import linregress

    readings = [15_000, 12_300, 9_700, 6_100]
    peer = linregress([1 / (8.314462618 * (t + 273.15)) for t in TEMPS], [math.log(one) for one in readings])
    found = flow_activation(TEMPS, readings)
    assert 1000 * found.energy_kj_mol == pytest.approx(peer.slope, rel=1e-9)
    assert 1000 * found.standard_error_kj_mol == pytest.approx(peer.stderr, rel=1e-6)
    assert found.energy_kj_mol > 0
    assert "apparent" in found.words.lower()


@pytest.mark.parametrize(
    ("temps", "values", "code"),
    [
        ([20, 25], [10, 9], "activation.readings"),
        ([25, 25, 25], [10, 9, 8], "activation.readings"),
        ([20, 25, 30], [10, 9], "activation.readings"),
        ([20, 25, 30], [10, 9, 0], "science.not_positive"),
        ([20, 25, -300], [10, 9, 8], "science.not_positive"),
        ([20, 25, 30], [10, 9, math.nan], "science.not_positive"),
    ],
)
def test_too_few_or_impossible_readings_are_refused(temps, values, code):
    with pytest.raises(KitError) as error:
        flow_activation(temps, values)
    assert error.value.code == code


def test_the_worst_misfit_is_that_of_the_reading_over_the_line():
    """Three temperatures even in 1/T, the middle reading 30 % up: the line rises by a third of ln 1.3, so the middle
    lies 1.3^(2/3) - 1 = 19.1 % above it and the ends 1 - 1.3^(-1/3) = 8.4 % below."""
    even = [1 / (1 / 300 + step * 1e-4) - 273.15 for step in (-1, 0, 1)]
    found = flow_activation(even, [1000, 1300, 1000])
    assert found.energy_kj_mol == pytest.approx(0, abs=1e-9)
    assert found.worst_misfit == pytest.approx(1.3 ** (2 / 3) - 1, rel=1e-9)


def test_nothing_is_told_outside_the_readings():
    with pytest.raises(KitError) as error:
        flow_activation(TEMPS, [4, 3, 2.5, 1.6]).viscosity_mpa_s(45)
    assert error.value.code == "activation.outside"
