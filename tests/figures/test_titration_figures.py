"""What the titration and the un-ionised figures draw.

Referees: the curve of a monoprotic acid in closed form, values worked by hand beside the checks, numpy's own linear
interpolation, plotly's own validation.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from kit.figures.figure import Figure
from kit.figures.ionised import FormCurve, FreeRange, PhMark, forms_against_ph, free_against_ph, percent, spec_columns
from kit.figures.titration_curve import nice_ticks, titration_curve
from kit.figures.titration_words import StockCurve, TitrationPlot, signed_ph, thinned

CITRIC, HYDROXIDE = "Citric Acid (10 % solution)", "Sodium Hydroxide (10 % solution)"
GRID = [round(3 + 0.25 * step, 2) for step in range(21)]


def falling(dose_g: float) -> float:
    """Half-neutralised buffer with pKa 4.6: 2 mmol base, 2 mmol acid, 0.52 mmol of strong acid for each g."""
    return 4.6 + math.log10((2 - 0.52 * dose_g) / (2 + 0.52 * dose_g))


def rising(dose_g: float) -> float:
    return 4.6 + math.log10((2 + 0.52 * dose_g) / (2 - 0.52 * dose_g))


@pytest.fixture(scope="module")
def plot() -> TitrationPlot:
    doses = [0.01 * step for step in range(201)]
    down = StockCurve(
        CITRIC,
        doses,
        [falling(dose) for dose in doses],
        [falling(dose) - 0.2 for dose in doses],
        [falling(dose) + 0.2 for dose in doses],
        drops=[(0.05 * step, falling(0.05 * step)) for step in range(1, 6)],
        one_drop=falling(0.05) - 4.6,
        first=(0.7 * 1.2, falling(0.84)),
        target=(1.2, falling(1.2)),
    )
    up = StockCurve(HYDROXIDE, doses, [rising(dose) for dose in doses])
    return TitrationPlot(
        [down, up], "LIN-03/1", 400.0, 4.6, "measured", 4.3, 4.9, falling(1.2),
        bench=[(0.0, 4.61), (0.8, 4.43)], bench_words="sample of 20 g",
    )  # fmt: skip


@pytest.fixture(scope="module")
def figure(plot) -> Figure:
    return titration_curve(plot)


@pytest.fixture(scope="module")
def forms() -> Figure:
    """Benzoic acid with pKa 4.20: half un-ionised at 4.20; at 5.20 one part in eleven, 9.09 %."""
    share = [100 / (1 + 10 ** (ph - 4.2)) for ph in GRID]
    amine = [100 / (1 + 10 ** (ph - 9.0)) for ph in GRID]
    return forms_against_ph(
        [
            FormCurve("Benzoic Acid", "un-ionised", GRID, share, 100 / 11),
            FormCurve("Amine", "protonated", GRID, amine, 99.98),
        ],
        PhMark("LIN-03/1", 5.2, "measured", (4.3, 4.9)),
    )


def trace(figure: Figure, name: str) -> dict:
    (found,) = [one for one in figure.traces if one["name"].startswith(name)]
    return found


def points(drawn: dict) -> list[tuple[float, float]]:
    return list(zip(drawn["x"], drawn["y"], strict=True))


# ---------------------------------------------------------------- titration


def test_the_curve_drawn_is_the_curve_given(figure):
    """Linear interpolation of the points that are kept comes within 0.01 pH of the closed form at every dose."""
    drawn = trace(figure, CITRIC)
    doses = np.linspace(0, 2, 777)
    off = np.interp(doses, drawn["x"], drawn["y"]) - [falling(dose) for dose in doses]
    assert np.abs(off).max() < 0.0105
    assert 3 <= len(drawn["x"]) < 20


def test_thinning_keeps_the_step_of_a_strong_acid(plot):
    """pH = −log10 |1 − x| about equivalence jumps by more than 2 within 0.02: the jump must be in the points kept."""
    doses = np.linspace(0, 2, 401)
    ph = np.where(doses < 1, 3 - np.log10(1.001 - np.minimum(doses, 1)), 11 + np.log10(np.maximum(doses, 1) - 0.999))
    kept = thinned(list(doses), list(ph), 0.05)
    assert np.abs(np.interp(doses, doses[kept], ph[kept]) - ph).max() <= 0.05
    assert len(kept) < 80
    assert thinned([0.0, 1.0, 2.0], [5.0, 4.0, 3.0]) == [0, 2]  # a straight line needs its ends alone


def test_now_target_first_share_drops_and_bench_are_marked(figure):
    assert points(trace(figure, "now")) == [(0.0, 4.6)]
    assert points(trace(figure, "whole dose")) == [(1.2, falling(1.2))]
    assert points(trace(figure, "first 70 %")) == [(pytest.approx(0.84), falling(0.84))]
    assert trace(figure, "from tick to tick: 1 drop of 0.05 g")["x"] == pytest.approx([0.05, 0.10, 0.15, 0.20, 0.25])
    assert points(trace(figure, "read at the bench")) == [(0.0, 4.61), (0.8, 4.43)]
    # 2 mmol against 2: 1.2 g bring 0.624 mmol; log10(1.376/2.624) = −0.2803.
    assert trace(figure, "whole dose")["y"][0] == pytest.approx(4.3197, abs=5e-5)


def test_the_spec_is_shaded_and_says_so(figure):
    (band,) = [shape for shape in figure.layout["shapes"] if shape["type"] == "rect"]
    assert (band["y0"], band["y1"]) == (4.3, 4.9)
    texts = [note["text"] for note in figure.layout["annotations"]]
    assert "spec<br>4.3 to 4.9" in texts and "target 4.32" in texts


def test_a_one_sided_spec_reaches_to_the_end_of_the_axis(plot):
    drawn = titration_curve(TitrationPlot(plot.curves, "X", 400, 4.6, "predicted", spec_high=5.0))
    (band,) = [shape for shape in drawn.layout["shapes"] if shape["type"] == "rect"]
    assert band["y1"] == 5.0 and band["y0"] == drawn.layout["yaxis"]["range"][0]
    assert any("at most 5" in note["text"] for note in drawn.layout["annotations"])


def test_ticks_carry_grams_per_100_g(figure):
    """1 g to 400 g is 0.25 g per 100 g."""
    axis = figure.layout["xaxis"]
    assert axis["ticktext"][axis["tickvals"].index(1.0)] == "1<br>(0.25)"
    assert axis["range"][0] < 0 and axis["range"][1] > 2


@pytest.mark.parametrize(
    ("reach", "wanted"),
    [
        (2.0, [0, 0.5, 1, 1.5, 2]),
        (0.4, [0, 0.1, 0.2, 0.3, 0.4]),
        (55, [0, 20, 40]),
        (6, [0, 2, 4, 6]),
    ],
)
def test_ticks_by_hand(reach, wanted):
    assert nice_ticks(reach) == pytest.approx(wanted)


def test_every_point_drawn_is_in_the_table(figure):
    """Grams to two places, pH to two: each marker and each point of a line has a row of its own."""
    rows = {(row[1], row[3]) for row in figure.table.rows}
    for drawn in figure.traces:
        if drawn.get("fill"):
            continue
        for dose, ph in points(drawn):
            grams = "0" if dose == 0 else f"{dose:.2f}" if dose >= 0.1 else f"{dose:.3g}"
            assert (grams, f"{ph:.2f}") in rows, (drawn["name"], dose, ph)


def test_the_band_drawn_is_in_the_table(figure):
    band = trace(figure, "nine readings in ten")
    told = {
        float(end)
        for row in figure.table.rows
        for end in re.findall(r"band ([\d.]+) to ([\d.]+)", row[4])
        for end in end
    }
    assert {round(value, 2) for value in band["y"]} == told


def test_one_drop_is_said_with_its_sign(figure):
    """0.05 g bring 0.026 mmol: log10(1.974/2.026) = −0.0113."""
    assert f"one drop (0.05 g) of {CITRIC} moves it by −0.01" in figure.summary
    assert f"{HYDROXIDE} leads away from the target" in figure.summary
    assert [signed_ph(step) for step in (0.123, -0.0113, -0.0042)] == ["+0.12", "−0.01", "−0.004"]


def test_ticks_of_many_drops_say_how_many(plot):
    doses = [0.5 * step for step in range(41)]
    drops = [(0.5 * step, 4.6 - 0.005 * step) for step in range(1, 6)]
    curve = StockCurve(CITRIC, doses, [4.6 - 0.01 * dose for dose in doses], drops=drops, one_drop=-0.0002)
    drawn = titration_curve(TitrationPlot([curve], "X", 400, 4.6, "predicted", drops_each=10))
    assert trace(drawn, "from tick to tick: 10 drops of 0.05 g")["x"] == [0.5, 1.0, 1.5, 2.0, 2.5]
    assert [row[4] for row in drawn.table.rows if "drops" in row[4]][1] == "20 drops of 0.05 g"
    assert "one drop (0.05 g) of Citric Acid (10 % solution) moves it by less than 0.001" in drawn.summary


# ---------------------------------------------------------------- forms against pH


def test_shares_and_present_ph_are_marked(forms):
    benzoic = trace(forms, "Benzoic Acid, un-ionised")
    assert dict(points(benzoic))[4.25] == pytest.approx(47.12, abs=0.01)  # 1/(1 + 10^0.05)
    marks = trace(forms, "at pH 5.20")
    assert marks["x"] == [5.2, 5.2] and marks["text"][0] == "9.1 %"
    assert "9.1 % of Benzoic Acid is un-ionised" in forms.summary
    (band,) = [shape for shape in forms.layout["shapes"] if shape["type"] == "rect"]
    assert (band["x0"], band["x1"]) == (4.3, 4.9)


def test_the_table_holds_every_share(forms):
    rows = {row[0]: row[1:] for row in forms.table.rows}
    assert rows["5.20, now"][0] == "9.1"
    for index, name in enumerate(("Benzoic Acid", "Amine")):
        for ph, share in points(trace(forms, name)):
            assert rows[f"{ph:.2f}"][index] == percent(share)
    assert [percent(value) for value in (61.3, 4.77, 0.359)] == ["61", "4.8", "0.36"]


def test_a_range_is_drawn_from_low_to_high():
    high = [90 / (1 + 10 ** (ph - 4.2)) for ph in GRID]
    low = [30 / (1 + 10 ** (ph - 4.2)) for ph in GRID]
    drawn = free_against_ph(
        [FreeRange("Benzoic Acid", GRID, high, low, (10.0, 45.0))], PhMark("LIN-03/1", 4.2, "measured")
    )
    (area,) = drawn.traces
    assert area["x"] == [*GRID, *reversed(GRID)] and area["y"] == [*high, *reversed(low)]
    assert len(drawn.table.rows) == len(GRID) + 1
    assert drawn.table.rows[0] == ("4.20, now", "10", "45")
    assert drawn.table.rows[1][1:] == (percent(low[0]), percent(high[0]))
    assert "10 to 45 % of Benzoic Acid" in drawn.summary and "challenge test" in drawn.summary


def test_a_low_end_that_is_not_known_is_no_zero():
    high = [90 / (1 + 10 ** (ph - 5.27)) for ph in GRID]
    drawn = free_against_ph(
        [FreeRange("Dehydroacetic Acid", GRID, high, (), (None, 82.0))], PhMark("X", 4.6, "measured")
    )
    (line,) = drawn.traces
    assert line["y"] == high and "fill" not in line and "low end not known" in line["name"]
    assert {row[1] for row in drawn.table.rows} == {"not known"}
    assert "at most 82 % of Dehydroacetic Acid" in drawn.summary


def test_a_spec_without_one_side():
    shapes, (note,) = spec_columns((None, 5.0), (3.0, 8.0))
    assert (shapes[0]["x0"], shapes[0]["x1"]) == (3.0, 5.0) and note["text"] == "spec: at most 5"
    assert spec_columns((None, None), (3.0, 8.0)) == ([], [])


# ---------------------------------------------------------------- all of them


def test_lines_and_markers_differ_without_colour(figure, forms):
    for drawn in (figure, forms):
        lines = [one for one in drawn.traces if "lines" in one["mode"] and not one.get("fill")]
        styles = [one["line"]["dash"] for one in lines]
        assert len(set(styles)) == len(styles)
        marks = [one["marker"]["symbol"] for one in drawn.traces if "marker" in one]
        assert len(set(marks)) == len(marks)


def test_plotly_takes_them_and_their_numbers_ride_along(figure, forms):
    for drawn in (figure, forms):
        assert drawn.plotly().layout.meta["kit"]["rows"]
        carried = drawn.json()["layout"]["meta"]["kit"]
        assert carried["summary"] and carried["title"].endswith("?")
        assert all(len(row) == len(carried["columns"]) for row in carried["rows"])
