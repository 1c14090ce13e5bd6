"""Stirring at the scale: one quantity kept, what the others become, Reynolds number and power as a range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.figures.scale_up import ScaleRatio
from kit.science.mixing import TURBULENT_ABOVE, Liquid, regime
from kit.science.number_text import short
from kit.science.scale_rules import (
    ENERGY_PER_MASS,
    GAP_SHEAR,
    POWER_PER_VOLUME,
    REYNOLDS,
    RULES,
    TIP_SPEED,
    TURNOVERS,
    ScaleTable,
    Stirring,
    scale_up,
)
from kit.science.stirrers import Stirrer
from kit.show import Block, Cell, Table, listing
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.scale_report_vessel import Vessel

_ONE_PA_S = 1.0  # stands for a viscosity that is not known; nothing that depends on it is shown
_ONE_G_ML = 1.0  # likewise for a density
_NEEDS_VISCOSITY = {REYNOLDS}
_NEEDS_DENSITY = {REYNOLDS, POWER_PER_VOLUME, ENERGY_PER_MASS, TURNOVERS}
_UNITS = {
    TIP_SPEED: "m/s",
    POWER_PER_VOLUME: "W/L",
    ENERGY_PER_MASS: "J/kg",
    REYNOLDS: "",
    TURNOVERS: "",
    GAP_SHEAR: "1/s",
}
_PER_LITRE = 1e-3
_HOW = 'such as "head: rotor-stator 50 mm; gap: 0.2 mm" in to_vessels or from_vessel:'


@dataclass(frozen=True)
class Scaled:
    """One vessel: the table on the rule, or why there is none.

    Parameters
    ----------
    vessel : Vessel          As stated.
    table : ScaleTable       None where it cannot be worked out.
    why_not : str            What is lacking, in words.
    at_stated : Stirring     At the speed stated for it; None where none was.
    """

    vessel: Vessel
    table: ScaleTable | None
    why_not: str = ""
    at_stated: Stirring | None = None


@dataclass(frozen=True)
class MixingPlan:
    """The bench and every vessel on one rule.

    Parameters
    ----------
    rule : str                     One of `RULES`.
    bench : Vessel                 As recorded or stated.
    place : str                    "head" or "stirrer": the machine that the rule is about.
    scaled : tuple of Scaled       In the order given.
    viscosity_mpa_s : float        Where the process runs; None where not stated. [mPa·s]
    density_g_ml : float           None where not known. [g/mL]
    flow_index : float             1 for a liquid that does not thin. [-]
    """

    rule: str
    bench: Vessel
    place: str
    scaled: tuple[Scaled, ...]
    viscosity_mpa_s: float | None
    density_g_ml: float | None
    flow_index: float

    def known(self, quantity: str) -> bool:
        """Whether a quantity has a value and not a ratio alone.

        Parameters
        ----------
        quantity : str   One of `RULES`.
        """
        lacks_viscosity = quantity in _NEEDS_VISCOSITY and self.viscosity_mpa_s is None
        lacks_density = quantity in _NEEDS_DENSITY and self.density_g_ml is None
        return not (lacks_viscosity or lacks_density)


def plan_mixing(
    bench: Vessel,
    vessels: Sequence[Vessel],
    rule: str,
    *,
    place: str = "head",
    viscosity_mpa_s: float | None = None,
    density_g_ml: float | None = None,
    flow_index: float = 1.0,
) -> MixingPlan:
    """Every vessel on the rule.

    Parameters
    ----------
    bench : Vessel                What is scaled.
    vessels : sequence of Vessel  What it is scaled to.
    rule : str                    One of `RULES`.
    place : str                   "head" or "stirrer".
    viscosity_mpa_s : float       Viscosity, or consistency of a liquid that thins, at the temperature of stirring.
                                  [mPa·s]
    density_g_ml : float          [g/mL]
    flow_index : float            [-]

    Notes
    -----
    Without viscosity or density their ratios are still told, as both are alike in the two vessels; the values are not.
    """
    liquid = Liquid(
        (density_g_ml or _ONE_G_ML) * 1000,
        _ONE_PA_S if viscosity_mpa_s is None else viscosity_mpa_s / 1000,
        1.0 if viscosity_mpa_s is None else flow_index,
    )
    scaled = tuple(_scaled(bench, vessel, rule, place, liquid) for vessel in vessels)
    return MixingPlan(rule, bench, place, scaled, viscosity_mpa_s, density_g_ml, flow_index)


def _scaled(bench: Vessel, vessel: Vessel, rule: str, place: str, liquid: Liquid) -> Scaled:
    lacking = [*_lacking(bench, place, "bench", with_run=True), *_lacking(vessel, place, vessel.name, with_run=False)]
    if lacking:
        return Scaled(vessel, None, "; ".join(lacking))
    small = _stirring(bench, getattr(bench, place), bench.rpm, bench.minutes, liquid)
    large = getattr(vessel, place)
    minutes = vessel.minutes or bench.minutes
    try:
        table = scale_up(small, large, _volume_m3(vessel, liquid), rule, minutes=minutes)
    except KitError as error:
        return Scaled(vessel, None, f"{error.what}: {error.mend}")
    at_stated = None if vessel.rpm is None else _stirring(vessel, large, vessel.rpm, minutes, liquid)
    return Scaled(vessel, table, "", at_stated)


def _lacking(vessel: Vessel, place: str, name: str, with_run: bool) -> list[str]:
    asked = [(getattr(vessel, place) is None, f"diameter of the {place}"), (vessel.mass_g is None, "mass")]
    if with_run:
        asked += [(vessel.rpm is None, "speed"), (vessel.minutes is None, "time of stirring")]
    return [f"{what} of {name} not known" for absent, what in asked if absent]


def _stirring(vessel: Vessel, found: Stirrer, rpm: float, minutes: float, liquid: Liquid) -> Stirring:
    return Stirring(found, rpm, minutes, _volume_m3(vessel, liquid), liquid)


def _volume_m3(vessel: Vessel, liquid: Liquid) -> float:
    return vessel.mass_g / 1000 / liquid.density_kg_m3


def scale_table(plan: MixingPlan) -> Block:
    """The rule, and beside each value how it moves against the bench."""
    done = [one for one in plan.scaled if one.table]
    refused = [f"{one.vessel.name}: {one.why_not}" for one in plan.scaled if not one.table]
    if not done:
        return Block((listing(f"No speed can be worked out. State what is lacking, {_HOW}", refused),))
    heads = ["quantity", "bench"]
    for one in done:
        heads += [f"{one.vessel.name}, on the rule", "against the bench"]
        heads += [f"{one.vessel.name}, at {short(one.at_stated.rpm, 4)} rpm"] if one.at_stated else []
    rows = [_row(plan, done, name) for name in ("diameter", "speed", "time", "mass", *RULES)]
    table = Table(
        heads,
        rows,
        title=f"Scale-up of the {'high-shear head' if plan.place == 'head' else 'stirrer'} on one rule: "
        f"{plan.rule} kept",
        note=f"{_not_known(plan)}One rule keeps one quantity; the others move as printed, and all of them cannot be "
        "kept together. Power and turnovers are the middles of ranges; ratios hold for heads of the same shape.",
        numeric=frozenset(range(1, len(heads))),
    )
    said = [str(vessel_words(one)) for one in done]
    lacking = (listing(f"Not worked out. State what is lacking, {_HOW}", refused),) if refused else ()
    return Block((*said, table, *lacking))


def vessel_words(one: Scaled) -> str:
    """The sentence of a vessel: what is kept, at which speed, and what moves most."""
    moved = [row for row in one.table.rows[3:] if not row.kept and row.ratio is not None]
    most = max(moved, key=lambda row: abs(math.log(row.ratio)), default=None)
    tail = f"; {most.quantity} moves most, {most.words}" if most else ""
    return f"{one.vessel.name}: {one.table.rule} is kept at {short(one.table.large.rpm, 4)} rpm{tail}."


def _row(plan: MixingPlan, done: Sequence[Scaled], name: str) -> tuple[object, ...]:
    small = done[0].table.small
    cells: list[object] = [_named(name, plan.rule), _value(plan, small, name)]
    for one in done:
        cells += [_value(plan, one.table.large, name), _moved(one.table, name)]
        cells += [_value(plan, one.at_stated, name)] if one.at_stated else []
    return tuple(cells)


def _named(name: str, rule: str) -> object:
    unit = {"diameter": "mm", "speed": "rpm", "time": "min", "mass": "kg", **_UNITS}[name]
    words = f"{name}, {unit}" if unit else name
    return Cell(f"{words} (kept)", "strong") if name == rule else words


def _value(plan: MixingPlan, stirring: Stirring, name: str) -> object:
    plain = {
        "diameter": stirring.stirrer.diameter_m * 1000,
        "speed": stirring.rpm,
        "time": stirring.minutes,
        "mass": stirring.volume_m3 * stirring.liquid.density_kg_m3,
    }
    if name in plain:
        return short(plain[name], 4)
    value = stirring.value(name)
    if value is None:
        return "not known"
    if not plan.known(name):
        return NOT_RECORDED
    return short(value * (_PER_LITRE if name == POWER_PER_VOLUME else 1.0))


def _moved(table: ScaleTable, name: str) -> str:
    if name == "diameter":
        return f"× {short(table.large.stirrer.diameter_m / table.small.stirrer.diameter_m)}"
    row = table.row("volume" if name == "mass" else name)
    if row.ratio is None:
        return "–"
    return row.words if row.words in ("kept", "unchanged") else f"× {short(row.ratio)}"


def _not_known(plan: MixingPlan) -> str:
    absent = []
    if plan.density_g_ml is None:
        absent.append("density")
    if plan.viscosity_mpa_s is None:
        absent.append("viscosity at the temperature of stirring")
    if not absent:
        return ""
    return f"The {' and the '.join(absent)} NOT RECORDED: taken to be alike in all vessels, so ratios alone are told. "


def power_table(plan: MixingPlan) -> Block:
    """Reynolds number, kind of flow, power and energy of bench and vessels, as ranges."""
    first = next((one.table for one in plan.scaled if one.table), None)
    if first is None:
        return Block(())
    stirred = [("bench", first.small)] + [(one.vessel.name, one.table.large) for one in plan.scaled if one.table]
    rows, limits = [], []
    for name, stirring in stirred:
        number = stirring.value(REYNOLDS) if plan.known(REYNOLDS) else None
        rows.append((name, short(number) if number else NOT_RECORDED, regime(number), *_power(plan, stirring, limits)))
    table = Table(
        ("vessel", "Reynolds number", "flow", "power, W", "energy, J/kg"),
        rows,
        title="Reynolds number and power",
        note=_power_note(plan, limits),
        numeric=frozenset({1, 3, 4}),
    )
    return Block((table,))


def _power(plan: MixingPlan, stirring: Stirring, limits: list[str]) -> tuple[object, object]:
    if stirring.stirrer.power_number is None:
        return "power number not known", "not known"
    if plan.density_g_ml is None:
        return Cell("density NOT RECORDED", "flag"), Cell("density NOT RECORDED", "flag")
    try:
        drawn = stirring.power()
    except KitError as error:
        return error.what, "not known"
    limits += [limit for limit in drawn.limits if "Reynolds number" not in limit]
    mass_kg = stirring.volume_m3 * stirring.liquid.density_kg_m3
    return str(drawn.power_w), str(drawn.energy_j_per_kg(stirring.minutes, mass_kg))


def _power_note(plan: MixingPlan, limits: Sequence[str]) -> str:
    said = list(dict.fromkeys(limits))
    if plan.viscosity_mpa_s is None:
        said.append("viscosity while stirring NOT RECORDED: turbulent flow was taken, a thick batch draws more")
    elif any(one.table and one.table.small.value(REYNOLDS) < TURBULENT_ABOVE for one in plan.scaled):
        said.append("below a Reynolds number of 10,000 the power number rises, and the power told is a lower end")
    words = "; ".join(said) or "both are ranges"
    return f"{words[:1].upper()}{words[1:]}. Measure the current of the motor where it matters."


def ratios(plan: MixingPlan) -> list[ScaleRatio]:
    """What the figure draws: every quantity of every vessel over that of the bench."""
    return [
        ScaleRatio(one.vessel.name, row.quantity, row.ratio, row.kept)
        for one in plan.scaled
        if one.table
        for row in one.table.rows
        if row.quantity in RULES and row.ratio is not None
    ]
