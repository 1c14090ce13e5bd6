"""The pull calendar of a stability protocol: which jars, when, within which window, and when they are read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

from kit.bench.pull import BASELINE, MICROBIOLOGY, Pull
from kit.bench.pull_icalendar import icalendar_text
from kit.bench.stability_acceptance import AT_END, AT_START, EVERY_PULL
from kit.bench.stability_protocol import Place, StabilityProtocol
from kit.bench.stability_station import Station
from kit.bench.storage import places_words
from kit.errors import KitError
from kit.show import Table


@dataclass(frozen=True)
class PullCalendar:
    """All pulls of some batches, in order.

    Parameters
    ----------
    name : str                 Of the protocol.
    subject : str              What it is for.
    pulls : tuple of Pull      In order of time.
    """

    name: str
    subject: str
    pulls: tuple[Pull, ...]

    def grouped(self) -> list[tuple[Pull, ...]]:
        """Pulls of one batch that are due at one time, together."""
        found: dict[tuple[datetime, str], list[Pull]] = {}
        for pull in self.pulls:
            found.setdefault((pull.due, pull.batch), []).append(pull)
        return [tuple(pulls) for pulls in found.values()]

    def table(self) -> Table:
        """Each day of work in a row."""
        return Table(
            ("pull on", "batch", "after", "from", "jars", "window", "read on"),
            [_row(pulls) for pulls in self.grouped()],
            title="Pull calendar",
            note="Where a day falls on a weekend, any day of the window will do.",
            numeric=frozenset({4}),
        )

    def icalendar(self, stamped: datetime | None = None) -> str:
        """The calendar in the form that calendar programs take in (iCalendar, RFC 5545).

        Parameters
        ----------
        stamped : datetime   When it was made, as the file says; the first pull where omitted, so that the same protocol
                             gives the same file.
        """
        return icalendar_text(self.name, self.subject, self.grouped(), stamped)

    def save(self, path: str | Path, stamped: datetime | None = None) -> Path:
        """Write the iCalendar file.

        Parameters
        ----------
        path : str or Path   Such as "pulls.ics".
        stamped : datetime   As in `icalendar`.

        Raises
        ------
        KitError   `stability.calendar_file`.
        """
        path = Path(path)
        try:
            path.write_bytes(self.icalendar(stamped).encode())
        except OSError as problem:
            raise KitError(
                f"the calendar could not be stored: {problem.strerror or problem}",
                where=str(path),
                mend="check the folder and the disk",
                code="stability.calendar_file",
            ) from None
        return path

    def _repr_html_(self) -> str:
        return self.table()._repr_html_()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def pull_calendar(protocol: StabilityProtocol, starts: Mapping[str, datetime], name: str = "") -> PullCalendar:
    """The pulls of some batches.

    Parameters
    ----------
    protocol : StabilityProtocol
    starts : dict     Batch to the time its baseline is read and its jars go into storage, with a UTC offset.
    name : str        Of the protocol; its subject where empty.

    Raises
    ------
    KitError   `stability.start` for a time without an offset.
    """
    for batch, start in starts.items():
        if not isinstance(start, datetime) or start.utcoffset() is None:
            raise KitError(
                f"{start!r} is no start of {batch}",
                where="pull calendar",
                allowed="a date and time with its UTC offset",
                code="stability.start",
            )
    pulls = [pull for batch, start in starts.items() for pull in _pulls(protocol, batch, start)]
    order = {place.name: index for index, place in enumerate(protocol.places)}
    pulls.sort(key=lambda pull: (pull.due, pull.batch, order.get(pull.place, -1)))
    return PullCalendar(name or protocol.subject, protocol.subject, tuple(pulls))


def _pulls(protocol: StabilityProtocol, batch: str, start: datetime) -> Iterable[Pull]:
    window = _hours(protocol.baseline.tolerance_h)
    first = tuple(limit.property for limit in protocol.limits if limit.when in (EVERY_PULL, AT_START))
    yield Pull(batch, BASELINE, BASELINE, start, start - window, start + window, start, 1, first)
    for place in protocol.places:
        for station in place.stations:
            yield _pull(protocol, batch, start, place, station)


def _pull(protocol: StabilityProtocol, batch: str, start: datetime, place: Place, station: Station) -> Pull:
    is_last = station == place.stations[-1]
    due, window = start + _hours(station.hours), _hours(station.tolerance_h)
    rest = _hours(protocol.rest_h)  # the jar at 25 degC is read beside those that rest, on one day
    packs = [pack for pack in protocol.packs if pack.goes_to(place.name)]
    for_laboratory = is_last and place.name in protocol.microbiology
    looked = [limit.property for limit in protocol.limits if limit.when == EVERY_PULL]
    looked += [limit.property for limit in protocol.limits if is_last and limit.when == AT_END]
    looked += [MICROBIOLOGY] if for_laboratory else []
    jars = len(packs) + for_laboratory
    return Pull(batch, place.name, station.label, due, due - window, due + window, due + rest, jars, tuple(looked))


def _hours(hours: Decimal) -> timedelta:
    return timedelta(minutes=round(float(hours) * 60))


def _row(pulls: tuple[Pull, ...]) -> tuple[object, ...]:
    first = pulls[0]
    days = f"{first.earliest:%d %b} to {first.latest:%d %b}"
    if first.latest - first.earliest < timedelta(days=1):
        days = f"{first.earliest:%H:%M} to {first.latest:%H:%M}"
    read = dict.fromkeys(f"{pull.read_at:%a %Y-%m-%d %H:%M}" for pull in pulls)
    places = "jars go into storage" if first.is_baseline else places_words(pull.place for pull in pulls)
    return (
        f"{first.due:%a %Y-%m-%d %H:%M}",
        first.batch,
        first.station,
        places,
        sum(pull.jars for pull in pulls),
        days,
        "\n".join(read),
    )
