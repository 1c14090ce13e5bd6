"""How typed readings, observations and corrections become the text that an entry keeps."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from decimal import Decimal

from kit.bench.methods import Method
from kit.errors import BatchError
from kit.labbook.challenge_entry import KIND as CHALLENGE
from kit.labbook.challenge_entry import REPORTED, ph_text
from kit.labbook.study_view import StudyView
from kit.units import minutes, number, plain, read, split

_UNITS = {"viscosity": "mPa*s", "density": "g/mL", "pH": "1"}
RANGES = {
    "pH": (Decimal(0), Decimal(14)),
    "viscosity": (Decimal("1e-9"), Decimal("1e12")),
    "density": (Decimal("1e-9"), Decimal(100)),
}
_LARGEST = Decimal("1e300")  # a typed column holds a binary float
_SHOWN_UNITS = {"mPa*s": "mPa.s"}
_TEXTS = ("spindle", "instrument", "container", "calibration", "storage", "sample", "replicate", "operator", "note")

Convert = Callable[[object, str], str]


def _text(value: object, where: str) -> str:
    del where
    return str(value).strip()


def _in(unit: str, *, bare: bool = False) -> Convert:
    """A converter of a typed quantity to a decimal in `unit`; `bare` lets a number stand without its unit."""

    def convert(value: object, where: str) -> str:
        found, given = split(value, where=where)
        return plain(found if bare and not given else read(value, unit, where=where))

    return convert


# typed name -> (kept name, converter): every condition that a reading can carry
CONDITIONS: dict[str, tuple[str, Convert]] = {
    "temp": ("temp_c", _in("degC")),
    "rpm": ("rpm", _in("rpm", bare=True)),
    "torque_pct": ("torque_pct", _in("%", bare=True)),
    "reading_time": ("reading_time_s", _in("s")),
    "rest": ("rest_h", _in("h")),
    **{name: (name, _text) for name in _TEXTS},
}

_MASS = {"mass": ("mass_g", _in("g"))}
_SPEED = {
    "rpm": ("rpm", _in("rpm", bare=True)),
    "minutes": ("minutes", lambda value, where: plain(minutes(value, where=where))),
}
_NOTE = {"note": ("note", _text), "at": ("at", _text)}

# what a correction may put right, by kind of entry
CORRECTABLE: dict[str, dict[str, tuple[str, Convert]]] = {
    "weigh": {**_MASS, "lot": ("lot", _text), "balance": ("balance", _text), **_NOTE},
    "weigh-back": {**_MASS, **_NOTE},
    "gross": {"gross": ("gross_g", _in("g")), "tare": ("tare_g", _in("g")), **_NOTE},
    "top-up": {**_MASS, "lot": ("lot", _text), **_NOTE},
    "adjust": {**_MASS, "lot": ("lot", _text), "why": ("why", _text), "at": ("at", _text)},
    "take": {**_MASS, "why": ("why", _text), "at": ("at", _text)},
    "combine": {**_SPEED, "order": ("order", _text), **_NOTE},
    "add": {**_SPEED, "temp": ("temp_c", _in("degC")), **_NOTE},
    "temperature": {"temp": ("temp_c", _in("degC")), "at": ("at", _text)},
    "step": {**_SPEED, "temp": ("temp_c", _in("degC")), "text": ("text", _text), "at": ("at", _text)},
    "finish": _NOTE,
    "reading": {**CONDITIONS, "method": ("method", _text), "at": ("at", _text)},
    "observation": {"word": ("word", _text), "storage": ("storage", _text), "rest": ("rest_h", _in("h")), **_NOTE},
    CHALLENGE: {
        "ph": ("ph", ph_text),
        "age": ("age_typed_h", _in("h")),
        **{name: (name, _text) for name in REPORTED},
        **_NOTE,
    },
    "decide": {"verdict": ("verdict", _text), "why": ("why", _text), "by": ("by", _text)},
}


def reading_body(
    property: str,
    value: object,
    *,
    method: str,
    age: str,
    conditions: Mapping[str, object],
    study: StudyView,
    where: str = "reading",
) -> dict[str, str]:
    """The content of a reading entry.

    Raises
    ------
    BatchError   `reading.condition` for an unknown condition, `reading.method` for a method the study does not have.
    UnitError    A missing or wrong unit.
    """
    chosen = _method(property, method, study, where)
    kept, unit = _value(property, value, chosen, where)
    body = {
        "property": property,
        "value": kept,
        "unit": unit,
        "method": method,
        "age_typed_h": plain(read(age, "h", where=f"{where}, age")) if age else "",
    }
    for name, typed in conditions.items():
        if name not in CONDITIONS:
            near = difflib.get_close_matches(name, CONDITIONS, n=2)
            raise BatchError(
                f"{name!r} is not a condition of a reading",
                where=where,
                allowed=", ".join(CONDITIONS),
                mend=f"did you mean {near[0]}?" if near else "use one of these, or note=",
                code="reading.condition",
            )
        if typed not in (None, ""):
            field, convert = CONDITIONS[name]
            body[field] = convert(typed, f"{where}, {name}")
    return body


def observation_body(
    name: str, word: str, *, age: str = "", note: str = "", storage: str = "", rest: str = ""
) -> dict[str, str]:
    """The content of an observation entry; how its jar was kept, and rested, only where that is told."""
    if not str(name).strip() or not str(word).strip():
        raise BatchError(
            "an observation needs a name and a word",
            where="observe()",
            mend='observe("grain", "none")',
            code="batch.observation",
        )
    return {
        "name": str(name).strip(),
        "word": str(word).strip(),
        "note": note,
        "age_typed_h": plain(read(age, "h", where=f"observation {name}, age")) if age else "",
        **({"storage": " ".join(storage.split())} if storage.strip() else {}),
        **({"rest_h": plain(read(rest, "h", where=f"observation {name}, rest"))} if rest else {}),
    }


def corrected_body(kind: str, current: Mapping, changes: Mapping[str, object], *, study: StudyView, where: str) -> dict:
    """The content of an entry with some parts put right.

    Raises
    ------
    BatchError   `batch.correct` for a part that such an entry does not have, or when nothing is changed.
    """
    allowed = {**CORRECTABLE.get(kind, {}), **({"value": ("value", _text)} if kind == "reading" else {})}
    body = dict(current)
    for name, typed in changes.items():
        if name not in allowed:
            raise BatchError(
                f"{name!r} cannot be put right in an entry of kind {kind}",
                where=where,
                allowed=", ".join(sorted(allowed)) or "nothing",
                mend="name one of these, or void the entry and record it anew",
                code="batch.correct",
            )
        field, convert = allowed[name]
        body[field] = convert(typed, f"{where}, {name}")
    _now_recorded(body, {allowed[name][0] for name in changes})
    if "value" in changes:
        body["value"], body["unit"] = _value(
            body["property"], changes["value"], study.methods.get(body["method"]), where
        )
    if body == dict(current):
        raise BatchError(
            "the correction changes nothing",
            where=where,
            mend="give the part that was wrong with its right value",
            code="batch.correct",
        )
    return body


def _now_recorded(body: dict, fields: set[str]) -> None:
    """What a correction gives is recorded with the reading: no longer declared for a whole file, nor without a time."""
    if "declared" in body:
        body["declared"] = [name for name in body["declared"] if name not in fields]
    if body.get("at") and "at" in fields:
        body.pop("untimed", None)


def _method(property: str, name: str, study: StudyView, where: str) -> Method | None:
    if not name:
        return None
    if name not in study.methods:
        raise BatchError(
            f"study {study.name} has no method {name!r}",
            where=where,
            allowed=", ".join(sorted(study.methods)),
            mend="use one of these, or open the study with that method",
            code="reading.method",
        )
    method = study.methods[name]
    if method.property != property:
        raise BatchError(
            f"method {name!r} is for {method.property}, not for {property}",
            where=where,
            mend="name the right method",
            code="reading.method",
        )
    return method


def _value(property: str, value: object, method: Method | None, where: str) -> tuple[str, str]:
    where = f"{where}, {property}"
    unit = method.unit if method is not None else _UNITS.get(property, "")
    if unit == "1":
        kept, shown = number(value, where=where), "1"
    elif unit:
        kept, shown = read(value, unit, where=where), _SHOWN_UNITS.get(unit, unit)
    else:
        kept, shown = split(value, where=where)
    low, high = RANGES.get(property, (-_LARGEST, _LARGEST))
    if not low <= kept <= high:
        raise BatchError(
            f"{kept} cannot be a value of {property}",
            where=where,
            allowed=f"{low:g} to {high:g}" if property in RANGES else "",
            mend="look for a lost decimal mark or a wrong unit",
            code="reading.value_range",
        )
    return plain(kept), shown or "1"
