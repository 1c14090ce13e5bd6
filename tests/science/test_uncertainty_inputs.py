from __future__ import annotations

import math

import pytest

from kit.errors import KitError
from kit.science.uncertainty_inputs import (
    UncertainInput,
    arcsine,
    df_from_doubt,
    from_readings,
    normal,
    rectangular,
    triangular,
)


def test_a_mean_of_readings():
    """JCGM 100:2008, 4.4.3, Figure 1 and Table 1: 20 temperatures, mean 100.14, s 1.489, u 0.333 degC, 19 df."""
    table = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
    table += [100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    found = from_readings("temperature", table)
    assert found.value == pytest.approx(100.145, abs=1e-3)
    assert found.standard_uncertainty == pytest.approx(0.333, abs=5e-4)
    assert (found.df, found.kind) == (19, "A")


@pytest.mark.parametrize(
    ("make", "variance_share"), [(rectangular, 3), (triangular, 6), (arcsine, 2)], ids=["flat", "triangle", "swing"]
)
def test_distributions_by_their_own_integral(make, variance_share):
    """Variance of the density over -a to a: a2/3, a2/6, a2/2."""
    found = make("x", 5.0, 0.6)
    assert found.standard_uncertainty**2 == pytest.approx(0.36 / variance_share)
    assert (found.value, found.kind, found.df) == (5.0, "B", math.inf)


def test_a_certificate():
    found = normal("oil", 12_720, 127.2)
    assert found.standard_uncertainty == pytest.approx(63.6)
    assert "k = 2" in found.how


@pytest.mark.parametrize("readings", [[1.0], [2.0, 2.0, 2.0]])
def test_readings_without_scatter_are_refused(readings):
    with pytest.raises(KitError) as error:
        from_readings("pH", readings)
    assert error.value.code == "uncertainty.readings"


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("x", math.nan, 1), "science.not_finite"),
        (("x", 1, -1), "science.negative"),
        (("x", 1, math.nan), "science.negative"),
        (("x", 1, 1, 0), "uncertainty.df"),
        (("x", 1, 1, math.nan), "uncertainty.df"),
    ],
)
def test_impossible_inputs_are_refused(arguments, code):
    with pytest.raises(KitError) as error:
        UncertainInput(*arguments)
    assert error.value.code == code


def test_no_doubt_at_all_is_refused():
    with pytest.raises(KitError) as error:
        df_from_doubt(0)
    assert error.value.code == "science.not_positive"
