"""Learning from the record: which readings count, what is forgotten, what a titration adds, what is told."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

import kit
from kit.errors import KitError
from kit.formula.knowledge import Knowledge
from kit.formula.predict import predict_ph
from kit.labbook.snapshot import freeze
from kit.trials.learned import learn_ph, learn_titrations, titration

ACIDS = {"LIN-01": "0.03 %", "LIN-02": "0.08 %", "LIN-03": "0.05 %"}


@pytest.fixture
def read(bench):
    """Three batches with other citric acid; their pH at 24 h as read, 0.3 above what is predicted untaught."""
    bench.batches, bench.untaught = {}, {}
    for day, (trial, acid) in enumerate(ACIDS.items(), start=1):
        changes = {} if acid == "0.05 %" else {"citric-acid": acid}
        bench.batches[trial] = bench.make(trial, changes, day=day)
        bench.untaught[trial] = float(predict_ph(bench.variant(changes).composition(), age_h=24).value)
    for trial in ("LIN-01", "LIN-02"):
        bench.ph(bench.batches[trial], "24 h", f"{bench.untaught[trial] + 0.3:.2f}")
    return bench


def taught(knowledge: Knowledge) -> dict[str, float]:
    return {reading.batch: reading.value for reading in knowledge.readings}


def test_readings_above_the_prediction_move_it_up_and_narrow_the_band(read):
    knowledge = learn_ph(read.book)
    untaught = read.formula.composition()
    before, after = predict_ph(untaught, age_h=24), predict_ph(untaught, age_h=24, knowing=knowledge)
    moved = float(after.value - before.value)
    assert 0.15 < moved < 0.36  # of the 0.30 that was read
    assert after.high - after.low < before.high - before.low
    assert taught(knowledge) == {
        f"{trial}/1": pytest.approx(read.untaught[trial] + 0.3, abs=0.006) for trial in ("LIN-01", "LIN-02")
    }
    for reading in knowledge.readings:
        assert reading.residual_before == pytest.approx(0.3, abs=0.02)  # read less predicted
        assert abs(reading.residual_after) < 0.1
        assert reading.age == "24 h"


def test_what_was_learned_is_said_with_the_readings_it_rests_on(read):
    said = "\n".join(learn_ph(read.book).said())
    assert "rest of the base: acid it brings, 0.00 ± 1.50 meq acid per kg water before" in said
    assert re.search(r"\d+ others: hardly felt by these readings", said)
    for batch in ("LIN-01/1", "LIN-02/1"):
        assert batch in said
    assert "as meant, nothing was weighed" in said


def test_a_voided_reading_is_forgotten(read):
    without = learn_ph(read.book)
    wrong = read.ph(read.batches["LIN-03"], "24 h", "4.10")
    assert learn_ph(read.book).mean != without.mean
    read.batches["LIN-03"].void(wrong, why="electrode dry")
    again = learn_ph(read.book)
    assert (again.names, again.mean, again.covariance) == (without.names, without.mean, without.covariance)
    (left,) = again.left_out
    assert (left.batch, left.value, left.code) == ("LIN-03/1", 4.1, "reading.void")
    assert "electrode dry" in left.why


@pytest.mark.parametrize(
    ("conditions", "code"),
    [
        ({"temp": "46 degC"}, "reading.temperature"),
        ({"temp": None}, "compare.missing"),
        ({"calibration": None}, "compare.missing"),
        ({"storage": "40 degC"}, "compare.storage_unknown"),
    ],
)
def test_a_reading_that_does_not_count_is_left_out_with_the_reason(read, conditions, code):
    without = learn_ph(read.book)
    read.ph(read.batches["LIN-03"], "24 h", "4.10", **conditions)
    knowledge = learn_ph(read.book)
    assert knowledge.mean == without.mean
    (left,) = knowledge.left_out
    assert (left.batch, left.code) == ("LIN-03/1", code)
    assert len(left.why) > 20


def test_a_reading_at_another_age_is_left_out_and_can_be_asked_for(read):
    read.ph(read.batches["LIN-03"], "7 d", "4.60")
    knowledge = learn_ph(read.book)
    (left,) = knowledge.left_out
    assert (left.age, left.code) == ("7 d", "learn.other")
    assert knowledge.words[-1] == 'More was read at other ages: learn_ph(..., age="7 d").'
    assert taught(learn_ph(read.book, age="7 d")) == {"LIN-03/1": 4.6}


def test_studies_trials_and_batches_can_be_named(read):
    assert set(taught(learn_ph(read.book, "LIN"))) == {"LIN-01/1", "LIN-02/1"}
    assert set(taught(learn_ph(read.book, "LIN-02"))) == {"LIN-02/1"}
    assert set(taught(learn_ph(read.book, ["LIN-01/1", "LIN-02"]))) == {"LIN-01/1", "LIN-02/1"}
    with pytest.raises(KitError) as refused:
        learn_ph(read.book, "LIN-99")
    assert refused.value.code == "labbook.trial"


def test_without_a_reading_that_counts_the_reason_is_given(bench):
    bench.ph(bench.make("LIN-01"), "24 h", "4.60", temp="46 degC")
    with pytest.raises(KitError) as refused:
        learn_ph(bench.book)
    assert refused.value.code == "learn.nothing"
    assert "46 degC" in str(refused.value)
    assert refused.value.mend == "read the pH at the age asked for, or give titrations="


def read_after(bench, batch, hours: float, value: str) -> None:
    """A pH with all its conditions, so many hours after the end of making."""
    bench.clock.now = datetime.fromisoformat(batch.view.finished_at) + timedelta(hours=hours)
    batch.read_ph(value, temp="25 degC", instrument="PH-1", calibration="CAL-07")


def test_a_reading_typed_straight_after_finishing_can_be_learned_from(bench):
    """The first reading of a new user has an age of minutes, and no window of the study holds it."""
    batch = bench.make("LIN-01")
    read_after(bench, batch, 0.05, "4.60")
    with pytest.raises(KitError) as refused:
        learn_ph(bench.book)
    assert refused.value.code == "learn.nothing"
    assert "LIN-01/1, pH 4.60: read at 3 min, not at 24 h ± 2 h" in str(refused.value)
    assert refused.value.mend == (
        'learn from the age that was read, learn_ph(..., age="0 h"), or read again at the age asked for'
    )
    knowledge = learn_ph(bench.book, age="0 h")
    assert taught(knowledge) == {"LIN-01/1": 4.6}
    assert (knowledge.age_h, knowledge.readings[0].age) == (0.0, "0 h")
    assert taught(learn_ph(bench.book, age="0 h ± 5 min")) == {"LIN-01/1": 4.6}
    with pytest.raises(KitError):
        learn_ph(bench.book, age="0 h ± 2 min")


def test_an_age_without_a_window_takes_a_quarter_of_it_either_way(bench):
    """10 h is taken as 7.5 to 12.5 h; of the windows of the study 24 h ± 2 h stays as it is."""
    ages = {"LIN-01": 7.6, "LIN-02": 12.4, "LIN-03": 7.3}
    for day, (trial, acid) in enumerate(ACIDS.items(), start=1):
        batch = bench.make(trial, {} if acid == "0.05 %" else {"citric-acid": acid}, day=day)
        read_after(bench, batch, ages[trial], "4.60")
    bench.ph(batch, "24 h", "4.50")
    knowledge = learn_ph(bench.book, age="10 h")
    assert set(taught(knowledge)) == {"LIN-01/1", "LIN-02/1"}
    assert [left.why for left in knowledge.left_out] == [
        "read at 24 h, not at 10 h ± 2.5 h",
        "read at 7.3 h, not at 10 h ± 2.5 h",
    ]
    assert knowledge.said()[-1] == (
        'More was read at other ages: learn_ph(..., age="24 h") or learn_ph(..., age="7.3 h").'
    )
    assert taught(learn_ph(bench.book, age="7.3 h"))["LIN-03/1"] == 4.6
    assert set(taught(learn_ph(bench.book))) == {"LIN-03/1"}


def test_an_age_that_is_no_time_is_refused(read):
    with pytest.raises(KitError) as refused:
        learn_ph(read.book, age="10 g")
    assert refused.value.code.startswith("units.")


def test_a_titration_alone_is_enough_in_a_lab_book_without_a_study(bench, tmp_path):
    sample = titration(bench.formula, STOCK, {"0 g": "4.60", "0.10 g": "4.30"})
    with kit.new_labbook(tmp_path / "empty.labbook") as book:
        knowledge = learn_ph(book, titrations=[sample])
        assert knowledge == learn_titrations([sample])
        with pytest.raises(KitError) as refused:
            learn_ph(book)
    assert refused.value.code == "learn.no_batch"
    assert "give titrations=" in refused.value.mend


def test_a_titration_alone_is_enough_before_the_first_batch(bench):
    sample = titration(bench.formula, STOCK, {"0 g": "4.60", "0.10 g": "4.30"})
    assert len(learn_ph(bench.book, titrations=[sample]).readings) == 2
    assert len(learn_ph(bench.book, "LIN", titrations=[sample]).readings) == 2


def test_a_titration_of_unknown_age_is_told_without_a_dangling_word(bench):
    sample = titration(bench.formula, STOCK, {"0 g": "4.60"}, name="Base")
    told = learn_ph(bench.book, titrations=[sample]).said()
    assert any(line.startswith("Base, titration, 0 g Citric Acid (10 % solution) on 20 g: pH 4.60") for line in told)


def test_a_study_without_a_batch_is_refused(bench):
    with pytest.raises(KitError) as refused:
        learn_ph(bench.book)
    assert refused.value.code == "learn.no_batch"


def test_knowledge_survives_being_kept_as_json(read):
    knowledge = learn_ph(read.book)
    assert Knowledge.read(json.loads(json.dumps(knowledge.row()))) == knowledge


def test_two_readings_of_one_jar_count_for_less_than_two_batches(read):
    value, name = f"{read.untaught['LIN-03']:.2f}", "acidity of tilia-cordata-flower-extract"
    read.ph(read.batches["LIN-03"], "24 h", value)
    once = learn_ph(read.book, "LIN-03")
    read.ph(read.make("LIN-03", number=2, day=4), "24 h", value)
    two_batches = learn_ph(read.book, "LIN-03")
    read.ph(read.batches["LIN-03"], "24 h", value, replicate="2")
    twice = learn_ph(read.book, "LIN-03/1")
    assert (len(once.readings), len(two_batches.readings), len(twice.readings)) == (1, 2, 2)
    assert two_batches.sd(name) < twice.sd(name) < once.sd(name)


def test_a_reading_of_the_diluted_product_is_left_out(bench):
    neat = bench.book.source().study("LIN").methods["pH neat"]
    bench.study("DIL", methods=[replace(neat, name="pH 10 %", title="pH of 10 % in water")], control="")
    batch = bench.make("DIL-01", study="DIL")
    bench.ph(batch, "24 h", "4.60")
    bench.ph(batch, "24 h", "4.70", method="pH 10 %")
    knowledge = learn_ph(bench.book, "DIL")
    assert taught(knowledge) == {"DIL-01/1": 4.6}
    (left,) = knowledge.left_out
    assert (left.value, left.code) == (4.7, "learn.other")
    assert "pH 10 %" in left.why


STOCK = "citric acid 10 %"


def typed(read, lift: float, doses=("0 g", "0.10 g", "0.20 g"), **more):
    """A titration of the linden base whose readings lie `lift` above what is predicted."""
    empty = titration(read.formula, STOCK, dict.fromkeys(doses, "5"), **more)
    predicted = [float(predict_ph(empty.composition_at(point), age_h=24).value) for point in empty.points]
    return titration(
        read.formula,
        STOCK,
        {dose: f"{ph + lift:.2f}" for dose, ph in zip(doses, predicted, strict=True)},
        age="24 h",
        **more,
    )


def test_a_typed_titration_is_learned_from(read):
    knowledge = learn_ph(read.book, titrations=[typed(read, 0.3)])
    told = [reading for reading in knowledge.readings if "titration" in reading.what]
    assert len(told) == 3
    assert "0.10 g Citric Acid" in told[1].what
    assert "on 20 g" in told[1].what
    assert all(reading.residual_before == pytest.approx(0.3, abs=0.02) for reading in told)
    assert knowledge.titrated()
    assert band(read, knowledge) < band(read, learn_ph(read.book)) < band(read, None)


def test_a_titration_alone_teaches_without_a_lab_book(read):
    knowledge = learn_titrations([typed(read, 0.3)])
    assert len(knowledge.readings) == 3
    assert band(read, knowledge) < 0.7 * band(read, None)
    assert "after one titration" in predict_ph(read.formula.composition(), age_h=24, knowing=knowledge).reason


def band(read, knowledge) -> float:
    """Width of the band of the linden base."""
    found = predict_ph(read.formula.composition(), age_h=24, knowing=knowledge)
    return float(found.high - found.low)


def test_a_dose_goes_into_the_sample_not_into_a_hundred_grams(read):
    # 0.20 g of a 10 % stock is 0.020 g of citric acid in 20.20 g: 0.0990 %, beside 20 / 20.2 of the formula's 0.05 %
    point = titration(read.formula, STOCK, {"0.20 g": "4"}).points[0]
    made = titration(read.formula, STOCK, {"0.20 g": "4"}).composition_at(point)
    citric = float(made.shares()["Citric Acid"].pct)
    assert citric == pytest.approx(0.0990 + 0.0495, abs=0.0004)
    assert float(made.total) == pytest.approx(100)


@pytest.mark.parametrize(
    ("arguments", "options", "code"),
    [
        (({},), {}, "titration.points"),
        (({"0.2 g": "4.5", "0.1 g": "4.6"},), {}, "titration.points"),
        (({"0 g": "45"},), {}, "titration.points"),
        (({"0 g": "4.5"},), {"sample": "0 g"}, "titration.sample"),
        (({"0.1": "4.5"},), {}, "units.missing"),
    ],
)
def test_a_titration_that_cannot_be_is_refused(bench, arguments, options, code):
    with pytest.raises(KitError) as refused:
        titration(bench.formula, STOCK, *arguments, **options)
    assert refused.value.code == code


def weigh_all(batch) -> None:
    for line in batch.sheet.lines:
        batch.weigh(line.material.key, f"{line.target_g} g", lot="")


@pytest.fixture
def adjusted(bench):
    """A batch weighed, read at 5.0 before and 4.6 after 2 g of citric acid stock, then finished."""
    bench.clock.now = bench.clock.day(1) - timedelta(hours=2)
    sheet = kit.plan_batch(bench.formula, "400 g", balances=["0.01 g"])
    batch = bench.book.start_batch(sheet, trial="LIN-01", study="LIN", operator="bench 2")
    weigh_all(batch)
    batch.combine()
    batch.add("C", temp="40 degC")
    conditions = {"temp": "25 degC", "instrument": "PH-1", "calibration": "CAL-07"}
    bench.clock.now += timedelta(minutes=50)
    bench.before = batch.read_ph("5.00", **conditions)
    bench.clock.now += timedelta(minutes=5)
    batch.adjust(STOCK, "2.00 g")
    bench.clock.now += timedelta(minutes=5)
    bench.after = batch.read_ph("4.60", **conditions)
    bench.finish(batch, 1)
    bench.batch = batch
    return bench


def test_readings_before_and_after_an_adjuster_are_points_of_a_titration(adjusted):
    knowledge = learn_ph(adjusted.book)
    before, after = knowledge.readings
    assert (before.value, after.value) == (5.0, 4.6)
    assert before.what.endswith("before any adjuster")
    assert "after 2.00 g Citric Acid" in after.what
    assert knowledge.titrated()
    # more acid went in between: the untaught prediction falls too
    assert before.value - before.residual_before > after.value - after.residual_before + 0.05
    assert knowledge.left_out == ()


def test_a_reading_before_the_last_phase_went_in_is_not_learned_from(bench):
    bench.clock.now = bench.clock.day(1) - timedelta(hours=2)
    sheet = kit.plan_batch(bench.formula, "400 g", balances=["0.01 g"])
    batch = bench.book.start_batch(sheet, trial="LIN-01", study="LIN", operator="bench 2")
    weigh_all(batch)
    batch.combine()
    batch.read_ph("5.00", temp="25 degC", instrument="PH-1", calibration="CAL-07")
    bench.clock.now += timedelta(minutes=5)
    batch.add("C", temp="40 degC")
    batch.adjust(STOCK, "2.00 g")
    bench.finish(batch, 1)
    bench.ph(batch, "24 h", "4.60")
    knowledge = learn_ph(bench.book)
    assert taught(knowledge) == {"LIN-01/1": 4.6}
    assert [left.value for left in knowledge.left_out] == [5.0]


def test_a_snapshot_teaches_the_same(read, tmp_path):
    path = tmp_path / "linden.json"
    path.write_text(json.dumps(freeze(kit.open_source(read.book), ["LIN-01", "LIN-02"])), encoding="utf-8")
    from_book, from_snapshot = learn_ph(read.book), learn_ph(path)
    assert (from_book.names, from_book.mean) == (from_snapshot.names, from_snapshot.mean)
