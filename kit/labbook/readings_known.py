"""Which rows of a readings file are in the lab book already, and which contradict what is there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation

from kit.labbook.times import show_time
from kit.labbook.view import READING_NUMBERS, READING_WORDS, BatchView

_WORDS = (*READING_WORDS, "name", "word")
# What tells one reading from another; two that agree in all of it but not in the rest contradict each other.
_TELLS_APART = ("property", "name", "when", "method", "instrument", "spindle", "storage", "sample", "replicate")

Content = tuple[tuple[str, object], ...]


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

    def same(self, body: Mapping, measured_at: str) -> str:
        """Where this very reading is already; empty when it is new."""
        return self._contents.get(_content(body, measured_at), "")

    def contradicts(self, body: Mapping, measured_at: str) -> str:
        """The reading of the same thing at the same time that says something else, and in what; empty if none."""
        content = _content(body, measured_at)
        label, other = self._identities.get(_identity(content), ("", ()))
        if not label:
            return ""
        here, there = dict(content), dict(other)
        told = ", ".join(
            f"{name} {_shown(here.get(name))} here, {_shown(there.get(name))} there"
            for name in dict.fromkeys([*here, *there])
            if here.get(name) != there.get(name)
        )
        return f"{label}: {told}"


def _fate(label: str, corrected_by: int, void: str) -> str:
    if void:
        return f"{label}, and voided since ({void})"
    return f"{label}, and put right since by entry {corrected_by}" if corrected_by else label


def _content(body: Mapping, measured_at: str) -> Content:
    numbers = {name: _number(body.get(name)) for name in READING_NUMBERS}
    words = {name: body.get(name) for name in _WORDS}
    other = {
        "when": "" if body.get("untimed") else _instant(measured_at),
        "declared": ", ".join(sorted(body.get("declared", ()))),
    }
    return tuple((name, value) for name, value in {**words, **numbers, **other}.items() if value not in (None, ""))


def _identity(content: Content) -> Content:
    parts = {name: value for name, value in content if name in _TELLS_APART}
    if "when" not in parts:
        parts["age"] = dict(content).get("age_typed_h", "")
    return tuple(parts.items())


def _number(text: str | None) -> Decimal | None:
    try:
        return None if text in (None, "") else Decimal(text).normalize()
    except InvalidOperation:
        return None


def _instant(text: str) -> str:
    return datetime.fromisoformat(text).astimezone(UTC).isoformat(timespec="seconds") if text else ""


def _shown(value: object) -> str:
    return "nothing" if value in (None, "") else format(value, "f") if isinstance(value, Decimal) else str(value)
