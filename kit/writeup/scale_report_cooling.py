"""Cooling at the scale: the rate of the bench log carried to each vessel, the room or a jacket programme as sink."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kit.errors import ParameterError
from kit.figures.scale_up import CoolingLine
from kit.formula.thermal import heat_capacity
from kit.science.cooling import newton_minutes, newton_temp_c, scaled_rate_by_area, scaled_rate_by_mass
from kit.science.cooling_fit import FEWEST_READINGS, NewtonFit, fit_newton
from kit.science.cooling_jacket import JacketProgramme, jacketed_minutes, jacketed_temp_c
from kit.science.number_text import short
from kit.science.thermal_facts import heat_capacity_of
from kit.show import Block, Table
from kit.units import minutes as read_minutes
from kit.units import read
from kit.writeup.scale_report_subject import ScaleSubject
from kit.writeup.scale_report_vessel import WHERE, Vessel, keyed

_POINTS = 60
_MIDWAY_C = 55.0  # between the pour and the last addition; the heat capacity hardly changes with it
NEVER = "never"


@dataclass(frozen=True)
class BenchCooling:
    """How the bench cooled.

    Parameters
    ----------
    fit : NewtonFit                   None without a log.
    points : tuple of pairs           Readings used, minutes after cooling began. [min, degC]
    began_min : float                 Minutes after combining at which cooling began. [min]
    room_c : float                    Of the room; None where neither stated nor found. [degC]
    room_from : str                   Where it comes from.
    """

    fit: NewtonFit | None
    points: tuple[tuple[float, float], ...]
    began_min: float
    room_c: float | None
    room_from: str

    @property
    def rate_per_min(self) -> float | None:
        """Rate constant; None where the log does not give one. [1/min]"""
        return self.fit.rate_per_min if self.fit and self.fit.ok else None


@dataclass(frozen=True)
class VesselCooling:
    """How a vessel cools.

    Parameters
    ----------
    vessel : Vessel           The vessel.
    rate_per_min : float      None where not known. [1/min]
    rate_from : str           How it was found.
    start_c : float           Of the batch as cooling begins; None where not known. [degC]
    """

    vessel: Vessel
    rate_per_min: float | None
    rate_from: str
    start_c: float | None

    @property
    def known(self) -> bool:
        """Whether times can be worked out."""
        return self.rate_per_min is not None and self.start_c is not None


@dataclass(frozen=True)
class CoolingPlan:
    """The bench and every vessel.

    Parameters
    ----------
    bench : BenchCooling                  From the log.
    vessels : tuple of VesselCooling      In the order given.
    jacket : JacketProgramme              None where none was stated.
    end_c : float                         Where cooling is followed to. [degC]
    """

    bench: BenchCooling
    vessels: tuple[VesselCooling, ...]
    jacket: JacketProgramme | None
    end_c: float

    def minutes(self, one: VesselCooling, temp_c: float, jacket: bool) -> float | None:
        """Minutes until a vessel is at a temperature; None where not known, infinite where it never is. [min]

        Parameters
        ----------
        one : VesselCooling   The vessel.
        temp_c : float        [degC]
        jacket : bool         With the jacket programme; else in the air of the room.
        """
        if not one.known:
            return None
        if one.start_c <= temp_c:
            return 0.0
        if jacket:
            return jacketed_minutes(temp_c, one.start_c, one.rate_per_min, self.jacket) if self.jacket else None
        if self.bench.room_c is None:
            return None
        return newton_minutes(temp_c, one.start_c, self.bench.room_c, one.rate_per_min)

    def curve(self, one: VesselCooling, end_c: float, jacket: bool) -> list[tuple[float, float]]:
        """How a vessel cools to a temperature; empty where that is not known or never reached.

        Parameters
        ----------
        one : VesselCooling   The vessel.
        end_c : float         [degC]
        jacket : bool         With the jacket programme; else in the air of the room.
        """
        last = self.minutes(one, end_c, jacket)
        if not last or math.isinf(last):
            return []
        times = [last * step / _POINTS for step in range(_POINTS + 1)]
        if jacket:
            return [(time, jacketed_temp_c(time, one.start_c, one.rate_per_min, self.jacket)) for time in times]
        return [(time, newton_temp_c(time, one.start_c, self.bench.room_c, one.rate_per_min)) for time in times]

    def own(self, subject: ScaleSubject) -> VesselCooling:
        """The bench itself by the rate of its log, to go on where its log ends.

        Parameters
        ----------
        subject : ScaleSubject   Whose bench it is.
        """
        start = self.bench.points[0][1] if self.bench.points else None
        return VesselCooling(subject.bench, self.bench.rate_per_min, "cooling log", start)

    @property
    def sink(self) -> str:
        """What takes the heat, in words."""
        return "jacket programme" if self.jacket else "air of the room"


def read_jacket(texts: Sequence[str]) -> JacketProgramme | None:
    """A jacket programme from typed corners, "0 min: 70 degC"; None without.

    Parameters
    ----------
    texts : sequence of str   Times not falling.

    Raises
    ------
    ParameterError   `scale.pair`, `scale.jacket`.
    KitError         `cooling.programme`.
    """
    if not texts:
        return None
    where = f"{WHERE}, jacket"
    pairs = [keyed(text, where) for text in texts]
    times = [float(read_minutes(time, where=where)) for time, _ in pairs]
    if times[0] != 0:
        raise ParameterError(
            f"the jacket programme begins at {times[0]:g} min",
            where=where,
            allowed="a first corner at 0 min, when cooling begins",
            mend='jacket = ["0 min: 70 degC", "60 min: 20 degC"]',
            code="scale.jacket",
        )
    return JacketProgramme(tuple(times), tuple(float(read(temp, "degC", where=where)) for _, temp in pairs))


def bench_cooling(subject: ScaleSubject, room_c: float | None) -> BenchCooling:
    """The rate constant of the bench log.

    Parameters
    ----------
    subject : ScaleSubject   With its log.
    room_c : float           As stated; as recorded, else from the log where it tells, when None. [degC]

    Notes
    -----
    Readings while the high-shear head still ran belong to the hold and are left out, where enough others remain.
    """
    told = "as recorded" if room_c is None else "as stated"
    room_c = subject.room_c if room_c is None else room_c
    hold = _hold_minutes(subject)
    after = [(minute - hold, temp) for minute, temp in subject.log if minute >= hold]
    began, points = (hold, after) if len(after) >= FEWEST_READINGS else (0.0, list(subject.log))
    if not points:
        return BenchCooling(None, (), 0.0, room_c, told if room_c is not None else "")
    fit = fit_newton([minute for minute, _ in points], [temp for _, temp in points], room_c)
    if room_c is not None:
        return BenchCooling(fit, tuple(points), began, room_c, told)
    found = fit.ambient_c if fit.ok else None
    return BenchCooling(fit, tuple(points), began, found, "fitted from the cooling log" if found is not None else "")


def _hold_minutes(subject: ScaleSubject) -> float:
    entries = subject.batch.standing("combine") if subject.batch else ()
    return float(entries[-1].body.get("minutes") or 0) if entries else 0.0


def plan_cooling(
    subject: ScaleSubject,
    bench: BenchCooling,
    vessels: Sequence[Vessel],
    starts_c: Mapping[str, float],
    jacket: JacketProgramme | None,
) -> CoolingPlan:
    """Carry the rate of the bench to every vessel.

    Parameters
    ----------
    subject : ScaleSubject     With its vessel.
    bench : BenchCooling       From `bench_cooling`.
    vessels : sequence         What it is carried to.
    starts_c : mapping         Temperature of the batch as cooling begins, by name of the vessel. [degC]
    jacket : JacketProgramme   None for none.
    """
    found = tuple(_carried(subject, bench, vessel, starts_c.get(vessel.name)) for vessel in vessels)
    return CoolingPlan(bench, found, jacket, subject.last_addition_c)


def _carried(subject: ScaleSubject, bench: BenchCooling, vessel: Vessel, start_c: float | None) -> VesselCooling:
    if vessel.rate_per_min is not None:
        return VesselCooling(vessel, vessel.rate_per_min, "measured there, as stated", start_c)
    rate, old = bench.rate_per_min, subject.bench
    if rate is None or old.mass_g is None:
        return VesselCooling(vessel, None, "no rate at the bench", start_c)
    if old.width_m and vessel.width_m and subject.density_g_ml:
        area = _area_m2(vessel, subject.density_g_ml) / _area_m2(old, subject.density_g_ml)
        rate = scaled_rate_by_area(rate, area, _capacity_ratio(subject, vessel))
        return VesselCooling(vessel, rate, "surface and mass", start_c)
    return VesselCooling(
        vessel, scaled_rate_by_mass(rate, old.mass_g, vessel.mass_g), "mass, vessel of the same shape", start_c
    )


def _area_m2(vessel: Vessel, density_g_ml: float) -> float:
    """Bottom, free surface and wet wall of a cylinder."""
    base = math.pi * vessel.width_m**2 / 4
    height = vessel.mass_g / density_g_ml * 1e-6 / base
    return 2 * base + math.pi * vessel.width_m * height


def _capacity_ratio(subject: ScaleSubject, new: Vessel) -> float:
    """Heat capacity of the new vessel over the old; walls are counted where both are known."""
    old = subject.bench
    walls = [vessel.wall and vessel.wall_g is not None for vessel in (old, new)]
    if not all(walls):
        return new.mass_g / old.mass_g
    batch_j_gk = heat_capacity(subject.composition, _MIDWAY_C).value
    heats = [vessel.mass_g * batch_j_gk + vessel.wall_g * heat_capacity_of(vessel.wall) for vessel in (new, old)]
    return heats[0] / heats[1]


def cooling_table(plan: CoolingPlan, subject: ScaleSubject) -> Block:
    """Rate, start and minutes to the additions, in the room and with the jacket.

    Parameters
    ----------
    plan : CoolingPlan        From `plan_cooling`.
    subject : ScaleSubject    Whose bench it is.
    """
    targets = sorted({plan.end_c, *(temp for _, temp in subject.cool_to)}, reverse=True)
    heads = ["vessel", "rate, 1/min", "rate from", "start, °C"]
    heads += [f"min to {temp:g} °C, room air" for temp in targets]
    heads += [f"min to {temp:g} °C, jacket" for temp in targets] if plan.jacket else []
    rows = [_bench_row(plan, targets), *(_vessel_row(plan, one, targets) for one in plan.vessels)]
    numeric = frozenset({1, *range(3, len(heads))})
    table = Table(heads, rows, title="Cooling", note=_cooling_note(plan), numeric=numeric)
    return Block((*_why_none(plan), table))


def _bench_row(plan: CoolingPlan, targets: Sequence[float]) -> tuple[object, ...]:
    bench = plan.bench
    rate = "not known" if bench.rate_per_min is None else short(bench.rate_per_min)
    start = f"{bench.points[0][1]:.1f}" if bench.points else "NOT RECORDED"
    cells = [_bench_minutes(plan, temp) for temp in targets]
    jacket = ["–"] * len(targets) if plan.jacket else []
    return ("bench, as logged", rate, f"{len(bench.points)} readings" if bench.points else "–", start, *cells, *jacket)


def _bench_minutes(plan: CoolingPlan, temp_c: float) -> str:
    """Minutes at which the log passes a temperature, straight between readings; by its rate where it ends before."""
    bench = plan.bench
    for (before, hot), (after, cool) in itertools.pairwise(bench.points):
        if hot >= temp_c >= cool and hot > cool:
            return f"{before + (after - before) * (hot - temp_c) / (hot - cool):.0f}"
    if not bench.points or bench.rate_per_min is None or bench.room_c is None:
        return "not known"
    minutes = newton_minutes(temp_c, bench.points[0][1], bench.room_c, bench.rate_per_min)
    return f"{minutes_words(minutes)}, by its rate"


def _vessel_row(plan: CoolingPlan, one: VesselCooling, targets: Sequence[float]) -> tuple[object, ...]:
    rate = "not known" if one.rate_per_min is None else short(one.rate_per_min)
    start = "not known" if one.start_c is None else f"{one.start_c:.1f}"
    sinks = [False, True] if plan.jacket else [False]
    cells = [minutes_words(plan.minutes(one, temp, sink)) for sink in sinks for temp in targets]
    return (one.vessel.name, rate, one.rate_from, start, *cells)


def minutes_words(minutes: float | None) -> str:
    """Minutes for a table.

    Parameters
    ----------
    minutes : float   None where not known, infinite where the temperature is never reached. [min]
    """
    if minutes is None:
        return "not known"
    if math.isinf(minutes):
        return NEVER
    return f"{minutes:.0f}"


def _why_none(plan: CoolingPlan) -> tuple[str, ...]:
    fit = plan.bench.fit
    if fit is None:
        return ("No cooling log: NOT RECORDED. State a measured rate for each vessel, such as rate: 0.02 /min.",)
    if not fit.ok:
        return (f"The cooling log gives no rate: {fit.why}.",)
    return (f"Of the bench log: {fit.why}.",) if fit.why else ()


def _cooling_note(plan: CoolingPlan) -> str:
    bench = plan.bench
    said = []
    if bench.began_min:
        said.append(f"Bench minutes count from the end of the hold, {bench.began_min:g} min after combining")
    if bench.room_c is None:
        said.append("Temperature of the room NOT RECORDED and not told by the log: state room")
    else:
        said.append(f"Room {bench.room_c:.1f} °C, {bench.room_from}")
    if plan.jacket:
        corners = ", ".join(
            f"{temp:g} °C at {time:g} min"
            for time, temp in zip(plan.jacket.times_min, plan.jacket.temps_c, strict=True)
        )
        said.append(f"Jacket: {corners}")
        said.append(
            "A jacket of water takes heat better than the air the bench cooled in: where the rate was not measured in "
            "that vessel, its times are rather too long"
        )
    said.append("A vessel starts from its heat balance, wall warm, hold-back water in")
    said.append(
        "The rate falls as the surface over the mass does, with wall and stirring alike. The heat of setting is not "
        "counted: measure the rate once in each vessel"
    )
    return ". ".join(said) + "."


def lines(plan: CoolingPlan) -> list[CoolingLine]:
    """What the figure draws, the bench log first.

    Parameters
    ----------
    plan : CoolingPlan   From `plan_cooling`.
    """
    found = [CoolingLine("bench, as logged", plan.bench.points, True)] if plan.bench.points else []
    curves = [(one.vessel.name, plan.curve(one, plan.end_c, plan.jacket is not None)) for one in plan.vessels]
    return [*found, *(CoolingLine(f"{name}, {plan.sink}", points) for name, points in curves if points)]
