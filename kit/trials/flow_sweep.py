"""The order of the speeds in a sweep: the run up, the run down, the readings after rest, and what belongs to none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from kit.bench.readings import Reading
from kit.show import Fielded

LEAST_SPEEDS = 3
UP, DOWN, AFTER_REST, MIXED = "up", "down", "after rest", "no order"

BEFORE, HELD, LATER = (
    "read before the sweep: not a part of it",
    "held at the turning speed: between the run up and the run down",
    "read later on a filling that was sheared already; a fresh filling has a replicate of its own",
)


@dataclass(frozen=True, slots=True, repr=False)
class Sweep(Fielded):
    """Readings of one filling at several speeds, in the order they were taken.

    Parameters
    ----------
    up, down : tuple of Reading   With rising and with falling speed; the reading at the turn belongs to both where it
                                  was taken once.
    after_rest : tuple of Reading   At the lowest speed again, after the last run.
    mixed : tuple of Reading      All of them, where the speeds neither rose nor fell.
    apart : tuple of (Reading, str)   What belongs to none of these, and why.
    """

    up: tuple[Reading, ...] = ()
    down: tuple[Reading, ...] = ()
    after_rest: tuple[Reading, ...] = ()
    mixed: tuple[Reading, ...] = ()
    apart: tuple[tuple[Reading, str], ...] = ()

    @property
    def runs(self) -> tuple[tuple[str, tuple[Reading, ...]], ...]:
        """The runs that have three speeds, with their names; the one a model is fitted to is the first."""
        told = ((UP, self.up), (DOWN, self.down), (MIXED, self.mixed))
        return tuple((name, run) for name, run in told if speeds(run) >= LEAST_SPEEDS)

    @property
    def before_rest(self) -> Reading | None:
        """The last reading before the rest; None without one after it."""
        sheared = (*self.up, *self.down)
        return sheared[-1] if self.after_rest and sheared else None


def speeds(readings: Sequence[Reading]) -> int:
    """How many different speeds were read."""
    return len({reading.rpm for reading in readings})


def in_order(readings: Sequence[Reading]) -> list[Reading]:
    """Readings in the order they were taken: by their time, at one time by entry; by entry where a time is missing."""
    if any(reading.measured_at is None for reading in readings):
        return sorted(readings, key=lambda reading: reading.entry)
    return sorted(readings, key=lambda reading: (datetime.fromisoformat(reading.measured_at), reading.entry))


def find_sweep(readings: Sequence[Reading]) -> Sweep:
    """Sort the readings of one filling into runs.

    Parameters
    ----------
    readings : sequence of Reading   Of one batch, spindle and instrument, each with a speed.

    Returns
    -------
    Sweep

    Notes
    -----
    The run up is the first rise of three speeds or more, the run down the fall that follows it. Without a rise the
    first fall is taken. Readings at the lowest speed after the last run are those after rest.
    """
    ordered = in_order(readings)
    rise = _first_run(ordered, 1)
    if rise is None:
        fall = _first_run(ordered, -1)
        if fall is None:
            return Sweep(mixed=tuple(ordered))
        return _with_rest(ordered, fall[0], (), ordered[fall[0] : fall[1]], fall[1])
    begin, end = rise
    top = ordered[end - 1].rpm
    turn = end
    while turn < len(ordered) and ordered[turn].rpm == top:
        turn += 1
    after = _run_from(ordered, turn - 1, -1)
    down = ordered[turn - 1 : after] if _falls_slowly(ordered, turn - 1, after) else []
    held = tuple((reading, HELD) for reading in ordered[end : turn - 1 if down else turn])
    return _with_rest(ordered, begin, tuple(ordered[begin:end]), down, after if down else turn, held)


def _with_rest(ordered, begin: int, up, down, end: int, held=()) -> Sweep:
    sheared = [*up, *down]
    lowest = min(reading.rpm for reading in sheared)
    before = tuple((reading, BEFORE) for reading in ordered[:begin])
    rest = end
    while rest < len(ordered) and ordered[rest].rpm == lowest:
        rest += 1
    later = tuple((reading, LATER) for reading in ordered[rest:])
    return Sweep(tuple(up), tuple(down), tuple(ordered[end:rest]), (), (*before, *held, *later))


def _first_run(ordered: Sequence[Reading], sign: int) -> tuple[int, int] | None:
    """Ends of the first run of at least three speeds that rises (sign 1) or falls (-1)."""
    begin = 0
    while begin < len(ordered):
        end = _run_from(ordered, begin, sign)
        if end - begin >= LEAST_SPEEDS:
            return begin, end
        begin = max(end - 1, begin + 1)
    return None


def _run_from(ordered: Sequence[Reading], begin: int, sign: int) -> int:
    """Where a run from here ends: the index after its last reading."""
    end = begin + 1
    while end < len(ordered) and sign * (ordered[end].rpm - ordered[end - 1].rpm) > 0:
        end += 1
    return end


def _falls_slowly(ordered: Sequence[Reading], begin: int, end: int) -> bool:
    """Whether a fall is a run down: a jump from the highest straight to the lowest speed is the end of shear."""
    return end - begin >= LEAST_SPEEDS
