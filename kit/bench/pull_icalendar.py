"""A pull calendar as an iCalendar file: RFC 5545, the same bytes whenever the same protocol is written."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256

from kit.bench.pull import Pull
from kit.bench.storage import REFERENCE, places_words, storage_words

_PRODUCT = "-//conditioner-trial-kit//pull calendar//EN"
_DOMAIN = "conditioner-trial-kit.invalid"  # a name that RFC 2606 keeps free: the identifier is no address
_LASTS = timedelta(minutes=30)


def icalendar_text(name: str, subject: str, groups: Sequence[tuple[Pull, ...]], stamped: datetime | None = None) -> str:
    """A calendar as text with the line ends and folding that RFC 5545 asks for.

    Parameters
    ----------
    name, subject : str   Of the protocol, and what it is for.
    groups : sequence     Pulls of one batch and station together, in order of time.
    stamped : datetime   When it was made; the first pull where None.
    """
    from icalendar import Calendar

    made = Calendar()
    made.add("prodid", _PRODUCT)
    made.add("version", "2.0")
    stamp = (
        stamped or min((pull.due for pulls in groups for pull in pulls), default=datetime(1970, 1, 1, tzinfo=UTC))
    ).astimezone(UTC)
    for pulls in groups:
        for event in _events((name, subject), pulls, stamp):
            made.add_component(event)
    return made.to_ical(sorted=False).decode()


def _events(protocol: tuple[str, str], pulls: tuple[Pull, ...], stamp: datetime) -> Iterable:
    first = pulls[0]
    if first.is_baseline:
        yield _event(protocol, first, "baseline", f"Baseline {first.batch}: read it, jars into storage", first.due,
                     [_told(first), _window(first)], stamp)  # fmt: skip
        return
    places = places_words(pull.place for pull in pulls)
    jars = sum(pull.jars for pull in pulls)
    lines = [f"{storage_words(pull.place)}: {pull.jars} of {jars} jars" for pull in pulls]
    resting = [pull for pull in pulls if pull.read_at > pull.due and pull.place != REFERENCE]
    lines += [f"Let rest at 25 °C: {places_words(pull.place for pull in resting)}"] if resting else []
    summary = f"Pull {first.batch}, {first.station}: {places}"
    yield _event(protocol, first, f"pull {first.station}", summary, first.due, [*lines, _window(first)], stamp)
    for read_at in sorted({pull.read_at for pull in pulls}):
        ready = [pull for pull in pulls if pull.read_at == read_at]
        names = places_words(pull.place for pull in ready)
        what = f"read {first.station} {read_at - first.due}"
        told = [_told(pull) for pull in ready[:1]]
        yield _event(protocol, first, what, f"Read {first.batch}, {first.station}: {names}", read_at, told, stamp)


def _event(
    protocol: tuple[str, str], pull: Pull, what: str, summary: str, at: datetime, lines: Iterable[str], stamp: datetime
):
    from icalendar import Event

    event, (name, subject) = Event(), protocol
    identity = sha256("\n".join((name, pull.batch, what)).encode()).hexdigest()[:32]
    event.add("uid", f"{identity}@{_DOMAIN}")
    event.add("dtstamp", stamp)
    event.add("dtstart", at.astimezone(UTC))
    event.add("dtend", (at + _LASTS).astimezone(UTC))
    event.add("summary", summary)
    event.add("description", "\n".join([subject, *lines]))
    event.add("transp", "TRANSPARENT")
    return event


def _told(pull: Pull) -> str:
    return f"Look at: {', '.join(pull.properties)}"


def _window(pull: Pull) -> str:
    return f"Within {pull.earliest:%Y-%m-%d %H:%M} to {pull.latest:%Y-%m-%d %H:%M}"
