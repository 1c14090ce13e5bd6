"""How far an amine is neutralised by the acids beside it, and how near that is to the point where the pH jumps."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kit.science.acidbase_systems import AcidBaseError, AcidSystem
from kit.science.mixture import Mixture

NEAR = 0.03
"""Share of equivalence within which the pH cannot be predicted: an amine's assay is no better known (common practice,
no source). [-]"""

_WORDS_NEAR = "within 3 % of equivalence it cannot be predicted"


@dataclass(frozen=True)
class AmineBalance:
    """An amine against the acid that is there for it.

    Parameters
    ----------
    amine : str             Name of the system.
    amine_mmol : float      In the batch. [mmol]
    acid_mmol : float       Acid equivalents that the strong base in the batch has not used up; of an acid with several
                            steps those that the amine can take. [mmol]
    degree : float          Acid over amine: 1 at equivalence. [-]
    near : bool             Within 3 % of equivalence.
    ph : float              As given. [-]
    ph_less, ph_more : float   With 3 % less and 3 % more of the amine. [-]
    """

    amine: str
    amine_mmol: float
    acid_mmol: float
    degree: float
    near: bool
    ph: float
    ph_less: float
    ph_more: float

    def __str__(self) -> str:
        words = f"{self.amine} is neutralised to {self.degree:.0%}"
        if self.near:
            return f"{words}: {_WORDS_NEAR} (pH {self.ph_less:.1f} to {self.ph_more:.1f} with 3 % less or more of it)"
        return f"{words}; pH {self.ph_less:.2f} to {self.ph_more:.2f} with 3 % less or more of it"


def amine_balance(mixture: Mixture, amine: AcidSystem, temp_c: float = 25.0, activity: str = "davies") -> AmineBalance:
    """How far an amine of a batch is neutralised, and what 3 % of its assay does to the pH.

    Parameters
    ----------
    mixture : Mixture      Amounts in numbers, not arrays.
    amine : AcidSystem     Of charge 1 with one step; in the mixture.
    temp_c : float         [degC]
    activity : str         As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   `ph.amine`, and as `kit.science.acidbase.solve`.

    Notes
    -----
    Equivalence is where the charges of everything else balance with the amine free of protons: every other system has
    given up the protons that it holds less firmly than the amine does. The acid equivalents are what is left of them
    when the strong base of the batch has had its part.
    """
    import numpy as np

    amount = mixture.totals_mmol.get(amine, 0.0)
    if amine.charge != 1 or len(amine.pka) != 1 or not amount > 0:
        raise AcidBaseError(
            f"{amine.name} is no amine of this batch",
            where="amine_balance",
            allowed="a base with one step and charge 1, present in the batch",
            code="ph.amine",
        )
    others = {system: total for system, total in mixture.totals_mmol.items() if system != amine}
    acid = -mixture.strong_ions_mmol - sum(total * _charge_given(system, amine) for system, total in others.items())
    degree = acid / amount
    amines = amount * np.array([1.0, 1 - NEAR, 1 + NEAR])
    varied = replace(mixture, totals_mmol={**others, amine: amines})
    as_given, less, more = (float(value) for value in varied.solve(temp_c, activity).ph)
    return AmineBalance(amine.name, amount, acid, degree, bool(abs(degree - 1) <= NEAR), as_given, less, more)


def _charge_given(system: AcidSystem, amine: AcidSystem) -> int:
    """Charge of a system that has given up every proton it holds less firmly than the amine."""
    return system.charge - sum(value < amine.pka[0] for value in system.pka)
