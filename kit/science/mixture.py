"""What is dissolved in the water of a batch, and what a stock solution adds to it: amounts, not concentrations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from kit.science.acidbase import AcidBaseError, AcidSystem, Equilibrium, solve, strong_ions_for_ph


@dataclass(frozen=True)
class Stock:
    """A stock solution by what one gram of it brings.

    Parameters
    ----------
    name : str                        As it is written on the bottle.
    water_g_per_g : float             [g/g]
    totals_mmol_per_g : mapping       System to its total. [mmol/g]
    strong_ions_mmol_per_g : float    Net charge of ions that never react, cations positive. [mmol/g]
    spectators_z2_mmol_per_g : float  Sum of n z^2 of ions without a net charge. [mmol/g]
    """

    name: str
    water_g_per_g: float
    totals_mmol_per_g: Mapping[AcidSystem, float] = field(default_factory=dict)
    strong_ions_mmol_per_g: float = 0.0
    spectators_z2_mmol_per_g: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "totals_mmol_per_g", dict(self.totals_mmol_per_g))


@dataclass(frozen=True)
class Mixture:
    """The water of a batch and what is dissolved in it. Every amount may be an array: many batches at once.

    Parameters
    ----------
    water_g : float or array              [g]
    totals_mmol : mapping                 System to its total in the whole batch. [mmol]
    strong_ions_mmol : float or array     Net charge of ions that never react, cations positive. [mmol]
    spectators_z2_mmol : float or array   Sum of n z^2 of ions without a net charge. [mmol]
    mass_g : float or array, None         Of the whole batch, oil and all; None: as much as the water. [g]
    pka_shifts : mapping                  System to what is added to all its constants. [-]
    """

    water_g: object
    totals_mmol: Mapping[AcidSystem, object]
    strong_ions_mmol: object = 0.0
    spectators_z2_mmol: object = 0.0
    mass_g: object = None
    pka_shifts: Mapping[AcidSystem, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "totals_mmol", dict(self.totals_mmol))
        object.__setattr__(self, "pka_shifts", dict(self.pka_shifts))
        if self.mass_g is None:
            object.__setattr__(self, "mass_g", self.water_g)
        if not _all_positive(self.water_g):
            raise AcidBaseError(
                f"The batch holds {self.water_g} g of water: no pH without any",
                where="Mixture",
                allowed="water above 0 g",
                code="ph.water",
            )

    def solve(self, temp_c=25.0, activity: str = "davies") -> Equilibrium:
        """The mixture at equilibrium.

        Parameters
        ----------
        temp_c : float or array   [degC]
        activity : str            As in `kit.science.acidbase.solve`.

        Raises
        ------
        AcidBaseError   As `kit.science.acidbase.solve`.
        """
        return solve(
            self.totals_mol_per_kg(),
            self.strong_ions_mmol / self.water_g,
            temp_c,
            activity,
            self.spectators_z2_mmol / self.water_g,
            self.pka_shifts,
        )

    def totals_mol_per_kg(self) -> dict[AcidSystem, object]:
        """Totals in the water. [mol/kg water]"""
        return {system: amount / self.water_g for system, amount in self.totals_mmol.items()}

    def plus(self, stock: Stock, dose_g) -> Mixture:
        """The mixture with a dose of a stock solution in it.

        Parameters
        ----------
        stock : Stock             Its water dilutes what is there.
        dose_g : float or array   [g]

        Notes
        -----
        Strong ions of opposite sign (sodium on chloride) cancel as charges and stay as salt: they go on counting in the
        ionic strength, among the spectators.
        """
        totals = dict(self.totals_mmol)
        for system, amount in stock.totals_mmol_per_g.items():
            totals[system] = totals.get(system, 0.0) + amount * dose_g
        added = stock.strong_ions_mmol_per_g * dose_g
        strong = self.strong_ions_mmol + added
        paired = abs(self.strong_ions_mmol) + abs(added) - abs(strong)
        return Mixture(
            self.water_g + stock.water_g_per_g * dose_g,
            totals,
            strong,
            self.spectators_z2_mmol + stock.spectators_z2_mmol_per_g * dose_g + paired,
            self.mass_g + dose_g,
            self.pka_shifts,
        )

    def diluted(self, pct: float = 10.0) -> Mixture:
        """The mixture stirred into pure water until it is so many percent of the whole.

        Parameters
        ----------
        pct : float   Mass of the batch in 100 g, all of it, water and oil. [%]

        Raises
        ------
        AcidBaseError   `ph.dilution`.
        """
        if not 0 < pct <= 100:
            raise AcidBaseError(
                f"A dilution to {pct:g} % is none", where="Mixture.diluted", allowed="0 to 100 %", code="ph.dilution"
            )
        added = self.mass_g * (100 / pct - 1)
        return replace(self, water_g=self.water_g + added, mass_g=self.mass_g + added)

    def at_measured_ph(self, ph, temp_c=25.0, activity: str = "davies") -> Mixture:
        """The mixture with strong ions such that its pH is the measured one.

        Parameters
        ----------
        ph : float or array       Measured in this batch. [-]
        temp_c : float or array   At which it was read. [degC]
        activity : str            As in `kit.science.acidbase.solve`.

        Returns
        -------
        Mixture   What differs in `strong_ions_mmol` stands for all that the model does not know of.

        Raises
        ------
        AcidBaseError   As `kit.science.acidbase.strong_ions_for_ph`.
        """
        spectators = self.spectators_z2_mmol / self.water_g
        needed = strong_ions_for_ph(self.totals_mol_per_kg(), ph, temp_c, activity, spectators, self.pka_shifts)
        return replace(self, strong_ions_mmol=needed * self.water_g)


def _all_positive(value) -> bool:
    positive = value > 0
    return positive if isinstance(positive, bool) else bool(positive.all())
