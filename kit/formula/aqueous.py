"""From a composition to its water: acids, bases and salts of all supply forms per mass of water, and what is not known.

Only the chemistry stated decides; see `kit.formula.aqueous_chemistry`. Concentrations are per kg of water in the
product, the waters of all supply forms and of hydrates included; oil, fatty alcohol and solvents are no water.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.aqueous_chemistry import Chemistry, chemistry_of, crystal_water_pct
from kit.formula.charge import CATIONIC_SURFACTANTS
from kit.formula.composition import Composition, CompositionLine
from kit.formula.knowledge import Knowledge, Unknown
from kit.formula.material import Material
from kit.formula.molar import known_molar_mass, mmol_per_100g
from kit.formula.ph_priors import (
    OFFSET_NAME,
    assay_unknown,
    holds_bound_acid,
    latent_unknown,
    offset_unknown,
    pka_unknown,
    unmodelled_unknowns,
)
from kit.formula.substance import Substance

if TYPE_CHECKING:
    import numpy as np

    from kit.science.acidbase import AcidSystem
    from kit.science.titration import Mixture, Stock

LEAST_WATER_PCT = Decimal(30)  # below it a mixture is no dilute solution any more (common practice, no source)

# Groups of extracts and proteins: two that together are half neutralised at pH 4.6 and buffer evenly over pH 4 to 5.
GROUPS_NAME = "groups of extracts and proteins"
GROUPS_PKA = (4.0, 5.2)
GROUPS_PER_CAPACITY = 1.30  # mol of the pair for 1 mol per pH unit at pH 4.6, worked from the two constants

_OILS = frozenset({"fatty alcohol", "emollient", "wax ester", "silicone", "nonionic emulsifier", *CATIONIC_SURFACTANTS})
_MOST_LATENT = 0.95


@dataclass(frozen=True, slots=True)
class Unmodelled:
    """A supply form whose acid or buffer is not in the model: its name, share and the reason. [% w/w]"""

    name: str
    pct: Decimal
    why: str

    def __str__(self) -> str:
        return f"{self.name} ({self.pct} %): {self.why}"


@dataclass(frozen=True, slots=True)
class Solute:
    """An acid, base or salt that one supply form brings. [mmol/100 g product]"""

    material: Material
    substance: Substance
    chemistry: Chemistry
    mmol: float


@dataclass(frozen=True)
class Aqueous:
    """The water of a composition: what is in it, what is not known of it, and what is left out.

    Parameters
    ----------
    water_pct : Decimal            Water of all sources. [% w/w]
    solutes : tuple of Solute      Acids, bases and salts with known chemistry, by supply form.
    unknowns : tuple of Unknown    What a prediction needs and does not know, with priors.
    unmodelled : tuple of Unmodelled   What is left out, and why.
    decisive : tuple of Unmodelled     Acids, bases and amines without chemistry: nothing can be predicted with them.
    cancelled : tuple of str       INCI names whose charge and counter-ion cancel.
    unmodelled_pct : dict          Key of an unmodelled supply form to its share. [% w/w]
    knowing : Knowledge            What was learned, None for the priors alone.
    """

    water_pct: Decimal
    solutes: tuple[Solute, ...]
    unknowns: tuple[Unknown, ...]
    unmodelled: tuple[Unmodelled, ...]
    decisive: tuple[Unmodelled, ...]
    cancelled: tuple[str, ...]
    unmodelled_pct: dict[str, float]
    knowing: Knowledge | None = None

    @cached_property
    def mean_and_covariance(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean (k,) and covariance (k, k) of the unknowns: learned where something was, else the priors."""
        empty = Knowledge((), (), ())
        return (self.knowing or empty).prior_for(self.unknowns)

    @property
    def memory(self) -> tuple[str, ...]:
        """Constants used that rest on memory, a substance each: "Citric Acid, pKa 3.13, 4.76"."""
        told = {}
        for substance in (solute.substance for solute in self.solutes):
            values = [f"{fact.value}" for fact in substance.pka if fact.kind == "memory"]
            if values:
                told[f"{substance.inci}, pKa {', '.join(values)}"] = None
        return tuple(told)

    def mixture(self, batch_g: float = 100.0) -> Mixture:
        """The water of a batch with every unknown at its mean.

        Parameters
        ----------
        batch_g : float   Mass of the batch. [g]
        """
        return self.mixtures(self.mean_and_covariance[0][None, :], batch_g=batch_g, single=True)

    def mixtures(self, theta: np.ndarray, *, batch_g: float = 100.0, single: bool = False) -> Mixture:
        """The water of a batch for many guesses of the unknowns at once.

        Parameters
        ----------
        theta : array (n, k)   Unknowns in the order of `unknowns`, each in its own unit.
        batch_g : float        Mass of the batch. [g]
        single : bool          Give numbers instead of arrays of one.

        Returns
        -------
        Mixture   Totals, strong ions and shifts of constants as arrays (n,).

        Notes
        -----
        A content below zero has no meaning: a negative latent share or buffering in `theta` counts as zero.
        """
        from kit.science.titration import Mixture

        water_g = float(self.water_pct) * batch_g / 100
        poured = _Poured(self, theta, batch_g, water_g)
        turn = (lambda value: float(value[0])) if single else (lambda value: value)
        shifts = {system: turn(shift) for system, shift in poured.shifts.items()}
        return Mixture(
            water_g=water_g,
            totals_mmol={system: turn(amount) for system, amount in poured.totals.items()},
            strong_ions_mmol=turn(poured.strong),
            spectators_z2_mmol=turn(poured.spectators),
            mass_g=batch_g,
            pka_shifts=shifts,
        )


class _Poured:
    """Amounts in a batch for an array of guesses, summed up solute by solute. [mmol]"""

    def __init__(self, aqueous: Aqueous, theta: np.ndarray, batch_g: float, water_g: float) -> None:
        import numpy as np

        self.columns = {unknown.name: theta[:, index] for index, unknown in enumerate(aqueous.unknowns)}
        zeros = np.zeros(len(theta))
        self.totals: dict[AcidSystem, np.ndarray] = {}
        self.shifts: dict[AcidSystem, np.ndarray] = {}
        self.strong, self.spectators = zeros.copy(), zeros.copy()
        for solute in aqueous.solutes:
            self._add_solute(solute, batch_g / 100, zeros)
        for key, pct in aqueous.unmodelled_pct.items():
            self._add_unmodelled(key, pct * batch_g / 100, zeros)
        self.strong -= self.columns.get(OFFSET_NAME, zeros) * water_g / 1000

    def _add_solute(self, solute: Solute, hundreds: float, zeros: np.ndarray) -> None:
        key, chemistry = solute.material.key, solute.chemistry
        amount = solute.mmol * hundreds * self.columns.get(f"assay of {key}", zeros + 1).clip(min=0)
        self.strong += amount * chemistry.strong_charge
        self.spectators += amount * chemistry.spectator_z2
        if chemistry.pka:
            system = system_of(solute.substance, chemistry)
            free = 1 - self._latent(solute, zeros)
            self.totals[system] = self.totals.get(system, zeros) + amount * free
            self.shifts[system] = self.columns.get(f"pka of {solute.substance.inci}", zeros)

    def _latent(self, solute: Solute, zeros: np.ndarray) -> np.ndarray:
        """What of an acid is still bound; what else the same supply form brings, such as a preservative, is free."""
        if not holds_bound_acid(solute.substance.inci):
            return zeros
        return self.columns.get(f"latent share of {solute.material.key}", zeros).clip(0, _MOST_LATENT)

    def _add_unmodelled(self, key: str, grams: float, zeros: np.ndarray) -> None:
        self.strong -= self.columns.get(f"acidity of {key}", zeros) * grams
        capacity = self.columns.get(f"buffering of {key}")
        if capacity is not None:
            pairs = GROUPS_PER_CAPACITY * capacity.clip(min=0) * grams
            system = groups_system()
            self.totals[system] = self.totals.get(system, zeros) + pairs
            self.strong += pairs


def aqueous(composition: Composition, knowing: Knowledge | None = None, age_h: float | None = None) -> Aqueous:
    """The water of a composition, meant or made, with what is not known about it.

    Parameters
    ----------
    composition : Composition   Meant, made or proposed.
    knowing : Knowledge         What readings taught.
    age_h : float               Age of the reading to predict; None: settled, every acid has come free. [h]

    Raises
    ------
    KitError   `ph.water` when it holds too little water to speak of a pH.
    """
    water = water_pct(composition)
    if water < LEAST_WATER_PCT:
        raise KitError(
            f"it holds {water:.1f} % of water: too little for a pH to be worked out",
            allowed=f"{LEAST_WATER_PCT} % of water or more",
            mend="measure it, diluted as your method says",
            code="ph.water",
        )
    solutes, left_out, decisive, cancelled = [], {}, {}, {}
    for material, substance, part, pct in _parts(composition):
        found = chemistry_of(substance)
        if found.role == "modelled":
            amount = float(mmol_per_100g(substance, pct))
            solutes.append((Solute(material, substance, found.chemistry, amount), part))
        elif found.role == "cancels":
            cancelled[substance.inci] = None
        elif found.role != "neutral":
            where = decisive if found.role == "decisive" else left_out
            where.setdefault(material.key, (material, substance, found.why))
    decisive.update(_in_two_minds(solute for solute, _ in solutes))
    return Aqueous(
        water_pct=water,
        solutes=tuple(solute for solute, _ in solutes),
        unknowns=tuple(_unknowns(composition, solutes, left_out.values(), age_h)),
        unmodelled=tuple(_told(composition, left_out.values())),
        decisive=tuple(_told(composition, decisive.values())),
        cancelled=tuple(cancelled),
        unmodelled_pct={key: float(composition.pct(key)) for key in left_out},
        knowing=knowing,
    )


def stock_of(material: Material) -> Stock:
    """What one gram of a supply form or stock solution brings to the water of a batch, all its acid counted as free.

    Parameters
    ----------
    material : Material   An acid, a base or a buffer, as supplied or as the lab's stock solution.

    Raises
    ------
    KitError   `ph.stock` when it brings no acid or base, or when its chemistry is not known.
    """
    from kit.science.titration import Stock

    totals: dict[AcidSystem, float] = {}
    strong = spectators = 0.0
    for part in material.parts:
        found = chemistry_of(part.substance)
        if found.role in ("decisive", "unmodelled"):
            raise _no_stock(material, f"{part.inci}: {found.why}")
        if found.chemistry is not None:
            amount = float(mmol_per_100g(part.substance, part.pct)) / 100
            strong += amount * found.chemistry.strong_charge
            spectators += amount * found.chemistry.spectator_z2
            if found.chemistry.pka:
                totals[system_of(part.substance, found.chemistry)] = amount
    if not totals and not strong:
        raise _no_stock(material, "it brings no acid and no base")
    water = water_pct(Composition((CompositionLine(material, Decimal(100)),)))
    return Stock(material.name, float(water) / 100, totals, strong, spectators)


def _no_stock(material: Material, why: str) -> KitError:
    return KitError(
        f"{material.name} cannot be used to set a pH: {why}",
        where=material.key,
        mend='name an acid or a base of the library, such as "citric acid 10 %" or "sodium hydroxide 10 %"',
        code="ph.stock",
    )


def water_pct(composition: Composition) -> Decimal:
    """Water of all sources, that of hydrates included. [% w/w]"""
    per_mol = known_molar_mass("Aqua")
    return sum(
        (
            pct if substance.category == "water" else crystal_water_pct(substance, pct, per_mol)
            for _, substance, _, pct in _parts(composition)
        ),
        Decimal(0),
    )


@lru_cache(maxsize=512)
def system_of(substance: Substance, chemistry: Chemistry) -> AcidSystem:
    """The acid system of a substance with its constants and the conditions they hold at."""
    from kit.science.acidbase import AcidSystem

    return AcidSystem(
        substance.inci,
        chemistry.pka,
        charge=chemistry.protonated_charge,
        ionic_strength_mol_per_kg=chemistry.ionic_strength,
        temp_c=chemistry.temp_c,
        hydrogen=chemistry.hydrogen,
    )


@lru_cache(maxsize=1)
def groups_system() -> AcidSystem:
    """The pair of groups that stands for the buffering of extracts and proteins: neutral with both protons."""
    from kit.science.acidbase import AcidSystem

    return AcidSystem(GROUPS_NAME, GROUPS_PKA)


def _parts(composition: Composition) -> Iterator[tuple]:
    """Material, substance, part and share of every part of every line that is there; lots may differ. [% w/w]"""
    for line in composition.lines:
        for part in line.material.parts:
            if line.pct > 0 and part.pct > 0:
                yield line.material, part.substance, part, line.pct * part.pct / 100


def _unknowns(composition: Composition, solutes: list, left_out: Iterable, age_h: float | None) -> Iterator[Unknown]:
    categories = {share.substance.category for share in composition.shares().values() if share.pct > 0}
    found: dict[str, Unknown] = {}
    for solute, part in solutes:
        if part.role == "active":  # the preservative inside an extract is too little for its assay to matter
            found.setdefault(f"assay {solute.material.key}", assay_unknown(solute.material, part))
        if solute.chemistry.pka:
            unknown = pka_unknown(solute.substance, solute.chemistry, oil=bool(categories & _OILS))
            found.setdefault(unknown.name, unknown)
        latent = latent_unknown(solute.material, part, age_h)
        if latent is not None:
            found[latent.name] = latent
    yield from found.values()
    for material, substance, _ in left_out:
        yield from unmodelled_unknowns(material, substance)
    yield offset_unknown(cationic=bool(categories & set(CATIONIC_SURFACTANTS)))


def _in_two_minds(solutes: Iterable[Solute]) -> Iterator[tuple[str, tuple]]:
    """Supply forms whose acid has other constants than the same acid of an earlier one: which hold is not known."""
    known: dict[str, AcidSystem] = {}
    for solute in solutes:
        if not solute.chemistry.pka:
            continue
        system = system_of(solute.substance, solute.chemistry)
        if known.setdefault(system.name, system) != system:
            why = "its constants differ from those of another supply form of it"
            yield solute.material.key, (solute.material, solute.substance, why)


def _told(composition: Composition, left_out: Iterable) -> Iterator[Unmodelled]:
    for material, substance, why in left_out:
        whose = "" if material.name.startswith(substance.inci) else f"{substance.inci}: "
        yield Unmodelled(material.name, composition.pct(material.key), f"{whose}{why}")
