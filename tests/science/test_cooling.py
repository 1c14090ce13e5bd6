"""Cooling against closed forms, an independent integrator and curves from a stated law."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from kit.errors import KitError
from kit.science.cooling import CoolingError, newton_minutes, newton_rate, newton_temp_c, scaled_rate_by_area
from kit.science.cooling_additions import temperatures_at
from kit.science.cooling_fit import fit_newton
from kit.science.cooling_forecast import forecast
from kit.science.cooling_jacket import JacketProgramme, jacketed_minutes, jacketed_temp_c
from kit.science.cooling_law import NAMES, curves
from kit.science.cooling_slopes import plain_traces, traces

RATES = st.floats(0.005, 0.2)


# Newton's law


@given(st.floats(0, 200), st.floats(40, 90), st.floats(0, 30), RATES)
def test_time_and_temperature_are_inverse(minutes, start, room, rate):
    temp = newton_temp_c(minutes, start, room, rate)
    if temp - room > 1e-6:
        assert newton_minutes(temp, start, room, rate) == pytest.approx(minutes, abs=1e-4)


def test_what_newton_never_reaches():
    assert newton_minutes(20, 75, 22, 0.03) == math.inf
    assert newton_minutes(80, 75, 22, 0.03) < 0
    with pytest.raises(CoolingError) as caught:
        newton_minutes(40, 75, 22, 0)
    assert caught.value.code == "cooling.rate"


@pytest.mark.parametrize(("minutes", "start", "end"), [(0, 75, 60), (5, 75, 20), (5, 22, 22)])
def test_two_readings_that_give_no_rate(minutes, start, end):
    with pytest.raises(CoolingError) as caught:
        newton_rate(minutes, start, end, 22)
    assert caught.value.code == "cooling.two_points"


def test_a_rate_scales_with_area_and_heat_capacity():
    """Twice the area cools twice as fast, twice the heat capacity half as fast."""
    assert scaled_rate_by_area(0.03, 2, 1) == pytest.approx(0.06)
    assert scaled_rate_by_area(0.03, 1, 2) == pytest.approx(0.015)
    assert scaled_rate_by_area(0.03, 1.5, 3, 0.5) == pytest.approx(0.0075)


# A whole log


def exact(times, start=75.0, room=22.0, rate=0.03):
    return room + (start - room) * np.exp(-rate * np.asarray(times, dtype=float))


def test_a_fit_finds_the_law_and_its_errors():
    """Standard errors against 400 logs: their scatter is the error claimed, within its own 12 %."""
    times = np.arange(0, 40, 4.0)
    rng = np.random.default_rng(5)
    found = [fit_newton(times, exact(times) + 0.2 * rng.standard_normal(len(times)), 22.0) for _ in range(400)]
    rates = np.array([fit.rate_per_min for fit in found])
    claimed = math.sqrt(np.mean([fit.rate_se_per_min**2 for fit in found]))
    assert all(fit.ok for fit in found)
    assert rates.mean() == pytest.approx(0.03, abs=3 * claimed / 20)
    assert rates.std() == pytest.approx(claimed, rel=0.12)
    assert np.mean([fit.residual_sd_c**2 for fit in found]) ** 0.5 == pytest.approx(0.2, rel=0.05)


def test_the_surroundings_are_fitted_where_they_are_not_known():
    times = np.arange(0, 120, 5.0)
    fit = fit_newton(times, exact(times))
    assert fit.ok and fit.ambient_c == pytest.approx(22, abs=1e-4) and fit.rate_per_min == pytest.approx(0.03, rel=1e-5)
    assert fit_newton(times, exact(times), 22.0).ambient_se_c == 0


def test_the_errors_are_those_of_another_fitter():
    """scipy's own covariance of the same law, by another route, is the second opinion."""
    from scipy.optimize import curve_fit

    times = np.array([0, 3, 7, 12, 18, 25, 33.0])
    temps = exact(times) + np.array([0.2, -0.1, 0.15, -0.2, 0.05, 0.1, -0.15])
    law = lambda t, start, rate, room: room + (start - room) * np.exp(-rate * t)  # noqa: E731
    best, covariance = curve_fit(law, times, temps, [75, 0.03, 22])
    fit = fit_newton(times, temps)
    assert (fit.start_c, fit.rate_per_min, fit.ambient_c) == pytest.approx(best, rel=1e-4)
    errors = (fit.start_se_c, fit.rate_se_per_min, fit.ambient_se_c)
    assert errors == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-3)


@pytest.mark.parametrize(
    ("times", "temps", "says"),
    [
        ([0, 5], [75, 70], "needs"),
        ([0, 5, 10, 15, 20], [75, 75, 75, 75, 75], "does not cool"),
        ([0, 5, 10, 15, 20], [70, 71, 72, 73, 74], "does not cool"),
        ([0, 1, 2, 3, 4], [75.0, 74.4, 73.9, 73.2, 72.8], "too short"),
    ],
)
def test_a_fit_that_says_it_is_none(times, temps, says):
    fit = fit_newton(times, temps)
    assert not fit.ok and says in fit.why


@pytest.mark.parametrize(("times", "temps"), [([0, 5, 5], [75, 70, 69]), ([0, 5], [75, math.nan]), ([0, 5], [75])])
def test_a_log_that_cannot_be_used(times, temps):
    for ask in (fit_newton, lambda x, y: forecast(x, y, [40])):
        with pytest.raises(KitError) as caught:
            ask(times, temps)
        assert caught.value.code == "cooling.readings"


# The law with excess, shoulder and changes, against an independent integrator


def test_the_law_is_its_differential_equation():
    p = np.array([[math.log(0.03), 75.0, 22.0, 0.15, math.log(3.0), 52.0, math.log(1.5), 0.0]])
    width, latent = 1.5, 3.0

    def slope(_, y):
        unset = 1 / (1 + np.exp(-(y[0] - 52.0) / width))
        bump = latent * unset * (1 - unset) / width
        return [-0.03 * (y[0] - 22) * ((y[0] - 22) / 40) ** 0.15 / (1 + bump)]

    times = np.arange(0.0, 60, 3)
    run = solve_ivp(slope, (0, 60), [75.0], t_eval=times, rtol=1e-9, atol=1e-9)
    table = curves(p)
    assert table.temps_c(times)[0] == pytest.approx(run.y[0], abs=0.05)
    crossing = solve_ivp(slope, (0, 90), [75.0], events=lambda t, y: y[0] - 40, rtol=1e-9, atol=1e-9)
    assert table.minutes_to(40.0)[0] == pytest.approx(crossing.t_events[0][0], abs=0.05)
    assert table.minutes_to(21.0)[0] == math.inf


def test_an_open_batch_loses_heat_with_its_vapour():
    """Half of the heat at 62 degC leaves with vapour: pressures of water at 10 degree steps as steam tables print them
    (kPa, from memory), the air half saturated. For each degree it is 1.36 times as fast at 72 as at 42 degC."""
    kpa = np.array([(22, 2.645), (32, 4.759), (42, 8.208), (52, 13.631), (62, 21.867), (72, 34.000), (82, 51.368)])
    p = np.array([[math.log(0.03), 76.0, 22.0, 0.0, -14.0, 52.0, 0.0, 0.5]])
    damp = 2.645 / 2

    def slope(_, y):
        pressure = np.exp(np.interp(y[0], kpa[:, 0], np.log(kpa[:, 1])))
        vapour = 40 * (pressure - damp) / (21.867 - damp)
        return [-0.03 * (0.5 * (y[0] - 22) + 0.5 * vapour)]

    run = solve_ivp(slope, (0, 60), [76.0], t_eval=np.arange(0.0, 60, 5), rtol=1e-9, atol=1e-9, max_step=0.5)
    assert curves(p).temps_c(np.arange(0.0, 60, 5))[0] == pytest.approx(run.y[0], abs=0.15)
    assert abs(run.y[0][-1] - float(exact(55, start=76.0))) > 1.5  # what Newton's law alone would say


def test_slopes_are_those_of_the_curves():
    """Differences of a table a hundred times finer; the coarse one is off by 5 % of each column's largest at most."""
    p = np.array([[math.log(0.03), 75, 21, 0.1, math.log(2.7), 52, math.log(1.2), 0.4, -0.5, 7.3, 0.4, 16.2]])
    times = np.array([0.0, 3, 6, 9, 12, 16, 20, 23])
    told = traces(p, times, 36.0)
    assert told.temps_c == pytest.approx(curves(p, 36.0, 4000).temps_c(times), abs=0.02)
    for number in range(p.shape[1]):
        step = np.zeros(p.shape[1])
        step[number] = 1e-3
        rise = (curves(p + step, 36.0, 4000).temps_c(times) - curves(p - step, 36.0, 4000).temps_c(times)) / 2e-3
        assert told.slopes[:, :, number] == pytest.approx(rise, abs=0.06 * abs(rise).max())


def test_the_law_without_a_shoulder_in_closed_form():
    """Against the table with no latent heat, with an exponent and a change; and Newton's law where there is neither."""
    p = np.array([[math.log(0.03), 75, 21, 0.12, -14, 52, 0.0, 0.0, -0.5, 7.3]])
    times = np.array([0.0, 4, 8, 13, 20, 31])
    told = plain_traces(p, times)
    assert told.temps_c == pytest.approx(curves(p, 30.0, 2000).temps_c(times), abs=1e-3)
    for number in (0, 1, 2, 3, 8, 9):
        step = np.zeros(p.shape[1])
        step[number] = 1e-4
        rise = (plain_traces(p + step, times).temps_c - plain_traces(p - step, times).temps_c) / 2e-4
        assert told.slopes[:, :, number] == pytest.approx(rise, abs=2e-3 * abs(rise).max())
    newton = np.array([[math.log(0.03), 75, 22, 0.0, -14, 52, 0.0, 0.0]])
    assert plain_traces(newton, times).temps_c[0] == pytest.approx(exact(times), abs=1e-9)


def test_the_shoulder_delays_by_its_heat():
    """Newton with 3 degC of latent heat at a narrow 52 degC: longer by 3 / (0.03 (52 - 22)) = 3.33 min, whatever comes
    before or after."""
    plain = np.array([[math.log(0.03), 75.0, 22.0, 0.0, -14.0, 52.0, math.log(0.3), 0.0]])
    set_ = plain.copy()
    set_[0, NAMES.index("ln_latent_c")] = math.log(3)
    delay = curves(set_).minutes_to(40.0)[0] - curves(plain).minutes_to(40.0)[0]
    assert delay == pytest.approx(3.333, abs=0.05)
    assert curves(plain).minutes_to(40.0)[0] == pytest.approx(math.log(53 / 18) / 0.03, abs=1e-3)


def test_a_lid_halves_the_pace_from_its_moment_on():
    """75 to T(10) by k = 0.03, from there by 0.015: the rest of 25.99 min takes twice as long."""
    lid = np.array([[math.log(0.03), 75.0, 22.0, 0.0, -14.0, 52.0, 0.0, 0.0, math.log(0.5), 10.0]])
    plain = math.log(53 / 18) / 0.03
    assert curves(lid).minutes_to(40.0)[0] == pytest.approx(10 + 2 * (plain - 10), abs=0.01)
    assert curves(lid).temps_c(np.array([10 + 2 * (plain - 10)]))[0, 0] == pytest.approx(40, abs=0.01)


# Jacket


def test_a_jacket_programme_against_an_integrator():
    jacket = JacketProgramme((0, 10, 30, 30, 60), (70, 40, 25, 15, 15))
    times = np.linspace(0, 90, 40)
    sink = lambda t: 15.0 if t >= 30 else float(np.interp(t, [0, 10, 30], [70, 40, 25]))  # noqa: E731
    run = solve_ivp(lambda t, y: [-0.08 * (y[0] - sink(t))], (0, 90), [75.0], t_eval=times, rtol=1e-9, max_step=0.1)
    assert [jacketed_temp_c(t, 75, 0.08, jacket) for t in times] == pytest.approx(run.y[0], abs=2e-3)
    minutes = jacketed_minutes(40, 75, 0.08, jacket)
    assert jacketed_temp_c(minutes, 75, 0.08, jacket) == pytest.approx(40, abs=1e-6)
    assert jacketed_temp_c(minutes - 1, 75, 0.08, jacket) > 40


def test_a_steady_jacket_is_newtons_law():
    jacket = JacketProgramme((0,), (22,))
    assert jacketed_minutes(40, 75, 0.03, jacket) == pytest.approx(math.log(53 / 18) / 0.03)
    assert jacketed_minutes(20, 75, 0.03, jacket) == math.inf
    assert jacketed_minutes(80, 75, 0.03, jacket) == 0


def test_a_jacket_that_warms_again_may_never_bring_it_down():
    """Cooled at 30 degC for 10 min, then the jacket goes to 60: 75 falls to 57.3 at k = 0.05, and never to 50."""
    jacket = JacketProgramme((0, 10, 11), (30, 30, 60))
    assert jacketed_temp_c(10, 75, 0.05, jacket) == pytest.approx(30 + 45 * math.exp(-0.5))
    assert jacketed_minutes(50, 75, 0.05, jacket) == math.inf
    assert jacketed_minutes(58, 75, 0.05, jacket) < 10


@pytest.mark.parametrize(("times", "temps"), [((), ()), ((0, 5), (20,)), ((1, 5), (20, 30)), ((0, 5, 4), (1, 2, 3))])
def test_a_programme_that_cannot_be_followed(times, temps):
    with pytest.raises(CoolingError) as caught:
        JacketProgramme(times, temps)
    assert caught.value.code == "cooling.programme"


# Additions


def test_the_temperature_at_an_addition():
    """Newton between 60 at 10 min and 50 at 20 min with 22 degC around: at 15 min 22 + sqrt(38 28) = 54.62."""
    at, read, late, never = temperatures_at([0, 10, 20], [75, 60, 50], [15, 10, 22, 60], 22.0)
    assert at.temp_c == pytest.approx(22 + math.sqrt(38 * 28), abs=1e-6)
    assert (at.how, at.gap_min) == ("between two readings", 10) and at.low_c < at.temp_c < at.high_c
    assert (read.how, read.temp_c) == ("read", 60) and read.high_c - read.low_c == pytest.approx(2 * 1.645 * 0.3)
    assert late.how == "beyond the log" and late.temp_c == pytest.approx(22 + 28 * (28 / 38) ** 0.2)
    assert (never.temp_c, never.how, never.gap_min) == (None, "not known", 40)


def test_the_interval_at_an_addition_holds(thorough):
    """Curves with shoulders read every 2 to 5 minutes: at a moment between two readings, at least 85 in 100."""
    from tests.science.simulated_cooling import simulate

    inside = []
    for batch in simulate(77, 300 if thorough else 60):
        middle = len(batch.times_min) // 2
        kept = np.delete(np.arange(len(batch.times_min)), middle)
        told = temperatures_at(batch.times_min[kept], batch.temps_c[kept], [batch.times_min[middle]], batch.room_c)[0]
        inside.append(told.low_c - 0.4 <= batch.temps_c[middle] <= told.high_c + 0.4)
    assert np.mean(inside) >= 0.85


def test_arrhenius_on_a_cooling_curve():
    """The same integral by quadrature over the exact curve; the log is straight between its readings."""
    from kit.science.time_at_temperature import degree_minutes_above, equivalent_exposure, minutes_above

    times = np.arange(0, 61, 1.0)
    rate = lambda t: math.exp(85_000 / 8.314462618 * (1 / 298.15 - 1 / (float(exact(t)) + 273.15)))  # noqa: E731
    hours = quad(rate, 0, 60, epsabs=1e-8)[0] / 60
    assert equivalent_exposure(times, exact(times), 85).hours == pytest.approx(hours, rel=1e-3)
    above = math.log(53 / 23) / 0.03
    assert minutes_above(times, exact(times), 45) == pytest.approx(above, abs=0.02)
    area = quad(lambda t: float(exact(t)) - 45, 0, above)[0]
    assert degree_minutes_above(times, exact(times), 45) == pytest.approx(area, rel=1e-3)
    assert minutes_above([0, 10], [40, 40], 45) == 0
    for bad in ([0], [0, 0]):
        with pytest.raises(KitError) as caught:
            minutes_above(bad, [40] * len(bad), 45)
        assert caught.value.code == "exposure.log"
    with pytest.raises(KitError) as caught:
        equivalent_exposure([0, 10], [40, 40], 0)
    assert caught.value.code == "exposure.energy"


def test_a_law_and_a_jacket_load_no_large_library():
    """A page asks for both in every kernel; scipy took 0.6 s of it."""
    asked = """
import sys
from kit.science.cooling_fit import fit_newton
from kit.science.cooling_jacket import JacketProgramme, jacketed_minutes
assert fit_newton([0, 5, 10, 15, 20, 25], [75, 67.6, 61.3, 55.8, 51.1, 47.0], 22.0).ok
assert 30 < jacketed_minutes(40.0, 75.0, 0.05, JacketProgramme((0.0, 60.0), (60.0, 20.0))) < 60
assert "scipy" not in sys.modules
"""
    subprocess.run([sys.executable, "-c", asked], check=True)


def test_a_ramp_is_timed_to_the_last_digit():
    """dT/dt = -k (T - Tj) integrated beside it; 60 degC falling by 2/3 degC a minute."""
    programme = JacketProgramme((0.0, 60.0), (60.0, 20.0))
    minutes = jacketed_minutes(40.0, 75.0, 0.05, programme)
    assert jacketed_temp_c(minutes, 75.0, 0.05, programme) == pytest.approx(40.0, abs=1e-9)
    run = solve_ivp(lambda t, y: [-0.05 * (y[0] - 60 + 40 / 60 * t)], (0, minutes), [75.0], rtol=1e-10, atol=1e-10)
    assert run.y[0, -1] == pytest.approx(40.0, abs=1e-5)
