"""A batch's heat and cooling from its record. Expected: what was typed, Newton's law, and arithmetic worked by hand."""

from __future__ import annotations

from datetime import timedelta
from math import exp

import pytest

import kit

VESSEL = "600 mL glass beaker, 180 g, 10 cm wide"


@pytest.fixture
def batch(bench):
    started = bench.book.start_batch(bench.sheet, trial="MEA-01", operator="bench 1")
    started.equipment(vessel=VESSEL)
    for line in started.sheet.lines:
        started.weigh(line.material.key, f"{line.target_g} g", phase=line.phase)
    return started


def poured(batch, after: str = "77 degC"):
    temps = {"A": "78 degC", "B": "80 degC", **({"after": after} if after else {})}
    return batch.combine(temps=temps, order="oil into water")


def law(minutes: float) -> str:
    return f"{22 + 55 * exp(-0.03 * minutes):.1f} degC"


def logged(batch, bench, until: int = 40, every: int = 4):
    """Typed as it happens: the clock goes on with the log."""
    start = bench.clock.now
    for minutes in range(every, until + 1, every):
        bench.clock.now = start + timedelta(minutes=minutes)
        batch.temperature(law(minutes), at=f"{minutes} min")


def test_the_temperature_after_combining_is_held_against_the_balance(batch):
    """Both phases near 78 degC in a glass as warm: 77 fits, 70.5 is that of a cold vessel."""
    assert poured(batch).notes == ()


def test_a_cold_vessel_shows_while_it_can_still_be_warmed(batch):
    (note,) = poured(batch, "70.5 degC").notes
    assert "colder" in note
    assert "warm the vessel" in note


def test_the_cooling_log_knows_how_long_the_head_ran(batch):
    assert poured(batch) and batch.cooling().log.head_until_min is None
    batch.combine(temps={"A": "78 degC", "B": "80 degC", "after": "77 degC"}, rpm=6500, minutes=7)
    assert batch.cooling().log.head_until_min == 7.0


def test_no_temperature_after_combining_is_said(batch):
    assert poured(batch, "").notes == ("temperature after combining NOT RECORDED",)


def test_the_balance_of_a_batch_rests_on_what_was_weighed_and_read(batch):
    poured(batch)
    pour = batch.heat()
    assert [phase.temp_c for phase in pour.phases] == [78.0, 80.0]
    assert pour.phases[0].mass_g == pytest.approx(
        sum(float(line.target_g) for line in batch.sheet.lines if line.phase == "A")
    )
    assert pour.vessel.mass_g == 180
    assert 78.0 < pour.mixed.temp_c < 78.5
    assert pour.read_after_c == 77
    assert "heat.setting_unknown" in [finding.code for finding in pour.findings]


def test_when_it_is_cool_enough_for_what_is_still_to_go_in(batch, bench):
    poured(batch)
    logged(batch, bench, until=24)
    state = batch.cooling(ambient="22 degC")
    (time,) = state.forecast.targets
    assert state.targets[0].temp_c == 40
    assert time.low_min < 37.25 < time.high_min  # ln(55 / 18) / 0.03
    assert state.log.points[0] == (0.0, 77.0)


def test_the_room_noted_in_the_log_is_used_and_is_no_point_of_the_batch(batch, bench):
    poured(batch)
    logged(batch, bench, until=24)
    batch.temperature("21.5 degC", place="room")
    state = batch.cooling()
    assert state.log.room_c == 21.5
    assert len(state.log.points) == 7
    assert "as noted" in state.room_words


def test_an_addition_without_a_temperature_gets_that_of_the_log(batch, bench):
    poured(batch)
    logged(batch, bench)
    bench.clock.now -= timedelta(minutes=2)
    batch.add("C")
    (found,) = batch.cooling().log.additions
    assert found.minutes == pytest.approx(38, abs=0.1)
    assert f"{22 + 55 * exp(-0.03 * 38):.0f}." in str(batch.cooling().additions_table())


def test_an_addition_too_hot_by_the_log_is_found_by_rule(batch, bench):
    """The extract stands 45 degC; at 4 min the log says 70."""
    poured(batch)
    start = bench.clock.now
    bench.clock.now = start + timedelta(minutes=4)
    batch.add("C")
    bench.clock.now = start
    logged(batch, bench)
    (finding,) = batch.cooling().findings
    assert finding.code == "cooling.addition_hot"
    assert "spiraea-ulmaria-flower-extract" in finding.materials


def test_minutes_after_combining_can_be_typed_for_an_addition(batch):
    """All of it typed in one go afterwards: the clock says nothing of when phase C went in, the minutes do."""
    poured(batch)
    for minutes in range(4, 41, 4):
        batch.temperature(law(minutes), at=f"{minutes} min")
    receipt = batch.add("C", temp="39 degC", at="38 min")
    assert receipt.new
    assert batch.cooling().log.additions[0].minutes == 38
    assert batch.cooling().findings == ()


def test_what_was_typed_afterwards_is_not_placed_by_the_clock(batch):
    poured(batch)
    for minutes in range(4, 41, 4):
        batch.temperature(law(minutes), at=f"{minutes} min")
    batch.add("C", temp="39 degC")
    state = batch.cooling()
    assert state.log.additions[0].minutes is None
    assert state.findings == ()
    assert "Typed afterwards" in " ".join(state.log.notes)


def test_a_finished_batch_waits_for_nothing(batch, bench):
    poured(batch)
    logged(batch, bench)
    batch.add("C", temp="39 degC")
    batch.finish()
    assert batch.cooling().targets == ()
    assert batch.cooling(targets="50 degC").forecast.targets[0].passed


def test_the_water_missing_is_held_against_the_estimate(batch, bench):
    poured(batch)
    logged(batch, bench)
    hot = sum(float(line.target_g) for line in batch.sheet.lines if line.phase in "AB")
    estimate = batch.water_loss().estimate
    assert batch.water_loss().missing_g is None
    receipt = batch.gross(f"{180 + hot - estimate.mass_g:.2f} g", tare="180 g")
    assert "EXPLAINED" in receipt.notes[-1]
    assert batch.water_loss().reconciled.explained
    assert batch.water_loss().words in str(batch.meant_and_made())


def test_more_missing_than_evaporates_is_unexplained(batch, bench):
    poured(batch)
    logged(batch, bench)
    hot = sum(float(line.target_g) for line in batch.sheet.lines if line.phase in "AB")
    receipt = batch.gross(f"{180 + hot - 45:.2f} g", tare="180 g")
    assert "UNEXPLAINED" in receipt.notes[-1]


def test_the_setting_temperature_of_an_earlier_batch_or_none(batch, bench):
    """A smooth curve has no shoulder: nothing is found, and nothing is made up."""
    assert "no batch" in str(bench.book.setting_temperature(bench.formula))
    poured(batch)
    logged(batch, bench)
    known = bench.book.setting_temperature(bench.formula)
    assert known.temp_c is None
    assert known.seen[0].batch == "MEA-01/1"
    assert bench.sheet.heat(temps={"A": "78 degC", "B": "80 degC"}, setting=known).setting_c is None


def test_a_shoulder_in_an_earlier_batch_gives_the_setting_temperature(batch, bench):
    """Made with 3 degC of latent heat about 55 degC, read every two minutes."""
    poured(batch)
    start, temp, step = bench.clock.now, 77.0, 0.05
    for number in range(1, int(50 / step)):
        latent = 3.0 * exp(-(((temp - 55) / 1.2) ** 2) / 2) / (1.2 * 2.5066)
        temp -= 0.03 * (temp - 22) / (1 + latent) * step
        if number % 40 == 0:
            bench.clock.now = start + timedelta(minutes=number * step)
            batch.temperature(f"{temp:.1f} degC", at=f"{number * step:.0f} min")
    known = bench.book.setting_temperature(bench.formula)
    assert known.temp_c == pytest.approx(55.0, abs=1.5)
    near = bench.sheet.heat(temps={"A": "57 degC", "B": "58 degC"}, setting=known)
    assert "heat.pour_margin" in [finding.code for finding in near.cautions]
    assert "MEA-01/1" in str(near)


def test_a_snapshot_of_the_record_gives_the_same_log(batch, bench):
    from kit.labbook.cooling_record import cooling_log

    poured(batch)
    logged(batch, bench)
    with kit.open_source(bench.path) as source:
        assert cooling_log(source.batch("MEA-01/1")) == batch.cooling().log


def test_the_review_holds_what_the_log_alone_shows(batch, bench):
    """No temperature was noted with phase C; by the log it was at 70 degC."""
    poured(batch)
    start = bench.clock.now
    bench.clock.now = start + timedelta(minutes=4)
    batch.add("C")
    bench.clock.now = start
    logged(batch, bench)
    assert "cooling.addition_hot" in batch.review().codes


def test_a_noted_temperature_is_told_once(batch, bench):
    poured(batch)
    logged(batch, bench)
    batch.add("C", temp="70 degC", at="38 min")
    codes = batch.review().codes
    assert "heat.limit" in codes
    assert "cooling.addition_hot" not in codes
    assert "cooling.addition_differs" in codes


def test_the_receipt_of_an_addition_gives_the_temperature_of_the_log(batch, bench):
    """40 min after combining the law gives 22 + 55 exp(-1.2) = 38.6 degC, read a minute before."""
    poured(batch)
    logged(batch, bench)
    bench.clock.now += timedelta(minutes=1)
    first, second = batch.add("C").notes
    assert first == "temperature at the addition NOT RECORDED"
    assert second.startswith("by the cooling log 38.")


def test_phases_combined_one_after_the_other_are_not_held_against_one_balance(batch):
    batch.combine(phases="A", temps={"A": "78 degC", "after": "60 degC"})
    assert batch.combine(phases="B", temps={"B": "80 degC", "after": "60 degC"}).notes == ()
    assert [phase.name for phase in batch.heat().phases] == ["A", "B"]


def test_only_the_phases_that_were_combined_are_balanced(batch):
    (note,) = batch.combine(phases="A", temps={"A": "78 degC", "after": "60 degC"}).notes
    assert "the heat balance gives 78.0 °C" in note
    assert [phase.name for phase in batch.heat().phases] == ["A"]
