"""The vessel by the book: what is in it after each event, from mass balance alone, in exact fractions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from kit.bench.events import Added, Adjusted, Combined, Event, Gross, Taken, ToppedUp, Weighed, WeighedBack
from kit.errors import BatchError
from kit.formula.composition import CompositionLine
from kit.formula.formula import Formula
from kit.formula.material import Material
from kit.formula.rules.findings import PRACTICE, Finding
from kit.units import plain

Place = tuple[str, str]  # phase, material key

_WHERE = "mass balance"
_HOT_KINDS = ("water", "oil")  # in the vessel from the combination; the others from their addition
_GROSS_SHARE = Fraction(5, 1000)  # a net above the book by more is a mistake, not scatter; common practice, no source
_USUAL_LOSS_PCT = 5  # of the water present, 2 to 5 % on heating is usual; common practice, no source


@dataclass(frozen=True, slots=True)
class LedgerRow:
    """One step of the mass balance: what happened, what it changed and what is in the vessel after it. [g]"""

    what: str
    change_g: Fraction
    vessel_g: Fraction


@dataclass
class Vessel:
    """The books of one batch while its events are gone through; `made.as_made` freezes the result.

    `inside` and `waiting` hold masses by phase and material, `adjusters` the part of `inside` that was poured in at the end. [g]
    """

    formula: Formula
    inside: dict[Place, Fraction] = field(default_factory=dict)
    waiting: dict[Place, Fraction] = field(default_factory=dict)
    adjusters: dict[Place, Fraction] = field(default_factory=dict)
    lines: dict[Place, CompositionLine] = field(default_factory=dict)
    phases_in: set[str] = field(default_factory=set)
    weighed_g: Fraction = Fraction(0)
    poured_g: Fraction = Fraction(0)
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
        return sum((mass for place, mass in self.inside.items() if self.lines[place].material.is_water), Fraction(0))

    def waiting_phases(self) -> tuple[str, ...]:
        """Phases that are weighed but not in the vessel."""
        return tuple(dict.fromkeys(phase for (phase, _), mass in self.waiting.items() if mass))

    def bring_in(self, phases: Iterable[str], how: str) -> None:
        """Move what is waiting of these phases into the vessel; what is weighed for them later goes in at once."""
        phases = tuple(phases)
        self.phases_in.update(phases)
        moved = [place for place in self.waiting if place[0] in phases]
        before = self.total_g
        for place in moved:
            self.inside[place] = self.inside.get(place, Fraction(0)) + self.waiting.pop(place)
        if moved:
            self.note_row(how, before)

    def put_in(self, place: Place, material: Material, kind: str, mass_g: Fraction) -> None:
        """Put a mass of one material straight into the vessel."""
        self.know(place, material, kind)
        self.inside[place] = self.inside.get(place, Fraction(0)) + mass_g

    def take_out(self, mass_g: Fraction, what: str) -> None:
        """Take a homogeneous share of the batch out of the vessel.

        Raises
        ------
        BatchError   `batch.taken` when less than that is in the vessel by the book.
        """
        total = self.total_g
        if mass_g > total:
            raise BatchError(f"{what}: {grams(mass_g)} g, but by the book {grams(total)} g {'is' if total else 'is still'} in the vessel",
                             where=_WHERE, mend="correct the mass, or record the combination or the addition before it", code="batch.taken")
        keep = 1 - mass_g / total if total else Fraction(1)
        for masses in (self.inside, self.adjusters):
            for place in masses:
                masses[place] *= keep
        self.note_row(what, total)

    def lose_water(self, mass_g: Fraction) -> None:
        """Take water away from the water lines, in proportion."""
        keep = 1 - mass_g / self.water_g
        for place in self.inside:
            if self.lines[place].material.is_water:
                self.inside[place] *= keep
        self.water_lost_g += mass_g

    def know(self, place: Place, material: Material, kind: str) -> None:
        """Remember the line a place stands for."""
        self.lines.setdefault(place, CompositionLine(material, Decimal(0), place[0], kind))

    def note_row(self, what: str, before_g: Fraction) -> None:
        """Write a row of the ledger: the change since `before_g`."""
        self.rows.append(LedgerRow(what, self.total_g - before_g, self.total_g))


def run(events: Sequence[Event], formula: Formula) -> Vessel:
    """Go through the events in physical order.

    Weigh-backs of a phase count from the start, wherever they stand in the list: what was found back never entered the vessel.

    Raises
    ------
    BatchError   `batch.mass`, `batch.phase`, `batch.weigh_back`, `batch.taken`, `batch.top_up`, `gross.empty`, `gross.phases`,
                 `gross.more_lost_than_water`.
    """
    _check_masses(events)
    vessel = Vessel(formula)
    kept = _kept_shares(events)
    found = [event for event in events if isinstance(event, WeighedBack) and event.phase]
    vessel.weighed_back_g = sum((Fraction(event.mass_g) for event in found), Fraction(0))
    combines = any(isinstance(event, Combined) for event in events)
    if not combines:
        vessel.phases_in = {event.phase for event in events if isinstance(event, Weighed) and event.phase_kind in _HOT_KINDS}
    for event in _in_physical_order(events):
        _HANDLERS[type(event)](vessel, event, kept, events)
    return vessel


def close(vessel: Vessel) -> Vessel:
    """The end of making: what is still waiting goes in, and the note says that it was assumed."""
    for phase in vessel.waiting_phases():
        how = f"phase {phase} counted as added at the end (its addition was not recorded)"
        vessel.bring_in([phase], how)
        vessel.notes.append(f"The addition of phase {phase} was not recorded: it is counted as added at the end.")
    return vessel


def _check_masses(events: Sequence[Event]) -> None:
    for event in events:
        mass_g = getattr(event, "mass_g", getattr(event, "net_g", None))
        if mass_g is not None and (mass_g < 0 or mass_g == 0 and not isinstance(event, (WeighedBack, Weighed))):
            raise BatchError(f"a mass of {plain(mass_g)} g was recorded as {type(event).__name__}", where=_WHERE, allowed="a mass above zero",
                             mend="correct the entry", code="batch.mass")


def _kept_shares(events: Sequence[Event]) -> dict[Place, Fraction]:
    """The share of each weighed line that entered the vessel, after the weigh-backs of its boat and its beaker."""
    weighed: dict[Place, Fraction] = {}
    for event in events:
        if isinstance(event, Weighed):
            place = (event.phase, event.material.key)
            weighed[place] = weighed.get(place, Fraction(0)) + Fraction(event.mass_g)
    backs = [event for event in events if isinstance(event, WeighedBack) and event.phase]
    left = dict(weighed)
    for event in backs:
        if event.material is not None:
            place = (event.phase, event.material.key)
            left[place] = left.get(place, Fraction(0)) - Fraction(event.mass_g)
    _refuse_too_much_back(left, backs)
    beakers = {phase: _beaker_share(phase, left, backs) for phase in {place[0] for place in weighed} | {event.phase for event in backs}}
    return {place: left[place] / mass * beakers[place[0]] if mass else Fraction(0) for place, mass in weighed.items()}


def _beaker_share(phase: str, left: dict[Place, Fraction], backs: list[WeighedBack]) -> Fraction:
    found = sum((Fraction(event.mass_g) for event in backs if event.phase == phase and event.material is None), Fraction(0))
    total = sum((mass for place, mass in left.items() if place[0] == phase), Fraction(0))
    if found > total:
        raise _too_much_back(f"{grams(found)} g was found back of phase {phase}, of which {grams(total)} g was weighed")
    return 1 - found / total if total else Fraction(1)


def _refuse_too_much_back(left: dict[Place, Fraction], backs: list[WeighedBack]) -> None:
    for event in backs:
        if event.material is not None and left[(event.phase, event.material.key)] < 0:
            raise _too_much_back(f"more {event.material.name} was found back in phase {event.phase} than was weighed")


def _too_much_back(what: str) -> BatchError:
    return BatchError(what, where=_WHERE, mend="correct the weigh-back or its phase; tare the beaker first", code="batch.weigh_back")


def _in_physical_order(events: Sequence[Event]) -> list[Event]:
    """Without the weigh-backs of phases; batch found on a tool straight after a gross weighing had left before it."""
    ordered: list[Event] = []
    for event in events:
        if isinstance(event, WeighedBack) and event.phase:
            continue
        at = len(ordered)
        if isinstance(event, WeighedBack):
            while at and isinstance(ordered[at - 1], Gross):
                at -= 1
        ordered.insert(at, event)
    return ordered


def _weigh(vessel: Vessel, event: Weighed, kept: dict[Place, Fraction], _events: Sequence[Event]) -> None:
    place = (event.phase, event.material.key)
    mass_g = Fraction(event.mass_g) * kept[place]
    vessel.weighed_g += Fraction(event.mass_g)
    vessel.know(place, event.material, event.phase_kind)
    if event.phase in vessel.phases_in:
        before = vessel.total_g
        vessel.put_in(place, event.material, event.phase_kind, mass_g)
        vessel.note_row(f"{event.material.name} weighed in{_back_words(event.mass_g, mass_g)}", before)
    else:
        vessel.waiting[place] = vessel.waiting.get(place, Fraction(0)) + mass_g


def _back_words(weighed_g: Decimal, entered_g: Fraction) -> str:
    back = Fraction(weighed_g) - entered_g
    return f" ({plain(weighed_g)} g weighed, {grams(back)} g found back)" if back else ""


def _combine(vessel: Vessel, event: Combined, _kept: dict[Place, Fraction], events: Sequence[Event]) -> None:
    kinds = {phase.name: phase.kind for phase in vessel.formula.phases}
    kinds |= {item.phase: item.phase_kind for item in events if isinstance(item, Weighed)}
    phases = event.phases or tuple(name for name, kind in kinds.items() if kind in _HOT_KINDS)
    _refuse_unknown_phases(phases, kinds)
    vessel.bring_in(phases, f"phases {' and '.join(phases)} combined{_found_back(phases, events)}")


def _add(vessel: Vessel, event: Added, _kept: dict[Place, Fraction], events: Sequence[Event]) -> None:
    _refuse_unknown_phases([event.phase], _known_phases(vessel, events))
    vessel.bring_in([event.phase], f"phase {event.phase} added{_found_back([event.phase], events)}")


def _known_phases(vessel: Vessel, events: Sequence[Event]) -> list[str]:
    return list(dict.fromkeys([*(phase.name for phase in vessel.formula.phases), *(item.phase for item in events if isinstance(item, Weighed))]))


def _refuse_unknown_phases(phases: Iterable[str], known: Iterable[str]) -> None:
    known = list(known)
    for phase in phases:
        if phase not in known:
            raise BatchError(f"there is no phase {phase!r}", where=_WHERE, allowed=", ".join(known), mend="name one of these", code="batch.phase")


def _found_back(phases: Iterable[str], events: Sequence[Event]) -> str:
    found = sum((Fraction(item.mass_g) for item in events if isinstance(item, WeighedBack) and item.phase in tuple(phases)), Fraction(0))
    return f" (after {grams(found)} g found back in beakers)" if found else ""


def _gross(vessel: Vessel, event: Gross, _kept: dict[Place, Fraction], events: Sequence[Event]) -> None:
    settle_phases(vessel, event, events)
    vessel.gross_weighings += 1
    book, missing = vessel.total_g, vessel.total_g - Fraction(event.net_g)
    told = f"gross weighing: net {plain(event.net_g)} g, {grams(book)} g by the book"
    if missing <= 0:
        _more_than_weighed(vessel, event, -missing)
        vessel.note_row(told, book)
        return
    water = vessel.water_g
    if missing > water:
        raise BatchError(f"{grams(missing)} g is missing at the gross weighing, more than the {grams(water)} g of water there was",
                         where=_WHERE, mend="weigh again; check the tare and which phases were in the vessel", code="gross.more_lost_than_water")
    vessel.lose_water(missing)
    vessel.note_row(f"{told}: {grams(missing)} g not found, booked as water lost (assumption)", book)
    vessel.notes.append(f"{grams(missing)} g was missing at a gross weighing and not found back: it is called water (assumption).")
    _large_loss(vessel, missing, water)


def settle_phases(vessel: Vessel, event: Gross, events: Sequence[Event]) -> None:
    """Bring in the phases that a gross weighing says were in the vessel.

    Raises
    ------
    BatchError   `gross.phases` when one is left out that was in already, `gross.empty` when nothing is in by the book.
    """
    if event.phases_in is not None:
        _refuse_unknown_phases(event.phases_in, _known_phases(vessel, events))
        inside = {phase for phase, _ in vessel.inside}
        left_out = sorted(phase for phase in inside - set(event.phases_in) if any(phase == known.name for known in vessel.formula.phases))
        if left_out:
            raise BatchError(f"phase {left_out[0]} was in the vessel before this gross weighing, but is not among those named", where=_WHERE,
                             mend="name every phase that was in", code="gross.phases")
        vessel.bring_in(event.phases_in, f"phases {' and '.join(event.phases_in)} in, as said at the gross weighing")
    if not vessel.total_g:
        raise BatchError("nothing is in the vessel by the book at this gross weighing", where=_WHERE,
                         mend="record the combination first, or say which phases were in", code="gross.empty")


def surplus_words(vessel: Vessel, event: Gross, surplus: Fraction) -> str:
    """What to say of a net above the book by more than scatter; empty within it."""
    allowed = _GROSS_SHARE * vessel.total_g + 2 * Fraction(event.division_g)
    if surplus <= allowed:
        return ""
    waiting = vessel.waiting_phases()
    hint = f" Phase {' and '.join(waiting)} is weighed but not recorded as added: if it was in, say so." if waiting else ""
    return (f"The vessel weighed {plain(event.net_g)} g net, {grams(surplus)} g more than the {grams(vessel.total_g)} g by the book. Nothing was "
            f"booked: check the tare, and look for a line that was weighed and not written down.{hint}")


def _more_than_weighed(vessel: Vessel, event: Gross, surplus: Fraction) -> None:
    words = surplus_words(vessel, event, surplus)
    if words:
        vessel.findings.append(Finding("caution", "gross.more_than_weighed", words, value=event.net_g, limit=decimal(vessel.total_g, 2),
                                       source=PRACTICE))


def _large_loss(vessel: Vessel, missing: Fraction, water: Fraction) -> None:
    share = 100 * missing / water
    if share > _USUAL_LOSS_PCT:
        words = (f"{grams(missing)} g, {grams(share, 1)} % of the water present, was not found back; up to {_USUAL_LOSS_PCT} % is usual. Look for a "
                 "spill or a beaker not weighed back before it is called water.")
        vessel.findings.append(Finding("caution", "gross.large_loss", words, value=decimal(share, 1), limit=Decimal(_USUAL_LOSS_PCT),
                                       source=PRACTICE))


def _top_up(vessel: Vessel, event: ToppedUp, _kept: dict[Place, Fraction], _events: Sequence[Event]) -> None:
    home = line_home(vessel.formula, event.material)
    if home is None:
        raise BatchError("the formula has no water line to book the water make-up to", where=_WHERE, mend="name the material that was added",
                         code="batch.top_up")
    _pour(vessel, home, Fraction(event.mass_g), f"{home[1].name} made up")


def _adjust(vessel: Vessel, event: Adjusted, _kept: dict[Place, Fraction], _events: Sequence[Event]) -> None:
    before = vessel.total_g
    vessel.poured_g += Fraction(event.mass_g)
    for material, share in booked_as(vessel.formula, event.material):
        phase, _, kind = line_home(vessel.formula, material) or (*adjust_phase(vessel.formula), "")[:1] + (material, "adjust")
        place, mass_g = (phase, material.key), Fraction(event.mass_g) * Fraction(share) / 100
        vessel.put_in(place, material, kind, mass_g)
        vessel.adjusters[place] = vessel.adjusters.get(place, Fraction(0)) + mass_g
    vessel.note_row(f"{event.material.name} poured in", before)


def _pour(vessel: Vessel, home: tuple[str, Material, str], mass_g: Fraction, what: str) -> None:
    before = vessel.total_g
    phase, material, kind = home
    vessel.poured_g += mass_g
    vessel.put_in((phase, material.key), material, kind, mass_g)
    vessel.note_row(what, before)


def _take(vessel: Vessel, event: Taken, _kept: dict[Place, Fraction], _events: Sequence[Event]) -> None:
    vessel.take_out(Fraction(event.mass_g), f"taken out{f': {event.why}' if event.why else ''}")
    vessel.taken_g += Fraction(event.mass_g)


def _found_on_tool(vessel: Vessel, event: WeighedBack, _kept: dict[Place, Fraction], _events: Sequence[Event]) -> None:
    vessel.take_out(Fraction(event.mass_g), f"found on {event.container or 'a tool'}")
    vessel.weighed_back_g += Fraction(event.mass_g)


_HANDLERS = {Weighed: _weigh, WeighedBack: _found_on_tool, Combined: _combine, Added: _add, Gross: _gross, ToppedUp: _top_up, Adjusted: _adjust,
             Taken: _take}


def booked_as(formula: Formula, material: Material) -> tuple[tuple[Material, Decimal], ...]:
    """What a poured-in material books to: itself where the formula has a line of it, else what it was mixed from. [% of it]"""
    if any(line.material.key == material.key for _, line in formula.placed_lines()):
        return ((material, Decimal(100)),)
    return material.weighed_as()


def line_home(formula: Formula, material: Material | None) -> tuple[str, Material, str] | None:
    """Phase, material and kind of the formula's line that a material joins; None where there is none.

    Water joins any water line. Of several lines the q.s. line comes first, then the largest.
    """
    placed = list(formula.placed_lines())
    fitting = [(phase, line) for phase, line in placed if material is not None and line.material.key == material.key]
    if not fitting and (material is None or material.is_water):
        fitting = [(phase, line) for phase, line in placed if line.material.is_water]
    if not fitting:
        return None
    phase, line = max(fitting, key=lambda item: (item[1].qs, item[1].pct or Decimal(0)))
    return phase.name, line.material, phase.kind


def adjust_phase(formula: Formula) -> tuple[str, bool]:
    """Name of the phase for adjusters that are new to the formula, and whether the formula has it already."""
    for phase in formula.phases:
        if phase.kind == "adjust":
            return phase.name, True
    names = {phase.name for phase in formula.phases}
    return next(name for name in (*"DEFGHIJKLMNOPQRSTUVWXYZ", "adjust", "adjusters") if name not in names), False


def decimal(value: Fraction, places: int) -> Decimal:
    """A fraction rounded for reading."""
    return (Decimal(value.numerator) / Decimal(value.denominator)).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def grams(value: Fraction, places: int = 2) -> str:
    """A mass as text, two decimals."""
    return plain(decimal(value, places))
