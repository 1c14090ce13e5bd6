"""One pull of a stability protocol: jars of a batch that are due at a station."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from kit.bench.storage import storage_words
from kit.show import Worded

BASELINE = "baseline"
MICROBIOLOGY = "microbiology"
"""What a jar of the last station goes to a laboratory for."""


@dataclass(frozen=True, slots=True, repr=False)
class Pull(Worded):
    """Jars of one batch from one place at one station.

    Parameters
    ----------
    batch : str             "CHA-04/1".
    place, station : str    "40 degC", "4 weeks"; both "baseline" for the reading at the baseline.
    due : datetime          When to take them out.
    earliest, latest : datetime   The window.
    read_at : datetime      When they have rested.
    jars : int              How many, one a pack.
    properties : tuple of str   What is looked at.
    """

    batch: str
    place: str
    station: str
    due: datetime
    earliest: datetime
    latest: datetime
    read_at: datetime
    jars: int
    properties: tuple[str, ...]

    @property
    def is_baseline(self) -> bool:
        """Whether it is the reading at the baseline, when jars go into storage."""
        return self.place == BASELINE

    @property
    def words(self) -> str:
        """Which jars, and when."""
        where = "" if self.is_baseline else f", {storage_words(self.place)}"
        return f"{self.batch}, {self.station}{where}, due {self.due:%Y-%m-%d %H:%M}"
