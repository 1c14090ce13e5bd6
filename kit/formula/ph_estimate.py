"""The pH of a composition and its band in closed form: quick enough for every review, and for thousands at once.

`predict_ph` samples what is not known; here its variance goes through the charge balance instead. One solve gives
the pH; there each unknown moves the charge by so much, and a solve with that much more acid or base gives an end of
the band. Numbers are floats for one composition and arrays for many. Where a product is buffered the ends agree with
the sampled ones within some hundredths; of an amine that is short of acid they may be off by 0.3.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from kit.errors import KitError
from kit.formula.aqueous import (
    GROUPS_PER_CAPACITY,
    LEAST_WATER_PCT,
    Aqueous,
    Solute,
    aqueous,
    groups_system,
    system_of,
    water_pct,
)
from kit.formula.composition import Composition
from kit.formula.knowledge import Unknown
from kit.formula.molar import mmol_per_100g
from kit.formula.ph_priors import OFFSET_NAME, reading_noise_sd
from kit.science.acidbase import Equilibrium, solve
from kit.science.acidbase_input import MOST_MOL_PER_KG
from kit.show import Fielded

_Z_90 = 1.645  # half of a 90 % band is so many standard deviations of a normal distribution
_LN10 = math.log(10)
_MOST = 0.99 * MOST_MOL_PER_KG
_NEWTON_STEPS = 40
_CLOSE_ENOUGH = 0.005
_ENOUGH_WATER = 10**6


@dataclass(frozen=True, slots=True)
class WaterContent:
    """Water of all sources. [% w/w]"""

    def __call__(self, composition: Composition) -> float:
        """The part of this composition."""
        return float(water_pct(composition))


@dataclass(frozen=True, slots=True)
class SoluteAmount:
    """Amount of an INCI part that one supply form brings. [mmol/100 g]"""

    key: str
    inci: str

    def __call__(self, composition: Composition) -> float:
        """The part of this composition."""
        amounts = (
            mmol_per_100g(part.substance, line.pct * part.pct / 100)
            for line in composition.lines
            if line.material.key == self.key and line.pct > 0
            for part in line.material.parts
            if part.inci == self.inci
        )
        return float(sum(amounts))


@dataclass(frozen=True, slots=True)
class FormContent:
    """Content of one supply form. [% w/w]"""

    key: str

    def __call__(self, composition: Composition) -> float:
        """The part of this composition."""
        return float(composition.pct(self.key))


@dataclass(frozen=True, repr=False)
class PhEstimate(Fielded):
    """What of a composition decides its pH, apart from how much of it there is.

    Parameters
    ----------
    solutes : tuple of Solute     Acids, bases and salts, one for each supply form and INCI part; amounts do not count.
    others : tuple of str         Keys of the supply forms whose acid or buffer is not known.
    unknowns : dict               Name to Unknown.
    memory : tuple of str         Constants that rest on memory.
    """

    solutes: tuple[Solute, ...]
    others: tuple[str, ...]
    unknowns: Mapping[str, Unknown]
    memory: tuple[str, ...]

    @property
    def parts(self) -> tuple[Callable, ...]:
        """Amounts of a composition that are linear in its percentages: water first, solutes, supply forms."""
        amounts = (SoluteAmount(solute.material.key, solute.substance.inci) for solute in self.solutes)
        return (WaterContent(), *amounts, *map(FormContent, self.others))

    def value(self, *amounts):
        """The pH with every unknown at its mean, from the numbers that `parts` give. [-]"""
        return self._water(amounts).solved(0).ph

    def low(self, *amounts):
        """The lower end of the band of readings, nine in ten. [-]"""
        return self._end(amounts, -1)

    def high(self, *amounts):
        """The upper end of the band of readings, nine in ten. [-]"""
        return self._end(amounts, 1)

    def acid_needed(self, ph: float, *amounts) -> float | None:
        """Acid that brings one composition to a pH, base when negative; None when it is not found. [meq/100 g]

        Parameters
        ----------
        ph : float         To be reached. [-]
        amounts : floats   As `parts` give them.
        """
        water, more = self._water(amounts), 0.0
        for _ in range(_NEWTON_STEPS):
            found = water.solved(more)
            if abs(ph - found.ph) < _CLOSE_ENOUGH:
                return -more * water.water_g
            step = max(-0.5, min(0.5, ph - found.ph))
            more += found.buffer_capacity_mol_per_kg * step
        return None

    def _water(self, amounts: tuple) -> _Water:
        return _Water(self, amounts)

    def _end(self, amounts: tuple, side: int):
        water = self._water(amounts)
        middle = water.solved(0)
        away = abs(water.solved(side * _Z_90 * water.spread(middle)).ph - middle.ph)
        return middle.ph + side * (away**2 + (_Z_90 * reading_noise_sd()) ** 2) ** 0.5


class _Water:
    """The water of one or many compositions, every unknown at its mean. [mol/kg water]"""

    def __init__(self, estimate: PhEstimate, amounts: tuple) -> None:
        water, *rest = amounts
        self.estimate = estimate
        self.water_g = _at_least(water, float(LEAST_WATER_PCT))
        count = len(estimate.solutes)
        self.solutes = [_at_most(amount / self.water_g, _MOST) for amount in rest[:count]]
        self.others = [pct / self.water_g for pct in rest[count:]]
        self.totals: dict = {}
        self.strong = self.water_g * 0.0 - self._unknown(OFFSET_NAME, "mean") / 1000
        self.spectators = self.water_g * 0.0
        for solute, amount in zip(estimate.solutes, self.solutes, strict=True):
            self._add(solute, amount * self._unknown(f"assay of {solute.material.key}", "mean", 1.0))
        for key, grams in zip(estimate.others, self.others, strict=True):
            self._add_other(key, grams)
        self.totals = {system: _at_most(total, _MOST) for system, total in self.totals.items()}

    def solved(self, more) -> Equilibrium:
        """The equilibrium with so much more strong base. [mol/kg water]"""
        strong = self.strong + more
        return solve(self.totals, _at_least(_at_most(strong, _MOST), -_MOST), spectators_z2_mol_per_kg=self.spectators)

    def spread(self, found: Equilibrium):
        """Standard deviation of the charge at the pH that was found, from all unknowns together. [mol/kg water]"""
        terms = [self.water_g * 0.0 + self._unknown(OFFSET_NAME, "sd") / 1000]
        terms += self._of_assays(found)
        terms += self._of_constants(found)
        for key, grams in zip(self.estimate.others, self.others, strict=True):
            terms.append(grams * self._unknown(f"acidity of {key}", "sd"))
            buffering = self._unknown(f"buffering of {key}", "sd")
            if buffering:
                charge = 1 + _mean_charge(found.species[groups_system().name])
                terms.append(grams * buffering * GROUPS_PER_CAPACITY * charge)
        return sum(term**2 for term in terms) ** 0.5

    def _add(self, solute: Solute, amount) -> None:
        chemistry = solute.chemistry
        self.strong = self.strong + amount * chemistry.strong_charge
        self.spectators = self.spectators + amount * chemistry.spectator_z2
        if chemistry.pka:
            system = system_of(solute.substance, chemistry)
            self.totals[system] = self.totals.get(system, 0.0) + amount

    def _add_other(self, key: str, grams) -> None:
        self.strong = self.strong - grams * self._unknown(f"acidity of {key}", "mean")
        if f"buffering of {key}" in self.estimate.unknowns:
            pairs = grams * GROUPS_PER_CAPACITY * self._unknown(f"buffering of {key}", "mean")
            self.totals[groups_system()] = self.totals.get(groups_system(), 0.0) + pairs
            self.strong = self.strong + pairs

    def _of_assays(self, found: Equilibrium) -> Iterable:
        """A supply form with more in it than is stated shifts all that it brings."""
        by_form: dict[str, Any] = {}
        for solute, amount in zip(self.estimate.solutes, self.solutes, strict=True):
            charge = solute.chemistry.strong_charge
            if solute.chemistry.pka:
                charge = charge + _mean_charge(found.species[system_of(solute.substance, solute.chemistry).name])
            key = solute.material.key
            by_form[key] = by_form.get(key, 0.0) + amount * charge
        return (charge * self._unknown(f"assay of {key}", "sd") for key, charge in by_form.items())

    def _of_constants(self, found: Equilibrium) -> Iterable:
        """A constant off by one unit moves the mean charge by ln 10 times its variance over the forms."""
        for system, total in self.totals.items():
            sd = self._unknown(f"pka of {system.name}", "sd")
            if sd:
                yield total * sd * _LN10 * _charge_variance(found.species[system.name])

    def _unknown(self, name: str, what: str, default: float = 0.0) -> float:
        unknown = self.estimate.unknowns.get(name)
        return default if unknown is None else float(getattr(unknown, what))


def ph_estimate(composition: Composition) -> PhEstimate | None:
    """What decides the pH of a composition; None where an acid, base or amine has no known chemistry, or there is none.

    Parameters
    ----------
    composition : Composition   Which parts are there counts, how much of them does not.
    """
    water = _read(composition)
    if water is None or water.decisive or not water.solutes:
        return None
    solutes = {(solute.material.key, solute.substance.inci): solute for solute in water.solutes}
    unknowns = {unknown.name: unknown for unknown in water.unknowns}
    return PhEstimate(tuple(solutes.values()), tuple(water.unmodelled_pct), unknowns, water.memory)


def _read(composition: Composition) -> Aqueous | None:
    """The water of a composition; were it too dry, of one with the same parts and more water."""
    try:
        return aqueous(composition)
    except KitError:
        lines = tuple(
            replace(line, pct=line.pct * _ENOUGH_WATER) if _brings_water(line) else line for line in composition.lines
        )
        more = replace(composition, lines=lines)
        return aqueous(more) if water_pct(more) > LEAST_WATER_PCT else None


def _brings_water(line) -> bool:
    return line.pct > 0 and any(part.substance.category == "water" and part.pct > 0 for part in line.material.parts)


def _mean_charge(forms: Mapping[int, Any]):
    total = sum(forms.values())
    return sum(charge * amount for charge, amount in forms.items()) / (total + (total == 0))


def _charge_variance(forms: Mapping[int, Any]):
    total = sum(forms.values())
    total = total + (total == 0)
    mean = sum(charge * amount for charge, amount in forms.items()) / total
    return sum(charge**2 * amount for charge, amount in forms.items()) / total - mean**2


def _at_most(value, limit: float):
    """The smaller of the two, for a number and for an array."""
    return value - (value - limit) * (value > limit)


def _at_least(value, limit: float):
    """The larger of the two, for a number and for an array."""
    return value + (limit - value) * (value < limit)
