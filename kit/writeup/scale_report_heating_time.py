"""How long a heater of the scale-up takes, losses with it: what is stated or measured of them, in words."""

from __future__ import annotations

import math
from dataclasses import replace

from kit.science.heating import HOT_PLATE_SHARE, HeatNeeded, heating_time
from kit.writeup.scale_report_vessel import Vessel

NOT_KNOWN = "not known: losses come on top"
TIME_NOTE = (
    "Time, at least: all of the heater's power into the batch, no losses; what heater and vessel lose to the room "
    "comes on top. With losses: by the share of the power that reaches the batch (heater share: 50 %) and the rate at "
    "which the vessel cools (rate: 0.02 /min), where they are stated or measured; from one end of the energy's range "
    "to the other."
)
_HOT_PLATE = " Of a hot plate {low:.0f} to {high:.0f} % reaches a beaker (from memory: measure it once)."


def hot_plate_note(vessels: tuple[Vessel, ...]) -> str:
    """What the bench's time rests on where its heater is taken for a hot plate; empty otherwise.

    Parameters
    ----------
    vessels : tuple of Vessel   The bench first.
    """
    if not any(_on_hot_plate(vessel) for vessel in vessels):
        return ""
    return _HOT_PLATE.format(low=100 * HOT_PLATE_SHARE[0], high=100 * HOT_PLATE_SHARE[1])


def time_with_losses(needed: HeatNeeded, vessel: Vessel, room_c: float, target_c: float) -> str:
    """The range of the time, or what is missing for one.

    Parameters
    ----------
    needed : HeatNeeded         Without losses.
    vessel : Vessel             With its heater; a dash without one.
    room_c, target_c : float    Where it starts, and the hottest phase. [degC]
    """
    if vessel.heater_w is None:
        return "–"
    shares, rate = _shares(vessel), vessel.rate_per_min
    if shares is None and rate is None:
        return NOT_KNOWN
    best, worst = shares[::-1] if shares else (1.0, 1.0)
    times = [
        heating_time(replace(needed, energy_kj=energy), room_c, target_c, vessel.heater_w, share, rate or 0.0, room_c)
        for energy, share in ((needed.low_kj, best), (needed.high_kj, worst))
    ]
    if math.isinf(times[1].minutes):
        return times[1].words if math.isinf(times[0].minutes) else f"{times[0].minutes:.0f} min, or {times[1].words}"
    told = " to ".join(dict.fromkeys(f"{time.minutes:.0f}" for time in times))
    missing = [] if shares else ["all of the power taken"]
    missing += [] if rate is not None else ["losses of the vessel on top"]
    return f"at least {told} min ({', '.join(missing)})" if missing else f"{told} min"


def _on_hot_plate(vessel: Vessel) -> bool:
    return vessel.name == "bench" and vessel.heater_w is not None and vessel.heater_share is None


def _shares(vessel: Vessel) -> tuple[float, float] | None:
    """Least and largest share of the power that reaches the batch; None where nothing is known."""
    if vessel.heater_share is not None:
        return vessel.heater_share, vessel.heater_share
    return HOT_PLATE_SHARE if _on_hot_plate(vessel) else None
