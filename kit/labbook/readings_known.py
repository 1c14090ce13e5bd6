"""Which rows of a readings file are in the lab book already, and which contradict what is there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import NamedTuple

from kit.labbook.batch_entries import READING_NUMBERS, READING_WORDS
from kit.labbook.times import show_time
from kit.labbook.view import BatchView

_WORDS = (*READING_WORDS, "name", "word")
_NAMES = (*_WORDS, *READING_NUMBERS, "when", "declared")
# What tells one reading from another; two that agree in all of it but not in the rest contradict each other. Where the
# time is not known, the age that was typed stands for it.
_TELLS_APART = ("property", "name", "method", "instrument", "spindle", "storage", "sample", "replicate")

Content = tuple[str, ...]
"""What a reading says, in the order of `_NAMES`; what it does not say is empty."""

Identity = tuple[str, ...]
"""What tells a reading apart, then its time and, where that is not known, its age."""


class _Held(NamedTuple):
    """A reading that is known; its content is worked out only when another of the same identity is met."""

    body: Mapping
    measured_at: str
    label: str
    stands: bool


@dataclass
class KnownReadings:
    """The readings and observations of one batch, and the rows of the file taken so far."""

    _held: dict[Identity, list[_Held]] = field(default_factory=dict)

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
        self._held.setdefault(_identity(body, measured_at), []).append(_Held(body, measured_at, label, stands))

    def meet(self, body: Mapping, measured_at: str, label: str) -> tuple[str, str]:
        """Where this very reading is already, or which reading of the same thing at the same time says something else.

        Both are empty for a new reading, which is taken in.
        """
        met = self._held.setdefault(_identity(body, measured_at), [])
        if met:
            content = _content(body, measured_at)
            same = [held for held in met if _content(held.body, held.measured_at) == content]
            if same:
                return next((held.label for held in reversed(same) if held.stands), same[0].label), ""
            other = next((held for held in met if held.stands), None)
            if other is not None:
                return "", _difference(content, other.label, _content(other.body, other.measured_at))
        met.append(_Held(body, measured_at, label, stands=True))
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
        _when(body, measured_at),
        ", ".join(sorted(get("declared", ()))),
    )


def _identity(body: Mapping, measured_at: str) -> Identity:
    when = _when(body, measured_at)
    return (*[body.get(name) or "" for name in _TELLS_APART], when, "" if when else _number(body.get("age_typed_h")))


def _when(body: Mapping, measured_at: str) -> str:
    return "" if body.get("untimed") else _instant(measured_at)


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
