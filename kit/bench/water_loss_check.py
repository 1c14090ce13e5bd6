"""Is the water that is missing on the balance the water an open hot vessel would lose? Said with its range of half."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from kit.bench.cooling_log import CoolingLog
from kit.formula.vessel_wall import VesselWall
from kit.science.water_loss import LossEstimate, Reconciled, estimated_loss, reconcile

ROOM_C, HUMIDITY = 22.0, 0.5
"""What the room is taken to have where nothing was noted. [degC], [-]"""


@dataclass(frozen=True, slots=True)
class WaterLoss:
    """Water missing by the balance, held against what evaporates.

    Parameters
    ----------
    missing_g : float            Missing at the weighings of the vessel and not found back; None where the vessel was
                                 never weighed whole. [g]
    estimate : LossEstimate      None where the log or the vessel does not tell.
    why_not : str                What an estimate would need; empty where there is one.
    span_min : pair of float     What the estimate covers, after combining; None without one. [min]
    reconciled : Reconciled      Both held together; None where one of them is not there.
    room : str                   What the room was taken to have.
    """

    missing_g: float | None
    estimate: LossEstimate | None
    why_not: str = ""
    span_min: tuple[float, float] | None = None
    reconciled: Reconciled | None = None
    room: str = ""

    @property
    def words(self) -> str:
        """What the balance saw, what the estimate says, and whether they agree."""
        if self.estimate is None:
            return f"{self._seen()} Not held against an estimate: {self.why_not}."
        first, last = self.span_min
        told = (
            f"Estimate for {first:.0f} to {last:.0f} min after combining: {self.estimate.words} ({self.room}; heating "
            "before the pour is not in it)."
        )
        return " ".join([self._seen(), told, *([_verdict(self.reconciled)] if self.reconciled else [])])

    def __str__(self) -> str:
        return self.words

    __repr__ = __str__

    def _seen(self) -> str:
        if self.missing_g is None:
            return "The vessel was not weighed whole: what evaporated is not known."
        return f"{self.missing_g:.2f} g missing at the weighings of the vessel and not found back."


def _verdict(found: Reconciled) -> str:
    sd = f"± {2 * found.weighed_sd_g:.2g} g"
    if found.verdict == "explained":
        return f"EXPLAINED: evaporation accounts for it ({sd} of weighing)."
    if found.verdict == "too small to tell":
        return f"Too small to tell from the scatter of the weighings ({sd})."
    if found.verdict == "a gain":
        return f"UNEXPLAINED: {-found.loss_g:.2f} g more than was put in. Check tare and weighings."
    if found.verdict == "more than evaporation explains":
        return (
            f"UNEXPLAINED: {found.unexplained_g:.2f} g more than evaporation accounts for. Weigh back beakers, boats "
            "and the mixing head before it is made up as water."
        )
    return (
        f"Less than the estimate by {-found.unexplained_g:.2f} g: the vessel was covered or a skin set, or a line is "
        "heavier than was noted."
    )


def check_water_loss(
    log: CoolingLog,
    vessel: VesselWall | None,
    missing_g: float | None,
    scatters_g: Sequence[float],
    until_min: float | None = None,
) -> WaterLoss:
    """Hold the water missing on the balance against the estimate of what evaporated.

    Parameters
    ----------
    log : CoolingLog        From combining on.
    vessel : VesselWall     Its width, and whether it was covered; None where it is not described.
    missing_g : float       Missing and not found back; None where the vessel was never weighed whole. [g]
    scatters_g : sequence   Standard deviation of every weighing that the loss rests on. [g]
    until_min : float       When the vessel was weighed, after combining; the end of the log where not known. [min]

    Returns
    -------
    WaterLoss   With the estimate, or with what it would need.

    Notes
    -----
    The room counts as 22 degC unless noted, at half humidity. Between readings the log is straight; it is cut at the
    weighing.
    """
    room_c = ROOM_C if log.room_c is None else log.room_c
    room = f"room {room_c:g} °C{'' if log.room_c is not None else ' assumed'}, {HUMIDITY:.0%} humidity assumed"
    times, temps = _until(log, until_min)
    why_not = _why_not(vessel, times)
    if why_not:
        return WaterLoss(missing_g, None, why_not)
    estimate = estimated_loss(times, temps, vessel.width_cm, room_c, HUMIDITY, covered=vessel.covered)
    sd_g = sqrt(sum(scatter**2 for scatter in scatters_g))
    both = None if missing_g is None else reconcile(missing_g, sd_g, estimate)
    return WaterLoss(missing_g, estimate, "", (times[0], times[-1]), both, room)


def _why_not(vessel: VesselWall | None, times: Sequence[float]) -> str:
    if vessel is None:
        return 'the vessel is not described: equipment(vessel="600 mL glass beaker, 85 mm wide")'
    if vessel.width_cm is None:
        return f'the vessel ("{vessel.text}") has no width: equipment(vessel="600 mL glass beaker, 85 mm wide")'
    return "" if len(times) >= 2 else "fewer than two temperatures are in the cooling log before the weighing"


def _until(log: CoolingLog, until_min: float | None) -> tuple[list[float], list[float]]:
    """The log up to the weighing of the vessel, cut straight between two readings."""
    times, temps = log.times_min, log.temps_c
    if until_min is None or not times or until_min >= times[-1]:
        return times, temps
    kept = [(minutes, temp) for minutes, temp in log.points if minutes < until_min]
    later = next((minutes, temp) for minutes, temp in log.points if minutes >= until_min)
    if kept:
        before = kept[-1]
        share = (until_min - before[0]) / (later[0] - before[0])
        kept.append((until_min, before[1] + share * (later[1] - before[1])))
    return [minutes for minutes, _ in kept], [temp for _, temp in kept]
