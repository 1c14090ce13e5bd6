"""A whole record on its way between a lab book and files: checked before it leaves, checked before it is laid down.

An entry travels as its canonical text and hash, verbatim, in the order the entries were made, so that a lab book that
took a record in gives out the same record again.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from decimal import InvalidOperation
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import RecordError
from kit.labbook.bulk import collector_paused
from kit.labbook.projecting import rows_of_entry
from kit.labbook.streams import GENESIS, Entry, Head, canonical, digest, parse
from kit.show import Worded

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from kit.labbook.store import Store

FORMAT = "kit labbook export"
FORMAT_VERSION = 1

Texts = Iterator[tuple[str, str]]
"""Canonical text and hash of every entry, in the order they were made."""

Place = Callable[[int, str], str]
"""Where the text of an entry stands in a file, from its number and its text."""

_CHUNK = 5_000  # entries stored in one go
_AGAIN = "export the lab book again, and keep this file for whoever has to explain it"


@dataclass(frozen=True, slots=True)
class StreamEnd:
    """A stream and where it ends: its kind, the number of its last entry and that entry's hash."""

    name: str
    kind: str
    seq: int
    hash: str


@dataclass(frozen=True, slots=True)
class RecordOutline:
    """What a record holds: the schema of the lab book it comes from, its streams in order, and how many entries.

    `digest` is the SHA-256 of all that, as the file says it: the kind of a stream stands in no entry.
    """

    schema: int
    streams: tuple[StreamEnd, ...]
    entries: int
    digest: str = ""

    def own_digest(self) -> str:
        """The digest of what is listed here."""
        listed = [[stream.name, stream.kind, stream.seq, stream.hash] for stream in self.streams]
        return digest(canonical([self.schema, self.entries, listed]))


@dataclass(frozen=True, slots=True, repr=False)
class ExchangeReport(Worded):
    """What was written or taken in, and where it lies."""

    path: Path
    streams: int
    entries: int
    words: str

    def __str__(self) -> str:
        return f"{self.path.name}: {self.words}"


@contextmanager
def checked_store(source: object) -> Iterator[Store]:
    """The store behind an open lab book, its source or its file, as it is at one moment, every chain checked.

    Raises
    ------
    RecordError   `exchange.unsound` with what the check found; `exchange.part` for a snapshot; what opening refuses.
    """
    with _opened(source) as store, store.snapshot():
        report = store.check(rebuild=rows_of_entry)
        if not report.ok:
            raise RecordError(
                f"the lab book does not hold together, so nothing was written: {report}",
                where=store.path.name,
                mend="restore it from a backup made before the change, then export",
                code="exchange.unsound",
            )
        yield store


def outline_of(store: Store) -> RecordOutline:
    """What a store holds."""
    from kit.labbook.schema import VERSION

    streams = tuple(StreamEnd(name, kind, *head) for name, kind, head in store.outline())
    outline = RecordOutline(VERSION, streams, sum(stream.seq for stream in streams))
    return replace(outline, digest=outline.own_digest())


def verified(outline: RecordOutline, texts: Texts, where: str, place: Place | None = None) -> Iterator[Entry]:
    """The entries of a record, each checked as it comes; the heads are compared at the end.

    `place` says where in the file an entry stands; without it, its number is said.

    Raises
    ------
    RecordError   `exchange.altered`: an entry, or the list of streams, is not what was exported.
    """
    if outline.digest != outline.own_digest():
        raise altered("its list of streams is not the one that was exported", where)
    ends: dict[str, Head] = {}
    count = 0
    for count, (text, hash) in enumerate(texts, start=1):
        entry = _whole(text, hash, count, where, place)
        last = ends.get(entry.stream, Head(0, GENESIS))
        if (entry.seq, entry.previous) != (last.seq + 1, last.hash):
            what = f'entry {entry.seq} of the stream "{entry.stream}" does not follow entry {last.seq}'
            raise altered(what, _place(count, text, where, place))
        ends[entry.stream] = entry.head
        yield entry
    if count != outline.entries:
        raise altered(f"it holds {count} entries, {outline.entries} were exported", where)
    for stream, (name, head) in zip(outline.streams, ends.items(), strict=False):
        if (stream.name, stream.seq, stream.hash) != (name, *head):
            raise altered(f'the stream "{name}" does not end where the list of streams says', where)
    if len(outline.streams) != len(ends):
        raise altered(f"it lists {len(outline.streams)} streams, the entries belong to {len(ends)}", where)


def take_in(
    path: Path, outline: RecordOutline, read: Callable[[], Texts], where: str, place: Place | None = None
) -> ExchangeReport:
    """Make a lab book of a record. It appears whole and checked, or not at all.

    Parameters
    ----------
    path : Path               The new lab book; an empty lab book of that name is replaced.
    outline : RecordOutline   What the record says it holds.
    read : callable           Gives its entries from the first; called twice, to check all before anything is written.
    where : str               Name of the file, for messages.
    place : callable          Where in the file an entry stands, for messages; its number when None.

    Raises
    ------
    RecordError   `exchange.newer`, `exchange.altered`, `exchange.entry`, `exchange.unsound`, `exchange.not_empty`.
    """
    from kit.labbook import migrate

    _refuse_newer_schema(outline, where)
    replaces = _is_empty_labbook(path)
    for _ in verified(outline, read(), where, place):
        pass
    target = path.with_name(f".{path.name}.taken-in") if replaces else path
    with collector_paused():
        migrate.make(target, lambda connection: _lay_down(connection, outline, verified(outline, read(), where), where))
    if replaces:
        os.replace(target, path)
    return ExchangeReport(
        path, len(outline.streams), outline.entries, f"{_held(outline)} taken in, every chain checked"
    )


def written(path: Path, outline: RecordOutline) -> ExchangeReport:
    """The report of a record that was written."""
    return ExchangeReport(path, len(outline.streams), outline.entries, f"{_held(outline)} written, every chain checked")


def altered(what: str, where: str) -> RecordError:
    """The error of a record that is not what was exported."""
    return RecordError(
        f"the export was changed or is not whole: {what}; nothing was stored",
        where=where,
        mend=_AGAIN,
        code="exchange.altered",
    )


def check_format(named: object, version: object, where: str) -> None:
    """Refuse what is not an export of a lab book, or one of a newer kit.

    Raises
    ------
    RecordError   `exchange.not_an_export`, `exchange.newer`.
    """
    if named != FORMAT or type(version) is not int:
        raise RecordError(
            "the file is not an export of a lab book",
            where=where,
            allowed="what `kit export --as json` or `--as csv` wrote",
            mend="check the name",
            code="exchange.not_an_export",
        )
    if version > FORMAT_VERSION:
        raise _newer(f"its format is {version}, this kit knows {FORMAT_VERSION}", where)


def _refuse_newer_schema(outline: RecordOutline, where: str) -> None:
    from kit.labbook.schema import VERSION

    if outline.schema > VERSION:
        raise _newer(f"its schema is {outline.schema}, this kit knows {VERSION}", where)


def _newer(what: str, where: str) -> RecordError:
    return RecordError(
        f"the export was written by a newer kit ({what}); nothing was stored",
        where=where,
        mend="update the kit, then import it again",
        code="exchange.newer",
    )


def _held(outline: RecordOutline) -> str:
    return f"{outline.entries} entries in {len(outline.streams)} streams"


@contextmanager
def _opened(source: object) -> Iterator[Store]:
    from kit.labbook.store import Store

    held = getattr(source, "store", source)
    if isinstance(held, Store):
        yield held
    elif hasattr(source, "batch_keys"):
        raise RecordError(
            "a snapshot holds a part of a lab book and cannot be exported as one",
            where=str(getattr(source, "title", "")),
            mend="export the lab book it was made from",
            code="exchange.part",
        )
    else:
        with Store.open(Path(str(source)), read_only=True) as store:
            yield store


def _whole(text: str, hash: str, count: int, where: str, place: Place | None) -> Entry:
    try:
        entry = parse(text, hash)
    except RecordError:
        raise altered("its text cannot be read as an entry", _place(count, text, where, place)) from None
    if digest(text) != hash:
        what = f'entry {entry.seq} of the stream "{entry.stream}" is not what was recorded, its hash says'
        raise altered(what, _place(count, text, where, place))
    return entry


def _place(count: int, text: str, where: str, place: Place | None) -> str:
    return f"{where}, {place(count, text) if place else f'entry {count}'}"


def _is_empty_labbook(path: Path) -> bool:
    """Whether a lab book of that name holds nothing but its own beginning; False where the name is free.

    Raises
    ------
    RecordError   `exchange.not_empty`.
    """
    from kit.labbook import sqlite_file
    from kit.labbook.store import Store

    if not path.exists():
        return False
    with Store.open(path) as store:
        empty = sum(head.seq for head in store.heads().values()) <= 1
    beside = [path.with_name(path.name + end) for end in sqlite_file.BESIDE]
    if empty and not any(file.exists() and file.stat().st_size for file in beside):
        return True
    raise RecordError(
        f"{path.name} is in use or holds entries already; it was not touched",
        where=str(path.parent),
        allowed="a new name, or a lab book that was just made and is closed",
        mend="choose a new name",
        code="exchange.not_empty",
    )


def _lay_down(connection: Connection, outline: RecordOutline, entries: Iterator[Entry], where: str) -> None:
    from kit.labbook import append
    from kit.labbook.check import check_book

    ids = append.open_streams(connection, [(stream.name, stream.kind) for stream in outline.streams])
    before = 0
    while chunk := list(islice(entries, _CHUNK)):
        append.lay_down_sealed(connection, [(made, ids[made.stream], _rows(made, where)) for made in chunk], before)
        before += len(chunk)
    heads = {stream.name: (stream.seq, stream.hash) for stream in outline.streams}
    report = check_book(connection, heads, rows_of_entry)
    if not report.ok:
        raise RecordError(
            f"the record does not hold together once laid down: {report}; nothing was stored",
            where=where,
            mend=_AGAIN,
            code="exchange.unsound",
        )


def _rows(entry: Entry, where: str) -> Iterable[tuple[str, dict[str, Any]]]:
    try:
        return rows_of_entry(entry)
    except (LookupError, TypeError, ValueError, InvalidOperation):
        raise RecordError(
            f'entry {entry.seq} of the stream "{entry.stream}" says it is a {entry.kind}, but lacks what one holds',
            where=where,
            mend=_AGAIN,
            code="exchange.entry",
        ) from None
