"""Figures of a fitted response: what is drawn is what the model says and what was measured, and all of it in a table.

The batches are invented and follow known formulas exactly but for a small scatter that is typed, so that what the model
should say is known without the kit.
"""

from __future__ import annotations

import json
import math
from decimal import Decimal

import pytest

from kit.errors import KitError
from kit.figures.fitted import fitted_figures
from kit.figures.fitted_check import fitted_check
from kit.figures.fitted_contours import contour_levels, nice_step, ring
from kit.figures.fitted_effects import fitted_effects
from kit.figures.fitted_mixture import fitted_mixture
from kit.figures.fitted_points import side_by_side
from kit.figures.fitted_region import cut_outline, hull_outline
from kit.figures.fitted_surface import fitted_surface
from kit.figures.marks import number
from kit.formula.model import SpecLine
from kit.trials.response import Response, fit_data
from kit.trials.response_coordinates import coordinates
from kit.trials.response_data import ResponseBatch, ResponseData, Unused
from kit.trials.response_levels import CONTENT, MIXTURE, PROCESS, LevelFactor
from kit.trials.results import LINEAR, LN, PropertyResult

SCATTER = (0.01, -0.02, 0.015, 0.0, -0.01, 0.02, -0.015, 0.005, -0.005, 0.01, -0.01, 0.0)  # of ln, typed
SQUARE = [(4000, 3), (9000, 3), (4000, 12), (9000, 12), (6500, 7.5), (6500, 7.5), (6500, 7.5)]
BLENDS = [(0, 1, 6), (1.5, 1.5, 4), (0, 2.5, 4.5), (1.5, 0.5, 5), (0.5, 2.5, 4), (0.75, 1.5, 4.75), (0.75, 1.5, 4.75),
          (0.5, 0.5, 6)]  # fmt: skip


def fitted(factors, levels, values, model, *, scale=LN, spec=("13000", "19000"), days=(), held=0, unit="mPa.s"):
    limits = [None if limit is None else Decimal(limit) for limit in spec]
    line = None if spec == () else SpecLine("viscosity", *limits, unit, (), "viscosity", "72 h")
    result = PropertyResult("viscosity", "viscosity", unit, "72 h", None, scale, line, ())
    batches = [
        ResponseBatch(f"KIT-{place:02}/1", f"KIT-{place:02}", str(at), f"2026-07-{6 + place % 2:02}",
                      tuple(map(float, at)), tuple(map(float, at)), float(value), 1)
        for place, (at, value) in enumerate(zip(levels, values, strict=True), start=1)
    ]  # fmt: skip
    used, kept = batches[: len(batches) - held], batches[len(batches) - held :]
    data = ResponseData(result, tuple(used), tuple(kept), (Unused("KIT-99/1", "not read at this age"),), ())
    space = coordinates(factors, [batch.meant for batch in used])
    choice, told = fit_data(data, space, model=model, days="none")
    return Response("KIT", result, space, data, choice, "made", told, (), tuple(days))


def making(model="linear", **more) -> Response:
    """ln viscosity falls by 0.1 from 4000 to 9000 rpm and by 0.2 from 3 to 12 min, about 15 000 in the middle."""
    factors = [LevelFactor("combine rpm", PROCESS, "rpm"), LevelFactor("combine <minutes>", PROCESS, "min")]
    values = [15000 * math.exp(-0.1 * (a - 6500) / 5000 - 0.2 * (b - 7.5) / 9 + extra)
              for (a, b), extra in zip(SQUARE, SCATTER, strict=False)]  # fmt: skip
    return fitted(factors, SQUARE, values, model, **more)


def blend(model="linear", **more) -> Response:
    """ln viscosity is a sum over the shares of 7 %: 9.0 for the first part, 9.5 second, 10.0 third."""
    names = ("quat-one", "quat-two", "alcohol")
    factors = [LevelFactor(name, MIXTURE, "%") for name in names]
    values = [math.exp((9.0 * a + 9.5 * b + 10.0 * c) / 7 + extra) for (a, b, c), extra in zip(BLENDS, SCATTER,
              strict=False)]  # fmt: skip
    return fitted(factors, BLENDS, values, model, **more)


def three(**more) -> Response:
    """Three contents on a linear scale: +2, -1 and +0.5 for 1 % each, 10 in the middle at 1 % each."""
    factors = [LevelFactor(name, CONTENT, "%") for name in ("gum", "salt", "oil")]
    levels = [(a, b, c) for a in (0, 2) for b in (0, 2) for c in (0, 2)] + [(1, 1, 1), (1, 1, 1)]
    values = [10 + 2 * (a - 1) - (b - 1) + 0.5 * (c - 1) + extra for (a, b, c), extra in zip(levels, SCATTER,
              strict=False)]  # fmt: skip
    return fitted(factors, levels, values, "linear", scale=LINEAR, spec=("9", None), unit="1", **more)


@pytest.fixture(params=["effects", "surface", "mixture", "check"])
def figure(request):
    return {
        "effects": lambda: fitted_effects(making()),
        "surface": lambda: fitted_surface(making()),
        "mixture": lambda: fitted_mixture(blend()),
        "check": lambda: fitted_check(making(held=1)),
    }[request.param]()


def named(figure, name):
    return [trace for trace in figure.traces if trace["name"].startswith(name)]


def test_a_figure_says_in_words_what_it_shows_and_draws_plain_axes_only(figure):
    assert figure.summary.endswith(".") and len(figure.summary) > 60 and figure.summary.startswith("viscosity, 72 h")
    drawn = json.loads(json.dumps(figure.json(), allow_nan=False))
    assert {trace["type"] for trace in drawn["data"]} <= {"scatter", "contour", "bar"}
    assert drawn["layout"]["meta"]["kit"]["rows"]
    assert "<minutes>" not in json.dumps(drawn["layout"].get("annotations", ""))


def test_every_batch_stands_in_the_table_with_its_value(figure):
    cells = [set(map(str, row)) for row in figure.table.rows]
    whole = blend() if "blend" in figure.title else making()
    for batch in whole.batches:
        text = f"{batch.value:,.0f}".replace(",", " ") if batch.value >= 10000 else f"{batch.value:.4g}"
        assert any(text in row and any(cell.startswith(batch.batch) for cell in row) for row in cells)


def test_batches_inside_and_outside_the_spec_differ_in_shape_and_colour():
    response = making(spec=("14500", "19000"))
    marks = named(fitted_surface(response), "batch ")
    assert [trace["name"] for trace in marks] == ["batch inside the spec", "batch outside the spec"]
    assert (
        len({trace["marker"]["symbol"] for trace in marks}) == len({trace["marker"]["color"] for trace in marks}) == 2
    )
    outside = [batch.batch for batch in response.batches if batch.value < 14500]
    assert outside and [text.split(":")[0] for text in marks[1]["hovertext"]] == outside


def test_effects_draw_the_model_through_the_held_point_with_the_band_of_the_mean():
    response = making()
    figure = fitted_effects(response)
    lines, bands = named(figure, "model"), named(figure, "95 % band")
    assert (lines[0]["x"][0], lines[0]["x"][-1]) == (4000, 9000)
    assert math.log(lines[0]["y"][0] / lines[0]["y"][-1]) == pytest.approx(0.1, abs=0.03)
    assert math.log(lines[1]["y"][0] / lines[1]["y"][-1]) == pytest.approx(0.2, abs=0.03)
    said = response.predict({"combine rpm": 4000, "combine <minutes>": 7.5})
    assert lines[0]["y"][0] == pytest.approx(float(said.mean[0]), rel=1e-9)
    assert bands[0]["y"][0] == pytest.approx(float(said.high[0]), rel=1e-9)
    assert bands[0]["y"][-1] == pytest.approx(float(said.low[0]), rel=1e-9)
    assert bands[0]["y"][-1] < lines[0]["y"][0] < bands[0]["y"][0]
    row = figure.table.rows[0]
    assert row[1] == "4000" and row[3] == f"{said.mean[0]:,.0f}".replace(",", " ") and " to " in row[4]


def test_effects_hold_the_others_at_a_batch_and_say_so():
    response = making()
    figure = fitted_effects(response, "KIT-01/1")
    said = response.predict({"combine rpm": 9000, "combine <minutes>": 3})
    assert named(figure, "model")[0]["y"][-1] == pytest.approx(float(said.mean[0]), rel=1e-9)
    assert "the levels of KIT-01/1" in figure.subtitle and "combine <minutes> 3 min" in figure.footnotes[0]
    with pytest.raises(KitError) as problem:
        fitted_effects(response, "KIT-77/1")
    assert problem.value.code == "figure.batch"


def test_effects_name_each_factor_with_its_unit_and_shade_the_spec_in_every_panel():
    figure = fitted_effects(making())
    assert [note["text"] for note in figure.layout["annotations"]] == [
        "combine rpm<br>rpm",
        "combine &lt;minutes&gt;<br>min",
    ]
    areas = [shape for shape in figure.layout["shapes"] if shape["type"] == "rect"]
    assert [(area["y0"], area["y1"], area["xref"]) for area in areas] == [
        (13000, 19000, "x domain"),
        (13000, 19000, "x2 domain"),
    ]
    low, high = figure.layout["yaxis"]["range"]
    assert low < 13000 and high > 19000


def test_a_part_of_a_mixture_rises_while_the_others_keep_their_proportions():
    response = blend()
    middle = [sum(levels) / len(BLENDS) for levels in zip(*BLENDS, strict=True)]
    line = named(fitted_effects(response), "model")[0]
    rest = 7 - 1.5
    levels = [1.5, rest * middle[1] / (middle[1] + middle[2]), rest * middle[2] / (middle[1] + middle[2])]
    assert line["x"][-1] == 1.5
    assert line["y"][-1] == pytest.approx(float(response.predict([levels]).mean[0]), rel=1e-9)
    assert line["y"][-1] < line["y"][0]


def test_without_a_scatter_there_is_no_band_and_the_reason_is_told():
    factors = [LevelFactor("combine rpm", PROCESS, "rpm")]
    response = fitted(factors, [(4000,), (9000,)], [15000, 14000], "linear")
    figure = fitted_effects(response)
    assert not named(figure, "95 % band") and any(note.startswith("No band: ") for note in figure.footnotes)
    assert figure.table.rows[0][4] == "no band"
    assert "error_x" not in named(fitted_check(response), "measured above")[0]


def test_the_grid_of_a_surface_is_what_the_model_says():
    response = making("interaction")
    figure = fitted_surface(response)
    spec, model = [trace for trace in figure.traces if trace["type"] == "contour"]
    points = [(0, 0), (12, 33), (40, 40)]
    rows = [(model["x"][i], model["y"][j]) for i, j in points]
    said = response.predict(rows).mean
    assert [model["z"][j][i] for i, j in points] == pytest.approx(said.tolist(), rel=1e-5)
    assert model["x"][0] < 4000 and model["x"][-1] > 9000 and spec["z"] == model["z"]
    assert spec["contours"]["value"] == [13000, 19000] and spec["contours"]["operation"] == "]["
    assert spec["name"] == "spec 13000 to 19000 mPa.s"


def test_the_lines_of_a_surface_are_numbered_on_the_line_and_listed():
    figure = fitted_surface(making())
    (model,) = [trace for trace in figure.traces if trace["name"] == "model"]
    step = model["contours"]["size"]
    assert step in (500, 1000) and model["contours"]["start"] % step == 0
    notes = [note for note in figure.layout["annotations"] if note["text"].replace(" ", "").isdigit()]
    assert len(notes) >= 3
    for note in notes:
        value = 15000 * math.exp(-0.1 * (note["x"] - 6500) / 5000 - 0.2 * (note["y"] - 7.5) / 9)
        assert float(note["text"].replace(" ", "")) == pytest.approx(value, rel=0.03)
        assert note["text"] in figure.table.note


def test_a_limit_that_runs_through_the_region_is_named_as_the_spec():
    notes = [note["text"] for note in fitted_surface(making(spec=("14700", None))).layout["annotations"]]
    assert "<b>spec 14 700</b>" in notes
    (area,) = [trace for trace in fitted_surface(making(spec=("14700", None))).traces if trace["name"][:4] == "spec"]
    assert (area["contours"]["operation"], area["contours"]["value"]) == ("<", 14700)


def test_batches_made_alike_stand_side_by_side_and_keep_their_names():
    figure = fitted_surface(making())
    (marks,) = named(figure, "batch inside")
    alike = [x for x, y in zip(marks["x"], marks["y"], strict=True) if y == 7.5]
    assert len(set(alike)) == 3 and sum(alike) / 3 == pytest.approx(6500)
    assert "KIT-05/1<br>KIT-06/1<br>KIT-07/1" in [note["text"] for note in figure.layout["annotations"]]
    assert side_by_side([(1, 1), (2, 2)], (1, 1)) == [(1, 1, 0), (2, 2, 1)]


def test_what_lies_beyond_the_batches_is_grey_and_named_in_the_table():
    figure = fitted_surface(making())
    (grey,) = named(figure, "beyond")
    corners = set(zip(grey["x"], grey["y"], strict=True))
    assert {(4000, 3), (9000, 3), (9000, 12), (4000, 12)} <= corners
    where = {row[-1] for row in figure.table.rows}
    assert where == {"batch", "in the tried region", "beyond the batches that were made"}


def test_three_factors_have_a_surface_a_pair_with_the_third_held():
    response = three()
    figures = fitted_figures(response)
    assert [figure.subtitle.split(";")[0] for figure in figures[1:4]] == ["gum and salt", "gum and oil", "salt and oil"]
    figure = fitted_surface(response, "gum", "oil", "KIT-01/1")
    (model,) = [trace for trace in figure.traces if trace["name"] == "model"]
    said = response.predict([(model["x"][20], 0.0, model["y"][20])]).mean[0]
    assert model["z"][20][20] == pytest.approx(float(said), rel=1e-5) == pytest.approx(11.0, abs=0.05)
    assert figure.subtitle.endswith("others held at the levels of KIT-01/1")
    assert figure.footnotes[0] == "Held: salt 0 % w/w (the levels of KIT-01/1)."


def test_the_cut_through_a_cube_is_its_square():
    found = cut_outline(
        (0.0, 0.0), (2.0, 2.0), lambda at: [(x, y, 0.5) for x, y in at],
        [(a, b, c) for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)],
    )  # fmt: skip
    assert max(x for x, _ in found) == pytest.approx(1, abs=1e-4)
    assert min(y for _, y in found) == pytest.approx(-1, abs=1e-4)
    area = abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(found, found[1:] + found[:1], strict=True))) / 2
    assert area == pytest.approx(4, rel=0.01)


def test_an_outline_has_the_corners_only_and_a_line_has_none():
    assert set(hull_outline([(0, 0), (1, 0), (0, 1), (1, 1), (0.5, 0.5)], (1, 1))) == {(0, 0), (1, 0), (0, 1), (1, 1)}
    assert hull_outline([(0, 0), (1, 1), (2, 2)], (2, 2)) == []
    whole = ring([(0, 0), (1, 0), (1, 1)], [])
    assert len(whole["x"]) == 3 and whole["fill"] == "toself"


def test_the_triangle_has_each_part_in_its_own_unit_and_the_total():
    response = blend()
    figure = fitted_mixture(response)
    assert figure.subtitle.startswith("7 % w/w in all")
    texts = [note["text"] for note in figure.layout["annotations"]]
    # lower bounds 0, 0.5 and 4 leave 2.5 % free
    assert "<b>quat-one</b><br>2.5 % w/w here, 0 opposite" in texts
    assert "<b>quat-two</b><br>3 % w/w here,<br>0.5 opposite" in texts
    assert "<b>alcohol</b><br>6.5 % w/w here,<br>4 opposite" in texts
    assert {"0.625", "1.25", "1.88", "1.12", "1.75", "2.38", "4.62", "5.25", "5.88"} & set(texts)


def test_batches_and_model_lie_where_the_triangle_says():
    response = blend()
    figure = fitted_mixture(response)
    spots = {}
    for trace in named(figure, "batch "):
        for x, y, text in zip(trace["x"], trace["y"], trace["hovertext"], strict=True):
            spots[text.split(":")[0]] = (x, y)
    # KIT-02: 1.5, 1.5, 4 is 0.6, 0.4, 0 of the free 2.5: on the left side, 0.6 of the way up
    assert spots["KIT-02/1"] == pytest.approx((0.3, 0.6 * math.sqrt(3) / 2), abs=1e-9)
    (model,) = [trace for trace in figure.traces if trace["name"] == "model"]
    i, j = 30, 15
    top = model["y"][j] / (math.sqrt(3) / 2)
    right = model["x"][i] - top / 2
    levels = (2.5 * top, 0.5 + 2.5 * (1 - top - right), 4 + 2.5 * right)
    assert model["z"][j][i] == pytest.approx(float(response.predict([levels]).mean[0]), rel=1e-5)
    assert model["z"][-1][0] is None


def test_upper_bounds_cut_corners_off_the_triangle():
    (bounds,) = named(fitted_mixture(blend()), "bounds")
    # the first part ends at 1.5 of 2.5 %: no corner of the region lies higher than 0.6 of the triangle
    assert max(bounds["y"]) == pytest.approx(0.6 * math.sqrt(3) / 2, abs=1e-9)


def test_a_mixture_with_a_factor_beside_it_holds_that_factor():
    factors = [*(LevelFactor(name, MIXTURE, "%") for name in ("quat-one", "quat-two", "alcohol")),
               LevelFactor("combine rpm", PROCESS, "rpm")]  # fmt: skip
    levels = [(*parts, rpm) for rpm in (4000, 9000) for parts in BLENDS[:6]]
    values = [math.exp((9 * a + 9.5 * b + 10 * c) / 7 - 0.2 * (rpm - 6500) / 5000 + extra)
              for (a, b, c, rpm), extra in zip(levels, SCATTER, strict=True)]  # fmt: skip
    response = fitted(factors, levels, values, "linear beside linear")
    figure = fitted_mixture(response, "KIT-07/1")
    assert figure.subtitle.endswith("others held at the levels of KIT-07/1")
    assert "Held: combine rpm 9000 rpm (the levels of KIT-07/1)." in figure.footnotes
    (corner,) = [row for row in figure.table.rows if row[1:4] == ("2.5", "0.5", "4")]
    value = math.exp((9 * 2.5 + 9.5 * 0.5 + 10 * 4) / 7 - 0.1)
    assert float(corner[5].replace(" ", "")) == pytest.approx(value, rel=0.03)


def test_the_check_draws_measured_against_the_model_and_every_residual():
    response = making()
    figure = fitted_check(response)
    shown = {}
    for trace in named(figure, "measured "):
        if "hovertext" in trace:
            shown |= dict(zip(trace["hovertext"], zip(trace["x"], trace["y"], strict=True), strict=True))
    assert len(shown) == 7
    left = {}
    (bars,) = [trace for trace in figure.traces if trace["type"] == "bar"]
    left = dict(zip(bars["x"], bars["y"], strict=True))
    for batch in response.batches:
        model, measured = shown[batch.batch]
        assert measured == batch.value
        assert left[batch.batch] == pytest.approx(100 * (measured / model - 1), abs=1e-6)
    looks = {trace["marker"]["symbol"] for trace in named(figure, "measured ") if "marker" in trace}
    assert looks == {"triangle-up", "triangle-down"}
    assert any("KIT-99/1, not read at this age" in note for note in figure.footnotes)


def test_the_bars_of_the_check_are_the_interval_of_the_mean():
    response = making()
    said = response.predict([response.batches[0].levels])
    row = fitted_check(response).table.rows[0]
    assert row[4] == " to ".join(f"{float(end[0]):,.0f}".replace(",", " ") for end in (said.low, said.high))


def test_batches_kept_back_are_hollow_with_the_interval_of_one_new_batch():
    response = making(held=1)
    (kept,) = named(fitted_check(response), "kept back")
    said = response.predict([response.data.held_out[0].levels])
    assert kept["marker"]["symbol"].endswith("-open") and kept["y"] == [response.data.held_out[0].value]
    assert kept["x"][0] + kept["error_x"]["array"][0] == pytest.approx(float(said.new_high[0]))


def test_factors_mixed_with_the_day_are_said_under_every_figure():
    for figure in fitted_figures(making(days=["combine rpm"])):
        assert any("Mixed with the day of making: combine rpm" in note for note in figure.footnotes)


def test_the_figures_that_apply_are_chosen():
    assert [figure.title.split(": ")[1] for figure in fitted_figures(making())] == [
        "what does each factor do?",
        "what do two factors give together?",
        "does the model hold for its batches?",
    ]
    assert "which blend of three gives what?" in [figure.title.split(": ")[1] for figure in fitted_figures(blend())]
    assert fitted_mixture(making()) is None and fitted_surface(blend()) is None


def test_without_a_model_there_is_no_figure():
    factors = [LevelFactor("combine rpm", PROCESS, "rpm")]
    response = fitted(factors, [(6500,), (6500,)], [15000, 14000], "linear")
    assert not response.is_fitted and response.reason
    assert fitted_figures(response) == []
    assert [fitted_effects(response), fitted_check(response)] == [None, None]


def test_lines_stand_at_round_values():
    assert [nice_step(span, 6) for span in (6, 7000, 0.9, 14)] == [1, 2000, 0.2, 2.5]
    assert contour_levels([10, 16], [0, 30]) == [4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22]


def test_a_density_is_printed_as_a_cup_is_read():
    """One per cent of air is 0.01 g/mL: with two decimals every batch of a study would read alike."""
    assert [number(value, "g/mL") for value in (0.981, 0.9788)] == ["0.981", "0.979"]
    assert number(4.583, "1") == "4.58" and number(16404, "mPa.s") == "16 404"
