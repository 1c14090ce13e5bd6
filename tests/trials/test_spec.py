"""PASS, FAIL, NOT TESTED and FLAGGED for the spec lines a study can have."""

from __future__ import annotations

from decimal import Decimal

import pytest

from kit.formula.model import SpecLine
from kit.trials.results import FAIL, FLAGGED, NOT_TESTED, PASS

VISCOSITY = {"property": "viscosity", "unit": "mPa.s", "method": "viscosity"}


def line(age: str = "72 h", low: str | None = None, high: str | None = None, **more: object) -> SpecLine:
    told = {**VISCOSITY, **more}
    return SpecLine(
        low=None if low is None else Decimal(low), high=None if high is None else Decimal(high), age=age, **told
    )


def judged(bench, spec: list[SpecLine], values: list[int], property: str = "viscosity", age: str = "72 h"):
    """The control's verdict when its batches read these values at 72 h."""
    bench.study(spec=spec)
    bench.versions("LIN", {"LIN-03": values})
    (found,) = bench.compare("LIN-03").result(property, age).arms
    return found.verdict, found.verdict_why


@pytest.mark.parametrize(
    ("limits", "values", "verdict"),
    [
        # a mean on the limit is inside it, one unit beyond is not
        ({"low": "15000"}, [15000], PASS),
        ({"low": "15001"}, [15000], FAIL),
        ({"high": "15000"}, [15000], PASS),
        ({"high": "14999"}, [15000], FAIL),
        ({"low": "15000", "high": "25000"}, [15000, 15000], PASS),
        # sqrt(14000 x 17000) = 15427 lies inside although one batch does not; sqrt(14000 x 15000) = 14491 does not
        ({"low": "15000", "high": "25000"}, [14000, 17000], PASS),
        ({"low": "15000", "high": "25000"}, [14000, 15000], FAIL),
    ],
)
def test_the_mean_of_batch_means_is_judged_at_its_limits(empty, limits, values, verdict):
    found, why = judged(empty, [line(**limits)], values)
    assert found == verdict
    assert f"n = {len(values)} batch" in why


def test_a_batch_outside_is_named_although_the_mean_passes(empty):
    verdict, why = judged(empty, [line(low="15000")], [14000, 17000])
    assert (verdict, "LIN-03/1 alone is below" in why) == (PASS, True)


def test_limits_in_another_unit_are_converted(empty):
    # 15 to 25 Pa.s are 15000 to 25000 mPa.s
    verdict, why = judged(empty, [line(low="15", high="25", unit="Pa.s")], [19000])
    assert (verdict, "inside 15000 to 25000 mPa.s" in why) == (PASS, True)


def test_limits_in_a_unit_of_another_kind_are_not_tested(empty):
    verdict, why = judged(empty, [line(low="15", high="25", unit="g/mL")], [19000])
    assert (verdict, why) == (NOT_TESTED, "the limits are in g/mL, the readings in mPa.s")


def test_no_reading_at_the_age_of_the_spec_is_not_tested_and_names_the_window(empty):
    empty.study(spec=[line("24 h", low="10000")])
    empty.versions("LIN", {"LIN-03": [19000]})
    (found,) = empty.compare("LIN-03").result("viscosity", "24 h").arms
    assert (found.verdict, found.verdict_why) == (NOT_TESTED, "no reading in 24 h ± 2 h")


def test_a_reading_by_another_method_than_the_specs_is_not_tested(empty):
    empty.study(spec=[line("72 h", low="4", high="5", property="pH", unit="", method="pH of a 10 % dilution")])
    empty.ph(empty.make("LIN-03"), "72 h", "4.60")
    found = empty.compare("LIN-03").result("pH", "72 h", method="pH of a 10 % dilution").arms[0]
    assert (found.verdict, found.verdict_why) == (NOT_TESTED, "no reading by pH of a 10 % dilution in 72 h ± 4 h")


def test_an_age_that_no_window_holds_is_not_tested(empty):
    verdict, why = judged(empty, [line("48 h", low="15000")], [19000], age="48 h")
    assert verdict == NOT_TESTED
    assert why.startswith("48 h is no age of the study (1 h ± 15 min, 24 h ± 2 h")


def test_an_age_with_a_tolerance_of_its_own_is_a_window(empty):
    empty.study(spec=[line("3 d ± 6 h", low="15000"), line("2 d ± 3 h", low="15000")])
    batch = empty.make("LIN-03")
    empty.clock.now = empty.clock.day(3)  # two days after day 1
    batch.read_viscosity(
        "18000 mPa.s",
        torque_pct="45",
        rpm=10,
        spindle="disc 5",
        instrument="VIS-1",
        temp="25 degC",
        reading_time="60 s",
        container="100 mL jar",
    )
    (found,) = empty.compare("LIN-03").result("viscosity", "2 d").arms
    assert (found.verdict, found.mean) == (PASS, 18000.0)


def test_a_spec_line_without_an_age_is_judged_at_every_age_that_was_read(empty):
    empty.study(spec=[line("", low="15000")])
    batch = empty.make("LIN-03")
    empty.viscosity(batch, "24 h", 14000)
    empty.viscosity(batch, "72 h", 19000)
    comparison = empty.compare("LIN-03")
    assert [(result.age, result.arms[0].verdict) for result in comparison.results] == [("24 h", FAIL), ("72 h", PASS)]


def test_a_spec_line_without_an_age_and_without_a_reading_is_not_tested(empty):
    empty.study(spec=[line("", low="15000")])
    empty.make("LIN-03")
    (result,) = empty.compare("LIN-03").results
    assert (result.arms[0].verdict, result.arms[0].verdict_why.startswith("no reading by viscosity")) == (
        NOT_TESTED,
        True,
    )


def test_a_spec_line_without_a_method_takes_the_only_one(empty):
    verdict, _ = judged(empty, [line(low="15000", method="")], [19000])
    assert verdict == PASS


@pytest.mark.parametrize(
    ("limits", "verdict", "shown"),
    [
        ([{"low": "15000"}, {"high": "18000"}], FAIL, "above 15000 to 18000 mPa.s"),
        # the narrower of each counts: 16000 to 20000
        ([{"low": "15000", "high": "20000"}, {"low": "16000", "high": "25000"}], PASS, "inside 16000 to 20000 mPa.s"),
        ([{"low": "15000", "high": "18500"}, {"low": "12000", "high": "25000"}], FAIL, "above 15000 to 18500 mPa.s"),
    ],
)
def test_two_lines_on_one_property_and_age_hold_both(empty, limits, verdict, shown):
    found, why = judged(empty, [line(**limit) for limit in limits], [19000])
    assert (found, shown in why) == (verdict, True)


def words(bench, *seen: tuple[str, str], allowed: tuple[str, ...] = ("none",), asked: str = "7 d"):
    bench.study(spec=[SpecLine("grain", allowed=allowed, age=asked)])
    batch = bench.make("LIN-03")
    for age, word in seen:
        bench.at(batch, age)
        batch.observe("grain", word)
    return bench.compare("LIN-03").observations


@pytest.mark.parametrize(
    ("seen", "verdict", "why"),
    [
        ([("7 d", "none")], PASS, "none, n = 1 batch"),
        ([("7 d", "None")], PASS, "none, n = 1 batch"),
        ([("7 d", "fine")], FAIL, "LIN-03/1 fine, asked for none; n = 1 batch"),
        ([("7 d", "none"), ("7 d", "coarse")], FAIL, "LIN-03/1 coarse, asked for none; n = 1 batch"),
        ([("24 h", "none")], NOT_TESTED, "no observation in 7 d ± 12 h"),
        ([], NOT_TESTED, "no observation in 7 d ± 12 h"),
    ],
)
def test_coded_spec_lines_are_judged_from_observations_at_their_age(empty, seen, verdict, why):
    results = {result.age: result for result in words(empty, *seen)}
    assert (results["7 d"].arms[0].verdict, results["7 d"].arms[0].verdict_why) == (verdict, why)
    assert set(results) == {"7 d", *(age for age, _ in seen)}


def test_a_voided_observation_counts_no_more(empty):
    empty.study(spec=[SpecLine("grain", allowed=("none",), age="7 d")])
    batch = empty.make("LIN-03")
    empty.at(batch, "7 d")
    wrong = batch.observe("grain", "coarse")
    batch.observe("grain", "none")
    batch.void(wrong, why="slide of another trial")
    comparison = empty.compare("LIN-03")
    assert comparison.observations[0].arms[0].verdict == PASS
    assert [(item.state, item.reading.text) for item in comparison.not_used] == [("void", "coarse")]


def test_an_observation_before_the_end_of_making_is_shown_and_never_judged(empty):
    import kit

    empty.study(spec=[SpecLine("grain", allowed=("none",), age="1 h")])
    batch = empty.book.start_batch(
        kit.plan_batch(empty.formula, "400 g", balances=["0.01 g"]), trial="LIN-03", study="LIN", operator="bench 2"
    )
    batch.observe("grain", "none")
    comparison = empty.compare("LIN-03")
    assert [item.state for item in comparison.not_used] == ["in process"]
    assert comparison.observations[0].arms[0].verdict == NOT_TESTED


def test_an_observation_whose_typed_age_the_clock_contradicts_is_flagged(empty):
    empty.study(spec=[SpecLine("grain", allowed=("none",), age="24 h")])
    batch = empty.make("LIN-03")
    empty.at(batch, "24 h")
    batch.observe("grain", "none", age="7 d")
    (result,) = empty.compare("LIN-03").observations
    assert result.arms[0].verdict == FLAGGED
    assert "reading.age_clock" in result.arms[0].verdict_why


def test_observations_without_a_spec_line_are_shown_without_a_verdict(empty):
    empty.study(spec=[])
    batch = empty.make("LIN-03")
    empty.at(batch, "24 h")
    batch.observe("odour", "linden")
    (result,) = empty.compare("LIN-03").observations
    assert (result.name, result.age, result.arms[0].verdict, result.arms[0].words[0].word) == (
        "odour",
        "24 h",
        "",
        "linden",
    )
