"""The versions of a plan: each formula with its review, predicted pH, mixing temperature and cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import KitError
from kit.formula.composition import show_pct
from kit.formula.formula import Formula
from kit.formula.rules.findings import Finding
from kit.show import Cell, Worded
from kit.units import plain

NOT_KNOWN = "not known"


@dataclass(frozen=True, repr=False)
class PlannedVersion(Worded):
    """One formula of a plan.

    Parameters
    ----------
    label : str               "cetearyl-alcohol 3.00 %", "point 4", "control".
    levels : tuple            Factor name and level; empty for a control outside the factors, or a swap.
    formula : Formula         It balances.
    findings : tuple          Stops and cautions of its review.
    notes : int               Notes of its review.
    ph : str                  Predicted pH with its band, or why there is none.
    mixing : str              Temperature the hot phases reach together, or why there is none.
    cost : str                Materials for a kilogram; "not known" without prices.
    """

    label: str
    levels: tuple[tuple[str, Decimal], ...]
    formula: Formula
    findings: tuple[Finding, ...] = ()
    notes: int = 0
    ph: str = ""
    mixing: str = ""
    cost: str = ""

    @property
    def words(self) -> str:
        """What it is, its review and its predicted pH."""
        return f"{self.label}: {self.formula.title}; {self.review_cell()}; predicted pH {self.ph or NOT_KNOWN}"

    @property
    def key(self) -> str:
        """Fingerprint of the formula."""
        return self.formula.fingerprint

    @property
    def stops(self) -> tuple[Finding, ...]:
        """What must be mended before it is made."""
        return tuple(finding for finding in self.findings if finding.severity == "stop")

    def review_cell(self) -> Cell:
        """Its review in a few words."""
        stops, cautions = len(self.stops), len(self.findings) - len(self.stops)
        if stops:
            return Cell(f"STOP: {', '.join(dict.fromkeys(finding.code for finding in self.stops))}", "fail")
        if cautions:
            codes = ", ".join(dict.fromkeys(finding.code for finding in self.findings))
            return Cell(f"{cautions} caution{'s' if cautions > 1 else ''}: {codes}", "flag")
        return Cell("no stop, no caution")


def planned_version(
    label: str, levels: Sequence[tuple[str, Decimal]], formula: Formula, batch_g: Decimal
) -> PlannedVersion:
    """A formula with all that is known of it before it is made.

    Parameters
    ----------
    label : str          As in the plan.
    levels : sequence    Factor name and level.
    formula : Formula    As planned.
    batch_g : Decimal    Of one batch. [g]
    """
    review = formula.review()
    return PlannedVersion(
        label,
        tuple(levels),
        formula,
        (*review.stops, *review.cautions),
        len(review.notes),
        _ph(formula),
        _mixing(formula, batch_g),
        _cost(formula),
    )


def qs_text(formula: Formula) -> str:
    """What the q.s. line of a formula takes up; a dash where there is none. [% w/w]"""
    return show_pct(formula.qs_pct) if formula.qs_lines else "–"


def _ph(formula: Formula) -> str:
    found = formula.predict_ph()
    return f"{found.value} ({found.low} to {found.high})" if found.is_known else f"NOT COMPUTED: {found.reason}"


def _mixing(formula: Formula, batch_g: Decimal) -> str:
    try:
        pour = formula.heat(f"{plain(batch_g)} g")
    except KitError as problem:
        return f"NOT COMPUTED: {problem.what}"
    if pour.mixed is None:
        return "NOT COMPUTED: a phase has no temperature"
    cautions = "".join(f"; {finding.code}" for finding in pour.cautions)
    return f"{pour.mixed.temp_c:.1f} °C{cautions}"


def _cost(formula: Formula) -> str:
    found = formula.cost()
    if found.per_kg is None:
        return NOT_KNOWN
    from kit.formula.cost import money

    least = "" if found.is_known else "at least "
    return f"{least}{money(found.per_kg)} {found.currency}/kg"
