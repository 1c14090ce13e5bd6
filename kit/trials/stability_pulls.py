"""Which pulls of a stability protocol are done, due or missed, by the readings that are there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from kit.bench.pull import Pull
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
    """

    pull: Pull
    state: str
    readings: int

    @property
    def words(self) -> str:
        """The pull, and how it stands."""
        count = f", {plural(self.readings, 'reading')}" if self.readings else ""
        return f"{self.pull}: {self.state}{count}"


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


def _looked(batch: BatchView) -> list[tuple[str, datetime]]:
    """Place and moment of everything that was read or seen of a batch."""
    found = [(one.storage, one.measured_at) for one in batch.readings if not one.void and one.measured_at]
    found += [(one.storage, one.measured_at) for one in batch.observations if not one.void and one.measured_at]
    return [(storage_key(storage), datetime.fromisoformat(at)) for storage, at in found]


def _state(pull: Pull, beside: Sequence[Pull], looked: Sequence[tuple[str, datetime]], now: datetime) -> PullState:
    """How one pull stands; what lies nearer to another pull of the place is that one's, where windows overlap."""
    places = ("", "25 degC") if pull.is_baseline else (pull.place,)
    rest = pull.read_at - pull.due
    mine = [at for place, at in looked if place in places and min(beside, key=lambda one: _apart(one, at)) is pull]
    inside = [at for at in mine if pull.earliest <= at <= pull.latest + rest]
    if inside:
        return PullState(pull, DONE, len(inside))
    around = [at for at in mine if abs(at - pull.due) <= 2 * (pull.latest - pull.due) + rest]
    if around:
        return PullState(pull, LATE, len(around))
    if now > pull.latest + rest:
        return PullState(pull, MISSED, 0)
    return PullState(pull, DUE if now >= pull.earliest else AHEAD, 0)


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
    counts = ", ".join(
        f"{sum(1 for one in states if one.state == state)} {state}"
        for state in PULL_STATES
        if any(one.state == state for one in states)
    )
    return Table(
        ("due", "batch, after", "from", "state"),
        rows,
        title=f"Pulls: {counts or 'none'}",
        note=f"As of {now:%Y-%m-%d %H:%M}. A pull counts as done when anything was read or seen of a jar from there "
        "within its window.",
    )


def _row(found: Sequence[PullState]) -> tuple[object, ...]:
    pull, state = found[0].pull, found[0].state
    places = "jars go into storage" if pull.is_baseline else places_words(one.pull.place for one in found)
    count = sum(one.readings for one in found)
    return (
        f"{pull.due:%Y-%m-%d}",
        f"{pull.batch}, {pull.station}",
        places,
        Cell(f"{state}, {plural(count, 'reading')}" if count else state, _TONES[state]),
    )
