from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.science.mixing import Liquid
from kit.science.scale_rules import (
    ENERGY_PER_MASS,
    GAP_SHEAR,
    POWER_PER_VOLUME,
    REYNOLDS,
    RULES,
    TIP_SPEED,
    TURNOVERS,
    Stirring,
    scale_up,
)
from kit.science.stirrers import Span, Stirrer

NUMBERS = {"power_number": Span(1, 3), "pumping_number": Span(0.4, 0.6), "metzner_otto": 11.5}
SMALL_HEAD = Stirrer("bench head", 0.025, gap_m=0.2e-3, rotor_stator=True, **NUMBERS)
LARGE_HEAD = Stirrer("plant head", 0.100, gap_m=0.4e-3, rotor_stator=True, **NUMBERS)
WATER_LIKE = Liquid(1000, 0.001)
BENCH = Stirring(SMALL_HEAD, 8000, 3, 0.4e-3, WATER_LIKE)


def kept(rule, **named):
    return scale_up(BENCH, LARGE_HEAD, 25.6e-3, rule, **named)


@pytest.mark.parametrize(
    ("rule", "rpm"),
    [
        (TIP_SPEED, 8000 / 4),
        (GAP_SHEAR, 8000 / 4 * 2),
        (REYNOLDS, 8000 / 16),
        (TURNOVERS, 8000),
        (POWER_PER_VOLUME, 8000 * (64 / 1024) ** (1 / 3)),
        (ENERGY_PER_MASS, 8000 * (64 / 1024) ** (1 / 3)),
    ],
)
def test_the_speed_that_keeps_one_quantity(rule, rpm):
    """By hand, diameter x 4 and volume x 64, gap x 2: N D; N D / gap; N D2; N D3 / V; N3 D5 / V."""
    assert kept(rule).large.rpm == pytest.approx(rpm, rel=1e-9)


def test_what_the_others_become_at_equal_tip_speed():
    """By hand, N / 4: power per volume 4^-3 4^5 / 64 = 1/4, Reynolds 4, turnovers 1/4, gap shear 1/2."""
    table = kept(TIP_SPEED)
    assert table.row(TIP_SPEED).words == "kept"
    ratios = {row.quantity: row.ratio for row in table.rows}
    assert ratios[POWER_PER_VOLUME] == pytest.approx(0.25)
    assert ratios[ENERGY_PER_MASS] == pytest.approx(0.25)
    assert ratios[REYNOLDS] == pytest.approx(4)
    assert ratios[TURNOVERS] == pytest.approx(0.25)
    assert ratios[GAP_SHEAR] == pytest.approx(0.5)
    assert table.row(REYNOLDS).words == "4 times as much"
    assert table.row(TURNOVERS).words == "down to 25 %"
    assert str(table).startswith("tip speed kept: 2000 rpm")


def test_turnovers_in_five_minutes_fall_by_the_known_factor():
    """A head of equal tip speed on 1000 times the volume, ten times the size: turnovers fall tenfold."""
    large = dataclasses.replace(LARGE_HEAD, diameter_m=0.25)
    table = scale_up(BENCH, large, 0.4, TIP_SPEED)
    assert table.row(TURNOVERS).ratio == pytest.approx(0.1)


def test_more_time_keeps_turnovers_at_a_lower_speed():
    assert kept(TURNOVERS, minutes=12).large.rpm == pytest.approx(2000, rel=1e-9)


def test_a_product_that_thins_keeps_its_reynolds_number_at_another_speed():
    """N^(2-n) D2 is kept: n 0.4, D x 4, so N x 4^(-2/1.6)."""
    bench = dataclasses.replace(BENCH, liquid=Liquid(1000, 8.0, 0.4))
    table = scale_up(bench, LARGE_HEAD, 25.6e-3, REYNOLDS)
    assert table.large.rpm == pytest.approx(8000 * 4 ** (-2 / 1.6), rel=1e-9)


def test_what_a_stirrer_does_not_tell_is_not_known():
    bare = Stirrer("plant paddle", 0.3)
    table = scale_up(BENCH, bare, 25.6e-3, TIP_SPEED)
    assert table.row(TURNOVERS).large is None
    assert table.row(TURNOVERS).words == "not known"
    assert table.row(GAP_SHEAR).ratio is None


@pytest.mark.parametrize("rule", [POWER_PER_VOLUME, TURNOVERS, GAP_SHEAR])
def test_a_rule_without_its_number_is_refused(rule):
    with pytest.raises(KitError) as error:
        scale_up(BENCH, Stirrer("plant paddle", 0.3), 25.6e-3, rule)
    assert error.value.code == "scale.rule_unknown"


def test_an_unknown_rule_or_row_is_refused():
    with pytest.raises(KitError) as error:
        kept("feeling")
    assert error.value.code == "scale.rule"
    with pytest.raises(KitError) as error:
        kept(TIP_SPEED).row("colour")
    assert error.value.code == "scale.quantity"


@given(
    rule=st.sampled_from(RULES),
    diameter=st.floats(0.02, 1.0),
    volume=st.floats(1e-4, 2.0),
    index=st.floats(0.15, 1.0),
    consistency=st.floats(1e-3, 50.0),
    laminar=st.none() | st.floats(10, 300),
)
def test_the_rule_keeps_what_it_says_and_goes_back_where_it_came_from(
    rule, diameter, volume, index, consistency, laminar
):
    liquid = Liquid(990, consistency, index)
    bench = dataclasses.replace(
        BENCH, liquid=liquid, stirrer=dataclasses.replace(SMALL_HEAD, laminar_power=laminar, rotor_stator=False)
    )
    other = dataclasses.replace(LARGE_HEAD, diameter_m=diameter, laminar_power=laminar, rotor_stator=False)
    table = scale_up(bench, other, volume, rule)
    assert table.row(rule).ratio == pytest.approx(1, rel=1e-9)
    back = scale_up(table.large, bench.stirrer, bench.volume_m3, rule)
    assert back.large.rpm == pytest.approx(bench.rpm, rel=1e-6)
