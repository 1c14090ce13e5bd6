"""Where a source reads from: an open lab book, or a frozen snapshot of one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from kit.labbook.streams import Entry, parse, verify_chain

BatchKey = tuple[str, str, int]  # study, trial, number


class Reader(Protocol):
    """Where a source reads from."""

    title: str

    def close(self) -> None:
        """Let go of what was opened."""

    def read(self, stream: str) -> tuple[Entry, ...]:
        """The chain-checked entries of a stream; empty when there is none."""

    def streams(self, kind: str = "") -> list[str]:
        """Names of all streams, or of one kind."""

    def studies(self) -> list[str]:
        """Names of the studies."""

    def trials(self, study: str) -> list[str]:
        """Names of a study's trials."""

    def batches(self, *, study: str = "", trial: str = "", formula: str = "") -> list[BatchKey]:
        """Batches that fit, in order of recording."""


class SnapshotReader:
    """Reads a frozen snapshot."""

    def close(self) -> None:
        """Nothing is held open."""

    def __init__(self, table: Mapping, title: str) -> None:
        self.title = title
        self._streams = table["streams"]
        self._studies = table["studies"]
        self._trials = table["trials"]
        self._batches = [tuple(row) for row in table["batches"]]

    def read(self, stream: str) -> tuple[Entry, ...]:
        """The chain-checked entries of a stream; empty when there is none."""
        entries = tuple(parse(row["text"], row["hash"]) for row in self._streams.get(stream, ()))
        verify_chain(entries, stream)
        return entries

    def streams(self, kind: str = "") -> list[str]:
        """Names of all streams, or of one kind."""
        return [name for name in self._streams if not kind or name.startswith(f"{kind}/")]

    def studies(self) -> list[str]:
        """Names of the studies."""
        return list(self._studies)

    def trials(self, study: str) -> list[str]:
        """Names of a study's trials."""
        return list(self._trials.get(study, ()))

    def batches(self, *, study: str = "", trial: str = "", formula: str = "") -> list[BatchKey]:
        """Batches that fit, in order of recording."""
        return [
            (row[0], row[1], row[2])
            for row in self._batches
            if (not study or row[0] == study) and (not trial or row[1] == trial) and (not formula or row[3] == formula)
        ]


class LabbookReader:
    """Reads an open store; `owns` says whether closing the source closes it."""

    def __init__(self, store, title: str, *, owns: bool = False) -> None:
        self.title = title
        self.store = store
        self._owns = owns

    def close(self) -> None:
        """Close the store where it was opened for reading only."""
        if self._owns:
            self.store.close()

    def read(self, stream: str) -> tuple[Entry, ...]:
        """The chain-checked entries of a stream; empty when there is none."""
        return self.store.read(stream) if self.store.has(stream) else ()

    def streams(self, kind: str = "") -> list[str]:
        """Names of all streams, or of one kind."""
        return self.store.stream_names(kind or None)

    def studies(self) -> list[str]:
        """Names of the studies."""
        return [row["name"] for row in self.store.rows("study")]

    def trials(self, study: str) -> list[str]:
        """Names of a study's trials."""
        return [row["name"] for row in self.store.rows("trial", study=study)]

    def batches(self, *, study: str = "", trial: str = "", formula: str = "") -> list[BatchKey]:
        """Batches that fit, in order of recording."""
        fits = {name: value for name, value in (("study", study), ("trial", trial), ("formula", formula)) if value}
        return [(row["study"], row["trial"], row["number"]) for row in self.store.rows("batch", **fits)]
