"""What a bench asks of an acid or a base: the curve, the dose to a target, what a drop does, and the way back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from kit.science.acidbase import AcidBaseError, Equilibrium
from kit.science.acidbase_input import MOST_MOL_PER_KG
from kit.science.acidbase_inverse import check_target
from kit.science.mixture import Mixture, Stock

__all__ = [
    "Dilution",
    "Dose",
    "Mixture",
    "RoundTrip",
    "Stock",
    "Titration",
    "dilution_change",
    "dose_to_ph",
    "drop_change",
    "largest_dose_g",
    "round_trip",
    "titration_curve",
]

DROP_G = 0.05
"""A drop of a thin watery solution from a pipette (common practice, no source). [g]"""

_SCALE = 64  # doses of the coarse scale
_MOST_TRIALS = 100
_CLOSE = 1e-11  # pH, and relative in the dose
_SMALLEST_SHARE = 1e-7  # smallest dose tried, as a share of the largest
_REACHED = 1e-6  # pH


@dataclass(frozen=True)
class Titration:
    """pH against the dose of a stock solution; all arrays of one shape.

    Parameters
    ----------
    doses_g : array                    [g]
    ph : array                         [-]
    buffer_capacity_mmol_per_ph : array   Strong base per pH unit, in the whole batch. [mmol]
    ionic_strength_mol_per_kg : array  [mol/kg water]
    water_g : array                    In the batch after the dose. [g]
    notes : tuple of str               As of `kit.science.acidbase.Equilibrium`.
    """

    doses_g: object
    ph: object
    buffer_capacity_mmol_per_ph: object
    ionic_strength_mol_per_kg: object
    water_g: object
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Dose:
    """How much of a stock solution brings a batch to a pH, and what that does.

    Parameters
    ----------
    stock : str              Its name.
    dose_g : float           [g]
    water_added_g : float    [g]
    ph_before : float        By the model, or as measured. [-]
    ph_after : float         [-]
    offset_mmol : float      Strong ions put in so that the model starts at the measured pH; 0 without one. [mmol]
    drop_g : float           [g]
    drop_before : float      pH change of one drop before the dose. [-]
    drop_after : float       pH change of one more drop after it. [-]
    buffer_capacity_before, buffer_capacity_after : float   Strong base per pH unit, in the whole batch. [mmol]
    ionic_strength_before, ionic_strength_after : float     [mol/kg water]
    notes : tuple of str     What limits the answer.
    """

    stock: str
    dose_g: float
    water_added_g: float
    ph_before: float
    ph_after: float
    offset_mmol: float
    drop_g: float
    drop_before: float
    drop_after: float
    buffer_capacity_before: float
    buffer_capacity_after: float
    ionic_strength_before: float
    ionic_strength_after: float
    notes: tuple[str, ...] = ()

    @property
    def drops(self) -> float:
        """The dose in drops. [-]"""
        return self.dose_g / self.drop_g


@dataclass(frozen=True)
class RoundTrip:
    """A correction and the way back: what too much of one stock and its undoing leave in the batch.

    Parameters
    ----------
    out, back : Dose                     To the wrong pH, and back to where it was.
    salt_mmol : float                    Rise of half the sum of n z^2: 1 mmol of sodium chloride counts 1. [mmol]
    ionic_strength_added : float         [mol/kg water]
    water_added_g : float                [g]
    """

    out: Dose
    back: Dose
    salt_mmol: float
    ionic_strength_added: float
    water_added_g: float


@dataclass(frozen=True)
class Dilution:
    """pH of a batch as it is and stirred into water.

    Parameters
    ----------
    pct : float       Of the batch in the dilution. [%]
    neat : float      [-]
    diluted : float   [-]
    """

    pct: float
    neat: object
    diluted: object

    @property
    def change(self):
        """Diluted less neat. [-]"""
        return self.diluted - self.neat


def titration_curve(mixture: Mixture, stock: Stock, doses_g, temp_c=25.0, activity: str = "davies") -> Titration:
    """The pH of a batch after each of many doses of a stock solution, each from the start.

    Parameters
    ----------
    mixture : Mixture   Amounts in numbers, not arrays.
    stock : Stock       Its water dilutes the batch.
    doses_g : array     [g]
    temp_c : float      [degC]
    activity : str      As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   As `kit.science.acidbase.solve`.
    """
    import numpy as np

    doses = np.atleast_1d(np.asarray(doses_g, dtype=float))
    dosed = mixture.plus(stock, doses)
    found = dosed.solve(temp_c, activity)
    water = np.broadcast_to(dosed.water_g, doses.shape)
    capacity = found.buffer_capacity_mol_per_kg * water
    return Titration(doses, found.ph, capacity, found.ionic_strength_mol_per_kg, water, found.notes)


def dose_to_ph(
    mixture: Mixture,
    stock: Stock,
    target_ph: float,
    measured_ph: float | None = None,
    temp_c: float = 25.0,
    activity: str = "davies",
    most_g: float | None = None,
    drop_g: float = DROP_G,
) -> Dose:
    """How much of a stock solution brings a batch to a pH.

    Parameters
    ----------
    mixture : Mixture             Amounts in numbers, not arrays.
    stock : Stock                 Its water dilutes the batch.
    target_ph : float             [-]
    measured_ph : float, None     pH read in this batch: the model starts there. [-]
    temp_c : float                [degC]
    activity : str                As in `kit.science.acidbase.solve`.
    most_g : float, None          Largest dose looked at; None: as much as the batch. [g]
    drop_g : float                [g]

    Raises
    ------
    AcidBaseError   `ph.unreachable`, `ph.target`, and as `kit.science.acidbase.solve`.
    """
    check_target(target_ph, "dose_to_ph")
    began = mixture if measured_ph is None else mixture.at_measured_ph(measured_ph, temp_c, activity)
    before = began.solve(temp_c, activity)
    there = abs(before.ph - target_ph) <= _REACHED
    largest = largest_dose_g(began, stock, most_g)
    dose = 0.0 if there else _search(began, stock, target_ph, largest, temp_c, activity)
    ended = began.plus(stock, dose)
    after = ended.solve(temp_c, activity)
    return Dose(
        stock.name,
        dose,
        stock.water_g_per_g * dose,
        before.ph,
        after.ph,
        began.strong_ions_mmol - mixture.strong_ions_mmol,
        drop_g,
        drop_change(began, stock, drop_g, temp_c, activity),
        drop_change(ended, stock, drop_g, temp_c, activity),
        before.buffer_capacity_mol_per_kg * began.water_g,
        after.buffer_capacity_mol_per_kg * ended.water_g,
        before.ionic_strength_mol_per_kg,
        after.ionic_strength_mol_per_kg,
        tuple(dict.fromkeys(before.notes + after.notes)),
    )


def largest_dose_g(mixture: Mixture, stock: Stock, most_g: float | None = None) -> float:
    """The largest dose worth looking at: less where something would be more concentrated than the solver takes. [g]

    Parameters
    ----------
    mixture : Mixture      Amounts in numbers or arrays: the answer holds for all of them.
    stock : Stock          [g]
    most_g : float, None   Not more than this; None: as much as the batch. [g]
    """
    import numpy as np

    present = [(mixture.totals_mmol.get(system, 0.0), each) for system, each in stock.totals_mmol_per_g.items()]
    sign = 1 if stock.strong_ions_mmol_per_g > 0 else -1
    present.append((sign * mixture.strong_ions_mmol, sign * stock.strong_ions_mmol_per_g))
    limit = 0.999 * MOST_MOL_PER_KG
    rates = [(amount, each - limit * stock.water_g_per_g) for amount, each in present]
    soluble = [float(np.min((limit * mixture.water_g - amount) / rate)) for amount, rate in rates if rate > 0]
    return min([float(mixture.mass_g) if most_g is None else most_g, *soluble])


def _search(began: Mixture, stock: Stock, target: float, largest: float, temp_c: float, activity: str) -> float:
    """Smallest dose at which the pH crosses the target: a coarse scale in one call, then false position between two."""
    import numpy as np

    doses = np.concatenate([[0.0], np.geomspace(largest * _SMALLEST_SHARE, largest, _SCALE)])
    miss = titration_curve(began, stock, doses, temp_c, activity).ph - target
    crossed = np.flatnonzero((miss[1:] >= 0) != (miss[:-1] >= 0))
    if not crossed.size:
        raise _unreachable(stock, doses, miss + target, target)
    low, high = (_Trial(float(doses[place]), float(miss[place])) for place in (crossed[0], crossed[0] + 1))
    return _false_position(lambda dose: began.plus(stock, dose).solve(temp_c, activity).ph - target, low, high)


class _Trial(NamedTuple):
    """A dose [g] and by how much the pH misses the target with it."""

    dose: float
    miss: float


def _false_position(miss_of: Callable[[float], float], low: _Trial, high: _Trial) -> float:
    """The dose between two that miss to either side, by the Illinois form of false position.

    A side that stays put for a second time counts half, so that both ends close in.
    """
    dose, last = low.dose, 0
    for _ in range(_MOST_TRIALS):
        dose = (low.dose * high.miss - high.dose * low.miss) / (high.miss - low.miss)
        trial = _Trial(dose, miss_of(dose))
        if abs(trial.miss) <= _CLOSE or high.dose - low.dose <= _CLOSE * high.dose:
            break
        if (trial.miss >= 0) == (high.miss >= 0):
            low, high, last = _Trial(low.dose, low.miss / (2 if last > 0 else 1)), trial, 1
        else:
            low, high, last = trial, _Trial(high.dose, high.miss / (2 if last < 0 else 1)), -1
    return dose


def _unreachable(stock: Stock, doses, ph, target: float) -> AcidBaseError:
    best = int(abs(ph - target).argmin())
    way = "lowers" if ph[-1] < ph[0] else "raises"
    nearest = f"the nearest is pH {ph[best]:.2f} with {_grams(doses[best])}" if best else "no dose comes any nearer"
    return AcidBaseError(
        f"{stock.name} {way} the pH of this batch, from {ph[0]:.2f} to {ph[-1]:.2f} with {_grams(doses[-1])}: "
        f"pH {target:.2f} is not on that way; {nearest}",
        where="dose_to_ph",
        mend="take a base to raise the pH and an acid to lower it, or a stronger stock solution",
        code="ph.unreachable",
    )


def _grams(dose_g: float) -> str:
    """Three figures, never as a power of ten."""
    return f"{dose_g:.0f} g" if dose_g >= 100 else f"{dose_g:.3g} g"


def drop_change(
    mixture: Mixture, stock: Stock, drop_g: float = DROP_G, temp_c: float = 25.0, activity: str = "davies"
) -> float:
    """What one drop of a stock solution does to the pH of a batch, with its sign. [-]

    Parameters
    ----------
    mixture : Mixture   Amounts in numbers, not arrays.
    stock : Stock       Its water dilutes the batch.
    drop_g : float      [g]
    temp_c : float      [degC]
    activity : str      As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   As `kit.science.acidbase.solve`.
    """
    return mixture.plus(stock, drop_g).solve(temp_c, activity).ph - mixture.solve(temp_c, activity).ph


def round_trip(
    mixture: Mixture,
    stock_down: Stock,
    stock_up: Stock,
    overshoot_ph: float,
    measured_ph: float | None = None,
    temp_c: float = 25.0,
    activity: str = "davies",
) -> RoundTrip:
    """Both directions of a correction: to a pH that was not wanted and back, and the salt that stays.

    Parameters
    ----------
    mixture : Mixture             Amounts in numbers, not arrays.
    stock_down, stock_up : Stock  An acid and a base.
    overshoot_ph : float          Where the batch was brought by mistake, on either side. [-]
    measured_ph : float, None     pH read in this batch: the model starts there. [-]
    temp_c : float                [degC]
    activity : str                As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   `ph.unreachable`, and as `kit.science.acidbase.solve`.
    """
    began = mixture if measured_ph is None else mixture.at_measured_ph(measured_ph, temp_c, activity)
    before = began.solve(temp_c, activity)
    first, second = (stock_down, stock_up) if overshoot_ph < before.ph else (stock_up, stock_down)
    out = dose_to_ph(began, first, overshoot_ph, None, temp_c, activity)
    there = began.plus(first, out.dose_g)
    back = dose_to_ph(there, second, before.ph, None, temp_c, activity)
    ended = there.plus(second, back.dose_g)
    strength = (_strength_mmol(began, before), _strength_mmol(ended, ended.solve(temp_c, activity)))
    return RoundTrip(
        out,
        back,
        strength[1] - strength[0],
        back.ionic_strength_after - before.ionic_strength_mol_per_kg,
        out.water_added_g + back.water_added_g,
    )


def _strength_mmol(mixture: Mixture, solved: Equilibrium) -> float:
    return solved.ionic_strength_mol_per_kg * mixture.water_g


def dilution_change(mixture: Mixture, pct: float = 10.0, temp_c=25.0, activity: str = "davies") -> Dilution:
    """The pH of a batch as it is and in a dilution with pure water, free of carbon dioxide.

    Parameters
    ----------
    mixture : Mixture         Amounts in numbers or arrays.
    pct : float               Of the batch in the dilution. [%]
    temp_c : float or array   [degC]
    activity : str            As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   `ph.dilution`, and as `kit.science.acidbase.solve`.
    """
    return Dilution(pct, mixture.solve(temp_c, activity).ph, mixture.diluted(pct).solve(temp_c, activity).ph)
