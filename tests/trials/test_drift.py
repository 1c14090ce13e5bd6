"""Drift of pH in a lab book: what counts, what is left out and why, and the words.

The readings are those of an invented chamomile study: an amidoamine base whose lactic acid sets acid free over days.
"""

import math
from datetime import timedelta

import pytest

import kit
from kit.errors import KitError
from kit.labbook.snapshot import freeze
from kit.labbook.streams import canonical
from kit.science.drift import Trend, linear_trend
from kit.science.first_order import FirstOrder, fit_first_order
from kit.trials.ages import age_words
from kit.trials.drift import ph_drift
from kit.trials.drift_words import DRIFT, MOVED, STEADY, UNTOLD, judge, least_change

HOURS = {"0 d": 0.25, "1 d": 24, "2 d": 48, "3 d": 72, "7 d": 168, "14 d": 336, "28 d": 672}


class PhBench:
    """Shorthands over the trials' bench: pH at any age."""

    def __init__(self, bench):
        self.bench, self.book = bench, bench.book

    def read(self, batch, **values):
        """read(batch, d0="4.96", d7="4.60") with all conditions; more=... for others."""
        more = values.pop("more", {})
        for age, value in values.items():
            self.at(batch, HOURS[f"{age[1:]} d"], value, **more)

    def at(self, batch, hours, value, **more):
        from datetime import datetime

        self.bench.clock.now = datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=hours)
        told = {"temp": "25 degC", "instrument": "PH-1", "calibration": "CAL-07", "age": f"{hours} h"} | more
        return batch.read_ph(value, **{name: one for name, one in told.items() if one is not None})


@pytest.fixture
def ph(bench):
    return PhBench(bench)


def only(found):
    assert len(found.series) == 1
    return found.series[0]


def test_a_fall_that_settles_is_told_in_words(ph):
    """Read off 4.60 + 0.36 exp(-0.55 t), rounded to two decimals: half in ln 2 / 0.55 = 1.26 d, 0.36 in all."""
    batch = ph.bench.make("LIN-01")
    for hours in HOURS.values():
        ph.at(batch, hours, f"{4.60 + 0.36 * math.exp(-0.55 * hours / 24):.2f}")
    series = only(ph_drift(ph.book, ["LIN-01"]))
    assert series.judged.verdict == DRIFT
    assert series.judged.settles_near == pytest.approx(4.60, abs=0.01)
    assert series.judged.half_d == pytest.approx(1.26, abs=0.15)
    assert series.judged.change == pytest.approx(-0.36, abs=0.01)
    assert series.judged.words.startswith(
        "drift: falls by 0.36 over 28 d (7 readings of 1 batch); settles near 4.60; half"
    )
    assert series.curve.change < 0 < series.curve.rate_per_d
    assert series.left_out == ()
    assert len(series.ages_d) == 7


def test_batches_of_one_formula_version_pool_whatever_their_trial(ph):
    """The control, made twice under two names: 4.96 / 4.76 / 4.61 and 4.94 / 4.75 / 4.60, falls of 0.35 and 0.34.

    Three readings of one batch have no spare one; six of two, less four unknowns, have two.
    """
    first, second = ph.bench.make("LIN-01"), ph.bench.make("LIN-06", day=2)
    other = ph.bench.make("LIN-02", {"glycerin": "4.00 %"}, day=3)
    for hours, one, two in ((0.97, "4.96", "4.94"), (24.2, "4.76", "4.75"), (168.2, "4.61", "4.60")):
        ph.at(first, hours, one)
        ph.at(second, hours, two)
    ph.read(other, d0="4.95", d1="4.75", d7="4.60")
    found = ph_drift(ph.book)
    pooled, alone = found.series
    assert (pooled.trials, pooled.trial, pooled.batches) == (
        ("LIN-01", "LIN-06"),
        "LIN-01, LIN-06",
        ("LIN-01/1", "LIN-06/1"),
    )
    assert (pooled.judged.verdict, alone.judged.verdict) == (DRIFT, MOVED)
    assert pooled.judged.change == pytest.approx(-0.345, abs=0.01)
    assert pooled.curve.df == 2
    assert found.of("LIN-06") == (pooled,) == ph_drift(ph.book, ["LIN-06"]).series
    assert ph_drift(ph.book, ["LIN-01", "LIN-06"]).series == (pooled,)
    rows = [list(map(str, row)) for row in found.table().rows]
    told = ["LIN-01, LIN-06", "pH neat", "not recorded", "2 batches, pooled", "6", "1 h, 24 h, 7 d"]
    assert rows[0][:6] == told
    assert rows[0][6] in ("−0.34", "−0.35")  # the mean of both falls
    assert rows[1][3:] == ["LIN-01/1", "3", "1 h, 24 h, 7 d", "−0.35", "", "4.96 → 4.76 → 4.61"]
    assert rows[2][3:] == ["LIN-06/1", "3", "1 h, 24 h, 7 d", "−0.34", "", "4.94 → 4.75 → 4.60"]
    assert [row[0] for row in rows] == ["LIN-01, LIN-06", "", "", "LIN-02"]
    assert rows[3][5] == "15 min, 24 h, 7 d"  # 15 min lies in no window of the study
    assert "pool" in found.table().note
    assert ph_drift(ph.book, ["LIN-02"]).table().note == ""


def test_a_snapshot_of_one_trial_pools_the_same_batches(ph, tmp_path):
    first, second = ph.bench.make("LIN-01"), ph.bench.make("LIN-06", day=2)
    ph.read(first, d0="4.96", d1="4.76", d7="4.61")
    ph.read(second, d0="4.94", d1="4.75", d7="4.60")
    path = tmp_path / "frozen.json"
    path.write_text(canonical(freeze(ph.book.source(), ["LIN-01"])), encoding="utf-8")
    with kit.open_source(path) as frozen:
        assert ph_drift(frozen, ["LIN-01"]) == ph_drift(ph.book, ["LIN-01"])


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.0, "0 h"),
        (0.005, "0 h"),
        (0.75, "45 min"),
        (0.9999, "1 h"),
        (2.5, "2.5 h"),
        (30, "30 h"),
        (72, "72 h"),
        (100.8, "4.2 d"),
        (168.3, "7 d"),
        (340, "14 d"),
    ],
)
def test_an_age_is_told_in_the_unit_it_is_spoken_of(hours, words):
    assert age_words(hours) == words


def test_two_batches_of_a_trial_pool_on_levels_of_their_own(ph):
    """4.96 / 4.76 / 4.61 and 5.04 / 4.85 / 4.70: the second lies 0.08 to 0.09 above, both fall by a third of a pH."""
    first, second = ph.bench.make("LIN-01"), ph.bench.make("LIN-01", day=2, number=2)
    ph.read(first, d0="4.96", d1="4.76", d7="4.61")
    ph.read(second, d0="5.04", d1="4.85", d7="4.70")
    series = only(ph_drift(ph.book, ["LIN-01"]))
    assert (series.judged.verdict, series.batches) == (DRIFT, ("LIN-01/1", "LIN-01/2"))
    assert series.judged.change == pytest.approx(-0.345, abs=0.01)
    assert series.curve.df == 2
    assert "6 readings of 2 batches" in series.judged.words


def test_three_readings_say_what_a_fourth_would_tell(ph):
    batch = ph.bench.make("LIN-01")
    ph.read(batch, d0="5.86", d1="5.44", d7="5.20")
    judged = only(ph_drift(ph.book, ["LIN-01"])).judged
    assert judged.verdict == MOVED
    assert judged.change == pytest.approx(-0.66, abs=0.005)
    assert "falls by 0.66 over 7 d" in judged.words
    assert judged.words == (
        "moved, not shown to drift: falls by 0.66 over 7 d (3 readings of 1 batch), which so few do not tell from "
        "scatter; a first-order change through them would end near 5.20, half of it in 16 h: read it again at further "
        "ages"
    )


def test_a_steady_trial_and_one_that_was_read_once(ph):
    steady, once = ph.bench.make("LIN-01"), ph.bench.make("LIN-02", {"glycerin": "4.00 %"}, day=2)
    ph.read(steady, d0="4.59", d1="4.60", d3="4.60", d7="4.61")
    ph.read(once, d1="4.60")
    found = ph_drift(ph.book)
    one, other = found.series
    assert (one.judged.verdict, one.judged.settles_near) == (STEADY, None)
    assert "moves by +0.02, no more than the 0.1 an electrode repeats" in one.judged.words
    assert (other.judged.verdict, other.judged.change) == (UNTOLD, None)
    assert "cannot be told: no batch was read at two ages; read it again at another age" in other.judged.words
    assert found.of("LIN-02") == (other,)
    assert found.of("LIN-09") == ()


def test_each_storage_is_a_series_of_its_own(ph):
    batch = ph.bench.make("LIN-01")
    ages = ("0 d", "2 d", "7 d", "14 d", "28 d")
    for storage, rate in (("25 degC", 0.05), ("40 degC", 0.3)):
        for age in ages:
            value = f"{4.60 + 0.40 * math.exp(-rate * HOURS[age] / 24):.2f}"
            ph.at(batch, HOURS[age], value, storage=storage)
    cool, warm = ph_drift(ph.book, ["LIN-01"]).series
    assert (cool.storage, warm.storage) == ("25 degC", "40 degC")
    assert warm.curve.rate_per_d / cool.curve.rate_per_d == pytest.approx(6, rel=0.25)
    assert warm.title == "LIN-01, pH neat, kept at 40 degC"


def test_what_does_not_count_is_left_out_with_its_reason(ph):
    """A void, a worn electrode whose buffers do not bracket, a warm jar, another container, no calibration."""
    ph.book.calibrate("PH-1", "CAL-BAD", slope_pct=81, offset_mv=3, buffers=["7.00", "10.01"], temp="25 degC")
    batch = ph.bench.make("LIN-01")
    jar = {"container": "100 mL jar"}
    ph.read(batch, d0="4.96", d1="4.76", d3="4.66", d7="4.61", more=jar)
    void = ph.at(batch, 170, "7.60", **jar)
    batch.void(void, why="buffer beaker read by mistake")
    ph.at(batch, 0.5, "5.62", calibration="CAL-BAD", **jar)
    ph.at(batch, 49, "4.80", temp="31 degC", **jar)
    ph.at(batch, 50, "4.70", container="30 mL tube")
    ph.at(batch, 51, "4.70", calibration=None, **jar)
    series = only(ph_drift(ph.book, ["LIN-01"]))
    assert [point.ph for point in series.points] == [4.96, 4.76, 4.66, 4.61]
    left = {float(one.value): (one.state, one.codes) for one in series.left_out if one.value != 4.70}
    assert left[7.60] == ("void", ("reading.void",))
    assert left[5.62] == ("FLAGGED", ("calibration.slope", "calibration.bracket"))
    assert left[4.80] == ("FLAGGED", ("reading.temperature",))
    others = {one.reading.container: (one.state, one.codes) for one in series.left_out if one.value == 4.70}
    assert others["30 mL tube"] == ("not comparable", ("compare.container",))
    assert others["100 mL jar"] == ("shown, not tested", ("compare.missing",))
    assert series.judged.change == pytest.approx(-0.35, abs=0.02)


def test_a_failed_closing_check_takes_its_readings_out_of_the_drift(ph):
    batch = ph.bench.make("LIN-01")
    ph.read(batch, d0="4.96", d1="4.76", d3="4.66", d7="4.61")
    assert len(only(ph_drift(ph.book)).points) == 4
    ph.book.close_calibration("CAL-07", buffer="4.01", read="4.21")
    series = only(ph_drift(ph.book))
    assert series.points == ()
    assert {one.codes for one in series.left_out} == {("calibration.closing",)}
    assert "no reading counts" in series.judged.words


def test_ages_that_were_only_typed_are_shown_not_tested(ph):
    ph.bench.make("LIN-01")
    rows = [f"LIN-01/1,pH,{value},,,{age},25 degC,pH neat,PH-1,,,,," for age, value in (("1 d", 4.7), ("7 d", 4.6))]
    ph.bench.import_csv(rows)
    found = ph_drift(ph.book)
    assert all(not series.points for series in found.series)
    states = {one.state for series in found.series for one in series.left_out}
    assert states == {"shown, not tested"}


def test_tables_and_snapshot_say_the_same(ph, tmp_path):
    batch = ph.bench.make("LIN-01")
    ph.read(batch, d0="4.96", d1="4.76", d3="4.66", d7="4.61")
    void = ph.at(batch, 170, "7.60")
    batch.void(void, why="<wrong> beaker")
    found = ph_drift(ph.book)
    text = str(found)
    assert "LIN-01" in text and "not recorded" in text and "falls by" in text
    left = found.left_out_table()
    assert "&lt;wrong&gt;" in left.html() and "<wrong>" not in left.html()
    path = tmp_path / "frozen.json"
    path.write_text(canonical(freeze(ph.book.source(), ["LIN-01"])), encoding="utf-8")
    with kit.open_source(path) as frozen:
        assert ph_drift(frozen) == found
    assert found._repr_html_().startswith("<")


def test_an_unknown_trial_is_refused_and_a_study_without_ph_is_empty(ph):
    ph.bench.make("LIN-01")
    with pytest.raises(KitError) as refused:
        ph_drift(ph.book, ["LIN-10"])
    assert refused.value.code == "labbook.trial"
    empty = ph_drift(ph.book, "LIN-01")
    assert empty.series == ()
    assert "No pH was read" in str(empty.table())


# ---------------------------------------------------------------- the words alone


def words(ages, values):
    batches = ["A/1"] * len(ages)
    return judge(linear_trend(ages, values), fit_first_order(ages, values), ages, values, batches)


def test_a_year_of_monthly_readings_is_drift():
    """Slope -0.0215 (-0.0224 to -0.0205) a month and 0.26 in all (statsmodels 0.15.0, ordinary least squares)."""
    judged = words([0, 30, 60, 90, 180, 270, 360], [4.5, 4.47, 4.45, 4.43, 4.36, 4.3, 4.24])
    assert judged.verdict == DRIFT
    assert judged.change == pytest.approx(-0.26, abs=0.01)
    assert judged.settles_near is None
    assert "where it settles cannot be told: it still moves at the last age" in judged.words


def test_a_sure_trend_that_an_electrode_would_not_see_twice_is_steady():
    """0.06 in all with an interval far from zero: not above 0.1 (common practice, no source)."""
    trend = linear_trend([0, 7, 14, 28], [4.60, 4.585, 4.57, 4.54])
    assert trend.excludes_zero
    assert least_change() == 0.1
    assert words([0, 7, 14, 28], [4.60, 4.585, 4.57, 4.54]).verdict == STEADY


def test_a_move_within_the_scatter_is_not_drift():
    judged = words([0, 1, 3, 7], [4.4, 4.8, 4.3, 4.75])
    assert judged.verdict == MOVED
    assert "rises" in judged.words and "which so few do not tell from scatter" in judged.words
    assert judged.words.endswith(": read it again at further ages")


def test_a_change_over_by_the_second_age():
    judged = words([0, 1, 7, 14, 28], [5.0, 4.61, 4.60, 4.61, 4.60])
    assert (judged.verdict, judged.half_d) == (DRIFT, None)
    assert judged.settles_near == pytest.approx(4.60, abs=0.01)
    assert "settles near 4.60; nearly all of it before 24 h: read earlier" in judged.words


def test_the_words_for_hours_and_for_a_missing_reading():
    assert words([], []).words == "cannot be told: no reading counts"
    curve = FirstOrder(4.9, -0.4, 12.0, 0.01, 0.01, 0.5, 10.0, 14.0, 0.01, 3)
    judged = judge(Trend(-0.1, -0.3, 0.1, 0.05, 3, 1.0, 0.95), curve, [0, 0.1, 0.2, 1], [4.9, 4.6, 4.5, 4.5], ["A/1"])
    assert "half of it in 1.4 h" in judged.words
    assert judged.verdict == DRIFT  # the curve's change leaves out zero though the straight line does not
