"""Which pulls of a stability protocol are done, due or missed, by the readings that are there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from kit.bench.property_scale import fold
from kit.bench.pull import MICROBIOLOGY, Pull
from kit.bench.pull_calendar import PullCalendar, pull_calendar
from kit.bench.storage import places_words, storage_key
from kit.labbook.stability_protocol_entry import ProtocolKept, storage_start
from kit.labbook.view import BatchView
from kit.show import Cell, Table, Worded
from kit.trials.wording import plural

DONE, DUE, AHEAD, MISSED, LATE = "done", "due now", "ahead", "MISSED", "read outside its window"
PULL_STATES = (DONE, DUE, AHEAD, MISSED, LATE)
_TONES = {DONE: "pass", DUE: "strong", AHEAD: "quiet", MISSED: "fail", LATE: "flag"}


@dataclass(frozen=True, slots=True, repr=False)
class PullState(Worded):
    """One pull and how it stands.

    Parameters
    ----------
    pull : Pull
    state : str       "done", "due now", "ahead", "MISSED" or "read outside its window".
    readings : int    Readings and words that are there for it.
    left : tuple      Properties that the protocol asks for and nobody has looked at, where others were; what goes to a
                      laboratory aside.
    over : bool       Whether its time is over, so that they cannot be read any more.
    """

    pull: Pull
    state: str
    readings: int
    left: tuple[str, ...] = ()
    over: bool = False

    @property
    def words(self) -> str:
        """The pull, and how it stands."""
        count = f", {plural(self.readings, 'reading')}" if self.readings else ""
        left = f"; {_left(self.over)}: {', '.join(self.left)}" if self.left else ""
        return f"{self.pull}: {self.state}{count}{left}"


def calendar_of(kept: ProtocolKept, batches: Iterable[BatchView]) -> PullCalendar:
    """The pull calendar of those batches that the protocol covers and whose making is finished.

    Parameters
    ----------
    kept : ProtocolKept
    batches : iterable of BatchView
    """
    covered = [batch for batch in batches if batch.finished_at and kept.covers(batch)]
    starts = {batch.name: storage_start(batch, kept.protocol) for batch in covered}
    return pull_calendar(kept.protocol, starts, kept.name)


def pull_states(kept: ProtocolKept, batches: Sequence[BatchView], now: datetime) -> tuple[PullState, ...]:
    """How every pull stands at a moment.

    Parameters
    ----------
    kept : ProtocolKept
    batches : sequence of BatchView
    now : datetime
    """
    seen = {batch.name: _looked(batch) for batch in batches}
    pulls = calendar_of(kept, batches).pulls
    beside: dict[tuple[str, str], list[Pull]] = {}
    for pull in pulls:
        beside.setdefault((pull.batch, pull.place), []).append(pull)
    return tuple(_state(pull, beside[pull.batch, pull.place], seen[pull.batch], now) for pull in pulls)


@dataclass(frozen=True, slots=True)
class _Look:
    """Something that was read or seen of a jar: where it was kept, of what, and when."""

    place: str
    property: str
    at: datetime


def _looked(batch: BatchView) -> list[_Look]:
    """Everything that was read or seen of a batch."""
    found = [(one.storage, one.property, one.measured_at) for one in batch.readings if not one.void]
    found += [(one.storage, one.name, one.measured_at) for one in batch.observations if not one.void]
    return [_Look(storage_key(storage), fold(name), datetime.fromisoformat(at)) for storage, name, at in found if at]


def _state(pull: Pull, beside: Sequence[Pull], looked: Sequence[_Look], now: datetime) -> PullState:
    """How one pull stands; what lies nearer to another pull of the place is that one's, where windows overlap."""
    places = ("", "25 degC") if pull.is_baseline else (pull.place,)
    rest = pull.read_at - pull.due
    mine = [one for one in looked if one.place in places and min(beside, key=lambda near: _apart(near, one.at)) is pull]
    over = now > pull.latest + rest
    inside = [one for one in mine if pull.earliest <= one.at <= pull.latest + rest]
    if inside:
        return PullState(pull, DONE, len(inside), _not_looked_at(pull, inside), over)
    around = [one for one in mine if abs(one.at - pull.due) <= 2 * (pull.latest - pull.due) + rest]
    if around:
        return PullState(pull, LATE, len(around), _not_looked_at(pull, around), over)
    if over:
        return PullState(pull, MISSED, 0, over=True)
    return PullState(pull, DUE if now >= pull.earliest else AHEAD, 0)


def _not_looked_at(pull: Pull, looked: Iterable[_Look]) -> tuple[str, ...]:
    seen = {one.property for one in looked}
    return tuple(name for name in pull.properties if name != MICROBIOLOGY and fold(name) not in seen)


def _apart(pull: Pull, at: datetime) -> timedelta:
    """How far a moment lies from when a pull is due, or from when its jar is read after its rest."""
    return min(abs(at - pull.due), abs(at - pull.read_at))


def pulls_table(states: Sequence[PullState], now: datetime) -> Table:
    """Every pull with how it stands, those of one day together.

    Parameters
    ----------
    states : sequence of PullState
    now : datetime
    """
    groups: dict[tuple, list[PullState]] = {}
    for one in states:
        groups.setdefault((one.pull.due, one.pull.batch, one.pull.station, one.state), []).append(one)
    rows = [_row(found) for found in groups.values()]
    besides = "; what the protocol asks for besides is named" if any(one.left for one in states) else ""
    return Table(
        ("due", "batch, after", "from", "state"),
        rows,
        title=f"Pulls: {states_words(states) or 'none'}",
        note=f"As of {now:%Y-%m-%d %H:%M}. A pull counts as done when anything was read or seen of a jar from there "
        f"within its window{besides}.",
    )


def states_words(states: Sequence[PullState]) -> str:
    """How many pulls stand how: "5 done (1 of them not in full), 2 MISSED"; empty where there are none.

    Parameters
    ----------
    states : sequence of PullState
    """
    told = []
    for state in PULL_STATES:
        alike = [one for one in states if one.state == state]
        partly = sum(bool(one.left) for one in alike)
        told += [f"{len(alike)} {state}{f' ({partly} of them not in full)' if partly else ''}"] if alike else []
    return ", ".join(told)


def _row(found: Sequence[PullState]) -> tuple[object, ...]:
    pull, state = found[0].pull, found[0].state
    places = "jars go into storage" if pull.is_baseline else places_words(one.pull.place for one in found)
    count = sum(one.readings for one in found)
    told = f"{state}, {plural(count, 'reading')}" if count else state
    left = _left_words(found)
    return (
        f"{pull.due:%Y-%m-%d}",
        f"{pull.batch}, {pull.station}",
        places,
        Cell(f"{told}; {left}" if left else told, "flag" if left else _TONES[state]),
    )


def _left_words(found: Sequence[PullState]) -> str:
    """What is left of some pulls of one station: a property by its name, with the places where not all lack it."""
    told = []
    for name in dict.fromkeys(name for one in found for name in one.left):
        lacking = [one.pull.place for one in found if name in one.left]
        told.append(name if len(lacking) == len(found) else f"{name} ({places_words(lacking)})")
    return f"{_left(found[0].over)}: {', '.join(told)}" if told else ""


def _left(over: bool) -> str:
    return "not looked at" if over else "still to look at"
