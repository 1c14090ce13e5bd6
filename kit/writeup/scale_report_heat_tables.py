"""Heat at the scale in tables: the balance before the pour with its cautions, hold-back water, energy and time."""

from __future__ import annotations

from collections.abc import Sequence

from kit.figures.heat_balance import PourTemperatures
from kit.formula.thermal import ingredient_masses, portions_of
from kit.science.heat_balance import LOSSES, MARGIN_C, Margin, Stream
from kit.science.heating import HeatNeeded, heat_needed, heating_time
from kit.science.number_text import short
from kit.science.thermal_facts import heat_capacity_of, melt_of
from kit.show import Block, Cell, Table, listing
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.scale_report_heat import (
    COLD,
    WARM,
    HeatConditions,
    Pour,
    most_hold_back,
    phase_streams,
    water_phase_c,
)
from kit.writeup.scale_report_heating_time import TIME_NOTE, hot_plate_note, time_with_losses
from kit.writeup.scale_report_vessel import Vessel
from kit.writeup.scale_report_vessels import NOT_STATED

_KJ_PER_KWH = 3600
_ENERGY = ("vessel", "energy, MJ", "range, MJ", "of it melting, MJ", "kWh", "heater, W")
_CARRIERS = ("Aqua", "Isopropyl Alcohol")


def pour_block(found: Sequence[Pour], conditions: HeatConditions) -> Block:
    """Cautions first, then the table of the balance.

    Parameters
    ----------
    found : sequence of Pour       From `pours`.
    conditions : HeatConditions    What they rest on.
    """
    rows = [_pour_row(pour) for pour in found]
    unknown = sorted({name for pour in found for name in pour.mixed.unknown})
    share = min((pour.mixed.known_share for pour in found), default=1.0)
    notes = [f"Setting temperature: {_setting_words(conditions)}", LOSSES.capitalize()]
    if unknown:
        notes.append(f"Heat capacity known for {100 * share:.0f} % of the mass; the ranges hold whatever the rest has")
    held = any(pour.held for pour in found)
    heads = ["vessel", "wall", "after the pour, °C", "range, °C", f"above {_shown(conditions.setting_c)}, °C"]
    heads += ["after hold-back, °C", "above it then, °C"] if held else []
    table = Table(
        heads, rows, title="Heat balance before the pour", note=". ".join(notes) + ".", numeric=frozenset(range(2, 7))
    )
    cautions = _pour_cautions(found)
    return Block((*((listing("CAUTION before the batch is made", cautions),) if cautions else ()), table))


def _shown(setting_c: float | None) -> str:
    return "setting" if setting_c is None else f"{setting_c:g}"


def _setting_words(conditions: HeatConditions) -> str:
    if conditions.setting_c is None:
        return conditions.setting_from
    return f"{conditions.setting_c:g} °C, {conditions.setting_from}"


def _pour_row(pour: Pour) -> tuple[object, ...]:
    row = [
        pour.vessel.name,
        pour.case,
        f"{pour.mixed.temp_c:.1f}",
        f"{pour.mixed.low_c:.1f} to {pour.mixed.high_c:.1f}",
        _margin_cell(pour.margin),
    ]
    if pour.held:
        row += [f"{pour.held.temp_c:.1f}", _margin_cell(pour.held_margin)]
    return tuple(row)


def _margin_cell(margin: Margin | None) -> object:
    if margin is None:
        return "not known"
    return Cell(f"{margin.above_c:.1f}", "flag") if margin.caution else f"{margin.above_c:.1f}"


def _pour_cautions(found: Sequence[Pour]) -> list[str]:
    said = []
    for pour in found:
        for margin, when in ((pour.margin, "after the pour"), (pour.held_margin, "after the hold-back water")):
            if margin is not None and margin.caution:
                said.append(f"{pour.vessel.name}, {pour.case}, {when}: {margin.caution}.")
    return said


def drawn(found: Sequence[Pour], conditions: HeatConditions, after_c: float | None) -> list[PourTemperatures]:
    """What the figure draws.

    Parameters
    ----------
    found : sequence of Pour       From `pours`, the bench first.
    conditions : HeatConditions    What they rest on.
    after_c : float                As read at the bench after the pour; None where it was not. [degC]
    """
    short_case = {WARM: "warm wall", COLD: "cold wall"}
    return [
        PourTemperatures(
            f"{pour.vessel.name}, {short_case.get(pour.case, pour.case)}",
            tuple((f"phase {name}", temp) for name, temp in conditions.temps_c.items()),
            pour.mixed.temp_c,
            pour.mixed.low_c,
            pour.mixed.high_c,
            pour.held.temp_c if pour.held else None,
            after_c if pour.vessel is found[0].vessel else None,
        )
        for pour in found
    ]


def hold_back_words(conditions: HeatConditions) -> str:
    """How much water could be held back, or what the share asked for does.

    Parameters
    ----------
    conditions : HeatConditions   What the balance rests on.
    """
    cold_c = conditions.hold_back_c if conditions.hold_back_c is not None else conditions.room_c
    if conditions.setting_c is None or cold_c is None:
        return "Hold-back water: room or water temperature, or the setting temperature, NOT RECORDED; not worked out."
    most = most_hold_back(conditions, cold_c)
    if most == 0:
        return f"Hold-back water: none, the margin of {MARGIN_C:g} °C is not kept even without it."
    return (
        f"Hold-back water at {short(cold_c)} °C: up to {100 * most:.0f} % of the batch keeps the mixture "
        f"{MARGIN_C:g} °C above {conditions.setting_c:g} °C, the wall left out. More of it is a quench through the "
        "setting, and grains if the emulsion is not finished. The share is the same at every size; what changes is how "
        "fast it can be stirred in."
    )


def energy_table(conditions: HeatConditions, vessels: Sequence[Vessel]) -> Table:
    """Energy to bring phases and wall from the room to their temperatures, and the time of the heater, least and range.

    Parameters
    ----------
    conditions : HeatConditions    What it rests on.
    vessels : sequence of Vessel   The bench first.
    """
    rows = [_energy_row(conditions, vessel) for vessel in vessels if vessel.mass_g is not None]
    cold = "" if conditions.room_c is None else f" from {short(conditions.room_c)} °C"
    return Table(
        (*_ENERGY, "time, at least", "time with losses"),
        rows,
        title=f"Energy and time to heat the phases{cold}",
        note=f"Water held back is not heated. {_not_counted(conditions)}{TIME_NOTE}{hot_plate_note(tuple(vessels))}",
        numeric=frozenset({1, 2, 3, 4, 5}),
    )


def _not_counted(conditions: HeatConditions) -> str:
    """Parts of the oil phases whose heat of melting is not published: some of them are liquid and have none."""
    oil = [line.phase for line in conditions.composition.lines if line.kind == "oil"]
    parts = ingredient_masses(portions_of(conditions.composition, 100.0, oil)) if oil else {}
    without = sorted(name for name in parts if melt_of(name, 1.0) is None and name not in _CARRIERS)
    if not without:
        return ""
    return f"Heat of melting not published, and not counted, of {', '.join(without)}: what melts of them needs more. "


def _energy_row(conditions: HeatConditions, vessel: Vessel) -> tuple[object, ...]:
    if conditions.room_c is None:
        return (vessel.name, "room NOT RECORDED", "–", "–", "–", _heater(vessel), "–", "–")
    parts = _heats(conditions, vessel)
    middle, low, high, latent = (
        sum(getattr(part, name) for part in parts) for name in ("energy_kj", "low_kj", "high_kj", "latent_kj")
    )
    whole = HeatNeeded(middle, low, high, latent, 1.0, ())
    return (
        vessel.name,
        short(middle / 1000),
        f"{short(low / 1000)} to {short(high / 1000)}",
        short(latent / 1000) if latent else "not known",
        short(middle / _KJ_PER_KWH),
        _heater(vessel),
        *_times(conditions, whole, vessel),
    )


def _heats(conditions: HeatConditions, vessel: Vessel) -> list[HeatNeeded]:
    """Energy of each phase, then of the wall to the temperature of the water phase where it is known."""
    kinds = {line.phase: line.kind for line in conditions.composition.lines}
    held_g = conditions.hold_back * vessel.mass_g
    found = []
    for name, temp in conditions.temps_c.items():
        if temp <= conditions.room_c:
            continue
        less = held_g if kinds[name] == "water" else 0.0
        streams = phase_streams(conditions.composition, name, vessel.mass_g, conditions.room_c, less)
        found.append(heat_needed(streams, temp))
    if vessel.wall and vessel.wall_g is not None:
        wall = Stream("vessel", vessel.wall_g, conditions.room_c, heat_capacity_of(vessel.wall))
        found.append(heat_needed([wall], max(water_phase_c(conditions), conditions.room_c)))
    return found


def _heater(vessel: Vessel) -> object:
    if vessel.heater_w is not None:
        return short(vessel.heater_w, 4)
    return NOT_RECORDED if vessel.name == "bench" else NOT_STATED


def _times(conditions: HeatConditions, needed: HeatNeeded, vessel: Vessel) -> tuple[str, str]:
    """The least time, and with losses."""
    if vessel.heater_w is None:
        return "–", "–"
    target = max(conditions.temps_c.values())
    least = heating_time(needed, conditions.room_c, target, vessel.heater_w).words
    return least, time_with_losses(needed, vessel, conditions.room_c, target)
