"""What long cooling does at the scale: time at temperature of lines that heat harms, and water lost while it is hot."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kit.errors import ParameterError
from kit.formula.composition import CompositionLine
from kit.science.number_text import short
from kit.science.time_at_temperature import equivalent_exposure, minutes_above
from kit.science.water_loss import UNCERTAINTY, estimated_loss
from kit.show import Block, Cell, Table
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.scale_report_cooling import NEVER, CoolingPlan, VesselCooling
from kit.writeup.scale_report_subject import ScaleSubject
from kit.writeup.scale_report_vessel import WHERE
from kit.writeup.scale_report_vessels import NOT_STATED

REFERENCE_C = 25.0
COOL_C = 30.0
"""Where the time at temperature of an addition is followed to. [degC]"""
_HUMIDITY = 0.5
_HOTTEST_C = 94.0  # the correlation of evaporation ends there
_HOT = ("water", "oil")


def check_energy(energy_kj_mol: float) -> float:
    """An activation energy as it may be reckoned with. [kJ/mol]

    Parameters
    ----------
    energy_kj_mol : float   As typed. [kJ/mol]

    Raises
    ------
    ParameterError   `scale.energy`.
    """
    if not 20 <= energy_kj_mol <= 200:
        raise ParameterError(
            f"an activation energy of {energy_kj_mol} kJ/mol",
            where=f"{WHERE}, activation_energy",
            allowed="20 to 200 kJ/mol, usually 60 to 100",
            mend="activation_energy = 85",
            code="scale.energy",
        )
    return float(energy_kj_mol)


def exposure_block(plan: CoolingPlan, subject: ScaleSubject, energy_kj_mol: float) -> Block:
    """Every line with a limit of heat: when it may go in, and what it then sees.

    Parameters
    ----------
    plan : CoolingPlan       How every vessel cools.
    subject : ScaleSubject   Whose formula it is.
    energy_kj_mol : float    Activation energy it is reckoned with. [kJ/mol]
    """
    lines = [line for line in subject.composition.lines if _limit_c(line) is not None]
    if not lines:
        return Block(("No line of this formula has a limit of heat on record: time at temperature is not told.",))
    known = [("bench", plan.own(subject), False)]
    known += [(one.vessel.name, one, plan.jacket is not None) for one in plan.vessels]
    rows = [_exposure_row(plan, subject, line, known, energy_kj_mol) for line in lines]
    table = Table(
        ("line", "phase", "limit, °C", *(name for name, _, _ in known)),
        rows,
        title="Time at temperature of lines that heat harms",
        note="A cool-down line waits until the batch is at the temperature it goes in at; then the heat it sees down "
        f"to {COOL_C:g} °C, as hours at {REFERENCE_C:g} °C with an activation energy of {energy_kj_mol:g} kJ/mol. A "
        "line in a hot phase: from the pour on. It ranks vessels and lines; it is no forecast of a loss. Vessels: "
        f"{plan.sink}; the bench in its room. Minutes count from the beginning of cooling.",
        numeric=frozenset({2}),
    )
    return Block((table,))


def _limit_c(line: CompositionLine) -> float | None:
    fact = line.material.heat_max
    return float(fact.value) if fact is not None and fact.value is not None else None


def _exposure_row(plan, subject, line, known: Sequence[tuple[str, VesselCooling, bool]], energy: float):
    limit = _limit_c(line)
    cells = [_cell(plan, subject, line, limit, one, jacket, energy) for _, one, jacket in known]
    return (line.material.name, line.phase, short(limit), *cells)


def _cell(plan, subject, line, limit: float, one: VesselCooling, jacket: bool, energy: float) -> object:
    if line.kind in _HOT:
        return _hot_cell(plan, limit, one, jacket, energy)
    goes_in = dict(subject.cool_to).get(line.phase)
    if goes_in is None:
        return NOT_RECORDED
    wait = plan.minutes(one, goes_in, jacket)
    if wait is None:
        return "not known"
    if math.isinf(wait):
        return Cell(f"{NEVER} at {goes_in:g} °C", "flag")
    too_hot = "" if goes_in <= limit else "\nABOVE its limit"
    words = f"after {wait:.0f} min\nat {goes_in:g} °C{too_hot}\n{_seen(plan, one, goes_in, jacket, energy)}"
    return Cell(_unbroken(words), "flag") if too_hot else _unbroken(words)


def _unbroken(words: str) -> str:
    """Words that are broken at their line ends only, however narrow the page."""
    return words.replace(" ", "\u00a0")


def _seen(plan: CoolingPlan, one: VesselCooling, from_c: float, jacket: bool, energy: float) -> str:
    """Hours at the reference that do as the way from an addition down to `COOL_C` does."""
    if from_c <= COOL_C:
        return "then no heat"
    curve = plan.curve(one, COOL_C, jacket)
    later = [(minute, temp) for minute, temp in curve if temp <= from_c]
    if len(later) < 2:
        return "then not known"
    hours = equivalent_exposure(*zip(*later, strict=True), energy, REFERENCE_C).hours
    return f"then as {short(hours, 2)} h"


def _hot_cell(plan: CoolingPlan, limit: float, one: VesselCooling, jacket: bool, energy: float) -> object:
    curve = plan.curve(one, COOL_C, jacket)
    if len(curve) < 2:
        return "not known"
    times, temps = zip(*curve, strict=True)
    above = minutes_above(times, temps, limit)
    hours = equivalent_exposure(times, temps, energy, REFERENCE_C).hours
    words = f"ABOVE its limit\nfor {above:.0f} min\nas {short(hours, 2)} h"
    return Cell(_unbroken(words), "flag") if above else _unbroken(f"below its limit\nas {short(hours, 2)} h")


def water_loss_block(plan: CoolingPlan, subject: ScaleSubject) -> Block:
    """Water that leaves each vessel from the pour to the last addition, within half and half again.

    Parameters
    ----------
    plan : CoolingPlan       How every vessel cools.
    subject : ScaleSubject   Whose bench it is.
    """
    known = [("bench", plan.own(subject), False)]
    known += [(one.vessel.name, one, plan.jacket is not None) for one in plan.vessels]
    rows = [_loss_row(plan, name, one, jacket) for name, one, jacket in known]
    table = Table(
        ("vessel", "surface, mm wide", "lid", "likeliest, g", "from, g", "to, g", "% of the batch"),
        rows,
        title=f"Water lost while cooling to {plan.end_c:g} °C: an estimate, ± {100 * UNCERTAINTY:.0f} %",
        note=f"From the open surface into still air of the room at {100 * _HUMIDITY:.0f} % relative humidity. Surface "
        "over mass falls with size, hours hot rise. Heating and holding before are not in it; vacuum draws off more. "
        "Weigh the vessel and make up what the mass balance says, never this estimate.",
        numeric=frozenset({1, 3, 4, 5, 6}),
    )
    return Block((table,))


def _loss_row(plan: CoolingPlan, name: str, one: VesselCooling, jacket: bool) -> tuple[object, ...]:
    vessel = one.vessel
    absent = NOT_RECORDED if name == "bench" else NOT_STATED
    width = absent if vessel.width_m is None else short(vessel.width_m * 1000, 4)
    lid = "on" if vessel.covered else "off"
    curve = plan.curve(one, plan.end_c, jacket)
    if vessel.width_m is None or plan.bench.room_c is None or len(curve) < 2:
        return (name, width, lid, "not known", "–", "–", "–")
    times, temps = zip(*curve, strict=True)
    hottest = [min(temp, _HOTTEST_C) for temp in temps]
    loss = estimated_loss(times, hottest, vessel.width_m * 100, plan.bench.room_c, _HUMIDITY, covered=vessel.covered)
    shares = [short(value) for value in (loss.mass_g, loss.low_g, loss.high_g)]
    return (name, width, lid, *shares, short(100 * loss.mass_g / vessel.mass_g, 2))


def head_stop_words(subject: ScaleSubject) -> str:
    """At which temperature the bench stopped its high-shear head, by its log; empty where that is not told.

    Parameters
    ----------
    subject : ScaleSubject   With its log.
    """
    entries = subject.batch.standing("combine") if subject.batch else ()
    minutes = float(entries[-1].body.get("minutes") or 0) if entries else 0.0
    for (before, hot), (after, cool) in zip(subject.log, subject.log[1:], strict=False):
        if minutes and before <= minutes <= after:
            temp = hot + (cool - hot) * (minutes - before) / (after - before)
            return f"{temp:.0f} °C, by the log after {short(minutes, 4)} min"
    return ""
