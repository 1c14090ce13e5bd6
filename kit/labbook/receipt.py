"""What a call at the bench gives back: what was recorded, and what to look at now."""

from __future__ import annotations

from dataclasses import dataclass

from kit.show import paragraph


@dataclass(frozen=True, slots=True)
class Receipt:
    """One acknowledged entry. It is on disk before this object exists.

    `new` is False when this very content was recorded before and nothing was added.
    """

    stream: str
    seq: int
    kind: str
    words: str
    notes: tuple[str, ...] = ()
    new: bool = True

    def __str__(self) -> str:
        state = "" if self.new else " (already recorded; nothing added)"
        return "\n".join([f"entry {self.seq}: {self.words}{state}", *(f"  {note}" for note in self.notes)])

    def _repr_html_(self) -> str:
        return paragraph(self)

    __repr__ = __str__
