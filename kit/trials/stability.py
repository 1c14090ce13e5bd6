"""Stability: is it drifting, is it within the limits put down beforehand, and when would it leave them?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from kit.bench.methods import AgeWindow, age_window
from kit.bench.pull_calendar import PullCalendar
from kit.errors import KitError
from kit.labbook.settings_measured import settings_measured
from kit.labbook.source import Source, open_source
from kit.labbook.stability_protocol_entry import ProtocolKept, data_before
from kit.labbook.study_view import StudyView
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.show import Block, Table
from kit.trials.arms import Arm, versions_of
from kit.trials.judging import fold
from kit.trials.results import LeftOut
from kit.trials.selection import coded_readings
from kit.trials.stability_build import SeriesMaker
from kit.trials.stability_chosen import chosen_batches
from kit.trials.stability_pulls import PullState, calendar_of, pull_states, pulls_table
from kit.trials.stability_series import StorageSeries
from kit.trials.stability_sorting import warm_c
from kit.trials.stability_tables import (
    beside_table,
    indication_table,
    left_out_table,
    life_table,
    trend_table,
    verdict_table,
)
from kit.trials.stability_verdicts import StabilityVerdict, verdict_of
from kit.trials.stability_warm import WARM_FROM_C, Network, WarmIndication, indication
from kit.trials.stability_words import coded_series
from kit.units import read


@dataclass(frozen=True)
class Stability:
    """The stability of some batches.

    Parameters
    ----------
    study : StudyView                The study.
    kept : ProtocolKept, None        The protocol it is judged by.
    batches : tuple of BatchView     In order of making.
    verdicts : tuple of StabilityVerdict   Series by series.
    networks : dict                  Version label to what is known of its setting temperature.
    after_data : tuple of str        Readings older than the protocol.
    as_of : datetime, None           The last entry read.
    unread : tuple of str            Properties of the protocol, or asked for, that were read nowhere.
    uncovered : tuple of str         Batches that the protocol is not for: nothing of them is judged by it.
    """

    study: StudyView
    kept: ProtocolKept | None
    batches: tuple[BatchView, ...]
    verdicts: tuple[StabilityVerdict, ...]
    networks: dict[str, Network] = field(default_factory=dict)
    after_data: tuple[str, ...] = ()
    as_of: datetime | None = None
    unread: tuple[str, ...] = ()
    uncovered: tuple[str, ...] = ()

    @property
    def series(self) -> tuple[StorageSeries, ...]:
        """What was read, by version, property, place and pack."""
        return tuple(verdict.series for verdict in self.verdicts)

    def of(self, property: str, place: str = "") -> tuple[StabilityVerdict, ...]:
        """Verdicts on one property, in one place where it is named.

        Parameters
        ----------
        property : str
        place : str      Storage key, such as "40 degC".
        """
        mine = [verdict for verdict in self.verdicts if fold(verdict.series.property) == fold(property)]
        return tuple(verdict for verdict in mine if place in ("", verdict.series.place))

    @cached_property
    def pulls(self) -> tuple[PullState, ...]:
        """How every pull stands as of the last entry; none without a protocol."""
        if self.kept is None or self.as_of is None:
            return ()
        return pull_states(self.kept, self.batches, self.as_of)

    def calendar(self) -> PullCalendar:
        """The pull calendar of these batches, also as an iCalendar file: `.calendar().save("pulls.ics")`.

        Raises
        ------
        KitError   `stability.no_protocol`.
        """
        if self.kept is None:
            raise KitError(
                "there is no stability protocol for these batches",
                where=f"study {self.study.name}",
                mend="plan one with kit.plan_stability() and record it with book.add_stability_protocol()",
                code="stability.no_protocol",
            )
        return calendar_of(self.kept, self.batches)

    @cached_property
    def indications(self) -> tuple[WarmIndication, ...]:
        """What warm storage may indicate of 25 degC, series by series."""
        found = (indication(one, self.series, self.networks.get(one.series.arm, Network())) for one in self.verdicts)
        return tuple(one for one in found if one is not None)

    @property
    def words(self) -> tuple[str, ...]:
        """What it rests on and what must be said first."""
        told = [self._protocol_words()]
        if self.uncovered:
            told.append(f"It is not for {', '.join(self.uncovered)}: nothing of them is judged by it.")
        if self.after_data:
            told.append(
                f"PROTOCOL DATED AFTER DATA: {len(self.after_data)} readings are older than it, the first "
                f"{self.after_data[0]}. Its limits were not decided beforehand."
            )
        told += [f"Nothing was read of {', '.join(self.unread)}."] if self.unread else []
        builds = dict.fromkeys(caution for one in self.series for caution in one.cautions if "builds on" in caution)
        told += [f"{caution}: the rise is no instability." for caution in builds]
        return tuple(told)

    def _protocol_words(self) -> str:
        if self.kept is None:
            return (
                "No stability protocol covers these batches: no limits were put down before the data, so nothing is "
                "judged and no time to limit is told."
            )
        return f"Protocol {self.kept.name}, recorded {show_time(self.kept.recorded_at)}, limits frozen since."

    def verdict_table(self) -> Table:
        """Property by property and place by place against the limits."""
        return verdict_table(self.verdicts)

    def trend_table(self) -> Table:
        """Slopes with their intervals, and whether batches pool."""
        return trend_table(self.series)

    def life_table(self) -> Table:
        """Time to limit by place."""
        return life_table(self.series, self.networks)

    def beside_table(self) -> Table:
        """Each jar against the one kept at 25 degC."""
        return beside_table(self.series)

    def indication_table(self) -> Table:
        """What warm storage may indicate."""
        return indication_table(self.indications)

    def pulls_table(self) -> Table:
        """Which pulls are done, due and missed.

        Raises
        ------
        KitError   `stability.no_protocol`.
        """
        if self.as_of is None:
            return self.calendar().table()
        self.calendar()
        return pulls_table(self.pulls, self.as_of)

    def left_out_table(self) -> Table:
        """Readings that do not count, each once, with the reason."""
        return left_out_table(self.left_out)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Readings that do not count, each once."""
        found = {(item.batch, item.reading.entry): item for one in self.series for item in one.left_out}
        return tuple(found[key] for key in sorted(found))

    def _parts(self) -> Block:
        if self.kept is None:  # without limits there is nothing but what moves
            return Block((*self.words, self.trend_table()))
        return Block((*self.words, self.verdict_table(), self.life_table()))

    def _repr_html_(self) -> str:
        return self._parts()._repr_html_()

    def __str__(self) -> str:
        return str(self._parts())

    __repr__ = __str__


def stability(
    source: object,
    study: str = "",
    *,
    batches: Sequence[str] = (),
    protocol: str = "",
    properties: Sequence[str] = (),
    baseline: str = "",
    setting: str = "",
    at: str | datetime = "",
) -> Stability:
    """How batches keep: trends by place, time to limit, verdicts by the protocol, pulls done and due.

    Parameters
    ----------
    source : object          What `open_source` takes: a lab book, its file, a snapshot.
    study : str              The study; the only one, or that of the batches, when empty.
    batches : sequence       Batches or trials, "CHA-04/1" or "CHA-04"; those the protocol covers, else all, when empty.
                             What the protocol is not for is shown, and not judged by it.
    protocol : str           Its name; the only one of the study when empty. Without one nothing is judged.
    properties : sequence    Only these; all when empty.
    baseline : str           Where there is no protocol: the age that values are held against, "72 h" or "7 d".
    setting : str            Setting temperature of the network as measured elsewhere, "52 degC"; by the cooling logs of
                             earlier batches when empty.
    at : str or datetime     The moment to say which pulls are due, ISO 8601 with offset; the last entry when empty.

    Returns
    -------
    Stability   What cannot be told says why.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`, `labbook.batch`, `stability.which_protocol` for an unknown or an
                  ambiguous protocol, `stability.two_studies`.
    KitError      `age.unknown`; `labbook.time` for a moment that cannot be read.
    """
    source = open_source(source)
    chosen, kept, views = chosen_batches(source, study, batches, protocol)
    asked = [properties] if isinstance(properties, str) else list(properties)
    wanted = {fold(name) for name in asked}
    window = age_window(baseline, chosen.windows) if baseline else None
    apart = tuple(view for view in views if kept is not None and not kept.covers(view))
    judged = [(arm, kept) for arm in versions_of(view for view in views if view not in apart)]
    judged += [(arm, None) for arm in versions_of(apart)]
    arms = [arm for arm, _ in judged]
    series = [(one, by) for arm, by in judged for one in _series(source, chosen, arm, by, window, wanted)]
    older = tuple(data_before(kept, views, kept.recorded_at)) if kept is not None else ()
    told = kept.after_data if kept is not None and kept.after_data else "; ".join(older[:1])
    verdicts = tuple(verdict_of(one, by.protocol if by else None, told) for one, by in series)
    found = [one for one, _ in series]
    read_there = {fold(one.property) for one in found}
    limited = [one.property for one in (kept.protocol.limits if kept else ())]
    named = {fold(name): name for name in (*asked, *limited)}
    unread = [name for key, name in named.items() if key not in read_there]
    return Stability(
        chosen,
        kept,
        views,
        verdicts,
        {arm.label: _network(source, arm, found, setting) for arm in arms},
        older,
        _moment(at) if at else last_entry(views),
        tuple(name for name in unread if not wanted or fold(name) in wanted),
        tuple(view.name for view in apart),
    )


def _series(
    source: Source, study: StudyView, arm: Arm, kept: ProtocolKept | None, window: AgeWindow | None, wanted: set[str]
) -> Iterable[StorageSeries]:
    protocol = kept.protocol if kept is not None else None
    maker = SeriesMaker(source, study, arm, protocol, window)
    numbers = [one.property for batch in arm.batches for one in batch.readings if one.value is not None]
    words = [one.property for batch in arm.batches for one in coded_readings(batch)]
    names = _names([limit.property for limit in protocol.limits] if protocol else [], [*numbers, *words], wanted)
    for name in names:
        if any(fold(one) == name for one in numbers):
            yield from maker.series(name)
        if any(fold(one) == name for one in words):
            yield from coded_series(source, study, arm, name, protocol, window or maker.baseline_of((), "linear"))


def _names(first: Iterable[str], then: Iterable[str], wanted: set[str]) -> list[str]:
    found = dict.fromkeys(fold(name) for name in (*first, *then))
    return [name for name in found if not wanted or name in wanted]


def _network(source: Source, arm: Arm, series: Sequence[StorageSeries], setting: str) -> Network:
    """What is known of the setting temperature; cooling logs are read only where a warm jar was."""
    temps = [warm_c(one.place) for one in series if one.arm == arm.label and one.stored]
    if setting:
        return Network(float(read(setting, "degC", where="setting temperature")), 0.0, "as given")
    if not any(temp is not None and temp >= WARM_FROM_C for temp in temps):
        return Network()
    return Network.measured(settings_measured(source, arm.formula))


def _moment(text: str | datetime) -> datetime:
    try:
        found = text if isinstance(text, datetime) else datetime.fromisoformat(str(text).strip())
    except ValueError:
        found = None
    if found is None or found.utcoffset() is None:
        raise KitError(
            f"{text!r} is not a point in time",
            where="stability()",
            allowed='"2026-03-02T14:05+01:00"',
            mend="give date, time and offset",
            code="labbook.time",
        )
    return found


def last_entry(views: Iterable[BatchView]) -> datetime | None:
    """The latest moment anything was recorded or measured of some batches; None without one.

    Parameters
    ----------
    views : iterable of BatchView
    """
    told = [moment for view in views for entry in view.entries for moment in (entry.measured_at, entry.recorded_at)]
    return max((datetime.fromisoformat(moment) for moment in told if moment), default=None)
