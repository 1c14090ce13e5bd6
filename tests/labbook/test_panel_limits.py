"""Whether a batch is inside its limits before it goes on people: units are converted, jars kept warm are no witness."""

from __future__ import annotations

from decimal import Decimal

import pytest

from kit.bench.readings import Reading
from kit.formula.model import SpecLine
from kit.labbook.panel_safety import _is_outside


def reading(value: str, unit: str = "mPa.s") -> Reading:
    return Reading(entry=1, batch="WOO-01/1", property="viscosity", value=Decimal(value), unit=unit)


@pytest.mark.parametrize(
    ("value", "unit", "asked", "outside"),
    [
        ("30000", "mPa.s", "Pa.s", True),  # 30 Pa.s against 15 to 25 Pa.s
        ("20000", "mPa.s", "Pa.s", False),
        ("20", "Pa.s", "Pa.s", False),
        ("20", "mPa.s", "%", True),  # nobody can say that it is inside
        ("20", "mPa.s", "", False),  # limits without a unit are in that of the readings
    ],
)
def test_a_limit_in_another_unit_is_converted(value, unit, asked, outside):
    line = SpecLine("viscosity", Decimal(15), Decimal(25), asked)
    assert _is_outside([reading(value, unit)], line) is outside
