"""The green tea study after its choice: a panel on cut tresses, and a stability study whose limits came first."""

from __future__ import annotations

import math
from datetime import datetime

import numpy as np
import pytest
from scipy.stats import binom

import kit
from kit.trials.stability_warm import HOLDS

STUDY = "green-tea"
# weeks in storage: pH and torque % at 5, 25, 40 degC, typed from the study as it was laid down
JARS = {
    2: (("4.59", "40.2"), ("4.58", "40.4"), ("4.56", "39.2")),
    4: (("4.60", "40.1"), ("4.57", "40.2"), ("4.52", "37.6")),
    8: (("4.59", "40.4"), ("4.55", "39.7"), ("4.46", "36.3")),
    12: (("4.58", "39.9"), ("4.54", "39.8"), ("4.40", "34.2")),
}
PLACES = ("5 degC", "25 degC", "40 degC")
BASELINE = ("4.59", "40.0")
MONTHS = [0, *(weeks * 168 / 730.5 for weeks in JARS)]  # a month is a twelfth of 365.25 d


@pytest.fixture(scope="module")
def kept(source):
    return kit.stability(source, "TEA-stability")


@pytest.fixture(scope="module")
def odd_one(source):
    return kit.panel(source, "TEA-odd-one")


# ---------------------------------------------------------------- how it was kept


def test_the_protocol_came_before_every_reading_of_its_batch(source, kept):
    batch = source.batch("TEA-10/1")
    assert (kept.kept.after_data, kept.after_data) == ("", ())
    assert kept.kept.recorded_at < batch.started_at
    assert kept.words[0].startswith("Protocol TEA-keeps, recorded 2026-08-31 07:45")
    assert batch.formula.fingerprint == source.trial("TEA-09").formula.fingerprint


def test_one_batch_fills_every_jar(source, kept):
    """3 places x (4 stations + 1 spare) + 1 for microbiology + 1 for the baseline = 17 jars of 95 g = 1615 g."""
    assert (kept.kept.protocol.jars, int(kept.kept.protocol.grams)) == (17, 1615)
    assert source.batch("TEA-10/1").batch_g == 2000


def test_each_jar_was_read_once_and_those_from_elsewhere_rested_for_a_day(source):
    stored = [one for one in source.batch("TEA-10/1").readings if one.storage]
    assert len(stored) == 2 * 3 * 4  # pH and viscosity, three places, four stations
    assert len({(one.property, one.sample) for one in stored}) == len(stored)
    for one in stored:
        assert one.rest_h == (None if one.storage == "25 degC" else 24)
        assert one.property != "viscosity" or one.value == 400 * one.torque_pct
    values = {(one.property, one.sample): str(one.value if one.property == "pH" else one.torque_pct) for one in stored}
    for weeks, jars in JARS.items():
        for place, (acidity, torque) in zip(PLACES, jars, strict=True):
            assert values["pH", f"{place}, {weeks} weeks"] == acidity
            assert values["viscosity", f"{place}, {weeks} weeks"] == torque


def test_every_pull_is_done_and_nothing_is_left_out(kept):
    assert {one.state for one in kept.pulls} == {"done"}
    assert len(kept.pulls) == 1 + 3 * 4
    assert kept.left_out == ()
    assert kept.unread == ()


# ---------------------------------------------------------------- what is said of it


def test_within_its_limits_for_twelve_weeks_but_for_the_colour_in_the_warm(kept):
    """± 0.3: 4.40 - 4.59 = -0.19. ± 25 %: 34.2 / 40.0 = 0.855."""
    told = {(one.series.property, one.series.place): one for one in kept.verdicts}
    assert {key for key, one in told.items() if one.state != "within limits so far"} == {("colour", "40 degC")}
    assert told["colour", "40 degC"].headline == "outside since 8 weeks"
    assert "12 weeks, 4 stations; furthest −0.19" in told["pH", "40 degC"].words
    assert "furthest ratio 0.855" in told["viscosity", "40 degC"].words
    assert "12 weeks, 4 stations; pale green" in told["colour", "25 degC"].words


@pytest.mark.parametrize("place", PLACES)
def test_slopes_by_least_squares_from_the_baseline_on(kept, place):
    """Jars are read a day after they are pulled, which moves a month by 0.03."""
    column = PLACES.index(place)
    acidity = [float(BASELINE[0]), *(float(jars[column][0]) for jars in JARS.values())]
    torque = [float(BASELINE[1]), *(float(jars[column][1]) for jars in JARS.values())]
    for name, values in (("pH", acidity), ("viscosity", [math.log(value) for value in torque])):
        (verdict,) = kept.of(name, place)
        slope = np.polyfit(MONTHS, values, 1)[0]
        (line,) = verdict.series.trend.lines
        assert line.slope == pytest.approx(slope, abs=0.0012), name
    assert (place == "40 degC") == (np.polyfit(MONTHS, acidity, 1)[0] < -0.04)


def test_no_time_beyond_twice_the_last_station_and_of_this_batch_only(kept):
    for property in ("pH", "viscosity"):
        for place in PLACES:
            (verdict,) = kept.of(property, place)
            life = verdict.series.life
            assert "this batch only" in life.words
            assert life.months is None or life.months < 2 * MONTHS[-1] + 0.1
            assert (life.months is None) == (place != "40 degC")


def test_forty_degrees_is_an_indication_only_and_the_network_is_whole_there(kept):
    """It sets at 55 degC by its own cooling log."""
    told = {one.series.property: one for one in kept.indications if one.series.place == "40 degC"}
    assert told["pH"].network == HOLDS
    assert "indicative only" in told["pH"].words
    assert "indicative only" in told["viscosity"].words
    network = kept.networks["TEA-10"]
    assert network.temp_c == pytest.approx(55, abs=1)


def test_everything_is_marked_as_invented(source):
    assert "not a recipe to use on people" in source.study("TEA-stability").note
    assert "not a recipe to use on people" in source.batch("TEA-10/1").note
    assert "invented data" in source.stability_protocols("TEA-stability")[0].protocol.note


# ---------------------------------------------------------------- the panel


def test_codes_and_orders_were_kept_before_the_first_answer(source, odd_one):
    panel = odd_one.panel
    planned = datetime.fromisoformat(source.entries("panel/TEA-odd-one")[0].recorded_at)
    assert all(datetime.fromisoformat(found.at) > planned for found in panel.answers)
    assert (panel.place, panel.overridden, len(panel.servings)) == ("tress", (), 24)
    orders = [one.order for one in panel.servings]
    assert {orders.count(order) for order in orders} == {4}  # six orders


def test_ten_of_twenty_four_are_no_difference_shown_and_no_proof_of_none(odd_one):
    """ISO 4120: 13 of 24 are needed at 0.05; by guessing 10 or more come in 25 % of panels."""
    told = " ".join(odd_one.sentences)
    assert "10 of 24 named the odd sample" in told
    assert "13 are needed" in told
    assert odd_one.finding.test.p == pytest.approx(binom.sf(9, 24, 1 / 3), rel=1e-9)
    assert odd_one.verdict == "no difference is shown"
    assert "That is no proof that there is none." in odd_one.sentences


def test_the_same_tresses_by_the_load_cell(source):
    """Geometric means of three tresses each: 36, 38, 43 of TEA-02 and 36, 39, 42 of TEA-09."""
    (ratio,) = kit.combing(source, ["TEA-02", "TEA-09"], control="TEA-02").ratios
    assert ratio.ratio == pytest.approx((36 * 39 * 42 / (36 * 38 * 43)) ** (1 / 3), rel=1e-9)
    assert ratio.low < 1 < ratio.high
