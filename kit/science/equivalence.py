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
    """

    difference: float
    low: float
    high: float
    margin: float
    p: float
    alpha: float

    @property
    def shown(self) -> bool:
        """Whether the interval lies inside the margin."""
        return -self.margin < self.low and self.high < self.margin

    @property
    def words(self) -> str:
        """The interval against the margin in a sentence."""
        says = "inside" if self.shown else "not inside"
        share = f"{100 * (1 - 2 * self.alpha):.3g} % interval"
        return f"{share} {self.low:.4g} to {self.high:.4g}, {says} the margin of ± {self.margin:.4g} (p {self.p:.3g})"


def equivalence(
    difference: float, standard_error: float, df: float, margin: float, *, alpha: float = 0.05
) -> Equivalence:
    """Two one-sided t tests against a margin.

    Parameters
    ----------
    difference : float       [unit]
    standard_error : float   Of the difference, above zero. [unit]
    df : float               Degrees of freedom of its t.
    margin : float           Above zero; what is smaller than this does not matter. [unit]
    alpha : float            Between 0 and 0.5.

    Returns
    -------
    Equivalence

    Raises
    ------
    KitError   `science.not_positive`, `science.not_finite`, `statistics.confidence`.

    Notes
    -----
    D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657.
    """
    from scipy.special import stdtr, stdtrit

    require_positive("equivalence", standard_error=standard_error, df=df, margin=margin)
    require_finite("equivalence", difference=difference)
    check_confidence(1 - 2 * alpha)
    reach = float(stdtrit(df, 1 - alpha)) * standard_error
    p = float(stdtr(df, (abs(difference) - margin) / standard_error))
    return Equivalence(difference, difference - reach, difference + reach, margin, p, alpha)
