"""Counts of a challenge test held against a published criterion: met, not met, or not to be told, and why.

Nothing is guessed: a count that is missing, or a detection limit too high to show what is asked, leaves the criterion
open. A rise is counted from the detection limit where the earlier count lies below it, as laboratories do, and said.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kit.science.microbial_counts import Count, log_reduction

_ROUNDING = 1e-9  # log: 9.9e5 to 9.9e2 is a reduction of 3, whatever the last binary figure says

Counts = Mapping[int, Count]
"""Counts by day after inoculation; day 0 is the inoculum in the product."""


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a criterion asks of one group of organisms on one day.

    `reduction` is the least log reduction against day 0, None where none is asked; `no_increase_from` the day whose
    count must not be exceeded by more than the criterion allows, None where that is not asked.
    """

    group: str
    day: int
    reduction: float | None = None
    no_increase_from: int | None = None

    def words(self) -> str:
        """What is asked: "day 14: at least 3 log below the inoculum, no increase from day 7"."""
        asked = [] if self.reduction is None else [f"at least {self.reduction:g} log below the inoculum"]
        if self.no_increase_from is not None:
            asked.append(f"no increase from {_day(self.no_increase_from)}")
        return f"day {self.day}: {', '.join(asked)}"


@dataclass(frozen=True, slots=True)
class Criterion:
    """A published criterion: its requirements, and the rise that still counts as no increase. [log]

    `no_increase_kind` says what that rise rests on, such as "memory"; `source` is a key.
    """

    code: str
    method: str
    name: str
    requirements: tuple[Requirement, ...]
    no_increase_log: float
    source: str = ""
    no_increase_kind: str = ""

    @property
    def no_increase_words(self) -> str:
        """The rise that counts as none, marked where it is from memory."""
        return f"{self.no_increase_log:g} log{' (from memory)' if self.no_increase_kind == 'memory' else ''}"

    def of(self, group: str) -> tuple[Requirement, ...]:
        """What it asks of a group of organisms, by day."""
        return tuple(asked for asked in self.requirements if asked.group == group)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a criterion is met: True, False, or None where it cannot be told.

    `missing` are the days without a count that would decide it; `reasons` say what failed or cannot be told, `notes`
    what was met by the rise allowed or from a detection limit.
    """

    met: bool | None
    reasons: tuple[str, ...] = ()
    missing: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()


def judge(criterion: Criterion, group: str, counts: Counts) -> Verdict:
    """One organism's counts held against a criterion.

    Parameters
    ----------
    criterion : Criterion   The criterion.
    group : str             "bacteria", "yeast" or "mould".
    counts : mapping        Counts by day. [CFU/g]

    Returns
    -------
    Verdict   Not met as soon as one requirement is not met, whatever is missing beside it.
    """
    return _joined([_judge(asked, criterion, counts) for asked in criterion.of(group)])


def decide(first: bool | None, second: bool | None) -> str:
    """The decision of two criteria, the first the stricter: "A", "B only", "neither", or "" where it cannot be told."""
    if second is False:
        return "neither"  # whoever misses the milder one misses the stricter one too
    if first:
        return "A"
    return "B only" if first is False and second else ""


def _judge(asked: Requirement, criterion: Criterion, counts: Counts) -> Verdict:
    earlier = 0 if asked.no_increase_from is None else asked.no_increase_from
    needed = {asked.day, earlier} | ({0} if asked.reduction is not None else set())
    missing = tuple(sorted(needed - counts.keys()))
    parts = []
    if asked.reduction is not None and not {0, asked.day} & set(missing):
        parts.append(_reduced(asked, counts))
    if asked.no_increase_from is not None and not {earlier, asked.day} & set(missing):
        parts.append(_not_risen(asked, criterion, counts))
    return _joined([*parts, *([Verdict(None, missing=missing)] if missing else [])])


def _reduced(asked: Requirement, counts: Counts) -> Verdict:
    found, least = log_reduction(counts[0], counts[asked.day]), asked.reduction
    said = f"day {asked.day}: log reduction {found}, {least:g} asked"
    if found.low >= least - _ROUNDING:
        return Verdict(True)
    if found.high < least - _ROUNDING:
        return Verdict(False, (said,))
    return Verdict(None, (f"{said}: the plates cannot tell",))


def _not_risen(asked: Requirement, criterion: Criterion, counts: Counts) -> Verdict:
    before, after = counts[asked.no_increase_from], counts[asked.day]
    allowed, none = criterion.no_increase_log, criterion.no_increase_words
    since = f"day {asked.day}, from {_day(asked.no_increase_from)}"
    least = after.log_low - before.log_high  # the smallest rise the two counts allow
    most = after.log_high - (before.log_high if before.bound == "<" else before.log_low)
    if least > allowed + _ROUNDING:
        return Verdict(False, (f"{since}: a rise of {least:.3f} log, {none} counts as none",))
    if most > allowed + _ROUNDING:
        return Verdict(None, (f"{since}: whether {after} is a rise above {before} the plates cannot tell",))
    if before.bound == "<" and not after.bound:
        return Verdict(True, notes=(f"{since}: found again; the rise is counted from the detection limit {before}",))
    if least > _ROUNDING:
        return Verdict(True, notes=(f"{since}: a rise of {least:.3f} log; up to {none} counts as none",))
    return Verdict(True)


def _joined(verdicts: Iterable[Verdict]) -> Verdict:
    verdicts = tuple(verdicts)
    states = [verdict.met for verdict in verdicts]
    met = False if False in states else None if None in states or not states else True
    return Verdict(
        met,
        tuple(dict.fromkeys(reason for verdict in verdicts for reason in verdict.reasons)),
        tuple(sorted({day for verdict in verdicts for day in verdict.missing})),
        tuple(dict.fromkeys(note for verdict in verdicts for note in verdict.notes)),
    )


def _day(day: int) -> str:
    return f"day {day}" if day else "the inoculum"
