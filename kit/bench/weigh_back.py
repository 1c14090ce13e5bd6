"""What was found back in emptied containers: the share of each weighed line that entered the vessel."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from kit.bench.events import Event, Gross, Weighed, WeighedBack
from kit.bench.exact import grams
from kit.errors import BatchError

Place = tuple[str, str]  # phase, material key


def kept_shares(events: Sequence[Event]) -> dict[Place, Fraction]:
    """The share of each weighed line that entered the vessel, after the weigh-backs of its boat and its beaker.

    Where in the list a weigh-back stands does not matter: what was found back never entered.

    Raises
    ------
    BatchError   `batch.weigh_back` when more was found back than was weighed.
    """
    weighed: dict[Place, Fraction] = {}
    for event in events:
        if isinstance(event, Weighed):
            place = (event.phase, event.material.key)
            weighed[place] = weighed.get(place, Fraction(0)) + Fraction(event.mass_g)
    backs = phase_weigh_backs(events)
    left = _after_boats(weighed, backs)
    beakers = {
        phase: _beaker_share(phase, left, backs)
        for phase in {place[0] for place in weighed} | {event.phase for event in backs}
    }
    return {place: left[place] / mass * beakers[place[0]] if mass else Fraction(0) for place, mass in weighed.items()}


def phase_weigh_backs(events: Sequence[Event]) -> list[WeighedBack]:
    """The weigh-backs of phases, not those of tools that were in the batch."""
    return [event for event in events if isinstance(event, WeighedBack) and event.phase]


def physical_order(events: Sequence[Event]) -> list[Event]:
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


def found_back_words(phases: Iterable[str], events: Sequence[Event]) -> str:
    """ " (after 2.00 g found back)", or nothing."""
    phases = tuple(phases)
    found = sum((Fraction(event.mass_g) for event in phase_weigh_backs(events) if event.phase in phases), Fraction(0))
    return f" (after {grams(found)} g found back)" if found else ""


def _after_boats(weighed: dict[Place, Fraction], backs: list[WeighedBack]) -> dict[Place, Fraction]:
    left = dict(weighed)
    for event in backs:
        if event.material is None:
            continue
        place = (event.phase, event.material.key)
        left[place] = left.get(place, Fraction(0)) - Fraction(event.mass_g)
        if left[place] < 0:
            raise _too_much(f"more {event.material.name} was found back in phase {event.phase} than was weighed")
    return left


def _beaker_share(phase: str, left: dict[Place, Fraction], backs: list[WeighedBack]) -> Fraction:
    found = sum(
        (Fraction(event.mass_g) for event in backs if event.phase == phase and event.material is None), Fraction(0)
    )
    total = sum((mass for place, mass in left.items() if place[0] == phase), Fraction(0))
    if found > total:
        raise _too_much(f"{grams(found)} g was found back of phase {phase}, of which {grams(total)} g was weighed")
    return 1 - found / total if total else Fraction(1)


def _too_much(what: str) -> BatchError:
    return BatchError(
        what,
        where="mass balance",
        mend="correct the weigh-back or its phase; mind the tare of the beaker",
        code="batch.weigh_back",
    )
