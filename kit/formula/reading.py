"""Reading the text of a formula file: TOML a formulator writes by hand, percentages kept exactly."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

from kit.errors import FormulaError
from kit.formula.composition import Step
from kit.formula.library import Library
from kit.formula.model import PHASE_KINDS, PRODUCTS, STEP_KINDS, FormulaModel, Line, Phase, SpecLine
from kit.units import minutes, number, percent, read

Made = TypeVar("Made", bound=FormulaModel)

_FORMULA_KEYS = {"name", "version", "product", "note", "why", "parent", "absorbed_by", "spec", "phase", "step"}
_SPEC_KEYS = {"property", "low", "high", "unit", "allowed", "method", "age"}
_LINE_KEYS = {"material", "pct", "qs", "why"}
_MOST_PCT = 1000  # a decimal slipped by one place is for the review to tell; beyond it nothing can be reckoned
_STEP_KEYS = {"do", "phase", "temp", "temps", "rpm", "minutes", "text"}


def formula_file_text(path: Path) -> str:
    """The text of a formula file.

    Raises
    ------
    FormulaError   `formula.file_missing`, or `formula.file_broken` when it is not UTF-8.
    """
    if not path.is_file():
        near = ", ".join(sorted(item.name for item in path.parent.glob("*.toml"))[:5]) if path.parent.is_dir() else ""
        raise FormulaError(
            f"there is no formula file {path.name!r}",
            where=str(path.parent),
            allowed=f"found there: {near}" if near else "",
            mend="check the name and the folder",
            code="formula.file_missing",
        )
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise FormulaError(
            f"the file could not be read: {problem.strerror}",
            where=str(path),
            mend="check that you may read it",
            code="formula.file_missing",
        ) from None
    except UnicodeDecodeError as problem:
        raise FormulaError(
            f"the file is not UTF-8 text (byte {problem.start})",
            where=path.name,
            mend="save it as UTF-8",
            code="formula.file_broken",
        ) from None


def read_as(make: type[Made], text: str, library: Library, *, where: str = "formula") -> Made:
    """Read a formula from TOML text into a class of formulas.

    Raises
    ------
    FormulaError    `formula.file_broken` (line and column), `formula.key`, `formula.value`, `formula.empty`,
                    `formula.phase_kind`, `formula.step_kind`, `formula.product`.
    MaterialError   `material.unknown`, `material.ambiguous`.
    UnitError       For a number that cannot be read.
    """
    try:
        table = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as problem:
        raise FormulaError(
            f"the file cannot be read: {problem}",
            where=where,
            allowed="TOML: text in quotes, one key a line",
            mend="correct the place named",
            code="formula.file_broken",
        ) from None
    _known_keys(table, _FORMULA_KEYS, where)
    product = _choice(str(table.get("product", PRODUCTS[0])), PRODUCTS, f"{where}, product", "formula.product")
    phases = tuple(
        _phase(row, library, f"{where}, phase {number}")
        for number, row in enumerate(_rows(table, "phase", where), start=1)
    )
    if not any(phase.lines for phase in phases):
        raise FormulaError(
            "the formula has no line", where=where, mend="add a [[phase]] with a [[phase.line]]", code="formula.empty"
        )
    _unique_names(phases, where)
    steps = tuple(
        _step(row, phases, f"{where}, step {number}") for number, row in enumerate(_rows(table, "step", where), start=1)
    )
    spec = tuple(
        _spec(row, f"{where}, spec {number}") for number, row in enumerate(_rows(table, "spec", where), start=1)
    )
    return make(
        name=_text(table, "name", where),
        version=_text(table, "version", where),
        product=product,
        phases=phases,
        steps=steps,
        spec=spec,
        parent=str(table.get("parent", "")),
        why=str(table.get("why", "")),
        note=str(table.get("note", "")),
        absorbed_by=str(table.get("absorbed_by", "")),
        library=library,
        typed=text,
    )


def _phase(row: Mapping, library: Library, where: str) -> Phase:
    _known_keys(row, {"name", "kind", "line"}, where)
    name = _text(row, "name", where)
    where = f"{where} ({name})"
    kind = _choice(_text(row, "kind", where), PHASE_KINDS, where, "formula.phase_kind")
    lines = tuple(
        _line(item, library, f"{where}, line {count}") for count, item in enumerate(_rows(row, "line", where), start=1)
    )
    return Phase(name, kind, lines)


def _line(row: Mapping, library: Library, where: str) -> Line:
    _known_keys(row, _LINE_KEYS, where)
    material = library.find(_text(row, "material", where), where=where)
    where = f"{where} ({material.key})"
    qs = row.get("qs", False)
    if not isinstance(qs, bool):
        raise FormulaError(
            f"qs is {qs!r}", where=where, allowed="true or false", mend="write qs = true", code="formula.value"
        )
    if qs == ("pct" in row):
        raise FormulaError(
            "the line has both pct and qs" if qs else "the line has neither pct nor qs",
            where=where,
            mend='give pct = "3.00", or qs = true for the one line that makes up to 100',
            code="formula.value",
        )
    pct = None if qs else percent(row["pct"], where=where)
    if pct is not None and not 0 <= pct <= _MOST_PCT:
        raise FormulaError(
            f"the percentage is {'negative' if pct < 0 else 'no percentage of a formula'}: {pct}",
            where=where,
            allowed="0 to 100",
            mend="correct it",
            code="formula.value",
        )
    return Line(material, pct, qs, str(row.get("why", "")))


def _step(row: Mapping, phases: tuple[Phase, ...], where: str) -> Step:
    _known_keys(row, _STEP_KEYS, where)
    do = _choice(_text(row, "do", where), STEP_KINDS, where, "formula.step_kind")
    phase = str(row.get("phase", ""))
    names = tuple(item.name for item in phases)
    if phase:
        _choice(phase, names, f"{where} ({do})", "formula.phase")
    one, many = _temps(row)
    for name in many:
        _choice(name, (*names, "after"), f"{where} ({do}), temps", "formula.phase")
    return Step(
        do=do,
        phase=phase,
        text=str(row.get("text", "")),
        temp_c=None if one is None else read(one, "degC", where=f"{where}, temps"),
        temps_c=tuple(
            (name, read(temp, "degC", where=f"{where}, temps.{name}")) for name, temp in sorted(many.items())
        ),
        rpm=_optional(row, "rpm", lambda value: number(value, where=f"{where}, rpm")),
        minutes=_optional(row, "minutes", lambda value: minutes(value, where=f"{where}, minutes")),
    )


def _temps(row: Mapping) -> tuple[object, Mapping]:
    """The one temperature of a step, and those it gives by phase; `temps` may hold either."""
    temps = row.get("temps")
    return (row.get("temp"), temps) if isinstance(temps, Mapping) else (row.get("temp", temps), {})


def _spec(row: Mapping, where: str) -> SpecLine:
    _known_keys(row, _SPEC_KEYS, where)
    allowed = row.get("allowed", [])
    line = SpecLine(
        property=_text(row, "property", where),
        unit=str(row.get("unit", "")),
        method=str(row.get("method", "")),
        age=str(row.get("age", "")),
        allowed=tuple(map(str, allowed if isinstance(allowed, list) else [allowed])),
        low=_optional(row, "low", lambda value: number(value, where=f"{where}, low")),
        high=_optional(row, "high", lambda value: number(value, where=f"{where}, high")),
    )
    if line.low is None and line.high is None and not line.allowed:
        raise FormulaError(
            f"the spec line for {line.property} has no limit",
            where=where,
            allowed="low, high or allowed words",
            mend="add one",
            code="formula.value",
        )
    if line.low is not None and line.high is not None and line.low > line.high:
        raise FormulaError(
            f"low {line.low} is above high {line.high}", where=where, mend="exchange them", code="formula.value"
        )
    return line


def _optional(row: Mapping, key: str, convert):
    return convert(row[key]) if key in row else None


def _rows(table: Mapping, key: str, where: str) -> list[Mapping]:
    rows = table.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        raise FormulaError(
            f"{key} is not a list of tables",
            where=where,
            allowed=f"[[{key}]] before each",
            mend="double the brackets",
            code="formula.value",
        )
    return rows


def _text(row: Mapping, key: str, where: str) -> str:
    if not str(row.get(key, "")).strip():
        raise FormulaError(f"{key!r} is missing", where=where, mend=f'add {key} = "..."', code="formula.key")
    return str(row[key]).strip()


def _choice(value: str, allowed: tuple[str, ...], where: str, code: str) -> str:
    if value not in allowed:
        raise FormulaError(
            f"{value!r} is not known here", where=where, allowed=", ".join(allowed), mend="use one of these", code=code
        )
    return value


def _known_keys(row: Mapping, known: set[str], where: str) -> None:
    for key in row:
        if key not in known:
            raise FormulaError(
                f"the key {key!r} is not known",
                where=where,
                allowed=", ".join(sorted(known)),
                mend="correct its spelling",
                code="formula.key",
            )


def _unique_names(phases: tuple[Phase, ...], where: str) -> None:
    names = [phase.name for phase in phases]
    if "after" in names:
        raise FormulaError(
            'a phase cannot be called "after": that names the temperature of the combined batch',
            where=where,
            mend="give it another name",
            code="formula.phase",
        )
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FormulaError(
            f"two phases are called {twice[0]!r}", where=where, mend="give each its own name", code="formula.phase"
        )
