"""Air in the jar of a viscosity: which densities count, from which share on it is flagged, and what is left alone."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kit.bench.air_flag import air_flags, air_in, air_spoils, tells_of_air
from kit.bench.readings import Reading

D = Decimal
VISCOSITY = Reading(
    1, "NET-02/1", "viscosity", D(19800), "mPa.s", age_h=D(72), measured_at="2026-07-09T14:22:00+02:00", sample="jar 3"
)
FULL = Reading(
    2, "NET-02/1", "density", D("0.871"), "g/mL", age_h=D(72), measured_at="2026-07-09T14:14:00+02:00", sample="jar 3"
)
WITHOUT = Reading(3, "NET-02/1", "air-free density", D("0.987"), "g/mL", age_h=D(24))


def codes(reading: Reading, *beside: Reading) -> list[str]:
    return [flag.code for flag in air_flags(reading, beside)]


def test_a_jar_with_11_8_percent_air_is_flagged_with_its_densities_and_what_to_do():
    """1 - 0.871 / 0.987 = 0.1175."""
    (flag,) = air_flags(VISCOSITY, [FULL, WITHOUT])
    assert flag.code == "reading.air"
    for words in (
        "0.871 g/mL (entry 2)",
        "0.987 g/mL (entry 3)",
        "11.8 % air",
        "not corrected",
        "deaerate and read again",
    ):
        assert words in flag.words


@pytest.mark.parametrize(
    ("density", "flagged"),
    [("0.9722", False), ("0.9721", True), ("0.975", False), ("0.987", False), ("0.999", False), ("1.05", False)],
)
def test_below_1_5_percent_air_is_not_distinguishable(density, flagged):
    """0.987 x (1 - 0.015) = 0.97220: 0.9722 is 1.4995 % and 0.9721 is 1.510 %. Denser than without air is no air."""
    jar = replace(FULL, value=D(density))
    assert codes(VISCOSITY, jar, WITHOUT) == (["reading.air"] if flagged else [])
    if density == "0.975":
        assert "not distinguishable: below 1.5 %" in air_in(VISCOSITY, [jar, WITHOUT]).words
    if density == "1.05":
        assert "No air content" in air_in(VISCOSITY, [jar, WITHOUT]).words


def test_without_either_density_nothing_is_known_and_nothing_is_said():
    assert air_in(VISCOSITY, [FULL]) is None
    assert air_in(VISCOSITY, [WITHOUT]) is None
    assert codes(VISCOSITY, FULL) == codes(VISCOSITY, WITHOUT) == codes(VISCOSITY) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"age_h": D(24)},
        {"age_h": D(80)},
        {"age_h": None},
        {"sample": "jar 3, deaerated"},
        {"void": "cup not full"},
        {"value": None, "text": "foam"},
        {"value": D(0)},
    ],
)
def test_a_density_of_another_age_or_jar_or_that_does_not_stand_is_not_used(changes):
    assert codes(VISCOSITY, replace(FULL, **changes), WITHOUT) == []


@pytest.mark.parametrize("changes", [{"void": "phase parted"}, {"value": None, "text": "parted"}])
def test_an_air_free_density_that_does_not_stand_is_not_used(changes):
    assert codes(VISCOSITY, FULL, replace(WITHOUT, **changes)) == []


def test_of_two_jars_of_one_age_each_viscosity_takes_the_density_of_its_own():
    rested = replace(FULL, entry=4, value=D("0.975"), sample="jar 3, deaerated")
    again = replace(VISCOSITY, entry=5, value=D(15920), sample="jar 3, deaerated")
    beside = [rested, FULL, WITHOUT]
    assert codes(VISCOSITY, *beside) == ["reading.air"]
    assert codes(again, *beside) == []
    assert air_in(again, beside).content.volume_pct == pytest.approx(100 * (1 - 0.975 / 0.987), abs=1e-9)


def test_without_the_name_of_a_jar_the_density_nearest_in_time_is_taken():
    first = replace(FULL, sample="")
    later = replace(FULL, entry=4, value=D("0.975"), sample="", measured_at="2026-07-09T15:52:00+02:00")
    nameless = replace(VISCOSITY, sample="")
    assert air_in(nameless, [later, first, WITHOUT]).density.entry == 2
    after = replace(nameless, measured_at="2026-07-09T16:02:00+02:00")
    assert air_in(after, [first, later, WITHOUT]).density.entry == 4
    assert codes(after, first, later, WITHOUT) == []


def test_the_same_moment_in_another_offset_is_the_same_moment():
    utc = replace(FULL, sample="", measured_at="2026-07-09T12:22:00+00:00")  # 14:22 on the bench clock
    near = replace(FULL, entry=4, sample="", value=D("0.975"), measured_at="2026-07-09T14:21:00+02:00")
    assert air_in(replace(VISCOSITY, sample=""), [near, utc, WITHOUT]).density.entry == 2


def test_the_air_free_density_entered_last_counts():
    again = replace(WITHOUT, entry=9, value=D("0.880"))
    assert air_in(VISCOSITY, [again, FULL, WITHOUT]).air_free.entry == 9
    assert codes(VISCOSITY, again, FULL, WITHOUT) == []  # 1 - 0.871 / 0.880 = 1.02 %


def test_densities_in_other_units_are_the_same_densities():
    in_kg = replace(FULL, value=D(871), unit="kg/m^3")
    assert air_in(VISCOSITY, [in_kg, WITHOUT]).content.volume_pct == pytest.approx(100 * (1 - 0.871 / 0.987), abs=1e-9)
    assert "0.871 g/mL" in air_flags(VISCOSITY, [in_kg, WITHOUT])[0].words


def test_only_a_viscosity_is_flagged_and_a_density_tells_of_its_own_air():
    acidity = replace(VISCOSITY, property="pH", value=D("4.6"), unit="1")
    assert codes(acidity, FULL, WITHOUT) == codes(FULL, FULL, WITHOUT) == codes(WITHOUT, FULL, WITHOUT) == []
    assert air_in(FULL, [WITHOUT]).density is FULL
    assert [tells_of_air(reading) for reading in (VISCOSITY, FULL, WITHOUT, acidity)] == [False, True, True, False]
    assert [air_spoils(reading) for reading in (VISCOSITY, FULL, WITHOUT, acidity)] == [True, False, False, False]
