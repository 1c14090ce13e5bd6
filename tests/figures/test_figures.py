"""What the figures of the invented linden study draw. Referees: the readings as entered, worked by hand here, and
plotly's own validation.

Viscosity = K x torque / speed with K = 4000 mPa.s rpm/% on disc 5 at 10 rpm: 400 mPa.s for each % of full scale.
"""

from __future__ import annotations

import math

import pytest

import kit
from kit.bench.methods import Method
from kit.figures.cooling import cooling_curve, cooling_minutes, cooling_points
from kit.figures.figure import Figure, series
from kit.figures.made import meant_and_made
from kit.figures.results import at_one_age, by_day, over_age
from kit.formula.files import read_formula
from kit.formula.predict import predict_ph
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
def labbook(demos):
    return demos("linden").labbook


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
        by_day(comparison, comparison.result("viscosity", "72 h")),
        cooling_curve(batches[:3]),
        meant_and_made(source.batch("LIN-03/1")),
    ]


def trace(figure: Figure, name: str) -> dict:
    (found,) = [trace for trace in figure.traces if trace["name"].startswith(name)]
    return found


def ends(drawn: dict) -> list:
    """Where marks lie on the value axis; of bars that stand on a base, their two ends."""
    if "base" not in drawn:
        return drawn["y"]
    return [*drawn["base"], *(low + height for low, height in zip(drawn["base"], drawn["y"], strict=True))]


def plain(value):
    """plotly gives the two rows of a grouped axis as tuples or arrays."""
    return value if isinstance(value, str | float | int) else list(value)


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
    assert "LIN-05/1" in flagged["hovertext"][0] and "101.5" in flagged["hovertext"][0]
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


def test_a_letter_beside_a_mark_leads_to_the_reason_under_the_figure(at_72_h):
    letters = {}
    for name in ("flagged", "not comparable"):
        drawn = trace(at_72_h, name)
        letters |= dict(zip(drawn["text"], zip(drawn["x"], drawn["y"], strict=True), strict=True))
    assert set(letters) == {"a", "b", "c"}
    told = {line[0]: line for line in at_72_h.footnotes if line[1:2] == ":"}
    assert set(told) == set(letters)
    wanted = {("LIN-05", 40600.0): "40 600", ("LIN-05", 42000.0): "42 000", ("LIN-01", 4900.0): "4900"}
    for letter, (label, value) in letters.items():
        assert told[letter].startswith(f"{letter}: {label}/1, {wanted[label, value]} mPa.s, ")
    flagged = next(letter for letter, (_, value) in letters.items() if value == 40600)
    assert "FLAGGED" in told[flagged] and "101.5" in told[flagged]
    assert at_72_h.json()["layout"]["meta"]["kit"]["footnotes"] == list(at_72_h.footnotes)


def test_each_label_says_how_many_batches_and_the_verdict_in_words(at_72_h):
    """Against 15000 to 25000: 10800 and 29600 are outside; LIN-01 and LIN-05 have no value that counts."""
    axis = at_72_h.layout["xaxis"]
    told = {label: text.split("<br>") for label, text in zip(axis["tickvals"], axis["ticktext"], strict=True)}
    assert told[CONTROL] == ["LIN-03", "LIN-06", "(control)", "n = 2", "batches", "PASS"]
    assert told["LIN-02"] == ["LIN-02", "n = 1 batch", "FAIL"]
    assert told["LIN-04"][-1] == "FAIL" and told["LIN-07"][-1] == "PASS"
    assert " ".join(told["LIN-05"]) == "LIN-05 no value 1 flagged 1 not comparable FLAGGED"
    assert " ".join(told["LIN-01"]) == "LIN-01 no value 1 not comparable NOT TESTED"


def test_the_method_line_names_the_age_and_the_spec_the_day_it_was_set_down(at_72_h):
    """As the demo was built: method of the kit, window of 4 h, the study opened on 13 April 2026."""
    assert at_72_h.subtitle == "viscosity: disc 5, 10 rpm, 60 s, 25 ± 0.5 degC, 100 mL jar, age 72 h ± 4 h"
    (words,) = at_72_h.layout["annotations"]
    assert words["text"].split("<br>") == ["spec", "15000 to 25000", "mPa.s", "at 72 h", "dated 2026-04-13"]


# The control's band: mean of LIN-03 and LIN-06 on the ln scale, SD pooled over them and the six earlier batches.
EARLIER_72_H = (44.0, 50.6, 46.8, 51.1, 43.5, 48.1)  # torque on disc 5, % of full scale, as entered


def pooled_sd() -> float:
    """Sum of squares about each version's mean, over 5 + 1 degrees of freedom."""
    squares = 0.0
    for torques in (EARLIER_72_H, (47.5, 50.2)):
        logs = [math.log(torque) for torque in torques]
        middle = math.fsum(logs) / len(logs)
        squares += math.fsum((log - middle) ** 2 for log in logs)
    return math.sqrt(squares / 6)


def test_the_band_of_the_control_is_its_mean_less_and_plus_the_pooled_sd(at_72_h):
    (band,) = [shape for shape in at_72_h.layout["shapes"] if shape.get("name") == "control ± pooled SD"]
    middle = math.sqrt(19000 * 20080)
    assert band["y0"] == pytest.approx(middle * math.exp(-pooled_sd()), rel=1e-9)
    assert band["y1"] == pytest.approx(middle * math.exp(pooled_sd()), rel=1e-9)
    assert 0.05 < pooled_sd() < 0.08
    assert band["showlegend"] is True
    (words,) = [line for line in at_72_h.footnotes if line.startswith("Grey band")]
    assert "control LIN-03, LIN-06, mean ± 1 pooled SD of batches (6 df)" in words


def test_without_a_version_made_twice_there_is_no_band_and_it_is_said(labbook, tmp_path):
    formula = kit.open_source(labbook).trial("LIN-03").formula
    with kit.new_labbook(tmp_path / "one.labbook") as book:
        book.new_study("ONE", question="?", control="ONE-01", spec=formula.spec)
        batch = book.start_batch(kit.plan_batch(formula, "100 g"), trial="ONE-01")
        batch.finish(at="2026-03-02T12:00+01:00")
        batch.read_ph("4.60", temp="25 degC", at="2026-03-03T12:00+01:00")
        compared = kit.compare(book, ["ONE-01"])
    figure = at_one_age(compared, compared.result("pH", "24 h"))
    assert [shape for shape in figure.layout["shapes"] if shape.get("name")] == []
    assert any("no version was made twice" in line or "no value that counts" in line for line in figure.footnotes)


# ---------------------------------------------------------------- day by day


def test_every_batch_stands_on_its_day_and_a_day_without_a_control_is_marked(comparison):
    """Days as entered: LIN-01 to 03 on 13 April, LIN-04 to 06 on the 14th, LIN-07 alone on the 20th."""
    figure = by_day(comparison, comparison.result("pH", "24 h"))
    placed = {
        batch: (trace["name"], day) for trace in figure.traces[1:] for day, batch in zip(*trace["x"], strict=True)
    }
    assert placed == {
        "LIN-03/1": (f"{CONTROL} (control)", "2026-04-13"),
        "LIN-06/1": (f"{CONTROL} (control)", "2026-04-14"),
        "LIN-01/1": ("LIN-01", "2026-04-13"),
        "LIN-02/1": ("LIN-02", "2026-04-13"),
        "LIN-04/1": ("LIN-04", "2026-04-14"),
        "LIN-05/1": ("LIN-05", "2026-04-14"),
        "LIN-07/1": ("LIN-07", "2026-04-20 *"),
    }
    assert any(line.startswith("* ") and "2026-04-20" in line for line in figure.footnotes)
    assert {row[4] for row in figure.table.rows if row[0] == "2026-04-20"} == {
        "none: the day is not separated from the change"
    }
    looks = [(trace["marker"]["color"], trace["marker"]["symbol"]) for trace in figure.traces[1:]]
    assert len(set(looks)) == len(looks)


def test_days_stand_in_order_also_when_the_control_was_made_last(labbook):
    """With LIN-07 of 20 April for a control, the 13th comes first: an axis takes the days as they come."""
    compared = kit.compare(labbook, ["LIN-01", "LIN-04"], control="LIN-07")
    figure = by_day(compared, compared.result("pH", "24 h"))
    order = list(dict.fromkeys(day for trace in figure.traces for day in trace["x"][0]))
    assert order == ["2026-04-13 *", "2026-04-14 *", "2026-04-20"]
    assert {value for value in figure.traces[0]["y"]} == {None}


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
    drawn = {trace["name"]: trace for trace in figure.traces if trace["mode"] == "lines+markers"}
    control = {"LIN-03/1", "LIN-06/1"}
    assert set(drawn) == {f"{batch} (control)" if batch in control else batch for batch in torques}
    lines = {name.split(" ")[0]: line for name, line in drawn.items()}
    for batch, values in torques.items():
        assert lines[batch]["y"] == pytest.approx([400 * torque for torque in values])
        assert lines[batch]["x"] == pytest.approx([1, 24, 72, 168][: len(values)], rel=0.05)
        assert lines[batch]["x"] == sorted(lines[batch]["x"])
    assert (
        len({(line["line"]["color"], line["line"]["dash"], line["marker"]["symbol"]) for line in lines.values()}) == 6
    )


def test_a_version_looks_the_same_in_every_figure_and_its_batches_differ_in_their_line(comparison):
    """Of LIN-01 no viscosity is comparable, so that its line is missing in one figure and not in the other."""
    ph, viscosity = ({one["name"]: one for one in over_age(comparison, name).traces} for name in ("pH", "viscosity"))
    assert "LIN-01/1" in ph and "LIN-01/1" not in viscosity
    both = [name for name in ph if name.startswith("LIN") and name in viscosity]
    assert len(both) > 5
    for name in both:
        assert ph[name]["marker"] == viscosity[name]["marker"]
        assert ph[name]["line"] == viscosity[name]["line"]
    first, second = ph["LIN-03/1 (control)"], ph["LIN-06/1 (control)"]
    assert (first["marker"], first["line"]["color"]) == (second["marker"], second["line"]["color"])
    assert first["line"]["dash"] != second["line"]["dash"]
    assert len({ph[name]["marker"]["symbol"] for name in ph if name.startswith("LIN")}) == 6  # versions


def test_left_out_readings_stand_beside_the_lines_and_on_none(comparison):
    figure = over_age(comparison, "viscosity")
    flagged, grey = trace(figure, "flagged"), trace(figure, "not comparable")
    assert flagged["y"] == [40600.0]
    assert sorted(grey["y"]) == [2600.0, 4200.0, 4900.0, 5000.0, 42000.0, 43000.0]
    assert "lines" not in flagged["mode"] + grey["mode"]
    assert flagged["marker"]["symbol"] == "circle-open" and grey["marker"]["color"] == GREY
    assert figure.json()["layout"]["xaxis"]["type"] == "log"
    assert "logarithmic" in figure.json()["layout"]["xaxis"]["title"]["text"]


def test_fresh_readings_lie_on_the_shaded_part_of_the_time_axis_and_later_ones_beside_it(comparison):
    """Readings within the hour are fresh, from 24 h on they are not. The axis runs over log10 of the ages."""
    figure = over_age(comparison, "viscosity")
    low, high = figure.layout["xaxis"]["range"]
    (ground,) = [shape for shape in figure.layout["shapes"] if shape.get("yref") == "paper" and shape["type"] == "rect"]
    assert (ground["xref"], ground["x0"], ground["y0"], ground["y1"]) == ("paper", 0, 0, 1)
    places = {}
    for drawn in figure.traces:
        for age in drawn["x"]:
            places[age] = (math.log10(age) - low) / (high - low)
    assert all(0 < place < 1 for place in places.values())
    fresh = {age for age, place in places.items() if place < ground["x1"]}
    assert fresh == {age for age in places if age < 2} and len(fresh) >= 2
    assert any(note["text"] == "fresh, not comparable<br>with later ages" for note in figure.layout["annotations"])


def test_a_line_never_mixes_two_methods(tmp_path, labbook):
    """The second method reads at 20 rpm; on a thinning gel that is another number: shown grey, joined by no line."""
    formula = kit.open_source(labbook).trial("LIN-03").formula
    other = {
        "name": "viscosity at 20", "property": "viscosity", "unit": "mPa.s", "rpm": "20", "spindle": "disc 5",
        "temp": {"value": "25", "tolerance": "0.5", "unit": "degC"}, "needs": ["rpm", "spindle"],
    }  # fmt: skip
    with kit.new_labbook(tmp_path / "two.labbook") as book:
        book.new_study("TWO", question="?", control="TWO-01", spec=formula.spec, methods=[Method.read(other)])
        book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
        batch = book.start_batch(kit.plan_batch(formula, "100 g"), trial="TWO-01")
        batch.finish(at="2026-03-02T12:00+01:00")
        told = {"spindle": "disc 5", "instrument": "VIS-1", "temp": "25 degC", "reading_time": "60 s"}
        told |= {"container": "100 mL jar"}
        for day, first, second in (("03", 16000, 9000), ("05", 19000, 11000)):
            at = f"2026-03-{day}T12:00+01:00"
            batch.read_viscosity(f"{first} mPa.s", torque_pct=first / 400, rpm=10, method="viscosity", at=at, **told)
            batch.read_viscosity(
                f"{second} mPa.s", torque_pct=second / 200, rpm=20, method="viscosity at 20", at=at, **told
            )
        compared = kit.compare(book, ["TWO-01"])
    figure = over_age(compared, "viscosity")
    (line,) = [trace for trace in figure.traces if trace["mode"] == "lines+markers"]
    assert line["y"] == [16000.0, 19000.0]
    grey = trace(figure, "not comparable")
    assert sorted(grey["y"]) == [9000.0, 11000.0]
    assert all("viscosity at 20" in words for words in grey["hovertext"])


def test_a_property_nobody_read_draws_nothing(comparison):
    assert over_age(comparison, "density") is None


# ---------------------------------------------------------------- cooling, and meant against made


def test_the_cooling_curve_holds_the_log_and_the_addition(source):
    """As entered: 76.3 after the pour, then the log; phase C at 38.0, 45 min after combining (minutes 101 and 56)."""
    batch = source.batch("LIN-03/1")
    times = (0, 5, 9, 13, 17, 21, 25, 29, 33, 37, 41, 45)
    temps = (76.3, 75.0, 69.0, 63.5, 59.0, 55.0, 51.0, 48.0, 45.0, 42.5, 40.0, 38.0)
    log = list(zip(times, temps, strict=True))
    assert cooling_points(batch) == log
    figure = cooling_curve((batch,))
    line, addition = figure.traces
    assert points(line) == log
    assert (points(addition), addition["text"]) == ([(45.0, 38.0)], ["phase C"])
    assert cooling_minutes(batch) == "41 min to 40 °C or below"
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
            for axis in (trace["x"], ends(trace))
            for value in axis
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
        drawn = [value for trace in figure.traces for axis in ("x", "y") for value in trace[axis]]
        flat = [one for value in drawn for one in (value if isinstance(value, list) else [value])]
        labels = {value.removesuffix(" *") for value in flat if type(value) is str}
        assert labels <= cells


def test_plotly_accepts_every_figure_as_it_stands(figures):
    """plotly raises ValueError for a property or a value that is none of its own; nothing may be lost on the way."""
    for figure in figures:
        made = figure.plotly()
        assert len(made.data) == len(figure.traces)
        assert [[*map(plain, drawn.x)] for drawn in made.data] == [trace["x"] for trace in figure.json()["data"]]
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


# ---------------------------------------------------------------- a limit on one side, many versions, one age only


@pytest.fixture(scope="module")
def calendula(demos):
    """The invented calendula study: wet-combing force of at most 35 %, read at one age only."""
    made = demos("calendula")
    return kit.compare(made.labbook, made.compared)


def test_a_limit_on_one_side_is_shaded_to_the_end_of_the_axis(calendula):
    """At most 35 %: shaded from the lower end of the axis up to 35, with a line at 35 and none elsewhere."""
    result = calendula.result("wet-combing force", "7 d")
    for figure in (at_one_age(calendula, result), by_day(calendula, result)):
        shapes = figure.layout["shapes"]
        (area,) = [shape for shape in shapes if shape.get("fillcolor") == TOKENS["band"]]
        assert (area["y0"], area["y1"]) == (figure.layout["yaxis"]["range"][0], 35.0)
        assert [shape["y0"] for shape in shapes if shape["type"] == "line"] == [35.0]


def test_labels_of_versions_are_no_wider_than_their_share_of_the_axis(calendula, at_72_h):
    """The axis has about 450 pixels and a letter 6.2: six versions have 12 letters a line each, but for whole words."""
    result = calendula.result("wet-combing force", "7 d")
    assert len(result.arms) == 6
    for figure in (at_one_age(calendula, result), at_72_h):
        lines = [line for label in figure.layout["xaxis"]["ticktext"] for line in label.split("<br>")]
        assert max(map(len, lines)) <= 12
    control = at_one_age(calendula, result).layout["xaxis"]["ticktext"][0]
    assert control.split("<br>") == ["CAL-04", "CAL-07", "(control)", "n = 2", "batches", "6 readings", "PASS"]


def test_a_figure_fits_a_notebook_in_a_window_of_820_pixels(at_72_h):
    """652 pixels are left for an output there, measured in JupyterLab 4 beside its two bars of symbols."""
    assert at_72_h.json()["layout"]["width"] <= 652


# ---------------------------------------------------------------- the predicted pH beside the readings


def test_the_band_of_the_predicted_ph_stands_beside_the_readings_of_each_version(comparison):
    """A box an arm split at the prediction, the readings untouched; the same numbers as `predict_ph` of each batch."""
    figure = at_one_age(comparison, comparison.result("pH", "24 h"))
    boxes = trace(figure, "predicted")
    halves = list(zip(boxes["x"], boxes["base"], ends(boxes)[len(boxes["base"]) :], strict=True))
    assert [label for label, _, _ in halves[::2]] == [arm.label for arm in comparison.arms]
    for arm, lower, upper in zip(comparison.arms, halves[::2], halves[1::2], strict=True):
        found = [batch.made.composition for batch in arm.batches]
        told = [predict_ph(composition, age_h=24.0) for composition in found]
        assert lower[1] == pytest.approx(min(float(one.low) for one in told), abs=1e-9)
        assert upper[2] == pytest.approx(max(float(one.high) for one in told), abs=1e-9)
        assert lower[2] == pytest.approx(upper[1], abs=1e-9)  # the line between them is the prediction
        assert lower[1] < lower[2] < upper[2]
    assert boxes["offset"] + boxes["width"] < -0.2  # left of the readings, which stand at 0
    assert trace(figure, "batch mean")["y"] == [
        value.mean for arm in comparison.result("pH", "24 h").arms for value in arm.batch_values
    ]
    # Outlines and a line, so that it is read in a grey print.
    assert boxes["marker"]["line"]["width"] >= 1
    assert any("Predicted, not tested." in note for note in figure.footnotes)


def test_a_property_without_a_prediction_has_no_boxes(comparison, at_72_h):
    assert not [one for one in at_72_h.traces if one["name"].startswith("predicted")]
    assert not any("predicted" in note.lower() for note in at_72_h.footnotes)


def test_an_axis_with_boxes_holds_them_whole(comparison):
    figure = at_one_age(comparison, comparison.result("pH", "24 h"))
    low, high = figure.layout["yaxis"]["range"]
    found = ends(trace(figure, "predicted"))
    assert low < min(found) and max(found) < high
