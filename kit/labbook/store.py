"""The lab book's store: append-only streams in one file, with rows derived from them stored beside.

`Store` knows entries, not what they mean. Every append is one transaction; it has reached the disk when the
call returns. What is read is checked against its chain of hashes.
"""

from __future__ import annotations

import difflib
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, bindparam, func, select

from kit.errors import RecordError
from kit.labbook import faults, migrate, schema, sqlite_file
from kit.labbook.append import FIND_STREAM, Known, Prepared, lay_down, lay_down_all
from kit.labbook.check import BOOK, CheckReport, Rebuild, check_book, read_chain
from kit.labbook.projections import projection
from kit.labbook.streams import GENESIS, Draft, Entry, Head, parse, stamp, verify_text
from kit.labbook.times import Clock, local_now

_stream, _entry = schema.stream, schema.entry
_later = _entry.alias()
_LAST = (  # name, number and hash of the last entry of every stream
    select(_stream.c.name, _entry.c.seq, _entry.c.hash)
    .join_from(_stream, _entry)
    .where(
        _entry.c.seq
        == select(func.max(_later.c.seq)).where(_later.c.stream_id == _stream.c.id).correlate(_stream).scalar_subquery()
    )
)


_NEWEST = Prepared(select(func.max(_entry.c.id)).join_from(_stream, _entry).where(_stream.c.kind == bindparam("kind")))


class Store:
    """An open lab book file. Made by `Store.create` or `Store.open`; a context manager.

    Attributes
    ----------
    clock : callable   Gives the time of every entry, an aware datetime.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> with Store.create(Path(folder.name) / "linden.labbook", title="Linden") as store:
    ...     entry = store.append("LIN", "question", {"text": "softer?"}, stream_kind="study")
    ...     store.read("LIN") == (entry,)
    True
    >>> folder.cleanup()
    """

    def __init__(self, file: sqlite_file.File, clock: Clock) -> None:
        self.clock = clock
        self._file = file
        self._streams: Known = {}

    # Opening and closing

    @classmethod
    def create(cls, path: str | Path, *, clock: Clock | None = None, title: str = "") -> Store:
        """Make a new lab book file and open it. It appears whole, or not at all.

        Parameters
        ----------
        path : str or Path   Must not exist; its folder must.
        clock : callable     Gives the time of every entry, with its UTC offset; by default this computer's.
        title : str          Kept in the first entry.

        Raises
        ------
        RecordError   `labbook.exists`, `labbook.not_found` for the folder, `labbook.leftover`, `labbook.read_only`,
                      `labbook.disk_full`.
        """
        path, clock = Path(path), clock or local_now
        draft = Draft(BOOK, "created", {"title": title}, BOOK)
        migrate.make(path, lambda connection: lay_down(connection, draft, _time(clock), {}))
        return cls.open(path, clock=clock)

    @classmethod
    def open(cls, path: str | Path, *, read_only: bool = False, clock: Clock | None = None) -> Store:
        """Open a lab book file; never makes one.

        An older file is backed up beside itself under a dated name, then migrated. Read-only, nothing is
        written to the file: an older one is migrated in a private copy.

        Raises
        ------
        RecordError   `labbook.not_found` (with the nearest names), `labbook.not_a_labbook`, `labbook.newer`,
                      `labbook.read_only`, `labbook.damaged`, `labbook.locked`.
        """
        path, clock = Path(path), clock or local_now
        with faults.in_words(str(path)):
            sqlite_file.identify(path)
            if read_only:
                return cls(_open_for_reading(path, clock), clock)
            sqlite_file.require_writable(path)
            migrate.bring_up_to_date(path, clock)
            return cls(sqlite_file.File.open_for_writing(path), clock)

    @property
    def path(self) -> Path:
        """The file, as it was given."""
        return self._file.path

    @property
    def read_only(self) -> bool:
        """Whether this store refuses to append."""
        return self._file.read_only

    def close(self) -> None:
        """Fold the file's `-wal` in and let go of it; closing twice is allowed."""
        self._file.close()

    def __enter__(self) -> Store:
        """Itself, closed at the end of the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self.close()

    def pragma(self, name: str, value: int | str | None = None) -> int | str | None:
        """Ask for a PRAGMA of this connection, or set it for as long as it is open.

        For tests and for looking at a file: `pragma("max_page_count", n)` makes the disk full at n pages.
        """
        return self._file.pragma(name, value)

    # Appending

    def append(
        self,
        stream: str,
        kind: str,
        body: Mapping[str, Any],
        *,
        stream_kind: str,
        measured_at: str | datetime | None = None,
        project: Sequence[tuple[str, Mapping[str, Any]]] = (),
        expect: tuple[int, str] | None = None,
    ) -> Entry:
        """Append one entry; it has reached the disk when this returns. Parameters: `Draft`.

        Raises
        ------
        RecordError   Nothing was stored, and the store can still be used: `labbook.moved_on` (the stream has
                      grown since `expect`), `labbook.disk_full`, `labbook.locked`, `labbook.read_only`,
                      `labbook.duplicate`, `labbook.moved_away`, `labbook.float` and others of `streams`.
        """
        return self.append_many([Draft(stream, kind, body, stream_kind, measured_at, project or (), expect)])[0]

    def append_many(self, drafts: Iterable[Draft]) -> list[Entry]:
        """Append entries to one or several streams, all of them or none, in the order given.

        Raises
        ------
        RecordError   As `append`. `expect` is compared when the draft's turn has come.
        """
        drafts = list(drafts)
        recorded_at = _time(self.clock)
        known = dict(self._streams) if len(drafts) > 1 else self._known(drafts)
        if not drafts:
            return []
        with self._file.writing() as connection:
            if len(drafts) == 1:
                entries = [lay_down(connection, drafts[0], recorded_at, known)]
            else:
                entries = lay_down_all(connection, drafts, recorded_at, known)
        self._streams.update(known)  # only now: a stream opened by a call that failed does not exist
        return entries

    # Reading

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """A block in which everything read is of one moment, whatever other programs append meanwhile."""
        with self._file.reading():
            yield

    def read(self, stream: str) -> tuple[Entry, ...]:
        """All entries of a stream, in order, its chain checked.

        Raises
        ------
        RecordError   `labbook.no_stream` (with the nearest names), or the fault of the chain, see `verify_chain`.
        """
        with self._file.reading() as connection:
            found = FIND_STREAM.run(connection, name=stream).fetchone()
            if found is None:
                raise self._no_stream(stream)
            return read_chain(connection, found[0], stream)

    def has(self, stream: str) -> bool:
        """Whether the lab book holds a stream of this name."""
        with self._file.reading() as connection:
            return FIND_STREAM.run(connection, name=stream).fetchone() is not None

    def stream_names(self, kind: str | None = None) -> list[str]:
        """Names of all streams, or of one kind, in the order they were begun."""
        query = select(_stream.c.name).order_by(_stream.c.id)
        return self._names(query if kind is None else query.where(_stream.c.kind == kind))

    def streams_without(self, stream_kind: str, kinds: Sequence[str]) -> list[str]:
        """Names of the streams of a kind that hold no entry of the given kinds, such as batches never finished."""
        closing = select(_entry.c.id).where(_entry.c.stream_id == _stream.c.id, _entry.c.kind.in_(list(kinds)))
        query = select(_stream.c.name).where(_stream.c.kind == stream_kind, ~closing.exists())
        return self._names(query.order_by(_stream.c.id))

    def heads(self, streams: Iterable[str] | None = None) -> dict[str, Head]:
        """Where streams end, by name; all of them by default. Head(0, GENESIS) for a stream not begun yet."""
        with self._file.reading() as connection:
            if streams is None:
                return _all_heads(connection)
            names = list(streams)
            rows = connection.execute(_LAST.where(_stream.c.name.in_(names)))
            found = {name: Head(seq, digest) for name, seq, digest in rows}
            return {name: found.get(name, Head(0, GENESIS)) for name in names}

    def newest(self, stream_kind: str) -> int:
        """Number of the newest entry over all streams of a kind: it grows with each; 0 before the first."""
        with self._file.reading() as connection:
            return _NEWEST.run(connection, kind=stream_kind).scalar() or 0

    def outline(self) -> list[tuple[str, str, Head]]:
        """Name, kind and head of every stream, in the order they were begun."""
        with self._file.reading() as connection:
            kinds = dict(map(tuple, connection.execute(select(_stream.c.name, _stream.c.kind))))
            return [(name, kinds[name], head) for name, head in _all_heads(connection).items()]

    def all_entries(self) -> Iterator[Entry]:
        """Every entry of every stream, one after another, in the order they were made; texts are not checked here."""
        query = select(_stream.c.name, _entry.c.seq, _entry.c.text, _entry.c.hash).join_from(_entry, _stream)
        with self._file.reading() as connection:
            for row in connection.execute(query.order_by(_entry.c.id)):
                yield parse(row.text, row.hash, f'stream "{row.name}", entry {row.seq}')

    def entries_of_kind(self, kind: str, stream_kind: str | None = None) -> tuple[Entry, ...]:
        """Entries of one kind over all streams, in the order they were made.

        Each text is checked against its own hash, not the chains around them: `read` and `check` do that.
        """
        query = select(_stream.c.name, _entry.c.seq, _entry.c.text, _entry.c.hash).join_from(_entry, _stream)
        query = query.where(_entry.c.kind == kind).order_by(_entry.c.id)
        if stream_kind is not None:
            query = query.where(_stream.c.kind == stream_kind)
        with self._file.reading() as connection:
            return tuple(_single(row) for row in connection.execute(query))

    def rows(self, table: str, **equals: Any) -> list[dict[str, Any]]:
        """Rows of a projection whose columns have the given values, in the order they were made.

        Each row has the table's columns, and `stream` and `seq` of the entry it was derived from; these two can
        be asked for as well. A projection finds entries; what was typed is in the entry.

        Raises
        ------
        RecordError   `labbook.column`: no such table or column.
        """
        derived = projection(table)
        columns = {**dict(derived.c), "stream": _stream.c.name, "seq": _entry.c.seq}
        query = select(*(column.label(name) for name, column in columns.items())).order_by(derived.c.id)
        query = query.join(_entry, derived.c.entry_id == _entry.c.id).join(_stream, _entry.c.stream_id == _stream.c.id)
        for name, value in equals.items():
            if name not in columns:
                raise _no_column(table, name, columns)
            if name == "stream" and "stream_id" in derived.c:  # by the index of the derived rows, not row by row
                query = query.where(
                    derived.c.stream_id == select(_stream.c.id).where(_stream.c.name == value).scalar_subquery()
                )
            query = query.where(columns[name] == value)
        with self._file.reading() as connection:
            return [dict(zip(columns, row, strict=True)) for row in connection.execute(query)]

    def check(
        self, against: Mapping[str, tuple[int, str]] | None = None, rebuild: Rebuild | None = None
    ) -> CheckReport:
        """Check the whole lab book: the file, every chain, every derived row, and heads printed on a write-up.

        Parameters
        ----------
        against : dict, optional      Stream name to printed head (seq, hash).
        rebuild : callable, optional  Gives the rows an entry should have, to compare with those stored.
        """
        with self._file.reading() as connection:
            return check_book(connection, against, rebuild)

    # Shared by the parts above

    def _known(self, drafts: Sequence[Draft]) -> Known:
        return {draft.stream: self._streams[draft.stream] for draft in drafts if draft.stream in self._streams}

    def _names(self, query: Select) -> list[str]:
        with self._file.reading() as connection:
            return list(connection.execute(query).scalars())

    def _no_stream(self, stream: str) -> RecordError:
        near = difflib.get_close_matches(stream, self.stream_names(), n=5, cutoff=0.4)
        return RecordError(
            f'The lab book holds no stream "{stream}".',
            where=str(self.path),
            allowed=", ".join(near),
            mend="check the name",
            code="labbook.no_stream",
        )


def _time(clock: Clock) -> str:
    return stamp(clock(), "clock")


def _open_for_reading(path: Path, clock: Clock) -> sqlite_file.File:
    file = sqlite_file.File.open_for_reading(path)
    try:
        if migrate.is_current(file.pragma("user_version"), path):
            return file
        scratch = Path(tempfile.mkdtemp(prefix="labbook-"))
        file.copy_to(scratch / path.name)
    except BaseException:
        file.close()
        raise
    file.close()
    migrate.bring_up_to_date(scratch / path.name, clock)
    return sqlite_file.File.open_private(path, scratch)


def _all_heads(connection: Connection) -> dict[str, Head]:
    return {name: Head(seq, digest) for name, seq, digest in connection.execute(_LAST.order_by(_stream.c.id))}


def _single(row: Any) -> Entry:
    entry = parse(row.text, row.hash, f'stream "{row.name}", entry {row.seq}')
    verify_text(entry, row.name, row.seq)
    return entry


def _no_column(table: str, name: str, columns: Iterable[str]) -> RecordError:
    return RecordError(f"The table {table} has no column {name!r}.", allowed=", ".join(columns), code="labbook.column")
