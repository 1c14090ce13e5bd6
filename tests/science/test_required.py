from __future__ import annotations

import math

import pytest

from kit.errors import KitError
from kit.science.required import require_finite, require_not_negative, require_positive


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_what_is_not_above_zero_is_refused_by_name(value):
    with pytest.raises(KitError, match="oil density") as error:
        require_positive("creaming", oil_density=value)
    assert error.value.code == "science.not_positive"
    assert error.value.where == "creaming"


@pytest.mark.parametrize("value", [-1e-9, math.nan, math.inf])
def test_what_is_below_zero_is_refused(value):
    with pytest.raises(KitError) as error:
        require_not_negative("mass", mass=value)
    assert error.value.code == "science.negative"


def test_numbers_and_what_is_not_known_are_let_through():
    require_positive("here", one=1e-12, other=None)
    require_not_negative("here", one=0.0, other=None)
    require_finite("here", one=-3.0, other=None)


def test_infinity_is_no_finite_number():
    with pytest.raises(KitError) as error:
        require_finite("here", one=math.inf)
    assert error.value.code == "science.not_finite"
