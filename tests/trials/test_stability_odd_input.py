"""What a hasty hand does to a stability study: jars read again, limits in another unit, batches of another version.

Expected: counted and judged by hand on values typed here.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

import kit
from kit.errors import KitError
from kit.trials.stability_pulls import AHEAD, DONE
from kit.trials.stability_verdicts import NOT_PROTOCOL, OUTSIDE, UNTOLD, WITHIN
from tests.stability_readings import StabilityBench

WEEK = 168
SHORT = {"conditions": ["25 degC", "40 degC"], "stations": ["1 week", "2 weeks", "4 weeks"]}


@pytest.fixture
def bench(tmp_path):
    found = StabilityBench(tmp_path)
    yield found
    found.book.close()


def judged(bench, property: str, place: str = "", **asked):
    (verdict,) = kit.stability(bench.book, properties=[property], **asked).of(property, place)
    return verdict


def test_one_jar_read_on_three_days_of_a_station_is_one_station(bench):
    """Baseline and one week: two stations, of the four it takes, and no scatter about a line through two points."""
    bench.protocol(**SHORT)
    batch = bench.make(1, 0)
    bench.ph(batch, 4.60, 72)
    for off, value in ((-23, 4.60), (0, 4.59), (23, 4.58)):
        bench.ph(batch, value, 72 + WEEK + off, storage="25 degC", sample="jar 1")
    verdict = judged(bench, "pH", "25 degC")
    assert verdict.series.life.state == "cannot be told" and verdict.series.life.stations == 2
    assert verdict.series.trend.reason
    assert verdict.state == WITHIN and "−0.02" in verdict.told and "1 station" in verdict.told  # each still judged


@pytest.mark.parametrize(
    ("limit", "state"),
    [
        ("15 to 20 Pa.s", WITHIN),
        ("at most 17 Pa.s", OUTSIDE),
        ("at least 19 Pa.s", OUTSIDE),
        ("15000 to 20000", WITHIN),
    ],
)
def test_a_limit_in_another_unit_is_converted(bench, limit, state):
    """18,000 mPa.s is 18 Pa.s."""
    bench.protocol(**SHORT, properties={"viscosity": limit})
    batch = bench.make(1, 0)
    bench.viscosity(batch, 18000, 72)
    bench.viscosity(batch, 18000, 72 + WEEK, storage="25 degC")
    assert judged(bench, "viscosity", "25 degC").state == state


def test_a_limit_in_a_unit_that_does_not_fit_is_told_and_not_judged(bench):
    bench.protocol(**SHORT, properties={"pack mass loss": "at most 2 g"})
    batch = bench.make(1, 0)
    bench.at_age(batch, 72 + WEEK)
    batch.read("pack mass loss", "0.1 %", storage="40 degC")
    verdict = judged(bench, "pack mass loss", "40 degC")
    assert verdict.state == UNTOLD and verdict.told == "the limit is in g, the readings in %"


@pytest.mark.parametrize(("value", "state"), [(18000, WITHIN), (14000, OUTSIDE)])
def test_a_number_looked_at_at_the_start_is_judged_there(bench, value, state):
    bench.protocol(**SHORT, properties={"viscosity": "15000 to 25000 mPa.s; at the start"})
    batch = bench.make(1, 0)
    bench.viscosity(batch, value, 72)
    verdict = judged(bench, "viscosity")
    assert verdict.state == state and "baseline" in verdict.words


def test_a_batch_the_protocol_is_not_for_is_not_judged_by_it(bench):
    bench.protocol(**SHORT)
    own = bench.make(1, 0)
    other = bench.formula.change({"cetearyl-alcohol": "6.00 %"}, why="another version")
    bench.now += timedelta(hours=1)
    sheet = kit.plan_batch(other, "4 kg")
    strange = bench.book.start_batch(sheet, trial="YAR-02", study="YAR", operator="bench 2", number=1)
    bench.now += timedelta(hours=3)
    strange.finish()
    for batch in (own, strange):
        bench.ph(batch, 4.60, 72)
        bench.ph(batch, 4.59, 72 + WEEK, storage="25 degC")
    found = kit.stability(bench.book, batches=["YAR-01", "YAR-02"], properties=["pH"])
    states = {(verdict.series.arm, verdict.series.place): verdict.state for verdict in found.verdicts}
    assert states["YAR-01", "25 degC"] == WITHIN and states["YAR-02", "25 degC"] == NOT_PROTOCOL
    assert "It is not for YAR-02/1: nothing of them is judged by it." in found.words
    assert {state.pull.batch for state in found.pulls} == {"YAR-01/1"}
    assert "YAR-02" not in found.calendar().icalendar()


def test_where_windows_overlap_a_reading_is_done_for_the_nearer_pull_alone(bench):
    """Nine days after the baseline lies within six days of one week and of two."""
    bench.protocol(conditions=["25 degC"], stations=["1 week ± 6 d", "2 weeks ± 6 d"])
    batch = bench.make(1, 0)
    bench.ph(batch, 4.60, 72 + 9 * 24, storage="25 degC")
    found = {state.pull.station: state.state for state in kit.stability(bench.book).pulls}
    assert found["1 week"] == DONE and found["2 weeks"] != DONE
    early = kit.stability(bench.book, at=datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=73)).pulls
    assert {state.pull.station: state.state for state in early}["2 weeks"] == AHEAD


def test_a_property_that_nobody_read_is_told_though_it_has_no_limit(bench):
    bench.protocol(**SHORT)
    bench.ph(bench.make(1, 0), 4.60, 72)
    assert "Nothing was read of gloss." in kit.stability(bench.book, properties=["gloss"]).words


def test_without_a_baseline_the_time_to_limit_says_so(bench):
    bench.protocol(**SHORT)
    batch = bench.make(1, 0)
    bench.ph(batch, 4.50, 72 + WEEK + 24, storage="40 degC", rest="24 h")
    (row,) = kit.stability(bench.book, properties=["pH"]).life_table().rows
    assert str(row[1]) == "NONE: YAR-01/1 has no value at the baseline. Last station at 0.23 months."  # 168 / 730.5


def test_every_slope_and_gap_has_its_unit(bench):
    """0.10, 0.20 and 0.40 % after one, two and four weeks; 0.30 % more at 40 degC after one."""
    bench.protocol(**SHORT)
    batch = bench.make(1, 0)
    for weeks, cool, warm in ((1, "0.10", "0.40"), (2, "0.20", "0.81"), (4, "0.41", "1.60")):
        bench.at_age(batch, 72 + WEEK * weeks)
        batch.read("pack mass loss", f"{cool} %", storage="25 degC")
        batch.read("pack mass loss", f"{warm} %", storage="40 degC")
    found = kit.stability(bench.book, properties=["pack mass loss"])
    assert all(" % (" in str(row[1]) for row in found.trend_table().rows)
    (row,) = found.beside_table().rows
    assert row[1] == "+0.30 %"


def test_the_order_of_typing_moves_nothing(bench):
    """Two viscometers at the baseline: the one read first decides, whichever was typed in first."""
    bench.book.add_instrument("VIS-2", kind="viscometer", constants={"disc 5": 4000})
    bench.protocol(**SHORT)
    found = []
    for number, order in ((1, ("VIS-2", "VIS-1")), (2, ("VIS-1", "VIS-2"))):
        batch = bench.make(number, number - 1)
        moments = {"VIS-1": 72.0, "VIS-2": 72.5}
        for name in order:
            at = (datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=moments[name])).isoformat()
            bench.now = datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=73)
            batch.read_viscosity(
                "18000 mPa.s", torque_pct="45", rpm=10, spindle="disc 5", instrument=name, temp="25.0 degC",
                reading_time="60 s", container="100 mL jar", at=at,
            )  # fmt: skip
        (verdict,) = kit.stability(bench.book, properties=["viscosity"], batches=[f"YAR-01/{number}"]).verdicts
        found.append([reading.instrument for point in verdict.series.points for reading in point.readings])
    assert found == [["VIS-1"], ["VIS-1"]]


def test_a_protocol_by_a_method_that_the_study_lacks_is_not_frozen(bench):
    planned = kit.plan_stability(bench.formula, methods={"pH": "pH by paper"})
    with pytest.raises(KitError) as caught:
        bench.book.add_stability_protocol(planned, study="YAR", name="YAR-stability")
    assert caught.value.code == "stability.method" and "pH neat" in caught.value.allowed
    assert bench.book.source().stability_protocols("YAR") == ()


def test_the_parts_of_a_result_tell_themselves_in_words(bench):
    bench.protocol(**SHORT)
    batch = bench.make(1, 0)
    bench.ph(batch, 4.60, 72)
    bench.ph(batch, 4.59, 72 + WEEK, storage="25 degC")
    found = kit.stability(bench.book, properties=["pH"])
    for one in (found.verdicts[0], found.series[0], found.series[0].points[0], found.pulls[0], found.pulls[0].pull):
        assert repr(one) == str(one) and "YAR-01" in repr(one) and "(" not in repr(one).partition(" ")[0]


@pytest.mark.parametrize(("months", "told"), [(11.5, "11"), (9.39, "9.3"), (0.529, "0.52"), (12.0, "12"), (0.0, "0")])
def test_a_time_to_limit_is_never_rounded_up(months, told):
    from kit.trials.stability_tables import _rounded_down

    assert _rounded_down(months) == told
