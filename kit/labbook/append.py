"""Storing one entry and its derived rows inside a transaction that is open. Used by `store` alone."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Connection,
    CursorResult,
    Insert,
    Select,
    Table,
    bindparam,
    func,
    insert,
    select,
)
from sqlalchemy.dialects import sqlite

from kit.errors import RecordError
from kit.labbook import schema
from kit.labbook.projections import projection, stored_values
from kit.labbook.streams import GENESIS, Draft, Entry, Head, seal

_stream, _entry = schema.stream, schema.entry

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
        return connection.exec_driver_sql(self.sql, tuple(values[name] for name in self.names))


def _insert(table: Table, *columns: str) -> Prepared:
    return Prepared(insert(table).values({name: bindparam(name) for name in columns}))


_OPEN_STREAM = _insert(_stream, "name", "kind")
_ADD_ENTRY = _insert(_entry, "stream_id", "seq", "kind", "text", "hash")
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
    if draft.expect is not None and tuple(draft.expect) != head:
        raise _moved_on(draft, head)
    entry = seal(draft.stream, head.seq + 1, draft.kind, draft.body, draft.measured_at, recorded_at, head.hash)
    made = _ADD_ENTRY.run(
        connection, stream_id=stream_id, seq=entry.seq, kind=entry.kind, text=entry.text, hash=entry.hash
    )
    for table, columns in draft.project:
        values = stored_values(projection(table), columns)
        _ADD_ROW[table].run(connection, entry_id=made.lastrowid, stream_id=stream_id, **values)
    return entry


def _place(connection: Connection, draft: Draft, known: Known) -> tuple[int, Head]:
    if draft.stream not in known:
        row = FIND_STREAM.run(connection, name=draft.stream).fetchone()
        if row is None:
            made = _OPEN_STREAM.run(connection, name=draft.stream, kind=draft.stream_kind)
            known[draft.stream] = (made.lastrowid, draft.stream_kind)
            return made.lastrowid, Head(0, GENESIS)
        known[draft.stream] = tuple(row)
    stream_id, kind = known[draft.stream]
    if kind != draft.stream_kind:
        raise RecordError(
            f'The stream "{draft.stream}" is a {kind}, not a {draft.stream_kind}.',
            mend="choose another name",
            code="labbook.stream_kind",
        )
    return stream_id, head_of(connection, stream_id)


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
