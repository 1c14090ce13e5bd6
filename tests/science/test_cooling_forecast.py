"""The live forecast on curves from a law that is not its own: intervals hold, a lid is seen, the setting is found."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kit.science.cooling_forecast import forecast
from kit.science.cooling_pace import pace_change, recent_paces
from kit.science.cooling_search import Log
from tests.science.simulated_cooling import TARGET_C, Batch, simulate

TOLD_SD_C = 0.5  # of the law: how far off the room is told


def ask(batch: Batch, count: int):
    return forecast(
        batch.times_min[:count], batch.temps_c[:count], [TARGET_C], batch.room_told_c, ambient_sd_c=TOLD_SD_C
    )


def first_at(batch: Batch, temp_c: float) -> int | None:
    """How many readings there are when the log first shows a temperature, four or more, before the target."""
    before = range(4, int(np.searchsorted(batch.times_min, batch.true_minutes)) + 1)
    return next((count for count in before if batch.temps_c[count - 1] <= temp_c), None)


def holds(batch: Batch, told) -> bool:
    return told.low_min <= batch.true_minutes <= told.high_min


@pytest.mark.slow
@pytest.mark.parametrize("steams", [False, True], ids=["still", "steaming"])
def test_nine_intervals_in_ten_hold_the_time_to_40(thorough, capsys, steams):
    """At 65, 55 and 48 degC. Of 15 curves 90 % is 13.5, give or take 1.2: 70 % is 2.6 deviations off.

    Open and steaming, a batch is far slower at 40 degC than it was hot.
    """
    held: dict[int, list[bool]] = {65: [], 55: [], 48: []}
    widths: dict[int, list[float]] = {65: [], 55: [], 48: []}
    for batch in simulate(51 if steams else 41, 300 if thorough else 15, steams=steams):
        for temp, found in held.items():
            count = first_at(batch, temp)
            if count is not None:
                told = ask(batch, count).targets[0]
                found.append(holds(batch, told))
                widths[temp].append((told.high_min - told.low_min) / batch.true_minutes)
    shares = {temp: float(np.mean(found)) for temp, found in held.items()}
    narrow = {temp: float(np.median(found)) for temp, found in widths.items()}
    whole = float(np.mean(np.concatenate([np.array(found) for found in held.values()])))
    told = f"cooling{', steaming' * steams}: {whole:.1%} of 90 % intervals hold ({shares})"
    with capsys.disabled():
        print(f"\n{told}, width over time to 40 °C {narrow}")
    assert (0.85 <= whole <= 0.95) if thorough else whole >= 0.80
    assert all(share >= (0.85 if thorough else 0.70) for share in shares.values())
    assert narrow[48] < 0.85 * min(narrow[65], narrow[55])  # the shoulder about 55 degC keeps the middle one wide
    assert narrow[65] < 0.5 and narrow[48] < 0.23


def names(batch: Batch, told) -> bool:
    """Whether a change is reported, and the right way: an alarm that the setting raised is no report of a draught."""
    ways = [change.slower for change in told.changes] + ([told.pace.slower] if told.pace else [])
    return batch.slower in ways


@pytest.mark.slow
def test_a_lid_or_a_draught_is_reported_within_three_readings(thorough, capsys):
    """Slower or faster, as it was; and the intervals hold from the report on. Of 30 curves 95 % is 28.5, give or take
    1.2, and of their 80 or so intervals 90 % hold, give or take 5. Of 600 curves about 530 change early enough to be
    read three times: 95 % of them, give or take two standard errors of 0.9. What is missed is a faint draught (1.4
    times) before a thermometer of 0.4 degC: an eye for it would raise twice the false alarms."""
    seen, held = [], []
    for batch in [
        *simulate(42, 300 if thorough else 30, change=True),
        *simulate(142, 300 if thorough else 0, change=True),
    ]:
        after = [
            count
            for count in range(4, len(batch.times_min) + 1)
            if batch.changed_min < batch.times_min[count - 1] < batch.true_minutes
        ]
        reported = None
        for number, count in enumerate(after[: 5 if thorough else 3], 1):
            told = ask(batch, count)
            if reported is None and names(batch, told):
                reported = number
            if reported is not None:
                held.append(holds(batch, told.targets[0]))
        if len(after) >= 3:
            seen.append(reported is not None and reported <= 3)
    with capsys.disabled():
        print(
            f"\ncooling: {np.mean(seen):.1%} of changes reported within three readings, then {np.mean(held):.1%} hold"
        )
    assert np.mean(seen) >= (0.932 if thorough else 0.85)
    assert (0.85 <= np.mean(held) <= 0.95) if thorough else np.mean(held) >= 0.75


@pytest.mark.parametrize("steams", [False, True], ids=["still", "steaming"])
def test_a_quiet_batch_seldom_raises_an_alarm(steams):
    """Curves of the law without a shoulder: at one reading in twelve the pace is said to change, at one in seven where
    the batch steams. The sharp eye for a draught costs that: a duller one misses more changes."""
    alarms: list[bool] = []
    for batch in simulate(53 if steams else 43, 20, steams=steams, never_sets=True):
        log = Log(batch.times_min, batch.temps_c, (batch.room_c, TOLD_SD_C))
        alarms += [pace is not None for pace in recent_paces(log, len(batch.times_min))]
    assert len(alarms) > 200 and np.mean(alarms) < 0.20


def test_a_look_back_is_what_was_said_then():
    batch = simulate(44, 1)[0]
    log = Log(batch.times_min, batch.temps_c, (batch.room_c, TOLD_SD_C))
    paces = recent_paces(log, len(batch.times_min))
    for count, pace in enumerate(paces, len(batch.times_min) - len(paces) + 1):
        then = pace_change(Log(batch.times_min[:count], batch.temps_c[:count], log.room))
        assert (pace is None) == (then is None)
        if pace is not None:
            assert (pace.index, pace.slower) == (then.index, then.slower)
            assert pace.factor == pytest.approx(then.factor, rel=1e-3)


def law(times, lid_at=None, rate=0.03, start=75.0, room=22.0):
    """Newton's law, worked by hand; from a lid on half as fast."""
    times = np.asarray(times, dtype=float)
    clock = times if lid_at is None else np.where(times < lid_at, times, lid_at + (times - lid_at) / 2)
    return np.round(room + (start - room) * np.exp(-rate * clock), 1)


def test_a_plain_batch():
    """ln(53 / 18) / 0.030 = 36.0 min; the interval holds it and narrows reading by reading."""
    times = np.arange(0, 34, 3.0)
    early, late = (forecast(times[:count], law(times[:count]), [TARGET_C, 30.0], 22.0) for count in (5, 12))
    for told in (early, late):
        assert told.targets[0].low_min <= 36.0 <= told.targets[0].high_min
        assert not told.targets[0].passed
        assert told.targets[1].minutes > told.targets[0].minutes
    width = [told.targets[0].high_min - told.targets[0].low_min for told in (early, late)]
    assert width[1] < width[0] / 3
    assert late.rate_per_min == pytest.approx(0.03, abs=3 * late.rate_sd_per_min)
    assert (late.pace, late.changes) == (None, ())


def test_the_clock_may_start_anywhere():
    times = np.arange(0, 25, 3.0)
    one = forecast(times, law(times), [TARGET_C], 22.0)
    other = forecast(times + 100, law(times), [TARGET_C], 22.0)
    assert other.targets[0].minutes == pytest.approx(one.targets[0].minutes + 100, abs=1e-6)
    assert other.targets[0].high_min == pytest.approx(one.targets[0].high_min + 100, abs=1e-6)


def test_a_lid_by_hand():
    """On at 12 min the rest of 36.0 min takes twice as long: 60.0 min; said to be slower, about half as fast."""
    times = np.arange(0, 22, 3.0)
    told = forecast(times, law(times, lid_at=12), [TARGET_C], 22.0)
    assert told.pace is not None and told.pace.slower
    assert told.pace.factor_low < 0.5 < told.pace.factor_high
    assert told.pace.before_min >= 12 - 3 and told.pace.after_min <= 12 + 3
    assert "covered" in told.pace.words and "setting" in told.pace.words
    assert told.targets[0].low_min <= 60.0 <= told.targets[0].high_min
    assert told.targets[0].high_min > 40


def test_a_draught_is_told_from_the_setting():
    """Twice as fast from 12 min on: 12 + 24 / 2 = 24.0 min; no shoulder makes a batch faster."""
    times = np.arange(0, 21, 2.0)
    clock = np.where(times < 12, times, 12 + (times - 12) * 2)
    told = forecast(times, np.round(22 + 53 * np.exp(-0.03 * clock), 1), [TARGET_C], 22.0)
    assert told.changes and not told.changes[0].slower
    assert told.changes[0].factor_low < 2.0 < told.changes[0].factor_high
    assert abs(told.changes[0].after_min - 12) <= 4
    assert told.targets[0].low_min <= 24.0 <= told.targets[0].high_min


def test_the_setting_temperature_is_found_or_said_not_found():
    """dT/dt = -0.03 (T - 22) / (1 + 4 f'), f a logistic step at 52 degC, half-width 1.2, stepped by hand."""
    temp, logged = 75.0, [75.0]
    for step in range(1, 56 * 100 + 1):
        unset = 1 / (1 + math.exp(-(temp - 52) / 1.2))
        temp -= 0.01 * 0.03 * (temp - 22) / (1 + 4 * unset * (1 - unset) / 1.2)
        if step % 200 == 0:
            logged.append(round(temp, 1))
    times = np.arange(len(logged)) * 2.0
    seen = forecast(times, logged, [30.0], 22.0).setting
    assert seen.found and seen.temp_c == pytest.approx(52, abs=1.5) and abs(seen.temp_c - 52) < 3 * seen.sd_c
    assert seen.latent_c == pytest.approx(4, abs=3 * seen.latent_sd_c)
    plain = np.arange(0, 60, 2.0)
    none = forecast(plain, law(plain), [30.0], 22.0).setting
    assert not none.found and none.temp_c is None and none.why.startswith("not found")


def test_the_surroundings_may_be_too_warm():
    """In a room of 38 degC the batch never gets to 35: infinite, not a number."""
    times = np.arange(0, 60, 4.0)
    told = forecast(times, law(times, room=38.0), [35.0], 38.0).targets[0]
    assert math.isinf(told.minutes) and math.isinf(told.high_min)


def test_a_temperature_left_behind():
    """At 20 min 22 + 53 exp(-0.6) = 51.1: 60 degC was passed at ln(53 / 38) / 0.03 = 11.09 min."""
    times = np.arange(0, 21, 2.0)
    told = forecast(times, law(times), [60.0], 22.0).targets[0]
    assert told.passed and told.minutes == pytest.approx(11.09, abs=0.5) and told.high_min < 20


@pytest.mark.parametrize(
    ("times", "temps", "says"),
    [
        ([0, 5], [75, 70], "a forecast needs 3"),
        ([0, 5, 10, 15], [75, 75, 75, 75], "has not cooled"),
        ([0, 5, 10, 15], [70, 72, 74, 76], "has not cooled"),
        ([0, 5, 10, 15], [25, 24.5, 24, 23.5], "above the surroundings"),
    ],
)
def test_a_forecast_that_says_it_is_none(times, temps, says):
    told = forecast(times, temps, [40.0], 22.0)
    assert told.targets == () and says in told.why_not
