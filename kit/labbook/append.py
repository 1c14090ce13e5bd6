"""Storing one entry and its derived rows inside a transaction that is open. Used by `store` alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import (
    Connection,
    CursorResult,
    Insert,
    Select,
    Table,
    bindparam,
    column,
    func,
    insert,
    literal_column,
    select,
    table,
)
from sqlalchemy.dialects import sqlite

from kit.errors import RecordError
from kit.labbook import schema
from kit.labbook.projections import projection, stored_values
from kit.labbook.streams import GENESIS, Draft, Entry, Head, seal

_stream, _entry = schema.stream, schema.entry

Rows = Iterable[tuple[str, Mapping[str, Any]]]
"""Derived rows: table and columns."""

Known = dict[str, tuple[int, str]]
"""Streams already looked up: name to (id, kind)."""


class Prepared:
    """A statement turned into driver text once: an append must not pay for building SQL."""

    def __init__(self, statement: Select | Insert) -> None:
        compiled = statement.compile(dialect=sqlite.dialect())
        self.sql = str(compiled)
        self.names = tuple(compiled.positiontup or ())

    def run(self, connection: Connection, **values: Any) -> CursorResult:
        """Execute with values by name."""
        return connection.exec_driver_sql(self.sql, self.ordered(values))

    def ordered(self, values: Mapping[str, Any]) -> tuple:
        """Values in the order the statement takes them."""
        return tuple([values[name] for name in self.names])

    def run_many(self, connection: Connection, rows: list[tuple]) -> None:
        """Execute once for every row, whose values stand in the order of `names`."""
        if rows:
            connection.exec_driver_sql(self.sql, rows)


def _insert(table: Table, *columns: str) -> Prepared:
    return Prepared(insert(table).values({name: bindparam(name) for name in columns}))


_OPEN_STREAM = _insert(_stream, "name", "kind")
_ADD_ENTRY = _insert(_entry, "stream_id", "seq", "kind", "text", "hash")
_ADD_NUMBERED = _insert(_entry, "id", "stream_id", "seq", "kind", "text", "hash")
# SQLite's own count of the numbers it has given (https://www.sqlite.org/autoinc.html)
_LAST_NUMBER = Prepared(
    select(column("seq")).select_from(table("sqlite_sequence")).where(column("name") == literal_column("'entry'"))
)
_ADD_ROW = {
    name: _insert(table, *(column.name for column in table.columns if column.name != "id"))
    for name, table in schema.PROJECTIONS.items()
}
FIND_STREAM = Prepared(select(_stream.c.id, _stream.c.kind).where(_stream.c.name == bindparam("name")))
_LATER = _entry.alias()
_LAST = select(func.max(_LATER.c.seq)).where(_LATER.c.stream_id == bindparam("of")).scalar_subquery()
FIND_HEAD = Prepared(
    select(_entry.c.seq, _entry.c.hash).where(_entry.c.stream_id == bindparam("of"), _entry.c.seq == _LAST)
)


def lay_down(connection: Connection, draft: Draft, recorded_at: str, known: Known) -> Entry:
    """Store one entry and its rows; a stream looked up or begun here is added to `known`.

    Raises
    ------
    RecordError   `labbook.moved_on`, `labbook.stream_kind`, `labbook.column`, and what `seal` refuses.
    """
    stream_id, head = _place(connection, draft, known)
    _check_head(draft, head)
    entry = seal(draft.stream, head.seq + 1, draft.kind, draft.body, draft.measured_at, recorded_at, head.hash)
    made = _ADD_ENTRY.run(
        connection, stream_id=stream_id, seq=entry.seq, kind=entry.kind, text=entry.text, hash=entry.hash
    )
    for name, columns in draft.project:
        values = stored_values(projection(name), columns)
        _ADD_ROW[name].run(connection, entry_id=made.lastrowid, stream_id=stream_id, **values)
    return entry


def lay_down_all(connection: Connection, drafts: Iterable[Draft], recorded_at: str, known: Known) -> list[Entry]:
    """Store many entries and their rows, each table's in one go; all are sealed before the first is stored.

    Raises
    ------
    RecordError   As `lay_down`.
    """
    heads: dict[str, Head] = {}
    sealed: list[tuple[Entry, int, Rows]] = []
    number = _LAST_NUMBER.run(connection).scalar() or 0
    for draft in drafts:
        if draft.stream not in heads:
            heads[draft.stream] = _place(connection, draft, known)[1]
        stream_id, head = _known_id(draft, known), heads[draft.stream]
        _check_head(draft, head)
        entry = seal(draft.stream, head.seq + 1, draft.kind, draft.body, draft.measured_at, recorded_at, head.hash)
        heads[draft.stream] = entry.head
        sealed.append((entry, stream_id, draft.project))
    lay_down_sealed(connection, sealed, number)
    return [entry for entry, _, _ in sealed]


def open_streams(connection: Connection, streams: Iterable[tuple[str, str]]) -> dict[str, int]:
    """Begin streams (name, kind) that are all new; their ids by name."""
    return {name: _OPEN_STREAM.run(connection, name=name, kind=kind).lastrowid for name, kind in streams}


def lay_down_sealed(connection: Connection, sealed: Iterable[tuple[Entry, int, Rows]], number: int) -> None:
    """Store entries that were sealed before, each with the id of its stream and its rows, behind `number` others."""
    laid: list[tuple] = []
    rows: dict[str, list[tuple]] = {}
    for place, (entry, stream_id, projected) in enumerate(sealed, start=number + 1):
        laid.append((place, stream_id, entry.seq, entry.kind, entry.text, entry.hash))
        for name, columns in projected:
            values = stored_values(projection(name), columns)
            values["entry_id"], values["stream_id"] = place, stream_id
            rows.setdefault(name, []).append(_ADD_ROW[name].ordered(values))
    _ADD_NUMBERED.run_many(connection, laid)
    for name, stored in rows.items():
        _ADD_ROW[name].run_many(connection, stored)


def _place(connection: Connection, draft: Draft, known: Known) -> tuple[int, Head]:
    if draft.stream not in known:
        row = FIND_STREAM.run(connection, name=draft.stream).fetchone()
        if row is None:
            made = _OPEN_STREAM.run(connection, name=draft.stream, kind=draft.stream_kind)
            known[draft.stream] = (made.lastrowid, draft.stream_kind)
            return made.lastrowid, Head(0, GENESIS)
        known[draft.stream] = tuple(row)
    stream_id = _known_id(draft, known)
    return stream_id, head_of(connection, stream_id)


def _known_id(draft: Draft, known: Known) -> int:
    stream_id, kind = known[draft.stream]
    if kind != draft.stream_kind:
        raise RecordError(
            f'The stream "{draft.stream}" is a {kind}, not a {draft.stream_kind}.',
            mend="choose another name",
            code="labbook.stream_kind",
        )
    return stream_id


def _check_head(draft: Draft, head: Head) -> None:
    if draft.expect is not None and tuple(draft.expect) != head:
        raise _moved_on(draft, head)


def head_of(connection: Connection, stream_id: int) -> Head:
    """Where a stream ends now."""
    row = FIND_HEAD.run(connection, of=stream_id).fetchone()
    return Head(0, GENESIS) if row is None else Head(row[0], row[1])


def _moved_on(draft: Draft, head: Head) -> RecordError:
    seq = draft.expect[0]
    return RecordError(
        f'Somebody else wrote to the stream "{draft.stream}" meanwhile: it ends at entry {head.seq}, '
        f"not at entry {seq} as this page believes; nothing was stored.",
        mend="reopen it, look at what was added, then make the entry again",
        code="labbook.moved_on",
    )
