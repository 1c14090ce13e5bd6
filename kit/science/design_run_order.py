"""The order in which runs are made: shared out among days, at random inside each day, with a control on every day.

Order at random inside a day keeps a warming instrument or a tiring hand from looking like a factor; the control carries
the day. The seed is told, so that the order can be made again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kit.errors import KitError
from kit.science.design_blocks import balanced_days, block_contrasts
from kit.science.design_checks import require_count
from kit.science.design_day import DayConfounding, confounded_with_day
from kit.science.design_layout import PROCESS, Design
from kit.science.design_value import where_repeats_help
from kit.show import Block, Table, listing


@dataclass(frozen=True, slots=True)
class Slot:
    """One batch of the order.

    Parameters
    ----------
    day : int        Counted from 1.
    place : int      Within the day, counted from 1.
    run : int        Row of the design, counted from 0; None for the control.
    repeat : bool    Whether the run is made on top of the design.
    base : int       Whole plot of a split plot, counted from 0; None in any other. What is made once more has a base of
                     its own.
    """

    day: int
    place: int
    run: int | None
    repeat: bool = False
    base: int | None = None

    @property
    def is_control(self) -> bool:
        """Whether it is the day's control."""
        return self.run is None


@dataclass(frozen=True, repr=False)
class RunOrder:
    """Every batch in the order of making.

    Parameters
    ----------
    slots : tuple of Slot                 Day by day.
    design : Design                       What is made; None where only a number of runs was told.
    seed : int                            Of the order.
    given_up : tuple of str               Contrasts that are the day, in a two-level design that was divided by them.
    confounded : tuple of DayConfounding  What goes with the day all the same, the control left out.
    """

    slots: tuple[Slot, ...]
    design: Design | None
    seed: int
    given_up: tuple[str, ...] = ()
    confounded: tuple[DayConfounding, ...] = ()

    @property
    def days(self) -> tuple[tuple[Slot, ...], ...]:
        """The slots of each day."""
        last = max((slot.day for slot in self.slots), default=0)
        return tuple(tuple(slot for slot in self.slots if slot.day == day) for day in range(1, last + 1))

    @property
    def words(self) -> str:
        """The order in sentences."""
        controls = sum(slot.is_control for slot in self.slots)
        repeats = sum(slot.repeat for slot in self.slots)
        runs = len(self.slots) - controls
        parts = [
            f"{len(self.slots)} batches on {len(self.days)} days: {runs} runs"
            + (f" ({repeats} of them repeats)" if repeats else "")
            + (f" and a control on each of {controls} days" if controls else ", no control")
            + f", at random inside each day (seed {self.seed})."
        ]
        if not controls and len(self.days) > 1:
            parts.append("Without a control on each day nothing carries the day.")
        if self.given_up:
            parts.append(f"Given up to the days: {', '.join(self.given_up)}.")
        return " ".join([*parts, *(one.words for one in self.confounded)])

    def table(self) -> Table:
        """Batch by batch, with the levels."""
        names = () if self.design is None else self.design.names
        rows = []
        for slot in self.slots:
            what = "control" if slot.run is None else f"run {slot.run + 1}" + (" again" if slot.repeat else "")
            rows.append((str(slot.day), str(slot.place), what, *self._levels(slot)))
        columns = ("day", "place", "batch", *names)
        return Table(columns, rows, title="Run order", numeric=frozenset({0, 1, *range(3, len(columns))}))

    def _levels(self, slot: Slot) -> tuple[str, ...]:
        if self.design is None:
            return ()
        return ("",) * len(self.design.names) if slot.run is None else self.design.run_texts(slot.run)

    def _repr_html_(self) -> str:
        return Block((self.table(), listing("How it was made", [self.words])))._repr_html_()

    def __str__(self) -> str:
        return f"{self.words}\n{self.table()}"

    __repr__ = __str__


def run_order(
    design: Design | int,
    days: int | None = None,
    *,
    seed: int,
    capacity: int | Sequence[int] | None = None,
    control_each_day: bool = True,
    repeats: int | Sequence[int] = 0,
) -> RunOrder:
    """Runs shared out among days and put in order.

    A two-level factorial or fraction whose days are a power of two gives up the contrasts of the most factors; any
    other design is shared out by swaps that keep its factors as far from the days as they can be. Centre points and
    repeats are spread. All parts of one base are made on one day, one base after another.

    Parameters
    ----------
    design : Design, int      What is made, or how many runs.
    days : int                How many days; as few as the capacity allows where it is left out.
    seed : int                Of the order.
    capacity : int, sequence  Batches that a day has room for, the control included; bases in a split plot. A sequence
        tells it for each day, one batch at least.
    control_each_day : bool   Whether a control is made on each day; it takes a place.
    repeats : int, sequence   Runs that are made once more: their rows, or how many, which are then taken where they
        help a model of main effects most.

    Raises
    ------
    KitError   `design.count`, `design.runs`, `design.capacity`.
    """
    import numpy as np

    require_count("run order", least=0, most=2**63, seed=seed)
    runs = design if isinstance(design, int) else len(design)
    require_count("run order", least=1, runs=runs)
    plan = design if isinstance(design, Design) else Design(("run",), tuple((0.0,) for _ in range(runs)))
    again = _again(plan, repeats, design)
    made = [*range(runs), *again]
    units = _units(plan, made)
    sizes = _sizes(len(units), days, capacity, int(control_each_day))
    random = np.random.default_rng(seed)
    given_up, of_unit = _share_out(plan, made, units, sizes, seed)
    bases = [None] * len(made) if plan.whole_plot is None else _bases(units)
    slots: list[Slot] = []
    for day in range(len(sizes)):
        today = [index for index, when in enumerate(of_unit) if when == day]
        slots += _day(day + 1, [units[index] for index in today], made, runs, bases, control_each_day, random)
    confounded = () if isinstance(design, int) else _confounded(plan, slots)
    return RunOrder(tuple(slots), None if isinstance(design, int) else plan, seed, given_up, confounded)


def _again(plan: Design, repeats: int | Sequence[int], design: Design | int) -> list[int]:
    if not isinstance(repeats, int):
        rows = list(repeats)
        if not all(isinstance(row, int) and 0 <= row < len(plan) for row in rows):
            raise KitError(
                f"the runs {', '.join(map(str, rows))} cannot all be repeated",
                where="run order",
                allowed=f"rows from 0 to {len(plan) - 1}",
                mend="name rows of the design, counted from 0",
                code="design.runs",
            )
        return rows
    require_count("run order", least=0, most=len(plan), repeats=repeats)
    if isinstance(design, int):
        return list(range(repeats))
    return list(where_repeats_help(plan, repeats))


def _units(plan: Design, made: Sequence[int]) -> list[tuple[int, ...]]:
    """What is made together, as places in `made`: single runs, or the parts of one base."""
    if plan.whole_plot is None:
        return [(place,) for place in range(len(made))]
    of_base: dict[tuple[int, bool], list[int]] = {}
    for place, run in enumerate(made):
        of_base.setdefault((plan.whole_plot[run], place >= len(plan)), []).append(place)
    return [tuple(places) for places in of_base.values()]


def _bases(units: Sequence[Sequence[int]]) -> list[int]:
    """The base of each place in `made`: those of the design in their order, then those that repeats need."""
    return [base for _, base in sorted((place, base) for base, unit in enumerate(units) for place in unit)]


def _sizes(units: int, days: int | None, capacity: int | Sequence[int] | None, controls: int) -> list[int]:
    """Units on each day, as even as the capacities allow."""
    if days is not None:
        require_count("run order", least=1, most=366, days=days)
    rooms = _rooms(units, days, capacity, controls)
    if days is None:
        days = next((count for count in range(1, len(rooms) + 1) if sum(rooms[:count]) >= units), len(rooms))
    rooms = rooms[:days]
    if len(rooms) < days or min(rooms) < 1 or sum(rooms) < units or days > units:
        raise _too_full(units, days, rooms, controls)
    sizes = [0] * days
    for _ in range(units):
        open_days = [day for day in range(days) if sizes[day] < rooms[day]]
        sizes[min(open_days, key=lambda day: (sizes[day], day))] += 1
    return sizes


def _rooms(units: int, days: int | None, capacity: int | Sequence[int] | None, controls: int) -> list[int]:
    if capacity is None:
        return [units] * (1 if days is None else days)
    if isinstance(capacity, int):
        require_count("run order", least=1, capacity=capacity)
        return [capacity - controls] * (units if days is None else days)
    return [int(room) - controls for room in capacity]


def _too_full(units: int, days: int, rooms: Sequence[int], controls: int) -> KitError:
    kept = " beside the control" if controls else ""
    if days > units:
        return KitError(
            f"{units} batches cannot be spread over {days} days",
            where="run order",
            allowed=f"at most {units} days",
            mend="take fewer days",
            code="design.capacity",
        )
    room = sum(max(room, 0) for room in rooms)
    told = f"{len(rooms)} {'day' if len(rooms) == 1 else 'days'}"
    asked = f", and {days} are asked for" if len(rooms) < days else ""
    return KitError(
        f"{units} batches do not go into {told} with room for {room}{kept}{asked}",
        where="run order",
        allowed="days with room for every batch, and for one at least on each",
        mend="add a day, make more a day, or make fewer runs",
        code="design.capacity",
    )


def _share_out(plan, made, units, sizes, seed) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """Contrasts given up, and the day of each unit."""
    if len(sizes) == 1:
        return (), (0,) * len(units)
    whole = Design(plan.names, tuple(plan.levels[run] for run in made), plan.kind, categories=plan.categories)
    found = _by_contrasts(plan, whole, sizes) if len(units) == len(made) else None
    return found or ((), balanced_days(whole, units, sizes, seed))


def _by_contrasts(plan: Design, whole: Design, sizes: Sequence[int]) -> tuple[tuple[str, ...], tuple[int, ...]] | None:
    """The corners of a two-level design by contrasts, its centre points wherever a day has places left."""
    corners = [place for place, run in enumerate(whole.levels) if any(run)]
    each = len(corners) // len(sizes)
    if set(plan.kind) != {PROCESS} or min(sizes) < each:
        return None
    found = block_contrasts(replace(plan, levels=tuple(whole.levels[place] for place in corners)), len(sizes))
    if found is None:
        return None
    day_of = dict(zip(corners, found[1], strict=True))
    left = [size - each for size in sizes]
    open_places = [day for turn in range(max(left)) for day in range(len(sizes)) if turn < left[day]]
    centres = [place for place in range(len(whole)) if place not in day_of]
    day_of |= dict(zip(centres, open_places, strict=True))
    return found[0], tuple(day_of[place] for place in range(len(whole)))


def _day(day, units, made, runs, bases, control, random) -> list[Slot]:
    """One day's batches at random, the control among them; the parts of a base stay together, at random too."""
    groups = [list(unit) for unit in units] + ([[None]] if control else [])
    slots = []
    for index in random.permutation(len(groups)):
        group = groups[index]
        for part in random.permutation(len(group)):
            place = group[part]
            run = None if place is None else made[place]
            base = None if place is None else bases[place]
            slots.append(Slot(day, len(slots) + 1, run, place is not None and place >= runs, base))
    return slots


def _confounded(plan: Design, slots: Sequence[Slot]) -> tuple[DayConfounding, ...]:
    made = [slot for slot in slots if slot.run is not None]
    return confounded_with_day(plan.taking(slot.run for slot in made), [f"day {slot.day}" for slot in made])
