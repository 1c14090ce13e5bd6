"""The water missing from a batch, read from its record and held against what evaporates."""

from __future__ import annotations

from kit.bench.water_loss_check import WaterLoss, check_water_loss
from kit.errors import BatchError
from kit.formula.pour import HOT_KINDS
from kit.labbook.cooling_record import cooling_log, kept_pace, minutes_after_combining, vessel_of
from kit.labbook.view import BatchView


def water_loss_of(view: BatchView) -> WaterLoss:
    """The water missing at the weighings of the vessel, explained by evaporation or not; the estimate is ± 50 %.

    Parameters
    ----------
    view : BatchView   Open or finished.
    """
    weighed = view.standing("gross")
    try:
        missing_g = float(view.made.water_lost_g) if weighed else None
    except BatchError:  # nothing is weighed yet, or the masses do not add up: said where they were entered
        missing_g = None
    timed = weighed and (weighed[-1].body.get("at") or kept_pace(view))
    until = minutes_after_combining(weighed[-1], view) if timed else None
    return check_water_loss(cooling_log(view), vessel_of(view), missing_g, _scatters_g(view), until)


def _scatters_g(view: BatchView) -> list[float]:
    """Scatter of every weighing a loss rests on: hot lines, what was found back, the vessel full and empty. [g]"""
    balances = {line.place: line.balance for line in view.sheet.lines}
    coarsest = max(balances.values(), key=lambda balance: balance.scatter_g)
    hot = [
        balances.get((item.body["phase"], item.body["material"]), coarsest)
        for item in view.standing("weigh")
        if view.formula.phase(item.body["phase"]).kind in HOT_KINDS
    ]
    others = [coarsest] * (2 * len(view.standing("weigh-back")) + 2 * len(view.standing("gross")))
    return [float(balance.scatter_g) for balance in (*hot, *others)]
