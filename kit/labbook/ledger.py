"""What a batch's entries say once corrections and voids are taken into account.

Nothing is ever changed in a stream: a correction is an entry that names the entry it corrects and carries the new
content, a void is an entry that names another and a reason. This module reads the effective state from them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from kit.labbook.streams import Entry, canonical
from kit.show import Fielded

CORRECTION, VOID = "correction", "void"


@dataclass(frozen=True, slots=True, repr=False)
class Effective(Fielded):
    """One entry as it stands now.

    `corrected_by` is the number of the latest correction, 0 when there is none; `void` is the reason it was voided,
    empty when it stands. `body` is the corrected content; `measured_at` moves only by a correction that gives a time.
    """

    seq: int
    kind: str
    body: dict
    measured_at: str
    recorded_at: str
    corrected_by: int = 0
    why_corrected: str = ""
    void: str = ""

    @property
    def stands(self) -> bool:
        """Whether it counts."""
        return not self.void


@dataclass
class Ledger:
    """The entries of one stream with a quick answer to: was this very content recorded before?"""

    entries: list[Entry] = field(default_factory=list)
    _seen: dict[str, Entry] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, entries: Iterable[Entry]) -> Ledger:
        """A ledger of entries already recorded."""
        ledger = cls()
        for entry in entries:
            ledger.add(entry)
        return ledger

    def add(self, entry: Entry) -> None:
        """Take in an entry that has just been recorded."""
        self.entries.append(entry)
        self._seen.setdefault(_content(entry.kind, entry.body), entry)

    def same(self, kind: str, body: dict) -> Entry | None:
        """The entry that already holds this very content, or None."""
        return self._seen.get(_content(kind, body))

    @property
    def head(self) -> tuple[int, str] | None:
        """Number and hash of the last entry; None before the first."""
        return (self.entries[-1].seq, self.entries[-1].hash) if self.entries else None

    def entry(self, seq: int) -> Entry | None:
        """The entry of that number, or None."""
        return self.entries[seq - 1] if 0 < seq <= len(self.entries) else None

    def effective(self) -> tuple[Effective, ...]:
        """All entries but corrections and voids, as they stand now, in order."""
        return effective(self.entries)


def effective(entries: Iterable[Entry]) -> tuple[Effective, ...]:
    """All entries but corrections and voids, as they stand now, in order."""
    entries = tuple(entries)
    corrections: dict[int, list[Entry]] = {}
    for entry in entries:
        if entry.kind == CORRECTION:
            corrections.setdefault(entry.body["corrects"], []).append(entry)
    voids = {entry.body["voids"]: entry.body["why"] for entry in entries if entry.kind == VOID}
    return tuple(
        _effective(entry, corrections.get(entry.seq, ()), voids.get(entry.seq, ""))
        for entry in entries
        if entry.kind not in (CORRECTION, VOID)
    )


def _effective(entry: Entry, corrections: Sequence[Entry], void: str) -> Effective:
    measured, body = entry.measured_at or entry.recorded_at, entry.body
    if not corrections:
        return Effective(entry.seq, entry.kind, body, measured, entry.recorded_at, void=void)
    for correction in corrections:
        new = correction.body["body"]
        if new.get("at", "") != body.get("at", ""):  # else it was seen when the entry says, not when it was put right
            measured = correction.measured_at or measured
        body = new
    last = corrections[-1]
    return Effective(entry.seq, entry.kind, body, measured, entry.recorded_at, last.seq, last.body["why"], void)


def _content(kind: str, body: dict) -> str:
    return kind + canonical(body)
