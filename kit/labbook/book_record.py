"""What every call of a lab book does: record once, and name each stream that is begun in the book's own."""

from __future__ import annotations

from collections.abc import Mapping

from kit.errors import RecordError
from kit.formula.library import Library, load_library
from kit.labbook.projecting import rows_of
from kit.labbook.receipt import Receipt
from kit.labbook.source import LabbookReader, Source
from kit.labbook.store import Store
from kit.labbook.streams import Draft
from kit.labbook.times import read_time, stamp


class BookRecord:
    """The open record, its materials, and the rules for adding to it."""

    def __init__(self, store: Store, library: Library | None = None) -> None:
        self.store = store
        self._library = library

    @property
    def library(self) -> Library:
        """Materials that adjusters are looked up in; the starter materials unless another library was given."""
        if self._library is None:
            self._library = load_library()
        return self._library

    def source(self) -> Source:
        """A fresh read-only view of what is recorded now."""
        return Source(LabbookReader(self.store, self.store.path.name))

    def _define(self, stream: str, kind: str, body: Mapping, words: str, *, mend: str, at: str = "") -> Receipt:
        """Record something that is entered once; the same content again is not doubled, another content is refused."""
        if self.store.has(stream):
            old = next(entry for entry in reversed(self.store.read(stream)) if entry.kind == kind)
            if {**old.body, "at": ""} == {**body, "at": ""}:
                return Receipt(stream, old.seq, kind, words, new=False)
            changed = ", ".join(sorted(key for key in {*old.body, *body} if old.body.get(key) != body.get(key)))
            raise RecordError(
                f"{words} is already recorded with another content ({changed})",
                where=self.store.path.name,
                mend=mend,
                code=f"labbook.{kind}_exists",
            )
        measured = stamp(read_time(at, self.store.clock, where=words)) if at else None
        entry = self.store.append_many(self._opening(stream, kind, dict(body), measured_at=measured))[0]
        return Receipt(stream, entry.seq, kind, words)

    def _opening(
        self, stream: str, stream_kind: str, body: dict, *, kind: str = "", measured_at: str | None = None
    ) -> list:
        """A stream's first entry, and its mention in the book's own stream: a stream that is gone can be missed."""
        kind = kind or stream_kind
        return [
            Draft(
                stream,
                kind,
                body,
                stream_kind=stream_kind,
                measured_at=measured_at,
                project=rows_of(kind, body, measured_at),
            ),
            Draft("book", "stream-opened", {"stream": stream}, stream_kind="book"),
        ]


def plain_name(name: str, what: str) -> str:
    """A short name as it was given; refused (`labbook.name`) where it could not be part of a stream's name."""
    if not name or not name.strip() or "/" in name or name != name.strip():
        raise RecordError(
            f"{name!r} cannot be the name of a {what}",
            allowed="letters, digits, dashes; no slash, no space at the ends",
            mend="choose a short name such as LIN-03",
            code="labbook.name",
        )
    return name
