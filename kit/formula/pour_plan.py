"""The heat of a pour asked for in the words of the bench: a batch size, a vessel, water held back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from kit.formula.heater import read_heater
from kit.formula.hold_back import hold_back_g
from kit.formula.model import FormulaModel
from kit.formula.pour import HoldBack, Pour
from kit.formula.pour_balance import balance_pour, planned_phases
from kit.formula.pour_heating import heat_phases
from kit.formula.setting import SettingTemperature
from kit.formula.vessel_wall import VesselWall, read_vessel
from kit.units import read

_HELD_COLD = "20 degC"


def plan_pour(
    formula: FormulaModel,
    batch: str = "400 g",
    *,
    vessel: str = "",
    vessel_mass: str = "",
    vessel_temp: str = "",
    temps: Mapping[str, str] | None = None,
    setting: str | SettingTemperature = "",
    hold_back: str = "",
    hold_back_temp: str = _HELD_COLD,
    heater: str = "",
    loss_rate: str = "",
) -> Pour:
    """Mixing temperature of the hot phases and its margin, before the batch is made; energy and time to heat them.

    Parameters
    ----------
    formula : FormulaModel   As meant; temperatures are those of its steps.
    batch : str              Mass to make.
    vessel : str             "600 mL glass beaker, 180 g": wall and empty mass; not counted where one is not told.
    vessel_mass : str        Its empty mass, where the description does not hold it.
    vessel_temp : str        Its temperature; that of the water phase, heated in it, where omitted.
    temps : mapping          Temperatures to try instead of those of the steps: {"B": "85 degC"}.
    setting : str            Setting temperature measured on an earlier batch of this formula, as text or as the lab
                             book gives it; never assumed.
    hold_back : str          Water of the water phase that is kept cold and added after the pour, "80 g" or "20 % of
                             the batch".
    hold_back_temp : str     Its temperature.
    heater : str             "1 kW", or "1 kW, 50 %" with the share of it that reaches the batch, measured once: the
                             result then holds energy and time of each phase.
    loss_rate : str          Rate constant of cooling in that vessel, from a cooling log, "0.02 /min"; without it the
                             time is the least.

    Raises
    ------
    FormulaError   `pour.nothing`, `pour.hold_back`, `pour.heater`; `formula.qs_two`.
    UnitError      For text that cannot be read.
    """
    where = "heat()"
    given = {name: float(read(text, "degC", where=f"{where}, {name}")) for name, text in (temps or {}).items()}
    for name in given:
        formula.phase(name)
    batch_g = float(read(batch, "g", where=f"{where}, batch"))
    held = None
    if hold_back:
        mass_g = hold_back_g(hold_back, batch_g, f"{where}, hold_back")
        held = HoldBack(mass_g, float(read(hold_back_temp, "degC", where=f"{where}, hold_back_temp")))
    setting_c, setting_from = read_setting(setting, where)
    after = next((dict(step.temps_c).get("after") for step in formula.steps if step.do == "combine"), None)
    wall, source = _vessel(vessel, vessel_mass), read_heater(heater, loss_rate)
    pour = balance_pour(
        formula.title,
        planned_phases(formula, batch_g, given),
        vessel=wall,
        vessel_c=float(read(vessel_temp, "degC", where=f"{where}, vessel_temp")) if vessel_temp else None,
        setting_c=setting_c,
        setting_from=setting_from,
        hold_back=held,
        planned_after_c=None if after is None or given or held else float(after),
    )
    return pour if source is None else replace(pour, heating=heat_phases(pour.phases, source, wall))


def read_setting(setting: str | SettingTemperature, where: str) -> tuple[float | None, str]:
    """A setting temperature and where it was measured; None where it is not known. [degC]

    Parameters
    ----------
    setting : str or SettingTemperature   "58 degC", or what the lab book found; empty for not known.
    where : str                           For an error.

    Raises
    ------
    UnitError   For text that cannot be read.
    """
    if isinstance(setting, SettingTemperature):
        return setting.temp_c, f"measured on {setting.batches}" if setting.found else ""
    return (float(read(setting, "degC", where=f"{where}, setting")), "as given") if setting else (None, "")


def _vessel(text: str, mass: str) -> VesselWall | None:
    if not (text or mass):
        return None
    vessel = read_vessel(text)
    return replace(vessel, mass_g=float(read(mass, "g", where="heat(), vessel_mass"))) if mass else vessel
