"""Points in time as the record keeps them: ISO 8601 with the offset the clock showed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from decimal import Decimal

from kit.errors import RecordError

Clock = Callable[[], datetime]


def read_time(text: str | datetime, clock: Clock, *, where: str = "") -> datetime:
    """A point in time typed as "2026-03-02 14:05" or "2026-03-02T14:05+01:00".

    Without an offset the bench clock's is taken.

    Raises
    ------
    RecordError   `labbook.time` when it cannot be read.
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
    return moment if moment.tzinfo else moment.replace(tzinfo=clock().tzinfo)


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
