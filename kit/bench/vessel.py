"""The vessel by the book: what is in it, in exact fractions of a gram, and what can be done to it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from kit.bench.events import Event, Weighed
from kit.bench.exact import grams
from kit.errors import BatchError
from kit.formula.composition import CompositionLine
from kit.formula.formula import Formula
from kit.formula.material import Material
from kit.formula.rules.findings import Finding
from kit.show import Fielded

Place = tuple[str, str]  # phase, material key
Stock = tuple[str, str, str]  # phase, material key, certified lot ("" where the typical values hold)

WHERE = "mass balance"
HOT_KINDS = ("water", "oil")  # in the vessel from the combination; the others from their addition


@dataclass(frozen=True, slots=True, repr=False)
class LedgerRow(Fielded):
    """One step of the mass balance: what happened, what it changed and what is in the vessel after it. [g]"""

    what: str
    change_g: Fraction
    vessel_g: Fraction


@dataclass
class Vessel:
    """The books of one batch while its events are gone through; the result is frozen by `made.as_made`.

    Parameters
    ----------
    formula : Formula        As meant.
    events : sequence        All events of the batch.
    kept : dict              Share of each weighed line that entered the vessel.
    inside, waiting : dict   Masses in the vessel, and weighed but not in it, by phase, material and certified lot. [g]
    adjusters : dict         The part of `inside` that was poured in to adjust. [g]
    lines : dict             The line a stock stands for, its material as the lot's certificate describes it.
    forms : dict             The supply form of a place, as its supplier describes it.
    """

    formula: Formula
    events: Sequence[Event]
    kept: dict[Place, Fraction]
    inside: dict[Stock, Fraction] = field(default_factory=dict)
    waiting: dict[Stock, Fraction] = field(default_factory=dict)
    adjusters: dict[Stock, Fraction] = field(default_factory=dict)
    lines: dict[Stock, CompositionLine] = field(default_factory=dict)
    forms: dict[Place, Material] = field(default_factory=dict)
    phases_in: set[str] = field(default_factory=set)
    put_in_g: Fraction = Fraction(0)
    weighed_back_g: Fraction = Fraction(0)
    water_lost_g: Fraction = Fraction(0)
    taken_g: Fraction = Fraction(0)
    gross_weighings: int = 0
    rows: list[LedgerRow] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def total_g(self) -> Fraction:
        """Mass in the vessel by the book. [g]"""
        return sum(self.inside.values(), Fraction(0))

    @property
    def water_g(self) -> Fraction:
        """Water in the vessel that stands on lines of its own. [g]"""
        return sum((mass for stock, mass in self.inside.items() if self.lines[stock].material.is_water), Fraction(0))

    def waiting_phases(self) -> tuple[str, ...]:
        """Phases that are weighed but not in the vessel."""
        return tuple(dict.fromkeys(stock[0] for stock, mass in self.waiting.items() if mass))

    def kinds(self) -> dict[str, str]:
        """Phases of the formula and of the weighings, with their kinds."""
        weighed = {event.phase: event.phase_kind for event in self.events if isinstance(event, Weighed)}
        return {**{phase.name: phase.kind for phase in self.formula.phases}, **weighed}

    def refuse_unknown(self, phases: Iterable[str]) -> None:
        """Refuse a phase that neither the formula nor a weighing names: BatchError `batch.phase`."""
        known = self.kinds()
        for phase in phases:
            if phase not in known:
                raise BatchError(
                    f"there is no phase {phase!r}",
                    where=WHERE,
                    allowed=", ".join(known),
                    mend="name one of these",
                    code="batch.phase",
                )

    def know(self, phase: str, kind: str, form: Material, as_lot: Material | None) -> Stock:
        """Remember the line a supply form or a certified lot of it stands for; the key of its mass."""
        material = as_lot or form
        stock = (phase, form.key, material.lot)
        self.forms.setdefault((phase, form.key), form)
        self.lines.setdefault(stock, CompositionLine(material, Decimal(0), phase, kind))
        return stock

    def bring_in(self, phases: Iterable[str], how: str) -> None:
        """Move what is waiting of these phases into the vessel; what is weighed for them later goes in at once."""
        phases = tuple(phases)
        self.phases_in.update(phases)
        before = self.total_g
        moved = [stock for stock in self.waiting if stock[0] in phases]
        for stock in moved:
            self.put_in(stock, self.waiting.pop(stock))
        if moved:
            self.note_row(how, before)

    def fill_if_empty(self) -> None:
        """Before a gross weighing or a sample: the hot phases weighed so far are in, if nothing else is recorded."""
        if not self.total_g:
            kinds = self.kinds()
            hot = [phase for phase in self.waiting_phases() if kinds[phase] in HOT_KINDS]
            self.bring_in(hot, f"{phases_words(hot)} in the vessel (their combination was not recorded before this)")

    def put_in(self, stock: Stock, mass_g: Fraction) -> None:
        """Put a mass of one known stock into the vessel."""
        self.inside[stock] = self.inside.get(stock, Fraction(0)) + mass_g

    def take_out(self, mass_g: Fraction, what: str) -> None:
        """Take a homogeneous share of the batch out of the vessel.

        Raises
        ------
        BatchError   `batch.taken` when less than that is in the vessel by the book.
        """
        self.fill_if_empty()
        total = self.total_g
        if mass_g > total:
            raise BatchError(
                f"{what}: {grams(mass_g)} g, but by the book the vessel holds {grams(total)} g",
                where=WHERE,
                mend="correct the mass, or record the combination or the addition before it",
                code="batch.taken",
            )
        keep = 1 - mass_g / total if total else Fraction(1)
        for masses in (self.inside, self.adjusters):
            for stock in masses:
                masses[stock] *= keep
        self.note_row(what, total)

    def lose_water(self, mass_g: Fraction) -> None:
        """Take water away from the water lines, in proportion; there must be enough."""
        keep = 1 - mass_g / self.water_g
        for stock in self.inside:
            if self.lines[stock].material.is_water:
                self.inside[stock] *= keep
        self.water_lost_g += mass_g

    def note_row(self, what: str, before_g: Fraction) -> None:
        """Write a row of the ledger: the change since `before_g`."""
        self.rows.append(LedgerRow(what, self.total_g - before_g, self.total_g))


def phases_words(phases: Iterable[str]) -> str:
    """ "phase A", "phases A and B" """
    phases = list(phases)
    return f"phase{'s' if len(phases) > 1 else ''} {' and '.join(phases)}"
