"""The cooling of a batch: its temperature log, the additions in it, and what was too hot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from kit.formula.material import Fact, Material
from kit.formula.rules.findings import PRACTICE, Finding, names, source_of
from kit.show import Fielded, Worded
from kit.units import plain

if TYPE_CHECKING:
    from kit.science.time_at_temperature import Exposure

OFF_C = 3.0
"""A temperature read at an addition further than this from the log is worth a look; own choice. [degC]"""


@dataclass(frozen=True, slots=True)
class CoolAddition:
    """A phase that went into the batch while it cooled.

    Parameters
    ----------
    phase : str                  "C".
    minutes : float              After combining; None where its time is not known. [min]
    read_c : float               Temperature of the batch noted with it; None where not recorded. [degC]
    materials : tuple            Its supply forms.
    """

    phase: str
    minutes: float | None
    read_c: float | None
    materials: tuple[Material, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class CoolingLog(Fielded):
    """Temperatures of a batch after combining, and what was added.

    Parameters
    ----------
    batch : str                         Its name.
    points : tuple of pairs             Minutes after combining and temperature, times rising. [min, degC]
    additions : tuple of CoolAddition   In order of entry.
    room_c : float                      Of the surroundings where it was noted; None where not. [degC]
    combined_at : str                   When the phases were combined, ISO 8601; empty where not recorded.
    notes : tuple of str                What was left out, and why.
    head_until_min : float              How long the head ran from combining on; None where not recorded. [min]
    """

    batch: str
    points: tuple[tuple[float, float], ...]
    additions: tuple[CoolAddition, ...] = ()
    room_c: float | None = None
    combined_at: str = ""
    notes: tuple[str, ...] = ()
    head_until_min: float | None = None

    @property
    def times_min(self) -> list[float]:
        """Minutes of the points. [min]"""
        return [minutes for minutes, _ in self.points]

    @property
    def temps_c(self) -> list[float]:
        """Temperatures of the points. [degC]"""
        return [temp for _, temp in self.points]


@dataclass(frozen=True, slots=True, repr=False)
class AdditionFound(Fielded):
    """An addition with the temperature of the batch at that moment.

    Parameters
    ----------
    addition : CoolAddition    What went in.
    temp_c : float             Noted with it, else from the log; None where neither tells. [degC]
    low_c, high_c : float      Nine times in ten; None with `temp_c`. [degC]
    how : str                  "noted", "between two readings", "read", "beyond the log" or "NOT RECORDED".
    log_c : float              What the log says at that time; None where it does not. [degC]
    log_low_c, log_high_c : float   Nine times in ten. [degC]
    """

    addition: CoolAddition
    temp_c: float | None
    low_c: float | None
    high_c: float | None
    how: str
    log_c: float | None = None
    log_low_c: float | None = None
    log_high_c: float | None = None


_NOTED_C = 0.5  # half width, nine times in ten, of a temperature noted at an addition; own estimate


def additions_found(log: CoolingLog) -> tuple[AdditionFound, ...]:
    """The temperature of the batch at every addition: as noted, else between the readings of the log.

    Parameters
    ----------
    log : CoolingLog   With its additions.
    """
    timed = [addition.minutes for addition in log.additions if addition.minutes is not None]
    told = dict(zip(timed, _from_log(log, timed), strict=True)) if timed else {}
    return tuple(_found(addition, told.get(addition.minutes)) for addition in log.additions)


def _from_log(log: CoolingLog, minutes: Sequence[float]) -> list:
    if len(log.points) < 2:
        return [None] * len(minutes)
    from kit.science.cooling_additions import temperatures_at

    return list(temperatures_at(log.times_min, log.temps_c, minutes, log.room_c))


def _found(addition: CoolAddition, told) -> AdditionFound:
    logged = (None, None, None) if told is None else (told.temp_c, told.low_c, told.high_c)
    if addition.read_c is not None:
        read_c = addition.read_c
        return AdditionFound(addition, read_c, read_c - _NOTED_C, read_c + _NOTED_C, "noted", *logged)
    if logged[0] is not None:
        return AdditionFound(addition, *logged, told.how, *logged)
    return AdditionFound(addition, None, None, None, "NOT RECORDED")


def addition_findings(log: CoolingLog) -> tuple[Finding, ...]:
    """What was too hot, or is not known, of the additions.

    Parameters
    ----------
    log : CoolingLog   With its additions and their supply forms.

    Returns
    -------
    tuple of Finding   Codes: cooling.addition_hot, cooling.addition_unknown, cooling.addition_differs.
    """
    return tuple(finding for found in additions_found(log) for finding in _findings(found))


def _findings(found: AdditionFound) -> Iterable[Finding]:
    addition, sensitive = found.addition, heat_limits(found.addition.materials)
    if found.temp_c is None:
        if sensitive:
            told = names(f"{form.name} (at most {plain(limit)} °C)" for form, limit in sensitive)
            words = f"Phase {addition.phase} went in at a temperature that was NOT RECORDED; it holds {told}."
            yield Finding("note", "cooling.addition_unknown", words, tuple(form.key for form, _ in sensitive))
        return
    over = [(form, limit) for form, limit in sensitive if found.temp_c > limit]
    if over:
        told = names(f"{form.name} (at most {plain(limit)} °C)" for form, limit in over)
        least = min(limit for _, limit in over)
        doubt = " (by the log, which leaves room for less)" if found.low_c <= least else ""
        yield Finding(
            "caution",
            "cooling.addition_hot",
            f"Phase {addition.phase} went in at {_degrees(found)}{doubt}, too hot for {told}: heat drives it off or "
            "spoils it.",
            tuple(form.key for form, _ in over),
            Decimal(f"{found.temp_c:.1f}"),
            least,
            source_of(over[0][0].heat_max),
        )
    yield from _differs(found)


def _differs(found: AdditionFound) -> Iterable[Finding]:
    """A noted temperature that the log contradicts."""
    if found.how != "noted" or found.log_c is None:
        return
    outside = max(found.log_low_c - found.temp_c, found.temp_c - found.log_high_c)
    if abs(found.temp_c - found.log_c) > OFF_C and outside > 0:
        words = (
            f"At the addition of phase {found.addition.phase} {found.temp_c:g} °C was noted; the cooling log gives "
            f"{found.log_c:.1f} °C at that time. One of the two, or the time, is wrong."
        )
        number = Decimal(f"{found.log_c:.1f}")
        yield Finding(
            "caution", "cooling.addition_differs", words, (), Decimal(f"{found.temp_c:.1f}"), number, PRACTICE
        )


def _degrees(found: AdditionFound) -> str:
    if found.how == "noted":
        return f"{found.temp_c:g} °C"
    return f"{found.temp_c:.1f} °C ({found.low_c:.1f} to {found.high_c:.1f}, {found.how})"


def heat_limits(materials: Iterable[Material]) -> list[tuple[Material, Decimal]]:
    """Supply forms with a heat limit, and the limit; of a range its upper end. [degC]

    Parameters
    ----------
    materials : iterable of Material   Supply forms; those without a limit are left out: theirs is not known.
    """
    return [(form, _number(form.heat_max)) for form in materials if form.heat_max is not None]


def _number(fact: Fact) -> Decimal:
    return next(number for number in (fact.value, fact.high, fact.low) if number is not None)


@dataclass(frozen=True, slots=True, repr=False)
class HeatSeen(Worded):
    """How long a line was in the batch above its limit.

    Parameters
    ----------
    name, phase : str        Of the supply form.
    limit_c : Decimal        [degC]
    minutes : float          In the batch above it, to the end of the log; None where the log does not tell. [min]
    degree_minutes : float   Area above the limit; None likewise. [degC min]
    """

    name: str
    phase: str
    limit_c: Decimal
    minutes: float | None
    degree_minutes: float | None

    @property
    def words(self) -> str:
        """The time, or that it is not known."""
        if self.minutes is None:
            return "NOT KNOWN: no log from its addition on"
        return f"{self.minutes:.0f} min ({self.degree_minutes:.0f} °C·min)" if self.minutes else "0 min"


def heat_seen(log: CoolingLog) -> tuple[HeatSeen, ...]:
    """Time above its limit of every line with one, from its addition to the end of the log.

    Parameters
    ----------
    log : CoolingLog   With its additions.
    """
    from kit.science.time_at_temperature import degree_minutes_above, minutes_above

    rows = []
    for found in additions_found(log):
        course = _course(log, found)
        for form, limit in heat_limits(found.addition.materials):
            if course is not None:
                numbers = [do(*course, float(limit)) for do in (minutes_above, degree_minutes_above)]
            else:  # nothing was read after it: where it was cool enough then, it stayed so
                cool = found.temp_c is not None and found.temp_c <= limit
                numbers = [0.0, 0.0] if cool else [None, None]
            rows.append(HeatSeen(form.name, found.addition.phase, limit, *numbers))
    return tuple(rows)


def ranked_exposure(log: CoolingLog, activation_energy_kj_mol: float) -> tuple[tuple[str, str, Exposure | None], ...]:
    """Heat that each addition saw, as hours at 25 degC: to rank additions, no forecast of a loss.

    Parameters
    ----------
    log : CoolingLog                   With its additions.
    activation_energy_kj_mol : float   Stated by the caller; 60 to 100 are usual, from memory. [kJ/mol]

    Returns
    -------
    tuple   Phase, its supply forms, and the exposure to the end of the log; None where the log does not tell.

    Raises
    ------
    KitError   `exposure.energy`.
    """
    from kit.science.time_at_temperature import equivalent_exposure

    rows = []
    for found in additions_found(log):
        course = _course(log, found)
        seen = None if course is None else equivalent_exposure(*course, activation_energy_kj_mol)
        rows.append((found.addition.phase, ", ".join(form.name for form in found.addition.materials), seen))
    return tuple(rows)


def _course(log: CoolingLog, found: AdditionFound) -> tuple[list[float], list[float]] | None:
    """Times and temperatures from an addition on; None where nothing tells."""
    at = found.addition.minutes
    if at is None or found.temp_c is None:
        return None
    later = [(minutes, temp) for minutes, temp in log.points if minutes > at]
    if not later:
        return None
    course = [(at, found.temp_c), *later]
    return [minutes for minutes, _ in course], [temp for _, temp in course]
