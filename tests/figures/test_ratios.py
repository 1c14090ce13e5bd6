"""How far each version is from the control: the figure draws what the comparison found, and nothing else."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

import kit
from kit.figures.ratios import AGAINST_MARGIN, FOUND, HOLLOW, INTERVAL, against_the_control

LINDEN = [f"LIN-0{number}" for number in range(1, 8)]


@pytest.fixture(scope="module")
def thick(demos):
    """Viscosity of the linden study at 72 h with a stated margin."""
    with kit.open_source(demos("linden").labbook) as source:
        yield kit.compare(source, LINDEN, margin="20 %").result("viscosity", "72 h")


@pytest.fixture(scope="module")
def figure(thick):
    return against_the_control(thick)


def trace(figure, name: str) -> dict:
    (found,) = [trace for trace in figure.traces if trace["name"] == name]
    return found


def compared(result) -> list:
    return [arm for arm in result.arms if arm.difference is not None]


def test_intervals_and_ticks_are_those_of_the_comparison(thick, figure):
    drawn, ticks = trace(figure, INTERVAL), trace(figure, FOUND)
    for place, arm in enumerate(compared(thick)):
        found = arm.difference
        assert (drawn["y"][place], drawn["x"][place]) == (arm.arm_label, found.value)
        assert drawn["x"][place] + drawn["error_x"]["array"][place] == pytest.approx(found.high, rel=1e-12)
        assert drawn["x"][place] - drawn["error_x"]["arrayminus"][place] == pytest.approx(found.low, rel=1e-12)
        assert ticks["x"][2 * place : 2 * place + 2] == pytest.approx([1 / found.detectable, found.detectable])


def test_the_margin_is_shaded_and_what_is_held_against_it_is_drawn(thick, figure):
    (band,) = [shape for shape in figure.layout["shapes"] if shape["type"] == "rect"]
    assert (band["x0"], band["x1"]) == pytest.approx((1 / 1.2, 1.2), rel=1e-12)
    bars = trace(figure, AGAINST_MARGIN)
    first = compared(thick)[0].difference
    assert bars["x"][:3] == [first.same_low, first.same_high, None]
    assert "Shaded: 0.833 to 1.20, stated to be too small to matter." in figure.footnotes


def test_without_a_margin_nothing_is_shaded_and_that_is_said(thick):
    bare = replace(
        thick,
        arms=tuple(
            replace(arm, difference=arm.difference and replace(arm.difference, margin=None)) for arm in thick.arms
        ),
    )
    figure = against_the_control(bare)
    assert [shape["type"] for shape in figure.layout["shapes"]] == ["line"]
    assert "No margin was stated: nothing is called the same." in figure.footnotes
    assert AGAINST_MARGIN not in {trace["name"] for trace in figure.traces}


def test_a_flagged_version_is_not_drawn_and_named(thick, figure):
    assert "LIN-05" not in trace(figure, INTERVAL)["y"]
    assert any(note.startswith("LIN-05 is not drawn: not tested: ") for note in figure.footnotes)


def test_the_axis_is_logarithmic_holds_everything_and_has_a_tick_at_one(figure):
    axis = figure.layout["xaxis"]
    assert axis["type"] == "log"
    assert 1.0 in axis["tickvals"]
    drawn = trace(figure, INTERVAL)
    ends = [*trace(figure, FOUND)["x"], *(x + e for x, e in zip(drawn["x"], drawn["error_x"]["array"], strict=True))]
    assert axis["range"][0] < math.log10(min(ends)) < math.log10(max(ends)) < axis["range"][1]


def test_verdict_and_batches_stand_at_every_row_in_words(thick, figure):
    for arm, label in zip(compared(thick), figure.layout["yaxis"]["ticktext"], strict=True):
        words = label.replace("<br>", " ")
        assert words.startswith(arm.arm_label)
        assert f"against {arm.difference.n_control}" in words
        assert words.endswith(arm.difference.verdict)


def test_the_numbers_stand_in_a_table_and_plotly_takes_the_figure(thick, figure):
    assert len(figure.table.rows) == len(compared(thick))
    assert {"half-width", FOUND} <= set(figure.table.columns)
    (row,) = [row for row in figure.table.rows if row[0] == "LIN-04"]
    found = thick.arm("LIN-04").difference
    assert [float(cell) for cell in row[1:4]] == pytest.approx([found.value, found.low, found.high], rel=5e-3)
    figure.plotly()


def test_single_batches_without_history_are_hollow(demos):
    with kit.open_source(demos("hibiscus").labbook) as source:
        figure = against_the_control(kit.compare(source, ["HIB-01", "HIB-05"]).result("viscosity", "72 h"))
    assert [trace["name"] for trace in figure.traces] == [HOLLOW]
    assert figure.traces[0]["x"] == pytest.approx([12400 / 15200])
    assert not any("Ticks" in note for note in figure.footnotes)


def test_differences_of_ph_stand_on_a_straight_axis(demos):
    with kit.open_source(demos("linden").labbook) as source:
        figure = against_the_control(kit.compare(source, LINDEN).result("pH", "24 h"))
    assert "type" not in figure.layout["xaxis"]
    ticks = trace(figure, FOUND)["x"]
    assert ticks[0] == -ticks[1]


def test_the_control_alone_has_no_figure(demos):
    with kit.open_source(demos("linden").labbook) as source:
        assert against_the_control(kit.compare(source, ["LIN-03"]).result("viscosity", "72 h")) is None
