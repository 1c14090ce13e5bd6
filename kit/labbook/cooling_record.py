"""The cooling log and the pour of a batch, read from its record."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from itertools import groupby

from kit.bench.cooling_log import CoolAddition, CoolingLog
from kit.formula.material import Material
from kit.formula.pour import HOT_KINDS, Pour, PourPhase
from kit.formula.pour_balance import balance_pour, planned_temps
from kit.formula.vessel_wall import VesselWall, read_vessel
from kit.labbook.batch_entries import material_of
from kit.labbook.ledger import Effective
from kit.labbook.view import BatchView

_IN_BATCH = ("", "batch")
_ROOMS = ("room", "bath", "surroundings", "air")
_KEPT_PACE_MIN = 3.0  # an entry typed within this of its own time was typed at the bench
_AFTER = "after"


def cooling_log(view: BatchView) -> CoolingLog:
    """Temperatures of a batch after combining and its additions.

    Parameters
    ----------
    view : BatchView   Open or finished.

    Notes
    -----
    The time of an addition is that of its entry, unless the temperatures beside it were plainly typed afterwards: then
    only a time that was given counts. Of several readings at one minute the last stands.
    """
    notes: list[str] = []
    items = [item for item in view.standing("temperature") if item.body.get("place", "") in _IN_BATCH]
    timed = [
        (minutes_after_combining(item, view), float(item.body["temp_c"])) for item in items if item.body.get("temp_c")
    ]
    placed = [(minutes, temp) for minutes, temp in timed if minutes is not None and minutes >= 0]
    if len(placed) < len(timed):
        notes.append(f"{len(timed) - len(placed)} temperatures before combining, or without a time after it, left out.")
    placed = _after_combining(view) + placed
    points = tuple(list(group)[-1] for _, group in groupby(sorted(placed, key=_first), key=_first))
    late = not kept_pace(view)
    additions = tuple(_addition(item, view, late) for item in view.standing("add"))
    if late and any(addition.minutes is None for addition in additions):
        notes.append('Typed afterwards: when the phases went in is not known. Say it with add(..., at="44 min").')
    return CoolingLog(
        view.name, points, additions, _room(view), view.combined_at, tuple(notes), head_until_min=_head_until(view)
    )


def _first(pair: tuple[float, float]) -> float:
    return pair[0]


def _after_combining(view: BatchView) -> list[tuple[float, float]]:
    temps = [item.body.get("temps_c", {}).get(_AFTER) for item in view.standing("combine")[-1:]]
    return [(0.0, float(temp)) for temp in temps if temp]


def _head_until(view: BatchView) -> float | None:
    """How long the head ran from combining on. [min]"""
    ran = [item.body["minutes"] for item in view.standing("combine")[-1:] if item.body.get("minutes")]
    return float(ran[0]) if ran else None


def minutes_after_combining(item: Effective, view: BatchView) -> float | None:
    """Minutes after combining: as typed, else by the clock; None where no combining was recorded. [min]

    Parameters
    ----------
    item : Effective   An entry of the batch.
    view : BatchView   The batch.
    """
    if item.body.get("minutes_after"):
        return float(item.body["minutes_after"])
    return _clock_minutes(item, view)


def _clock_minutes(item: Effective, view: BatchView) -> float | None:
    if not view.combined_at:
        return None
    gap = datetime.fromisoformat(item.measured_at) - datetime.fromisoformat(view.combined_at)
    return gap.total_seconds() / 60


def kept_pace(view: BatchView) -> bool:
    """Whether every temperature with a typed time was entered at about that time.

    Parameters
    ----------
    view : BatchView   With its cooling log.
    """
    typed = [item for item in view.standing("temperature") if item.body.get("minutes_after")]
    lags = (abs(_clock_minutes(item, view) - float(item.body["minutes_after"])) for item in typed if view.combined_at)
    return all(lag <= _KEPT_PACE_MIN for lag in lags)


def _addition(item: Effective, view: BatchView, late: bool) -> CoolAddition:
    body = item.body
    known = body.get("minutes_after") or body.get("at") or not late
    temp = body.get("temp_c")
    materials = tuple(line.material for line in view.formula.phase(body["phase"]).lines)
    minutes = minutes_after_combining(item, view) if known else None
    return CoolAddition(body["phase"], minutes, float(temp) if temp else None, materials)


def _room(view: BatchView) -> float | None:
    """The last temperature noted of the surroundings: temperature("22 degC", place="room"). [degC]"""
    found = [
        float(item.body["temp_c"])
        for item in view.standing("temperature")
        if item.body.get("place", "").lower() in _ROOMS and item.body.get("temp_c")
    ]
    return found[-1] if found else None


def vessel_of(view: BatchView) -> VesselWall | None:
    """The vessel as its record describes it, its empty mass from the balance where it was weighed; None without one.

    Parameters
    ----------
    view : BatchView   With its equipment.
    """
    items: dict[str, str] = {}
    for item in view.standing("equipment"):
        items |= item.body["items"]
    tares = [float(item.body["tare_g"]) for item in view.standing("gross")]
    if "vessel" not in items:
        return None
    return read_vessel(items["vessel"], empty_g=tares[-1] if tares else None)


def pour_of(view: BatchView, setting_c: float | None = None, setting_from: str = "") -> Pour:
    """The heat balance of a batch from what was weighed and the temperatures read at the pour.

    Parameters
    ----------
    view : BatchView      Phases that are not weighed yet count as meant, temperatures not read as the steps say.
    setting_c : float     Setting temperature measured on another batch of this formula. [degC]
    setting_from : str    Which.

    Raises
    ------
    FormulaError   `pour.nothing`.
    ThermalError   `heat.streams`.
    """
    combined = [item.body for item in view.standing("combine")]
    read = combined[-1].get("temps_c", {}) if combined else {}
    named = {name for body in combined for name in body["phases"]}
    temps = {**planned_temps(view.formula), **{name: float(temp) for name, temp in read.items() if name != _AFTER}}
    phases = [
        PourPhase(phase.name, phase.kind, tuple(_weighed(view, phase.name)), temps.get(phase.name))
        for phase in view.formula.phases
        if (phase.name in named if named else phase.kind in HOT_KINDS) and phase.lines
    ]
    vessel = vessel_of(view)
    return balance_pour(view.name, phases, vessel=vessel, setting_c=setting_c, setting_from=setting_from)


def _weighed(view: BatchView, phase: str) -> list[tuple[Material, float]]:
    masses: dict[str, Decimal] = {}
    forms: dict[str, Material] = {}
    for item in view.standing("weigh"):
        if item.body["phase"] == phase:
            form = material_of(item.body, view.formula)
            forms[form.key] = form
            masses[form.key] = masses.get(form.key, Decimal(0)) + Decimal(item.body["mass_g"])
    for line in view.sheet.lines:
        if line.phase == phase and line.material.key not in masses:
            forms[line.material.key], masses[line.material.key] = line.material, line.target_g
    return [(forms[key], float(mass)) for key, mass in masses.items() if mass > 0]


def read_after_c(view: BatchView) -> float | None:
    """The temperature read after combining all at once; None where none was, or where it was done in steps. [degC]

    Parameters
    ----------
    view : BatchView   With its combination.
    """
    points = _after_combining(view)
    return points[0][1] if points and len(view.standing("combine")) == 1 else None
