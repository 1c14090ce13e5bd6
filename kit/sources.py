"""Where a fact comes from: a source key and its citation, read from kit/data/sources.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Source:
    """One published or unpublished source of facts.

    `read` is the day the document was read for this kit; it is empty for a source cited from memory.
    """

    key: str
    citation: str
    link: str = ""
    read: str = ""
    note: str = ""

    def __str__(self) -> str:
        parts = [self.citation, self.link, f"read {self.read}" if self.read else "cited from memory"]
        return ", ".join(part for part in parts if part)


@lru_cache(maxsize=1)
def sources() -> dict[str, Source]:
    """All sources by key."""
    table = read_data("sources.toml")["sources"]
    return {key: Source(key, **row) for key, row in table.items()}


@cache
def read_data(name: str) -> dict:
    """One of the kit's own fact files, as printed: every number is text. Treat the result as read-only."""
    return tomllib.loads(files("kit.data").joinpath(name).read_text(encoding="utf-8"))
