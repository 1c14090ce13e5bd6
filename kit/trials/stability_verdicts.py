"""Is a property within the limits of its protocol? In words: so far, outside since when, or why it cannot be told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kit.bench.stability_acceptance import AT_START, UNCHANGED, Acceptance
from kit.bench.stability_protocol import StabilityProtocol
from kit.bench.storage import REFERENCE, freeze_thaw_cycles
from kit.show import Worded
from kit.trials.results import VOID
from kit.trials.stability_series import SeenPoint, StoragePoint, StorageSeries
from kit.trials.wording import plural, signed, significant

WITHIN, OUTSIDE, OUTSIDE_ONCE, UNTOLD, NOT_PROTOCOL = (
    "within limits so far",
    "outside since",
    "outside once, at",
    "cannot be told",
    "not in the protocol",
)
_HELD = (WITHIN, OUTSIDE, OUTSIDE_ONCE)
STATES = (WITHIN, OUTSIDE, OUTSIDE_ONCE, UNTOLD, NOT_PROTOCOL)


@dataclass(frozen=True, slots=True, repr=False)
class StabilityVerdict(Worded):
    """A property in a place against its limit.

    Parameters
    ----------
    series : StorageSeries   What was read.
    state : str              One of `STATES`.
    told : str               What it rests on.
    since : str              Of what is outside: the station.
    """

    series: StorageSeries
    state: str
    told: str
    since: str = ""

    @property
    def headline(self) -> str:
        """The state with its station: "outside since 8 weeks"."""
        return f"{self.state} {self.since}".strip()

    @property
    def words(self) -> str:
        """The verdict, what it rests on and the limit."""
        limit = f" (limit {self.series.limit.words})" if self.series.limit and self.state in _HELD else ""
        return f"{self.headline}: {self.told}{limit}"

    def __str__(self) -> str:
        return f"{self.series.title}: {self.words}"


def verdict_of(series: StorageSeries, protocol: StabilityProtocol | None, after_data: str = "") -> StabilityVerdict:
    """The verdict on a series.

    Parameters
    ----------
    series : StorageSeries
    protocol : StabilityProtocol, None
    after_data : str                     What was there before the protocol; said with every verdict.
    """
    state, told, since = _judged(series, protocol)
    if after_data and state != NOT_PROTOCOL:
        told = f"{told}; PROTOCOL DATED AFTER DATA"
    return StabilityVerdict(series, state, told, since)


def _judged(series: StorageSeries, protocol: StabilityProtocol | None) -> tuple[str, str, str]:
    limit = series.limit
    if protocol is None:
        return NOT_PROTOCOL, "no limits were put down before the data", ""
    if limit is None:
        return NOT_PROTOCOL, "it has no limit there", ""
    if limit.when != AT_START and not series.place:
        return UNTOLD, _nowhere(series), ""
    if limit.when != AT_START and protocol.place(series.place) is None:
        return NOT_PROTOCOL, "it names no such condition", ""
    if limit.is_coded:
        return _words_judged(series, limit)
    if series.against_jar and series.place == REFERENCE:
        return UNTOLD, "it is itself the jar that the others are held against", ""
    looked = [point for point in series.points if not point.hours] if limit.when == AT_START else series.stored
    stored = [point for point in looked if point.relative is not None]
    if not stored:
        return UNTOLD, nothing_words(series), ""
    if series.unit_clash:
        return UNTOLD, series.unit_clash, ""
    wrong = [point for point in stored if not _inside(point.relative, series)]
    if not wrong:
        furthest = max(stored, key=lambda point: _share(point.relative, series))
        told = f"furthest {relative_words(furthest, series)} of {furthest.batch} at {furthest.when}"
        return WITHIN, f"{_reach(series, stored)}; {told}", ""
    return _outside(series, [(point.batch, point.hours) for point in stored], wrong)


def _outside(
    series: StorageSeries,
    looked: Sequence[tuple[str, float]],
    wrong: Sequence[StoragePoint | SeenPoint],
) -> tuple[str, str, str]:
    """Since when: from the first station after which no later one of that batch was inside."""
    since = []
    for batch in dict.fromkeys(point.batch for point in wrong):
        mine = [point for point in wrong if point.batch == batch]
        last = max(hours for name, hours in looked if name == batch)
        right = [hours for name, hours in looked if name == batch and hours not in {point.hours for point in mine}]
        since += [point for point in mine if mine[-1].hours == last and point.hours > max(right, default=-1.0)][:1]
    first = min(since or wrong, key=lambda point: point.hours)
    told = f"{_shown(first, series)} of {first.batch}"
    if since:
        return OUTSIDE, told, first.when
    return OUTSIDE_ONCE, f"{told}, and inside again later: read a spare jar", first.when


def _words_judged(series: StorageSeries, limit: Acceptance) -> tuple[str, str, str]:
    told = [seen for seen in series.seen if seen.allowed is not None and (seen.hours > 0 or limit.when == AT_START)]
    if not told:
        missing = "no word at the baseline to hold it against" if limit.kind == UNCHANGED else "it was not looked at"
        later = any(seen.hours > 0 for seen in series.seen)
        return UNTOLD, missing if later or limit.kind != UNCHANGED else "it was not looked at", ""
    wrong = [seen for seen in told if not seen.allowed]
    if wrong:
        return _outside(series, [(seen.batch, seen.hours) for seen in told], wrong)
    words = ", ".join(dict.fromkeys(seen.word for seen in told))
    return WITHIN, f"{_reach(series, told)}; {words}", ""


def _shown(point: StoragePoint | SeenPoint, series: StorageSeries) -> str:
    return point.word if isinstance(point, SeenPoint) else relative_words(point, series)


def relative_words(point: StoragePoint, series: StorageSeries) -> str:
    """A relative value as it is read: "−0.12", "ratio 0.87", "1.2 %".

    Parameters
    ----------
    point : StoragePoint
    series : StorageSeries
    """
    if point.relative is None:
        return "–"
    if series.is_relative:
        return f"ratio {significant(point.relative, 3)}" if series.is_ratio else signed(f"{point.relative:.2f}")
    unit = "" if series.unit in ("", "1") else f" {series.unit}"
    return f"{significant(point.value, 2)}{unit}"


def _reach(series: StorageSeries, points: Iterable[StoragePoint | SeenPoint]) -> str:
    points = list(points)
    stations = len({point.when for point in points})
    last = max(points, key=lambda point: point.hours)
    if freeze_thaw_cycles(series.place) is not None:
        return f"after the last cycle, {plural(len({point.batch for point in points}), 'batch', 'batches')}"
    return f"{last.when}, {plural(stations, 'station')}"


def _inside(value: float, series: StorageSeries) -> bool:
    low, high = series.limits
    return (low is None or value >= low - 1e-9) and (high is None or value <= high + 1e-9)


def _share(value: float, series: StorageSeries) -> float:
    """How much of the way to a limit a value has gone; the nearest limit counts."""
    low, high = series.limits
    middle = 1.0 if series.is_ratio and series.is_relative else 0.0
    if not series.is_relative and low is not None and high is not None:
        middle = (low + high) / 2
    ways = [(end - middle, value - middle) for end in (low, high) if end is not None]
    return max((gone / way for way, gone in ways if way), default=0.0)


def _nowhere(series: StorageSeries) -> str:
    """Why nothing counts of any place."""
    lost = [item for item in series.left_out if item.state != VOID]
    if not lost:
        return "it was not read of a jar in storage"
    reasons = "; ".join(dict.fromkeys(item.words for item in lost))
    return f"{plural(len(lost), 'reading')} left out: {reasons}"


def nothing_words(series: StorageSeries) -> str:
    """Why nothing can be held against the limit: what was left out, or what is missing beside what was read.

    Parameters
    ----------
    series : StorageSeries
    """
    if not series.stored:
        left = [item for item in series.left_out if item.reading.storage]
        return left[-1].words if left else "it was not read there"
    if series.against_jar:
        return "no jar kept at 25 °C was read beside it"
    return "; ".join(series.cautions) or "no value at the baseline"
