"""Answers as they are typed, and the papers of a panel: no sheet tells what the key tells."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from kit.bench.panel import PanelKept
from kit.bench.panel_answers import typed_answer
from kit.bench.panel_plan import planned_servings
from kit.errors import KitError
from kit.science.serving_orders import KINDS


def panel(kind: str, assessors: int = 6, **more: object) -> PanelKept:
    letters = "ABC" if kind in ("ranking", "rating") else "AB"
    names = [f"P{place:02}" for place in range(1, assessors + 1)]
    told = {"scale": (1, 5)} if kind == "rating" else {}
    return PanelKept(
        "P-1",
        "WOO",
        kind,
        "Which is smoother?",
        {letter: f"WOO-0{place}/1" for place, letter in enumerate(letters, start=1)},
        planned_servings(kind, letters, names, 7),
        7,
        Decimal("0.05"),
        **(told | more),
    )


@pytest.mark.parametrize("kind", KINDS)
def test_a_sheet_names_every_code_and_nothing_of_the_key(kind):
    kept = panel(kind)
    sheets = kept.sheets()
    assert len(sheets.parts) == 2 * len(kept.servings)
    for serving, table in zip(kept.servings, sheets.parts[::2], strict=True):
        shown = str(table)
        assert serving.assessor in table.title
        assert [row[1] for row in table.rows if row[1] != "reference"] == list(serving.codes)
        assert all(row[2] == "" for row in table.rows)
        assert "WOO-0" not in shown and not re.search(r"\b[ABC]{2,3}\b", shown)
    assert ("reference" in str(sheets)) == (kind == "duo-trio")
    for serving in kept.servings:
        assert all(f"{code} {letter}" in str(kept.key()) for code, letter in serving.letters.items())


@pytest.mark.parametrize(
    ("place", "said"), [("hair", "informed consent"), ("tress", "cut hair"), ("jar", "smell only")]
)
def test_every_sheet_carries_the_cautions_of_its_place(place, said):
    kept = panel("triangle", place=place, consent="the study director", allergens=("Allergens known: Linalool.",))
    for cautions in kept.sheets().parts[1::2]:
        text = str(cautions)
        assert said in text and "eyes" in text and "Linalool" in text and "never put on anybody" in text
    assert ("No second sample on the same half of a head" in str(kept.sheets())) == (place == "hair")


def test_in_a_duo_trio_test_the_reference_has_no_code():
    for serving in panel("duo-trio").servings:
        assert len(serving.order) == 3 and len(serving.codes) == 2
        assert serving.reference == serving.order[0]
        assert tuple(serving.letters.values()) == serving.order[1:]


def test_codes_in_order_are_read_as_text_or_as_a_list():
    kept = panel("ranking")
    one, two, three = kept.servings[0].codes
    wanted = [[one], sorted([two, three])]
    for typed in (f"{one} > {two} = {three}", f"{one},{three}={two}", [one, [two, three]], [int(one), [three, two]]):
        assert typed_answer(kept, "P01", typed) == wanted
    assert typed_answer(kept, "P01", [one, two, three]) == [[one], [two], [three]]


def test_a_choice_may_be_typed_as_a_number_and_marks_as_text():
    kept = panel("triangle")
    assert typed_answer(kept, "P01", int(kept.servings[0].codes[0])) == kept.servings[0].codes[0]
    rated = panel("rating")
    marks = dict.fromkeys(rated.servings[0].codes, "4")
    assert typed_answer(rated, "P01", marks) == marks


@pytest.mark.parametrize(
    ("kind", "typed", "code"),
    [
        ("triangle", "no difference", "panel.answer"),
        ("triangle", "", "panel.answer"),
        ("ranking", "100 > 101", "panel.answer"),
        ("ranking", 7, "panel.answer"),
        ("rating", {}, "panel.answer"),
        ("rating", "4", "panel.answer"),
    ],
)
def test_what_is_no_answer_is_refused(kind, typed, code):
    with pytest.raises(KitError) as caught:
        typed_answer(panel(kind), "P01", typed)
    assert caught.value.code == code


@pytest.mark.parametrize("mark", [0, 6, "2.5"])
def test_a_mark_off_the_scale_is_refused(mark):
    kept = panel("rating")
    with pytest.raises(KitError) as caught:
        typed_answer(kept, "P01", dict.fromkeys(kept.servings[0].codes, mark))
    assert caught.value.code == "panel.answer"


def test_how_many_would_fill_the_orders_is_said():
    assert panel("triangle", 12).balance_words == "Each of 6 serving orders is served 2 times."
    assert "12 or 18 would" in panel("triangle", 14).balance_words
    assert "evenly; 6 would" in panel("triangle", 4).balance_words
