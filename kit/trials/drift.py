"""Drift of pH over age: for each formula version, method and storage, how far it moved, where it settles, how fast."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from kit.bench.comparability import COMPARABLE, Verdict, against_method, compare_pair
from kit.bench.methods import AgeWindow, nearest_window
from kit.bench.readings import Reading
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.drift import Trend, linear_trend
from kit.science.first_order import FirstOrder, fit_first_order
from kit.show import Fielded, Table, Worded
from kit.trials.ages import age_words
from kit.trials.arms import Arm, versions_of
from kit.trials.drift_words import Judged, judge
from kit.trials.judging import age_of, fold, placeless
from kit.trials.results import FLAG, NOT_COMPARABLE, SHOWN, LeftOut
from kit.trials.wording import plural, signed

_PROPERTY = "ph"
_AGE = "compare.age"  # what differs on purpose here
_POOLED = (
    "Batches of one formula version pool, each on a level of its own; below them each batch, from its first reading to "
    "its last."
)
_HELD_BACK = frozenset({"compare.missing", "compare.declared", "compare.age_typed"})


@dataclass(frozen=True, slots=True, repr=False)
class DriftPoint(Fielded):
    """A reading that counts: its batch, its entry, its age [d], the pH, and the age in words."""

    batch: str
    entry: int
    age_d: float
    ph: float
    age: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class DriftSeries(Worded):
    """The pH of one formula version over age, read by one method from jars kept in one way.

    Parameters
    ----------
    trials : tuple of str           The trials whose batches pool: all of the study that made this version.
    method, storage : str           `storage` is empty where it was not recorded.
    points : tuple of DriftPoint    By age.
    trend : Trend                   The straight line, each batch on a level of its own. [pH per d]
    curve : FirstOrder              The first-order change. [pH]
    judged : Judged                 The verdict, the change and the words.
    left_out : tuple of LeftOut     Readings that do not count, with the reason.
    """

    trials: tuple[str, ...]
    method: str
    storage: str
    points: tuple[DriftPoint, ...]
    trend: Trend
    curve: FirstOrder
    judged: Judged
    left_out: tuple[LeftOut, ...] = ()

    @property
    def trial(self) -> str:
        """The trials in one text: "CHA-04, CHA-07"."""
        return ", ".join(self.trials)

    @property
    def title(self) -> str:
        """Trials, method and storage."""
        return ", ".join(part for part in (self.trial, self.method, self.storage and f"kept at {self.storage}") if part)

    @property
    def batches(self) -> tuple[str, ...]:
        """The batches that were read, each once."""
        return tuple(dict.fromkeys(point.batch for point in self.points))

    @property
    def ages_d(self) -> tuple[float, ...]:
        """The ages at which it was read, each once. [d]"""
        return tuple(sorted({point.age_d for point in self.points}))

    @property
    def ages(self) -> tuple[str, ...]:
        """The same in words, each once: "1 h", "24 h", "7 d"."""
        return tuple(dict.fromkeys(point.age for point in self.points))

    def __str__(self) -> str:
        return f"{self.title}: {self.judged.words}"


@dataclass(frozen=True, slots=True, repr=False)
class Drift(Worded):
    """The drift of pH in some trials of a study, a series for each formula version, method and storage."""

    study: str
    series: tuple[DriftSeries, ...]

    def of(self, trial: str) -> tuple[DriftSeries, ...]:
        """The series that the batches of one trial are in."""
        return tuple(series for series in self.series if trial in series.trials)

    def table(self) -> Table:
        """Each series in a row: what was read, how far it moved, where it settles and how fast, in words.

        Where batches pool, the row of the series is followed by one for each of them, with its readings.
        """
        pooled = any(len(series.batches) > 1 for series in self.series)
        return Table(
            ("trial", "method", "kept at", "batch", "readings", "read at", "change, pH", "settles near", "says"),
            [row for series in self.series for row in _rows(series)],
            title=f"{self.study}: pH over age",
            note=_POOLED if pooled else "" if self.series else "No pH was read in these trials.",
            numeric=frozenset({4, 6, 7}),
        )

    def left_out_table(self) -> Table:
        """Every reading that does not count, with the reason."""
        found = [(series.title, left) for series in self.series for left in series.left_out]
        return Table(
            ("series", "batch", "entry", "pH", "state", "code", "why"),
            [
                (title, left.batch, left.reading.entry, left.reading.value, left.state, left.code, left.words)
                for title, left in found
            ],
            title=f"{self.study}: pH readings left out",
            note="" if found else "None: every reading counts.",
            numeric=frozenset({2, 3}),
        )

    def _repr_html_(self) -> str:
        return self.table()._repr_html_()

    def __str__(self) -> str:
        return str(self.table())


def ph_drift(source: object, trials: Sequence[str] = (), *, study: str = "") -> Drift:
    """How pH moves over age in the batches of some trials.

    Parameters
    ----------
    source : object      What `open_source` takes: a lab book, its file, a snapshot.
    trials : sequence    Names of trials; all of the study when empty. Their formula versions are taken with every
                         batch of them in the study, under whatever trial it was made.
    study : str          The study; the only one, or that of the first trial, when empty.

    Returns
    -------
    Drift   A series for each formula version, method and storage, its batches pooled on levels of their own. Readings
            that are void, flagged, or not comparable in anything but their age are left out, with the reason.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`.
    """
    source = open_source(source)
    names = [trials] if isinstance(trials, str) else list(trials)
    chosen = source.study(study or (source.trial(names[0]).study if names else ""))
    found: list[DriftSeries] = []
    versions = dict.fromkeys(_version(source, name) for name in names or source.trials(chosen.name))
    for owner, fingerprint in versions:
        for arm in versions_of(source.batches(study=owner, formula=fingerprint)):
            found += _series_of(source, source.study(owner), arm)
    return Drift(chosen.name, tuple(found))


def _version(source: Source, trial: str) -> tuple[str, str]:
    """The study of a trial and the fingerprint of its formula version."""
    view = source.trial(trial)
    return view.study, view.formula.fingerprint


@dataclass
class _Sorted:
    """Readings of one key on their way into a series."""

    counted: list[Reading] = field(default_factory=list)
    left: list[LeftOut] = field(default_factory=list)


def _series_of(source: Source, study: StudyView, arm: Arm) -> Iterable[DriftSeries]:
    keys: dict[tuple[str, str], _Sorted] = {}
    for batch in arm.batches:
        for reading in batch.readings:
            if fold(reading.property) == _PROPERTY and reading.value is not None:
                held = keys.setdefault((reading.method, reading.storage), _Sorted())
                _sort(source, study, batch, reading, held)
    return [_series(arm.trials, *key, held, study.windows) for key, held in sorted(keys.items())]


def _sort(source: Source, study: StudyView, batch: BatchView, reading: Reading, held: _Sorted) -> None:
    left = _left_out(source, study, batch, reading)
    if left is None and held.counted:
        left = _unlike(reading, held.counted[0], source, study)
    if left is None:
        held.counted.append(reading)
    else:
        held.left.append(left)


def _left_out(source: Source, study: StudyView, batch: BatchView, reading: Reading) -> LeftOut | None:
    """Why a reading does not count whatever the others are."""
    if reading.void or age_of(reading) is None:
        return placeless(reading, study.windows, finished=bool(batch.finished_at))
    flags = source.flags(reading, study)
    if flags:
        codes = tuple(dict.fromkeys(flag.code for flag in flags))
        return LeftOut(reading.batch, reading, FLAG, codes, " ".join(flag.words for flag in flags))
    method = source.method_of(reading, study)
    if method is None and reading.method:
        words = f"{reading.method} is not a method of the study"
        return LeftOut(reading.batch, reading, SHOWN, ("compare.no_method",), words)
    verdict = against_method(reading, method, None)
    if verdict.comparable and reading.age_h is None:
        words = "its age was typed, without a clock time to check it"
        return LeftOut(reading.batch, reading, SHOWN, ("compare.age_typed",), words)
    return _held_back(reading, verdict)


def _unlike(reading: Reading, first: Reading, source: Source, study: StudyView) -> LeftOut | None:
    """Why a reading cannot stand in one series with the first: any condition but the age."""
    verdict = compare_pair(reading, first, source.method_of(first, study), study.windows)
    reasons = tuple(reason for reason in verdict.reasons if reason.code != _AGE)
    if not reasons:
        return None
    state = SHOWN if all(reason.code in _HELD_BACK for reason in reasons) else NOT_COMPARABLE
    return _held_back(reading, Verdict(state, reasons))


def _held_back(reading: Reading, verdict: Verdict) -> LeftOut | None:
    if verdict.state == COMPARABLE:
        return None
    codes = tuple(dict.fromkeys(reason.code for reason in verdict.reasons))
    return LeftOut(reading.batch, reading, verdict.state, codes, "; ".join(reason.words for reason in verdict.reasons))


def _series(
    trials: tuple[str, ...], method: str, storage: str, held: _Sorted, windows: Sequence[AgeWindow]
) -> DriftSeries:
    points = sorted(
        (_point(reading, windows) for reading in held.counted), key=lambda one: (one.age_d, one.batch, one.entry)
    )
    told = ([point.age_d for point in points], [point.ph for point in points], [point.batch for point in points])
    trend, curve = linear_trend(*told), fit_first_order(*told)
    judged = judge(trend, curve, *told)
    return DriftSeries(trials, method, storage, tuple(points), trend, curve, judged, tuple(held.left))


def _point(reading: Reading, windows: Sequence[AgeWindow]) -> DriftPoint:
    """The reading with its age as the study calls it: "24 h" for 24.3 h."""
    age_h = age_of(reading)
    window = nearest_window(age_h, windows)
    words = window.label if window else age_words(float(age_h))
    return DriftPoint(reading.batch, reading.entry, float(age_h) / 24, float(reading.value), words)


def _rows(series: DriftSeries) -> Iterator[tuple[object, ...]]:
    judged, batches = series.judged, series.batches
    yield (
        series.trial,
        series.method or "not recorded",
        series.storage or "not recorded",
        f"{plural(len(batches), 'batch', 'batches')}, pooled" if len(batches) > 1 else (batches or ("none",))[0],
        len(series.points),
        ", ".join(series.ages) or "none",
        "" if judged.change is None else signed(f"{judged.change:.2f}"),
        "" if judged.settles_near is None else f"{judged.settles_near:.2f}",
        judged.words,
    )
    if len(batches) > 1:
        yield from (_batch_row(batch, series) for batch in batches)


def _batch_row(batch: str, series: DriftSeries) -> tuple[object, ...]:
    points = [point for point in series.points if point.batch == batch]
    ages = ", ".join(dict.fromkeys(point.age for point in points))
    change = signed(f"{points[-1].ph - points[0].ph:.2f}") if len(points) > 1 else ""
    return ("", "", "", batch, len(points), ages, change, "", " → ".join(f"{point.ph:.2f}" for point in points))
