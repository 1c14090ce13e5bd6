"""Reading a stream with its chain checked, and the check of a whole lab book."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, Table, bindparam, func, select

from kit.errors import RecordError
from kit.labbook import faults, schema
from kit.labbook.projections import own_columns, projection, stored_values
from kit.labbook.streams import Entry, Head, parse, verify_chain
from kit.show import Worded

Problem = tuple[str, str]
"""A stable code, and what is wrong in words."""

BOOK = "book"
"""Name and kind of the stream every lab book begins with."""

STREAM_OPENED = "stream-opened"
"""Kind of the entry by which the book's own stream may name a stream begun, in `body["stream"]`."""

StoredRow = tuple[int, str, tuple]
"""Number of the entry a derived row belongs to, its table, and its columns with their values."""

Rebuild = Callable[[Entry], Iterable[tuple[str, Mapping[str, Any]]]]
"""The rows an entry should have beside it, worked out again from the entry alone."""

_stream, _entry = schema.stream, schema.entry
CHAIN = (
    select(_entry.c.seq, _entry.c.kind, _entry.c.text, _entry.c.hash)
    .where(_entry.c.stream_id == bindparam("of"))
    .order_by(_entry.c.seq)
)


@dataclass(frozen=True, slots=True, repr=False)
class CheckReport(Worded):
    """What the check of a lab book found.

    Attributes
    ----------
    streams, entries : int   How many were there to check.
    problems : tuple         (code, words) of every problem; empty where nothing is amiss.
    """

    streams: int
    entries: int
    problems: tuple[tuple[str, str], ...]

    @property
    def ok(self) -> bool:
        """Whether nothing is amiss."""
        return not self.problems

    def __str__(self) -> str:
        """A line of counts, then one line a problem."""
        problems = "1 problem" if len(self.problems) == 1 else f"{len(self.problems)} problems"
        verdict = "nothing amiss" if self.ok else problems
        entries = "1 entry" if self.entries == 1 else f"{self.entries} entries"
        streams = "1 stream" if self.streams == 1 else f"{self.streams} streams"
        lines = [f"{entries} in {streams}: {verdict}."]
        return "\n".join(lines + [f"{words} [{code}]" for code, words in self.problems])


def read_chain(connection: Connection, stream_id: int, name: str) -> tuple[Entry, ...]:
    """All entries of a stream, in order, its chain checked.

    Raises
    ------
    RecordError   As `verify_chain`; `labbook.edited` too where a column says other than the entry's text.
    """
    rows = connection.execute(CHAIN, {"of": stream_id}).fetchall()
    entries = tuple(parse(row.text, row.hash, f'stream "{name}", entry {row.seq}') for row in rows)
    if not entries:
        raise RecordError(
            f'The stream "{name}" has lost all its entries.',
            mend="restore the lab book from a backup made before they were deleted",
            code="labbook.stream_gone",
        )
    verify_chain(entries, name)
    for row, found in zip(rows, entries, strict=True):
        if (row.seq, row.kind) != (found.seq, found.kind):
            raise RecordError(
                f"A stored column was changed outside the kit: entry {found.seq} ({found.kind}) is listed as "
                f"entry {row.seq} ({row.kind}).",
                where=f'stream "{name}"',
                mend="restore the lab book from a backup made before the change",
                code="labbook.edited",
            )
    return entries


def check_book(
    connection: Connection, against: Mapping[str, tuple[int, str]] | None = None, rebuild: Rebuild | None = None
) -> CheckReport:
    """Check everything that can be checked; nothing is changed, every problem is listed.

    Parameters
    ----------
    connection : Connection   In a read transaction.
    against : dict, optional  Heads printed on a write-up, stream name to (seq, hash).
    rebuild : callable        Gives an entry's projected rows again, to compare with those stored.

    Notes
    -----
    A cut tail or a deleted stream is certain only against a printed head. Without one it still shows where
    the running number of the entries has a hole or ends early, unless that was tidied up too.
    """
    problems: list[Problem] = []
    for part in (_integrity, _references, _strays, _guards, _missing_numbers):
        with _listed(problems):
            problems.extend(part(connection))
    names: dict[str, int] = {}
    with _listed(problems):
        names = dict(map(tuple, connection.execute(select(_stream.c.name, _stream.c.id).order_by(_stream.c.id))))
    printed = {name: Head(*head) for name, head in (against or {}).items()}
    stored: _Stored | None = None
    if rebuild:
        with _listed(problems):
            stored = _Stored(connection)
    entries = 0
    for name, stream_id in names.items():
        with _listed(problems):
            chain = read_chain(connection, stream_id, name)
            entries += len(chain)
            problems.extend(_against(chain, printed[name]) if name in printed else ())
            problems.extend(_mentioned(chain, names) if name == BOOK else ())
            problems.extend(_projections(stored.of(stream_id), chain, rebuild) if stored and rebuild else ())
    problems.extend(_gone(name, head) for name, head in printed.items() if name not in names)
    return CheckReport(len(names), entries, tuple(problems))


@contextmanager
def _listed(problems: list[Problem]) -> Iterator[None]:
    """Turn an error into a line of the report, so that the rest is checked too."""
    try:
        with faults.in_words():
            yield
    except RecordError as error:
        place = f"{error.where[:1].upper()}{error.where[1:]}: " if error.where else ""
        problems.append((error.code, f"{place}{error.what}"))


def _integrity(connection: Connection) -> Iterator[Problem]:
    for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(20)").fetchall():
        if said != "ok":
            yield "labbook.damaged", f"The file is damaged: {said}."


def _references(connection: Connection) -> Iterator[Problem]:
    for table, row, target, _ in connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
        yield "labbook.orphan", f"Row {row} of the table {table} belongs to a row of {target} that is gone."


def _strays(connection: Connection) -> Iterator[Problem]:
    """Derived rows that were moved to another stream than their entry's."""
    for table in schema.PROJECTIONS.values():
        if "stream_id" in table.c:
            query = select(table.c.id).join(_entry, table.c.entry_id == _entry.c.id)
            for row in connection.execute(query.where(table.c.stream_id != _entry.c.stream_id)).scalars():
                words = f"its row {row} stands in another stream than its entry"
                yield "labbook.projection", f"The table {table.name} was changed outside the kit: {words}."


def _guards(connection: Connection) -> Iterator[Problem]:
    found = {name for (name,) in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    for table in schema.GUARDED:
        for rule in ("update", "delete", "replace"):
            if f"{table}_no_{rule}" not in found:
                yield "labbook.unguarded", f"The guard of the table {table} against {rule} was removed."


def _missing_numbers(connection: Connection) -> Iterator[Problem]:
    """Holes in the running number, which SQLite's own count shows even at the end."""
    given = connection.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = 'entry'").scalar() or 0
    if connection.execute(select(func.count()).select_from(_entry)).scalar() == given:
        return
    before = 0
    for number in [*connection.execute(select(_entry.c.id).order_by(_entry.c.id)).scalars(), given + 1]:
        lost = number - before - 1
        if lost > 0:
            span = f"number {number - 1}" if lost == 1 else f"numbers {before + 1} to {number - 1}"
            are = "1 entry is" if lost == 1 else f"{lost} entries are"
            yield "labbook.deleted", f"{are} gone from the lab book, {span} in the order they were made."
        before = number


def _mentioned(book: Iterable[Entry], known: Container[str]) -> Iterator[Problem]:
    for made in book:
        name = made.body.get("stream")
        if made.kind == STREAM_OPENED and name not in known:
            yield "labbook.stream_gone", f'The stream "{name}" is gone: entry {made.seq} of the lab book opened it.'


def _gone(name: str, printed: Head) -> Problem:
    count = "1 entry" if printed.seq == 1 else f"{printed.seq} entries"
    return "labbook.stream_gone", f'The stream "{name}" is gone: the write-up was printed when it had {count}.'


def _against(chain: tuple[Entry, ...], printed: Head) -> Iterator[Problem]:
    name, lost = chain[0].stream, printed.seq - len(chain)
    if lost > 0:
        tail = "1 entry" if lost == 1 else f"{lost} entries"
        words = f"the write-up was printed at entry {printed.seq}, the lab book ends at entry {len(chain)}"
        yield "labbook.tail_missing", f'A tail of {tail} is missing from the stream "{name}": {words}.'
    elif printed.seq > 0 and chain[printed.seq - 1].hash != printed.hash:
        words = "is not the one the write-up was printed from: the stream was rebuilt, or this is another lab book"
        yield "labbook.other_head", f'Entry {printed.seq} of the stream "{name}" {words}.'


def _projections(kept: Iterable[StoredRow], chain: tuple[Entry, ...], rebuild: Rebuild) -> Iterator[Problem]:
    expected: Counter = Counter()
    for made in chain:
        for table, columns in _rebuilt(made, rebuild):
            values = stored_values(projection(table), columns)
            expected[made.seq, table, tuple(sorted(values.items()))] += 1
    stored = Counter(kept)
    wrong = {(seq, table) for seq, table, _ in (expected - stored) + (stored - expected)}
    for seq, table in sorted(wrong):
        words = f'what it lists of entry {seq} of the stream "{chain[0].stream}" is not what the entry says'
        yield "labbook.projection", f"The table {table} was changed outside the kit: {words}."


def _rebuilt(made: Entry, rebuild: Rebuild) -> list[tuple[str, Mapping[str, Any]]]:
    try:
        return list(rebuild(made))
    except (LookupError, TypeError, ValueError, ArithmeticError, AttributeError):
        raise RecordError(
            f"Entry {made.seq} does not hold what an entry of its kind ({made.kind}) holds: another program made it.",
            where=f'stream "{made.stream}"',
            mend="restore the lab book from a backup made before it",
            code="labbook.entry_form",
        ) from None


class _Stored:
    """The derived rows of each stream, as they are stored.

    Tables of a batch's rows can be long and are asked stream by stream, by their own index; of the others, a row a
    study, trial, instrument or formula version, there are few, and they are read once.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._held: dict[int, list[StoredRow]] = {}
        self._long: dict[int, list[str]] = {}
        for table in schema.PROJECTIONS.values():
            if "stream_id" in table.c:
                for stream_id in connection.execute(select(table.c.stream_id).distinct()).scalars():
                    self._long.setdefault(stream_id, []).append(table.name)
            else:
                for row in connection.execute(_rows_of(table)):
                    self._held.setdefault(row[0], []).append(_as_kept(table, row))

    def of(self, stream_id: int) -> Iterator[StoredRow]:
        """Rows of one stream."""
        yield from self._held.get(stream_id, ())
        for name in self._long.get(stream_id, ()):
            for row in self._connection.execute(_OF_STREAM[name], {"of": stream_id}):
                yield _as_kept(schema.PROJECTIONS[name], row)


def _rows_of(table: Table) -> Select:
    columns = (table.c[name] for name in own_columns(table))
    return select(_entry.c.stream_id, _entry.c.seq, *columns).join(_entry, table.c.entry_id == _entry.c.id)


_OF_STREAM = {
    name: _rows_of(table).where(table.c.stream_id == bindparam("of"))
    for name, table in schema.PROJECTIONS.items()
    if "stream_id" in table.c
}


def _as_kept(table: Table, row: Any) -> StoredRow:
    _, seq, *values = row
    return seq, table.name, tuple(sorted(zip(own_columns(table), values, strict=True)))
