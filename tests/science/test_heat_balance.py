"""Heat balances against first principles: heat in is heat out, and the bench figures worked by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from kit.science.heat_balance import (
    Melt,
    Stream,
    hold_back_mass,
    hold_back_temperature,
    mixed_temperature,
    setting_margin,
)
from kit.science.heating import heat_needed, heating_time
from kit.science.thermal_facts import heat_capacity_of, heat_capacity_parts, melt_of, melting_of
from kit.science.thermophysical import Part, ThermalError, mixed_density, mixed_heat_capacity

ALCOHOL = Melt("cetearyl alcohol", 20, 230, 48, 56)
STREAMS = st.lists(
    st.builds(Stream, st.text(max_size=3), st.floats(1, 900), st.floats(5, 95), st.floats(0.5, 4.2)),
    min_size=1,
    max_size=5,
)


def test_a_cold_beaker_takes_five_degrees():
    """352 g of 4.1 at 76 degC, 48 g of 2.2 at 78 degC, 180 g of glass (0.83): in a glass as warm as the water 76.1,
    in one at 22 degC (352 4.1 76 + 48 2.2 78 + 149.4 22) / (1443.2 + 105.6 + 149.4) = 71.37 degC."""
    phases = [Stream("water phase", 352, 76, 4.1), Stream("oil phase", 48, 78, 2.2)]
    cold = mixed_temperature([*phases, Stream("glass", 180, 22, 0.83)])
    assert cold.temp_c == pytest.approx((1443.2 * 76 + 105.6 * 78 + 149.4 * 22) / 1698.2, abs=1e-6)
    warm = mixed_temperature([*phases, Stream("glass", 180, 76, 0.83)])
    assert warm.temp_c - cold.temp_c == pytest.approx(149.4 * 54 / 1698.2, abs=1e-6)
    assert "not counted" in cold.losses


@given(STREAMS)
def test_heat_in_is_heat_out(streams):
    mixed = mixed_temperature(streams)
    heats = [stream.mass_g * stream.heat_capacity_j_gk * (stream.temp_c - mixed.temp_c) for stream in streams]
    assert sum(heats) == pytest.approx(0, abs=1e-4)
    assert min(s.temp_c for s in streams) - 1e-9 <= mixed.temp_c <= max(s.temp_c for s in streams) + 1e-9
    assert (mixed.low_c, mixed.known_share) == (mixed.high_c, 1)


def test_the_latent_heat_enters_only_below_the_melt():
    """Above 56 degC nothing sets. Below 48 degC 20 g give off 4600 J: 2.18 K in 500 g of 4.0 and 50 g of 2.2."""
    oil = Stream("oil phase", 50, 80, 2.2, (ALCOHOL,))
    hot = mixed_temperature([oil, Stream("water", 500, 75, 4.0)])
    assert (hot.latent_j, hot.setting) == (0, ())
    assert hot.temp_c == pytest.approx((110 * 80 + 2000 * 75) / 2110, abs=1e-6)
    cold = mixed_temperature([oil, Stream("water", 500, 25, 4.0)])
    assert cold.latent_j == pytest.approx(4600) and cold.setting == ("cetearyl alcohol",)
    assert cold.temp_c == pytest.approx((110 * 80 + 2000 * 25 + 4600) / 2110, abs=1e-6)


def test_between_the_ends_of_the_melt_a_part_sets():
    """At T in 48 to 56 degC the share set is (56 - T) / 8: 110 (80 - T) + 2000 (48 - T) + 575 (56 - T) = 0."""
    mixed = mixed_temperature([Stream("oil phase", 50, 80, 2.2, (ALCOHOL,)), Stream("water", 500, 48, 4.0)])
    assert mixed.temp_c == pytest.approx((110 * 80 + 2000 * 48 + 575 * 56) / 2685, abs=1e-6)
    assert 48 < mixed.temp_c < 56 and 0 < mixed.latent_j < 4600


def test_flakes_in_a_hot_phase_take_heat_up():
    mixed = mixed_temperature([Stream("flakes", 20, 22, 2.2, (ALCOHOL,)), Stream("water", 500, 80, 4.0)])
    assert mixed.latent_j == pytest.approx(-4600) and mixed.setting == ()
    assert mixed.temp_c == pytest.approx((44 * 22 + 2000 * 80 - 4600) / 2044, abs=1e-6)


def test_an_unknown_heat_capacity_is_a_range_never_nothing():
    """10 g of perfume at 22 degC: between 0.4 and 4.3 J/(g K)."""
    base = Stream("base", 390, 75, 4.0)
    mixed = mixed_temperature([base, Stream("perfume", 10, 22, None)])
    ends = [(1560 * 75 + 10 * c * 22) / (1560 + 10 * c) for c in (4.3, 0.4)]
    assert (mixed.low_c, mixed.high_c) == (pytest.approx(ends[0]), pytest.approx(ends[1]))
    assert mixed.high_c < 75 and mixed.unknown == ("perfume",) and mixed.known_share == pytest.approx(0.975)


def test_the_margin_is_told_before_the_batch_is_made():
    warm = setting_margin(mixed_temperature([Stream("all", 400, 75.3, 4.0)]), 56)
    assert warm.above_c == pytest.approx(19.3) and warm.caution == ""
    close = setting_margin(mixed_temperature([Stream("all", 400, 57.0, 4.0)]), 56)
    assert close.caution == "only 1.0 °C above 56 °C, where it sets; 5 °C are wanted"
    below = setting_margin(mixed_temperature([Stream("all", 400, 28.5, 4.0)]), 56)
    assert below.above_c == pytest.approx(-27.5) and below.caution.endswith("grains")


def test_hold_back_water_and_the_reverse():
    """To 57 degC: 270 g of 3.9 at 75.5 degC give off 270 3.9 18.5 = 19,480.5 J, water at 20 degC takes 4.18 37 J/g."""
    hot = [Stream("batch", 270, 75.5, 3.9)]
    mass = hold_back_mass(hot, 57.0, 20.0)
    assert mass == pytest.approx(19_480.5 / (4.18 * 37), rel=1e-9)
    assert hold_back_temperature(hot, 57.0, mass) == pytest.approx(20.0, abs=1e-9)
    assert mixed_temperature([*hot, Stream("hold-back", mass, 20, 4.18)]).temp_c == pytest.approx(57.0, abs=1e-6)


def test_hold_back_water_counts_what_sets_on_the_way():
    hot = [Stream("oil phase", 50, 80, 2.2, (ALCOHOL,)), Stream("water", 220, 75, 4.1)]
    mass = hold_back_mass(hot, 45.0, 20.0)
    assert mass == pytest.approx((110 * 35 + 902 * 30 + 4600) / (4.18 * 25), rel=1e-9)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: hold_back_mass([Stream("batch", 270, 75, 3.9)], 57, 60),
        lambda: hold_back_mass([Stream("batch", 270, 50, 3.9)], 57, 20),
        lambda: hold_back_mass([Stream("perfume", 270, 75, None)], 57, 20),
        lambda: hold_back_temperature([Stream("batch", 270, 75, 3.9)], 57, 20),
        lambda: hold_back_temperature([Stream("batch", 270, 75, 3.9)], 57, 0),
    ],
    ids=["warm water", "cold batch", "unknown", "ice", "none"],
)
def test_what_hold_back_water_cannot_do(ask):
    with pytest.raises(ThermalError) as caught:
        ask()
    assert caught.value.code == "heat.hold_back"


@pytest.mark.parametrize(
    "streams", [[], [Stream("x", -1, 20, 4)], [Stream("x", 1, 20, 0)], [Stream("x", 1, math.nan, 4)]]
)
def test_what_is_no_stream(streams):
    with pytest.raises(ThermalError) as caught:
        mixed_temperature(streams)
    assert caught.value.code == "heat.streams"


def test_heat_to_warm_up_and_to_melt():
    """330 g of water from 20 to 75 degC: 330 4.18 55 = 75.9 kJ; 20 g of flakes 2.64 kJ and 4.6 kJ to melt."""
    needed = heat_needed([Stream("water", 330, 20, 4.18), Stream("flakes", 20, 20, 2.4, (ALCOHOL,))], 75)
    assert needed.energy_kj == pytest.approx(75.867 + 2.64 + 4.6, abs=1e-3)
    assert needed.latent_kj == pytest.approx(4.6) and needed.low_kj == needed.high_kj
    assert heating_time(needed, 20, 75, 500, 0.5).minutes == pytest.approx(83.107 / 15, abs=1e-3)


def test_heating_against_losses_follows_the_differential_equation():
    needed = heat_needed([Stream("batch", 400, 20, 4.0)], 75)
    told = heating_time(needed, 20, 75, 100, 1.0, 0.03, 22.0)
    run = solve_ivp(lambda _, y: [6.0 / 1.6 - 0.03 * (y[0] - 22)], (0, told.minutes), [20.0], rtol=1e-10)
    assert run.y[0, -1] == pytest.approx(75, abs=1e-5)
    assert told.minutes > heating_time(needed, 20, 75, 100).minutes == pytest.approx(88 / 6)


def test_a_heater_too_weak_never_gets_there():
    told = heating_time(heat_needed([Stream("batch", 400, 20, 4.0)], 75), 20, 75, 40, 1.0, 0.03, 22.0)
    assert math.isinf(told.minutes) and told.limit_c == pytest.approx(22 + 2.4 / (0.03 * 1.6))
    assert told.words == "never: at 72 °C the losses take all the heat"


def test_heating_refuses_what_is_hotter_already():
    with pytest.raises(ThermalError) as caught:
        heat_needed([Stream("batch", 400, 80, 4.0)], 75)
    assert caught.value.code == "heat.target"
    with pytest.raises(ThermalError) as caught:
        heating_time(heat_needed([Stream("batch", 400, 20, 4.0)], 75), 20, 75, 0)
    assert caught.value.code == "heat.power"


def test_the_mixing_rule_says_what_share_is_known():
    """80 g of 4.18 and 15 g of 2.2 known, 5 g not: between 3.674 + 0.02 and 3.674 + 0.215 J/(g K)."""
    mixed = mixed_heat_capacity([Part("water", 80, 4.18), Part("oil", 15, 2.2), Part("perfume", 5, None)])
    assert (mixed.low, mixed.high) == (pytest.approx(3.694), pytest.approx(3.889))
    assert mixed.known_share == pytest.approx(0.95)
    assert mixed.words == "known for 95.0% of the mass; not known: perfume"


def test_densities_add_up_as_volumes():
    """50 g of 1000 and 50 g of 800: 100 / (50 / 1000 + 50 / 800) = 888.9; not 900."""
    mixed = mixed_density([Part("water", 50, 1000.0), Part("oil", 50, 800.0)])
    assert mixed.value == pytest.approx(888.889, abs=0.01) and mixed.low == mixed.high
    assert mixed_density([Part("water", 90, 1000.0), Part("wax", 10, None)]).value is None
    little = mixed_density([Part("water", 99, 1000.0), Part("wax", 1, None)])
    assert little.low < 1000 < little.high and little.high - little.low < 20


def test_zero_is_no_heat_capacity():
    with pytest.raises(ThermalError) as caught:
        mixed_heat_capacity([Part("perfume", 5, 0.0)])
    assert caught.value.code == "thermal.property"
    with pytest.raises(ThermalError) as caught:
        mixed_density([Part("perfume", 0, 900.0)])
    assert caught.value.code == "thermal.mass"


def test_published_heat_capacities_go_straight_between_their_temperatures():
    """Glycerol 2.37 at 25 and 2.50 at 50 degC: 2.435 halfway; nothing is published for parfum."""
    assert heat_capacity_of("Glycerin", 37.5) == pytest.approx(2.435)
    assert heat_capacity_of("Glycerin", 95) == heat_capacity_of("Glycerin", 75) == pytest.approx(2.63)
    assert heat_capacity_of("Parfum") is None
    assert heat_capacity_of("borosilicate glass") == pytest.approx(0.83)
    parts = heat_capacity_parts([("Aqua", 85), ("Glycerin", 3), ("Cetearyl Alcohol", 5), ("Parfum", 0.4)])
    mixed = mixed_heat_capacity(parts)
    assert mixed.unknown == ("Parfum",) and mixed.known_share == pytest.approx(93 / 93.4)
    assert mixed.value == pytest.approx((85 * 4.193 + 3 * 2.63 + 5 * 2.7 + 0.4 * 2.35) / 93.4, rel=0.002)


def test_a_melt_is_given_only_where_both_its_numbers_are():
    cetyl = melt_of("Cetyl Alcohol", 10)
    assert (cetyl.high_c, cetyl.heat_j_g) == (pytest.approx(49.5), pytest.approx(230))
    assert melt_of("Cetearyl Alcohol", 10) is None and melting_of("Cetearyl Alcohol").high == 56
    assert melt_of("Parfum", 10) is None and melting_of("Parfum") is None


def test_the_melt_gives_off_its_whole_heat_once():
    """The integral of the molten share's slope over all temperatures is one."""
    slope = quad(
        lambda temp: (ALCOHOL.molten(temp + 1e-4) - ALCOHOL.molten(temp - 1e-4)) / 2e-4, 40, 64, points=[48, 56]
    )
    assert slope[0] == pytest.approx(1, abs=1e-3)
