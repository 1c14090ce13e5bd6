"""The figure of a stability study: what is drawn is what was read, and lines end where they must."""

from __future__ import annotations

from itertools import pairwise

import pytest

import kit
from kit.figures.stability_trend import stability_trends
from tests.stability_readings import whole_bench

WEEKS = {"1 week": 1, "4 weeks": 4, "12 weeks": 12}


@pytest.fixture(scope="module")
def labbook(tmp_path_factory):
    bench = whole_bench(tmp_path_factory.mktemp("yarrow"), batches=2, weeks=WEEKS)
    bench.book.close()
    return bench.path


@pytest.fixture(scope="module")
def drawn(labbook):
    figures = stability_trends(kit.stability(labbook, setting="43 degC"))
    return {figure.title.split(" of ")[0].removeprefix("How does the "): figure for figure in figures}


def named(figure, name: str) -> list[dict]:
    return [trace for trace in figure.traces if trace["name"] == name]


def test_a_figure_a_property_and_a_panel_a_place(drawn):
    assert list(drawn) == ["pH", "viscosity", "pack mass loss"]
    layout = drawn["pH"].json()["layout"]
    axes = [name for name in layout if name.startswith("yaxis")]
    assert len(axes) == 4 and len({tuple(layout[name]["range"]) for name in axes}) == 1  # one scale for all places
    domains = sorted(layout[name]["domain"] for name in axes)
    assert all(low[1] < high[0] for low, high in pairwise(domains))
    texts = " ".join(note["text"] for note in layout["annotations"])
    assert "<b>45 °C</b>: within limits so far, melts there" in texts and "nothing is said beyond" in texts


def test_every_reading_is_drawn_and_stands_in_the_table(drawn):
    """pH: 2 batches by baseline and 3 stations in 4 places; viscosity: by 3 ages before the baseline more."""
    assert len(drawn["pH"].table.rows) == 2 * 4 * 4
    assert len(drawn["viscosity"].table.rows) == 2 * 4 * (4 + 3)
    points = sum(len(trace["x"]) for trace in drawn["pH"].traces if trace["mode"] == "markers")
    assert points == 32
    (first,) = [row for row in drawn["pH"].table.rows if row[:3] == ("YAR-01/1", "40 °C", "baseline")]
    assert first[4] == "+0.00"


def test_readings_before_the_baseline_are_hollow_and_left_of_it(drawn):
    early = named(drawn["viscosity"], "before the baseline, in no line")
    assert len(early) == 4 and all(trace["marker"]["symbol"] == "circle-open" for trace in early)
    assert all(x < 0 for trace in early for x in trace["x"])
    assert not named(drawn["pH"], "before the baseline, in no line")


def test_lines_are_solid_to_the_last_station_and_dashed_to_twice_it(drawn):
    solid = named(drawn["pH"], "mean line")
    dashed = named(drawn["pH"], "mean line beyond the last station")
    assert {round(max(trace["x"]), 1) for trace in solid} <= {12.0, 12.1}
    assert {round(max(trace["x"]), 1) for trace in dashed} <= {24.0, 24.3}
    assert all(trace["line"]["dash"] == "dash" for trace in dashed)
    places = {trace["yaxis"] for trace in dashed}
    assert places == {"y", "y2", "y3"}  # none at 45 degC, where the network melts
    bounds = named(drawn["pH"], "one-sided 97.5 % bound of the mean")
    assert {trace["yaxis"] for trace in bounds} == places and len(bounds) == 2 * len(places)  # a limit on either side


def test_the_bound_lies_outside_the_line_and_widens(drawn):
    for low in named(drawn["pH"], "one-sided 97.5 % bound of the mean"):
        lines = [trace for trace in named(drawn["pH"], "mean line") if trace["yaxis"] == low["yaxis"]]
        starts = [trace["y"][0] for trace in lines]
        assert low["y"][0] < min(starts) or low["y"][0] > max(starts)


def test_it_says_what_it_shows(drawn):
    assert "45 °C: outside since 1 week" in drawn["viscosity"].summary
    assert drawn["viscosity"].subtitle == "viscosity over its baseline; limit ± 25 % of the baseline"
    assert [trace["name"] for trace in drawn["pH"].traces if trace["showlegend"]][:2] == ["YAR-01/1", "YAR-01/2"]
    drawn["pH"].plotly()  # plotly takes every key
