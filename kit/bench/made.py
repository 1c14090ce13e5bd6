"""As made: the composition of a batch from what was weighed, lost, found back, taken out and poured in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from kit.bench.events import Event, Gross, Weighed
from kit.bench.exact import grams
from kit.bench.gross import settle_phases, surplus_words
from kit.bench.mass_balance import close, run
from kit.bench.vessel import LedgerRow, Place, Stock, Vessel
from kit.errors import BatchError
from kit.formula.composition import Composition, CompositionLine, Step, from_masses
from kit.formula.formula import Formula
from kit.formula.lot_blend import blend
from kit.formula.material import Material
from kit.formula.rules.findings import PRACTICE, Finding
from kit.show import Block, Fielded, Table, Worded, listing
from kit.units import plain

__all__ = ["GrossCheck", "Made", "MadeLine", "Place", "as_made", "expected_gross", "gross_check"]


@dataclass(frozen=True, slots=True, repr=False)
class MadeLine(Fielded):
    """One line of a batch as made: what of it is in the product, and how much of that was poured in to adjust. [g]

    `material` has the parts its lots' certificates state, averaged by mass where there were several; `form` is the same
    supply form as its supplier describes it, and `lots` the mass of each certified lot, "" for the rest.
    """

    material: Material
    phase: str
    kind: str
    mass_g: Fraction
    adjuster_g: Fraction = Fraction(0)
    form: Material | None = None
    lots: tuple[tuple[str, Fraction], ...] = ()


@dataclass(frozen=True)
class Made:
    """A batch as made.

    Parameters
    ----------
    formula : Formula            As meant.
    lines : tuple of MadeLine    Masses in the product, exact. [g]
    composition : Composition    % w/w, adding up to 100.
    theoretical_g : Fraction     Everything weighed and poured in. [g]
    weighed_back_g, water_lost_g, taken_g : Fraction   What of it is not in the product. [g]
    ledger : tuple of LedgerRow  The mass balance step by step.
    notes : tuple of str         Assumptions.
    findings : tuple of Finding  What does not add up.
    """

    formula: Formula
    lines: tuple[MadeLine, ...]
    composition: Composition
    theoretical_g: Fraction
    weighed_back_g: Fraction
    water_lost_g: Fraction
    taken_g: Fraction
    ledger: tuple[LedgerRow, ...]
    notes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def yield_g(self) -> Fraction:
        """What is in the vessel at the end. [g]"""
        return sum((line.mass_g for line in self.lines), Fraction(0))

    @property
    def missing_g(self) -> Fraction:
        """What did not arrive or did not stay: found back in beakers or on tools, or called water lost. [g]"""
        return self.weighed_back_g + self.water_lost_g

    def mass_g(self, key: str) -> Fraction:
        """Mass of one supply form in the product, over all its lines. [g]"""
        return sum((line.mass_g for line in self.lines if line.material.key == key), Fraction(0))

    def balance_table(self) -> Table:
        """The mass balance, step by step."""
        rows = [(row.what, _signed(row.change_g), grams(row.vessel_g)) for row in self.ledger]
        note = (
            f"{grams(self.theoretical_g)} g weighed and poured in = {grams(self.yield_g)} g in the vessel + "
            f"{grams(self.weighed_back_g)} g found back + {grams(self.water_lost_g)} g called water lost + "
            f"{grams(self.taken_g)} g taken out."
        )
        return Table(
            ("step", "change, g", "in the vessel, g"), rows, title="Mass balance", note=note, numeric=frozenset({1, 2})
        )

    def _block(self) -> Block:
        told = [*self.notes, *(finding.words for finding in self.findings)]
        return Block((self.composition.table(), self.balance_table(), *([listing("To know", told)] if told else [])))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


def as_made(events: Sequence[Event], formula: Formula, steps: tuple[Step, ...] = ()) -> Made:
    """The composition of a batch as made, from mass balance alone.

    Parameters
    ----------
    events : sequence of Event   In the order they were recorded, corrections and voids already applied.
    formula : Formula            As meant.
    steps : tuple of Step        As done, carried into the composition.

    Raises
    ------
    BatchError   `batch.nothing_weighed`, and those of `mass_balance.run`.

    Notes
    -----
    In exact fractions. Weigh-backs never entered the vessel. What is missing at a gross weighing and was not found back
    is called water: an assumption, and the notes say so. A sample is a homogeneous share of what was in. A stock
    solution books to what it was mixed from. Percentages are of the supply forms weighed; their parts are those of the
    lots' certificates where an event gives them, kept lot by lot through losses, samples and adjusters.
    """
    if not any(isinstance(event, Weighed) for event in events):
        raise BatchError(
            "nothing was weighed yet",
            where=formula.title,
            mend="weigh the lines of the batch sheet",
            code="batch.nothing_weighed",
        )
    vessel = close(run(events, formula))
    if not vessel.total_g:
        raise BatchError(
            "nothing is left in the vessel by the book",
            where=formula.title,
            mend="check what was weighed and taken out",
            code="batch.nothing_weighed",
        )
    lines = _lines(vessel)
    composition = from_masses(
        [(CompositionLine(line.material, Decimal(0), line.phase, line.kind), line.mass_g) for line in lines],
        state="made",
        product=formula.product,
        steps=tuple(steps),
    )
    return Made(
        formula,
        lines,
        composition,
        vessel.put_in_g,
        vessel.weighed_back_g,
        vessel.water_lost_g,
        vessel.taken_g,
        tuple(vessel.rows),
        (*vessel.notes, *_unknown_loss(vessel)),
        (*vessel.findings, *_not_weighed(vessel)),
    )


def _lines(vessel: Vessel) -> tuple[MadeLine, ...]:
    meant = [(phase.name, line.material.key) for phase, line in vessel.formula.placed_lines()]
    stocks: dict[Place, list[Stock]] = {}
    for stock in vessel.inside:
        stocks.setdefault(stock[:2], []).append(stock)
    order = dict.fromkeys([*(place for place in meant if place in stocks), *stocks])
    return tuple(_line(vessel, place, stocks[place]) for place in order)


def _line(vessel: Vessel, place: Place, stocks: Sequence[Stock]) -> MadeLine:
    form, masses = vessel.forms[place], [(stock, vessel.inside[stock]) for stock in stocks]
    return MadeLine(
        blend(form, [(vessel.lines[stock].material, mass_g) for stock, mass_g in masses]),
        place[0],
        vessel.lines[stocks[0]].kind,
        sum((mass_g for _, mass_g in masses), Fraction(0)),
        sum((vessel.adjusters.get(stock, Fraction(0)) for stock in stocks), Fraction(0)),
        form,
        tuple((stock[2], mass_g) for stock, mass_g in masses if mass_g) if any(stock[2] for stock in stocks) else (),
    )


def _unknown_loss(vessel: Vessel) -> tuple[str, ...]:
    return (
        ()
        if vessel.gross_weighings
        else ("The vessel was never weighed whole: water lost to steam is not known and counts as none.",)
    )


def _not_weighed(vessel: Vessel) -> tuple[Finding, ...]:
    present = {stock[:2] for stock, mass_g in vessel.inside.items() if mass_g}
    absent = [
        line.material
        for phase, line in vessel.formula.placed_lines()
        if (line.qs or line.pct) and (phase.name, line.material.key) not in present
    ]
    if not absent:
        return ()
    names = ", ".join(material.name for material in absent)
    return (
        Finding(
            "caution",
            "made.not_weighed",
            f"Not weighed, so counted as absent: {names}.",
            tuple(material.key for material in absent),
            source=PRACTICE,
        ),
    )


@dataclass(frozen=True, slots=True, repr=False)
class GrossCheck(Worded):
    """What a gross weighing says at the moment it is made. [g]

    `book_g` is what was in the vessel by the book and `water_g` the water in it, `back_g` what was found back so far;
    `make_up_g` is the water that would bring the batch back to the book if all that is missing is water. `surplus` says
    what to think of a net above the book.
    """

    net_g: Decimal
    book_g: Fraction
    water_g: Fraction
    back_g: Fraction
    surplus: str = ""

    @property
    def missing_g(self) -> Fraction:
        """The book less the net; negative when more was weighed than is booked. [g]"""
        return self.book_g - Fraction(self.net_g)

    @property
    def missing_pct(self) -> Fraction:
        """Missing as % of the mass by the book."""
        return 100 * self.missing_g / self.book_g

    @property
    def make_up_g(self) -> Fraction:
        """Water make-up proposed: what is missing, none when nothing is. [g]"""
        return max(self.missing_g, Fraction(0))

    def words(self) -> str:
        """The result, and what to do before anything is made up."""
        if self.missing_g <= 0:
            return self.surplus or f"net {plain(self.net_g)} g, {grams(self.book_g)} g by the book: nothing is missing."
        of_water = f", {grams(100 * self.missing_g / self.water_g)} % of the water" if self.water_g else ""
        found = f" after {grams(self.back_g)} g found back" if self.back_g else ""
        first = (
            "other beakers, boats and the mixing head" if self.back_g else "the beakers, the boats and the mixing head"
        )
        return (
            f"net {plain(self.net_g)} g, {grams(self.missing_g)} g ({grams(self.missing_pct)} % of the "
            f"{grams(self.book_g)} g by the book{of_water}) missing{found}: weigh back {first} first; what stays "
            f"unexplained is called water; make up with {grams(self.make_up_g)} g."
        )


def expected_gross(events: Sequence[Event], formula: Formula, phases_in: tuple[str, ...] | None = None) -> Fraction:
    """Net mass the vessel should show now, by the book; errors as in `gross_check`. [g]"""
    return gross_check(events, formula, Decimal(0), phases_in).book_g


def gross_check(
    events: Sequence[Event],
    formula: Formula,
    net_g: Decimal,
    phases_in: tuple[str, ...] | None = None,
    division_g: Decimal = Decimal("0.01"),
) -> GrossCheck:
    """Hold a gross weighing that was just made against the book.

    Parameters
    ----------
    events : sequence        Events so far, without this weighing.
    net_g : Decimal          Gross less tare. [g]
    phases_in : tuple        Phases in the vessel, where the events do not say.
    division_g : Decimal     Division of the balance. [g]

    Raises
    ------
    BatchError   `gross.empty`, `gross.phases`, and those of `mass_balance.run`.
    """
    event = Gross(net_g, phases_in, division_g)
    vessel = run(events, formula, upcoming=event)
    settle_phases(vessel, event)
    surplus = surplus_words(vessel, event, Fraction(net_g) - vessel.total_g)
    return GrossCheck(net_g, vessel.total_g, vessel.water_g, vessel.weighed_back_g, surplus)


def _signed(change_g: Fraction) -> str:
    text = grams(change_g)
    return f"+{text}" if change_g > 0 else text
