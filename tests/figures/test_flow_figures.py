"""What the figures of flow curves and of viscosity build draw.

Referees: the readings as entered (`tests/flow_readings.py`), ticks worked by hand, plotly's own validation.
"""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from kit.figures.flow_curves import flow_curves
from kit.figures.log_axis import log_axis, log_ticks, written
from kit.figures.viscosity_build import viscosity_build
from kit.trials.flow import flow_study
from tests.flow_readings import DISC_K, RATE_PER_RPM, SPEEDS, FlowBench, stress_pa, whole_book


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    bench = whole_book(tmp_path_factory.mktemp("whole"))
    yield flow_study(bench.book)
    bench.book.close()


@pytest.fixture
def bench(tmp_path):
    made = FlowBench(tmp_path)
    yield made
    made.book.close()


def trace(figure, name: str) -> dict:
    (found,) = [one for one in figure.traces if one["name"].startswith(name)]
    return found


def test_a_figure_for_true_curves_and_one_for_each_spindle(whole):
    true, relative = (flow_curves(place) for place in whole.places())
    assert true.plotly().layout.xaxis.title.text == "shear rate, 1/s (logarithmic scale)"
    assert relative.plotly().layout.xaxis.title.text == "speed, rpm (logarithmic scale)"
    assert "true shear rates" in true.subtitle and "relative, no material property" in relative.subtitle
    assert flow_curves([]) is None


def test_the_points_are_the_readings_and_their_bars_the_accuracy_of_full_scale(bench):
    batch = bench.make("FLO-01")
    bench.sweep(batch, 1.0)
    figure = flow_curves(flow_study(bench.book).flows)
    up = trace(figure, "FLO-01/1, 72 h, up")
    assert up["x"] == pytest.approx([RATE_PER_RPM * rpm for rpm in SPEEDS], rel=1e-6)
    assert up["y"] == pytest.approx([1000 * stress_pa(rpm) / (RATE_PER_RPM * rpm) for rpm in SPEEDS], rel=1e-5)
    # 1 % of full scale, 100 x 400 / rpm
    assert up["error_y"]["array"] == pytest.approx([400 / rpm for rpm in SPEEDS], rel=1e-4)
    down, rest = trace(figure, "FLO-01/1, 72 h, down"), trace(figure, "FLO-01/1, 72 h, after rest")
    assert len({up["marker"]["symbol"], down["marker"]["symbol"], rest["marker"]["symbol"]}) == 3
    assert len(rest["x"]) == 3


def test_a_fitted_line_ends_where_the_readings_end_and_follows_the_law(bench):
    bench.sweep(bench.make("FLO-01"), 1.0)
    figure = flow_curves(flow_study(bench.book).flows)
    line = trace(figure, "FLO-01/1, 72 h: Herschel-Bulkley")
    assert (min(line["x"]), max(line["x"])) == pytest.approx((RATE_PER_RPM * 0.5, RATE_PER_RPM * 100), rel=1e-6)
    assert all(math.isfinite(value) for value in line["y"]) and len(line["x"]) > 30
    for x, y in list(zip(line["x"], line["y"], strict=True))[::10]:
        assert y == pytest.approx(1000 * (8 + 4 * x**0.35) / x, rel=2e-3)


def test_the_line_of_a_disc_is_a_power_law_through_the_readings(whole):
    _, relative = (flow_curves(place) for place in whole.places())
    line = trace(relative, "FLO-01/1, 72 h: power law in speed")
    assert (line["x"][0], line["x"][-1]) == pytest.approx((0.5, 20))
    for x, y in zip(line["x"], line["y"], strict=True):
        assert y == pytest.approx(DISC_K * 20 * x**-0.7, rel=1e-3)


def test_curves_are_told_apart_without_colour(whole):
    for figure in map(flow_curves, whole.places()):
        markers = [one["marker"]["symbol"] for one in figure.traces if one["mode"] == "markers"]
        dashes = [one["line"]["dash"] for one in figure.traces if one["mode"] == "lines"]
        assert len(set(markers)) == len(markers) and len(set(dashes)) == len(dashes) == 2


def test_the_table_holds_every_number_and_the_sentence_names_every_curve(whole):
    true, relative = (flow_curves(place) for place in whole.places())
    assert [len(figure.table.rows) for figure in (true, relative)] == [2 * (8 + 8 + 3), 2 * 6]
    assert len(true.table.columns) == len(true.table.rows[0]) == 10
    assert len(relative.table.columns) == len(relative.table.rows[0]) == 8
    for figure in (true, relative):
        assert "FLO-01/1" in figure.summary and "FLO-02/1" in figure.summary
        assert "Lines end where the readings end" in figure.summary
        for one in figure.traces:
            if one["mode"] == "markers":
                assert {f"{value:.4g}" for value in one["y"]} <= {f"{float(row[-4]):.4g}" for row in figure.table.rows}


def test_what_is_left_out_is_drawn_with_a_letter_and_its_reason(bench):
    batch = bench.make("FLO-01")
    began = bench.at(batch, 72)
    bench.disc(batch, (1, 5, 20), began)
    bench.read(batch, 9600, 50, began + timedelta(minutes=5), DISC_K, spindle="disc 5", instrument="VIS-1")
    figure = flow_curves(flow_study(bench.book).flows)
    flagged = trace(figure, "flagged")
    assert (flagged["x"], flagged["y"], flagged["text"]) == ([50.0], [9600.0], ["a"])
    (note,) = figure.footnotes
    assert note.startswith("a: FLO-01/1, 9600 mPa.s, FLAGGED: The torque of 120 % is above 100 %")


def test_the_build_is_drawn_between_first_and_last_age_and_only_where_it_is_told(bench):
    bench.build(bench.make("FLO-01"))
    bench.build(bench.make("FLO-02", 1), {"24 h": 20000, "72 h": 24000})
    figure = viscosity_build(flow_study(bench.book).builds)
    figure.plotly()
    told, line = trace(figure, "FLO-01/1, settles at 18 6"), trace(figure, "FLO-01/1, fit")
    assert told["mode"] == "markers" and told["y"] == [8000, 14000, 18000, 18500]
    assert (line["x"][0], line["x"][-1]) == pytest.approx((1, 168))
    assert line["y"] == sorted(line["y"])
    joined = trace(figure, "FLO-02/1, no fit")
    assert joined["mode"] == "lines+markers" and joined["y"] == [20000, 24000]
    assert not [one for one in figure.traces if one["name"] == "FLO-02/1, fit"]
    assert len(figure.table.rows) == 6
    assert "where it settles and how fast cannot be told: read at 2 ages" in figure.summary
    assert figure.json()["layout"]["xaxis"]["ticktext"] == ["1 h", "4 h", "24 h", "72 h", "7 d"]
    assert viscosity_build([]) is None


def test_two_ways_of_reading_are_named_and_not_comparable(bench):
    bench.build(bench.make("FLO-01"))
    second = bench.make("FLO-02", 1)
    for hours in (24, 72):
        bench.disc(second, (10,), bench.at(second, hours), spindle="disc 6", torque_pct="15.9621", method="viscosity")
    figure = viscosity_build(flow_study(bench.book).builds)
    assert "another spindle or speed is another scale: not comparable" in figure.subtitle
    assert trace(figure, "FLO-02/1 (disc 6, 10 rpm)")


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0.4, 150, [0.5, 1, 2, 5, 10, 20, 50, 100]),
        (150, 30000, [200, 500, 1000, 2000, 5000, 10000, 20000]),
        (0.05, 5000, [0.1, 1, 10, 100, 1000]),
        (900, 3100, [1000, 2000, 3000]),
    ],
)
def test_ticks_of_a_logarithmic_axis(low, high, ticks):
    assert log_ticks(low, high) == pytest.approx(ticks)


def test_a_logarithmic_axis_holds_its_values_even_where_there_is_one():
    axis = log_axis([250.0, 250.0], "viscosity")
    low, high = axis["range"]
    assert low < math.log10(250) < high and high - low == pytest.approx(0.3, abs=0.05)
    assert axis["ticktext"] and (written(12500), written(0.05)) == ("12 500", "0.05")
