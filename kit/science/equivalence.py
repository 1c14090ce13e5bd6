"""The same for all practical purposes: a difference shown to lie inside a stated margin by two one-sided tests."""

from __future__ import annotations

from dataclasses import dataclass

from kit.science.required import require_finite, require_positive
from kit.science.simultaneous import check_confidence
from kit.show import Worded


@dataclass(frozen=True, slots=True, repr=False)
class Equivalence(Worded):
    """Whether a difference lies inside a margin. All in the unit of the difference but p.

    Parameters
    ----------
    difference : float   As found.
    low, high : float    Interval of 1 - 2 alpha, 90 % at 5 %: it must lie inside the margin.
    margin : float       Stated before the data were seen, to either side of zero.
    p : float            The larger of the two one-sided probabilities. [-]
    alpha : float        Chance of calling two equal that differ by the whole margin. [-]
    low_together, high_together : float, None   The same with all that were compared in view: of these bounds all hold
                         at once with 1 - alpha. None for one alone.
    """

    difference: float
    low: float
    high: float
    margin: float
    p: float
    alpha: float
    low_together: float | None = None
    high_together: float | None = None

    @property
    def shown_together(self) -> bool | None:
        """Whether the bounds that hold for all at once lie inside the margin; None for one alone."""
        if self.low_together is None:
            return None
        return -self.margin < self.low_together and self.high_together < self.margin

    @property
    def shown(self) -> bool:
        """Whether the interval lies inside the margin."""
        return -self.margin < self.low and self.high < self.margin

    @property
    def words(self) -> str:
        """The interval against the margin in a sentence."""
        says = "inside" if self.shown else "not inside"
        share = f"{100 * (1 - 2 * self.alpha):.3g} % interval"
        alone = f"{share} {self.low:.4g} to {self.high:.4g}, {says} the margin of ± {self.margin:.4g} (p {self.p:.3g})"
        if self.low_together is None:
            return alone
        says = "inside" if self.shown_together else "not inside"
        return f"{alone}; for all together {self.low_together:.4g} to {self.high_together:.4g}, {says}"


def equivalence(
    difference: float,
    standard_error: float,
    df: float,
    margin: float,
    *,
    alpha: float = 0.05,
    together: float | None = None,
) -> Equivalence:
    """Two one-sided t tests against a margin.

    Parameters
    ----------
    difference : float       [unit]
    standard_error : float   Of the difference, above zero. [unit]
    df : float               Degrees of freedom of its t.
    margin : float           Above zero; what is smaller than this does not matter. [unit]
    alpha : float            Between 0 and 0.5.
    together : float         Standard errors from the difference to a bound that holds for all that were compared, such
                             as `simultaneous.either_side_critical`; None for one alone.

    Returns
    -------
    Equivalence

    Raises
    ------
    KitError   `science.not_positive`, `science.not_finite`, `statistics.confidence`.

    Notes
    -----
    D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657. Each of several holds by itself. That all of several
    are inside at once needs no wider bound (R. L. Berger, Technometrics 24 (1982) 295, from memory); that every one
    which is called the same is so, whichever these are, does.
    """
    from scipy.special import stdtr, stdtrit

    require_positive("equivalence", standard_error=standard_error, df=df, margin=margin)
    require_finite("equivalence", difference=difference)
    check_confidence(1 - 2 * alpha)
    reach = float(stdtrit(df, 1 - alpha)) * standard_error
    p = float(stdtr(df, (abs(difference) - margin) / standard_error))
    wide = None if together is None else together * standard_error
    ends = (None, None) if wide is None else (difference - wide, difference + wide)
    return Equivalence(difference, difference - reach, difference + reach, margin, p, alpha, *ends)
