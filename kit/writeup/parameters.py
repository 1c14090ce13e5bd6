"""Checking the values asked for against what a template declares, before anything is started."""

from __future__ import annotations

import difflib
import os
from collections.abc import Mapping
from typing import Any

from kit.errors import ParameterError
from kit.writeup.declaration import Declaration, Parameter, read_declaration
from kit.writeup.values import TYPES, misfit, shorten

__all__ = ["Declaration", "Parameter", "check_parameters", "read_declaration"]

_MENDS = {
    "tuple": "write a list, [ ... ]",
    "set": "write a list, [ ... ]",
    "decimal.Decimal": "write a plain number, or the digits as text where the template wants text",
    "datetime.date": 'write the date as text, such as "2026-03-02"',
    "datetime.datetime": 'write the time as text, such as "2026-03-02T09:30+01:00"',
}


def check_parameters(declaration: Declaration, given: Mapping[str, Any], *, from_text: bool = False) -> dict[str, Any]:
    """Every declared parameter with the value it will have, in the declared order.

    Parameters
    ----------
    declaration : Declaration   From `read_declaration`.
    given : mapping             Name to value; what is left out keeps the template's own value.
    from_text : bool            True for values typed on a command line: "4.6" fits a number, "a, b" a list.

    Returns
    -------
    dict   Plain JSON values only.

    Raises
    ------
    ParameterError   Codes `template.parameter_unknown`, `.parameter_missing`, `.parameter_type`, `.parameter_choice`.
    """
    for name in given:
        if declaration.named(name) is None:
            raise _unknown(declaration, name)
    checked = {}
    for parameter in declaration.parameters:
        if parameter.name in given:
            checked[parameter.name] = _checked(declaration, parameter, given[parameter.name], from_text)
        elif parameter.required:
            raise _missing(declaration, parameter)
        else:
            checked[parameter.name] = parameter.default
    return checked


def _where(declaration: Declaration) -> str:
    return f'template "{declaration.template}"'


def _unknown(declaration: Declaration, name: Any) -> ParameterError:
    near = difflib.get_close_matches(str(name), declaration.names, n=1, cutoff=0.5)
    return ParameterError(
        f"The template has no parameter {shorten(name)}",
        where=_where(declaration),
        allowed=", ".join(declaration.names),
        mend=f'perhaps "{near[0]}"' if near else "",
        code="template.parameter_unknown",
    )


def _missing(declaration: Declaration, parameter: Parameter) -> ParameterError:
    return ParameterError(
        f'The parameter "{parameter.name}" is missing',
        where=_where(declaration),
        allowed=_allowed(parameter),
        mend=f"give {parameter.name} a value" + (f": {parameter.help}" if parameter.help else ""),
        code="template.parameter_missing",
    )


def _checked(declaration: Declaration, parameter: Parameter, value: Any, from_text: bool) -> Any:
    if value is None:
        if parameter.required:
            raise _missing(declaration, parameter)
        return None
    if parameter.type == "path" and isinstance(value, os.PathLike):
        value = os.fspath(value)
    if from_text and type(value) is str:
        value = _read(declaration, parameter, value)
    wrong = misfit(value, parameter.type, parameter.choices)
    if wrong:
        raise _misfit(declaration, parameter, value, wrong)
    return list(value) if type(value) is list else value


def _read(declaration: Declaration, parameter: Parameter, text: str) -> Any:
    try:
        if parameter.type == "choice":
            return next((choice for choice in parameter.choices if str(choice) == text.strip()), text)
        return TYPES[parameter.type].read(text)
    except ValueError:
        raise _misfit(declaration, parameter, text, f"is {shorten(text)}, which cannot be read") from None


def _misfit(declaration: Declaration, parameter: Parameter, value: Any, wrong: str) -> ParameterError:
    code = "parameter_choice" if wrong.endswith("the choices") else "parameter_type"
    return ParameterError(
        f'The parameter "{parameter.name}" {wrong}',
        where=_where(declaration),
        allowed=_allowed(parameter),
        mend=_mend(parameter, value),
        code=f"template.{code}",
    )


def _allowed(parameter: Parameter) -> str:
    if parameter.type == "choice":
        return ", ".join(str(choice) for choice in parameter.choices)
    return TYPES[parameter.type].allowed


def _mend(parameter: Parameter, value: Any) -> str:
    kind = type(value)
    name = kind.__name__ if kind.__module__ == "builtins" else f"{kind.__module__}.{kind.__qualname__}"
    if name in _MENDS:
        return _MENDS[name]
    if kind.__module__.split(".")[0] == "numpy":
        return "turn it into a plain value first, with .item() or .tolist()"
    if parameter.type.startswith("list of") and kind is str:
        return f"put it in square brackets: [{value!r}]"
    if parameter.type == "choice" and kind is str:
        near = difflib.get_close_matches(value, [str(choice) for choice in parameter.choices], n=1, cutoff=0.5)
        return f'perhaps "{near[0]}"' if near else ""
    if kind is str and "," in value:
        return "write the decimal mark as a point"
    return ""
