"""What the figures of the invented linden study draw. Referees: the readings as entered, worked by hand here, and
plotly's own validation.

Viscosity = K x torque / speed with K = 4000 mPa.s rpm/% on disc 5 at 10 rpm: 400 mPa.s for each % of full scale.
"""

from __future__ import annotations

import math

import pytest

import kit
from kit.demo.build import build_demo
from kit.figures.cooling import cooling_curve, cooling_minutes, cooling_points
from kit.figures.figure import Figure, series
from kit.figures.made import meant_and_made
from kit.figures.results import at_one_age, over_age
from kit.formula.files import read_formula
from kit.show import TOKENS, Table

TRIALS = [f"LIN-0{number}" for number in range(1, 8)]
CONTROL = "LIN-03, LIN-06"
GREY = "#8a939c"
AT_72_H = {  # label: viscosity of each batch that counts
    CONTROL: [400 * 47.5, 400 * 50.2],
    "LIN-02": [400 * 27.0],
    "LIN-04": [400 * 74.0],
    "LIN-07": [400 * 51.5],
}


@pytest.fixture(scope="module")
def labbook(tmp_path_factory):
    return build_demo(tmp_path_factory.mktemp("figures") / "demo").labbook


@pytest.fixture(scope="module")
def comparison(labbook):
    return kit.compare(labbook, TRIALS)


@pytest.fixture(scope="module")
def source(labbook):
    with kit.open_source(labbook) as opened:
        yield opened


@pytest.fixture(scope="module")
def at_72_h(comparison):
    return at_one_age(comparison, comparison.result("viscosity", "72 h"))


@pytest.fixture(scope="module")
def figures(comparison, source, at_72_h):
    """One figure of every kind, as the write-ups use them."""
    batches = source.batches(study="LIN")
    return [
        at_72_h,
        at_one_age(comparison, comparison.result("pH", "24 h")),
        over_age(comparison, "viscosity"),
        over_age(comparison, "pH"),
        cooling_curve(batches[:3]),
        meant_and_made(source.batch("LIN-03/1")),
    ]


def trace(figure: Figure, name: str) -> dict:
    (found,) = [trace for trace in figure.traces if trace["name"].startswith(name)]
    return found


def points(drawn: dict) -> list[tuple]:
    return list(zip(drawn["x"], drawn["y"], strict=True))


# ---------------------------------------------------------------- at one age


def test_one_marker_a_batch_at_its_mean(at_72_h):
    wanted = sorted((label, value) for label, values in AT_72_H.items() for value in values)
    assert sorted(points(trace(at_72_h, "batch"))) == [(label, pytest.approx(value)) for label, value in wanted]


def test_one_tick_a_reading(at_72_h):
    assert sorted(trace(at_72_h, "single reading")["y"]) == pytest.approx(
        sorted(value for values in AT_72_H.values() for value in values)
    )


def test_the_flagged_reading_is_hollow_and_in_no_mean(at_72_h):
    """LIN-05: 101.5 % of full scale on disc 5 shows 40600 mPa.s, over the range of the instrument."""
    flagged = trace(at_72_h, "flagged")
    assert points(flagged) == [("LIN-05", 40600.0)]
    assert flagged["marker"]["symbol"].endswith("-open")
    assert "LIN-05/1" in flagged["text"][0] and "101.5" in flagged["text"][0]
    assert 40600.0 not in trace(at_72_h, "batch")["y"] + trace(at_72_h, "single reading")["y"]


def test_what_is_not_comparable_is_grey_and_in_no_mean(at_72_h):
    """Disc 4 at 24.5 %: 200 x 24.5 = 4900; disc 6 at 42.0 %: 1000 x 42.0 = 42000; the method's spindle is disc 5."""
    grey = trace(at_72_h, "not comparable")
    assert sorted(points(grey)) == [("LIN-01", 4900.0), ("LIN-05", 42000.0)]
    assert grey["marker"]["color"] == GREY
    assert GREY not in TOKENS["series"]
    assert not {4900.0, 42000.0} & set(trace(at_72_h, "batch")["y"])


def test_the_bar_is_one_sd_of_batches_and_only_where_there_are_two(at_72_h):
    """ln scale: mean sqrt(19000 x 20080) = 19532.54; SD = ln(20080/19000) / sqrt 2 = 0.0390926.

    Up: 19532.54 x (exp(0.0390926) - 1) = 778.70; down: 19532.54 x (1 - exp(-0.0390926)) = 748.85.
    """
    bar = trace(at_72_h, "mean ± 1 SD of batches")
    assert points(bar) == [(CONTROL, pytest.approx(19532.54, abs=0.01))]
    sd = math.log(20080 / 19000) / math.sqrt(2)
    assert sd == pytest.approx(0.0390926, abs=1e-7)
    assert bar["error_y"]["array"] == [pytest.approx(778.70, abs=0.02)]
    assert bar["error_y"]["arrayminus"] == [pytest.approx(748.85, abs=0.02)]
    rows = [row for row in at_72_h.table.rows if str(row[1]) == "mean of 2 batches"]
    assert [row[:5] for row in rows] == [
        (CONTROL, "mean of 2 batches", "19 533", "2", "± 1 SD of batches: 18 784 to 20 311")
    ]


def test_the_spec_band_lies_at_the_limits_and_says_them(at_72_h, comparison):
    for figure, low, high in (
        (at_72_h, 15000.0, 25000.0),
        (at_one_age(comparison, comparison.result("pH", "24 h")), 4.3, 4.9),
    ):
        drawn = figure.json()["layout"]
        (band,) = [
            shape for shape in drawn["shapes"] if shape["type"] == "rect" and shape["fillcolor"] == TOKENS["band"]
        ]
        assert (band["y0"], band["y1"], band["x0"], band["x1"], band["xref"]) == (low, high, 0, 1, "paper")
        edges = {shape["y0"] for shape in drawn["shapes"] if shape["type"] == "line"}
        assert edges == {low, high}
        (words,) = [note["text"] for note in drawn["annotations"] if note["text"].startswith("spec")]
        assert f"{low:g}" in words and f"{high:g}" in words
        assert drawn["yaxis"]["range"][0] < low and drawn["yaxis"]["range"][1] > high


def test_the_scale_is_named_and_what_is_drawn_lies_inside_it(at_72_h):
    low, high = at_72_h.layout["yaxis"]["range"]
    drawn = [value for trace in at_72_h.traces for value in trace["y"]]
    assert low <= min(drawn) and max(drawn) <= high
    assert at_72_h.json()["layout"]["yaxis"]["title"]["text"] == "viscosity, mPa.s"
    assert {label for trace in at_72_h.traces for label in trace["x"]} <= set(at_72_h.layout["xaxis"]["categoryarray"])
    assert at_72_h.layout["xaxis"]["categoryarray"][0] == CONTROL


# ---------------------------------------------------------------- over age


def test_a_line_joins_the_readings_of_one_batch_only(comparison):
    """As entered on disc 5, torque at 1 h, 24 h, 72 h and 7 d; LIN-05 counts on disc 5 at 1 h and 24 h only."""
    torques = {
        "LIN-02/1": (13.0, 22.2, 27.0, 28.0),
        "LIN-03/1": (22.0, 39.0, 47.5, 49.0),
        "LIN-04/1": (34.0, 62.0, 74.0, 76.0),
        "LIN-05/1": (48.8, 88.0),
        "LIN-06/1": (20.8, 41.8, 50.2, 51.0),
        "LIN-07/1": (20.0, 41.0, 51.5, 53.8),
    }
    figure = over_age(comparison, "viscosity")
    lines = {trace["name"]: trace for trace in figure.traces if "lines" in trace["mode"]}
    assert set(lines) == set(torques)
    for batch, values in torques.items():
        assert lines[batch]["y"] == pytest.approx([400 * torque for torque in values])
        assert lines[batch]["x"] == pytest.approx([1, 24, 72, 168][: len(values)], rel=0.05)
        assert lines[batch]["x"] == sorted(lines[batch]["x"])
    assert (
        len({(line["line"]["color"], line["line"]["dash"], line["marker"]["symbol"]) for line in lines.values()}) == 6
    )


def test_left_out_readings_stand_beside_the_lines_and_on_none(comparison):
    figure = over_age(comparison, "viscosity")
    flagged, grey = trace(figure, "flagged"), trace(figure, "not comparable")
    assert flagged["y"] == [40600.0]
    assert sorted(grey["y"]) == [2600.0, 4200.0, 4900.0, 5000.0, 42000.0, 43000.0]
    assert flagged["mode"] == grey["mode"] == "markers"
    assert flagged["marker"]["symbol"] == "circle-open" and grey["marker"]["color"] == GREY
    assert figure.json()["layout"]["xaxis"]["type"] == "log"
    assert "logarithmic" in figure.json()["layout"]["xaxis"]["title"]["text"]


def test_a_property_nobody_read_draws_nothing(comparison):
    assert over_age(comparison, "density") is None


# ---------------------------------------------------------------- cooling, and meant against made


def test_the_cooling_curve_holds_the_log_and_the_addition(source):
    """As entered: 76.3 after the pour, then the log; phase C at 38.0, 45 min after combining (minutes 101 and 56)."""
    batch = source.batch("LIN-03/1")
    log = [(0, 76.3), (6, 70.8), (14, 61.5), (22, 53.9), (30, 47.6), (38, 42.1), (44, 38.4)]
    assert cooling_points(batch) == log
    figure = cooling_curve((batch,))
    line, addition = figure.traces
    assert points(line) == log
    assert (points(addition), addition["text"]) == ([(45.0, 38.0)], ["phase C"])
    assert cooling_minutes(batch) == "44 min to 40 °C or below"
    assert "temperature, °C" in figure.json()["layout"]["yaxis"]["title"]["text"]


def test_without_a_log_there_is_no_cooling_curve(tmp_path):
    formula = read_formula(
        'name = "x"\nversion = "1"\n[[phase]]\nname = "A"\nkind = "water"\n'
        'line = [{material = "water-deionised", qs = true}, {material = "glycerin", pct = "4.00"}]\n',
        kit.load_library(),
    )
    with kit.new_labbook(tmp_path / "x.labbook") as book:
        book.new_study("X", question="?")
        batch = book.start_batch(kit.plan_batch(formula, "100 g"), trial="X-01")
        assert cooling_curve((batch.view,)) is None
        assert cooling_minutes(batch.view) == "NOT RECORDED"
        batch.combine(temps={"A": "78 degC"})  # a pour without the temperature after it is no log
        assert cooling_curve((batch.view,)) is None


def test_meant_and_made_draws_the_difference_of_every_line(source):
    batch = source.batch("LIN-03/1")
    figure = meant_and_made(batch)
    (bars,) = figure.traces
    assert sum(bars["x"]) == pytest.approx(0, abs=1e-9)  # both add up to 100
    glycerin = dict(zip(bars["y"], bars["x"], strict=True))["Glycerin"]
    # 13.80 g for 12.00 g in about 400 g: 1.80 / 400 = 0.45 pp, less what the dilution by itself takes from 3.45 %.
    assert glycerin == pytest.approx(0.45, abs=0.03)
    low, high = figure.layout["xaxis"]["range"]
    assert low < min(bars["x"]) and max(bars["x"]) < high


# ---------------------------------------------------------------- every figure


def test_every_number_drawn_is_in_the_table(figures):
    """To the digits printed."""
    for figure in figures:
        printed = []
        for row in figure.table.rows:
            for cell in row:
                try:
                    printed.append(float(str(cell).replace(" ", "")))
                except ValueError:
                    continue
        drawn = [
            float(value)
            for trace in figure.traces
            for axis in ("x", "y")
            for value in trace[axis]
            if isinstance(value, (int, float))
        ]
        assert len(drawn) >= 5
        for value in drawn:
            assert any(math.isclose(value, cell, rel_tol=1e-3, abs_tol=0.0051) for cell in printed), (
                figure.title, value
            )  # fmt: skip


def test_every_text_drawn_is_in_the_table(figures):
    for figure in figures:
        cells = {str(cell) for row in figure.table.rows for cell in row}
        labels = {
            value for trace in figure.traces for axis in ("x", "y") for value in trace[axis] if type(value) is str
        }
        assert labels <= cells


def test_plotly_accepts_every_figure_as_it_stands(figures):
    """plotly raises ValueError for a property or a value that is none of its own; nothing may be lost on the way."""
    for figure in figures:
        made = figure.plotly()
        assert len(made.data) == len(figure.traces)
        assert [list(drawn.x) for drawn in made.data] == [trace["x"] for trace in figure.json()["data"]]
        assert made.layout.meta["kit"]["summary"] == figure.summary
    with pytest.raises(ValueError, match="colr"):
        Figure("t", "s", [{"type": "scatter", "colr": 1}], {}, Table(("a",), []), "").plotly()


def test_every_figure_says_what_it_shows_and_how_it_was_measured(figures):
    for figure in figures:
        assert figure.title and figure.subtitle and figure.summary.endswith(".")
        assert figure.subtitle in figure.json()["layout"]["title"]["text"].replace("&amp;", "&")
        bundle = figure._repr_mimebundle_()
        assert bundle["application/vnd.plotly.v1+json"] == figure.json()
        assert figure.title in bundle["text/plain"]


def test_typed_text_is_no_markup_in_a_figure():
    """plotly obeys <b>, <a href> and entities in names, labels and hover texts."""
    typed = '<a href="http://a.example">R&D</a>'
    drawn = Figure(
        typed, typed, [{"type": "bar", "name": typed, "x": [typed], "y": [1.5], "text": [typed]}],
        {"xaxis": {"categoryarray": [typed]}}, Table((typed,), [(typed,)]), typed,
    ).json()  # fmt: skip
    (bar,) = drawn["data"]
    shown = '&lt;a href="http://a.example"&gt;R&amp;D&lt;/a&gt;'
    assert (bar["name"], bar["x"], bar["text"], bar["y"]) == (shown, [shown], [shown], [1.5])
    assert drawn["layout"]["xaxis"]["categoryarray"] == [shown]
    assert "<a" not in drawn["layout"]["title"]["text"]
    assert drawn["layout"]["meta"]["kit"]["rows"] == [[typed]]  # the table is escaped where it is printed


def test_series_differ_in_more_than_their_colour():
    looks = [series(index) for index in range(8)]
    assert len({look["color"] for look in looks}) == len({look["symbol"] for look in looks}) == 8
    assert all(looks[index]["dash"] != looks[index + 1]["dash"] for index in range(7))
    assert series(8) == looks[0]
