"""The events of a batch gone through in physical order, from weighing to the end of making."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from kit.bench.booking import Home, booked_as, home, line_home
from kit.bench.events import Added, Adjusted, Combined, Event, Gross, Taken, ToppedUp, Weighed, WeighedBack
from kit.bench.exact import grams
from kit.bench.gross import book_gross
from kit.bench.vessel import HOT_KINDS, WHERE, Stock, Vessel, phases_words
from kit.bench.weigh_back import found_back_words, kept_shares, phase_weigh_backs, physical_order
from kit.errors import BatchError
from kit.formula.formula import Formula
from kit.formula.material import Material
from kit.units import plain


def run(events: Sequence[Event], formula: Formula, *, upcoming: Gross | None = None) -> Vessel:
    """Go through the events in physical order.

    Water and oil phases are in the vessel from their combination, or from their weighing where no combination is
    recorded; the other phases from their addition. Weigh-backs of a phase count from the start, wherever they stand.

    Parameters
    ----------
    events : sequence   Events so far, in the order they were recorded.
    formula : Formula   As meant: it gives the lines that water and adjusters join.
    upcoming : Gross    A gross weighing about to be booked, for what it says of the phases.

    Raises
    ------
    BatchError   `batch.mass`, `batch.phase`, `batch.weigh_back`, `batch.taken`, `batch.top_up`, `gross.empty`,
                 `gross.phases`, `gross.more_lost_than_water`.
    """
    _refuse_masses(events)
    vessel = Vessel(formula, tuple(events), kept_shares(events))
    vessel.weighed_back_g = sum((Fraction(event.mass_g) for event in phase_weigh_backs(events)), Fraction(0))
    if not any(_says_phases(event) for event in (*events, upcoming)):
        vessel.phases_in = {
            event.phase for event in events if isinstance(event, Weighed) and event.phase_kind in HOT_KINDS
        }
    for event in physical_order(events):
        _HANDLERS[type(event)](vessel, event)
    return vessel


def close(vessel: Vessel) -> Vessel:
    """The end of making: what still waits goes in, and a note says that it was assumed."""
    for phase in vessel.waiting_phases():
        vessel.bring_in([phase], f"phase {phase} added at the end (assumption: its addition was not recorded)")
        vessel.notes.append(
            f"The addition of phase {phase} was not recorded: it is counted as added at the end (assumption)."
        )
    return vessel


def _says_phases(event: Event | None) -> bool:
    return isinstance(event, Combined) or (isinstance(event, Gross) and event.phases_in is not None)


def _refuse_masses(events: Sequence[Event]) -> None:
    for event in events:
        mass_g = getattr(event, "mass_g", getattr(event, "net_g", None))
        if mass_g is not None and (mass_g < 0 or (mass_g == 0 and not isinstance(event, (WeighedBack, Weighed)))):
            raise BatchError(
                f"a mass of {plain(mass_g)} g was recorded ({type(event).__name__})",
                where=WHERE,
                allowed="a mass above zero",
                mend="correct the entry",
                code="batch.mass",
            )


def _weigh(vessel: Vessel, event: Weighed) -> None:
    weighed = Fraction(event.mass_g)
    entered = weighed * vessel.kept[event.phase, event.material.key]
    vessel.put_in_g += weighed
    stock = vessel.know(event.phase, event.phase_kind, event.material, event.as_lot)
    if event.phase not in vessel.phases_in:
        vessel.waiting[stock] = vessel.waiting.get(stock, Fraction(0)) + entered
        return
    before = vessel.total_g
    vessel.put_in(stock, entered)
    back = f" (after {grams(weighed - entered)} g found back)" if entered != weighed else ""
    vessel.note_row(f"{event.material.name} weighed in{back}", before)


def _combine(vessel: Vessel, event: Combined) -> None:
    phases = event.phases or tuple(name for name, kind in vessel.kinds().items() if kind in HOT_KINDS)
    vessel.refuse_unknown(phases)
    vessel.bring_in(phases, f"{phases_words(phases)} combined{found_back_words(phases, vessel.events)}")


def _add(vessel: Vessel, event: Added) -> None:
    vessel.refuse_unknown([event.phase])
    vessel.bring_in([event.phase], f"phase {event.phase} added{found_back_words([event.phase], vessel.events)}")


def _top_up(vessel: Vessel, event: ToppedUp) -> None:
    place = home(vessel.formula, event.material) if event.material is not None else line_home(vessel.formula, None)
    if place is None:
        raise BatchError(
            "the formula has no water line to book the water make-up to",
            where=WHERE,
            mend="name the material that was added",
            code="batch.top_up",
        )
    before = vessel.total_g
    _pour(vessel, place, event.as_lot, Fraction(event.mass_g))
    vessel.note_row(f"{place[1].name} made up", before)


def _adjust(vessel: Vessel, event: Adjusted) -> None:
    before = vessel.total_g
    forms = {form.key: form for form, _ in booked_as(vessel.formula, event.material)}
    for as_lot, share in booked_as(vessel.formula, event.as_lot or event.material):
        mass_g = Fraction(event.mass_g) * Fraction(share) / 100
        stock = _pour(vessel, home(vessel.formula, forms[as_lot.key]), as_lot, mass_g)
        vessel.adjusters[stock] = vessel.adjusters.get(stock, Fraction(0)) + mass_g
    vessel.note_row(f"{event.material.name} poured in", before)


def _pour(vessel: Vessel, place: Home, as_lot: Material | None, mass_g: Fraction) -> Stock:
    """Pour a material in at the place it joins; of a water that joins another water only the mass is kept."""
    phase, form, kind = place
    described = as_lot if as_lot is not None and as_lot.lot and as_lot.key == form.key else None
    stock = vessel.know(phase, kind, form, described)
    vessel.put_in_g += mass_g
    vessel.put_in(stock, mass_g)
    return stock


def _take(vessel: Vessel, event: Taken) -> None:
    vessel.take_out(Fraction(event.mass_g), f"taken out{f': {event.why}' if event.why else ''}")
    vessel.taken_g += Fraction(event.mass_g)


def _find_on_tool(vessel: Vessel, event: WeighedBack) -> None:
    vessel.take_out(Fraction(event.mass_g), f"found on {event.container or 'a tool'}")
    vessel.weighed_back_g += Fraction(event.mass_g)


_HANDLERS = {
    Weighed: _weigh,
    WeighedBack: _find_on_tool,
    Combined: _combine,
    Added: _add,
    Gross: book_gross,
    ToppedUp: _top_up,
    Adjusted: _adjust,
    Taken: _take,
}
