"""What a template declares and what it may be given.

The referees are Python itself (`ast`, `json`) and papermill's own translator, which is what would silently turn an odd
value into text if it were let through.
"""

from __future__ import annotations

import ast
import datetime
import json
from decimal import Decimal
from pathlib import Path

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import ParameterError
from kit.writeup.injection import with_parameters
from kit.writeup.parameters import check_parameters, read_declaration
from kit.writeup.values import TYPES, misfit

PARAMETERS = [
    {"name": "source", "type": "path", "required": True, "help": "lab book or snapshot"},
    {"name": "trial", "type": "text", "required": True},
    {"name": "trials", "type": "list of text"},
    {"name": "ages", "type": "list of number"},
    {"name": "days", "type": "list of integer"},
    {"name": "target_ph", "type": "number"},
    {"name": "packs", "type": "integer"},
    {"name": "label", "type": "boolean"},
    {"name": "market", "type": "choice", "choices": ["EU", "US", 3]},
]
CELL = (
    'source = "book"\ntrial = "LIN-01"\ntrials = None\nages = [24]\ndays = None\ntarget_ph = 4.6\npacks = None\n'
    'label = False\nmarket = "EU"'
)
LEAST = {"source": "snapshot.json", "trial": "LIN-03"}


@pytest.fixture
def template(toys):
    def build(parameters=PARAMETERS, cell=CELL, *more, **declared):
        return toys.notebook([toys.code(cell, "parameters"), *more], parameters, **declared)

    return build


@pytest.fixture
def declaration(template):
    return read_declaration(template())


def refusal(call, *arguments, **options) -> ParameterError:
    with pytest.raises(ParameterError) as caught:
        call(*arguments, **options)
    return caught.value


def test_a_declaration_is_read_in_its_order_with_the_values_of_the_cell(declaration):
    assert declaration.names == tuple(one["name"] for one in PARAMETERS)
    assert declaration.named("target_ph").default == 4.6
    assert declaration.named("market").choices == ("EU", "US", 3)
    assert [one.name for one in declaration.parameters if one.required] == ["source", "trial"]


def test_sources_may_be_lists_of_lines_as_notebook_files_have_them(template):
    notebook = template()
    notebook["cells"][0]["source"] = [line + "\n" for line in CELL.split("\n")]
    assert read_declaration(notebook).named("ages").default == [24]


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        (CELL + "\ntwice = target_ph * 2", "template.parameter_derived"),  # would keep the template's own 9.2
        (CELL.replace("4.6", "2 + 2.6"), "template.parameter_derived"),
        (CELL + "\nimport os", "template.parameter_derived"),
        (CELL + "\ntarget_ph = 5.0", "template.parameter_derived"),
        (CELL.replace("target_ph = 4.6", "target_ph == 4.6"), "template.parameter_derived"),
        (CELL.replace("target_ph = 4.6", "target_ph = = 4.6"), "template.parameter_derived"),
        (CELL.replace("target_ph = 4.6", "target_ph, x = 4.6, 1"), "template.parameter_derived"),
        (CELL.replace("target_ph = 4.6\n", ""), "template.parameter_unassigned"),
        (CELL + "\nmore = 1", "template.parameter_undeclared"),
        (CELL.replace("4.6", '"4.6"'), "template.parameter_type"),
        (CELL.replace('"EU"', '"Mars"'), "template.parameter_type"),
        (CELL.replace("[24]", "(24,)"), "template.parameter_type"),
    ],
)
def test_a_parameters_cell_holds_declared_plain_values_only(template, cell, code):
    assert refusal(read_declaration, template(cell=cell)).code == code


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"name": "2nd"}, "template.parameter_name"),
        ({"name": "class"}, "template.parameter_name"),
        ({"name": "x = 1; import os; y"}, "template.parameter_name"),
        ({"name": 5}, "template.parameter_name"),
        ({"type": "float"}, "template.declaration"),
        ({"requried": True}, "template.declaration"),
        ({"required": "yes"}, "template.declaration"),
        ({"type": "choice"}, "template.declaration"),
        ({"choices": ["a"]}, "template.declaration"),
        ({"name": "source"}, "template.declaration"),
    ],
)
def test_a_faulty_declaration_is_refused(template, change, code):
    faulty = [*PARAMETERS[:5], {**PARAMETERS[5], **change}, *PARAMETERS[6:]]
    assert refusal(read_declaration, template(faulty)).code == code


def test_source_comes_first_is_a_path_and_is_required(template):
    for faulty in (
        [PARAMETERS[1], PARAMETERS[0], *PARAMETERS[2:]],
        [{**PARAMETERS[0], "type": "text"}, *PARAMETERS[1:]],
        [{**PARAMETERS[0], "required": False}, *PARAMETERS[1:]],
    ):
        assert refusal(read_declaration, template(faulty)).code == "template.declaration"


def test_exactly_one_code_cell_is_tagged(template, toys):
    untagged = template()
    untagged["cells"][0]["metadata"] = {}
    assert refusal(read_declaration, untagged).code == "template.no_parameters_cell"
    two = template(PARAMETERS, CELL, toys.code('trial = "LIN-09"', "parameters"))
    error = refusal(read_declaration, two)
    assert error.code == "template.two_parameters_cells" and "cells 1, 2" in error.what
    text = template()
    text["cells"][0]["cell_type"] = "markdown"
    assert refusal(read_declaration, text).code == "template.no_parameters_cell"


def test_a_notebook_without_a_declaration_says_what_to_add(template):
    bare = template()
    del bare["metadata"]["kit"]
    error = refusal(read_declaration, bare)
    assert error.code == "template.no_declaration" and '"parameters"' in error.mend
    assert refusal(read_declaration, template(title=" ")).code == "template.declaration"
    assert refusal(read_declaration, template(parameters=[])).code == "template.declaration"


@pytest.mark.parametrize(
    "cell",
    ["trial = 'other'", "for trial in trials:\n    pass", "import json as trial", "def trial():\n    pass",
     "with open('x') as trial:\n    pass", "del trial", "%time\ntrial += 'x'", "if (trial := 3):\n    pass",
     "try:\n    pass\nexcept OSError as trial:\n    pass"],
)  # fmt: skip
def test_a_later_cell_that_would_change_a_parameter_is_refused(template, toys, cell):
    error = refusal(read_declaration, template(PARAMETERS, CELL, toys.code("1 + 1"), toys.code(cell)))
    assert (
        error.code == "template.parameter_overwritten" and error.what.startswith("Cell 3 ") and '"trial"' in error.what
    )


@pytest.mark.parametrize(
    "cell",
    ["kept = [trial for trial in trials or []]", "def f(trial):\n    trial = 1", "f = lambda trial: trial",
     "class A:\n    trial = 1", "print(trial)", "!ls trial = x", "x = {trial: 1}"],
)  # fmt: skip
def test_a_cell_that_only_uses_the_name_is_fine(template, toys, cell):
    assert read_declaration(template(PARAMETERS, CELL, toys.code(cell))).names


def test_what_is_left_out_keeps_the_templates_value_and_the_order_is_declared(declaration):
    checked = check_parameters(declaration, {"trial": "LIN-03", "packs": 24, "source": "snapshot.json"})
    assert list(checked) == list(declaration.names)
    assert checked == {"source": "snapshot.json", "trial": "LIN-03", "trials": None, "ages": [24], "days": None,
                       "target_ph": 4.6, "packs": 24, "label": False, "market": "EU"}  # fmt: skip


def test_an_unknown_name_is_refused_with_the_nearest(declaration):
    error = refusal(check_parameters, declaration, {**LEAST, "target_pH": 4.5})
    assert error.code == "template.parameter_unknown"
    assert error.mend == 'perhaps "target_ph"' and "packs" in error.allowed


def test_a_missing_or_empty_required_value_is_refused(declaration):
    assert refusal(check_parameters, declaration, {"source": "s"}).code == "template.parameter_missing"
    error = refusal(check_parameters, declaration, {**LEAST, "source": None})
    assert error.code == "template.parameter_missing" and "lab book or snapshot" in error.mend
    assert check_parameters(declaration, {**LEAST, "market": None})["market"] is None


# What papermill would have made of each is in its own words: a quoted text.
FOREIGN = [
    ("target_ph", Decimal("4.60")),
    ("target_ph", numpy.int64(3)),
    ("target_ph", numpy.array([4.6])),
    ("target_ph", complex(1, 2)),
    ("trial", Path("LIN-03")),
    ("trial", b"LIN-03"),
    ("trial", datetime.date(2026, 3, 2)),
    ("trials", ("LIN-03", "LIN-04")),
    ("trials", {"LIN-03"}),
    ("ages", [Decimal("24")]),
]


@pytest.mark.parametrize(("name", "value"), FOREIGN, ids=lambda value: type(value).__name__)
def test_what_json_cannot_carry_is_refused_and_papermill_would_have_made_it_text(declaration, name, value):
    from papermill.translators import PythonTranslator

    translated = PythonTranslator.translate(value)
    assert "'" in translated or '"' in translated  # the reason for the rule
    error = refusal(check_parameters, declaration, {**LEAST, name: value})
    assert error.code == "template.parameter_type"
    assert f'"{name}"' in error.what and error.allowed
    assert type(value).__name__.removesuffix("Path") in error.what or "Decimal" in error.what


@pytest.mark.parametrize("value", [float("nan"), float("inf"), numpy.float64(4.6), True, "4.6", [4.6]])
def test_a_number_is_a_plain_finite_number(declaration, value):
    assert refusal(check_parameters, declaration, {**LEAST, "target_ph": value}).code == "template.parameter_type"


@pytest.mark.parametrize(
    ("name", "value"),
    [("packs", 24.0), ("packs", True), ("label", 1), ("trial", 3), ("source", ""), ("trials", "LIN-03"),
     ("trials", [1]), ("days", [1.5]), ("ages", [[1]]), ("trials", [None])],
)  # fmt: skip
def test_a_wrong_type_is_refused_with_what_is_allowed(declaration, name, value):
    error = refusal(check_parameters, declaration, {**LEAST, name: value})
    assert error.code == "template.parameter_type" and error.allowed == TYPES[declaration.named(name).type].allowed


def test_a_choice_outside_the_list_offers_the_nearest(declaration):
    error = refusal(check_parameters, declaration, {**LEAST, "market": "Eu"})
    assert error.code == "template.parameter_choice" and error.allowed == "EU, US, 3" and "EU" in error.mend
    assert refusal(check_parameters, declaration, {**LEAST, "market": 3.0}).code == "template.parameter_choice"


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [("target_ph", "4.6", 4.6), ("target_ph", "5", 5), ("packs", "24", 24), ("label", "yes", True),
     ("label", "False", False),
     ("trials", "LIN-03, LIN-04", ["LIN-03", "LIN-04"]), ("trials", '["a, b"]', ["a, b"]), ("ages", "1,24", [1, 24]),
     ("market", "3", 3), ("market", "US", "US"), ("trial", "5", "5"), ("days", "7", [7])],
)  # fmt: skip
def test_text_from_the_command_line_becomes_the_declared_type(declaration, name, text, value):
    checked = check_parameters(declaration, {**LEAST, name: text}, from_text=True)[name]
    assert checked == value and type(checked) is type(value)


@pytest.mark.parametrize(
    ("name", "text"),
    [("target_ph", "4,6"), ("target_ph", "nan"), ("target_ph", "about 5"), ("packs", "24.0"), ("label", "perhaps"),
     ("market", "Mars"), ("ages", "[1, \"a\"]"), ("ages", "[1"), ("packs", "")],
)  # fmt: skip
def test_text_that_is_not_the_type_is_refused(declaration, name, text):
    error = refusal(check_parameters, declaration, {**LEAST, name: text}, from_text=True)
    assert error.code in ("template.parameter_type", "template.parameter_choice")
    assert text != "4,6" or "point" in error.mend


def test_a_path_object_is_taken_for_a_path(declaration):
    assert check_parameters(declaration, {**LEAST, "source": Path("a") / "b"})["source"] == str(Path("a") / "b")


def test_the_callers_list_is_not_shared(declaration):
    trials = ["LIN-03"]
    checked = check_parameters(declaration, {**LEAST, "trials": trials})
    trials.append("LIN-04")
    assert checked["trials"] == ["LIN-03"]


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=5,
)


@given(value=JSON_VALUES, type_name=st.sampled_from(sorted(set(TYPES) - {"choice"})))
def test_a_value_that_fits_survives_json_and_the_injected_line(value, type_name):
    if misfit(value, type_name):
        return
    assert json.loads(json.dumps(value)) == value
    notebook = {"cells": [{"cell_type": "code", "source": "v = None"}], "metadata": {}}
    declared = type("Declared", (), {"cell": 0})
    line = with_parameters(notebook, declared, {"v": value})["cells"][1]["source"].removeprefix("# Parameters\n")
    (statement,) = ast.parse(line).body  # one line of code, whatever is in the text
    assert ast.literal_eval(statement.value) == value
