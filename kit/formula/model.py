"""What a formula is: lines, phases, steps and a spec, frozen and exact to the decimal it was typed with."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from kit.errors import FormulaError
from kit.formula.composition import Composition, CompositionLine, Step, show_pct
from kit.formula.library import Library, build
from kit.formula.material import Material
from kit.show import Fielded, Table, Worded
from kit.units import plain

PHASE_KINDS = ("water", "oil", "cool-down", "adjust")
STEP_KINDS = ("heat", "disperse", "combine", "cool", "add", "adjust", "rest", "note")
PRODUCTS = ("rinse-off hair", "leave-on hair")


@dataclass(frozen=True, slots=True, repr=False)
class Line(Worded):
    """One line of a formula: a supply form and its % w/w, or q.s. (quantity sufficient to 100)."""

    material: Material
    pct: Decimal | None = None
    qs: bool = False
    why: str = ""

    @property
    def words(self) -> str:
        """The supply form and its share, with the reason where one is given."""
        share = "q.s." if self.qs else "no share yet" if self.pct is None else f"{show_pct(self.pct)} %"
        return f"{self.material.name} {share}{f' ({self.why})' if self.why else ''}"


@dataclass(frozen=True, slots=True, repr=False)
class Phase(Fielded):
    """A phase: its letter or name, its kind (water, oil, cool-down, adjust) and its lines."""

    name: str
    kind: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, repr=False)
class SpecLine(Worded):
    """One property the product must meet, with the method and the age it is judged at.

    Numeric: `low` and/or `high` in `unit`. Coded: `allowed` words, such as "none" for grain.
    """

    property: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    allowed: tuple[str, ...] = ()
    method: str = ""
    age: str = ""

    def words(self) -> str:
        """The limits as text: "4.3 to 4.9", "at least 3", "none"."""
        unit = f" {self.unit}" if self.unit and self.unit != "1" else ""
        if self.allowed:
            return " or ".join(self.allowed)
        if self.low is None or self.high is None:
            return f"at most {plain(self.high)}{unit}" if self.high is not None else f"at least {plain(self.low)}{unit}"
        return f"{plain(self.low)} to {plain(self.high)}{unit}"


@dataclass(frozen=True)
class FormulaModel:
    """A formula as meant. Frozen: every change is a new version.

    Parameters
    ----------
    name, version : str      A name and a version label.
    product : str            Product type, "rinse-off hair" or "leave-on hair".
    phases : tuple of Phase  With their lines.
    steps : tuple of Step    How it is made.
    spec : tuple of SpecLine What it must meet.
    parent : str             Fingerprint of the version it came from.
    why : str                Why it was changed.
    absorbed_by : str        Who made room for the change: "water", "proportional" or the key of a line.
    file : str               Name of the file it was read from; a changed formula has none.
    typed : str              Text of the file that it, or the version it came from, was read from: for its comments.
    """

    name: str
    version: str
    product: str
    phases: tuple[Phase, ...]
    steps: tuple[Step, ...] = ()
    spec: tuple[SpecLine, ...] = ()
    parent: str = ""
    why: str = ""
    note: str = ""
    absorbed_by: str = ""
    file: str = field(default="", compare=False, repr=False)
    library: Library | None = field(default=None, compare=False, repr=False)
    typed: str = field(default="", compare=False, repr=False)

    def placed_lines(self) -> Iterator[tuple[Phase, Line]]:
        """Every line with its phase, in order."""
        for phase in self.phases:
            for line in phase.lines:
                yield phase, line

    @property
    def title(self) -> str:
        """Name and version."""
        return f"{self.name}, version {self.version}"

    @property
    def qs_lines(self) -> tuple[Line, ...]:
        """The lines marked q.s.; a usable formula has at most one."""
        return tuple(line for _, line in self.placed_lines() if line.qs)

    @property
    def qs_pct(self) -> Decimal:
        """What the q.s. line takes up: 100 less all others. May be zero or negative: the review says so. [% w/w]"""
        return 100 - sum((line.pct for _, line in self.placed_lines() if line.pct is not None), Decimal(0))

    def composition(self) -> Composition:
        """The meant composition.

        Raises
        ------
        FormulaError   `formula.qs_two` when two lines are q.s.: the composition is then undetermined.
        """
        if len(self.qs_lines) > 1:
            names = " and ".join(line.material.key for line in self.qs_lines)
            raise FormulaError(
                f"two lines are q.s.: {names}",
                where=self.title,
                allowed="at most one q.s. line",
                mend="give one of them its percentage",
                code="formula.qs_two",
            )
        lines = tuple(
            CompositionLine(line.material, self.qs_pct if line.qs else line.pct, phase.name, phase.kind)
            for phase, line in self.placed_lines()
        )
        return Composition(lines, "meant", self.product, self.steps)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of what makes the product: lines, percentages, phases and steps.

        Name, label, reasons and empty lines do not count. Batches whose formulas share it are batches of one formula
        version.
        """
        sums: dict[tuple[str, str, str], Decimal] = {}
        for phase, line in self.placed_lines():
            place = (phase.name, phase.kind, line.material.key)
            sums[place] = sums.get(place, Decimal(0)) + (self._pct(line) or Decimal(0))
        lines = sorted([*place, _number(pct)] for place, pct in sums.items() if pct)
        steps = [step_row(step) for step in self.steps]
        text = json.dumps([self.product, lines, steps], sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def _pct(self, line: Line) -> Decimal | None:
        return self.qs_pct if line.qs and len(self.qs_lines) == 1 else line.pct

    def phase(self, name: str) -> Phase:
        """The phase of that name.

        Raises
        ------
        FormulaError   `formula.phase` with the names there are.
        """
        for phase in self.phases:
            if phase.name == name:
                return phase
        raise FormulaError(
            f"there is no phase {name!r}",
            where=self.title,
            allowed=", ".join(phase.name for phase in self.phases),
            mend="name one of these",
            code="formula.phase",
        )

    def find(self, name: str, *, where: str = "") -> Material:
        """A material of this formula, or of its library, by key, name, alias or INCI."""
        for _, line in self.placed_lines():
            if name in (line.material.key, line.material.name):
                return line.material
        library = self.library
        if library is None:
            materials = {line.material.key: line.material for _, line in self.placed_lines()}
            library = build(materials, {})
        return library.find(name, where=where or self.title)

    def table(self) -> Table:
        """Phase, supply form, function and % w/w, the total last."""
        rows = [
            (phase.name, line.material.name, line.material.function, self._shown(line))
            for phase, line in self.placed_lines()
        ]
        total = sum((self._pct(line) or Decimal(0) for _, line in self.placed_lines()), Decimal(0))
        return Table(
            ("phase", "material", "function", "% w/w"),
            [*rows, ("", "total", "", show_pct(total))],
            title=self.title,
            numeric=frozenset({3}),
        )

    def _shown(self, line: Line) -> str:
        pct = self._pct(line)
        return "q.s." if pct is None else f"{'q.s. ' if line.qs else ''}{show_pct(pct)}"

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def _number(value: Decimal | None) -> str | None:
    """A decimal in one spelling: 3.00 and 3.0 are the same content."""
    return None if value is None else plain(value.normalize())


def step_row(step: Step) -> dict:
    """A step as a row of text for files and records; unknown parts are left out."""
    numbers = {
        name: _number(getattr(step, name)) for name in ("temp_c", "rpm", "minutes") if getattr(step, name) is not None
    }
    temps = {"temps_c": {name: _number(temp) for name, temp in step.temps_c}} if step.temps_c else {}
    words = {name: getattr(step, name) for name in ("phase", "text") if getattr(step, name)}
    return {"do": step.do, **words, **numbers, **temps}


def step_from_row(row: Mapping) -> Step:
    """The step that `step_row` wrote."""
    numbers = {name: Decimal(row[name]) for name in ("temp_c", "rpm", "minutes") if name in row}
    return Step(
        do=row["do"],
        phase=row.get("phase", ""),
        text=row.get("text", ""),
        temps_c=tuple((name, Decimal(temp)) for name, temp in sorted(row.get("temps_c", {}).items())),
        **numbers,
    )


def spec_row(line: SpecLine) -> dict:
    """A spec line as a row of text."""
    numbers = {name: plain(getattr(line, name)) for name in ("low", "high") if getattr(line, name) is not None}
    words = {name: getattr(line, name) for name in ("unit", "method", "age") if getattr(line, name)}
    return {"property": line.property, **numbers, **words, **({"allowed": list(line.allowed)} if line.allowed else {})}


def spec_from_row(row: Mapping) -> SpecLine:
    """The spec line that `spec_row` wrote."""
    numbers = {name: Decimal(row[name]) for name in ("low", "high") if name in row}
    return SpecLine(
        property=row["property"],
        unit=row.get("unit", ""),
        method=row.get("method", ""),
        age=row.get("age", ""),
        allowed=tuple(row.get("allowed", ())),
        **numbers,
    )


def formula_row(formula: FormulaModel) -> dict:
    """The formula with its materials as one self-contained row, for a lab book or a snapshot."""
    materials = {line.material.key: line.material.row() for _, line in formula.placed_lines()}
    phases = [
        {
            "name": phase.name,
            "kind": phase.kind,
            "lines": [
                {
                    "material": line.material.key,
                    **({"qs": True} if line.qs else {"pct": plain(line.pct)}),
                    **({"why": line.why} if line.why else {}),
                }
                for line in phase.lines
            ],
        }
        for phase in formula.phases
    ]
    words = {
        name: getattr(formula, name) for name in ("parent", "why", "note", "absorbed_by") if getattr(formula, name)
    }
    return {
        "name": formula.name,
        "version": formula.version,
        "product": formula.product,
        "phases": phases,
        **words,
        "steps": [step_row(step) for step in formula.steps],
        "spec": [spec_row(line) for line in formula.spec],
        "materials": materials,
        "fingerprint": formula.fingerprint,
    }
