"""Flow curves, viscosity build and temperature from a lab book: what counts, what is left out, what cannot be told.

Referees: the law the invented readings were made from (`tests/flow_readings.py`), `scipy.optimize.curve_fit` with the
same weights, `numpy.polyfit`, `numpy.trapezoid`, arithmetic by hand beside the checks.
"""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest
from scipy.optimize import curve_fit

from kit.errors import KitError
from kit.trials.flow import flow_study
from kit.trials.flow_words import sentences
from tests.flow_readings import (
    CONSISTENCY,
    CUP_K,
    DISC_INDEX,
    INDEX,
    RATE_PER_RPM,
    SPEEDS,
    YIELD_PA,
    FlowBench,
    stress_pa,
    whole_book,
)

DISC_SPEEDS = (0.5, 1, 2.5, 5, 10, 20)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Both trials with everything. Read it only."""
    bench = whole_book(tmp_path_factory.mktemp("whole"))
    yield flow_study(bench.book)
    bench.book.close()


@pytest.fixture
def bench(tmp_path):
    made = FlowBench(tmp_path)
    yield made
    made.book.close()


@pytest.fixture
def batch(bench):
    return bench.make("FLO-01")


def only(study):
    (flow,) = study.flows
    return flow


def named(study, title: str):
    (flow,) = [flow for flow in study.flows if flow.title == title]
    return flow


# ---------------------------------------------------------------- printed


def test_printed_it_says_what_every_curve_and_build_tells(whole):
    told = str(whole)
    assert repr(whole) == told
    for flow in whole.flows:
        assert f"{flow.title}: {sentences(flow)[0]}" in told
    assert all(build.words in told for build in whole.builds)
    assert "FlowStudy(" not in told


def test_printed_without_readings_it_says_what_to_measure(bench, batch):
    told = str(flow_study(bench.book))
    assert told.startswith("Study FLO: no flow curve and no viscosity build is recorded.")
    assert "Read one batch at one age at" in told


# ---------------------------------------------------------------- true curves


def test_a_sweep_in_coaxial_cylinders_gives_true_rates_and_stresses_and_the_law_back(bench, batch):
    bench.sweep(batch, 1.0)
    flow = only(flow_study(bench.book))
    assert [run.run for run in flow.runs] == ["up", "down"]
    for point, rpm in zip(flow.main.points, SPEEDS, strict=True):
        assert point.shear_rate_per_s == pytest.approx(1.296915 * rpm, rel=1e-5)
        assert point.stress_pa == pytest.approx(stress_pa(rpm), rel=1e-5)
        # 1 % of full scale: full scale at this speed is 100 K / rpm
        assert point.error_pct == pytest.approx(100 * CUP_K / rpm / point.viscosity_mpa_s, rel=1e-4)
    assert flow.main.fit.model.name == "Herschel-Bulkley"
    found = flow.main.fit.parameters
    assert found["yield_stress_pa"] == pytest.approx(YIELD_PA, rel=1e-3)
    assert found["consistency_pa_s_n"] == pytest.approx(CONSISTENCY, rel=1e-3)
    assert found["flow_index"] == pytest.approx(INDEX, rel=1e-3)
    assert flow.main.yield_value.told_from_zero
    assert flow.main.offset_pa == pytest.approx(0.01 * CUP_K * 100 * RATE_PER_RPM / 1000, rel=1e-4)  # 0.5188 Pa


def test_scattered_readings_give_the_values_and_standard_errors_of_scipy(whole):
    """Stress weighted by itself, standard errors from the scatter: `curve_fit` with sigma = stress."""
    main = named(whole, "FLO-01/1, 72 h, cup").main
    rates = np.array([point.shear_rate_per_s for point in main.points])
    stresses = np.array([point.viscosity_mpa_s / 1000 for point in main.points]) * rates
    best, covariance = curve_fit(
        lambda rate, rest, factor, index: rest + factor * rate**index, rates, stresses, p0=(5, 5, 0.5), sigma=stresses
    )
    fit = main.fit
    assert fit.weighting == "relative"
    for name, value, variance in zip(fit.model.names, best, np.diag(covariance), strict=True):
        assert fit[name].value == pytest.approx(value, rel=1e-4)
        assert fit[name].standard_error == pytest.approx(math.sqrt(variance), rel=1e-2)
    assert main.yield_value.value_pa == pytest.approx(best[0], rel=1e-4)


def test_hysteresis_and_recovery_follow_from_the_readings(bench, batch):
    """Down at 93 % of the stress, the turn shared: area by trapezoids; 95, 97, 99 % after 60, 300 and 900 s."""
    bench.sweep(batch, 1.0)
    flow = only(flow_study(bench.book))
    rates = np.array([RATE_PER_RPM * rpm for rpm in SPEEDS])
    up = np.array([stress_pa(rpm) for rpm in SPEEDS])
    down = np.where(rates == rates[-1], up, 0.93 * up)
    area = np.trapezoid(up - down, rates)
    assert area > 100
    assert flow.hysteresis.area_pa_per_s == pytest.approx(area, rel=1e-4)
    assert flow.hysteresis.share == pytest.approx(area / np.trapezoid(up, rates), rel=1e-4)
    assert flow.recovery.times_s == (60, 300, 900)
    assert flow.recovery.shares == pytest.approx((0.95, 0.97, 0.99), rel=1e-5)
    assert "95% after 60 s, 97% after 5 min, 99% after 15 min" in sentences(flow)[-1]


def test_four_speeds_are_too_few_to_compare_models_and_three_tell_a_power_law(bench, batch):
    bench.cup(batch, (1, 10, 100), 1.0, bench.at(batch, 24))
    bench.cup(batch, (1, 5, 20, 100), 1.0, bench.at(batch, 72))
    for flow in flow_study(bench.book).flows:
        assert flow.main.fit.model.name == "power law"
        assert "with fewer than 5 readings models cannot be compared" in flow.main.why_fit
        assert flow.main.yield_value.value_pa is None
        assert any("A yield value cannot be told" in sentence for sentence in sentences(flow))


def test_a_product_that_does_not_thin_has_no_yield_value_and_is_not_said_to_thin(bench, batch):
    began = bench.at(batch, 72)
    for place, rpm in enumerate(SPEEDS[2:]):
        factor = (1.01, 0.99, 1.0, 1.005, 0.995, 1.002)[place]
        moment = began + timedelta(seconds=40 * place)
        bench.read(batch, 350 * factor, rpm, moment, 400, spindle="cup", instrument="VIS-2", torque_pct=None)
    flow = only(flow_study(bench.book))
    assert flow.main.fit.model.name == "Newtonian"
    assert flow.main.fit.parameters["viscosity_pa_s"] == pytest.approx(0.350, rel=0.01)
    assert flow.main.yield_value.value_pa is None


# ---------------------------------------------------------------- relative curves


def test_a_disc_gives_a_flow_index_and_no_yield_value(bench, batch):
    """Torque 20 x speed^0.30, so n = 0.30 and ten times the speed reads 10^0.70 = 5.0 times less."""
    bench.disc(batch, DISC_SPEEDS, bench.at(batch, 72))
    flow = only(flow_study(bench.book))
    assert not flow.is_true
    assert flow.main.fit is None and flow.main.yield_value is None
    assert flow.main.index[0] == pytest.approx(DISC_INDEX, abs=1e-4)
    told = " ".join(sentences(flow))
    assert "relative: not a material property, comparable on the same spindle and instrument only" in told
    assert "ten times the speed reads 5.0 times less" in told
    assert "A yield value cannot be told: no shear rate is known around this spindle." in told
    assert all(point.shear_rate_per_s is None and point.stress_pa is None for point in flow.points)
    # 4000 x 20 x (0.5^-0.7 - 1) / 100 = 499.6 dyn/cm2, 50.0 Pa
    assert flow.quick.dyn_per_cm2 == pytest.approx(499.6, abs=0.5)


def test_the_flow_index_and_its_error_are_those_of_a_line_through_logarithms(bench, batch):
    began = bench.at(batch, 72)
    values = (30000, 17500, 8100, 5000)
    for place, (rpm, value) in enumerate(zip((2, 4, 10, 20), values, strict=True)):
        bench.read(batch, value, rpm, began + timedelta(minutes=place), 4000, spindle="disc 5", instrument="VIS-1")
    main = only(flow_study(bench.book)).main
    x = np.log([2, 4, 10, 20])
    (slope, _), covariance = np.polyfit(x, np.log(values) + x, 1, cov=True)
    assert main.index[0] == pytest.approx(slope, rel=1e-6)
    assert main.index[1] == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-6)
    assert 0 < slope < 1


def test_relative_curves_stand_side_by_side_on_one_spindle_only(whole, bench, batch):
    assert [[flow.title for flow in place] for place in whole.places()] == [
        ["FLO-01/1, 72 h, cup", "FLO-02/1, 72 h, cup"],
        ["FLO-01/1, 72 h, disc 5", "FLO-02/1, 72 h, disc 5"],
    ]
    bench.disc(batch, DISC_SPEEDS, bench.at(batch, 24))
    bench.disc(batch, DISC_SPEEDS, bench.at(batch, 72), spindle="T-bar C", torque_pct=None)
    assert len(flow_study(bench.book).places()) == 2


# ---------------------------------------------------------------- what makes a curve


def test_two_speeds_are_no_flow_curve(bench, batch):
    bench.disc(batch, (5, 10), bench.at(batch, 72))
    assert flow_study(bench.book).flows == ()


def test_flagged_and_void_readings_are_left_out_with_their_reason(bench, batch):
    """Full scale at 50 rpm is 8,000 mPa.s: 9,600 is 120 % torque; a torque of 20 % typed for 25.1 % breaks K."""
    began = bench.at(batch, 72)
    bench.disc(batch, (0.5, 1, 2.5, 5), began)
    bench.read(batch, 9600, 50, began + timedelta(minutes=5), 4000, spindle="disc 5", instrument="VIS-1")
    bench.read(
        batch, 10030, 10, began + timedelta(minutes=6), 4000, spindle="disc 5", instrument="VIS-1", torque_pct="20"
    )
    bench.disc(batch, (20,), began + timedelta(minutes=8))
    batch.void(batch.view.readings[-1].entry, why="jar was shaken")
    flow = only(flow_study(bench.book))
    assert [point.rpm for point in flow.main.points] == [0.5, 1, 2.5, 5]
    assert [(item.state, item.code) for item in flow.filling.left_out] == [
        ("FLAGGED", "reading.torque_high"), ("FLAGGED", "reading.constant"), ("void", "reading.void")
    ]  # fmt: skip
    assert "jar was shaken" in flow.filling.left_out[2].words


def test_a_curve_of_which_too_little_is_left_says_so(bench, batch):
    bench.disc(batch, (0.5, 1, 50), bench.at(batch, 72), torque_pct="120")
    flow = only(flow_study(bench.book))
    assert flow.runs == () and len(flow.filling.left_out) == 3
    assert sentences(flow) == ("No flow curve: 0 of the speeds read count, 3 are needed.",)


def test_another_spindle_sample_or_age_is_never_joined_to_a_curve(bench, batch):
    began = bench.at(batch, 72)
    bench.disc(batch, (0.5, 1, 2.5, 5), began)
    bench.disc(batch, (50,), began + timedelta(minutes=5), spindle="disc 6", torque_pct=None)
    bench.disc(batch, (10,), began + timedelta(minutes=6), sample="B")
    bench.disc(batch, (20,), bench.at(batch, 168))
    flow = only(flow_study(bench.book))
    assert len(flow.main.points) == 4
    assert [item.code for item in flow.filling.left_out] == ["compare.spindle", "compare.sample"]
    assert "spindle disc 6: no point of the curve, which has spindle disc 5" in flow.filling.left_out[0].words


def test_what_was_not_recorded_keeps_a_reading_out(bench, batch):
    began = bench.at(batch, 72)
    bench.disc(batch, (0.5, 1, 2.5, 5), began, instrument=None)
    flow = only(flow_study(bench.book))
    assert {item.words for item in flow.filling.left_out} == {"instrument not recorded"}


def test_a_point_at_another_temperature_is_left_out_where_no_method_has_flagged_it(bench, batch):
    began = bench.at(batch, 72)
    bench.disc(batch, (0.5, 1, 2.5, 5), began)
    bench.disc(batch, (10,), began + timedelta(minutes=5), temp="27.0 degC")
    flow = only(flow_study(bench.book))
    assert len(flow.main.points) == 4
    (left,) = flow.filling.left_out
    assert left.code == "compare.temperature" and "27.0 degC" in left.words


@pytest.mark.parametrize(
    ("speeds", "up", "down", "rest", "apart"),
    [
        ((1, 2, 5, 10), (1, 2, 5, 10), (), (), ()),
        ((10, 5, 2, 1), (), (10, 5, 2, 1), (), ()),
        ((1, 2, 5, 10, 5, 2, 1), (1, 2, 5, 10), (10, 5, 2, 1), (), ()),
        ((1, 2, 5, 10, 10, 5, 2, 1), (1, 2, 5, 10), (10, 5, 2, 1), (), ()),
        ((1, 2, 5, 10, 10, 10, 5, 2, 1, 1), (1, 2, 5, 10), (10, 5, 2, 1), (1,), ("held",)),
        ((1, 2, 5, 10, 1, 1), (1, 2, 5, 10), (), (1, 1), ()),
        ((1, 2, 5, 10, 10, 1), (1, 2, 5, 10), (), (1,), ("held",)),
        ((10, 1, 2, 5), (1, 2, 5), (), (), ("before",)),
        ((1, 2, 5, 2, 1, 2, 5), (1, 2, 5), (5, 2, 1), (), ("later", "later")),
    ],
)
def test_runs_are_told_from_the_order_of_the_speeds(bench, batch, speeds, up, down, rest, apart):
    bench.disc(batch, speeds, bench.at(batch, 72))
    sweep = only(flow_study(bench.book)).filling.sweep
    assert tuple(int(reading.rpm) for reading in sweep.up) == up
    assert tuple(int(reading.rpm) for reading in sweep.down) == down
    assert tuple(int(reading.rpm) for reading in sweep.after_rest) == rest
    assert len(sweep.apart) == len(apart)
    assert all(word in words for word, (_, words) in zip(apart, sweep.apart, strict=True))
    counted = {reading.entry for reading in (*sweep.up, *sweep.down, *sweep.after_rest)}
    assert len(counted) + len(sweep.apart) == len(speeds)  # nothing is lost, only a turn counts twice


def test_speeds_in_no_order_still_make_a_curve_and_say_so(bench, batch):
    bench.disc(batch, (5, 20, 1, 10), bench.at(batch, 72))
    flow = only(flow_study(bench.book))
    assert flow.main.run == "no order" and len(flow.main.points) == 4
    assert "the speeds in no order" in sentences(flow)[0]


def test_only_the_age_and_the_trials_asked_for(bench):
    for trial in ("FLO-01", "FLO-02"):
        batch = bench.make(trial, 0 if trial == "FLO-01" else 1)
        for hours in (24, 72, 48):
            bench.disc(batch, (1, 5, 20), bench.at(batch, hours))
    book = bench.book
    assert [flow.title for flow in flow_study(book, "FLO-02", age="72 h").flows] == ["FLO-02/1, 72 h, disc 5"]
    assert [flow.filling.age for flow in flow_study(book, ["FLO-01"]).flows] == ["24 h", "72 h", "2 d"]
    for asked, code in (
        ({"trials": ["FLO-03"]}, "labbook.trial"),
        ({"study": "LIN"}, "labbook.study"),
        ({"age": "71 h"}, "age.unknown"),
        ({"method": "spread"}, "flow.method"),
    ):
        with pytest.raises(KitError) as caught:
            flow_study(book, **asked)
        assert caught.value.code == code


# ---------------------------------------------------------------- viscosity build


def test_the_build_of_a_batch_is_that_of_scipy_and_ends_at_its_last_age(bench, batch):
    ages = {"1 h": 8100, "24 h": 14200, "72 h": 18100, "7 d": 18500}
    bench.build(batch, ages)
    bench.read(batch, 17000, 10, bench.at(batch, 48), 4000, spindle="disc 5", instrument="VIS-1", method="viscosity",
               reading_time="60 s")  # fmt: skip
    (build,) = flow_study(bench.book).builds
    x, y = np.array([1, 24, 48, 72, 168.0]), np.array([8100, 14200, 17000, 18100, 18500.0])
    best, covariance = curve_fit(
        lambda age, a, b, t: b - (b - a) * np.exp(-age / t), x, y, p0=(8000, 18000, 20), sigma=y
    )
    found = build.build
    assert (found.start_mpa_s, found.settled_mpa_s, found.time_constant_h) == pytest.approx(best, rel=1e-4)
    assert found.settled_error_mpa_s == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-2)
    assert found.grows and found.at(200) is None
    assert f"settles at {best[1]:.0f}"[:-1] in build.words


def test_a_build_needs_four_ages_and_leaves_out_what_is_not_read_alike(bench, batch):
    bench.build(batch, {"1 h": 8000, "24 h": 14000})
    moment = bench.at(batch, 72)
    told = {"spindle": "disc 5", "instrument": "VIS-1", "method": "viscosity", "reading_time": "60 s"}
    bench.read(batch, 12000, 10, moment, 4000, **(told | {"container": "beaker"}))
    bench.read(batch, 45000, 10, moment + timedelta(minutes=5), 4000, **told)
    (build,) = flow_study(bench.book).builds
    assert build.build.reason.startswith("read at 2 ages") and "cannot be told" in build.words
    assert [item.code for item in build.left_out] == ["compare.container", "reading.torque_high"]


def test_readings_without_a_condition_that_the_method_needs_make_no_build_and_are_listed(bench, batch):
    for hours in (24, 72):
        bench.disc(batch, (10,), bench.at(batch, hours), method="viscosity", torque_pct=None)
    study = flow_study(bench.book)
    assert study.builds == ()
    assert [item.code for item in study.left_out()] == ["compare.missing"] * 2
    assert "torque not recorded" in study.left_out()[0].words


def test_a_speed_of_a_sweep_is_no_point_of_a_build_beside_fresh_readings(bench, batch):
    """A sweep by the same method passes 10 rpm twice at 72 h: after slower speeds, and after faster ones."""
    bench.build(batch)
    bench.disc(batch, (1, 5, 10, 20, 10, 5, 1), bench.at(batch, 72.5), method="viscosity", reading_time="60 s")
    (build,) = flow_study(bench.book).builds
    assert [round(point.viscosity_mpa_s) for point in build.points] == [8000, 14000, 18000, 18500]


# ---------------------------------------------------------------- temperature


def warm(bench, batch, temps, hours=24.0):
    """One viscosity at each temperature, 13,350 at 25 degC and 4.5 % less a degree (as ln)."""
    for place, temp in enumerate(temps):
        moment = bench.at(batch, hours) + timedelta(minutes=10 * place)
        value = 13350 * math.exp(-0.045 * (temp - 25))
        told = {"spindle": "disc 5", "instrument": "VIS-1", "method": "viscosity", "temp": f"{temp} degC"}
        bench.read(batch, value, 10, moment, 4000, **told)


def test_a_jar_6_6_degrees_off_is_refused_even_with_a_measured_slope(bench, batch):
    """9,920 mPa.s at 31.6 degC would become about 13,350: not within 3 degC, so it is read again."""
    warm(bench, batch, (31.6,))
    (off,) = flow_study(bench.book).off_temperature
    assert round(off.reading.value) == 9920 and off.corrected is None
    assert "6.6 °C is too far" in off.words and "read it again" in off.words
    warm(bench, batch, (20, 25, 30, 35), hours=72)
    study = flow_study(bench.book)
    assert study.slopes[0].slope.per_c == pytest.approx(-0.045, rel=1e-3)
    (off,) = study.off_temperature
    assert off.corrected is None and "6.6 °C is too far" in off.words


def test_within_three_degrees_a_measured_slope_corrects_and_no_slope_does_not(bench, batch):
    warm(bench, batch, (27.5,))
    (off,) = flow_study(bench.book).off_temperature
    assert off.corrected is None and "no slope was measured on this product" in off.words
    warm(bench, batch, (20, 25, 30), hours=72)
    study = flow_study(bench.book)
    (off,) = study.off_temperature
    assert off.corrected.corrected_mpa_s == pytest.approx(13350, rel=1e-3)
    assert off.corrected.raw_mpa_s == pytest.approx(13350 * math.exp(-0.1125), rel=1e-3)
    assert "in no mean" in off.words


def test_a_slope_of_another_product_is_not_used(bench, batch):
    warm(bench, batch, (27.5,))
    warm(bench, bench.make("FLO-02", 1), (20, 25, 30))
    (off,) = flow_study(bench.book).off_temperature
    assert off.corrected is None and "no slope was measured on this product" in off.words


# ---------------------------------------------------------------- feel


def test_combing_is_averaged_by_batch_and_coded_words_stand_beside(whole):
    """41, 47 and 50 %: mean 46.0, SD 4.58."""
    combing, grain = (felt for felt in whole.felt if felt.batch == "FLO-01/1")
    assert (combing.property, combing.age, combing.values) == ("wet-combing force", "7 d", (41, 47, 50))
    assert combing.mean == pytest.approx(46.0) and combing.sd == pytest.approx(4.583, abs=1e-3)
    assert (grain.property, grain.words) == ("grain", ("none",))


# ---------------------------------------------------------------- what looks like a curve and tells nothing


def test_a_torque_that_does_not_rise_with_speed_is_no_thinning(bench, batch):
    began = bench.at(batch, 72)
    for place, (rpm, torque) in enumerate(((1, 60), (5, 45), (10, 40), (20, 30))):
        value = 4000 * torque / rpm
        bench.read(batch, value, rpm, began + timedelta(minutes=place), 4000, spindle="disc 5", instrument="VIS-1")
    told = " ".join(sentences(only(flow_study(bench.book))))
    assert "The torque does not rise with speed: the product slips" in told
    assert "thins" not in told


def test_one_stress_at_every_rate_tells_no_model_and_no_yield_value(bench, batch):
    """A stuck display: 20 Pa at every rate, 38.6 % of the 51.9 Pa of full scale."""
    began = bench.at(batch, 72)
    for place, rpm in enumerate((1, 2, 5, 10, 20, 50)):
        value = f"{20000 / (RATE_PER_RPM * rpm):.12f}"
        moment = began + timedelta(minutes=place)
        batch.read_viscosity(
            f"{value} mPa.s",
            rpm=rpm,
            spindle="cup",
            instrument="VIS-2",
            method="",
            at=moment.isoformat(),
            temp="25 degC",
        )
    flow = only(flow_study(bench.book))
    assert flow.main.fit is None
    told = " ".join(sentences(flow))
    assert "No model is used" in told and "A yield value cannot be told" in told


def test_readings_taken_in_another_order_than_entered_are_sorted_by_their_time(bench, batch):
    began = bench.at(batch, 73)
    for place, rpm in reversed(list(enumerate((1, 2, 5, 10)))):
        bench.disc(batch, (rpm,), began + timedelta(minutes=place))
    assert [run.run for run in only(flow_study(bench.book)).runs] == ["up"]
