from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.blend_viscosity import blend_viscosity, refutas_index

viscosities = st.floats(1, 1e4)


@given(share=st.floats(0, 1), thin=viscosities, thick=viscosities)
def test_every_rule_stays_between_the_parts_and_cube_roots_lie_highest(share, thin, thick):
    blend = blend_viscosity([share, 1 - share], [thin, thick])
    low, high = min(thin, thick), max(thin, thick)
    assert low * (1 - 1e-9) <= blend.low_mm2_s <= blend.high_mm2_s <= high * (1 + 1e-9)
    assert blend.cube_root_mm2_s >= blend.logarithmic_mm2_s * (1 - 1e-12) >= blend.refutas_mm2_s * (1 - 1e-6)


@given(viscosity=viscosities)
def test_one_oil_is_its_own_blend(viscosity):
    blend = blend_viscosity([1.0], [viscosity])
    assert (blend.low_mm2_s, blend.high_mm2_s) == pytest.approx((viscosity, viscosity))


@pytest.mark.parametrize(
    ("shares", "values", "code"),
    [
        ([0.5, 0.4], [10, 20], "blend.fractions"),
        ([0.5, 0.5], [10], "blend.fractions"),
        ([], [], "blend.fractions"),
        ([1.5, -0.5], [10, 20], "science.negative"),
        ([0.5, 0.5], [10, 0], "science.not_positive"),
        ([0.5, 0.5], [10, 0.1], "blend.viscosity"),
    ],
)
def test_impossible_blends_are_refused(shares, values, code):
    with pytest.raises(KitError) as error:
        blend_viscosity(shares, values)
    assert error.value.code == code


def test_the_limits_name_the_gel():
    assert "gel" in blend_viscosity([1.0], [10]).limits[-1]


def test_the_blending_number_rises_with_viscosity():
    assert refutas_index(1) < refutas_index(10) < refutas_index(1000)
