"""The difference between two versions of a formula, and a version edited under its label."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from kit.errors import FormulaError
from kit.formula.composition import Step, show_pct
from kit.formula.lines import Edit, Place, pinned, rebuilt, resolved
from kit.formula.material import Material
from kit.formula.model import FormulaModel, SpecLine
from kit.show import Table

STYLES = {"water": "water takes up the change", "proportional": "all other lines scaled alike"}


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

    `kinds` names phases that changed their kind: (phase, before, after). `absorbed_by` says how room was made where the
    later version was made from the earlier one: "water", "proportional" or the key of a line.
    """

    before: str
    after: str
    lines: tuple[LineChange, ...]
    identical: int
    steps: tuple[tuple[Step, ...], tuple[Step, ...]] | None = None
    spec: tuple[tuple[SpecLine, ...], tuple[SpecLine, ...]] | None = None
    product: tuple[str, str] | None = None
    kinds: tuple[tuple[str, str, str], ...] = ()
    absorbed_by: str = ""

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
        result = pinned(rebuilt(formula, Edit(new, added, kinds, gone)), {**pcts, **new})
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
        return Table(
            ("material", "before, %", "after, %", "change"),
            rows,
            title=f"{self.before} → {self.after}",
            note="; ".join([f"{self.identical} lines identical", *self._others()]),
            numeric=frozenset({1, 2}),
        )

    def _others(self) -> list[str]:
        words = [STYLES.get(self.absorbed_by, f"{self.absorbed_by} takes up the change")] if self.absorbed_by else []
        words += ["steps differ"] if self.steps else []
        words += ["spec differs"] if self.spec else []
        words += [f"product type {self.product[0]} → {self.product[1]}"] if self.product else []
        return words + [f"phase {name} {before} → {after}" for name, before, after in self.kinds]

    def words(self) -> str:
        """The difference in one paragraph: "cetearyl-alcohol 5.00 → 6.00 %, +1.00 pp, +20 %; steps differ"."""
        lines = [f"{item.material.key} {item.words()}" for item in self.lines]
        return "; ".join([*lines, *self._others()]) or "no difference"

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table()) if self else f"{self.before} → {self.after}: no difference"

    __repr__ = __str__


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
        absorbed_by=after.absorbed_by if after.parent == before.fingerprint else "",
    )


def parts_table(before: FormulaModel, after: FormulaModel) -> Table:
    """What changed in INCI parts, carriers and water of every supply form included. [% w/w]"""
    old, new = (formula.composition().shares() for formula in (before, after))
    pcts = {
        inci: tuple(shares[inci].pct if inci in shares else Decimal(0) for shares in (old, new))
        for inci in dict.fromkeys([*new, *old])
    }
    rows = [
        (inci, show_pct(one), show_pct(other), f"{'+' if other > one else ''}{show_pct(other - one)} pp")
        for inci, (one, other) in pcts.items()
        if one != other
    ]
    title = f"{before.title} → {after.title}, INCI parts"
    return Table(("INCI", "before, %", "after, %", "change"), rows, title=title, numeric=frozenset({1, 2}))


def edited_under_label(old: FormulaModel, new: FormulaModel) -> FormulaDiff | None:
    """The difference between two formulas that bear one name and version and are not the same; None otherwise.

    Two versions made by `change` from one parent are two branches and no edit of one another, until one of them is
    read from a file: a file is known by its label alone.
    """
    if (old.name, old.version) != (new.name, new.version) or old.fingerprint == new.fingerprint:
        return None
    if old.parent and old.parent == new.parent and not (old.file or new.file):
        return None
    return diff(old, new)


def refuse_edited(old: FormulaModel, new: FormulaModel, *, known_from: str) -> None:
    """Refuse a formula that was edited under its label.

    Parameters
    ----------
    old, new : FormulaModel   The content known under the label, and the one that is offered.
    known_from : str          Where the known content stands, for the error: "this lab book".

    Raises
    ------
    FormulaError   `formula.version_edited` with the difference in words.
    """
    changed = edited_under_label(old, new)
    if changed is not None:
        raise FormulaError(
            f"{new.title} is known from {known_from} with another content: {changed.words()}",
            where=new.file or new.title,
            allowed="one content for each version label",
            mend="give the changed formula a version of its own, or undo the edit",
            code="formula.version_edited",
        )


def _present(formula: FormulaModel) -> dict[Place, Decimal]:
    """The lines that bring something: an empty line is as good as none."""
    return {place: pct for place, pct in resolved(formula).items() if pct}


def _changed_kinds(before: FormulaModel, after: FormulaModel) -> tuple[tuple[str, str, str], ...]:
    """Phases of another kind; a phase that holds nothing has no kind to speak of."""
    filled = {place[0] for place in _present(before)} & {place[0] for place in _present(after)}
    old, new = ({phase.name: phase.kind for phase in formula.phases} for formula in (before, after))
    return tuple((name, kind, new[name]) for name, kind in old.items() if name in filled and new[name] != kind)
