"""Which batch on which day, in which order: drawn from a stated seed, the factors spread over the days."""

from __future__ import annotations

from dataclasses import dataclass

from kit.trials.plan_layouts import ARMS, EFFECTS
from kit.trials.plan_made_of import Making


@dataclass(frozen=True, slots=True)
class Slot:
    """One batch in the order of making.

    Parameters
    ----------
    day : int     Counted from 1.
    place : int   In the day, counted from 1.
    item : int    Index of what is made.
    """

    day: int
    place: int
    item: int


def order_batches(made: Making, seed: int) -> tuple[Slot, ...]:
    """Divide the batches of a plan over its days and draw the order within each.

    Parameters
    ----------
    made : Making   All batches, with the number of days.
    seed : int      Of the draw.

    Returns
    -------
    tuple of Slot   In order of making; the batches of one hot base stay together on one day.

    Raises
    ------
    KitError   `design.capacity` for more days than there are batches, `design.count`.
    """
    from kit.science.design_layout import CATEGORY, MIXTURE, PROCESS, Design
    from kit.science.design_run_order import run_order

    places = [place for place in range(len(made.items)) if place != made.daily]
    bases = [made.items[place].whole_plot for place in places]
    coded = [made.seen(place).coded for place in places]
    if made.laid.factors and all(coded):
        names = [factor.name for factor in made.laid.factors]
        kind = (PROCESS if made.laid.judged in (ARMS, EFFECTS) else MIXTURE,) * len(names)
        design = Design(names, tuple(coded), kind, whole_plot=tuple(bases) if any(bases) else None)
    else:
        keys = list(dict.fromkeys(made.items[place].formula.fingerprint for place in places))
        rows = tuple((float(keys.index(made.items[place].formula.fingerprint)),) for place in places)
        design = Design(("version",), rows, (CATEGORY,), categories=(tuple(key[:16] for key in keys),))
    found = run_order(design, made.days, seed=seed, control_each_day=made.daily is not None)
    return tuple(
        Slot(slot.day, slot.place, made.daily if slot.run is None else places[slot.run]) for slot in found.slots
    )
