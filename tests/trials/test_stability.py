"""Stability from the record: the laws of `tests/stability_readings.py` are the referees, and words worked by hand."""

from __future__ import annotations

import json
import math
from datetime import timedelta
from decimal import Decimal

import pytest

import kit
from kit.demo.build import build_demo
from kit.errors import KitError
from kit.labbook.snapshot import freeze
from kit.trials.stability_pulls import AHEAD, DONE, DUE, MISSED
from kit.trials.stability_verdicts import NOT_PROTOCOL, OUTSIDE, OUTSIDE_ONCE, UNTOLD, WITHIN
from kit.trials.stability_warm import HOLDS, MELTED, UNKNOWN
from tests.stability_readings import PH_SLOPES, StabilityBench, whole_bench

FEW = {"1 week": 1, "4 weeks": 4, "12 weeks": 12}


@pytest.fixture(scope="module")
def labbook(tmp_path_factory):
    bench = whole_bench(tmp_path_factory.mktemp("yarrow"), missed=[("5 degC", 12)])
    bench.book.close()
    return bench.path


@pytest.fixture(scope="module")
def found(labbook):
    return kit.stability(labbook, setting="43 degC")


def one(found, property: str, place: str):
    (verdict,) = found.of(property, place)
    return verdict


@pytest.mark.parametrize("place", PH_SLOPES)
def test_the_slope_of_the_ph_is_that_of_the_law(found, place):
    trend = one(found, "pH", place).series.trend
    for line in trend.lines:
        assert line.slope_low - 0.004 < PH_SLOPES[place] < line.slope_high + 0.004
        assert line.slope == pytest.approx(PH_SLOPES[place], abs=0.012)  # 25 degC against 40 degC differ by 0.040


def test_a_viscosity_is_fitted_by_its_logarithm_and_its_build_is_in_no_line(found):
    """0.020 a month at 40 degC; the reading at 1 h has 58 % of the settled value, and would turn the line."""
    series = one(found, "viscosity", "40 degC").series
    assert all(line.slope == pytest.approx(-0.020, abs=0.006) for line in series.trend.lines)
    assert {round(point.hours) for point in series.earlier} == {-71, -48, -24}
    assert min(point.value for point in series.earlier) < 0.62 * series.baselines["YAR-01/1"]
    assert all(point.hours >= 0 for point in series.points)


def test_verdicts_against_the_frozen_limits(found):
    told = {
        (place, property): one(found, property, place).headline
        for place in ("25 degC", "45 degC")
        for property in ("pH", "viscosity", "colour", "pack mass loss")
    }
    assert told == {
        ("25 degC", "pH"): "within limits so far",
        ("25 degC", "viscosity"): "within limits so far",
        ("25 degC", "colour"): "within limits so far",
        ("25 degC", "pack mass loss"): "within limits so far",
        ("45 degC", "pH"): "within limits so far",  # -0.085 x 2.76 months = -0.23
        ("45 degC", "viscosity"): "outside since 1 week",  # a third is lost
        ("45 degC", "colour"): "outside since 8 weeks",
        ("45 degC", "pack mass loss"): "outside since 12 weeks",  # 0.80 x 2.76 = 2.2 %
    }
    assert one(found, "viscosity", "freeze-thaw 3 cycles").state == WITHIN
    assert "after the last cycle" in one(found, "viscosity", "freeze-thaw 3 cycles").words
    (spun,) = found.of("separation after centrifuge")
    assert spun.state == WITHIN and "baseline" in spun.words


def test_time_to_limit_place_by_place_and_none_where_the_network_melts(found):
    """-0.3 at -0.060 a month is 5 months by the line; its bound comes a little before. At 25 degC the line would
    cross at 15 months, and twice the last station is 5.6.
    """
    warm = one(found, "pH", "40 degC").series.life
    assert warm.state == "told" and 4.4 < warm.months < 5.2 and warm.worst.limit == "lower"
    cool = one(found, "pH", "25 degC").series.life
    assert cool.months is None and cool.most_months == pytest.approx(2 * cool.last_month)
    rows = {tuple(row[0].split("\n")): str(row[1]) for row in found.life_table().rows}
    assert rows["pH", "45 °C"].startswith("NONE: the network sets at 43 °C and melts there")
    assert rows["pH", "25 °C"].startswith("OVER 5.5 MONTHS")  # twice 2040 h of 730.5 is 5.585: never rounded up
    assert ("pH", "freeze-thaw 3 cycles") not in rows


def test_warm_storage_is_an_indication_only(found):
    """The slopes of the law imply (0.060 / 0.020)^(10 / 15) = 2.08."""
    told = {(item.series.property, item.series.place): item for item in found.indications}
    warm = told["pH", "40 degC"]
    assert warm.network == HOLDS and "indicative only" in warm.words
    assert 1.6 < warm.q10 < 2.9
    assert "12 weeks at 40 °C would be 7.8 months at 25 °C with a Q10 of 2" in warm.words  # 12 x 2.83 weeks
    melted = told["pH", "45 degC"]
    assert melted.network == MELTED and melted.words.startswith("none") and melted.q10 is None


def test_without_a_setting_temperature_no_indication_is_given(labbook):
    found = kit.stability(labbook, properties=["pH"])
    assert {item.network for item in found.indications} == {UNKNOWN}
    assert all(item.words.startswith("none: whether the network is whole") for item in found.indications)
    (row,) = [str(row[1]) for row in found.life_table().rows if row[0] == "pH\n40 °C"]
    assert "Only if the network does not melt there, which is not known." in row


def test_each_jar_stands_against_the_one_at_25_degrees(found):
    """After 12 weeks, 2.76 months: pH at 40 degC is 0.040 x 2.76 = 0.11 below it; the melted jar has 0.66 x 0.956."""
    table = found.beside_table()
    head = list(table.columns)
    rows = {tuple(row[0].split("\n")): dict(zip(head, row, strict=True)) for row in table.rows}
    assert float(rows["pH", "40 °C"]["12 weeks"].replace("−", "-")) == pytest.approx(-0.11, abs=0.02)
    assert float(rows["viscosity", "45 °C"]["12 weeks"].removeprefix("× ")) == pytest.approx(0.63, abs=0.02)
    assert rows["viscosity", "freeze-thaw 3 cycles"]["6 d"] != "–"


def test_pulls_are_done_due_and_missed(labbook, found):
    states = {(one.pull.batch, one.pull.place, one.pull.station): one.state for one in found.pulls}
    assert states["YAR-01/3", "5 degC", "12 weeks"] == DUE
    assert states["YAR-01/2", "5 degC", "12 weeks"] == DONE and states["YAR-01/1", "baseline", "baseline"] == DONE
    later = kit.stability(labbook, properties=["grain"], at="2026-06-01T09:00+02:00")
    states = {(one.pull.batch, one.pull.place, one.pull.station): one.state for one in later.pulls}
    assert states["YAR-01/3", "5 degC", "12 weeks"] == MISSED
    assert "1 MISSED" in later.pulls_table().title
    soon = kit.stability(labbook, properties=["grain"], at="2026-01-14T09:00+01:00")
    assert AHEAD in {one.state for one in soon.pulls}


def test_what_a_pull_that_was_made_leaves_open_is_named(found):
    """`freeze_thaw` of the bench reads pH and viscosity and looks at separation; the protocol asks for four more."""
    pulls = {(one.pull.batch, one.pull.place, one.pull.station): one for one in found.pulls}
    partly = pulls["YAR-01/1", "freeze-thaw 3 cycles", "6 d"]
    assert (partly.state, partly.left) == (DONE, ("grain", "odour", "colour", "pack mass loss"))
    assert partly.words.endswith("done, 3 readings; not looked at: grain, odour, colour, pack mass loss")
    # microbiology, of the jar at 25 degC after twelve weeks, is the laboratory's
    last = pulls["YAR-01/1", "25 degC", "12 weeks"]
    assert "microbiology" in last.pull.properties and last.left == ()
    assert found.pulls_table().title == "Pulls: 65 done (6 of them not in full), 1 due now"
    rows = [(str(row[1]), row[3]) for row in found.pulls_table().rows]
    assert dict(rows)["YAR-01/1, 1 week"].tone == "pass"  # four jars with seven each
    (cell,) = (cell for name, cell in rows if name == "YAR-01/2, 6 d")
    assert cell.text == "done, 3 readings; not looked at: grain, odour, colour, pack mass loss"
    assert cell.tone == "flag"


def test_a_property_that_one_jar_of_a_station_lacks_is_named_with_its_place(tmp_path):
    """One pH at 40 degC is void; the window of twelve weeks is still open an hour later, and over in June."""
    bench = whole_bench(tmp_path, batches=1, weeks={"12 weeks": 12})
    (entry,) = [one.entry for one in bench.book.batch("YAR-01/1").view.readings if one.property == "pH"
                and one.storage == "40 degC"]  # fmt: skip
    bench.book.batch("YAR-01/1").void(entry, why="wrong jar")
    for at, said in (("", "still to look at: pH (40 °C)"), ("2026-06-01T09:00+02:00", "not looked at: pH (40 °C)")):
        table = kit.stability(bench.path, properties=["grain"], at=at).pulls_table()
        told = [str(row[3]) for row in table.rows if str(row[1]) == "YAR-01/1, 12 weeks"]
        assert told == [f"done, 27 readings; {said}"]
    bench.book.close()


def test_the_calendar_starts_at_the_baseline(found):
    start = min(pull.due for pull in found.calendar().pulls)
    assert start.isoformat() == "2026-01-16T11:00:00+01:00"  # made until 13 January, 11:00; 72 h
    assert found.calendar().icalendar().count("SUMMARY:Baseline") == 3


def test_two_readings_of_a_jar_never_raise_the_count(tmp_path):
    bench = whole_bench(tmp_path, batches=1, weeks=FEW)
    before = one(kit.stability(bench.path), "pH", "40 degC").series
    batch = bench.book.batch("YAR-01/1")
    told = {"storage": "40 degC", "rest": "24 h", "sample": "40 degC, 12 weeks", "replicate": "2"}
    bench.ph(batch, 4.44, 72 + 168 * 12 + 25, **told)
    after = one(kit.stability(bench.path), "pH", "40 degC").series
    bench.book.close()
    assert len(after.points) == len(before.points) == 4 and len(after.points[-1].readings) == 2
    assert after.life.pooled.lines[0].df == before.life.pooled.lines[0].df == 2
    assert "this batch only" in after.life.words


def test_a_jar_that_did_not_rest_is_shown_and_in_no_line(tmp_path):
    bench = StabilityBench(tmp_path)
    bench.protocol()
    batch = bench.make(1, 0)
    bench.fresh(batch)
    bench.pull(batch, "25 degC", 1)
    bench.pull(batch, "40 degC", 1, rest=None)
    bench.pull(batch, "40 degC", 4, rest="2 h")
    bench.ph(batch, 4.5, 72 + 168 * 5)
    found = kit.stability(bench.path)
    bench.book.close()
    codes = {(item.reading.property, item.reading.storage, item.code) for item in found.left_out}
    assert ("pH", "40 degC", "stability.rest_missing") in codes and ("pH", "40 degC", "stability.rest_short") in codes
    assert ("pH", "", "compare.storage_unknown") in codes
    verdict = one(found, "pH", "40 degC")
    assert verdict.state == UNTOLD and "rested 2 h at 25 °C, the protocol asks for 24 h" in verdict.words
    assert one(found, "pack mass loss", "40 degC").state == WITHIN  # a pack is weighed as it comes
    assert len(found.left_out_table().rows) == len(found.left_out) >= 5


def test_what_comes_back_inside_is_read_again_and_not_called_drift(tmp_path):
    bench = StabilityBench(tmp_path)
    bench.protocol(conditions=["25 degC"])
    batch = bench.make(1, 0)
    bench.fresh(batch)
    for weeks, value in ((1, 4.6), (2, 4.1), (4, 4.58)):
        bench.ph(batch, value, 72 + 168 * weeks, storage="25 degC")
    for weeks, word in ((1, "white"), (2, "grey")):
        batch.observe("colour", word, at=bench.at_age(batch, 72 + 168 * weeks), storage="25 degC")
    found = kit.stability(bench.path)
    bench.book.close()
    assert one(found, "pH", "25 degC").state == OUTSIDE_ONCE
    assert "outside once, at 2 weeks" in one(found, "pH", "25 degC").words
    assert one(found, "colour", "25 degC").headline == "outside since 2 weeks"
    assert one(found, "colour", "25 degC").state == OUTSIDE
    assert "viscosity" not in {verdict.series.property for verdict in found.verdicts if verdict.series.stored}


def test_a_protocol_after_the_data_is_said_with_every_verdict(tmp_path):
    bench = StabilityBench(tmp_path)
    batch = bench.make(1, 0)
    bench.fresh(batch)
    bench.pull(batch, "25 degC", 1)
    bench.now += timedelta(hours=1)
    bench.protocol("LATE", after_data="forgotten")
    found = kit.stability(bench.path)
    bench.book.close()
    assert "PROTOCOL DATED AFTER DATA" in found.words[1]
    assert all("PROTOCOL DATED AFTER DATA" in verdict.words for verdict in found.verdicts if verdict.series.limit)


def test_a_limit_against_the_jar_at_25_degrees(tmp_path):
    """The melted jar against the one beside it; the jar at 25 degC has no verdict of its own."""
    bench = StabilityBench(tmp_path)
    limit = {"viscosity": "± 25 % of the jar kept at 25 degC"}
    bench.protocol(conditions=["25 degC", "45 degC"], properties=limit)
    batch = bench.make(1, 0)
    bench.fresh(batch)
    for weeks in (1, 4):
        for place in ("25 degC", "45 degC"):
            bench.pull(batch, place, weeks)
    found = kit.stability(bench.path)
    bench.book.close()
    assert one(found, "viscosity", "45 degC").headline == "outside since 1 week"
    assert "itself the jar" in one(found, "viscosity", "25 degC").words
    assert one(found, "pH", "45 degC").state == NOT_PROTOCOL
    ratios = [point.relative for point in one(found, "viscosity", "45 degC").series.stored]
    assert ratios == pytest.approx([0.66, 0.66 * math.exp(-0.016 * 0.92)], rel=0.03)


def test_a_viscosity_that_still_builds_at_its_baseline_is_said(tmp_path):
    """With a baseline at 24 h, 1 - 0.45 exp(-24 / 14) = 92 % of the settled value are there."""
    bench = StabilityBench(tmp_path)
    bench.protocol(conditions=["25 degC"], baseline="24 h")
    batch = bench.make(1, 0)
    bench.fresh(batch, ages=(1, 6, 24))
    for weeks in (1, 2, 4):
        bench.pull(batch, "25 degC", weeks)
    found = kit.stability(bench.path)
    bench.book.close()
    (told,) = [words for words in found.words if "builds on" in words]
    assert "YAR-01/1 had 92% of its settled viscosity at 24 h" in told or "had 91%" in told or "had 93%" in told
    assert "no instability" in told


@pytest.fixture(scope="module")
def chamomile(tmp_path_factory):
    return build_demo(tmp_path_factory.mktemp("demo") / "chamomile", study="chamomile").labbook


def test_without_a_protocol_nothing_is_judged_and_too_few_stations_are_said(chamomile):
    """CHA-04 was read at 24 h, 72 h, 7 d and 14 d: viscosity from 72 h on has three stations, no limit, no verdict."""
    found = kit.stability(chamomile, batches=["CHA-04", "CHA-07"])
    assert found.kept is None and "No stability protocol covers these batches" in found.words[0]
    assert {verdict.state for verdict in found.verdicts} == {NOT_PROTOCOL}
    (series,) = [one for one in found.series if one.property == "viscosity"]
    assert series.arm == "CHA-04, CHA-07" and {point.when for point in series.points} >= {"baseline"}
    assert {round(point.hours + 72) for point in series.earlier} <= {23, 24, 25}
    assert series.life.months is None and "3 of the 4 stations it takes were read" in series.life.words
    assert all(line.slope > 0 for line in series.trend.lines)  # it ripens
    with pytest.raises(KitError) as caught:
        found.calendar()
    assert caught.value.code == "stability.no_protocol"


def test_readings_of_jars_kept_who_knows_where_are_not_lost_in_silence(tmp_path):
    """Under a protocol what has no place counts nowhere: it is told so, and what was never read is told apart."""
    bench = StabilityBench(tmp_path)
    bench.protocol()
    batch = bench.make(1, 0)
    bench.ph(batch, 4.50, 24 * 10)
    bench.ph(batch, 4.40, 24 * 30)
    found = kit.stability(bench.book)
    bench.book.close()
    (verdict,) = found.of("pH")
    assert verdict.state == UNTOLD and "2 readings left out: how its jar was kept was not recorded" in verdict.words
    assert [item.reading.value for item in found.left_out] == [Decimal("4.5"), Decimal("4.4")]
    assert "pH" not in found.unread and "viscosity" in found.unread
    assert "2 readings left out" in str(found)


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ({"protocol": "none such"}, "stability.which_protocol"),
        ({"batches": ["YAR-01/9"]}, "labbook.batch"),
        ({"batches": ["YAR-09"]}, "labbook.trial"),
        ({"study": "NIL"}, "labbook.study"),
        ({"at": "tomorrow"}, "labbook.time"),
        ({"setting": "warm"}, "units.not_a_number"),
    ],
)
def test_what_is_not_there_is_refused(labbook, arguments, code):
    with pytest.raises(KitError) as caught:
        kit.stability(labbook, **arguments)
    assert caught.value.code == code


def test_a_snapshot_says_the_same_as_the_lab_book(labbook, tmp_path):
    path = tmp_path / "frozen.json"
    with kit.open_source(labbook) as source:
        path.write_text(json.dumps(freeze(source, ["YAR-01"])), encoding="utf-8")
        words = [str(verdict) for verdict in kit.stability(source).verdicts]
    assert [str(verdict) for verdict in kit.stability(path).verdicts] == words
