"""Points in time as the record keeps them: ISO 8601 with the offset the clock showed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from decimal import Decimal

from kit.errors import RecordError

Clock = Callable[[], datetime]


class LocalZone(tzinfo):
    """This computer's time zone with its changes of clocks: a winter's hour typed in summer keeps its winter offset."""

    def utcoffset(self, moment: datetime | None) -> timedelta | None:
        """The offset that this computer's clock had, or will have, at a local moment."""
        return None if moment is None else moment.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, moment: datetime | None) -> timedelta | None:
        """Not known apart from the offset."""
        return None

    def fromutc(self, moment: datetime) -> datetime:
        """The local moment of one in UTC; `fold` tells apart the two of an hour that comes twice."""
        local = moment.replace(tzinfo=UTC).astimezone()
        placed = local.replace(tzinfo=self, fold=0)
        return placed if placed.utcoffset() == local.utcoffset() else placed.replace(fold=1)

    def tzname(self, moment: datetime | None) -> str | None:
        """The name the system gives it at a local moment."""
        return None if moment is None else moment.replace(tzinfo=None).astimezone().tzname()

    def __str__(self) -> str:
        return "this computer's time zone"


LOCAL = LocalZone()


def local_now() -> datetime:
    """This computer's time to the second, with its UTC offset."""
    return datetime.now(LOCAL).replace(microsecond=0)


def offset_of(moment: datetime, zone: tzinfo) -> timezone | None:
    """The offset of a local moment in a zone; None where the change of clocks doubles or leaves out that hour."""
    first, second = (moment.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return timezone(first) if first is not None and first == second else None


def read_time(text: str | datetime, clock: Clock, *, where: str = "") -> datetime:
    """A point in time typed as "2026-03-02 14:05" or "2026-03-02T14:05+01:00".

    Without an offset it is read in the bench clock's zone, with the offset that held there at that moment.

    Raises
    ------
    RecordError   `labbook.time` when it cannot be read, or names an hour that the change of clocks doubles or omits.
    """
    try:
        moment = text if isinstance(text, datetime) else datetime.fromisoformat(str(text).strip())
    except ValueError:
        raise RecordError(
            f"{text!r} is not a point in time",
            where=where,
            allowed='"2026-03-02 14:05" or "2026-03-02T14:05+01:00"',
            mend="give date and time",
            code="labbook.time",
        ) from None
    if moment.tzinfo:
        return moment
    zone = clock().tzinfo or UTC
    offset = offset_of(moment, zone)
    if offset is None:
        raise RecordError(
            f"{text!r} stands twice or not at all on the clocks of {zone}",
            where=where,
            allowed='"2026-10-25T02:30+02:00"',
            mend="write the offset behind the time",
            code="labbook.time",
        )
    return moment.replace(tzinfo=offset)


def stamp(moment: datetime) -> str:
    """The moment as the record keeps it, to the second."""
    return moment.isoformat(timespec="seconds")


def hours_between(earlier: str, later: str) -> Decimal:
    """Hours from one recorded moment to another, to the minute. [h]"""
    seconds = (datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds()
    return (Decimal(round(seconds / 60)) / 60).quantize(Decimal("0.01"))


def show_time(text: str) -> str:
    """A recorded moment for reading, in the offset it was recorded with: "2026-03-02 14:05 +01:00"."""
    moment = datetime.fromisoformat(text)
    offset = moment.strftime("%z")
    return f"{moment:%Y-%m-%d %H:%M} {offset[:3]}:{offset[3:5]}"
