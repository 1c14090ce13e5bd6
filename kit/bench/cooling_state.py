"""How a batch cools: when it will be cool enough for what is still to go in, and how it was when the rest went in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import isfinite
from typing import TYPE_CHECKING

from kit.bench.cooling_log import CoolingLog, addition_findings, additions_found, heat_seen, ranked_exposure
from kit.formula.formula import Formula
from kit.formula.rules.findings import Finding
from kit.show import Block, Cell, Fielded, Table, listing

if TYPE_CHECKING:
    from kit.science.cooling_forecast import ConditionsChanged, CoolingForecast, TargetTime

_DEFAULT_TARGET_C = 40.0
_FEWEST = 3  # readings that tell a rate and how well it is known
_SURE = 0.9  # chance from which on a change of conditions is reported as one


@dataclass(frozen=True, slots=True, repr=False)
class CoolTarget(Fielded):
    """A temperature that is waited for, and what for. [degC]"""

    temp_c: float
    what: str


@dataclass(frozen=True)
class CoolingState:
    """What the log says so far.

    Parameters
    ----------
    log : CoolingLog                 Temperatures and additions.
    targets : tuple of CoolTarget    What is waited for.
    forecast : CoolingForecast       None where nothing is waited for and nothing was logged.
    room_from : str                  Where the temperature of the surroundings comes from.
    setting_used : float             Measured setting temperature the forecast was given; None without. [degC]
    """

    log: CoolingLog
    targets: tuple[CoolTarget, ...]
    forecast: CoolingForecast | None
    room_from: str = ""
    setting_used: float | None = None

    @property
    def without_head(self) -> bool:
        """Whether readings while the head ran were left out of the forecast."""
        return len(_without_head(self.log, [target.temp_c for target in self.targets])) < len(self.log.points)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was too hot or is not known of the additions."""
        return addition_findings(self.log)

    @property
    def setting_words(self) -> str:
        """The setting temperature found in the log, or that it was not found."""
        seen = self.forecast.setting if self.forecast else None
        if seen is None:
            return "Setting temperature not found: too few readings."
        if not seen.found:
            return f"Setting temperature {self._not_found(seen.why)}."
        told = f"Setting temperature {seen.temp_c:.0f} ± {2 * seen.sd_c:.0f} °C, from {seen.why}"
        return f'{told}. It is this formula\'s own: heat(setting="{seen.temp_c:.0f} degC") for the next batch.'

    @staticmethod
    def _not_found(why: str) -> str:
        return why if why.startswith("not found") else f"not found: {why}"

    @property
    def changes(self) -> tuple[str, ...]:
        """Changes of conditions in words: a lid, a draught, another bath."""
        if self.forecast is None:
            return ()
        sure = [_change_words(change, self.log) for change in self.forecast.changes if change.chance >= _SURE]
        pace = self.forecast.pace
        told = any(change.after_min >= pace.after_min for change in self.forecast.changes) if pace else True
        if pace is not None and not told and not self._set_through:
            when = f"Between {pace.after_min:.0f} and {pace.before_min:.0f} min the pace changed"
            sure.append(f"{when}: the batch now {pace.words}")
        return tuple(sure)

    @property
    def _set_through(self) -> bool:
        """Whether the newest pace is the usual one again after a setting that was found: no change to ask about."""
        pace, setting = self.forecast.pace, self.forecast.setting
        if pace is None or pace.slower or setting is None or not setting.found:
            return False
        return all(temp < setting.temp_c for minutes, temp in self.log.points if minutes >= pace.before_min)

    @property
    def words(self) -> str:
        """When the next addition may go in, in one line, for the bench."""
        if self.forecast is None or not self.targets:
            return ""
        if self.forecast.why_not:
            return f"No forecast yet: {self.forecast.why_not}."
        told = [
            f"{target.what}, {target.temp_c:g} °C: {self.when(time)}"
            for target, time in zip(self.targets, self.forecast.targets, strict=True)
        ]
        return " ".join(text if text.endswith("?") else f"{text}." for text in (*told, *self.changes))

    def when(self, time: TargetTime) -> str:
        """When a temperature is reached, by the clock where the pour has a time.

        Parameters
        ----------
        time : TargetTime   Of the forecast.
        """
        if time.passed:
            return f"reached, {time.minutes:.0f} min after combining"
        if not isfinite(time.minutes):
            return "not reached as it cools now: the surroundings are too warm"
        latest = f"{time.high_min:.0f}" if isfinite(time.high_min) else "never"
        return f"about {time.minutes:.0f} min after combining ({time.low_min:.0f} to {latest}){self._clock(time)}"

    def _clock(self, time: TargetTime) -> str:
        if not self.log.combined_at or not isfinite(time.high_min):
            return ""
        start = datetime.fromisoformat(self.log.combined_at)
        ends = [
            f"{start + timedelta(minutes=minutes):%H:%M}" for minutes in (time.minutes, time.low_min, time.high_min)
        ]
        return f", at {ends[0]} ({ends[1]} to {ends[2]})"

    def forecast_table(self) -> Table:
        """When each temperature is reached, nine times in ten between the two ends."""
        times = self.forecast.targets if self.forecast else ()
        rows = [
            (f"{target.temp_c:g}", target.what, self.when(time))
            for target, time in zip(self.targets, times, strict=bool(times))
        ]
        note = f"Nine times in ten between the ends, if conditions stay as they are. Surroundings: {self.room_words}."
        if self.without_head:
            note += f" Readings before {self.log.head_until_min:g} min, while the head ran, are not in it."
        return Table(("°C", "for", "when"), rows, title=f"Cooling of {self.log.batch}", note=note, numeric=_FIRST)

    @property
    def room_words(self) -> str:
        """Temperature of the surroundings, and whether it was read or fitted."""
        if self.forecast is None or self.forecast.ambient_c is None:
            return "not known"
        value = f"{self.forecast.ambient_c:.0f} ± {2 * self.forecast.ambient_sd_c:.0f} °C"
        return f"{value}, {self.room_from or 'fitted from the log: read the room to narrow it'}"

    def additions_table(self) -> Table:
        """The temperature of the batch at every addition."""
        rows = [
            (
                found.addition.phase,
                "NOT KNOWN" if found.addition.minutes is None else f"{found.addition.minutes:.0f}",
                "NOT RECORDED" if found.temp_c is None else f"{found.temp_c:.1f}",
                found.how,
                "–" if found.log_c is None else f"{found.log_c:.1f} ({found.log_low_c:.1f} to {found.log_high_c:.1f})",
            )
            for found in additions_found(self.log)
        ]
        heads = ("phase", "min after combining", "temperature, °C", "how", "by the log, °C")
        return Table(heads, rows, title="Temperature at the additions", numeric=frozenset({1, 2, 4}))

    def heat_table(self) -> Table:
        """How long each line with a heat limit was in the batch above it."""
        rows = [
            (seen.name, seen.phase, f"{seen.limit_c:f}", Cell(seen.words, "flag" if seen.minutes else ""))
            for seen in heat_seen(self.log)
        ]
        note = "From its addition to the end of the log, straight between readings."
        return Table(("line", "phase", "limit, °C", "above it"), rows, title="Time at temperature", note=note)

    def exposure_table(self, activation_energy_kj_mol: float) -> Table:
        """Heat that each addition saw, as hours at 25 degC, with an activation energy that is stated: for ranking only.

        Parameters
        ----------
        activation_energy_kj_mol : float   60 to 100 are usual, from memory. [kJ/mol]

        Raises
        ------
        KitError   `exposure.energy`.
        """
        rows = [
            (phase, forms, "NOT KNOWN" if seen is None else f"{seen.hours:.3g}")
            for phase, forms, seen in ranked_exposure(self.log, activation_energy_kj_mol)
        ]
        note = f"With {activation_energy_kj_mol:g} kJ/mol, to the end of the log. It ranks additions; it is no loss."
        heads = ("phase", "lines", "hours at 25 °C that would do the same")
        return Table(heads, rows, title="Heat seen by the additions", note=note, numeric=frozenset({2}))

    def _block(self) -> Block:
        parts: list[object] = [*self.log.notes]
        if self.forecast is not None and self.forecast.why_not:
            parts.append(f"No forecast: {self.forecast.why_not}.")
        elif self.targets and self.forecast is not None:
            parts.append(self.forecast_table())
        parts += [*self.changes, self.setting_words]
        if self.log.additions:
            parts.append(self.additions_table())
            parts += [table for table in (self.heat_table(),) if table.rows]
        told = [f"{finding.severity.upper()} {finding.words}" for finding in self.findings]
        return Block((*parts, *([listing("To see to", told)] if told else [])))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


_FIRST = frozenset({0})


def _change_words(change: ConditionsChanged, log: CoolingLog) -> str:
    how = "more slowly" if change.slower else "faster"
    spans = f"{change.factor_low:.1f} to {change.factor_high:.1f}"
    return (
        f"Between {change.after_min:.0f} and {change.before_min:.0f} min the conditions changed: since then it cools "
        f"{how}, {change.factor:.1f} times ({spans}). {_reason(change, log)}"
    )


def _reason(change: ConditionsChanged, log: CoolingLog) -> str:
    """The head that stopped, where that fits; it warms the batch while it runs. Else what to look for.

    Between two readings one pace is drawn, so that a stop also shows in the interval after its own.
    """
    stop = log.head_until_min
    earlier = [minutes for minutes in log.times_min if minutes < change.after_min]
    began = earlier[-1] if earlier else change.after_min
    if stop and not change.slower and began < stop <= change.before_min:
        return f"The head stopped at {stop:g} min."
    return "A lid, a draught, another bath or stirrer?"


def cooling_state(
    log: CoolingLog,
    targets: Sequence[CoolTarget] = (),
    *,
    room_c: float | None = None,
    room_from: str = "",
    setting_c: float | None = None,
) -> CoolingState:
    """The log with its forecast.

    Parameters
    ----------
    log : CoolingLog               Temperatures and additions.
    targets : sequence             What is waited for.
    room_c : float                 Of the surroundings; that of the log where omitted, else fitted. [degC]
    room_from : str                Where it comes from.
    setting_c : float              Setting temperature measured on an earlier batch of this formula. [degC]

    Raises
    ------
    KitError   `cooling.readings`.
    """
    if not log.points:
        return CoolingState(log, tuple(targets), None, room_from, setting_c)
    from kit.science.cooling_forecast import forecast

    room = log.room_c if room_c is None else room_c
    whence = room_from or ("" if room is None else "as noted in the log")
    temps = [target.temp_c for target in targets]
    times_min, temps_c = zip(*_without_head(log, temps), strict=True)
    found = forecast(times_min, temps_c, temps, ambient_c=room, setting_c=setting_c)
    return CoolingState(log, tuple(targets), found, whence, setting_c)


def _without_head(log: CoolingLog, targets_c: Sequence[float]) -> Sequence[tuple[float, float]]:
    """The readings since the head stopped: it warms the batch, which has no one rate before and after.

    All of them while fewer than three are left, or where it was cool enough before.
    """
    free = [point for point in log.points if point[0] >= (log.head_until_min or 0.0)]
    enough = len(free) >= _FEWEST and all(free[0][1] > temp for temp in targets_c)
    return free if enough else log.points


def waiting_targets(formula: Formula, added: Iterable[str]) -> tuple[CoolTarget, ...]:
    """The temperatures at which the steps add what is not in yet.

    Parameters
    ----------
    formula : Formula   With its steps.
    added : iterable    Names of phases that are in.

    Returns
    -------
    tuple of CoolTarget   40 degC where a cool-down phase is waiting and no step gives a temperature.
    """
    done, found = set(added), []
    for step in formula.steps:
        if step.do == "add" and step.phase and step.phase not in done and step.temp_c is not None:
            found.append(CoolTarget(float(step.temp_c), f"phase {step.phase}"))
    waiting = [phase.name for phase in formula.phases if phase.kind == "cool-down" and phase.name not in done]
    told = {target.what for target in found}
    rest = [name for name in waiting if f"phase {name}" not in told]
    if rest:
        found.append(CoolTarget(_DEFAULT_TARGET_C, f"phase {' and '.join(rest)}, no step says at what temperature"))
    return tuple(found)
