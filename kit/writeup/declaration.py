"""What a template says about itself: its name, its question and its typed parameters.

The declaration stands in the notebook's metadata under `kit`, the values in the one cell tagged `parameters`:

    "kit": {"template": "trial_writeup", "title": "Trial write-up", "question": "What does a stranger need?",
            "parameters": [{"name": "source", "type": "path", "required": true, "help": "lab book or snapshot"},
                           {"name": "trial", "type": "text", "required": true, "help": "such as LIN-03"}]}

so that a lab's own template is read in the same way as the kit's.
"""

from __future__ import annotations

import keyword
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from kit.errors import ParameterError
from kit.writeup.canonical import INJECTED_TAG
from kit.writeup.cells import (
    DerivedValueError,
    bound_names,
    cells_tagged,
    literal_assignments,
    source_of,
    tags_of,
)
from kit.writeup.values import TYPES, misfit

REPORT, SHEET = "report", "sheet"  # a sheet is set small, so that it prints on one page
LAYOUTS = (REPORT, SHEET)
_PARAMETER_KEYS = {"name", "type", "required", "help", "choices"}


@dataclass(frozen=True)
class Parameter:
    """One declared parameter; `default` is the literal in the template's own cell."""

    name: str
    type: str
    required: bool
    help: str
    choices: tuple[str | int | float, ...]
    default: Any


@dataclass(frozen=True)
class Declaration:
    """A template's word about itself.

    `cell` is the position, from 0, of its parameters cell; `layout` is one of `LAYOUTS`.
    """

    template: str
    title: str
    question: str
    parameters: tuple[Parameter, ...]
    cell: int
    layout: str = REPORT

    def named(self, name: str) -> Parameter | None:
        """The parameter of that name, or None."""
        return next((one for one in self.parameters if one.name == name), None)

    @property
    def names(self) -> tuple[str, ...]:
        """Parameter names in the declared order."""
        return tuple(one.name for one in self.parameters)


def read_declaration(notebook: Mapping[str, Any]) -> Declaration:
    """Read and check what a template declares; nothing of it is run.

    Parameters
    ----------
    notebook : mapping   The template as JSON text gives it, or a NotebookNode.

    Returns
    -------
    Declaration   Frozen; `source` is its first parameter.

    Raises
    ------
    ParameterError   Codes `template.no_declaration`, `.declaration`, `.parameter_name`, `.no_parameters_cell`,
                     `.two_parameters_cells`, `.parameter_derived`, `.parameter_undeclared`, `.parameter_unassigned`,
                     `.parameter_type`, `.parameter_overwritten`.
    """
    block = _block(notebook)
    template = block["template"]
    cell = _parameters_cell(notebook, template)
    defaults = _defaults(notebook, cell, template)
    entries = [_entry(raw, index, template) for index, raw in enumerate(block["parameters"])]
    _check_names(entries, defaults, template)
    parameters = tuple(_parameter(entry, defaults[entry["name"]], template) for entry in entries)
    _check_not_overwritten(notebook, cell, defaults, template)
    return Declaration(template, block["title"], block["question"], parameters, cell, block.get("layout", REPORT))


def _refuse(what: str, template: str, code: str, *, allowed: str = "", mend: str = "") -> ParameterError:
    return ParameterError(what, where=f'template "{template}"', allowed=allowed, mend=mend, code=f"template.{code}")


def _block(notebook: Mapping[str, Any]) -> Mapping[str, Any]:
    block = notebook.get("metadata", {}).get("kit")
    if not isinstance(block, Mapping):
        raise ParameterError(
            "The notebook declares no template",
            where="notebook metadata",
            mend='add metadata "kit" with "template", "title", "question" and "parameters"',
            code="template.no_declaration",
        )
    template = str(block.get("template", "unnamed"))
    for key in ("template", "title", "question"):
        if not isinstance(block.get(key), str) or not block[key].strip():
            raise _refuse(f'The declaration has no text for "{key}"', template, "declaration")
    if block.get("layout", REPORT) not in LAYOUTS:
        raise _refuse(f"The layout is {block['layout']!r}", template, "declaration", allowed=" or ".join(LAYOUTS))
    if not isinstance(block.get("parameters"), list) or not block["parameters"]:
        raise _refuse('The declaration has no list of "parameters"', template, "declaration")
    return block


def _parameters_cell(notebook: Mapping[str, Any], template: str) -> int:
    tagged = cells_tagged(notebook, "parameters")
    if not tagged:
        mend = "tag the code cell that assigns the parameters with the word parameters"
        raise _refuse("No cell is tagged parameters", template, "no_parameters_cell", mend=mend)
    if len(tagged) > 1:
        numbers = ", ".join(str(index + 1) for index in tagged)
        what = f"{len(tagged)} cells are tagged parameters (cells {numbers}); the later one would undo the first"
        raise _refuse(what, template, "two_parameters_cells", mend="keep the tag on one cell")
    if notebook["cells"][tagged[0]].get("cell_type") != "code":
        raise _refuse("The cell tagged parameters is not a code cell", template, "no_parameters_cell")
    return tagged[0]


def _defaults(notebook: Mapping[str, Any], cell: int, template: str) -> dict[str, Any]:
    try:
        return literal_assignments(source_of(notebook["cells"][cell]))
    except SyntaxError as error:
        what = f"The parameters cell is not Python: {error.msg}, line {error.lineno}"
        raise _refuse(what, template, "parameter_derived") from None
    except DerivedValueError as error:
        what = f"In the parameters cell {error}"
        allowed = 'lines such as trial = "LIN-03"; a value worked out from another would keep the template\'s own'
        mend = "move it to a later cell"
        raise _refuse(what, template, "parameter_derived", allowed=allowed, mend=mend) from None


def _entry(raw: Any, index: int, template: str) -> dict[str, Any]:
    if not isinstance(raw, Mapping):
        raise _refuse(f"Parameter {index + 1} of the declaration is not a table", template, "declaration")
    name = raw.get("name")
    if not isinstance(name, str) or not name.isidentifier() or keyword.iskeyword(name):
        what = f"Parameter {index + 1} is called {name!r}, which is no Python name"
        raise _refuse(what, template, "parameter_name", allowed="letters, digits and _, not starting with a digit")
    strange = sorted(set(raw) - _PARAMETER_KEYS)
    if strange:
        what = f'The declaration of "{name}" has an unknown key {", ".join(map(repr, strange))}'
        raise _refuse(what, template, "declaration", allowed=", ".join(sorted(_PARAMETER_KEYS)))
    if raw.get("type") not in TYPES:
        what = f'The declaration of "{name}" has the type {raw.get("type")!r}'
        raise _refuse(what, template, "declaration", allowed=", ".join(TYPES))
    _check_choices(raw, name, template)
    return {"required": False, "help": "", "choices": [], **raw}


def _check_choices(raw: Mapping[str, Any], name: str, template: str) -> None:
    choices = raw.get("choices", [])
    if not isinstance(choices, list) or (raw["type"] == "choice") != bool(choices):
        what = f'The declaration of "{name}" needs "choices" with the type choice, and only with it'
        raise _refuse(what, template, "declaration")
    if not isinstance(raw.get("required", False), bool) or not isinstance(raw.get("help", ""), str):
        what = f'The declaration of "{name}" needs true or false for "required" and a text for "help"'
        raise _refuse(what, template, "declaration")


def _check_names(entries: list[dict[str, Any]], defaults: dict[str, Any], template: str) -> None:
    names = [entry["name"] for entry in entries]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise _refuse(f'"{twice[0]}" is declared twice', template, "declaration")
    first = entries[0]
    if first["name"] != "source" or first["type"] != "path" or not first["required"]:
        what = f'The first declared parameter is "{first["name"]}"'
        raise _refuse(what, template, "declaration", allowed="source, of the type path, required")
    for name in names:
        if name not in defaults:
            mend = f"add a line {name} = None"
            what = f'"{name}" is declared but not assigned in the parameters cell'
            raise _refuse(what, template, "parameter_unassigned", mend=mend)
    for name in defaults:
        if name not in names:
            what = f'"{name}" is assigned in the parameters cell but not declared'
            raise _refuse(what, template, "parameter_undeclared", mend="declare it, or move it to a later cell")


def _parameter(entry: dict[str, Any], default: Any, template: str) -> Parameter:
    choices = tuple(entry["choices"])
    if default is not None:
        wrong = misfit(default, entry["type"], choices)
        if wrong:
            what = f'The template\'s own value of "{entry["name"]}" {wrong}'
            raise _refuse(what, template, "parameter_type", allowed=TYPES[entry["type"]].allowed)
    return Parameter(entry["name"], entry["type"], entry["required"], entry["help"], choices, default)


def _check_not_overwritten(notebook: Mapping[str, Any], cell: int, defaults: dict[str, Any], template: str) -> None:
    for index, other in enumerate(notebook["cells"]):
        if index == cell or other.get("cell_type") != "code" or INJECTED_TAG in tags_of(other):
            continue
        for name in sorted(bound_names(source_of(other)) & set(defaults)):
            what = f'Cell {index + 1} gives the parameter "{name}" another value'
            mend = f'use another name there, such as "the_{name}"'
            raise _refuse(what, template, "parameter_overwritten", mend=mend)
