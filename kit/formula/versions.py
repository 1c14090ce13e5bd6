"""Versions of a formula: one change made, and the difference between two."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from kit.errors import FormulaError
from kit.formula.composition import Step, apportion, show_pct
from kit.formula.material import Material
from kit.formula.model import FormulaModel, Line, Phase, SpecLine
from kit.show import Table
from kit.units import percent

Place = tuple[str, str]  # phase name, material key


def change(
    formula: FormulaModel,
    changes: Mapping[str, object],
    *,
    absorb: str = "water",
    why: str = "",
    version: str = "",
    phase: str = "",
) -> FormulaModel:
    """A new version with some lines changed and the rest making room.

    Parameters
    ----------
    changes : dict   Material (key, name, or "phase:key" where it stands on several lines) to its new percentage,
                     "6.00 %". "0 %" takes the line out; a material not yet in the formula is added to `phase`, or
                     to the first phase of a kind that suits it.
    absorb : str     Who takes up the change: "water" (default), "proportional" (all other lines scaled), or a line's
                     key.
    why : str        The reason; it stays with the version.
    version : str    Label of the new version; the next number when omitted.

    Raises
    ------
    FormulaError   `formula.absorb`, `formula.line_ambiguous`, `formula.phase`, `formula.value`.
    """
    pcts = resolved(formula)
    new: dict[Place, Decimal] = {}
    added: dict[Place, Material] = {}
    for name, typed in changes.items():
        place, material = _place(formula, str(name), phase)
        new[place] = percent(typed, where=f"change() of {formula.title}, {name}")
        if new[place] < 0:
            raise FormulaError(
                f"{name}: {new[place]} % is negative",
                where=formula.title,
                allowed="0 to 100 %",
                mend="correct it",
                code="formula.value",
            )
        if place not in pcts and new[place]:
            added[place] = material
    taken = sum((value - pcts.get(place, Decimal(0)) for place, value in new.items()), Decimal(0))
    new |= _room(formula, pcts, new, taken, absorb)
    return replace(
        _rebuilt(formula, new, added),
        version=version or next_version(formula.version),
        parent=formula.fingerprint,
        why=why,
    )


def resolved(formula: FormulaModel) -> dict[Place, Decimal]:
    """Every line's percentage by phase and material, q.s. worked out; lines of one material in one phase add up."""
    pcts: dict[Place, Decimal] = {}
    composition = formula.composition()
    for line in composition.lines:
        place = (line.phase, line.material.key)
        pcts[place] = pcts.get(place, Decimal(0)) + line.pct
    return pcts


def next_version(version: str) -> str:
    """The label after this one: 1 -> 2, 3b -> 3b-2."""
    if version.isdigit():
        return str(int(version) + 1)
    stem, _, count = version.rpartition("-")
    return f"{stem}-{int(count) + 1}" if stem and count.isdigit() else f"{version}-2"


@dataclass(frozen=True, slots=True)
class LineChange:
    """One line before and after; None where it is absent. [% w/w]"""

    phase: str
    phase_kind: str
    material: Material
    before: Decimal | None
    after: Decimal | None
    absorbs: bool = False

    @property
    def delta(self) -> Decimal:
        """After less before. [percentage points]"""
        return (self.after or Decimal(0)) - (self.before or Decimal(0))

    def words(self) -> str:
        """ "5.00 → 6.00 %, +1.00 pp, +20 %" """
        if self.before is None:
            return f"added, {show_pct(self.after)} %"
        if self.after is None:
            return f"taken out, was {show_pct(self.before)} %"
        sign = "+" if self.delta > 0 else ""
        relative = f", {sign}{100 * self.delta / self.before:.0f} %" if self.before else ""
        return f"{show_pct(self.before)} → {show_pct(self.after)} %, {sign}{show_pct(self.delta)} pp{relative}"


@dataclass(frozen=True)
class FormulaDiff:
    """What changed between two versions: lines (largest change first, the absorbing line last), steps, spec.

    `kinds` names phases that changed their kind: (phase, before, after).
    """

    before: str
    after: str
    lines: tuple[LineChange, ...]
    identical: int
    steps: tuple[tuple[Step, ...], tuple[Step, ...]] | None = None
    spec: tuple[tuple[SpecLine, ...], tuple[SpecLine, ...]] | None = None
    product: tuple[str, str] | None = None
    kinds: tuple[tuple[str, str, str], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.lines or self.steps or self.spec or self.product or self.kinds)

    def apply(self, formula: FormulaModel) -> FormulaModel:
        """The formula with this difference made to it.

        Raises
        ------
        FormulaError   `formula.diff_base` when a line is not as the difference expects.
        """
        pcts = resolved(formula)
        for item in self.lines:
            if (pcts.get((item.phase, item.material.key)) or None) != item.before:
                raise FormulaError(
                    f"{item.material.key} in phase {item.phase} is not {item.before} %",
                    where=formula.title,
                    mend="apply the difference to the version it was taken from",
                    code="formula.diff_base",
                )
        new = {(item.phase, item.material.key): item.after or Decimal(0) for item in self.lines}
        added = {
            (item.phase, item.material.key): item.material
            for item in self.lines
            if (item.phase, item.material.key) not in pcts
        }
        kinds = {**{item.phase: item.phase_kind for item in self.lines}, **{name: kind for name, _, kind in self.kinds}}
        gone = frozenset((item.phase, item.material.key) for item in self.lines if item.after is None)
        result = _pinned(_rebuilt(formula, new, added, kinds, gone), {**pcts, **new})
        return replace(
            result,
            steps=self.steps[1] if self.steps else formula.steps,
            spec=self.spec[1] if self.spec else formula.spec,
            product=self.product[1] if self.product else formula.product,
        )

    def table(self) -> Table:
        """The changed lines as a table; unchanged ones are only counted."""
        rows = [
            (
                item.material.name,
                "–" if item.before is None else show_pct(item.before),
                "–" if item.after is None else show_pct(item.after),
                item.words() + (" (takes up the change)" if item.absorbs else ""),
            )
            for item in self.lines
        ]
        notes = [f"{self.identical} lines identical"]
        notes += ["steps differ"] if self.steps else []
        notes += ["spec differs"] if self.spec else []
        notes += [f"product type {self.product[0]} → {self.product[1]}"] if self.product else []
        notes += [f"phase {name} {before} → {after}" for name, before, after in self.kinds]
        return Table(
            ("material", "before, %", "after, %", "change"),
            rows,
            title=f"{self.before} → {self.after}",
            note="; ".join(notes),
            numeric=frozenset({1, 2}),
        )

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table()) if self else f"{self.before} → {self.after}: no difference"


def diff(before: FormulaModel, after: FormulaModel) -> FormulaDiff:
    """The difference between two formulas, line by line.

    Raises
    ------
    FormulaError   `formula.qs_two` when one of them has no determined composition.
    """
    old, new = _present(before), _present(after)
    materials = {
        (phase.name, line.material.key): (phase.kind, line.material)
        for formula in (before, after)
        for phase, line in formula.placed_lines()
    }
    absorbing = {(phase.name, line.material.key) for phase, line in after.placed_lines() if line.qs}
    changed = [
        LineChange(
            place[0], materials[place][0], materials[place][1], old.get(place), new.get(place), place in absorbing
        )
        for place in dict.fromkeys([*old, *new])
        if old.get(place) != new.get(place)
    ]
    changed.sort(key=lambda item: (item.absorbs, -abs(item.delta), item.material.key))
    return FormulaDiff(
        before.title,
        after.title,
        tuple(changed),
        len(set(old) & set(new)) - sum(1 for item in changed if item.before is not None and item.after is not None),
        steps=(before.steps, after.steps) if before.steps != after.steps else None,
        spec=(before.spec, after.spec) if before.spec != after.spec else None,
        product=(before.product, after.product) if before.product != after.product else None,
        kinds=_changed_kinds(before, after),
    )


def _present(formula: FormulaModel) -> dict[Place, Decimal]:
    """The lines that bring something: an empty line is as good as none."""
    return {place: pct for place, pct in resolved(formula).items() if pct}


def _changed_kinds(before: FormulaModel, after: FormulaModel) -> tuple[tuple[str, str, str], ...]:
    old, new = ({phase.name: phase.kind for phase in formula.phases} for formula in (before, after))
    return tuple((name, kind, new[name]) for name, kind in old.items() if new.get(name, kind) != kind)


def _place(formula: FormulaModel, name: str, phase: str) -> tuple[Place, Material]:
    named, _, key = name.rpartition(":")
    material = formula.find(key, where=f"change() of {formula.title}")
    homes = [place.name for place, line in formula.placed_lines() if line.material.key == material.key]
    homes = [home for home in dict.fromkeys(homes) if not (named or phase) or home in (named, phase)]
    if len(homes) > 1:
        raise FormulaError(
            f"{material.key} stands in phases {' and '.join(homes)}",
            where=formula.title,
            mend=f'name the line, for example "{homes[0]}:{material.key}"',
            code="formula.line_ambiguous",
        )
    home = homes[0] if homes else (named or phase or _suitable_phase(formula, material))
    return (formula.phase(home).name, material.key), material


def _suitable_phase(formula: FormulaModel, material: Material) -> str:
    for kind in material.phases:
        for phase in formula.phases:
            if phase.kind == kind:
                return phase.name
    raise FormulaError(
        f"no phase of the formula suits {material.key} ({', '.join(material.phases) or 'kind not known'})",
        where=formula.title,
        allowed=", ".join(phase.name for phase in formula.phases),
        mend='say which: phase="A"',
        code="formula.phase",
    )


def _room(
    formula: FormulaModel, pcts: dict[Place, Decimal], new: dict[Place, Decimal], taken: Decimal, absorb: str
) -> dict[Place, Decimal]:
    """The lines that make room for the change, with their new percentages."""
    if not taken:
        return {}
    free = {place: pct for place, pct in pcts.items() if place not in new}
    if absorb == "proportional":
        return _scaled(free, taken, formula.title)
    place = _absorbing(formula, free, absorb)
    return {place: free[place] - taken}


def _scaled(free: dict[Place, Decimal], taken: Decimal, title: str) -> dict[Place, Decimal]:
    before = sum(free.values(), Decimal(0))
    if before <= 0 or before - taken < 0:
        raise FormulaError(
            "no other line is left to make room",
            where=title,
            mend="change less, or absorb with one line",
            code="formula.absorb",
        )
    factor = Fraction(before - taken) / Fraction(before)
    return dict(zip(free, apportion([Fraction(pct) * factor for pct in free.values()], before - taken, 4), strict=True))


def _absorbing(formula: FormulaModel, free: dict[Place, Decimal], absorb: str) -> Place:
    lines = [((phase.name, line.material.key), line) for phase, line in formula.placed_lines()]
    if absorb == "water":
        fitting = [(place, line) for place, line in lines if line.material.is_water and place in free]
    else:
        key = formula.find(absorb, where=f"absorb= of {formula.title}").key
        fitting = [(place, line) for place, line in lines if line.material.key == key and place in free]
    if not fitting:
        raise FormulaError(
            f"no line can take up the change as {absorb!r}",
            where=formula.title,
            allowed='"water", "proportional" or the key of a line that is not itself changed',
            mend="name one",
            code="formula.absorb",
        )
    return max(fitting, key=lambda item: (item[1].qs, free[item[0]]))[0]


def _rebuilt(
    formula: FormulaModel,
    new: Mapping[Place, Decimal],
    added: Mapping[Place, Material],
    kinds: Mapping[str, str] | None = None,
    gone: frozenset[Place] = frozenset(),
) -> FormulaModel:
    kinds = kinds or {}
    phases = [
        Phase(phase.name, kinds.get(phase.name, phase.kind), _lines(phase, new, added, gone))
        for phase in formula.phases
    ]
    known = {phase.name for phase in formula.phases}
    for name in dict.fromkeys(place[0] for place in added if place[0] not in known):
        lines = tuple(Line(material, new[place]) for place, material in added.items() if place[0] == name)
        phases.append(Phase(name, kinds[name], lines))
    named = {
        name for step in formula.steps for name in (step.phase, *dict(step.temps_c))
    }  # a step may still speak of an empty phase
    return replace(formula, phases=tuple(phase for phase in phases if phase.lines or phase.name in named))


def _lines(
    phase: Phase, new: Mapping[Place, Decimal], added: Mapping[Place, Material], gone: frozenset[Place]
) -> tuple[Line, ...]:
    lines, seen = [], set()
    for line in phase.lines:
        place = (phase.name, line.material.key)
        if place in new and place in seen:
            continue  # several lines of one material in one phase were added up into the first
        seen.add(place)
        if place not in new:
            lines.append(line)
        elif place not in gone and (line.qs or new[place] != 0):
            lines.append(line if line.qs else replace(line, pct=new[place]))
    extra = [Line(material, new[place]) for place, material in added.items() if place[0] == phase.name]
    return (*lines, *extra)


def _pinned(formula: FormulaModel, wanted: Mapping[Place, Decimal]) -> FormulaModel:
    """The formula with its q.s. line fixed where q.s. would not give what is wanted, as when the total is not 100."""
    found = resolved(formula)
    off = {
        place: pct - found.get(place, Decimal(0))
        for place, pct in wanted.items()
        if pct != found.get(place, Decimal(0))
    }
    if not off:
        return formula
    phases = tuple(
        replace(
            phase,
            lines=tuple(
                replace(line, qs=False, pct=formula.qs_pct + off.get((phase.name, line.material.key), Decimal(0)))
                if line.qs
                else line
                for line in phase.lines
            ),
        )
        for phase in formula.phases
    )
    return replace(formula, phases=phases)
