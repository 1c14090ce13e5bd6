"""Errors a formulator can act on: one paragraph, what, where, what is allowed, how to mend it, a code."""

from __future__ import annotations

import pickle

import pytest

import kit
from kit import errors
from kit.errors import KitError, UnitError
from kit.formula.rules import review_formula
from kit.units import read

CHILDREN = [item for item in vars(errors).values() if isinstance(item, type) and issubclass(item, KitError)]

# what the reader typed, the code, what the paragraph must hold. The calls are the reader's own.
BAD = [
    (
        lambda formula: formula.change({"cetearil alcohol": "6 %"}),
        "material.unknown",
        ["cetearil alcohol", "cetearyl-alcohol"],
    ),
    (
        lambda formula: formula.change({"citric acid": "0.06 %"}),
        "material.ambiguous",
        ["citric-acid-monohydrate", "citric-acid-10-solution"],
    ),
    (lambda formula: formula.change({"glycerin": "3,500 %"}), "units.ambiguous_comma", ["3500", "3.500", "glycerin"]),
    (lambda formula: formula.change({"glycerin": "12 g"}), "units.wrong_kind", ["12 g", "6.00 %"]),
    (lambda formula: formula.phase("Z"), "formula.phase", ["A, B, C"]),
    (lambda formula: read("1,234 g", "g", where="weigh()"), "units.ambiguous_comma", ["1234", "1.234", "weigh()"]),
    (lambda formula: read("20.04", "g", where="weigh()"), "units.missing", ["20.04", '"250 g"']),
    (lambda formula: read("20.04 gm", "g", where="weigh()"), "units.unknown", ["gm", '"250 g"']),
    (
        lambda formula: kit.load_formula("no such folder/linden.toml"),
        "formula.file_missing",
        ["linden.toml", "no such folder"],
    ),
    (lambda formula: kit.load_library("no such folder"), "material.file", ["no such folder"]),
]


@pytest.mark.parametrize(("call", "code", "said"), BAD, ids=[f"{row[1]} {index}" for index, row in enumerate(BAD)])
def test_bad_input_gives_the_paragraph_the_code_and_the_cure(example, call, code, said):
    with pytest.raises(KitError) as caught:
        call(example("linden"))
    problem = caught.value
    assert problem.code == code
    assert problem.mend
    assert str(problem).endswith(f"[{code}]")
    assert "\n" not in str(problem)
    for words in said:
        assert words in str(problem)


def test_two_qs_lines_are_an_error_for_who_needs_a_composition_and_a_finding_for_who_asks_for_a_review(example):
    formula = example("linden", ('"glycerin", pct = "3.00"', '"glycerin", qs = true'))
    with pytest.raises(KitError) as caught:
        formula.composition()
    assert caught.value.code == "formula.qs_two"
    assert "glycerin" in str(caught.value)
    assert review_formula(formula).codes == ("formula.qs_two",)
    assert "q.s." in str(formula)


@pytest.mark.parametrize("child", CHILDREN)
def test_every_kind_of_error_has_a_code_of_its_own_and_survives_a_worker(child):
    problem = child("it broke", where="here", allowed="that", mend="do this")
    assert str(problem) == f"it broke. Where: here. Allowed: that. To mend: do this. [{child.default_code}]"
    again = pickle.loads(pickle.dumps(problem))
    assert (type(again), str(again), again.mend) == (child, str(problem), "do this")
    assert [item.default_code for item in CHILDREN].count(child.default_code) == 1


def test_a_notebook_shows_the_paragraph_and_no_traceback():
    try:
        read("20.04", "g", where="weigh()")
    except UnitError as problem:
        shown = problem._render_traceback_()
    assert shown == [
        "UnitError: '20.04' has no unit. Where: weigh(). To mend: write for example \"250 g\". [units.missing]"
    ]
