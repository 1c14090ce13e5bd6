"""The batch sheet: what to weigh, on which balance, how exactly, and the steps to follow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from kit.bench.balances import USUAL_PCT, Balance, choose_balance, line_tolerance_g, read_balances, wanted_pct
from kit.bench.batch_size import batch_mass_g
from kit.errors import BatchError
from kit.formula.composition import Step, apportion, show_pct
from kit.formula.formula import Formula
from kit.formula.material import Material
from kit.formula.pour import HOT_KINDS, Pour
from kit.formula.rules import balance as balance_rules
from kit.formula.rules.findings import Finding
from kit.show import Block, Fielded, Table, listing
from kit.sources import read_data
from kit.units import plain

_PLACES = 4  # of the percentages planned after rounding


@dataclass(frozen=True, slots=True, repr=False)
class SheetLine(Fielded):
    """One line to weigh.

    `pct` is what the formula says and `planned_pct` what the rounded target makes of it, `rounding_pp` their difference
    [% w/w, percentage points]. `tolerance_g` is None where no balance can weigh the line to 1 %. [g]
    """

    material: Material
    phase: str
    phase_kind: str
    pct: Decimal
    target_g: Decimal
    balance: Balance
    tolerance_g: Decimal | None
    planned_pct: Decimal
    rounding_pp: Decimal

    @property
    def place(self) -> tuple[str, str]:
        """Phase and material: what a weighing is booked to."""
        return self.phase, self.material.key

    def tolerance_words(self) -> str:
        """The tolerance in steps of its balance, "± 0.20", or why there is none: 3.318 g at 0.01 g is 3.31."""
        if self.tolerance_g is not None:
            division_g = self.balance.division_g
            return f"± {plain(self.tolerance_g // division_g * division_g)}"
        return "cannot be weighed to 1 %" if self.target_g else "–"


@dataclass(frozen=True)
class Sheet:
    """A planned batch: targets, balances, tolerances, steps, cautions and findings. Frozen.

    Parameters
    ----------
    formula : Formula               As meant.
    batch_g : Decimal               Mass to make. [g]
    lines : tuple of SheetLine      In order of phases; lines of one material in one phase are one line.
    findings : tuple of Finding     What the balances cannot do.
    cautions : tuple of str         Keys of the cautions to print.
    """

    formula: Formula
    batch_g: Decimal
    lines: tuple[SheetLine, ...]
    findings: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of the formula: targets to follow and to write down beside."""
        return self.formula.steps

    def line(self, name: str, phase: str | None = None) -> SheetLine:
        """The line of a material, by key, name, alias or INCI.

        Raises
        ------
        BatchError      `batch.line_unknown`, `batch.line_ambiguous` when it stands in several phases and none is named.
        MaterialError   For a name that is not known or fits several supply forms.
        """
        key = (
            name
            if any(line.material.key == name for line in self.lines)
            else self.formula.find(name, where="batch sheet").key
        )
        found = [line for line in self.lines if line.material.key == key and phase in (None, line.phase)]
        if len(found) == 1:
            return found[0]
        if found:
            raise BatchError(
                f"{key} stands in phases {' and '.join(line.phase for line in found)}",
                where="batch sheet",
                mend=f'name the phase: phase="{found[0].phase}"',
                code="batch.line_ambiguous",
            )
        raise BatchError(
            f"{key} is not on the sheet{f' in phase {phase}' if phase else ''}",
            where="batch sheet",
            allowed=", ".join(f"{line.material.key} ({line.phase})" for line in self.lines),
            mend="name one of these",
            code="batch.line_unknown",
        )

    def target(self, name: str, phase: str | None = None) -> Decimal:
        """Target mass of a line; errors as in `line`. [g]"""
        return self.line(name, phase).target_g

    def heat(self, **options: object) -> Pour:
        """The temperature the hot phases of this batch reach together, before they are poured.

        Options are those of `kit.formula.pour_plan.plan_pour`: vessel, vessel_temp, temps, setting, hold_back, heater.
        """
        return self.formula.heat(f"{plain(self.batch_g)} g", **options)

    def table(self) -> Table:
        """What to weigh, with blanks for what was weighed."""
        rows = [
            (
                line.phase,
                line.material.name,
                show_pct(line.pct),
                plain(line.target_g),
                line.tolerance_words(),
                str(line.balance),
                "",
                "",
            )
            for line in self.lines
        ]
        total = sum((line.target_g for line in self.lines), Decimal(0))
        rows.append(
            ("", "total", show_pct(sum((line.pct for line in self.lines), Decimal(0))), plain(total), "", "", "", "")
        )
        return Table(
            ("phase", "material", "% w/w", "target, g", "tolerance, g", "balance", "weighed, g", "lot"),
            rows,
            title=f"Batch sheet: {self.formula.title}, {plain(self.batch_g)} g",
            note=self._rounding_note(),
            numeric=frozenset({2, 3, 4, 6}),
        )

    def steps_table(self) -> Table:
        """The steps with their targets and blanks for what was done."""
        rows = [
            (str(count), step.do, step.phase, _temps(step), _shown(step.rpm), _shown(step.minutes), step.text, "")
            for count, step in enumerate(self.steps, start=1)
        ]
        return Table(
            ("no.", "do", "phase", "target, degC", "rpm", "min", "how", "done"),
            rows,
            title="Steps",
            numeric=frozenset({0, 4, 5}),
        )

    def caution_texts(self) -> tuple[tuple[str, str], ...]:
        """Title and text of each caution of the sheet."""
        known = read_data("cautions.toml")["cautions"]
        return tuple((known[key]["title"], known[key]["text"]) for key in self.cautions if key in known)

    def row(self) -> dict:
        """The sheet as a row of text for the record; the formula is kept beside it, not in it."""
        lines = [
            {
                "material": line.material.key,
                "phase": line.phase,
                "phase_kind": line.phase_kind,
                "balance": line.balance.row(),
                **{name: plain(getattr(line, name)) for name in _LINE_NUMBERS if getattr(line, name) is not None},
            }
            for line in self.lines
        ]
        return {
            "formula": self.formula.fingerprint,
            "batch_g": plain(self.batch_g),
            "lines": lines,
            "cautions": list(self.cautions),
            "findings": [_finding_row(finding) for finding in self.findings],
        }

    @classmethod
    def from_row(cls, row: Mapping, formula: Formula) -> Sheet:
        """The sheet that `row()` wrote, with its formula.

        Raises
        ------
        BatchError   `batch.sheet_formula` when the formula is not the one the sheet was planned from.
        """
        if row["formula"] != formula.fingerprint:
            raise BatchError(
                "the batch sheet was planned from another formula",
                where=formula.title,
                mend="read it with the formula version kept beside it",
                code="batch.sheet_formula",
            )
        materials = {line.material.key: line.material for _, line in formula.placed_lines()}
        return cls(
            formula,
            Decimal(row["batch_g"]),
            tuple(_line_from_row(line, materials) for line in row["lines"]),
            tuple(_finding_from_row(finding) for finding in row["findings"]),
            tuple(row["cautions"]),
        )

    def _rounding_note(self) -> str:
        worst = max(self.lines, key=lambda line: abs(line.rounding_pp))
        if not worst.rounding_pp:
            return "Every target is the formula's percentage exactly."
        return (
            f"Largest rounding: {worst.material.name}, planned {plain(worst.planned_pct)} % instead of "
            f"{show_pct(worst.pct)} % ({worst.rounding_pp:+} percentage points)."
        )

    def _heat_words(self) -> list[str]:
        """The mixing temperature by the steps and its cautions, without a vessel; nothing where no step tells."""
        if not any(line.phase_kind in HOT_KINDS for line in self.lines):
            return []
        pour = self.heat()
        return [] if pour.mixed is None else [pour.words, *(finding.words for finding in pour.cautions)]

    def _block(self) -> Block:
        findings = [listing("Findings", [finding.words for finding in self.findings])] if self.findings else []
        heat = self._heat_words()
        cautions = (
            [listing("Cautions", [f"{title}: {text}" for title, text in self.caution_texts()])] if self.cautions else []
        )
        steps = [self.steps_table()] if self.steps else []
        return Block(
            (self.table(), *findings, *steps, *([listing("Before the pour", heat)] if heat else []), *cautions)
        )

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


_LINE_NUMBERS = ("pct", "target_g", "tolerance_g", "planned_pct", "rounding_pp")


def plan_batch(
    formula: Formula,
    batch: object = None,
    *,
    packs: object = None,
    fill: object = None,
    density: object = None,
    samples: object = None,
    loss: object = None,
    balances: object = ("0.01 g",),
) -> Sheet:
    """Plan a batch: grams for every line, on the balance that suits it.

    Parameters
    ----------
    formula : Formula         Its lines must add up to 100 %.
    batch : str               Mass to make, "400 g"; or from packs:
    packs, fill, density      24, "250 mL", "0.975 g/mL".
    samples : str or list     "200 g", or several masses.
    loss : str                "4 %".
    balances : list           Divisions "0.01 g", or ("BAL-1", "0.01 g", "0.005 g") with name and repeatability.

    Returns
    -------
    Sheet   Each line on the coarsest balance that weighs it to 1 % (preservatives and pH adjusters 0.5 %). Lines that
            none can weigh to 1 % are in one finding, `weighing.below_smallest`; they get no tolerance.

    Raises
    ------
    BatchError   `batch.formula_stop`, `batch.size`, `batch.density`, `batch.loss`, `batch.too_small`,
                 `weighing.balance`.
    UnitError    For text that cannot be read.
    """
    shelf = read_balances(balances)
    batch_g = batch_mass_g(batch, packs=packs, fill=fill, density=density, samples=samples, loss=loss)
    _refuse_stops(formula)
    lines = _lines(formula, batch_g, shelf)
    return Sheet(formula, batch_g, lines, _below_smallest(lines), _cautions(formula))


def _lines(formula: Formula, batch_g: Decimal, shelf: tuple[Balance, ...]) -> tuple[SheetLine, ...]:
    wanted = _wanted(formula)
    weighed = [_target(batch_g * pct / 100, material, shelf) for material, _, _, pct in wanted]
    total = sum((target for target, _, _ in weighed), Decimal(0))
    if not total:
        raise BatchError(
            f"a batch of {plain(batch_g)} g is less than the balance shows",
            where="plan_batch()",
            mend="make more",
            code="batch.too_small",
        )
    planned = apportion([100 * Fraction(target) / Fraction(total) for target, _, _ in weighed], Decimal(100), _PLACES)
    return tuple(
        SheetLine(material, phase, kind, pct, target, balance, tolerance, share, share - pct)
        for (material, phase, kind, pct), (target, balance, tolerance), share in zip(
            wanted, weighed, planned, strict=True
        )
    )


def _wanted(formula: Formula) -> list[tuple[Material, str, str, Decimal]]:
    sums: dict[tuple[str, str], tuple[Material, str, str, Decimal]] = {}
    for line in formula.composition().lines:
        place = (line.phase, line.material.key)
        before = sums[place][3] if place in sums else Decimal(0)
        sums[place] = (line.material, line.phase, line.kind, before + line.pct)
    return list(sums.values())


def _target(
    exact_g: Decimal, material: Material, shelf: tuple[Balance, ...]
) -> tuple[Decimal, Balance, Decimal | None]:
    relative_pct = wanted_pct(material)
    balance = choose_balance(exact_g, shelf, relative_pct)
    return balance.rounded(exact_g), balance, line_tolerance_g(exact_g, balance, relative_pct)


def _below_smallest(lines: tuple[SheetLine, ...]) -> tuple[Finding, ...]:
    small = [line for line in lines if line.tolerance_g is None and line.pct > 0]
    if not small:
        return ()
    finest = small[0].balance
    smallest_g = plain(finest.smallest_g(USUAL_PCT).normalize())
    names = ", ".join(f"{line.material.name} {plain(line.target_g)} g" for line in small)
    count = "1 line" if len(small) == 1 else f"{len(small)} lines"
    words = (
        f"{count} cannot be weighed to 1 %: {names}. The smallest weight on the {finest} balance is {smallest_g} g. "
        "Use a finer balance or a stock solution."
    )
    return (
        Finding(
            "caution", "weighing.below_smallest", words, tuple(line.material.key for line in small), source="usp-41"
        ),
    )


def _refuse_stops(formula: Formula) -> None:
    stops = _balance_stops(formula)
    if stops:
        named = " ".join(f"{finding.words} ({finding.code})" for finding in stops)
        raise BatchError(
            f"the formula cannot be made as it stands. {named}",
            where=formula.title,
            mend="correct the formula, then plan the batch",
            code="batch.formula_stop",
        )


def _balance_stops(formula: Formula) -> list[Finding]:
    two_qs = [finding for finding in balance_rules.qs_lines(formula) if finding.severity == "stop"]
    if len(formula.qs_lines) > 1:
        return two_qs  # nothing else is determined
    composition = formula.composition()
    return [*two_qs, *balance_rules.negative(composition), *balance_rules.total(composition)]


def _cautions(formula: Formula) -> tuple[str, ...]:
    known = read_data("cautions.toml")["cautions"]
    asked = [key for material in formula.composition().materials() for key in material.cautions if key in known]
    always = [key for key, row in known.items() if row.get("always")]
    return tuple(dict.fromkeys([*asked, *always]))


def _temps(step: Step) -> str:
    many = ", ".join(f"{name} {plain(temp)}" for name, temp in step.temps_c)
    return many or _shown(step.temp_c)


def _shown(value: Decimal | None) -> str:
    return "" if value is None else plain(value)


def _line_from_row(row: Mapping, materials: Mapping[str, Material]) -> SheetLine:
    numbers = {name: Decimal(row[name]) if name in row else None for name in _LINE_NUMBERS}
    return SheetLine(
        materials[row["material"]], row["phase"], row["phase_kind"], balance=Balance.from_row(row["balance"]), **numbers
    )


def _finding_row(finding: Finding) -> dict:
    numbers = {name: str(getattr(finding, name)) for name in ("value", "limit") if getattr(finding, name) is not None}
    return {
        "severity": finding.severity,
        "code": finding.code,
        "words": finding.words,
        "materials": list(finding.materials),
        **numbers,
        "source": finding.source,
    }


def _finding_from_row(row: Mapping) -> Finding:
    numbers = {name: Decimal(row[name]) for name in ("value", "limit") if name in row}
    return Finding(row["severity"], row["code"], row["words"], tuple(row["materials"]), source=row["source"], **numbers)
