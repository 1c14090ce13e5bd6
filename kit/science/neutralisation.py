"""How far an amine is neutralised by the acids beside it, and how near that is to the point where the pH jumps."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from kit.science.acidbase_systems import AcidBaseError, AcidSystem
from kit.science.mixture import Mixture
from kit.show import Worded

NEAR = 0.03
"""Share of equivalence within which the pH cannot be predicted: an amine's assay is no better known (common practice,
no source). [-]"""

ASSAYS = (1 - NEAR, 1.0, 1 + NEAR)
"""The assay of an amine as stated, and what it may be less or more. [-]"""

EQUIVALENCE_PH = 7.5
"""Between the last constant of a carboxylic acid, 6.4 of citric acid, and that of an amine, about 9. At an amine's
equivalence every proton held less firmly than this has gone to the amine, and every other one has stayed. [-]"""

_WORDS_NEAR = "within 3 % of equivalence it cannot be predicted"


@dataclass(frozen=True, repr=False)
class AmineBalance(Worded):
    """An amine against the acid that is there for it.

    Parameters
    ----------
    amine : str             Name of the system.
    amine_mmol : float      In the batch. [mmol]
    acid_mmol : float       Acid equivalents that the strong base in the batch has not used up; of an acid with several
                            steps those that an amine can take. [mmol]
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


def is_near(degree: float) -> bool:
    """Whether an amine is within 3 % of its equivalence, the limits included.

    Parameters
    ----------
    degree : float   Acid left for the amine over the amine. [mol/mol]
    """
    return abs(degree - 1) <= NEAR + 1e-12


def charge_at_equivalence(pka: Sequence[float], protonated_charge: int = 0) -> int:
    """Charge of an acid, a base or an ampholyte that stands beside an amine at the amine's equivalence.

    Parameters
    ----------
    pka : sequence of float   Stepwise. [-]
    protonated_charge : int   Of the form that holds all protons.

    Notes
    -----
    A whole number: at equivalence, where the pH jumps, an acid is all salt. Of citric acid all three protons count, of
    tetrasodium glutamate diacetate the amine (9.4) keeps its own, arginine has taken one.

    Examples
    --------
    >>> charge_at_equivalence((3.128, 4.761, 6.396)), charge_at_equivalence((1.82, 8.99, 12.48), 2)
    (-3, 1)
    """
    return protonated_charge - sum(value < EQUIVALENCE_PH for value in pka)


def acid_left_mmol(mixture: Mixture, amines: Collection[AcidSystem]):
    """Acid equivalents left for amines once everything else in a mixture has had its own; may be negative. [mmol]

    Parameters
    ----------
    mixture : Mixture                    Amounts in numbers or arrays.
    amines : collection of AcidSystem    Which of its systems are the amines; all else counts as acid or base.

    Returns
    -------
    float or array   In the shape of the amounts.
    """
    others = sum(
        total * charge_at_equivalence(system.pka, system.charge)
        for system, total in mixture.totals_mmol.items()
        if system not in amines
    )
    return -mixture.strong_ions_mmol - others


def amine_balance(mixture: Mixture, amine: AcidSystem, temp_c: float = 25.0, activity: str = "davies") -> AmineBalance:
    """How far an amine of a batch is neutralised, and what 3 % of its assay does to the pH.

    Parameters
    ----------
    mixture : Mixture      Amounts in numbers, not arrays.
    amine : AcidSystem     Of charge 1 with one step above pH 7.5; in the mixture.
    temp_c : float         [degC]
    activity : str         As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   `ph.amine`, and as `kit.science.acidbase.solve`.

    Notes
    -----
    Equivalence is where the charges of everything else balance with the amine free of protons, see
    `charge_at_equivalence`. There the pH is steepest in the amount of amine.
    """
    amount = mixture.totals_mmol.get(amine, 0.0)
    if amine.charge != 1 or len(amine.pka) != 1 or amine.pka[0] <= EQUIVALENCE_PH or not amount > 0:
        raise AcidBaseError(
            f"{amine.name} is no amine of this batch",
            where="amine_balance",
            allowed=f"a base with one step above pH {EQUIVALENCE_PH:g} and charge 1, present in the batch",
            code="ph.amine",
        )
    acid = acid_left_mmol(mixture, (amine,))
    degree = acid / amount
    less, as_given, more = ph_by_assay(mixture, (amine,), temp_c, activity)
    return AmineBalance(amine.name, amount, acid, degree, is_near(degree), as_given, less, more)


def ph_by_assay(
    mixture: Mixture, amines: Collection[AcidSystem], temp_c: float = 25.0, activity: str = "davies"
) -> tuple[float, float, float]:
    """The pH with 3 % less of the amines, with what is stated, and with 3 % more. [-]

    Parameters
    ----------
    mixture : Mixture                    Amounts in numbers, not arrays.
    amines : collection of AcidSystem    Which of its systems are the amines.
    temp_c : float                       [degC]
    activity : str                       As in `kit.science.acidbase.solve`.

    Raises
    ------
    AcidBaseError   As `kit.science.acidbase.solve`.
    """
    import numpy as np

    shares = np.array(ASSAYS)
    varied = {system: amount * shares if system in amines else amount for system, amount in mixture.totals_mmol.items()}
    less, stated, more = (float(value) for value in replace(mixture, totals_mmol=varied).solve(temp_c, activity).ph)
    return less, stated, more
