"""Figures of a scale-up and of the heat balance: every number stands in a table; readable in grey, and in words."""

from __future__ import annotations

import json
import math

import pytest

from kit.figures.heat_balance import PourTemperatures, heat_before_the_pour
from kit.figures.scale_up import CoolingLine, ScaleRatio, cooling_at_scale, scale_ratios

RATIOS = [
    ScaleRatio("kettle", "tip speed", 1.0, True),
    ScaleRatio("kettle", "power per volume", 0.32, False),
    ScaleRatio("plant <b>", "tip speed", 1.0, True),
    ScaleRatio("plant <b>", "power per volume", 0.0288, False),
]
POURS = [
    PourTemperatures("bench, warm wall", (("phase A", 78.0), ("phase B", 82.0)), 78.4, 78.2, 78.6, 67.0, 77.0),
    PourTemperatures("kettle, cold wall", (("phase A", 78.0), ("phase B", 82.0)), 73.2, 73.2, 73.2, 62.0),
]
LINES = [
    CoolingLine("bench, as logged", [(0.0, 75.0), (10.0, 60.0), (30.0, 40.0)], True),
    CoolingLine("kettle, air", [(float(minute), 75.0 - minute / 2) for minute in range(61)]),
]


@pytest.fixture(params=["ratios", "cooling", "balance"])
def figure(request):
    return {
        "ratios": lambda: scale_ratios(RATIOS, "tip speed"),
        "cooling": lambda: cooling_at_scale(LINES, [("phase C goes in", 40.0)]),
        "balance": lambda: heat_before_the_pour(POURS, 56.0, 5.0),
    }[request.param]()


def test_every_series_has_a_marker_or_a_line_of_its_own(figure):
    looks = [
        (trace["mode"], trace["marker"].get("symbol"), trace.get("line", {}).get("dash")) for trace in figure.traces
    ]
    assert len(looks) == len(set(looks)) > 1


def test_a_figure_says_in_words_what_it_shows(figure):
    assert figure.summary.endswith(".") and len(figure.summary) > 40
    for trace in figure.traces:
        assert trace["name"]
    assert json.loads(json.dumps(figure.json()))["layout"]["meta"]["kit"]["summary"] == figure.summary


def test_typed_names_are_no_markup():
    drawn = scale_ratios(RATIOS, "tip speed").json()
    assert [trace["name"] for trace in drawn["data"]] == ["kettle", "plant &lt;b&gt;"]


def test_ratios_lie_on_a_logarithmic_axis_that_holds_them_all():
    figure = scale_ratios(RATIOS, "tip speed")
    low, high = figure.layout["xaxis"]["range"]
    assert low < math.log10(0.0288) and high > 0 and figure.layout["xaxis"]["type"] == "log"
    assert [row[2] for row in figure.table.rows] == ["1", "0.32", "1", "0.0288"]
    assert figure.traces[1]["x"] == [1.0, 0.0288]
    assert "power per volume 0.0288 times" in figure.summary


def test_what_the_rule_keeps_has_no_number_beside_it():
    assert scale_ratios(RATIOS, "tip speed").traces[0]["text"] == ["", "× 0.32"]


def test_the_table_of_a_cooling_curve_has_its_ends_and_stays_short():
    figure = cooling_at_scale(LINES)
    own = [row for row in figure.table.rows if row[0] == "kettle, air"]
    assert len(own) <= 17
    assert own[0][1:3] == ("0", "75.0") and own[-1][1:3] == ("60", "45.0")
    logged = [row for row in figure.table.rows if row[3] == "log"]
    assert [row[2] for row in logged] == ["75.0", "60.0", "40.0"]
    assert "kettle, air falls from 75 to 45 °C in 60 min" in figure.summary


def test_the_balance_draws_the_range_the_setting_and_the_margin():
    figure = heat_before_the_pour(POURS, 56.0, 5.0)
    (mixed,) = [trace for trace in figure.traces if trace["name"] == "mixture, worked out"]
    assert mixed["x"] == [78.4, 73.2]
    assert mixed["error_x"]["array"] == pytest.approx([0.2, 0.0])
    assert mixed["error_x"]["arrayminus"] == pytest.approx([0.2, 0.0])
    line, shade = figure.layout["shapes"]
    assert line["x0"] == line["x1"] == 56.0
    assert (shade["x0"], shade["x1"]) == (56.0, 61.0)
    low, high = figure.layout["xaxis"]["range"]
    assert low < 56 and high > 82
    held = figure.table.rows[1]
    assert held[2:] == ("73.2", "73.2 to 73.2", "62.0", "–")


def test_without_a_setting_temperature_none_is_drawn():
    figure = heat_before_the_pour(POURS)
    assert figure.layout["shapes"] == [] and "sets" not in figure.summary


def test_nothing_known_is_no_figure():
    assert scale_ratios([], "tip speed") is None
    assert cooling_at_scale([]) is None
    assert heat_before_the_pour([]) is None
