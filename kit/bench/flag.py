"""A flag: something suspect in a reading itself."""

from __future__ import annotations

from dataclasses import dataclass

from kit.show import Worded


@dataclass(frozen=True, slots=True, repr=False)
class Flag(Worded):
    """Something suspect in a reading itself: a stable code and words."""

    code: str
    words: str
