"""Readings of jars in storage on their way into series: which count, when their jar was pulled, where it stood."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.comparability import COMPARABLE, Verdict, against_method, compare_pair
from kit.bench.methods import AgeWindow, Method
from kit.bench.readings import Reading
from kit.bench.stability_protocol import Pack, Place, StabilityProtocol
from kit.bench.storage import REFERENCE, storage_key, storage_temp_c, storage_words
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.trials.judging import age_of, fold
from kit.trials.results import FLAG, IN_PROCESS, LN, NOT_COMPARABLE, SHOWN, VOID, LeftOut
from kit.trials.stability_series import StoragePoint

REST_H = Decimal(24)
"""At 25 degC before pH and viscosity are read (common practice, no source). [h]"""

_REST_SLACK_H = Decimal(1)
_ELSEWHERE = frozenset({"compare.age", "compare.storage", "compare.container"})  # what differs on purpose here
_HELD_BACK = frozenset({"compare.missing", "compare.declared", "compare.age_typed"})


@dataclass(frozen=True, slots=True)
class Stored:
    """A reading with its place, its pack and its time in storage, below zero before the baseline. [h]"""

    reading: Reading
    place: str
    pack: str
    hours: float
    at_baseline: bool = False


@dataclass(frozen=True)
class Sorter:
    """Sorts the readings of one property.

    Parameters
    ----------
    source : Source
    study : StudyView
    baseline : AgeWindow            When jars go into storage.
    protocol : StabilityProtocol, None
    method : str                    That its limit asks for; any where empty.
    """

    source: Source
    study: StudyView
    baseline: AgeWindow
    protocol: StabilityProtocol | None = None
    method: str = ""

    def placed(self, reading: Reading) -> Stored | LeftOut:
        """The reading in its place, or why it has none.

        Parameters
        ----------
        reading : Reading
        """
        age = age_of(reading)
        if reading.void:
            return _out(reading, VOID, "reading.void", f"voided: {reading.void}")
        if age is None:
            return _out(reading, IN_PROCESS, "reading.in_process", "it has no age: not timed, or read in process")
        place = storage_key(reading.storage)
        at_baseline = place in ("", REFERENCE) and self.baseline.contains(age)
        rest = Decimal(0) if place in ("", REFERENCE) else reading.rest_h or Decimal(0)
        hours = 0.0 if at_baseline else float(age - rest - self.baseline.age_h)
        if place not in ("", REFERENCE) and hours <= 0:
            words = f"read {storage_words(place)} before its jar went into storage at {self.baseline}"
            return _out(reading, NOT_COMPARABLE, "stability.before_storage", words)
        if not place and hours > 0 and self.protocol is not None:
            return _out(reading, SHOWN, "compare.storage_unknown", "how its jar was kept was not recorded")
        return Stored(reading, place, self._pack(reading), hours, at_baseline)

    def refused(self, stored: Stored, first: Reading | None) -> LeftOut | None:
        """Why a placed number does not count; None when it does.

        Parameters
        ----------
        stored : Stored
        first : Reading   The first that counted, which the others must be like in all but age and place.
        """
        reading = stored.reading
        flags = self.source.flags(reading, self.study)
        if flags:
            codes = tuple(dict.fromkeys(flag.code for flag in flags))
            return LeftOut(reading.batch, reading, FLAG, codes, " ".join(flag.words for flag in flags))
        method = self.source.method_of(reading, self.study)
        asked = self.study.methods.get(self.method) if self.method else method
        if method is None and reading.method:
            return _out(reading, SHOWN, "compare.no_method", f"{reading.method} is not a method of the study")
        verdict = against_method(reading, asked, None)
        if not verdict.comparable and (asked is not None or self._has_method(reading)):
            return _held_back(reading, verdict)
        if reading.age_h is None:
            return _out(reading, SHOWN, "compare.age_typed", "its age was typed, without a clock time to check it")
        return self._rest(stored, asked) or self._unlike(reading, first, asked)

    def _has_method(self, reading: Reading) -> bool:
        """Whether the study reads the property by a named method; a mass loss is read by none."""
        return any(fold(method.property) == fold(reading.property) for method in self.study.methods.values())

    def _pack(self, reading: Reading) -> str:
        """The pack of the protocol a reading names; empty where there is only one."""
        packs: tuple[Pack, ...] = self.protocol.packs if self.protocol is not None else ()
        if len(packs) < 2:
            return ""
        named = {fold(reading.container), fold(reading.sample)}
        return next((pack.name for pack in packs[1:] if fold(pack.name) in named), packs[0].name)

    def _rest(self, stored: Stored, method: Method | None) -> LeftOut | None:
        """What is read at a temperature must have come to it."""
        if stored.place in ("", REFERENCE) or method is None or method.temp_c is None:
            return None
        reading = stored.reading
        asked = self.protocol.rest_h if self.protocol is not None else REST_H
        if reading.rest_h is None:
            words = "its hours at 25 °C before it was read were not recorded"
            return _out(reading, SHOWN, "stability.rest_missing", words)
        if reading.rest_h < asked - _REST_SLACK_H:
            words = f"rested {reading.rest_h:f} h at 25 °C, the protocol asks for {asked:f} h"
            return _out(reading, NOT_COMPARABLE, "stability.rest_short", words)
        return None

    def _unlike(self, reading: Reading, first: Reading | None, method: Method | None) -> LeftOut | None:
        if first is None:
            return None
        found = compare_pair(reading, first, method, self.study.windows).reasons
        expected = _ELSEWHERE if method is not None or self._has_method(reading) else _ELSEWHERE | {"compare.missing"}
        reasons = tuple(reason for reason in found if reason.code not in expected)
        if not reasons:
            return None
        state = SHOWN if all(reason.code in _HELD_BACK for reason in reasons) else NOT_COMPARABLE
        return _held_back(reading, Verdict(state, reasons))


def averaged(found: Sequence[Stored], scale: str, place: Place | None, rest_h: float) -> list[StoragePoint]:
    """Points of one batch in one place: readings close in time are of one pull and are averaged.

    Parameters
    ----------
    found : sequence of Stored
    scale : str                  "ln" averages the logarithms.
    place : Place                Of the protocol, for the names of its stations.
    rest_h : float               By which a jar at 25 degC may be read after its station. [h]
    """
    groups: list[list[Stored]] = []
    for one in sorted(found, key=lambda one: (one.hours, one.reading.entry)):
        if groups and one.hours - groups[-1][0].hours <= max(4.0, 0.05 * abs(one.hours)):
            groups[-1].append(one)
        else:
            groups.append([one])
    return [_point(group, scale, place, rest_h) for group in groups]


def station_of(hours: float, place: Place | None, rest_h: float) -> str:
    """The station of a time in storage, the nearest whose window holds it; empty off the stations.

    Parameters
    ----------
    hours : float    [h]
    place : Place    Of the protocol; None where it has none such.
    rest_h : float   By which a jar at 25 degC may be read after its station. [h]
    """
    if place is None:
        return ""
    late = rest_h if place.name == REFERENCE else 0.0
    fits = [one for one in place.stations if one.contains(hours) or one.contains(hours - late)]
    return min(fits, key=lambda one: abs(float(one.hours) - hours)).label if fits else ""


def by_batch(found: Iterable[Stored]) -> dict[str, list[Stored]]:
    """Readings by batch, in order of coming."""
    groups: dict[str, list[Stored]] = {}
    for one in found:
        groups.setdefault(one.reading.batch, []).append(one)
    return groups


def place_rank(place: str, protocol: StabilityProtocol | None) -> tuple:
    """The order of places: those of the protocol as it lists them, then by temperature.

    Parameters
    ----------
    place : str                          Storage key.
    protocol : StabilityProtocol, None
    """
    order = [one.name for one in protocol.places] if protocol else []
    temp = storage_temp_c(place)
    return order.index(place) if place in order else len(order), temp is None, temp or 0, place


def warm_c(place: str) -> float | None:
    """The temperature of a place that is warmer than 25 degC; None for any other. [degC]"""
    temp = storage_temp_c(place)
    return float(temp) if temp is not None and temp > 25 else None


def _point(group: Sequence[Stored], scale: str, place: Place | None, rest_h: float) -> StoragePoint:
    values = [float(one.reading.value) for one in group]
    mean = math.exp(math.fsum(map(math.log, values)) / len(values)) if scale == LN else math.fsum(values) / len(values)
    hours = math.fsum(one.hours for one in group) / len(group)
    readings = tuple(one.reading for one in group)
    return StoragePoint(readings[0].batch, hours, mean, readings, station_of(hours, place, rest_h))


def _held_back(reading: Reading, verdict: Verdict) -> LeftOut:
    state = NOT_COMPARABLE if verdict.state == COMPARABLE else verdict.state
    codes = tuple(dict.fromkeys(reason.code for reason in verdict.reasons))
    return LeftOut(reading.batch, reading, state, codes, "; ".join(reason.words for reason in verdict.reasons))


def _out(reading: Reading, state: str, code: str, words: str) -> LeftOut:
    return LeftOut(reading.batch, reading, state, (code,), words)
