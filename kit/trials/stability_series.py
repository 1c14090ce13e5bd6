"""What was read of jars in storage: one series for each formula version, property, place and pack."""

from __future__ import annotations

from dataclasses import dataclass, field

from kit.bench.readings import Reading
from kit.bench.stability_acceptance import LIMITS, RATIO, REFERENCE_JAR, Acceptance
from kit.bench.stability_station import HOURS_PER_MONTH, storage_time_words
from kit.bench.storage import storage_words
from kit.science.shelf_life import ShelfLife
from kit.science.shelf_life_lines import PooledLines
from kit.show import Worded
from kit.trials.results import LN, LeftOut


@dataclass(frozen=True, slots=True, repr=False)
class StoragePoint(Worded):
    """One batch in one place at one time: its readings averaged. Readings of a jar never raise n.

    Parameters
    ----------
    batch : str                   "CHA-04/1".
    hours : float                 In storage; zero at the baseline, below it before. [h]
    value : float                 Mean, geometric on the ln scale. [unit]
    readings : tuple of Reading   In the mean.
    station : str                 Of the protocol; empty off its stations.
    relative : float, None        To what the limit is held against: a difference [unit] or a ratio [-]; the value
                                  itself for a limit that is not relative. None where that was not read.
    """

    batch: str
    hours: float
    value: float
    readings: tuple[Reading, ...]
    station: str = ""
    relative: float | None = None

    @property
    def months(self) -> float:
        """In storage. [months]"""
        return self.hours / float(HOURS_PER_MONTH)

    @property
    def words(self) -> str:
        """Batch, time in storage and value."""
        unit = self.readings[0].unit if self.readings else ""
        return f"{self.batch}, {self.when}: {self.value:.5g}{'' if unit in ('', '1') else f' {unit}'}"

    @property
    def when(self) -> str:
        """The station, or the time in storage in words."""
        return self.station or ("baseline" if self.hours == 0 else storage_time_words(self.hours))


@dataclass(frozen=True, slots=True, repr=False)
class SeenPoint(Worded):
    """One coded word of one batch in one place: when, what, whether it is allowed (None where that cannot be said)."""

    batch: str
    hours: float
    word: str
    station: str = ""
    allowed: bool | None = None

    @property
    def words(self) -> str:
        """Batch, time in storage and word."""
        return f"{self.batch}, {self.when}: {self.word}"

    @property
    def when(self) -> str:
        """The station, or the time in storage in words."""
        return self.station or ("baseline" if self.hours == 0 else storage_time_words(self.hours))


@dataclass(frozen=True, repr=False)
class StorageSeries(Worded):
    """A property of one formula version in one place.

    Parameters
    ----------
    arm : str                     The trials whose batches pool: "CHA-04, CHA-07".
    property, unit : str          What was read.
    place, pack : str             Storage key, and the pack where there are several.
    limit : Acceptance, None      Of the protocol.
    scale : str                   "ln" or "linear": of the fit.
    baselines : dict              Batch to the value at its baseline. [unit]
    points : tuple of StoragePoint   From the baseline on, in order.
    earlier : tuple of StoragePoint  Before the baseline: shown, not fitted.
    seen : tuple of SeenPoint     Coded words.
    left_out : tuple of LeftOut   Readings that do not count, with the reason.
    life : ShelfLife, None        Time to limit; None for coded words and freeze-thaw.
    trend : PooledLines, None     The straight trend, also where there is no limit.
    cautions : tuple of str       What weakens it.
    """

    arm: str
    property: str
    unit: str
    place: str
    pack: str = ""
    limit: Acceptance | None = None
    scale: str = "linear"
    baselines: dict[str, float] = field(default_factory=dict)
    points: tuple[StoragePoint, ...] = ()
    earlier: tuple[StoragePoint, ...] = ()
    seen: tuple[SeenPoint, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    life: ShelfLife | None = None
    trend: PooledLines | None = None
    cautions: tuple[str, ...] = ()

    @property
    def where(self) -> str:
        """The place, and the pack where there are several."""
        return f"{storage_words(self.place)}{f', {self.pack}' if self.pack else ''}"

    @property
    def title(self) -> str:
        """Version, property and place."""
        return f"{self.arm}, {self.property}, {self.where}"

    @property
    def words(self) -> str:
        """What was read there, point by point."""
        found = "; ".join(str(point) for point in (*self.points, *self.seen)) or "nothing counts"
        return f"{self.title}: {found}"

    @property
    def is_ratio(self) -> bool:
        """Whether its relative values are ratios."""
        return self.limit.kind == RATIO if self.limit is not None else self.scale == LN

    @property
    def is_relative(self) -> bool:
        """Whether values are held against a baseline or another jar rather than for themselves."""
        if self.limit is not None:
            return self.limit.kind != LIMITS
        return bool(self.baselines)

    @property
    def against_jar(self) -> bool:
        """Whether the limit is one against the jar kept at 25 degC."""
        return self.limit is not None and self.limit.against == REFERENCE_JAR

    @property
    def batches(self) -> tuple[str, ...]:
        """Batches that count, each once."""
        return tuple(dict.fromkeys([*(point.batch for point in self.points), *(seen.batch for seen in self.seen)]))

    @property
    def stored(self) -> tuple[StoragePoint, ...]:
        """Points after the baseline."""
        return tuple(point for point in self.points if point.hours > 0)

    @property
    def last_hours(self) -> float:
        """The last time in storage that counts. [h]"""
        return max([point.hours for point in (*self.points, *self.seen)], default=0.0)

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """The limits on the scale of the relative values; None where a side is open, or the units do not fit."""
        ends = None if self.limit is None or self.limit.is_coded else self.limit.ends_in(self.unit)
        return (None, None) if ends is None else tuple(None if end is None else float(end) for end in ends)

    @property
    def unit_clash(self) -> str:
        """Why readings cannot be held against the limit, where it is in another kind of unit; empty else."""
        if self.limit is None or self.limit.is_coded or self.limit.ends_in(self.unit) is not None:
            return ""
        return f"the limit is in {self.limit.unit}, the readings in {self.unit or 'no unit'}"
