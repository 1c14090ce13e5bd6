"""A flag: something suspect in a reading itself."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flag:
    """Something suspect in a reading itself: a stable code and words."""

    code: str
    words: str
