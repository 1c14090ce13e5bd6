"""Energy and time to heat the phases of a pour: what they and their vessel take, and how long a heater needs for it."""

from __future__ import annotations

from collections.abc import Sequence

from kit.formula.heater import Heater, PhaseHeating
from kit.formula.pour import ROOM_C, PourPhase
from kit.formula.vessel_wall import VesselWall
from kit.science.heat_balance import Stream
from kit.science.heating import HeatNeeded, heat_needed, heating_time


def heat_phases(
    phases: Sequence[PourPhase],
    heater: Heater | None = None,
    vessel: VesselWall | None = None,
    room_c: float = ROOM_C,
) -> tuple[PhaseHeating, ...]:
    """What each phase takes from the room to its temperature, one after another on the heater.

    Parameters
    ----------
    phases : sequence of PourPhase   Those without a temperature, or below the room's, are left out.
    heater : Heater                  None where no power is known.
    vessel : VesselWall              Heated with the water phase; left out where its mass or wall is not known.
    room_c : float                   Of the room. [degC]
    """
    inside = next((phase for phase in phases if phase.kind == "water"), None)
    return tuple(
        _heated(phase, heater, vessel if phase is inside else None, room_c)
        for phase in phases
        if phase.temp_c is not None and phase.temp_c > room_c
    )


def phase_energy(phase: PourPhase, start_c: float, beside: Sequence[Stream] = ()) -> HeatNeeded:
    """Energy to bring a phase to its temperature, without losses.

    Parameters
    ----------
    phase : PourPhase              With a temperature.
    start_c : float                Of all of it. [degC]
    beside : sequence of Stream    What is heated with it, such as its vessel.

    Raises
    ------
    ThermalError   `heat.target` where it starts above its temperature.
    """
    cold = [
        Stream(stream.name, stream.mass_g, start_c, stream.heat_capacity_j_gk, stream.melts)
        for stream in phase.streams()
    ]
    return heat_needed([*cold, *beside], phase.temp_c)


def _heated(phase: PourPhase, heater: Heater | None, vessel: VesselWall | None, room_c: float) -> PhaseHeating:
    wall = None if vessel is None else vessel.stream(room_c)
    needed = phase_energy(phase, room_c, [wall] if wall else [])
    name = f"phase {phase.name}{' and its vessel' if wall else ''}"
    time = None
    if heater is not None:
        share = 1.0 if heater.share is None else heater.share
        time = heating_time(
            needed, room_c, phase.temp_c, heater.power_w, share, heater.loss_rate_per_min, ambient_c=room_c
        )
    return PhaseHeating(name, room_c, phase.temp_c, needed, heater, time)
