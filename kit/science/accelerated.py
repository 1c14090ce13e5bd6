"""What storage in the warm may indicate of storage at 25 degC: factors by Arrhenius and by Q10, never a claim.

They hold for one reaction in one structure. A gel network that melts fails in the warm a test that it never meets.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_positive
from kit.show import Worded

GAS_CONSTANT_J_MOL_K = 8.314462618
"""R, exact since 2019: CODATA 2018, from memory."""

REFERENCE_C = 25.0
WEEKS_PER_MONTH = 365.25 / 12 / 7
_KELVIN = 273.15
INDICATIVE = "indicative only"


def arrhenius_factor(ea_kj_mol: float, temp_c: float, reference_c: float = REFERENCE_C) -> float:
    """How many times faster a reaction runs at a temperature than at the reference. [-]

    Parameters
    ----------
    ea_kj_mol : float             Activation energy. [kJ/mol]
    temp_c, reference_c : float   [degC]

    Raises
    ------
    KitError   `science.not_positive` for an energy of zero or less, `accelerated.temperature`, `accelerated.range`
               where no number holds the factor.

    Notes
    -----
    k2 / k1 = exp[-Ea / R (1 / T2 - 1 / T1)], T in kelvin.
    """
    require_positive("Arrhenius factor", ea_kj_mol=ea_kj_mol)
    inverse = _inverse_k(reference_c) - _inverse_k(temp_c)
    return _in_range("the Arrhenius factor", lambda: math.exp(1000 * ea_kj_mol / GAS_CONSTANT_J_MOL_K * inverse))


def q10_factor(q10: float, warmer_by_c: float) -> float:
    """How many times faster by the Q10 rule. [-]

    Parameters
    ----------
    q10 : float           Factor for every 10 degrees.
    warmer_by_c : float   Above the reference. [degC]

    Raises
    ------
    KitError   `science.not_positive`, `accelerated.range` where no number holds the factor.
    """
    require_positive("Q10 factor", q10=q10)
    return _in_range("the factor of this Q10", lambda: q10 ** (warmer_by_c / 10))


def implied_q10(factor: float, warmer_by_c: float) -> float:
    """The Q10 that a factor between two temperatures amounts to. [-]

    Parameters
    ----------
    factor : float        Rate in the warm over rate at the reference.
    warmer_by_c : float   Not zero. [degC]

    Raises
    ------
    KitError   `science.not_positive`, `accelerated.temperature`, `accelerated.range` where no number holds the Q10.
    """
    require_positive("implied Q10 or energy", factor=factor)
    if warmer_by_c == 0:
        raise _temperature("one temperature against itself has no Q10")
    return _in_range("the implied Q10", lambda: factor ** (10 / warmer_by_c))


def activation_energy_kj_mol(factor: float, temp_c: float, reference_c: float = REFERENCE_C) -> float:
    """The activation energy that a factor between two temperatures amounts to. [kJ/mol]

    Parameters
    ----------
    factor : float                Rate at `temp_c` over rate at the reference.
    temp_c, reference_c : float   Two different ones. [degC]

    Raises
    ------
    KitError   `science.not_positive`, `accelerated.temperature`.
    """
    require_positive("implied Q10 or energy", factor=factor)
    inverse = _inverse_k(reference_c) - _inverse_k(temp_c)
    if inverse == 0:  # of two that differ by rounding too
        raise _temperature("one temperature against itself has no activation energy")
    return math.log(factor) * GAS_CONSTANT_J_MOL_K / 1000 / inverse


@dataclass(frozen=True, slots=True, repr=False)
class RuleOfThumb(Worded):
    """So many weeks in the warm taken for so many months at the reference, and what that assumes.

    Parameters
    ----------
    weeks, temp_c : float          In the warm. [weeks], [degC]
    months, reference_c : float    Taken for. [months], [degC]
    factor : float                 The one it implies. [-]
    q10 : float                    The Q10 it needs. [-]
    ea_kj_mol : float              The activation energy it needs. [kJ/mol]
    """

    weeks: float
    temp_c: float
    months: float
    reference_c: float
    factor: float
    q10: float
    ea_kj_mol: float

    @property
    def words(self) -> str:
        """The rule with what it implies."""
        return (
            f"{short(self.weeks)} weeks at {short(self.temp_c)} °C taken for {short(self.months)} months at "
            f"{short(self.reference_c)} °C implies a factor of {short(self.factor)}, a Q10 of {short(self.q10)} or "
            f"{short(self.ea_kj_mol, 2)} kJ/mol: {INDICATIVE}"
        )


def rule_of_thumb(weeks: float, temp_c: float, months: float, reference_c: float = REFERENCE_C) -> RuleOfThumb:
    """What it assumes to take weeks in the warm for months at the reference.

    Parameters
    ----------
    weeks, months : float         [weeks], [months]
    temp_c, reference_c : float   Two different ones. [degC]

    Raises
    ------
    KitError   `science.not_positive`, `accelerated.temperature`, `accelerated.range`.
    """
    require_positive("rule of thumb", weeks=weeks, months=months)
    factor = months * WEEKS_PER_MONTH / weeks
    q10 = implied_q10(factor, temp_c - reference_c)
    energy = activation_energy_kj_mol(factor, temp_c, reference_c)
    return RuleOfThumb(weeks, temp_c, months, reference_c, factor, q10, energy)


def months_by_q10(weeks: float, q10: float, temp_c: float, reference_c: float = REFERENCE_C) -> RuleOfThumb:
    """The months at the reference that weeks in the warm would be taken for with a Q10.

    Parameters
    ----------
    weeks : float                 [weeks]
    q10 : float                   Assumed.
    temp_c, reference_c : float   Two different ones. [degC]

    Raises
    ------
    KitError   `science.not_positive`, `accelerated.temperature`, `accelerated.range`.
    """
    require_positive("rule of thumb", weeks=weeks)
    return rule_of_thumb(weeks, temp_c, weeks * q10_factor(q10, temp_c - reference_c) / WEEKS_PER_MONTH, reference_c)


def _inverse_k(temp_c: float) -> float:
    kelvin = temp_c + _KELVIN
    if not (math.isfinite(kelvin) and kelvin > 0):
        raise _temperature(f"{temp_c} degC is no temperature")
    return 1 / kelvin


def _in_range(what: str, work: Callable[[], float]) -> float:
    """What `work` gives, refused where it is no finite number above zero: too large or too small to be kept."""
    try:
        found = work()
    except OverflowError:
        found = math.inf
    if 0 < found < math.inf:
        return found
    raise KitError(
        f"{what} is beyond every number",
        where="accelerated storage",
        allowed="temperatures, times and factors of real storage",
        mend="check the numbers and their units",
        code="accelerated.range",
    )


def _temperature(what: str) -> KitError:
    return KitError(what, where="accelerated storage", allowed="two temperatures", code="accelerated.temperature")
