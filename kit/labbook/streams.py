"""Append-only streams of entries: canonical text, the chain of hashes, and its check. No database here.

An entry is one JSON object, written once in a canonical form and stored verbatim. Each entry carries the
SHA-256 of the entry before it in its stream, so a change to a stored text, a removed entry, a swapped pair
or an entry moved to another stream is seen when the chain is checked. That shows edits made outside the
kit. It does not stop a forger who rebuilds the whole chain: only a head printed on a write-up, kept by
somebody else, tells that apart. A cut tail leaves a whole, shorter chain and needs such a printed head too.

Canonical text: UTF-8, keys sorted by code point, no spaces, decimals as strings, no floats. The hash is
SHA-256 (FIPS 180-4) of its UTF-8 bytes, in lower-case hexadecimal.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from hashlib import sha256
from typing import Any, NamedTuple

from kit.errors import RecordError
from kit.show import Worded

GENESIS = "0" * 64
"""The `previous` of the first entry of every stream: no entry came before it."""

_FIELDS = ("stream", "seq", "kind", "body", "measured_at", "recorded_at", "previous")
_ENCODER = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
_DEEPEST = 60
_RESTORE = "restore the lab book from a backup made before the change, and keep this file for whoever has to explain it"


class Head(NamedTuple):
    """Where a stream ends: the number and the hash of its last entry; (0, GENESIS) before the first."""

    seq: int
    hash: str


@dataclass(frozen=True, slots=True, repr=False)
class Entry(Worded):
    """One entry as it is kept. Made by `seal` or `parse`, never edited.

    Attributes
    ----------
    stream : str               Name of the stream.
    seq : int                  Place in the stream, counted from 1.
    kind : str                 What the entry records, in the caller's words.
    body : dict                The entry itself, JSON values only (decimals as strings).
    measured_at : str or None  When it was seen at the bench, ISO 8601 with its UTC offset.
    recorded_at : str          When it was written down, ISO 8601 with its UTC offset.
    previous : str             Hash of the entry before it, GENESIS for the first.
    text : str                 Canonical JSON of all the above, stored verbatim.
    hash : str                 SHA-256 of `text`.
    """

    stream: str
    seq: int
    kind: str
    body: dict[str, Any]
    measured_at: str | None
    recorded_at: str
    previous: str
    text: str
    hash: str

    @property
    def head(self) -> Head:
        """The head of the stream while this entry is its last."""
        return Head(self.seq, self.hash)

    @property
    def words(self) -> str:
        """Which entry of which stream, what it records, and its content as kept."""
        return f"entry {self.seq} of {self.stream}, {self.kind}, recorded {self.recorded_at}: {canonical(self.body)}"


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry to be appended, before it has a place in its stream.

    Attributes
    ----------
    stream, kind : str             Stream to append to, and what is recorded.
    body : dict                    JSON values and decimals; a float is refused.
    stream_kind : str              Kind of the stream, kept when the entry opens it.
    measured_at : str or datetime  Time seen at the bench, with UTC offset; None where it does not apply.
    project : sequence             Rows (table name, columns) stored in the same transaction.
    expect : Head or None          The head the caller believes in; another head refuses the entry.
    """

    stream: str
    kind: str
    body: Mapping[str, Any]
    stream_kind: str
    measured_at: str | datetime | None = None
    project: Sequence[tuple[str, Mapping[str, Any]]] = field(default=())
    expect: tuple[int, str] | None = None

    def __post_init__(self) -> None:
        """Refuse an empty name before anything is stored."""
        for what in ("stream", "kind", "stream_kind"):
            _name(getattr(self, what), what)


def canonical(value: Any) -> str:
    """The one text a value has: sorted keys, no spaces, UTF-8 kept, decimals as strings.

    Raises
    ------
    RecordError   A float, a key that is no text, a number that is not finite, or a type JSON does not know.

    Examples
    --------
    >>> canonical({"b": [1, None], "a": Decimal("20.040")})
    '{"a":"20.040","b":[1,null]}'
    """
    return _text(_plain(value, "value", 0))


def stamp(when: str | datetime, what: str = "measured_at") -> str:
    """A point in time as it is kept: ISO 8601 with its UTC offset, a typed text verbatim.

    Raises
    ------
    RecordError   `labbook.time`: not ISO 8601, or without an offset (nobody could order it later).

    Examples
    --------
    >>> stamp("2026-03-02T09:12:00+01:00")
    '2026-03-02T09:12:00+01:00'
    """
    try:
        moment = when if isinstance(when, datetime) else datetime.fromisoformat(when)
    except (TypeError, ValueError):
        raise _bad_time(when, what) from None
    if moment.utcoffset() is None:
        raise _bad_time(when, what)
    return when if isinstance(when, str) else when.isoformat()


def seal(
    stream: str,
    seq: int,
    kind: str,
    body: Mapping[str, Any],
    measured_at: str | datetime | None,
    recorded_at: str | datetime,
    previous: str,
) -> Entry:
    """Fix an entry: its canonical text and the hash of that text.

    Parameters are the attributes of `Entry`; `seq` counts from 1, `previous` is the hash before it or GENESIS.

    Raises
    ------
    RecordError   A body that is not an object of JSON values, an empty name, or a time without offset.
    """
    if not isinstance(body, Mapping):
        raise RecordError(
            f"An entry's body is {type(body).__name__}, not an object of named values.",
            where=f'stream "{stream}", entry {seq}',
            mend='pass a dict such as {"material": "glycerin", "mass_g": "12.00"}',
            code="labbook.body",
        )
    fields = {
        "stream": _name(stream, "stream"),
        "seq": seq,
        "kind": _name(kind, "kind"),
        "body": _plain(body, "body", 0),
        "measured_at": None if measured_at is None else stamp(measured_at),
        "recorded_at": stamp(recorded_at, "recorded_at"),
        "previous": previous,
    }
    text = _text(fields)
    return Entry(**fields, text=text, hash=digest(text))


def parse(text: str, hash: str, where: str = "") -> Entry:
    """The entry behind a stored text. The hash is taken as stored: `verify_chain` compares it.

    Raises
    ------
    RecordError   `labbook.edited`: the text is no longer an entry, so it was changed outside the kit.
    """
    try:
        fields = json.loads(text)
        intact = set(fields) == set(_FIELDS) and isinstance(fields["body"], dict) and type(fields["seq"]) is int
    except (TypeError, ValueError, RecursionError):
        intact = False
    if not intact:
        raise RecordError(
            "A stored entry can no longer be read as one: its text was changed outside the kit.",
            where=where,
            mend=_RESTORE,
            code="labbook.edited",
        )
    return Entry(**fields, text=text, hash=hash)


def digest(text: str) -> str:
    """SHA-256 of a text's UTF-8 bytes, in lower-case hexadecimal."""
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def verify_text(entry: Entry, stream: str, seq: int) -> None:
    """Check one entry's text against its hash.

    Raises
    ------
    RecordError   `labbook.edited`, naming the stream and the place given.
    """
    if digest(entry.text) != entry.hash:
        raise _fault("edited", stream, seq, "The text of a stored entry was changed outside the kit.")


def verify_chain(entries: Sequence[Entry], stream: str) -> Head:
    """Check that entries are the whole, untouched beginning of a stream; return where they end.

    Parameters
    ----------
    entries : sequence of Entry   In stored order, from the first.
    stream : str                  The stream they are said to belong to.

    Raises
    ------
    RecordError   The first fault found: `labbook.edited` (text changed), `labbook.wrong_stream`, `labbook.gap`
                  (entry missing before another), `labbook.reordered`, `labbook.replaced` (rewritten, hash too).

    Notes
    -----
    Shows edits made outside the kit, not a forger who rebuilds the chain, and not a cut tail: see the module.
    """
    last = Head(0, GENESIS)
    for entry in entries:
        verify_text(entry, stream, last.seq + 1)
        if entry.stream != stream:
            raise _fault(
                "wrong_stream", stream, last.seq + 1, f'An entry of the stream "{entry.stream}" stands in this one.'
            )
        if entry.seq != last.seq + 1:
            raise _out_of_step(entries, entry, last, stream)
        if entry.previous != last.hash:
            raise _fault("replaced", stream, entry.seq, _replaced(last.seq))
        last = entry.head
    return last


def _out_of_step(entries: Sequence[Entry], entry: Entry, last: Head, stream: str) -> RecordError:
    wanted = last.seq + 1
    if entry.seq < wanted or any(other.seq == wanted for other in entries):
        words = f"Entries stand in another order than they were written: entry {entry.seq} where {wanted} belongs."
        return _fault("reordered", stream, wanted, words)
    count = entry.seq - wanted
    lost = f"Entry {wanted} is" if count == 1 else f"Entries {wanted} to {entry.seq - 1} are"
    before = f"after entry {last.seq}" if last.seq else "at the beginning"
    return _fault("gap", stream, wanted, f"{lost} missing: entry {entry.seq} comes {before}.")


def _replaced(before: int) -> str:
    if not before:
        return "The first entry says that another came before it: the beginning of the stream is missing."
    return f"Entry {before} was replaced: entry {before + 1} was written after another one."


def _fault(code: str, stream: str, seq: int, what: str) -> RecordError:
    return RecordError(what, where=f'stream "{stream}", entry {seq}', mend=_RESTORE, code=f"labbook.{code}")


def _bad_time(when: Any, what: str) -> RecordError:
    return RecordError(
        f"The time {when!r} cannot be kept: it is not a date and time with its UTC offset.",
        where=what,
        allowed='ISO 8601 with offset, "2026-03-02T09:12:00+01:00"',
        mend="write the offset behind the time, +00:00 for UTC",
        code="labbook.time",
    )


def _name(value: Any, what: str) -> str:
    if isinstance(value, str) and value.strip():
        return value
    raise RecordError(f"The {what} of an entry is {value!r}.", allowed="a text that is not empty", code="labbook.name")


def _text(plain: Any) -> str:
    text = _ENCODER.encode(plain)
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise RecordError(
            "A text holds half of a character (a lone surrogate) and cannot be kept as UTF-8.",
            mend="type the text again in place of pasting it",
            code="labbook.text",
        ) from None
    return text


def _plain(value: Any, where: str, depth: int) -> Any:
    """JSON values only, decimals as text; refuses what would not come back as it was typed."""
    if type(value) is dict and depth < _DEEPEST:  # nearly always; asking for any mapping takes longer
        return _plain_items(value, where, depth)
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, Decimal) and value.is_finite():
        return str(value)
    if depth < _DEEPEST and isinstance(value, list | tuple):
        return [_plain(item, f"{where}[{place}]", depth + 1) for place, item in enumerate(value)]
    if depth < _DEEPEST and isinstance(value, Mapping):
        return _plain_items(value, where, depth)
    raise _unkeepable(value, where, depth)


def _plain_items(value: Mapping, where: str, depth: int) -> dict[str, Any]:
    # nearly every value of an entry is a text: the rest alone is looked into
    return {
        (key if type(key) is str else _key(key, where)): item
        if type(item) is str
        else _plain(item, f"{where}.{key}", depth + 1)
        for key, item in value.items()
    }


def _key(key: Any, where: str) -> str:
    if isinstance(key, str):
        return key
    raise RecordError(f"The key {key!r} is not a text.", where=where, mend=f'write "{key}"', code="labbook.body")


def _unkeepable(value: Any, where: str, depth: int) -> RecordError:
    allowed = "text, whole numbers, decimals, true and false, none, lists and objects of these"
    if isinstance(value, float):
        what = f"The number {value!r} is a binary float, which does not keep a number as it was typed."
        return RecordError(
            what, where=where, allowed=allowed, mend='pass the typed text or Decimal("20.04")', code="labbook.float"
        )
    if isinstance(value, Decimal):
        return RecordError(
            f"{value} is not a number that can be kept.", where=where, allowed="finite decimals", code="labbook.body"
        )
    if depth >= _DEEPEST:
        return RecordError(
            f"A body is nested deeper than {_DEEPEST} levels.", where=where[:60] + "...", code="labbook.body"
        )
    return RecordError(
        f"A value of type {type(value).__name__} cannot be kept.", where=where, allowed=allowed, code="labbook.body"
    )
