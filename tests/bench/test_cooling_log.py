"""Additions in a cooling log. Expected: Newton's law worked by hand, and limits typed here."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from math import exp

import pytest

import kit
from kit.bench.cooling_log import (
    CoolAddition,
    CoolingLog,
    addition_findings,
    additions_found,
    heat_seen,
    ranked_exposure,
)
from kit.formula.substance import Fact

LOG = tuple((float(minutes), 22 + 53 * exp(-0.03 * minutes)) for minutes in range(0, 50, 4))  # 75 degC, k 0.030/min
AT_36 = 40.0  # 22 + 53 exp(-0.03 x 36) = 40.0


def form(limit: str | None, key: str = "parfum"):
    fact = None if limit is None else Fact("degC", "measured", "typed here", value=Decimal(limit))
    return replace(kit.load_library().find(key), heat_max=fact)


def log(minutes: float | None, read_c: float | None, limit: str | None = "45", points=LOG) -> CoolingLog:
    return CoolingLog("X-1/1", points, (CoolAddition("C", minutes, read_c, (form(limit),)),), room_c=22.0)


def codes(found: CoolingLog) -> list[str]:
    return [finding.code for finding in addition_findings(found)]


def test_the_temperature_between_two_readings_is_that_of_the_law():
    (found,) = additions_found(log(34.0, None))
    assert found.how == "between two readings"
    assert found.temp_c == pytest.approx(22 + 53 * exp(-0.03 * 34), abs=0.1)
    assert found.low_c < found.temp_c < found.high_c
    assert found.high_c - found.low_c < 3


def test_what_was_noted_goes_before_the_log():
    (found,) = additions_found(log(36.0, 41.0))
    assert (found.temp_c, found.how) == (41.0, "noted")
    assert found.log_c == pytest.approx(AT_36, abs=0.1)


def test_an_addition_above_the_limit_of_a_line_is_a_caution():
    (hot,) = addition_findings(log(2.0, 70.0))
    assert (hot.severity, hot.code) == ("caution", "cooling.addition_hot")
    assert (hot.value, hot.limit) == (Decimal("70.0"), Decimal("45"))
    assert "at most 45 °C" in hot.words
    assert hot.materials == ("parfum",)


def test_the_limit_itself_is_not_above_it():
    assert codes(log(None, 45.0)) == []
    assert codes(log(None, 45.1)) == ["cooling.addition_hot"]


def test_the_log_alone_tells_that_it_was_too_hot():
    """Nothing was noted; at 12 min the law gives 59 degC."""
    (hot,) = addition_findings(log(12.0, None))
    assert hot.code == "cooling.addition_hot"
    assert float(hot.value) == pytest.approx(22 + 53 * exp(-0.03 * 12), abs=0.2)
    assert "leaves room" not in hot.words


def test_just_above_by_the_log_is_said_with_its_doubt():
    """45.2 degC by the law, within its interval of the limit."""
    (hot,) = addition_findings(log(27.6, None))
    assert "leaves room for less" in hot.words


def test_a_noted_temperature_that_the_log_contradicts():
    assert codes(log(36.0, 44.0)) == ["cooling.addition_differs"]
    assert codes(log(36.0, 41.5)) == []


def test_not_recorded_is_said_where_something_has_a_limit():
    assert codes(log(None, None)) == ["cooling.addition_unknown"]
    assert codes(log(80.0, None)) == ["cooling.addition_unknown"]  # half an hour beyond the log
    assert codes(log(None, None, limit=None)) == []
    assert codes(log(20.0, None, points=LOG[:1])) == ["cooling.addition_unknown"]


def test_a_line_without_a_limit_is_no_finding():
    assert codes(log(2.0, 70.0, limit=None)) == []


def test_minutes_above_the_limit_from_the_addition_on():
    """From 70.6 degC at 2.75 min to 45 degC: t = ln(53 / 23) / 0.03 = 27.8 min by the law."""
    added = 2.75
    (seen,) = heat_seen(log(added, 22 + 53 * exp(-0.03 * added)))
    assert seen.minutes == pytest.approx(27.8 - added, abs=0.3)
    assert seen.degree_minutes == pytest.approx(
        53 / 0.03 * (exp(-0.03 * added) - 23 / 53) - 23 * (27.8 - added), rel=0.02
    )


def test_an_addition_below_the_limit_saw_nothing_and_an_unknown_one_is_not_nothing():
    (cool,) = heat_seen(log(36.0, 40.0))
    assert cool.minutes == 0
    (last,) = heat_seen(log(60.0, 30.0))
    assert last.minutes == 0
    (unknown,) = heat_seen(log(None, None))
    assert unknown.minutes is None
    assert "NOT KNOWN" in unknown.words
    (hot_at_the_end,) = heat_seen(log(60.0, 70.0))
    assert hot_at_the_end.minutes is None


def test_heat_seen_as_hours_at_25_degrees_with_a_stated_energy():
    """30 min at 75 degC with 85 kJ/mol: 0.5 h x exp(85000 / 8.314 x (1/298.15 - 1/348.15)) = 68.8 h."""
    steady = tuple((float(minutes), 75.0) for minutes in (0, 10, 20, 30))
    ((phase, forms, seen),) = ranked_exposure(log(0.0, None, points=steady), 85.0)
    assert (phase, forms) == ("C", "Parfum")
    assert seen.hours == pytest.approx(68.8, abs=0.1)
    ((_, _, unknown),) = ranked_exposure(log(60.0, 30.0), 85.0)
    assert unknown is None


def test_cool_at_its_addition_is_enough_to_know_even_without_a_time():
    (seen,) = heat_seen(log(None, 40.0))
    assert seen.minutes == 0
