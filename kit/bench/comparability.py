"""Whether two readings, or a reading and a limit, may be set against one another: in words, with a stable code."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.methods import CONDITIONS, AgeWindow, Method, closest_window, nearest_window
from kit.bench.readings import CONDITION_WORDS, Reading, missing_conditions, needed
from kit.show import Worded
from kit.units import plain, same_unit

COMPARABLE, SHOWN, NOT_COMPARABLE = "comparable", "shown, not tested", "not comparable"

# Conditions that must agree for any property, and those that belong to the value of a rotational viscosity.
_ALWAYS = (
    ("container", "container", "", "container"),
    ("storage", "storage", "", "storage"),
    ("reading_time", "reading_time_s", " s", "reading time"),
)
_ROTATIONAL = (
    ("instrument", "instrument", "", "instrument"),
    ("spindle", "spindle", "", "spindle"),
    ("rpm", "rpm", " rpm", "speed"),
)


@dataclass(frozen=True, slots=True, repr=False)
class Reason(Worded):
    """Why a pair is not comparable or not tested: a stable code and words."""

    code: str
    words: str


@dataclass(frozen=True, slots=True, repr=False)
class Verdict(Worded):
    """`state` is "comparable", "shown, not tested" or "not comparable"; `reasons` say why, those that forbid first."""

    state: str
    reasons: tuple[Reason, ...] = ()

    @property
    def comparable(self) -> bool:
        """Whether the pair may be tested."""
        return self.state == COMPARABLE

    def words(self) -> str:
        """The verdict in words: "not comparable: spindles differ ..." """
        return f"{self.state}: {'; '.join(reason.words for reason in self.reasons)}" if self.reasons else self.state


def compare_pair(a: Reading, b: Reading, method: Method | None, windows: Sequence[AgeWindow] | None = None) -> Verdict:
    """Whether two readings may be compared. The order of the two does not matter.

    Parameters
    ----------
    a, b : Reading       The pair.
    method : Method      The method both should follow: its tolerances and needs; None where there is no named one.
    windows : sequence   Age windows; the kit's when omitted.

    Returns
    -------
    Verdict   Codes that forbid: compare.property, compare.unit, compare.method, compare.age, compare.instrument,
              compare.spindle, compare.rpm, compare.reading_time, compare.container, compare.storage,
              compare.temperature.
              Codes that leave it shown but not tested: compare.missing, compare.declared, compare.age_typed.
    """
    a, b = sorted((a, b), key=lambda reading: (reading.batch, reading.entry))
    forbids = [
        *_different_things(a, b),
        *_different_methods(a, b, method),
        *_different_ages(a, b, windows),
        *_different_conditions(a, b, method),
        *_different_temperatures(a, b, method),
    ]
    return _verdict(forbids, [reason for reading in (a, b) for reason in _untested(reading, method)])


def against_method(reading: Reading, spec_method: Method | None, window: AgeWindow | None) -> Verdict:
    """Whether a reading may be judged against a limit that names a method and an age.

    Parameters
    ----------
    reading : Reading        The reading.
    spec_method : Method     The method of the limit; None where it names none.
    window : AgeWindow       The age of the limit; None where it names none.

    Returns
    -------
    Verdict   Codes as in `compare_pair`.
    """
    forbids = [
        *_other_method(reading, spec_method),
        *_other_age(reading, window),
        *_other_conditions(reading, spec_method),
    ]
    return _verdict(forbids, list(_untested(reading, spec_method, needs_age=window is not None)))


def _verdict(forbids: list[Reason], holds_back: list[Reason]) -> Verdict:
    reasons = tuple(dict.fromkeys([*forbids, *holds_back]))
    return Verdict(NOT_COMPARABLE if forbids else SHOWN if holds_back else COMPARABLE, reasons)


def _different_things(a: Reading, b: Reading) -> Iterable[Reason]:
    if _fold(a.property) != _fold(b.property):
        yield Reason("compare.property", f"{a.batch} is {a.property}, {b.batch} is {b.property}")
    if (a.value is None) != (b.value is None):
        yield Reason("compare.unit", f"one is a number and the other a word ({a.batch}, {b.batch})")
    elif not same_unit(a.unit or "1", b.unit or "1"):
        yield Reason("compare.unit", f"{a.batch} is in {a.unit or 'no unit'}, {b.batch} in {b.unit or 'no unit'}")


def _different_methods(a: Reading, b: Reading, method: Method | None) -> Iterable[Reason]:
    if a.method and b.method and a.method != b.method:
        yield Reason("compare.method", f"methods differ: {a.batch} {a.method}, {b.batch} {b.method}")
    elif method is not None:
        for reading in (a, b):
            yield from _other_method_name(reading, method)


def _other_method_name(reading: Reading, method: Method) -> Iterable[Reason]:
    if reading.method and reading.method != method.name:
        yield Reason("compare.method", f"{reading.batch} was read by {reading.method}, not by {method.name}")


def _different_ages(a: Reading, b: Reading, windows: Sequence[AgeWindow] | None) -> Iterable[Reason]:
    one, other = _age(a), _age(b)
    if one is not None and other is not None and not same_age(one, other, windows):
        yield Reason("compare.age", f"ages differ: {a.batch} {_hours(one)}, {b.batch} {_hours(other)}")


def same_age(one: Decimal, other: Decimal, windows: Sequence[AgeWindow] | None = None) -> bool:
    """Whether two ages count as the same: in one window, or outside all no further apart than the closest allows. [h]

    Parameters
    ----------
    one, other : Decimal   Counted from the end of making. [h]
    windows : sequence     Age windows; the kit's when omitted.
    """
    first, second = nearest_window(one, windows), nearest_window(other, windows)
    if first is not None or second is not None:
        return first == second
    window = closest_window(min(one, other), windows)
    return abs(one - other) <= (window.tolerance_h if window else 0)


def _different_conditions(a: Reading, b: Reading, method: Method | None) -> Iterable[Reason]:
    for code, name, unit, word in (*_ALWAYS, *(_ROTATIONAL if _is_rotational(a, b, method) else ())):
        one, other = getattr(a, name), getattr(b, name)
        if _known(one) and _known(other) and _fold(one) != _fold(other):
            yield Reason(
                f"compare.{code}", f"{word} differs: {a.batch} {_shown(one)}{unit}, {b.batch} {_shown(other)}{unit}"
            )


def _is_rotational(a: Reading, b: Reading, method: Method | None) -> bool:
    return (
        method.rotational
        if method is not None
        else any(reading.spindle or reading.torque_pct is not None for reading in (a, b))
    )


def _different_temperatures(a: Reading, b: Reading, method: Method | None) -> Iterable[Reason]:
    if method is None or method.temp_tolerance_c is None or a.temp_c is None or b.temp_c is None:
        return
    inside = all(abs(reading.temp_c - method.temp_c) <= method.temp_tolerance_c for reading in (a, b))
    if not inside and abs(a.temp_c - b.temp_c) > method.temp_tolerance_c:
        yield Reason(
            "compare.temperature",
            f"temperatures differ: {a.batch} {plain(a.temp_c)} degC, {b.batch} {plain(b.temp_c)} degC "
            f"(allowed {plain(method.temp_c)} ± {plain(method.temp_tolerance_c)} degC)",
        )


def _untested(reading: Reading, method: Method | None, needs_age: bool = True) -> Iterable[Reason]:
    missing = [name for name in missing_conditions(reading, method) if needs_age or name != "age"]
    if missing:
        yield Reason("compare.missing", f"{reading.title}: {', '.join(missing)} not recorded")
    declared = _declared(reading, method)
    if declared:
        yield Reason("compare.declared", f"{reading.title}: {', '.join(declared)} only declared for the whole file")
    if needs_age and reading.age_h is None and reading.age_typed_h is not None:
        yield Reason(
            "compare.age_typed",
            f"{reading.title}: age of {_hours(reading.age_typed_h)} typed, without a clock time to check it",
        )


def _declared(reading: Reading, method: Method | None) -> list[str]:
    """Needed conditions that a declaration for a whole file supplied, under either of their names."""
    names = ("method", *needed(method))
    return [CONDITION_WORDS.get(name, name) for name in names if reading.declared & {name, CONDITIONS.get(name, name)}]


def _other_method(reading: Reading, method: Method | None) -> Iterable[Reason]:
    if method is None:
        return
    if _fold(reading.property) != _fold(method.property):
        yield Reason("compare.property", f"{reading.batch} is {reading.property}, the limit is on {method.property}")
    if (
        method.unit
        and reading.value is not None
        and reading.unit != method.unit
        and not same_unit(reading.unit or "1", method.unit)
    ):
        yield Reason("compare.unit", f"{reading.batch} is in {reading.unit or 'no unit'}, the limit in {method.unit}")
    yield from _other_method_name(reading, method)


def _other_age(reading: Reading, window: AgeWindow | None) -> Iterable[Reason]:
    age = _age(reading)
    if window is not None and age is not None and not window.contains(age):
        yield Reason("compare.age", f"{reading.batch} was {_hours(age)} old, the limit holds at {window}")


def _other_conditions(reading: Reading, method: Method | None) -> Iterable[Reason]:
    if method is None:
        return
    for code, name, unit, word in (*_ALWAYS, *_ROTATIONAL):
        asked, found = getattr(method, name, None), getattr(reading, name)
        if _known(asked) and _known(found) and _fold(asked) != _fold(found):
            yield Reason(
                f"compare.{code}",
                f"{word} differs: {reading.batch} {_shown(found)}{unit}, the method {_shown(asked)}{unit}",
            )
    tolerance = method.temp_tolerance_c
    if tolerance is not None and reading.temp_c is not None and abs(reading.temp_c - method.temp_c) > tolerance:
        yield Reason(
            "compare.temperature",
            f"{reading.batch} was read at {plain(reading.temp_c)} degC, the method asks for "
            f"{plain(method.temp_c)} ± {plain(tolerance)} degC",
        )


def _age(reading: Reading) -> Decimal | None:
    return reading.age_h if reading.age_h is not None else reading.age_typed_h


def _known(value: object) -> bool:
    return value is not None and value != ""


def _fold(value: object) -> object:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


def _shown(value: object) -> str:
    return plain(value) if isinstance(value, Decimal) else str(value)


def _hours(hours: Decimal) -> str:
    return f"{plain(hours.quantize(Decimal('0.1')))} h"
