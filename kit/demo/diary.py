"""An invented bench diary: what was done when, carried out in the order of time on a clock that the diary sets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

SUMMER_TIME = timezone(timedelta(hours=2))


def moment(text: str) -> datetime:
    """ "2026-04-13 08:00" on the bench clock, which shows +02:00 throughout."""
    return datetime.fromisoformat(text).replace(tzinfo=SUMMER_TIME)


@dataclass
class DiaryClock:
    """A clock that shows what the diary says."""

    now: datetime = field(default_factory=lambda: moment("2026-03-30 07:30"))

    def __call__(self) -> datetime:
        """The present, as an aware datetime."""
        return self.now


@dataclass
class Diary:
    """Things to do, each at its time. `run` does them in the order of time and sets the clock before each."""

    clock: DiaryClock
    _pages: list[tuple[datetime, Callable[[], object]]] = field(default_factory=list)

    def note(self, when: datetime, what: Callable[[], object]) -> None:
        """Enter something to do."""
        self._pages.append((when, what))

    def run(self) -> None:
        """Do everything once; things of the same minute keep the order they were entered in."""
        for when, what in sorted(self._pages, key=lambda page: page[0]):
            self.clock.now = when
            what()
        self._pages.clear()
