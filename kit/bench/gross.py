"""The vessel weighed whole: what is missing against the book, and what it is booked as."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from kit.bench.events import Gross
from kit.bench.exact import decimal, grams, upper_first
from kit.bench.vessel import WHERE, Vessel, phases_words
from kit.errors import BatchError
from kit.formula.rules.findings import PRACTICE, Finding
from kit.units import plain

_SCATTER = Fraction(5, 1000)  # a net above the book by more than 0.5 % is a mistake; common practice, no source
_USUAL_LOSS_PCT = 5  # of the water present; 2 to 5 % on heating is usual (common practice, no source)


def book_gross(vessel: Vessel, event: Gross) -> None:
    """Book a gross weighing: what is missing and was not found back is called water.

    Raises
    ------
    BatchError   `gross.more_lost_than_water`, and as `settle_phases`.
    """
    settle_phases(vessel, event)
    vessel.gross_weighings += 1
    book, water = vessel.total_g, vessel.water_g
    missing = book - Fraction(event.net_g)
    told = f"gross weighing: net {plain(event.net_g)} g, {grams(book)} g by the book"
    if missing <= 0:
        _book_surplus(vessel, event, -missing)
        vessel.note_row(told, book)
        return
    if missing > water:
        raise BatchError(
            f"{grams(missing)} g is missing at the gross weighing, more than the {grams(water)} g of water there was",
            where=WHERE,
            mend="weigh again; check the tare and which phases were in the vessel",
            code="gross.more_lost_than_water",
        )
    vessel.lose_water(missing)
    vessel.note_row(f"{told}; {grams(missing)} g not found back, booked as water lost (assumption)", book)
    vessel.notes.append(
        f"{grams(missing)} g was missing at the gross weighing and not found back: it is called water (assumption)."
    )
    _tell_large_loss(vessel, missing, water)


def settle_phases(vessel: Vessel, event: Gross) -> None:
    """Bring in the phases that a gross weighing says were in the vessel.

    Raises
    ------
    BatchError   `batch.phase`, `gross.phases` when one that was in is left out, `gross.empty` when nothing is in.
    """
    if event.phases_in is None:
        vessel.fill_if_empty()
    else:
        vessel.refuse_unknown(event.phases_in)
        _refuse_left_out(vessel, event.phases_in)
        vessel.bring_in(event.phases_in, f"{phases_words(event.phases_in)} in, as said at the gross weighing")
    if not vessel.total_g:
        raise BatchError(
            "nothing is in the vessel by the book at this gross weighing",
            where=WHERE,
            mend="record what was weighed and combined first, or say which phases were in",
            code="gross.empty",
        )


def _refuse_left_out(vessel: Vessel, named: tuple[str, ...]) -> None:
    holding = {stock[0] for stock, mass in vessel.inside.items() if mass}
    left_out = sorted((vessel.phases_in & holding) - set(named))
    if left_out:
        raise BatchError(
            f"phase {left_out[0]} was in the vessel before this gross weighing, but is not among those named",
            where=WHERE,
            mend="name every phase that was in",
            code="gross.phases",
        )


def surplus_words(vessel: Vessel, event: Gross, surplus: Fraction) -> str:
    """What to say of a net above the book by more than scatter (0.5 % and two divisions); empty within it."""
    if surplus <= _SCATTER * vessel.total_g + 2 * Fraction(event.division_g):
        return ""
    waiting = vessel.waiting_phases()
    verb = "are" if len(waiting) > 1 else "is"
    hint = (
        f" {upper_first(phases_words(waiting))} {verb} weighed but not recorded as added; if in the vessel, say so."
        if waiting
        else ""
    )
    return (
        f"The vessel weighed {plain(event.net_g)} g net, {grams(surplus)} g more than the {grams(vessel.total_g)} g "
        "by the book. Nothing was booked: check the tare, and look for a line that was weighed and not written down."
        f"{hint}"
    )


def _book_surplus(vessel: Vessel, event: Gross, surplus: Fraction) -> None:
    words = surplus_words(vessel, event, surplus)
    if words:
        vessel.findings.append(
            Finding(
                "caution",
                "gross.more_than_weighed",
                words,
                value=event.net_g,
                limit=decimal(vessel.total_g, 2),
                source=PRACTICE,
            )
        )


def _tell_large_loss(vessel: Vessel, missing: Fraction, water: Fraction) -> None:
    share = 100 * missing / water
    if share > _USUAL_LOSS_PCT:
        words = (
            f"{grams(missing)} g, {grams(share, 1)} % of the water present, was not found back; up to "
            f"{_USUAL_LOSS_PCT} % is usual. Look for a spill or a beaker not weighed back before it is called water."
        )
        vessel.findings.append(
            Finding(
                "caution",
                "gross.large_loss",
                words,
                value=decimal(share, 1),
                limit=Decimal(_USUAL_LOSS_PCT),
                source=PRACTICE,
            )
        )
