"""What a caller gives, checked once and brought into the form that the solver takes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from kit.science.acidbase_iteration import Problem, limits_of
from kit.science.acidbase_systems import (
    COLDEST_C,
    HOTTEST_C,
    AcidBaseError,
    AcidSystem,
    dissociation_constants,
)
from kit.science.acidbase_terms import Acid, Ions, Water
from kit.science.activity import activity_model, debye_hueckel_slope
from kit.science.water_ionisation import pkw

MOST_MOL_PER_KG = 20.0
"""More of one thing in a kilogram of water is refused: no model of dilute solutions says anything there. [mol/kg]"""

MOST_SHIFT = 5.0
"""A constant shifted further than that is another constant. [-]"""


@dataclass(frozen=True)
class Given:
    """The input of a solve: checked, floats or flat arrays.

    Parameters
    ----------
    systems : tuple of AcidSystem     In the order of `amounts`.
    amounts : tuple                   Total of each. [mol/kg water]
    strong_ions : float or array      [mol/kg water]
    spectators_z2 : float or array    [mol/kg water]
    temp_c : float or array           [degC]
    activity : str                    Name of the model.
    shape : tuple, None               Of the answer; None for floats.
    shifts : tuple                    What is added to every constant of each system; empty: nothing. [-]
    """

    systems: tuple[AcidSystem, ...]
    amounts: tuple
    strong_ions: object
    spectators_z2: object
    temp_c: object
    activity: str
    shape: tuple[int, ...] | None
    shifts: tuple = ()

    def water(self) -> Water:
        """Ion product and activity at the temperature."""
        if isinstance(self.temp_c, float):
            return water_at(self.temp_c, self.activity)
        return _water(self.temp_c, self.activity)

    def acids(self) -> list[Acid]:
        """The systems with their constants at the temperature and zero ionic strength."""
        if isinstance(self.temp_c, float):
            constants = (dissociation_constants(system, self.temp_c, self.activity) for system in self.systems)
        else:
            constants = (
                tuple(10.0**-value for value in system.pka_at(self.temp_c, self.activity)) for system in self.systems
            )
        if self.shifts:
            factors = [10.0**-shift for shift in self.shifts]
            constants = (
                tuple(value * factor for value in values) for values, factor in zip(constants, factors, strict=True)
            )
        return [
            Acid(system.charge, values, amount)
            for system, values, amount in zip(self.systems, constants, self.amounts, strict=True)
        ]

    def ions(self) -> Ions:
        """The ions that do not react, parted by sign."""
        size = abs(self.strong_ions)
        return Ions(0.5 * (size + self.strong_ions), 0.5 * (size - self.strong_ions), 0.5 * (size + self.spectators_z2))

    def problem(self) -> Problem:
        """What the solver takes."""
        water, acids, ions = self.water(), self.acids(), self.ions()
        return Problem(water, acids, ions, limits_of(water, acids, ions))


@lru_cache(maxsize=1024)
def water_at(temp_c: float, activity: str) -> Water:
    """Ion product and activity at one temperature."""
    return _water(temp_c, activity)


def _water(temp_c, activity: str) -> Water:
    model = activity_model(activity)
    return Water(10.0 ** -pkw(temp_c), model.slope * debye_hueckel_slope(temp_c) * math.log(10), model.linear)


def read_input(
    totals: Mapping, strong_ions, temp_c, activity: str, spectators_z2, pka_shifts: Mapping | None = None
) -> Given:
    """Check what a caller gives.

    Parameters
    ----------
    totals, strong_ions, temp_c, activity, spectators_z2, pka_shifts   As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   `ph.amount`, `ph.temperature`, `ph.name`, `ph.shape`.
    ActivityError   `ph.activity`.
    """
    activity_model(activity)
    systems = tuple(totals)
    _check_names(systems)
    shifts = [pka_shifts.get(system, 0.0) for system in systems] if pka_shifts else []
    values = [*shifts, *totals.values(), strong_ions, spectators_z2, temp_c]
    shape = None
    if all(type(value) is float for value in values):
        pass
    elif any(getattr(value, "ndim", 0) or isinstance(value, (list, tuple)) for value in values):
        values, shape = _flattened(values)
    else:
        values = [_number(value) for value in values]
    _check_range(values[-1], COLDEST_C, HOTTEST_C, "The temperature", "degC", "ph.temperature")
    shifts, amounts = values[: len(shifts)], values[len(shifts) : -3]
    for shift in shifts:
        _check_range(shift, -MOST_SHIFT, MOST_SHIFT, "The shift of a pKa", "pH units")
    for name, value in zip((*(system.name for system in systems), "spectators"), (*amounts, values[-2]), strict=True):
        _check_range(value, 0.0, MOST_MOL_PER_KG * (36 if name == "spectators" else 1), f"The amount of {name}")
    _check_range(values[-3], -MOST_MOL_PER_KG, MOST_MOL_PER_KG, "The net charge of the strong ions")
    return Given(systems, tuple(amounts), values[-3], values[-2], values[-1], activity, shape, tuple(shifts))


def _check_names(systems: tuple) -> None:
    for system in systems:
        if not isinstance(system, AcidSystem):
            raise AcidBaseError(
                f"{system!r} is no AcidSystem", where="totals", allowed="{AcidSystem: mol/kg}", code="ph.name"
            )
    names = {system.name for system in systems}
    if len(names) < len(systems):
        raise AcidBaseError(
            f"Two systems of one mixture have the same name: {', '.join(sorted(system.name for system in systems))}",
            where="totals",
            mend="name them apart, or add their amounts up if they are the same",
            code="ph.name",
        )


def _number(value) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        raise AcidBaseError(f"{value!r} is no number", where="acid-base solve", code="ph.amount") from None


def _flattened(values: list) -> tuple[list, tuple[int, ...]]:
    """Single numbers stay floats, all else becomes a flat array of the common shape."""
    import numpy as np

    try:
        found = [np.asarray(value, dtype=float) for value in values]
        shape = np.broadcast_shapes(*(array.shape for array in found))
    except (TypeError, ValueError) as wrong:
        raise AcidBaseError(
            f"The inputs do not fit together: {wrong}",
            where="acid-base solve",
            allowed="numbers, or arrays that broadcast",
            code="ph.shape",
        ) from None
    flat = [
        float(array) if array.ndim == 0 else np.ascontiguousarray(np.broadcast_to(array, shape)).ravel()
        for array in found
    ]
    size = math.prod(shape)
    flat[-3], flat[-2] = (value if getattr(value, "ndim", 0) else np.full(size, value) for value in flat[-3:-1])
    return flat, shape


def _check_range(value, low: float, high: float, what: str, unit: str = "mol/kg", code: str = "ph.amount") -> None:
    if isinstance(value, float):
        wrong = None if low <= value <= high else value
    else:
        outside = ~((value >= low) & (value <= high))
        wrong = value[outside][0] if outside.any() else None
    if wrong is not None:
        raise AcidBaseError(
            f"{what} is {wrong:g} {unit}", where="acid-base solve", allowed=f"{low:g} to {high:g} {unit}", code=code
        )
