"""The live forecast in words. Expected: Newton's law, 75 to 40 degC in air at 22 with k 0.030/min takes 36.0 min."""

from __future__ import annotations

from math import exp

import pytest

import kit
from kit.bench.cooling_log import CoolAddition, CoolingLog
from kit.bench.cooling_state import CoolTarget, cooling_state, waiting_targets
from kit.formula.files import read_formula

STEPS = """
name = "Three additions (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [ { material = "water-deionised", qs = true } ]
[[phase]]
name = "C"
kind = "cool-down"
line = [ { material = "parfum", pct = "0.40" } ]
[[phase]]
name = "D"
kind = "cool-down"
line = [ { material = "panthenol-75", pct = "0.40" } ]
[[step]]
do = "add"
phase = "C"
temps = "42 degC"
"""


def newton(until: int, rate: float = 0.030, lid_at: int = 999) -> tuple[tuple[float, float], ...]:
    """A reading every two minutes; from `lid_at` on at half the rate."""
    points = []
    for minutes in range(0, until + 1, 2):
        elapsed = min(minutes, lid_at) + max(0, minutes - lid_at) / 2
        points.append((float(minutes), round(22 + 53 * exp(-rate * elapsed), 1)))
    return tuple(points)


def state(points, head=None, **options):
    log = CoolingLog("X-1/1", points, combined_at="2026-03-02T10:00:00+01:00", head_until_min=head)
    return cooling_state(log, (CoolTarget(40.0, "phase C"),), **options)


def test_the_time_to_40_degrees_holds_what_the_law_gives():
    found = state(newton(16), room_c=22.0)
    (time,) = found.forecast.targets
    assert time.low_min < 36.0 < time.high_min
    assert time.minutes == pytest.approx(36.0, abs=4.0)
    assert not time.passed
    later = state(newton(30), room_c=22.0).forecast.targets[0]
    assert later.low_min < 36.0 < later.high_min
    assert later.high_min - later.low_min < time.high_min - time.low_min


def test_the_line_for_the_bench_names_the_phase_and_the_clock():
    words = state(newton(30), room_c=22.0).words
    assert words.startswith("phase C, 40 °C: about 3")
    assert "at 10:3" in words
    assert words.endswith(".")


def test_a_temperature_already_passed_is_said():
    assert "reached" in state(newton(44), room_c=22.0).words


def test_two_readings_give_no_forecast_and_say_so():
    found = state(newton(2))
    assert found.words == "No forecast yet: 2 readings: a forecast needs 3."
    assert "not found: too few readings" in str(found)


def logged(minutes_and_temps: str) -> tuple[tuple[float, float], ...]:
    return tuple((float(minute), float(temp)) for minute, temp in map(str.split, minutes_and_temps.split(",")))


def test_the_pace_after_a_setting_that_was_found_is_no_change():
    """Read every three minutes: 4 degC of heat at 55 degC, then the old pace again, which is faster than while it set.
    A draught from 33 min on is one, setting or not."""
    quiet = "0 75, 3 69.5, 6 64.5, 9 60, 12 57, 15 54.5, 18 52.5, 21 50, 24 47, 27 44.5, 30 42, 33 40"
    found = state(logged(quiet), room_c=22.0)
    assert found.forecast.setting.found and found.forecast.setting.temp_c == pytest.approx(55, abs=2)
    assert found.forecast.pace is not None and not found.forecast.pace.slower
    assert found.changes == ()
    blown = state(logged(quiet + ", 36 35.5, 39 32, 42 29.5"), room_c=22.0)
    assert any("faster" in change for change in blown.changes)


def test_a_lid_is_reported():
    changes = " ".join(state(newton(34, lid_at=18), room_c=22.0).changes)
    assert "slow" in changes
    assert state(newton(34), room_c=22.0).changes == ()


def warmed_until(stop: int) -> tuple[tuple[float, float], ...]:
    """Newton's law at a quarter of the rate while the head runs, a reading every two minutes."""
    passed = ((minutes, min(minutes, stop) / 4 + max(0, minutes - stop)) for minutes in range(0, 33, 2))
    return tuple((float(minutes), round(22 + 53 * exp(-0.03 * elapsed), 1)) for minutes, elapsed in passed)


def test_readings_while_the_head_ran_are_no_part_of_the_forecast():
    """From 10 min on it is Newton's law: 40 degC is reached 36.0 - 10 / 4 min after the stop, that is at 43.5 min."""
    told = state(warmed_until(10), head=10.0, room_c=22.0)
    assert told.changes == ()
    found = told.forecast.targets[0]
    assert found.minutes == pytest.approx(43.5, abs=1.5)
    assert found.low_min < 43.5 < found.high_min
    assert told.log.points == warmed_until(10)
    assert "Readings before 10 min, while the head ran, are not in it." in str(told)
    assert "while the head ran" not in str(state(warmed_until(10), room_c=22.0))
    (blind,) = state(warmed_until(10), room_c=22.0).changes
    assert "faster" in blind
    assert blind.endswith("A lid, a draught, another bath or stirrer?")


def test_a_log_with_few_readings_since_the_head_stopped_names_it():
    """It stops at 25 min: two readings since, so all count."""
    points = warmed_until(25)[:15]
    assert [minutes for minutes, _ in points if minutes >= 25] == [26, 28]
    (told,) = state(points, head=25.0, room_c=22.0).changes
    assert "faster" in told
    assert told.endswith("The head stopped at 25 min.")
    (other,) = state(points, head=4.0, room_c=22.0).changes
    assert other.endswith("A lid, a draught, another bath or stirrer?")


def test_a_target_reached_while_the_head_ran_is_reached():
    points = ((0.0, 45.0), (4.0, 41.0), (8.0, 39.5), (12.0, 38.0), (16.0, 36.9), (20.0, 36.0))
    assert state(points, head=12.0, room_c=22.0).forecast.targets[0].minutes == pytest.approx(6.7, abs=1.5)


def test_no_log_no_words():
    empty = cooling_state(CoolingLog("X-1/1", ()), (CoolTarget(40.0, "phase C"),))
    assert empty.words == ""
    assert "too few readings" in str(empty)


def test_what_is_waited_for_comes_from_the_steps_and_what_is_in():
    formula = read_formula(STEPS, kit.load_library())
    first = waiting_targets(formula, [])
    assert [(target.temp_c, target.what) for target in first] == [
        (42.0, "phase C"),
        (40.0, "phase D, no step says at what temperature"),
    ]
    assert [target.what for target in waiting_targets(formula, ["C", "D"])] == []


def test_the_surroundings_say_where_they_come_from():
    assert "fitted" in state(newton(30)).room_words
    assert state(newton(30), room_c=22.0, room_from="as given").room_words.endswith("as given")


def test_the_findings_of_the_additions_are_shown():
    parfum = kit.load_library().find("parfum")
    log = CoolingLog("X-1/1", newton(44), (CoolAddition("C", 2.0, 70.0, (parfum,)),))
    shown = str(cooling_state(log))
    assert "CAUTION Phase C went in at 70 °C" in shown
    assert "70.0" in shown
