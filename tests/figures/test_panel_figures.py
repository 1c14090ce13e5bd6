"""Figures of panels and tresses: every number in a table, shapes beside colours, nothing before the last answer."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from kit.bench.panel import PanelAnswer, PanelKept
from kit.bench.panel_plan import planned_servings
from kit.figures.panel import panel_figure, tress_residuals
from kit.science.combing import Tress, against, treatments
from kit.trials.combing import Combing
from kit.trials.panel import evaluated


def result(kind: str, answered: int = 12, **more: object):
    letters = "ABCD" if kind == "ranking" else "AB"
    samples = {letter: f"WOO-0{place}/1" for place, letter in enumerate(letters, start=1)}
    servings = planned_servings(kind, letters, [f"P{place:02}" for place in range(1, 13)], 7)

    def said(serving) -> object:
        codes = sorted(serving.letters, key=lambda code: serving.letters[code])
        if kind == "ranking":
            return [[code] for code in codes]
        if kind == "rating":
            return {code: str(5 - place) for place, code in enumerate(codes)}
        return codes[0]

    answers = tuple(
        PanelAnswer(place, serving.assessor, said(serving), "") for place, serving in enumerate(servings[:answered], 2)
    )
    told = {"scale": (1, 5)} if kind == "rating" else {}
    return evaluated(
        PanelKept("P-1", "WOO", kind, "Which <i>?", samples, servings, 7, Decimal("0.05"), answers=answers, **told)
    )


def combed() -> Combing:
    found = treatments(
        [Tress(f"{name}{place}", name, share) for name, row in {"WOO-01/1": (41, 47, 50), "WOO-02/1": (30,)}.items()
         for place, share in enumerate(row)]
    )  # fmt: skip
    return Combing("WOO", found, against(found, "WOO-01/1"), ())


def test_right_answers_stand_beside_the_number_needed():
    """Preference of 12: all for A, 10 needed, 6 by guessing."""
    figure = panel_figure(result("preference"))
    assert [row[2] for row in figure.table.rows] == ["6", "10", "12"]
    assert {trace["x"][0] for trace in figure.traces} == {6, 10, 12}
    assert "12 of 12" in figure.summary and "10 needed" in figure.summary


def test_rank_sums_carry_half_the_least_difference():
    """12, 24, 36 and 48; 12.396 / 2 = 6.2."""
    figure = panel_figure(result("ranking"))
    assert [row[1:] for row in figure.table.rows] == [
        ("12", "5.8", "18.2"),
        ("24", "17.8", "30.2"),
        ("36", "29.8", "42.2"),
        ("48", "41.8", "54.2"),
    ]
    assert figure.traces[0]["error_x"]["value"] == pytest.approx(6.198, abs=1e-3)


def test_tresses_are_ticks_and_the_batch_is_the_mark():
    figure = tress_residuals(combed())
    means, ticks = figure.traces
    assert ticks["x"] == [41, 47, 50, 30] and len(means["x"]) == 2
    assert means["error_x"]["array"][1] is None  # one tress: no interval
    assert figure.table.rows[1][2:4] == ("–", "–")
    assert "WOO-01/1 46 %" in figure.summary


def test_no_figure_before_the_last_answer_nor_of_two_marks():
    assert panel_figure(result("preference", answered=11)) is None
    assert panel_figure(result("rating")) is None
    assert tress_residuals(Combing("WOO", (), (), ())) is None


@pytest.mark.parametrize("figure", [panel_figure(result("preference")), tress_residuals(combed())])
def test_marks_differ_in_shape_and_typed_text_is_no_markup(figure):
    assert len({trace["marker"]["symbol"] for trace in figure.traces}) == len(figure.traces)
    assert figure.summary.endswith(".") and figure.table.rows
    drawn = json.dumps(figure.json()["layout"]["title"])
    assert "<i>" not in drawn
