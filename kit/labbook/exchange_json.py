"""A whole record as one JSON file (RFC 8259): one entry a line, so that a large one is written and read as it comes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from kit.errors import RecordError
from kit.labbook.exchange_record import (
    FORMAT,
    FORMAT_VERSION,
    RecordOutline,
    StreamEnd,
    Texts,
    altered,
    check_format,
)
from kit.labbook.streams import Entry


def write_record(file: IO[bytes], outline: RecordOutline, entries: Iterator[Entry]) -> None:
    """Write a record; the same record always gives the same bytes."""

    def line(text: str) -> None:
        file.write(text.encode("utf-8") + b"\n")

    line("{")
    line(f'"format": {_text(FORMAT)},')
    line(f'"format_version": {FORMAT_VERSION},')
    line(f'"schema": {outline.schema},')
    line(f'"entry_count": {outline.entries},')
    line(f'"streams_sha256": {_text(outline.digest)},')
    _list(file, "streams", (_text(_row(stream)) for stream in outline.streams))
    file.write(b",\n")
    _list(file, "entries", (_text({"hash": entry.hash, "text": entry.text}) for entry in entries))
    line("\n}")


def read_outline(path: Path) -> RecordOutline:
    """What the record in a file says it holds.

    Raises
    ------
    RecordError   `exchange.not_an_export`, `exchange.newer`, `exchange.altered`.
    """
    with path.open("rb") as file:
        lines = _Lines(file, path.name)
        return lines.outline()


def read_texts(path: Path) -> Texts:
    """Text and hash of every entry of the record in a file.

    Raises
    ------
    RecordError   `exchange.altered`: the file ends early, or a line is not what was written.
    """
    with path.open("rb") as file:
        lines = _Lines(file, path.name)
        lines.outline()
        yield from lines.texts()


class _Lines:
    """The lines of an export, read in the order they were written."""

    def __init__(self, file: IO[bytes], name: str) -> None:
        self._file = file
        self._name = name
        self._number = 0

    def outline(self) -> RecordOutline:
        opening = self._next()
        named = self._value("format") if opening == "{" else None
        check_format(named, self._value("format_version") if named else None, self._name)
        schema, count, said = (self._value(name) for name in ("schema", "entry_count", "streams_sha256"))
        streams = tuple(self._stream(row) for row in self._list("streams", last="],"))
        if type(schema) is not int or type(count) is not int:
            raise self._unlike("a number was due")
        return RecordOutline(schema, streams, count, str(said))

    def texts(self) -> Texts:
        for row in self._list("entries", last="]"):
            if set(row) != {"hash", "text"} or not all(isinstance(part, str) for part in row.values()):
                raise self._unlike("an entry was due")
            yield row["text"], row["hash"]
        if self._next() != "}" or self._file.read(1):
            raise self._unlike("the end of the file was due")

    def _stream(self, row: dict) -> StreamEnd:
        if set(row) != {"stream", "kind", "seq", "hash"} or type(row["seq"]) is not int:
            raise self._unlike("a stream was due")
        return StreamEnd(row["stream"], row["kind"], row["seq"], row["hash"])

    def _list(self, name: str, *, last: str) -> Iterator[dict]:
        if self._next() != f'"{name}": [':
            raise self._unlike(f"the {name} were due")
        more = True
        while more:
            line = self._next()
            more = line.endswith(",")
            row = self._loaded(line.removesuffix(","))
            if not isinstance(row, dict):
                raise self._unlike(f"one of the {name} was due")
            yield row
        if self._next() != last:
            raise self._unlike(f"the end of the {name} was due")

    def _value(self, name: str) -> object:
        line = self._next()
        start = f'"{name}": '
        return self._loaded(line.removeprefix(start).removesuffix(",")) if line.startswith(start) else None

    def _loaded(self, text: str) -> object:
        try:
            return json.loads(text)
        except (ValueError, RecursionError):
            raise self._unlike("it is not JSON") from None

    def _next(self) -> str:
        self._number += 1
        line = self._file.readline()
        if not line.endswith(b"\n"):
            raise altered("it ends before its end", f"{self._name}, line {self._number}")
        try:
            return line.decode("utf-8").rstrip("\r\n")
        except UnicodeDecodeError:
            raise self._unlike("it is not UTF-8") from None

    def _unlike(self, what: str) -> RecordError:
        return altered(f"a line is not what the kit wrote: {what}", f"{self._name}, line {self._number}")


def _list(file: IO[bytes], name: str, rows: Iterator[str]) -> None:
    file.write(f'"{name}": ['.encode())
    between = b"\n"
    for row in rows:
        file.write(between + row.encode("utf-8"))
        between = b",\n"
    file.write(b"\n]")


def _row(stream: StreamEnd) -> dict[str, object]:
    return {"stream": stream.name, "kind": stream.kind, "seq": stream.seq, "hash": stream.hash}


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
