"""What the uncertainty of one value is for: its limits, and another instrument. Not batches on one instrument."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_finite, require_not_negative, require_positive
from kit.show import Worded

INSIDE = "inside"
OUTSIDE = "outside"
CANNOT_TELL = "cannot be told"


@dataclass(frozen=True, slots=True, repr=False)
class LimitVerdict(Worded):
    """A value with its uncertainty against limits.

    Parameters
    ----------
    state : str            INSIDE, OUTSIDE or CANNOT_TELL.
    probability : float    That the true value lies inside, if the value and its uncertainty are all that is known. [-]
    words : str            The same, to be printed.
    """

    state: str
    probability: float
    words: str


@dataclass(frozen=True, slots=True)
class InstrumentValue:
    """A value as one instrument gives it.

    Parameters
    ----------
    value : float                  [unit]
    standard_uncertainty : float   From its budget. [unit]
    instrument : str               Name.

    Raises
    ------
    KitError   `science.not_finite`, `science.negative`.
    """

    value: float
    standard_uncertainty: float
    instrument: str

    def __post_init__(self) -> None:
        require_finite(self.instrument or "instrument", value=self.value)
        require_not_negative(self.instrument or "instrument", standard_uncertainty=self.standard_uncertainty)


@dataclass(frozen=True, slots=True, repr=False)
class InstrumentDifference(Worded):
    """One sample read on two instruments.

    Parameters
    ----------
    difference : float          First less second. [unit]
    expanded : float            Of the difference, k = 2. [unit]
    words : str                 Whether they agree.
    """

    difference: float
    expanded: float
    words: str

    @property
    def agrees(self) -> bool:
        """Whether the difference lies within its expanded uncertainty."""
        return abs(self.difference) <= self.expanded


def against_limits(
    value: float,
    standard_uncertainty: float,
    *,
    low: float | None = None,
    high: float | None = None,
    k: float = 2.0,
) -> LimitVerdict:
    """A single value against its limits, a guard band of k standard uncertainties inside and outside each of them.

    Parameters
    ----------
    value : float                  [unit]
    standard_uncertainty : float   Of this value, from its budget. [unit]
    low, high : float              Limits; one may be left out. [unit]
    k : float                      Width of the guard band. [-]

    Returns
    -------
    LimitVerdict   INSIDE or OUTSIDE only where the guard band does not reach across a limit.

    Raises
    ------
    KitError   `uncertainty.limits` without a limit or with low above high; `science.not_finite`, `science.negative`,
               `science.not_positive`.

    Notes
    -----
    Guard bands and probability of conformity: JCGM 106:2012, 7 and 8. The probability takes the value as normal.
    """
    require_finite("value against limits", value=value, low=low, high=high)
    require_not_negative("value against limits", standard_uncertainty=standard_uncertainty)
    require_positive("value against limits", factor=k)
    if (low is None and high is None) or (low is not None and high is not None and low > high):
        raise KitError(
            f"limits {low} to {high} are none",
            where="value against limits",
            allowed="one limit, or two with the lower first",
            mend="give the limits of the spec",
            code="uncertainty.limits",
        )
    bottom = -math.inf if low is None else low
    top = math.inf if high is None else high
    guard = k * standard_uncertainty
    if bottom + guard <= value <= top - guard:
        state = INSIDE
    elif value < bottom - guard or value > top + guard:
        state = OUTSIDE
    else:
        state = CANNOT_TELL
    probability = _probability(value, standard_uncertainty, bottom, top)
    return LimitVerdict(state, probability, _limit_words(state, value, guard, bottom, top, probability))


def between_instruments(first: InstrumentValue, second: InstrumentValue) -> InstrumentDifference:
    """The same sample on two instruments: whether they agree within what is known of both.

    Parameters
    ----------
    first, second : InstrumentValue   Of one sample.

    Raises
    ------
    KitError   `uncertainty.same_instrument`: on one instrument most of the budget is common to both values, and between
               batches their own scatter holds the rest.

    Notes
    -----
    Difference against the root of both squared expanded uncertainties, as the En number of ISO/IEC 17043.
    """
    if first.instrument.strip().lower() == second.instrument.strip().lower():
        raise KitError(
            f"both values come from {first.instrument}",
            where="difference from uncertainty budgets",
            allowed="one sample on two instruments, or one value against its limits",
            mend="compare batches by the scatter between batches: it already holds what one instrument adds",
            code="uncertainty.same_instrument",
        )
    difference = first.value - second.value
    expanded = 2 * math.hypot(first.standard_uncertainty, second.standard_uncertainty)
    told = f"{first.instrument} less {second.instrument}: {short(difference, 4)} ± {short(expanded, 2)}"
    if abs(difference) <= expanded:
        words = f"{told}: no difference shown between the two instruments."
    else:
        words = f"{told}: the instruments differ by more than both budgets allow. Check calibration and method of both."
    return InstrumentDifference(difference, expanded, words)


def _probability(value: float, uncertainty: float, bottom: float, top: float) -> float:
    if not uncertainty:
        return 1.0 if bottom <= value <= top else 0.0
    return _below((top - value) / uncertainty) - _below((bottom - value) / uncertainty)


def _below(deviations: float) -> float:
    """Share of a normal distribution below so many standard deviations. [-]"""
    return math.erfc(-deviations / math.sqrt(2)) / 2


def _limit_words(state: str, value: float, guard: float, bottom: float, top: float, probability: float) -> str:
    told = f"{short(value, 5)} ± {short(guard, 2)}"
    nearest = bottom if abs(value - bottom) < abs(value - top) else top
    if state == INSIDE:
        return f"{told}: inside, also with its uncertainty."
    if state == OUTSIDE:
        return f"{told}: outside {nearest:g}, also with its uncertainty."
    return (
        f"{told}: cannot be told, the uncertainty reaches across {nearest:g} (inside with a probability of "
        f"{100 * probability:.0f} %). Read again, on more torque or more often."
    )
