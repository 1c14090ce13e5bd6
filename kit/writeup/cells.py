"""Reading a notebook's cells without running them: sources, tags, assigned literals, bound names."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from typing import Any

_MAGIC = re.compile(r"^\s*[%!?]")
_INNER_SCOPES = (ast.Lambda, ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp)
_DEFINITIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)


class DerivedValueError(ValueError):
    """A line that is not `name = literal`; the message says which line and why."""


def source_of(cell: Mapping[str, Any]) -> str:
    """Source of a cell as one text; files may hold it as a list of lines."""
    source = cell.get("source", "")
    return source if isinstance(source, str) else "".join(source)


def tags_of(cell: Mapping[str, Any]) -> list[str]:
    """Tags of a cell, empty where it has none."""
    tags = cell.get("metadata", {}).get("tags", [])
    return [tag for tag in tags if isinstance(tag, str)]


def cells_tagged(notebook: Mapping[str, Any], tag: str) -> list[int]:
    """Positions, from 0, of the cells that carry `tag`."""
    return [index for index, cell in enumerate(notebook.get("cells", [])) if tag in tags_of(cell)]


def literal_assignments(source: str) -> dict[str, Any]:
    r"""Names and values of a cell that holds nothing but `name = literal` lines.

    Raises
    ------
    DerivedValueError   A line computes something, assigns twice or is no assignment.
    SyntaxError         The cell is not Python.

    Examples
    --------
    >>> literal_assignments('trial = "LIN-03"  # which one\nages = ["24 h"]')
    {'trial': 'LIN-03', 'ages': ['24 h']}
    """
    found: dict[str, Any] = {}
    for statement in ast.parse(source).body:
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            continue  # a note in quotes, or an ellipsis
        name, value = _simple_assignment(statement)
        if name in found:
            raise DerivedValueError(f'line {statement.lineno} assigns "{name}" a second time')
        try:
            found[name] = ast.literal_eval(value)
        except ValueError:
            text = ast.unparse(statement)
            raise DerivedValueError(f"line {statement.lineno} computes a value: {text}") from None
    return found


def _simple_assignment(statement: ast.stmt) -> tuple[str, ast.expr]:
    if isinstance(statement, ast.Assign) and len(statement.targets) == 1:
        target, value = statement.targets[0], statement.value
    elif isinstance(statement, ast.AnnAssign) and statement.value is not None:
        target, value = statement.target, statement.value
    else:
        raise DerivedValueError(f"line {statement.lineno} is no plain assignment: {ast.unparse(statement)}")
    if not isinstance(target, ast.Name):
        raise DerivedValueError(f"line {statement.lineno} does not assign to one name: {ast.unparse(statement)}")
    return target.id, value


def bound_names(source: str) -> set[str]:
    r"""Names a cell (re)binds at its top level; empty where the cell cannot be parsed.

    Names inside functions, classes and comprehensions are their own and do not count.

    Examples
    --------
    >>> sorted(bound_names("for trial in trials:\n    n = [age for age in ages]"))
    ['n', 'trial']
    """
    plain = "\n".join("pass" if _MAGIC.match(line) else line for line in source.splitlines())
    try:
        tree = ast.parse(plain)
    except SyntaxError:
        return set()
    return set(_bindings(tree))


def _bindings(node: ast.AST) -> Iterator[str]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, _DEFINITIONS):
            yield child.name
        elif isinstance(child, ast.Name) and isinstance(child.ctx, ast.Store | ast.Del):
            yield child.id
        elif isinstance(child, ast.ExceptHandler) and child.name:
            yield child.name
            yield from _bindings(child)
        elif isinstance(child, ast.alias):
            yield (child.asname or child.name).split(".")[0]
        elif not isinstance(child, _INNER_SCOPES):
            yield from _bindings(child)
