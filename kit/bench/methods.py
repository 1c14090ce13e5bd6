"""Named methods of reading, with the conditions and tolerances that make two readings comparable, and age windows."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from kit.errors import KitError
from kit.show import Worded
from kit.sources import read_data
from kit.units import plain, read

# Conditions a method can need, and the field of a reading that holds each.
CONDITIONS = {
    "instrument": "instrument",
    "calibration": "calibration",
    "spindle": "spindle",
    "rpm": "rpm",
    "torque_pct": "torque_pct",
    "reading_time": "reading_time_s",
    "container": "container",
    "temp": "temp_c",
    "storage": "storage",
    "sample": "sample",
}
_WORDS = ("title", "unit", "spindle", "container", "kind", "source", "note")
_LIMITS = ("slope_low", "slope_high", "offset_low", "offset_high", "closing_tolerance")
_KEYS = {
    "name",
    "property",
    *_WORDS,
    "temp",
    "rpm",
    "reading_time",
    "torque",
    "constant_tolerance_pct",
    "needs",
    "calibration",
}


@dataclass(frozen=True, slots=True, repr=False)
class Method(Worded):
    """A named way of reading one property. What a method does not fix is None or empty.

    `temp_c` with `temp_tolerance_c` [degC]; `rpm`; `reading_time_s` [s]; `spindle`; `container`; `torque_low` and
    `torque_high` [% of full scale]; `constant_tolerance_pct`, how far value x rpm / torque may be off the constant of
    the spindle [%]; `slope_low` and `slope_high` [% of Nernst], `offset_low` and `offset_high` [mV] of the calibration,
    `closing_tolerance`, how far a buffer may be off when it is read again after the run [pH], `calibration_max_age_h`
    [h]; `needs`, the conditions that must be recorded for a reading to be tested. `kind` and `source` say where these
    numbers come from.
    """

    name: str
    property: str
    unit: str = ""
    title: str = ""
    temp_c: Decimal | None = None
    temp_tolerance_c: Decimal | None = None
    rpm: Decimal | None = None
    reading_time_s: Decimal | None = None
    spindle: str = ""
    container: str = ""
    torque_low: Decimal | None = None
    torque_high: Decimal | None = None
    constant_tolerance_pct: Decimal | None = None
    slope_low: Decimal | None = None
    slope_high: Decimal | None = None
    offset_low: Decimal | None = None
    offset_high: Decimal | None = None
    closing_tolerance: Decimal | None = None
    calibration_max_age_h: Decimal | None = None
    needs: tuple[str, ...] = ()
    kind: str = ""
    source: str = ""
    note: str = ""

    @property
    def rotational(self) -> bool:
        """Whether it is a rotational viscosity: then instrument, spindle and speed belong to the value itself."""
        return self.torque_low is not None or self.torque_high is not None or bool(self.spindle)

    @classmethod
    def read(cls, row: Mapping) -> Method:
        """A method from a row of a methods file or from a study's own dictionary; numbers are text.

        Raises
        ------
        KitError    `method.key`, `method.value`, `method.needs`.
        UnitError   For a quantity that cannot be read.
        """
        name = str(row.get("name", "")).strip()
        where = f"method {name or '(no name)'}"
        _refuse_unknown(row, where)
        if not name or not row.get("property"):
            raise KitError(
                "a method needs a name and a property",
                where=where,
                mend='add name = "..." and property = "..."',
                code="method.key",
            )
        temp, torque, calibration = row.get("temp", {}), row.get("torque", {}), row.get("calibration", {})
        temp_unit = temp.get("unit", "degC")
        value = None if "value" not in temp else read(f"{temp['value']} {temp_unit}", "degC", where=f"{where}, temp")
        return cls(
            name=name,
            property=str(row["property"]),
            temp_c=value,
            temp_tolerance_c=_number(temp, "tolerance", where),
            rpm=_quantity(row, "rpm", "rpm", where),
            reading_time_s=_quantity(row, "reading_time", "s", where),
            torque_low=_number(torque, "low", where),
            torque_high=_number(torque, "high", where),
            constant_tolerance_pct=_number(row, "constant_tolerance_pct", where),
            calibration_max_age_h=_quantity(calibration, "max_age", "h", where),
            needs=_needs(row, where),
            **{limit: _number(calibration, limit, where) for limit in _LIMITS},
            **{word: str(row.get(word, "")) for word in _WORDS},
        )

    def row(self) -> dict:
        """The method as a row of text, in the form `read` takes."""
        row: dict = {
            "name": self.name,
            "property": self.property,
            **{word: getattr(self, word) for word in _WORDS if getattr(self, word)},
        }
        if self.temp_c is not None:
            row["temp"] = {"value": plain(self.temp_c), "unit": "degC"} | _known(tolerance=self.temp_tolerance_c)
        row |= _known(rpm=self.rpm, constant_tolerance_pct=self.constant_tolerance_pct)
        if self.reading_time_s is not None:
            row["reading_time"] = f"{plain(self.reading_time_s)} s"
        calibration = _known(**{limit: getattr(self, limit) for limit in _LIMITS})
        if self.calibration_max_age_h is not None:
            calibration["max_age"] = f"{plain(self.calibration_max_age_h)} h"
        tables = {"torque": _known(low=self.torque_low, high=self.torque_high), "calibration": calibration}
        return (
            row
            | {name: table for name, table in tables.items() if table}
            | ({"needs": list(self.needs)} if self.needs else {})
        )

    from_row = read

    def words(self) -> str:
        """The method line of a chart or a table: "viscosity: disc 5, 10 rpm, 60 s, 25 ± 0.5 degC, 100 mL jar"."""
        temp = (
            "" if self.temp_c is None else f"{plain(self.temp_c)} ± {plain(self.temp_tolerance_c or Decimal(0))} degC"
        )
        parts = [self.spindle, _with_unit(self.rpm, "rpm"), _with_unit(self.reading_time_s, "s"), temp, self.container]
        told = ", ".join(part for part in parts if part)
        return f"{self.name}: {told}" if told else self.name


def method(name: str, own: Mapping[str, Method] | None = None) -> Method:
    """A method by name, of the lab's or study's `own` first, else of the kit.

    Raises
    ------
    KitError   `method.unknown` with the names there are.
    """
    known = {**methods(), **(own or {})}
    if name not in known:
        raise KitError(
            f"there is no method {name!r}",
            where="methods",
            allowed=", ".join(known),
            mend="name one of these, or declare your own",
            code="method.unknown",
        )
    return known[name]


@lru_cache(maxsize=1)
def methods() -> dict[str, Method]:
    """The kit's own methods by name. Treat the result as read-only."""
    return {row["name"]: Method.read(row) for row in read_data("methods.toml")["method"]}


@dataclass(frozen=True, slots=True, repr=False)
class AgeWindow(Worded):
    """Ages that count as the same: `label` "72 h", its age and how far from it. Counted from the end of making. [h]"""

    label: str
    age_h: Decimal
    tolerance_h: Decimal

    def contains(self, age_h: Decimal) -> bool:
        """Whether an age lies in the window, its ends included."""
        return abs(age_h - self.age_h) <= self.tolerance_h

    def row(self) -> dict[str, str]:
        """The window as a row of text."""
        return {"label": self.label, "age_h": plain(self.age_h), "tolerance_h": plain(self.tolerance_h)}

    @classmethod
    def from_row(cls, row: Mapping[str, str]) -> AgeWindow:
        """The window that `row()` wrote."""
        return cls(row["label"], Decimal(row["age_h"]), Decimal(row["tolerance_h"]))

    def __str__(self) -> str:
        return f"{self.label} ± {_hours(self.tolerance_h)}"


@lru_cache(maxsize=1)
def default_windows() -> tuple[AgeWindow, ...]:
    """The kit's windows: 1 h ± 15 min, 24 ± 2 h, 72 ± 4 h, 7 d ± 12 h."""
    return tuple(_window(label, tolerance) for label, tolerance in read_data("methods.toml")["ages"]["windows"].items())


def age_window(text: str, windows: Sequence[AgeWindow] | None = None) -> AgeWindow:
    """The window of an age: "72 h", or "14 d ± 12 h" (also "14 d +- 12 h") for one with a tolerance of its own.

    Raises
    ------
    KitError    `age.unknown` for an age without a window and without a tolerance.
    UnitError   For text that is not a time.
    """
    label, mark, tolerance = re.sub(r"\+/?-", "±", text).partition("±")
    if mark:
        return _window(label.strip(), tolerance.strip())
    age_h = read(text, "h", where="age")
    windows = default_windows() if windows is None else windows
    for window in windows:
        if window.age_h == age_h:
            return window
    raise KitError(
        f"there is no age window for {text!r}",
        where="age",
        allowed=", ".join(str(window) for window in windows),
        mend=f'give its tolerance: "{text} +- 12 h"',
        code="age.unknown",
    )


def nearest_window(age_h: Decimal, windows: Sequence[AgeWindow] | None = None) -> AgeWindow | None:
    """The window an age lies in, the nearest of several; None where it lies in none. [h]"""
    holding = [window for window in (default_windows() if windows is None else windows) if window.contains(age_h)]
    return min(holding, key=lambda window: (abs(age_h - window.age_h), window.age_h), default=None)


def closest_window(age_h: Decimal, windows: Sequence[AgeWindow] | None = None) -> AgeWindow | None:
    """The window whose age is closest, in proportion, whether or not the age lies in it; None without windows. [h]"""
    known = default_windows() if windows is None else windows
    return min(
        known,
        key=lambda window: max(age_h, window.age_h) / max(min(age_h, window.age_h), Decimal("0.01")),
        default=None,
    )


def _window(label: str, tolerance: str) -> AgeWindow:
    return AgeWindow(label, read(label, "h", where="age window"), read(tolerance, "h", where=f"age window {label}"))


def _hours(hours: Decimal) -> str:
    return f"{float(hours * 60):.4g} min" if hours < 1 else f"{plain(hours)} h"


def _refuse_unknown(row: Mapping, where: str) -> None:
    for key in row:
        if key not in _KEYS:
            raise KitError(
                f"the key {key!r} is not known",
                where=where,
                allowed=", ".join(sorted(_KEYS)),
                mend="correct its spelling",
                code="method.key",
            )


def _needs(row: Mapping, where: str) -> tuple[str, ...]:
    needs = row.get("needs", ())
    if isinstance(needs, str) or not isinstance(needs, Iterable) or any(need not in CONDITIONS for need in needs):
        raise KitError(
            f"needs is {needs!r}",
            where=where,
            allowed=f"a list of {', '.join(CONDITIONS)}",
            mend="correct it",
            code="method.needs",
        )
    return tuple(needs)


def _number(table: Mapping, key: str, where: str) -> Decimal | None:
    if key not in table:
        return None
    try:
        return Decimal(str(table[key]).removesuffix("%").strip())
    except InvalidOperation:
        raise KitError(
            f"{key} is {table[key]!r}",
            where=where,
            allowed='a number as text, such as "25"',
            mend="correct it",
            code="method.value",
        ) from None


def _quantity(row: Mapping, key: str, unit: str, where: str) -> Decimal | None:
    if key not in row:
        return None
    text = str(row[key])
    return read(text if re.search(r"[A-Za-z]", text) else f"{text} {unit}", unit, where=f"{where}, {key}")


def _known(**numbers: Decimal | None) -> dict[str, str]:
    return {name: plain(value) for name, value in numbers.items() if value is not None}


def _with_unit(value: Decimal | None, unit: str) -> str:
    return "" if value is None else f"{plain(value)} {unit}"
