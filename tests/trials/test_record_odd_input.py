"""What a hasty hand records: suspect readings, jars kept warm, a control that is not named, an odd order of typing.

Expected: worked by hand on the values typed here.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from itertools import permutations

import pytest

import kit
from kit.errors import KitError
from kit.trials.droplets import batch_spins, droplet_sizes
from kit.trials.flow import flow_study
from kit.trials.oil_blend import oil_blend
from kit.writeup.flow_report import FlowReport

OIL = "caprylic-capric-triglyceride"
LEVELS = {"cetearyl-alcohol": "6.00 %"}


# ---------------------------------------------------------------- suspect readings and warm jars


def test_a_suspect_droplet_size_is_in_no_mean_and_a_warm_jar_is_apart(bench):
    """4 um at 25 degC, 14 um at 45 degC; 6 um was typed as read at 24 h, by the clock it was a week."""
    batch = bench.make("LIN-04", LEVELS)
    bench.at(batch, "7 d")
    batch.read_droplets(d50="4 um")
    batch.read_droplets(d50="14 um", storage="45 degC", rest="24 h")
    batch.read_droplets(d50="6 um", age="24 h")
    cool, warm = droplet_sizes(flow_study(bench.book))
    assert (cool.age, cool.sizes_um) == ("7 d", {"D50": 4.0})
    assert (warm.age, warm.sizes_um) == ("7 d, 45 °C", {"D50": 14.0})
    assert len(cool.left_out) == 1 and cool.left_out[0].startswith("6 um: The age was typed as 24 h")


def test_a_spin_of_a_warm_jar_is_held_against_the_droplets_of_that_jar(bench):
    batch = bench.make("LIN-04", LEVELS)
    bench.at(batch, "7 d")
    batch.read_droplets(d90="8 um")
    batch.read_droplets(d90="20 um", storage="45 degC", rest="24 h")
    batch.read_spin("0 %", rpm=3000, minutes=30, radius="10 cm")
    batch.read_spin("2 %", rpm=3000, minutes=30, radius="10 cm", storage="45 degC", rest="24 h")
    flow = flow_study(bench.book)
    assert [found.age for found in batch_spins(flow, droplet_sizes(flow))] == ["7 d", "7 d, 45 °C"]


def test_a_suspect_oil_viscosity_makes_no_blend(bench):
    """Read at 3 % of full scale: 27 / 0.95 = 28.4 mm2/s would have been told."""
    batch = bench.make("LIN-04", LEVELS)
    suspect = {"torque_pct": "3", "rpm": 10, "spindle": "disc 4", "instrument": "VIS-1"}
    batch.read_oil_viscosity(OIL, "27 mPa.s", temp="25 degC", **suspect)
    (table,) = FlowReport(bench.book).droplets()
    assert "28.4" not in str(table) and f"read {OIL} too" in str(table) and "below 10 % of full scale" in str(table)


def test_an_oil_read_twice_is_averaged_and_another_temperature_does_not_take_its_place(bench):
    """sqrt(25 x 30) = 27.39 mPa.s at 25 degC; at 40 degC it is another oil."""
    found = []
    for order in permutations(("25 mPa.s", "30 mPa.s")):
        batch = bench.make(f"LIN-1{len(found)}", LEVELS, day=1 + len(found))
        for value in order:
            batch.read_oil_viscosity(OIL, value, temp="25 degC")
        batch.read_oil_viscosity(OIL, "12 mPa.s", temp="40 degC")
        ((_, share, viscosity),) = oil_blend(batch.view).oils
        found.append((share, viscosity))
    assert found[0] == pytest.approx(found[1]) and found[0][0] == 1
    assert found[0][1] == pytest.approx(math.sqrt(25 * 30) / 0.95, rel=0.005)


# ---------------------------------------------------------------- the control is there though it is not named


def colours(bench):
    for trial, changes, lightness in (("LIN-03", {}, 90), ("LIN-04", LEVELS, 88)):
        batch = bench.make(trial, changes)
        bench.at(batch, "24 h")
        batch.read_colour(lightness, 0, 5, light="D65", instrument="COL-1")


def test_colours_of_one_trial_stand_against_the_control_all_the_same(bench):
    """Of L* 90 and 88: S_L at their mean is 1 + 0.015 x 39^2 / sqrt(20 + 39^2) = 1.581, so 2 / 1.581 = 1.265."""
    colours(bench)
    found = kit.colour_differences(bench.book, ["LIN-04"])
    (change,) = (one for one in found.changes if one.against == "the control")
    assert change.standard.batch == "LIN-03/1"
    assert change.difference.ciede2000 == pytest.approx(2 / (1 + 0.015 * 39**2 / math.sqrt(20 + 39**2)), abs=0.001)


def test_a_control_that_is_not_there_is_refused(bench):
    colours(bench)
    with pytest.raises(KitError) as caught:
        kit.colour_differences(bench.book, ["LIN-04"], control="LIN-99")
    assert caught.value.code == "labbook.trial"


def test_tresses_of_one_trial_stand_against_the_control_all_the_same(bench):
    """Geometric means 50 and 40 %: a ratio of 0.8."""
    for trial, changes, shares in (("LIN-03", {}, (48, 50, 52.083333)), ("LIN-04", LEVELS, (38.4, 40, 41.666667))):
        batch = bench.make(trial, changes)
        bench.at(batch, "24 h")
        for number, share in enumerate(shares):
            batch.read("wet-combing force", f"{share} %", sample=f"{trial} tress {number}", instrument="COMB-1")
    found = kit.combing(bench.book, ["LIN-04"])
    (ratio,) = found.ratios
    assert ratio.ratio == pytest.approx(0.8, rel=1e-4) and found.reason == ""
    assert "no tress was treated with the control" not in found.words


# ---------------------------------------------------------------- the order of typing


def test_a_comparison_does_not_turn_on_which_reading_was_typed_first(empty):
    """The control stands on two viscometers, the other version on the first: 29,000 / 19,000 however it was typed."""
    empty.book.add_instrument("VIS-2", kind="viscometer", constants={"disc 5": 4000})
    found = []
    for number, order in enumerate(permutations(("VIS-1", "VIS-2"))):
        name = f"ORD{number}"
        empty.study(name)
        control = empty.make(f"{name}-03", {}, study=name)
        other = empty.make(f"{name}-04", LEVELS, study=name)
        read = {"VIS-1": (control, 19000, 0), "VIS-2": (control, 20000, 10)}
        for instrument in order:
            viscosity(empty, *read[instrument], instrument)
        viscosity(empty, other, 29000, 0, "VIS-1")
        result = empty.compare(f"{name}-04").result("viscosity", "72 h")
        found.append(result.arm(f"{name}-04").difference.value)
    assert found == [pytest.approx(29000 / 19000)] * 2


def viscosity(bench, batch, value: int, minutes: int, instrument: str) -> None:
    at = datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=72, minutes=minutes)
    bench.clock.now = at + timedelta(hours=1)
    batch.read_viscosity(
        f"{value} mPa.s", torque_pct=str(value * 10 / 4000), rpm=10, spindle="disc 5", instrument=instrument,
        temp="25.0 degC", reading_time="60 s", container="100 mL jar", at=at.isoformat(),
    )  # fmt: skip


# ---------------------------------------------------------------- responses


def series(bench) -> None:
    for place, (trial, level, value) in enumerate(
        (("LIN-01", "3.00 %", 5000), ("LIN-02", "4.00 %", 11000), ("LIN-03", "", 19000), ("LIN-04", "6.00 %", 29000))
    ):
        batch = bench.make(trial, {"cetearyl-alcohol": level} if level else {}, day=1 + place // 2)
        bench.viscosity(batch, "72 h", value)


def fitted(bench, factors, **asked):
    return kit.fit_response(bench.book, "LIN", "viscosity", "72 h", factors, **({"levels": "meant"} | asked))


def test_one_name_does_for_a_list_of_one_in_a_response(bench):
    series(bench)
    found = fitted(bench, "cetearyl-alcohol", without="LIN-04")
    assert [batch.batch for batch in found.data.held_out] == ["LIN-04/1"] and len(found.batches) == 3
    assert len(fitted(bench, "cetearyl-alcohol", trials="LIN-03/1").batches) == 1


@pytest.mark.parametrize(
    ("factors", "asked", "code"),
    [
        (None, {}, "response.factors"),
        ({"cetearyl-alcohol": "5 %"}, {}, "response.factor"),  # one level is no bounds
        (["cetearyl-alcohol"], {"mixture": True}, "response.mixture"),
        (["combining, rpm: 9000 to 4000"], {}, "response.factor"),
        (["combining, rpm: nan to 4000"], {}, "units.not_a_number"),
    ],
)
def test_a_response_that_cannot_be_asked_for_is_refused_in_words(bench, factors, asked, code):
    series(bench)
    with pytest.raises(KitError) as caught:
        fitted(bench, factors, **asked)
    assert caught.value.code == code


def test_batches_kept_back_are_told_where_nothing_is_left(bench):
    series(bench)
    found = fitted(bench, ["cetearyl-alcohol"], without=["LIN-01", "LIN-02", "LIN-03", "LIN-04"])
    assert not found.is_fitted and "LIN-03/1: kept back" in found.reason


def test_a_level_with_a_unit_is_no_traceback(bench):
    series(bench)
    with pytest.raises(KitError) as caught:
        fitted(bench, ["cetearyl-alcohol"]).predict({"cetearyl-alcohol": "5 %"})
    assert caught.value.code == "units.not_a_number"


def test_an_interaction_that_goes_with_the_day_is_marked_on_its_row(bench):
    """Four corners: alcohol x glycerin is +1 on the first day and -1 on the second."""
    corners = (("3.00 %", "2.00 %", 1), ("6.00 %", "4.00 %", 1), ("3.00 %", "4.00 %", 2), ("6.00 %", "2.00 %", 2))
    for place, (alcohol, glycerin, day) in enumerate(corners, start=1):
        batch = bench.make(f"LIN-0{place}", {"cetearyl-alcohol": alcohol, "glycerin": glycerin}, day=day)
        bench.viscosity(batch, "72 h", 10000 + 1000 * place)
    for number, value in enumerate((12000, 12500), start=1):  # the centre, so that there is a table
        batch = bench.make("LIN-09", {"cetearyl-alcohol": "4.50 %", "glycerin": "3.00 %"}, number=number, day=number)
        bench.viscosity(batch, "72 h", value)
    found = fitted(bench, {"cetearyl-alcohol": "3 to 6 %", "glycerin": "2 to 4 %"}, model="linear")
    rows = {row[0]: str(row[-1]) for row in found.two_level_table().rows}
    assert "mixed with the day" in rows["cetearyl-alcohol * glycerin"]
    assert "mixed with the day" not in rows["glycerin"]


# ---------------------------------------------------------------- plans on the record


@pytest.fixture(scope="module")
def three_levels(linden):
    return kit.plan_variations(linden.formula, "levels", ["cetearyl-alcohol: 4.00, 5.00, 6.00 %"], days=2, seed=3)


def test_a_plan_of_a_day_to_come_is_refused(bench, three_levels):
    """No batch would belong to it until then."""
    bench.clock.now = bench.clock.day(1)
    with pytest.raises(KitError) as caught:
        bench.book.add_plan(three_levels, study="LIN", at="2030-01-01 08:00")
    assert caught.value.code == "labbook.plan_time" and bench.book.source().plans() == ()


def test_a_plan_dated_before_its_batches_and_recorded_after_them_says_so(bench, three_levels):
    bench.make("LIN-03", {}, day=1)
    bench.clock.now = bench.clock.day(3)
    bench.book.add_plan(three_levels, study="LIN", at=(bench.clock.day(0)).isoformat())
    made = kit.plan_made(bench.book)
    assert made.begun_before == ("LIN-03/1",) and "1 begun before the plan was put on the record" in made.words


def test_a_plan_recorded_first_has_nothing_to_say_of_it(bench, three_levels):
    bench.clock.now = bench.clock.day(0)
    bench.book.add_plan(three_levels, study="LIN")
    bench.make("LIN-03", {}, day=1)
    made = kit.plan_made(bench.book)
    assert made.made == 1 and made.begun_before == () and "begun before" not in made.words


def test_what_is_not_there_yet_is_said_as_it_is(bench):
    with pytest.raises(KitError) as caught:
        kit.plan_made(bench.book)
    assert caught.value.code == "plan.unknown" and "no plan of study LIN" in caught.value.what


def test_a_lab_book_without_a_study_does_not_speak_of_several(empty):
    with pytest.raises(KitError) as caught:
        kit.plan_made(empty.book)
    assert caught.value.code == "labbook.study" and "no study yet" in caught.value.what


def test_a_control_that_is_not_made_yet_does_not_hide_the_scatter(empty):
    """19,000 and 21,000: SD of two logarithms, ln(21/19) / sqrt(2) = 7.1 %, with one degree of freedom."""
    empty.study("NEW", control="NEW-99")
    empty.versions("NEW", {"NEW-01": [19000, 21000]})
    plan = kit.plan_variations(empty.formula, "levels", ["cetearyl-alcohol: 4, 6 %"], history=empty.book, study="NEW")
    assert plan.power.scatter.df == 1
    assert plan.power.scatter.sd == pytest.approx(math.log(21 / 19) / math.sqrt(2), rel=1e-6)


# ---------------------------------------------------------------- what cannot have been read


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda batch: batch.read_droplets(d50="-4 um"), "droplets.size"),
        (lambda batch: batch.read_droplets(d10="9 um", d50="4 um", d90="2 um"), "droplets.size"),
        (lambda batch: batch.read_droplets(d32="6 um", d43="4 um"), "droplets.size"),
        (lambda batch: batch.read_spin("150 %", rpm=3000, minutes=30), "spin.range"),
        (lambda batch: batch.read_spin("-5 %", rpm=3000, minutes=30), "spin.range"),
        (lambda batch: batch.read_spin("5 %", rpm=0, minutes=30), "spin.range"),
        (lambda batch: batch.read_spin("5 %", rpm=3000, minutes=-30), "spin.range"),
        (lambda batch: batch.read_spin("5 %", rpm=3000, minutes=30, radius="-10 cm"), "spin.range"),
        (lambda batch: batch.read_oil_viscosity("caprylic-triglyceride", "25 mPa.s", temp="25 degC"), "oil.material"),
    ],
)
def test_what_no_instrument_can_show_is_refused_and_nothing_is_kept(bench, call, code):
    batch = bench.make("LIN-04", LEVELS)
    with pytest.raises(KitError) as caught:
        call(batch)
    assert caught.value.code == code and batch.view.readings == ()


def test_amounts_of_a_batch_that_was_not_weighed_are_not_as_meant(bench, three_levels):
    bench.clock.now = bench.clock.day(0)
    bench.book.add_plan(three_levels, study="LIN")
    bench.make("LIN-03", {}, day=1)
    (row,) = (row for row in kit.plan_made(bench.book).table().rows if "LIN-03/1" in str(row[3]))
    assert "NOT RECORDED" in row[-1] and "as meant" not in row[-1]
