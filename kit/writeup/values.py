"""The types a template parameter may have: what fits them, and how typed text becomes one of them."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class ValueType:
    """One type: the words for it, what fits, and how text from the command line is read (ValueError if it is not)."""

    allowed: str
    fits: Callable[[Any], bool]
    read: Callable[[str], Any]


def _is_number(value: Any) -> bool:
    # By exact type: a numpy number or a bool passes isinstance but is not what JSON would carry.
    return type(value) is int or (type(value) is float and math.isfinite(value))


def _is_text(value: Any) -> bool:
    return type(value) is str


def _list_of(fits: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: type(value) is list and all(fits(item) for item in value)


def _read_integer(text: str) -> int:
    return int(text.strip(), 10)


def _read_number(text: str) -> int | float:
    try:
        return _read_integer(text)
    except ValueError:
        value = float(text.strip())
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _read_boolean(text: str) -> bool:
    words = {"true": True, "yes": True, "false": False, "no": False}
    try:
        return words[text.strip().lower()]
    except KeyError:
        raise ValueError(text) from None


def _read_list(read: Callable[[str], Any]) -> Callable[[str], list[Any]]:
    def parse(text: str) -> list[Any]:
        if text.lstrip().startswith("["):
            value = json.loads(text)
            return value if isinstance(value, list) else [value]
        return [read(item.strip()) for item in text.split(",") if item.strip()]

    return parse


TYPES: dict[str, ValueType] = {
    "path": ValueType("the name of a file, folder or database, as text", lambda v: _is_text(v) and bool(v), str),
    "text": ValueType('text, such as "LIN-03"', _is_text, str),
    "number": ValueType("a number, such as 4.6", _is_number, _read_number),
    "integer": ValueType("a whole number, such as 6", lambda v: type(v) is int, _read_integer),
    "boolean": ValueType("true or false", lambda v: type(v) is bool, _read_boolean),
    "choice": ValueType("one of the listed choices", lambda v: _is_text(v) or _is_number(v), str),
    "list of text": ValueType('a list of texts, such as ["24 h", "7 d"]', _list_of(_is_text), _read_list(str)),
    "list of number": ValueType(
        "a list of numbers, such as [4.5, 4.6]", _list_of(_is_number), _read_list(_read_number)
    ),
    "list of integer": ValueType(
        "a list of whole numbers, such as [1, 2]", _list_of(lambda v: type(v) is int), _read_list(_read_integer)
    ),
}


def misfit(value: Any, type_name: str, choices: tuple[Any, ...] = ()) -> str:
    """Why a value does not fit a type, as the end of a sentence; empty where it fits.

    Examples
    --------
    >>> misfit("5", "number")
    "is '5', a text"
    """
    foreign = _foreign(value)
    if foreign:
        return foreign
    if not TYPES[type_name].fits(value):
        return f"is {shorten(value)}, {_words(value)}"
    if type_name == "choice" and not any(value == choice and type(value) is type(choice) for choice in choices):
        return f"is {shorten(value)}, which is not one of the choices"
    return ""


def _foreign(value: Any) -> str:
    """Why a value cannot be written as JSON and come back the same; empty where it can."""
    kind = type(value)
    if kind in (list, dict):
        items = list(value) if kind is list else [*value, *value.values()]
        return next((reason for reason in map(_foreign, items) if reason), "")
    if kind is float and not math.isfinite(value):
        return f"is {value}, which is no finite number"
    if value is None or kind in (str, bool, int, float):
        return ""
    name = kind.__name__ if kind.__module__ == "builtins" else f"{kind.__module__}.{kind.__qualname__}"
    return f"is {shorten(value)} of the Python type {name}, which a notebook would get as a text"


def _words(value: Any) -> str:
    names = {str: "a text", bool: "true or false", int: "a whole number", float: "a number", list: "a list"}
    if type(value) is list and value:
        kinds = sorted({names.get(type(item), "something else") for item in value})
        return "a list of " + " and ".join(kinds)
    return names.get(type(value), "nothing" if value is None else "a table")


def shorten(value: Any, limit: int = 80) -> str:
    """A value as Python writes it, cut to about `limit` characters."""
    text = repr(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"
