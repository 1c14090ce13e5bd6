"""The heat balance of hot phases with the temperatures of their steps, their vessel and water held back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from kit.errors import FormulaError
from kit.formula.model import FormulaModel
from kit.formula.pour import HOT_KINDS, ROOM_C, HoldBack, Pour, PourPhase
from kit.formula.pour_findings import pour_findings
from kit.formula.pour_heating import phase_energy
from kit.formula.thermal import portions_of
from kit.formula.vessel_wall import VesselWall
from kit.science.heat_balance import mixed_temperature


def planned_phases(
    formula: FormulaModel, batch_g: float, temps_c: Mapping[str, float] | None = None
) -> list[PourPhase]:
    """The hot phases of a formula with the temperatures that its steps give them.

    Parameters
    ----------
    formula : FormulaModel   As meant.
    batch_g : float          Mass to make. [g]
    temps_c : mapping        Temperatures that go before those of the steps, by phase. [degC]
    """
    composition, planned = formula.composition(), {**planned_temps(formula), **(temps_c or {})}
    return [
        PourPhase(
            phase.name, phase.kind, tuple(portions_of(composition, batch_g, [phase.name])), planned.get(phase.name)
        )
        for phase in formula.phases
        if phase.kind in HOT_KINDS and any(line.qs or line.pct for line in phase.lines)
    ]


def planned_temps(formula: FormulaModel) -> dict[str, float]:
    """Temperature of each phase at the pour: of the step that combines, else the last it is heated to. [degC]

    Parameters
    ----------
    formula : FormulaModel   With its steps.
    """
    found: dict[str, float] = {}
    for step in formula.steps:
        if step.do == "heat" and step.phase and step.temp_c is not None:
            found[step.phase] = float(step.temp_c)
        if step.do == "combine":
            found |= {name: float(temp) for name, temp in step.temps_c}
    return found


def balance_pour(
    title: str,
    phases: Sequence[PourPhase],
    *,
    vessel: VesselWall | None = None,
    vessel_c: float | None = None,
    setting_c: float | None = None,
    setting_from: str = "",
    hold_back: HoldBack | None = None,
    planned_after_c: float | None = None,
) -> Pour:
    """The heat balance of a pour, and what to see to before it.

    Parameters
    ----------
    title : str                      Formula or batch.
    phases : sequence of PourPhase   What is combined.
    vessel : VesselWall              The vessel it is combined in.
    vessel_c : float                 Its temperature; that of the water phase, heated in it, where omitted. [degC]
    setting_c : float                Setting temperature of this formula, measured; never assumed. [degC]
    setting_from : str               Where it was measured.
    hold_back : HoldBack             Water kept cold, taken out of the water phase.
    planned_after_c : float          Temperature after combining by the steps. [degC]

    Raises
    ------
    FormulaError   `pour.hold_back` where no water phase holds that much water, or for none;
                   `pour.nothing` without hot phases.
    ThermalError   `heat.streams`.
    """
    if not phases:
        raise FormulaError(
            "there is no water phase and no oil phase to combine",
            where=title,
            mend='mark the phases: kind = "water", kind = "oil"',
            code="pour.nothing",
        )
    poured = list(phases) if hold_back is None else _without(phases, hold_back, title)
    if any(phase.temp_c is None for phase in poured):
        return Pour(title, tuple(poured), None, vessel=vessel, setting_c=setting_c, setting_from=setting_from)
    hot = [stream for phase in poured for stream in phase.streams()]
    warm_c = _vessel_temp(poured) if vessel_c is None else vessel_c
    wall = vessel.stream(warm_c) if vessel is not None else None
    mixed = mixed_temperature([*hot, *([wall] if wall else [])])
    in_cold = mixed_temperature([*hot, vessel.stream(ROOM_C)]) if wall and warm_c > ROOM_C else None
    after = mixed_temperature([*hot, *([wall] if wall else []), hold_back.stream()]) if hold_back else None
    pour = Pour(
        title,
        tuple(poured),
        mixed,
        in_cold,
        after,
        vessel,
        warm_c,
        setting_c,
        setting_from,
        planned_after_c,
        energy_kj=tuple((phase.name, _energy(phase)) for phase in poured),
    )
    return replace(pour, findings=pour_findings(pour))


def _vessel_temp(phases: Sequence[PourPhase]) -> float:
    """The water phase is heated in the vessel; without one the first phase is."""
    return next((phase for phase in phases if phase.kind == "water"), phases[0]).temp_c


def _energy(phase: PourPhase) -> tuple[float, float]:
    needed = phase_energy(phase, min(ROOM_C, phase.temp_c))
    return needed.low_kj, needed.high_kj


def _without(phases: Sequence[PourPhase], held: HoldBack, title: str) -> list[PourPhase]:
    """The phases with the hold-back water taken out of the first that has as much."""
    if held.mass_g <= 0:
        raise FormulaError(
            f"{held.mass_g:g} g of hold-back water is none",
            where=title,
            allowed="above 0 g",
            mend='hold_back="20 % of the batch"; leave it out where none is held back',
            code="pour.hold_back",
        )
    found, left = [], held.mass_g
    for phase in phases:
        portions = []
        for material, mass_g in phase.portions:
            taken = left if material.is_water and mass_g >= left else 0.0
            left -= taken
            portions.append((material, mass_g - taken))
        found.append(PourPhase(phase.name, phase.kind, tuple(portions), phase.temp_c))
    if left:
        raise FormulaError(
            f"no hot phase holds {held.mass_g:g} g of water to hold back",
            where=title,
            allowed="less than the water of the water phase",
            mend="hold back less",
            code="pour.hold_back",
        )
    return found
