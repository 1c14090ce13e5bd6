"""Acids, bases and ampholytes: their constants, the conditions these hold under, and what they are elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from kit.errors import KitError
from kit.science.activity import HELD_AT, activity_model, debye_hueckel_slope
from kit.science.water_ionisation import ZERO_CELSIUS_K

GAS_CONSTANT = 8.314462618
"""CODATA 2018. [J/(mol K)]"""

COLDEST_C, HOTTEST_C = 0.0, 100.0
MOST_STEPS = 8
_LOWEST_PKA, _HIGHEST_PKA = -6.0, 20.0
_MOST_CHARGE = 8


class AcidBaseError(KitError):
    """An acid, a mixture or a target that cannot be worked with."""

    default_code = "ph.invalid"


@dataclass(frozen=True)
class AcidSystem:
    """An acid, a base or an ampholyte with all its forms, which differ by the protons they hold.

    A fully dissociated ion such as sodium is not one: it is counted among the strong ions.

    Parameters
    ----------
    name : str                           Unique within a mixture.
    pka : tuple of float                 Stepwise, of the first proton given up first. [-]
    charge : int                         Of the form that holds all protons: 0 for an acid, 1 for an amine.
    ionic_strength_mol_per_kg : float    At which the constants hold. [mol/kg]
    temp_c : float                       At which they hold. [degC]
    enthalpy_kj_mol : tuple of float     Of each step, positive where heat frees the proton; empty: not known. [kJ/mol]
    heat_capacity_j_mol_k : tuple of float   Change in each step; empty: not known, taken as 0. [J/(mol K)]
    hydrogen : str                       "activity" for mixed constants, which hold the activity of hydrogen and the
                                         concentrations of the other forms; "concentration" for all in concentrations.
                                         No difference at zero ionic strength.

    Raises
    ------
    AcidBaseError   `ph.system`.

    Examples
    --------
    >>> AcidSystem("lactic acid", (3.86,)).pka_at(40.0)
    (3.86,)
    """

    name: str
    pka: tuple[float, ...]
    charge: int = 0
    ionic_strength_mol_per_kg: float = 0.0
    temp_c: float = 25.0
    enthalpy_kj_mol: tuple[float, ...] = ()
    heat_capacity_j_mol_k: tuple[float, ...] = ()
    hydrogen: str = "activity"

    def __post_init__(self) -> None:
        for field in ("pka", "enthalpy_kj_mol", "heat_capacity_j_mol_k"):
            object.__setattr__(self, field, self._numbers(field))
        self._check()
        key = (self.name, self.pka, self.charge, self.ionic_strength_mol_per_kg, self.temp_c, self.enthalpy_kj_mol)
        object.__setattr__(self, "_hash", hash((*key, self.heat_capacity_j_mol_k, self.hydrogen)))

    def __hash__(self) -> int:
        return self._hash

    def _numbers(self, field: str) -> tuple[float, ...]:
        value = getattr(self, field)
        try:
            return (float(value),) if isinstance(value, (int, float)) else tuple(float(one) for one in value)
        except (TypeError, ValueError):
            raise self._refusal(f"{field} is {value!r}", "numbers, one a step") from None

    def _check(self) -> None:
        steps = len(self.pka)
        if not 1 <= steps <= MOST_STEPS or not all(_LOWEST_PKA <= value <= _HIGHEST_PKA for value in self.pka):
            raise self._refusal(
                f"its pKa are {self.pka}", f"1 to {MOST_STEPS} values from {_LOWEST_PKA:g} to {_HIGHEST_PKA:g}"
            )
        if not isinstance(self.charge, int) or not -_MOST_CHARGE <= self.charge <= _MOST_CHARGE:
            raise self._refusal(f"its charge is {self.charge!r}", f"a whole number, at most {_MOST_CHARGE} either way")
        if not 0 <= self.ionic_strength_mol_per_kg <= 10:
            raise self._refusal(f"its ionic strength is {self.ionic_strength_mol_per_kg!r}", "0 to 10 mol/kg")
        if not COLDEST_C <= self.temp_c <= HOTTEST_C:
            raise self._refusal(f"its temperature is {self.temp_c!r}", f"{COLDEST_C:g} to {HOTTEST_C:g} degC")
        if self.hydrogen not in ("activity", "concentration"):
            raise self._refusal(f"hydrogen is {self.hydrogen!r}", '"activity" or "concentration"')
        for field in ("enthalpy_kj_mol", "heat_capacity_j_mol_k"):
            values = getattr(self, field)
            if values and (len(values) != steps or not all(map(math.isfinite, values))):
                raise self._refusal(f"{field} is {values}", f"{steps} numbers, one a step, or none")

    def _refusal(self, what: str, allowed: str) -> AcidBaseError:
        return AcidBaseError(
            f"{self.name} is no acid or base that can be worked with: {what}",
            where="AcidSystem",
            allowed=allowed,
            code="ph.system",
        )

    @property
    def charges(self) -> tuple[int, ...]:
        """Charge of every form, the one that holds all protons first."""
        return tuple(range(self.charge, self.charge - len(self.pka) - 1, -1))

    @property
    def says(self) -> str:
        """The constants with the conditions they hold under and what is known of their change with temperature."""
        values = " / ".join(f"{value:g}" for value in self.pka)
        at = (
            f"ionic strength {self.ionic_strength_mol_per_kg:g} mol/kg"
            if self.ionic_strength_mol_per_kg
            else "zero ionic strength"
        )
        if self.enthalpy_kj_mol:
            change = "changes with temperature by its enthalpy"
            change += " and heat capacity" if self.heat_capacity_j_mol_k else ", taken as constant"
        else:
            change = "enthalpy not known, kept at every temperature"
        return f"{self.name}: pKa {values} at {at} and {self.temp_c:g} °C; {change}"

    def pka_at(self, temp_c: float = 25.0, activity: str = "davies") -> tuple[float, ...]:
        """The constants at zero ionic strength and a temperature.

        Parameters
        ----------
        temp_c : float or array   [degC]
        activity : str            The model that brings them to zero ionic strength; must be that of the solve.

        Returns
        -------
        tuple   One value a step, in the shape of `temp_c`.

        Raises
        ------
        ActivityError   `ph.activity`.

        Notes
        -----
        To zero: pKa + D (z^2 - z'^2) for a mixed constant, and D more for one in concentrations, where z and z' are the
        charges after and before the step and -D z^2 is log10 of an activity coefficient. To another temperature:
        integrated van 't Hoff equation with a constant heat capacity,
        d log10 K = -(H/R)(1/T - 1/T0)/ln 10 + (C/R)(T0/T - 1 + ln(T/T0))/ln 10.
        """
        at_zero = _to_zero(self, activity)
        return tuple(value + self._change(step, temp_c) for step, value in enumerate(at_zero))

    def _change(self, step: int, temp_c):
        """What a temperature adds to the pKa of a step. [-]"""
        if not self.enthalpy_kj_mol:
            return 0.0
        temp_k, own_k = temp_c + ZERO_CELSIUS_K, self.temp_c + ZERO_CELSIUS_K
        change = self.enthalpy_kj_mol[step] * 1000 / GAS_CONSTANT * (1 / temp_k - 1 / own_k)
        if self.heat_capacity_j_mol_k:
            capacity = self.heat_capacity_j_mol_k[step] / GAS_CONSTANT
            change = change - capacity * (own_k / temp_k - 1 + _log(temp_k / own_k))
        return change / math.log(10)


@lru_cache(maxsize=1024)
def _to_zero(system: AcidSystem, activity: str) -> tuple[float, ...]:
    model = activity_model(activity)
    held = min(system.ionic_strength_mol_per_kg, HELD_AT)
    root = math.sqrt(held)
    lowering = model.slope * debye_hueckel_slope(system.temp_c) * (root / (1 + root) - model.linear * held)
    extra = 1 if system.hydrogen == "concentration" else 0
    return tuple(
        value + lowering * (after**2 - before**2 + extra)
        for value, before, after in zip(system.pka, system.charges, system.charges[1:], strict=False)
    )


@lru_cache(maxsize=4096)
def dissociation_constants(system: AcidSystem, temp_c: float, activity: str) -> tuple[float, ...]:
    """Constants of all steps at zero ionic strength and one temperature. [-]"""
    return tuple(10.0**-value for value in system.pka_at(temp_c, activity))


def _log(value):
    if isinstance(value, float):
        return math.log(value)
    import numpy as np

    return np.log(value)
