"""Which readings count: void, in process, typed age, repeated, other conditions. Spec: 15000 to 25000 at 72 h."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

import kit
from kit.trials.results import FAIL, FLAGGED, NOT_TESTED, PASS


@pytest.fixture
def pair(bench):
    """The control and a trial, each with one viscosity at 72 h, and their batches."""
    control, trial = bench.make("LIN-03"), bench.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    bench.viscosity(control, "72 h", 19000)
    bench.viscosity(trial, "72 h", 24000)
    bench.control_batch, bench.trial_batch = control, trial
    return bench


def at_72_h(bench, label: str = "LIN-04"):
    return bench.compare("LIN-04").result("viscosity", "72 h").arm(label)


def left_out(bench):
    return [(item.batch, item.value, item.state, item.codes) for item in bench.compare("LIN-04").not_used]


def test_two_readings_of_one_jar_are_averaged_and_never_raise_n(pair):
    pair.viscosity(pair.trial_batch, "72 h", 22000, replicate="2")
    found = at_72_h(pair)
    assert (found.n_batches, found.n_readings) == (1, 2)
    # sqrt(24000 x 22000) = 22978.25
    assert found.mean == pytest.approx(22978.25, abs=0.01)
    assert found.sd_batches is None
    (value,) = found.batch_values
    assert value.sd_of_readings == pytest.approx(math.log(24 / 22) / math.sqrt(2), rel=1e-9)
    assert (found.difference.interval_by, found.difference.low) == ("single batch", None)
    assert "1 batch, 2 readings against 1 batch, 1 reading" in found.difference.words


def test_a_voided_reading_leaves_the_mean_and_is_listed_with_its_reason(pair):
    wrong = pair.viscosity(pair.trial_batch, "72 h", 12000, replicate="2")
    assert at_72_h(pair).n_readings == 2
    pair.trial_batch.void(wrong, why="wrong jar")
    assert (at_72_h(pair).mean, at_72_h(pair).n_readings) == (24000.0, 1)
    (item,) = pair.compare("LIN-04").not_used
    assert (item.state, item.codes, item.value) == ("void", ("reading.void",), 12000.0)
    assert "wrong jar" in item.words


def test_a_corrected_reading_counts_with_its_new_value(pair):
    typed = pair.viscosity(pair.trial_batch, "72 h", 20000, torque="55", replicate="2")
    assert at_72_h(pair).n_readings == 1  # 20000 x 10 / 55 is not the constant 4000: flagged
    pair.trial_batch.correct(typed, why="torque misread", torque_pct="50")
    assert at_72_h(pair).mean == pytest.approx(math.sqrt(24000 * 20000), rel=1e-12)


def test_a_reading_before_the_end_of_making_has_no_age_and_never_enters(bench):
    for trial, changes in (("LIN-03", {}), ("LIN-04", {"cetearyl-alcohol": "6.00 %"})):
        bench.clock.now = bench.clock.day(1)
        batch = bench.book.start_batch(
            kit.plan_batch(bench.variant(changes), "400 g", balances=["0.01 g"]),
            trial=trial,
            study="LIN",
            operator=trial,
        )
        batch.read_ph("4.95", temp="25 degC", instrument="PH-1", calibration="CAL-07")
        bench.finish(batch, 2)
        bench.ph(batch, "24 h", "4.60")
    found = bench.compare("LIN-04")
    assert found.result("pH", "24 h").arm("LIN-04").mean == 4.60
    assert [(item.batch, item.value, item.state, item.codes) for item in found.not_used] == [
        ("LIN-03/1", 4.95, "in process", ("reading.in_process",)),
        ("LIN-04/1", 4.95, "in process", ("reading.in_process",)),
    ]


def test_a_batch_that_is_not_finished_has_only_readings_in_process(pair):
    sheet = kit.plan_batch(pair.variant({"cetearyl-alcohol": "7.00 %"}), "400 g", balances=["0.01 g"])
    pair.book.start_batch(sheet, trial="LIN-05", study="LIN", operator="bench 3").read_ph(
        "4.7", temp="25 degC", instrument="PH-1", calibration="CAL-07"
    )
    found = pair.compare("LIN-05")
    assert [(item.state, item.words) for item in found.not_used] == [
        ("in process", "making is not finished: it has no age")
    ]
    assert found.result("viscosity", "72 h").arm("LIN-05").verdict == NOT_TESTED


def test_an_age_that_was_only_typed_is_shown_and_not_tested(pair):
    pair.import_csv(["LIN-04/1,viscosity,20000,mPa.s,,72 h,25 degC,viscosity,VIS-1,disc 5,10,50,60 s,100 mL jar"])
    assert left_out(pair) == [("LIN-04/1", 20000.0, "shown, not tested", ("compare.age_typed",))]
    assert (at_72_h(pair).mean, len(at_72_h(pair).shown)) == (24000.0, 1)


def test_the_only_reading_with_a_typed_age_leaves_the_spec_not_tested(bench):
    bench.make("LIN-03")
    bench.import_csv(["LIN-03/1,viscosity,20000,mPa.s,,72 h,25 degC,viscosity,VIS-1,disc 5,10,50,60 s,100 mL jar"])
    (found,) = bench.compare("LIN-03").result("viscosity", "72 h").arms
    assert found.verdict == NOT_TESTED
    assert "typed, without a clock time" in found.verdict_why
    assert found.mean is None


def test_a_condition_declared_for_a_whole_file_leaves_it_shown(pair):
    row = "LIN-04/1,viscosity,20000,mPa.s,2026-03-05 12:00,,25 degC,,VIS-1,disc 5,10,50,60 s,100 mL jar"
    pair.import_csv([row], method="viscosity")
    assert left_out(pair) == [("LIN-04/1", 20000.0, "shown, not tested", ("compare.declared",))]


def test_a_missing_condition_leaves_it_shown(pair):
    pair.viscosity(pair.trial_batch, "72 h", 22000, instrument=None)
    (item,) = pair.compare("LIN-04").not_used
    assert (item.state, item.codes) == ("shown, not tested", ("compare.missing",))
    assert "instrument not recorded" in item.words


def test_a_reading_outside_every_age_window_is_not_comparable_and_says_its_age(pair):
    pair.clock.now = pair.clock.day(1) + timedelta(hours=77)  # 72 h + 4 h is the end of the window
    pair.trial_batch.read_viscosity(
        "22000 mPa.s",
        torque_pct="55",
        rpm=10,
        spindle="disc 5",
        instrument="VIS-1",
        temp="25 degC",
        reading_time="60 s",
        container="100 mL jar",
    )
    (item,) = pair.compare("LIN-04").not_used
    assert (item.state, item.codes, item.age) == ("not comparable", ("compare.age",), "")
    assert "77.0 h old" in item.words
    assert "72 h ± 4 h" in item.words


def test_another_instrument_is_not_set_against_the_controls_reading_but_judged_by_the_spec(bench):
    bench.book.add_instrument("VIS-2", kind="viscometer", constants={"disc 5": 4000})
    control, trial = bench.make("LIN-03"), bench.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    bench.viscosity(control, "72 h", 19000)
    bench.viscosity(trial, "72 h", 24000, instrument="VIS-2")
    found = at_72_h(bench)
    assert (found.mean, found.difference) == (None, None)
    assert left_out(bench) == [("LIN-04/1", 24000.0, "not comparable", ("compare.instrument",))]
    # the spec asks for the method only: by itself the reading is judged, and the words say so
    assert found.verdict == PASS
    assert "judged by itself, not comparable with the control's reading" in found.verdict_why


@pytest.mark.parametrize(
    ("control_storage", "trial_storage", "state", "code"),
    [
        ("25 degC", "40 degC", "not comparable", "compare.storage"),
        ("", "40 degC", "shown, not tested", "compare.storage_unknown"),
        ("25 degC", "", "shown, not tested", "compare.storage_unknown"),
    ],
)
def test_jars_stored_otherwise_or_nobody_knows_how_are_in_no_mean_and_pass_no_spec(
    bench, control_storage, trial_storage, state, code
):
    control, trial = bench.make("LIN-03"), bench.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    bench.viscosity(control, "72 h", 19000, storage=control_storage)
    bench.viscosity(trial, "72 h", 24000, storage=trial_storage)
    assert left_out(bench) == [("LIN-04/1", 24000.0, state, (code,))]
    assert (at_72_h(bench).mean, at_72_h(bench).difference, at_72_h(bench).verdict) == (None, None, NOT_TESTED)


def test_a_jar_kept_warm_is_not_averaged_with_its_own_batchs_other_jars(pair):
    pair.viscosity(pair.trial_batch, "72 h", 9000, storage="40 degC")
    pair.viscosity(pair.trial_batch, "72 h", 23000, replicate="2")
    found = at_72_h(pair)
    assert [value for batch in found.batch_values for value in batch.values] == [24000.0, 23000.0]
    assert [(item.value, item.codes) for item in found.shown] == [(9000.0, ("compare.storage_unknown",))]
    assert found.verdict == PASS


def test_a_control_without_a_reading_leaves_the_others_to_the_spec_alone(bench):
    bench.make("LIN-03")
    trial = bench.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    bench.viscosity(trial, "72 h", 29600)
    found = at_72_h(bench)
    assert (found.mean, found.verdict, found.difference) == (29600.0, FAIL, None)
    assert found.difference_why == "not tested: the control has nothing to compare with (no reading in 72 h ± 4 h)"
    assert bench.compare("LIN-04").result("viscosity", "72 h").reference is None


def test_a_flagged_control_is_no_reference(bench):
    control, trial = bench.make("LIN-03"), bench.make("LIN-04", {"cetearyl-alcohol": "6.00 %"})
    bench.viscosity(control, "72 h", 19000, torque="41.2")
    bench.viscosity(trial, "72 h", 24000)
    assert at_72_h(bench, "LIN-03").verdict == FLAGGED
    assert at_72_h(bench, "LIN-03").flagged[0].codes == ("reading.constant",)
    assert "FLAGGED (reading.constant)" in at_72_h(bench).difference_why
    assert (at_72_h(bench).mean, at_72_h(bench).verdict) == (24000.0, PASS)


def test_one_flagged_batch_of_two_leaves_the_other_to_be_judged_and_says_so(bench):
    one, other = bench.make("LIN-03"), bench.make("LIN-06", day=2)
    bench.viscosity(one, "72 h", 19000)
    bench.viscosity(other, "72 h", 20000, temp="31.6 degC")
    (found,) = bench.compare("LIN-03").result("viscosity", "72 h").arms
    assert (found.verdict, found.n_batches, found.mean) == (PASS, 1, 19000.0)
    assert "not in the mean: LIN-06/1 20000 on disc 5 FLAGGED (reading.temperature)" in found.verdict_why


def test_a_typed_age_that_the_clock_contradicts_is_flagged(pair):
    pair.at(pair.trial_batch, "24 h")
    pair.trial_batch.read_viscosity(
        "22000 mPa.s",
        torque_pct="55",
        rpm=10,
        spindle="disc 5",
        instrument="VIS-1",
        temp="25 degC",
        age="72 h",
        reading_time="60 s",
        container="100 mL jar",
    )
    assert left_out(pair) == [("LIN-04/1", 22000.0, "FLAGGED", ("reading.age_clock",))]
    assert pair.compare("LIN-04").not_used[0].age == "24 h"


def test_only_some_properties_and_ages_may_be_asked_for(linden):
    found = linden.compare("LIN-04", properties=["Viscosity"], ages=["72 h", "7 d"])
    assert [(result.property, result.age) for result in found.results] == [("viscosity", "72 h"), ("viscosity", "7 d")]
    assert found.observations == ()
    assert [(result.name, result.age) for result in linden.compare("LIN-04", properties="grain").observations] == [
        ("grain", "7 d")
    ]
    assert {item.age for item in linden.compare("LIN-05", ages="7 d").not_used} == {"7 d"}
