"""Times in a readings file: date and time, with an offset or in the zone that was declared for the file."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo

from kit.errors import ReadingsFileError
from kit.labbook.times import offset_of, stamp

_TIME = re.compile(
    r"^(\d{4})-(\d{2})-(\d{2})[T ](\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?"
    r"\s*(?:([AaPp])\.?[Mm]\.?)?\s*(Z|[+-]\d{2}:?\d{2})?$"
)
_DAY = re.compile(r"^(\d{4}-\d\d-\d\d|\d{1,2}[./-]\d{1,2}[./-]\d{2,4})$")
_HOUR = re.compile(r"^\d{1,2}:\d\d")
_NUMBER = re.compile(r"^\d+([.,]\d+)?(\s+\S+)?$")
_LOCAL = re.compile(
    r"^(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})[,T ]\s*(\d{1,2}):(\d{2}(?::\d{2}(?:[.,]\d+)?)?)"
    r"\s*(?:([AaPp])\.?[Mm]\.?)?$"
)
_OFFSET = re.compile(r"^([+-])(\d{2}):?(\d{2})$")
_ALLOWED = '"2026-04-14 10:35", with an offset behind it where it is not the bench\'s: "2026-04-14T10:35+02:00"'


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time, to the second, whether its offset was written beside it, and its text as the record keeps it."""

    at: datetime
    has_offset: bool
    text: str


@dataclass
class Zone:
    """How a time without an offset is read.

    `declared` says whether somebody named the zone; otherwise it is that of the bench clock. `now` is the bench clock.
    """

    zone: tzinfo
    now: datetime
    declared: bool
    without_offset: int = 0
    later: list[str] = field(default_factory=list)
    _seen: dict[str, Moment] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, name: str | None, now: datetime) -> Zone:
        """The zone of a name, "+02:00" or "Europe/Berlin"; the bench clock's when None.

        Raises
        ------
        ReadingsFileError   `import.timezone`.
        """
        return cls(now.tzinfo or UTC, now, False) if name is None else cls(_zone(name), now, True)

    def read(self, cell: str) -> Moment:
        """The moment a cell names, with its offset.

        Raises
        ------
        ReadingsFileError   `import.time` when it cannot be read, `import.time_twice` for an hour that the change of
                            clocks doubles or leaves out.
        """
        if cell not in self._seen:
            self._seen[cell] = self._read(cell)
        moment = self._seen[cell]
        self.without_offset += not moment.has_offset
        if moment.at > self.now:
            self.later.append(cell)
        return moment

    def _read(self, cell: str) -> Moment:
        found = _TIME.match(cell)
        if not found:
            raise ReadingsFileError(
                f"{cell!r} is not a date and time", allowed=_ALLOWED, code="import.time", mend=_how_to_mend(cell)
            )
        *parts, half, offset = found.groups()
        try:
            parts[3] = _hour(parts[3], half)
            moment = datetime(*(int(part or 0) for part in parts))
        except ValueError as problem:
            raise ReadingsFileError(
                f"{cell!r} does not exist: {problem}", allowed=_ALLOWED, mend="correct it", code="import.time"
            ) from None
        placed = moment.replace(tzinfo=_offset(offset)) if offset else self._placed(moment, cell)
        return Moment(placed, bool(offset), stamp(placed))

    def words(self) -> tuple[str, ...]:
        """What was assumed of the times of the file, and what cannot be right."""
        whose = "declared" if self.declared else "the bench clock's"
        count = self.without_offset
        return (
            *(
                [f"{count} time{'s' if count > 1 else ''} without an offset, read in {self.zone} ({whose})"]
                if count
                else []
            ),
            *(
                [f"later than the bench clock, which shows {self.now:%Y-%m-%d %H:%M}: {', '.join(self.later[:3])}"]
                if self.later
                else []
            ),
        )

    def _placed(self, moment: datetime, cell: str) -> datetime:
        offset = offset_of(moment, self.zone)
        if offset is None:
            raise ReadingsFileError(
                f"{cell!r} stands twice or not at all on the clocks of {self.zone}",
                mend="write the offset behind the time",
                allowed=_ALLOWED,
                code="import.time_twice",
            )
        return moment.replace(tzinfo=offset)

    def holds(self, moment: datetime) -> bool:
        """Whether the clocks of the zone showed that moment with the offset it has."""
        return moment.astimezone(self.zone).utcoffset() == moment.utcoffset()


def iso_time(cell: str, order: str) -> str:
    """A time whose day is written 05.03.2026, 5/3/26 or with AM and PM, as year-month-day; any other cell as it is.

    Parameters
    ----------
    cell : str    As it stands in the file; a year of two digits is of this century.
    order : str   "DMY" or "MDY".

    Examples
    --------
    >>> iso_time("05.03.2026 9:10", "DMY"), iso_time("3/5/26 1:05:30 PM", "MDY")
    ('2026-03-05 09:10', '2026-03-05 13:05:30')
    """
    found = _LOCAL.match(cell)
    if not found:
        return cell
    first, second, year, hour, rest, half = found.groups()
    day, month = (first, second) if order == "DMY" else (second, first)
    if half:
        try:
            hour = _hour(hour, half)
        except ValueError:  # left for the reader of times, which says why
            rest = f"{rest} {half}M"
    return f"{'20' if len(year) == 2 else ''}{year}-{int(month):02}-{int(day):02} {int(hour):02}:{rest}"


def _hour(hour: str, half: str | None) -> str:
    """An hour of 24; ValueError for one that does not exist with AM or PM."""
    if not half:
        return hour
    if not 1 <= int(hour) <= 12:
        raise ValueError("with AM or PM the hour must be in 1..12")
    return str(int(hour) % 12 + (12 if half.lower() == "p" else 0))


def _how_to_mend(cell: str) -> str:
    """What to do about a cell that is no date and time, by what it looks like."""
    unknown = "leave it empty and give the age where the time is not known"
    if _LOCAL.match(cell):
        return (
            "write year-month-day, or say in a column map how days are written: "
            'date_order = "DMY" for 31.12.2026, "MDY" for 12/31/2026'
        )
    if _DAY.match(cell):
        return f"a day alone gives no age in hours: add the time; {unknown}"
    if _HOUR.match(cell):
        return f"the day is missing: add it; {unknown}"
    if _NUMBER.match(cell):
        return "a number is no date: give the cells of the sheet a date and time format, then save it again"
    return f"write year-month-day and the time; {unknown}"


def time_notes(moment: Moment, finished_at: str, zone: Zone) -> tuple[str, ...]:
    """What to look at in a reading's time, beside the end of making of its batch."""
    if not finished_at:
        return ("making is not finished: an in-process reading, without an age",)
    end, found = datetime.fromisoformat(finished_at), []
    if moment.at < end:
        found.append("before the end of making: an in-process reading, without an age")
    if not moment.has_offset and moment.at.utcoffset() != end.utcoffset() and not zone.holds(end):
        found.append(f"read with offset {moment.at:%z}, but the batch was finished with {end:%z}: check the time zone")
    return tuple(found)


def _zone(name: str) -> tzinfo:
    text = name.strip()
    return _offset(text) if _OFFSET.match(text) or text.upper() in ("Z", "UTC") else _named_zone(text)


def _offset(text: str) -> timezone:
    found = _OFFSET.match(text)
    if not found:
        return UTC
    sign, hours, minutes = found.groups()
    span = timedelta(hours=int(hours), minutes=int(minutes))
    if span >= timedelta(hours=24):
        raise ReadingsFileError(
            f"{text!r} is not an offset", allowed="+14:00 to -12:00", mend="correct it", code="import.timezone"
        )
    return timezone(-span if sign == "-" else span)


def _named_zone(name: str) -> tzinfo:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ReadingsFileError(
            f"the time zone {name!r} is not known",
            allowed='an offset such as "+02:00", or a zone such as "Europe/Berlin" where this computer knows it',
            mend="give the offset",
            code="import.timezone",
        ) from None
