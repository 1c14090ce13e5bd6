"""Rows derived from an entry: which tables take them, and a caller's columns as a table keeps them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import Any

from sqlalchemy import Table

from kit.errors import RecordError
from kit.labbook import schema

_FILLED_IN = ("id", "entry_id", "stream_id")


def projection(table: str) -> Table:
    """The table of a name.

    Raises
    ------
    RecordError   `labbook.column`: no such table.
    """
    if table not in schema.PROJECTIONS:
        raise RecordError(
            f"The lab book has no table {table!r}.", allowed=", ".join(schema.PROJECTIONS), code="labbook.column"
        )
    return schema.PROJECTIONS[table]


@cache
def own_columns(table: Table) -> dict[str, type]:
    """The columns of a projection that its caller fills, with the Python type of each."""
    return {column.name: column.type.python_type for column in table.columns if column.name not in _FILLED_IN}


def stored_values(table: Table, columns: Mapping[str, Any]) -> dict[str, Any]:
    """A caller's columns as the table keeps them: decimals as float or text, by the column; NULL where left out.

    Raises
    ------
    RecordError   `labbook.column`: a column the table does not have, or a value the column cannot hold.
    """
    own = own_columns(table)
    if not columns.keys() <= own.keys():
        name = next(name for name in columns if name not in own)
        raise _refused(table, name, columns[name])
    get = columns.get
    return {
        name: value if type(value := get(name)) is str and kind is str else _kept(table, name, value, kind)
        for name, kind in own.items()
    }


def _kept(table: Table, name: str, value: Any, kind: type) -> Any:
    if value is None or (isinstance(value, kind) and (kind is not float or math.isfinite(value))):
        return value
    numbers = int | Decimal if kind is str else int | float | Decimal  # a float would not come back as it was typed
    if isinstance(value, numbers) and math.isfinite(value) and (kind is not int or value == int(value)):
        return kind(value)
    raise _refused(table, name, value)


def _refused(table: Table, name: str, value: Any) -> RecordError:
    kinds = {str: "text", int: "whole number", float: "finite number"}
    allowed = ", ".join(f"{column} ({kinds[kind]})" for column, kind in own_columns(table).items())
    return RecordError(
        f"The table {table.name} cannot take {value!r} in a column {name!r}.", allowed=allowed, code="labbook.column"
    )
