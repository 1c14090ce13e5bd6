"""Which rows of a readings file are in the lab book already, and which contradict what is there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from operator import itemgetter

from kit.labbook.times import show_time
from kit.labbook.view import READING_NUMBERS, READING_WORDS, BatchView

_WORDS = (*READING_WORDS, "name", "word")
_NAMES = (*_WORDS, *READING_NUMBERS, "when", "declared")
# What tells one reading from another; two that agree in all of it but not in the rest contradict each other. Where the
# time is not known, the age that was typed stands for it.
_TELLS_APART = ("property", "name", "when", "method", "instrument", "spindle", "storage", "sample", "replicate")
_apart = itemgetter(*(_NAMES.index(name) for name in _TELLS_APART))
_WHEN, _AGE = _NAMES.index("when"), _NAMES.index("age_typed_h")

Content = tuple[str, ...]
"""What a reading says, in the order of `_NAMES`; what it does not say is empty."""


@dataclass
class KnownReadings:
    """The readings and observations of one batch, and the rows of the file taken so far."""

    _contents: dict[Content, str] = field(default_factory=dict)
    _identities: dict[Content, tuple[str, Content]] = field(default_factory=dict)

    @classmethod
    def of(cls, batch: BatchView) -> KnownReadings:
        """What the lab book holds for a batch: as first typed, as put right since, and what was voided."""
        known = cls()
        typed = {entry.seq: entry for entry in batch.entries}
        for item in batch.effective:
            if item.kind not in ("reading", "observation"):
                continue
            label = f"entry {item.seq} of {batch.name}, recorded {show_time(item.recorded_at)}"
            first = typed[item.seq]
            known.add(
                first.body,
                first.measured_at or first.recorded_at,
                _fate(label, item.corrected_by, item.void),
                stands=False,
            )
            if item.stands:
                known.add(item.body, item.measured_at, label)
        return known

    def add(self, body: Mapping, measured_at: str, label: str, *, stands: bool = True) -> None:
        """Take in one reading; one that does not stand any more is only recognised, it contradicts nothing."""
        content = _content(body, measured_at)
        self._contents.setdefault(content, label)
        if stands:
            self._contents[content] = label
            self._identities.setdefault(_identity(content), (label, content))

    def meet(self, body: Mapping, measured_at: str, label: str) -> tuple[str, str]:
        """Where this very reading is already, or which reading of the same thing at the same time says something else.

        Both are empty for a new reading, which is taken in.
        """
        content = _content(body, measured_at)
        if content in self._contents:
            return self._contents[content], ""
        identity = _identity(content)
        if identity in self._identities:
            return "", _difference(content, *self._identities[identity])
        self._contents[content] = label
        self._identities[identity] = (label, content)
        return "", ""


def _difference(content: Content, label: str, other: Content) -> str:
    told = ", ".join(
        f"{name} {here or 'nothing'} here, {there or 'nothing'} there"
        for name, here, there in zip(_NAMES, content, other, strict=True)
        if here != there
    )
    return f"{label}: {told}"


def _fate(label: str, corrected_by: int, void: str) -> str:
    if void:
        return f"{label}, and voided since ({void})"
    return f"{label}, and put right since by entry {corrected_by}" if corrected_by else label


def _content(body: Mapping, measured_at: str) -> Content:
    get = body.get
    return (
        *[get(name) or "" for name in _WORDS],
        *[_number(get(name)) for name in READING_NUMBERS],
        "" if get("untimed") else _instant(measured_at),
        ", ".join(sorted(get("declared", ()))),
    )


def _identity(content: Content) -> Content:
    return (*_apart(content), "" if content[_WHEN] else content[_AGE])


@lru_cache(maxsize=4096)
def _number(text: str | None) -> str:
    """A number in the one form that all its spellings share: "4.590" is "4.59"."""
    try:
        return format(Decimal(text).normalize(), "f") if text else ""
    except InvalidOperation:
        return ""


@lru_cache(maxsize=4096)
def _instant(text: str) -> str:
    return datetime.fromisoformat(text).astimezone(UTC).isoformat(timespec="seconds") if text else ""
