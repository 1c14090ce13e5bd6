"""Heat at the scale: how hot the phases meet, the margin above the setting temperature, hold-back water, energy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import ParameterError
from kit.formula.composition import Composition
from kit.formula.thermal import Portion, highest_melt, portions_of, streams_of
from kit.science.heat_balance import (
    Margin,
    MixedTemperature,
    Stream,
    mixed_temperature,
    setting_margin,
)
from kit.science.thermal_facts import heat_capacity_of
from kit.writeup.scale_report_vessel import WHERE, Vessel

COLD_WATER_J_GK = 4.18  # as the balance takes it: within 0.1 % from 10 to 40 °C
WARM, COLD = "wall as warm as the water phase", "wall at room temperature"
NO_WALL = "wall not counted"


@dataclass(frozen=True)
class HeatConditions:
    """What the heat balance of every vessel rests on.

    Parameters
    ----------
    composition : Composition      As meant.
    temps_c : mapping              Temperature of each hot phase before the pour. [degC]
    room_c : float                 None where not known. [degC]
    hold_back : float              Water held back and added cold, share of the batch; 0 for none. [-]
    hold_back_c : float            Its temperature; None where none is held back. [degC]
    setting_c : float              Where the mixture sets; None where not known. [degC]
    setting_from : str             Where that comes from.
    """

    composition: Composition
    temps_c: dict[str, float]
    room_c: float | None
    hold_back: float
    hold_back_c: float | None
    setting_c: float | None
    setting_from: str


@dataclass(frozen=True)
class Pour:
    """The balance of one vessel in one case.

    Parameters
    ----------
    vessel : Vessel                The vessel.
    case : str                     How warm its wall is.
    mixed : MixedTemperature       After the pour.
    held : MixedTemperature        After the hold-back water too; None without.
    margin : Margin                After the pour, above the setting temperature; None where that is not known.
    held_margin : Margin           After the hold-back water; None likewise.
    """

    vessel: Vessel
    case: str
    mixed: MixedTemperature
    held: MixedTemperature | None
    margin: Margin | None
    held_margin: Margin | None


def phase_streams(
    composition: Composition, phase: str, batch_g: float, temp_c: float, less_water_g: float = 0.0
) -> list[Stream]:
    """A phase as streams of heat: what has a published heat capacity, and what has none.

    Parameters
    ----------
    composition : Composition   As meant.
    phase : str                 Its name.
    batch_g : float             Mass of the whole batch. [g]
    temp_c : float              Of the phase. [degC]
    less_water_g : float        Water of this phase that is held back. [g]
    """
    kept: list[Portion] = []
    for material, mass in portions_of(composition, batch_g, [phase]):
        less = min(less_water_g, mass) if material.is_water else 0.0
        less_water_g -= less
        kept.append((material, mass - less))
    return streams_of(f"phase {phase}", kept, temp_c)


def setting_temperature(composition: Composition) -> tuple[float | None, str]:
    """The highest published melt of a fatty alcohol, and what it rests on. [degC]

    Parameters
    ----------
    composition : Composition   As meant.
    """
    found = highest_melt(portions_of(composition, 100.0))
    if found is None:
        return None, "not known: no melt of a fatty alcohol is published for this formula; measure it"
    name, temp_c = found
    return temp_c, (
        f"the end of the melt of {name}, as published; with a quat it may set hotter, a behenyl network above 60 °C: "
        "measure it on a batch and state setting_temp"
    )


def check_hold_back(composition: Composition, share: Decimal) -> None:
    """Refuse to hold back more water than the water phase has.

    Parameters
    ----------
    composition : Composition   As meant.
    share : Decimal             Of the batch. [%]

    Raises
    ------
    ParameterError   `scale.hold_back`.
    """
    water = 100 * water_share(composition)
    if not 0 < share < water:
        raise ParameterError(
            f"{share} % of the batch cannot be held back as water",
            where=f"{WHERE}, hold_back",
            allowed=f"above 0 and below the water of the water phase, {water:.2f} %",
            mend='hold_back = "20 %"',
            code="scale.hold_back",
        )


def water_share(composition: Composition) -> float:
    """Water weighed as such into the water phase, share of the batch. [-]

    Parameters
    ----------
    composition : Composition   As meant.
    """
    lines = [line for line in composition.lines if line.kind == "water" and line.material.is_water]
    return float(sum((line.pct for line in lines), Decimal(0))) / 100


def pours(conditions: HeatConditions, vessels: Sequence[Vessel]) -> list[Pour]:
    """The balance of every vessel, with a warm and a cold wall where its temperature is not stated.

    Parameters
    ----------
    conditions : HeatConditions   With a temperature for every hot phase.
    vessels : sequence of Vessel  Those with a mass; the bench first.
    """
    return [
        _pour(conditions, vessel, case, wall_c)
        for vessel in vessels
        if vessel.mass_g is not None
        for case, wall_c in _walls(conditions, vessel)
    ]


def _walls(conditions: HeatConditions, vessel: Vessel) -> list[tuple[str, float | None]]:
    if not vessel.wall or vessel.wall_g is None:
        return [(NO_WALL, None)]
    if vessel.wall_c is not None:
        return [(f"wall at {vessel.wall_c:g} °C", vessel.wall_c)]
    cold = [] if conditions.room_c is None else [(COLD, conditions.room_c)]
    return [(WARM, water_phase_c(conditions)), *cold]


def water_phase_c(conditions: HeatConditions) -> float:
    """Temperature of the water phase, which the vessel is taken to have where it is warm. [degC]

    Parameters
    ----------
    conditions : HeatConditions   With its temperature.
    """
    kinds = {line.phase: line.kind for line in conditions.composition.lines}
    return max(temp for name, temp in conditions.temps_c.items() if kinds[name] == "water")


def _pour(conditions: HeatConditions, vessel: Vessel, case: str, wall_c: float | None) -> Pour:
    held_g = conditions.hold_back * vessel.mass_g
    streams = _streams(conditions, vessel, held_g)
    if wall_c is not None:
        streams.append(Stream("vessel", vessel.wall_g, wall_c, heat_capacity_of(vessel.wall)))
    mixed = mixed_temperature(streams)
    held = None
    if held_g:
        cold = Stream("hold-back water", held_g, conditions.hold_back_c, COLD_WATER_J_GK)
        held = mixed_temperature([*streams, cold])
    return Pour(vessel, case, mixed, held, _margin(conditions, mixed), _margin(conditions, held))


def _margin(conditions: HeatConditions, mixed: MixedTemperature | None) -> Margin | None:
    if mixed is None or conditions.setting_c is None:
        return None
    return setting_margin(mixed, conditions.setting_c)


def _streams(conditions: HeatConditions, vessel: Vessel, held_g: float) -> list[Stream]:
    kinds = {line.phase: line.kind for line in conditions.composition.lines}
    water = next((name for name in conditions.temps_c if kinds.get(name) == "water"), "")
    return [
        stream
        for name, temp in conditions.temps_c.items()
        for stream in phase_streams(conditions.composition, name, vessel.mass_g, temp, held_g if name == water else 0.0)
    ]


def most_hold_back(conditions: HeatConditions, cold_c: float) -> float | None:
    """The largest share of the batch that may be held back as cold water with the margin kept; None where not known.

    Parameters
    ----------
    conditions : HeatConditions   With a setting temperature.
    cold_c : float                Of the water held back. [degC]

    Notes
    -----
    Without the vessel, whose wall only helps while it is warm; by halving the range of the share.
    """
    if conditions.setting_c is None:
        return None
    vessel, low, high = Vessel(name="any", mass_g=100.0), 0.0, water_share(conditions.composition)

    def kept(share: float) -> bool:
        streams = _streams(conditions, vessel, share * 100)
        cold = [Stream("hold-back water", share * 100, cold_c, COLD_WATER_J_GK)] if share else []
        return not setting_margin(mixed_temperature([*streams, *cold]), conditions.setting_c).caution

    if not kept(0.0):
        return 0.0
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (middle, high) if kept(middle) else (low, middle)
    return low
