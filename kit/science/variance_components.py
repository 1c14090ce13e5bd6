"""How much of the scatter lies between groups and how much within: one way, by mean squares and by likelihood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.statistics import mean_sd
from kit.show import Worded


@dataclass(frozen=True, slots=True, repr=False)
class OneWay(Worded):
    """Analysis of variance of groups, such as batches with several readings each.

    Parameters
    ----------
    mean : float                              Of all values. [unit]
    df_between, df_within : int               Degrees of freedom.
    squares_between, squares_within : float   Sums of squares. [unit squared]
    between_variance : float, None            Of groups, by mean squares; zero where negative. [unit squared]
    within_variance : float, None             [unit squared]
    likely_between, likely_within : float, None   Both by restricted likelihood; the same for equal sizes, unless zero.
                                              [unit squared]
    likely_mean : float, None                 Mean of the groups by restricted likelihood. [unit]
    reason : str                              Why a part is missing.
    """

    mean: float
    df_between: int
    df_within: int
    squares_between: float
    squares_within: float
    between_variance: float | None
    within_variance: float | None
    likely_between: float | None
    likely_within: float | None
    likely_mean: float | None
    reason: str = ""

    @property
    def f(self) -> float | None:
        """Mean square between groups over that within. [-]"""
        if not (self.df_between and self.df_within and self.squares_within):
            return None
        return self.squares_between / self.df_between / (self.squares_within / self.df_within)

    @property
    def p(self) -> float | None:
        """Probability of an F at least this large if groups were alike. [-]"""
        from scipy.special import fdtrc

        return None if self.f is None else float(fdtrc(self.df_between, self.df_within, self.f))

    @property
    def words(self) -> str:
        """Both standard deviations, or why there is none."""
        if self.reason:
            return self.reason
        between, within = math.sqrt(self.between_variance), math.sqrt(self.within_variance)
        return f"mean {self.mean:.6g}; SD between groups {between:.3g}, within {within:.3g}"


def one_way(groups: Sequence[Sequence[float]]) -> OneWay:
    """Analysis of variance one way, with the components of variance.

    Parameters
    ----------
    groups : sequence of sequences of float   Sizes equal or not. [unit]

    Returns
    -------
    OneWay   Without components where there is one group, or no group holds two values.

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`.

    Notes
    -----
    Mean squares: S. R. Searle, G. Casella and C. E. McCulloch, Variance Components, 1992, chapter 3, unequal sizes
    included. Deviations are taken from the means, so that many leading digits in common do no harm.
    """
    found = [mean_sd(group) for group in groups]
    everything = [float(value) for group in groups for value in group]
    start = everything[0] if everything else 0.0
    total = mean_sd(value - start for value in everything)
    squares_between = math.fsum(part.n * (part.mean - start - total.mean) ** 2 for part in found)
    centred = [[value - start for value in group] for group in groups]
    squares_within = math.fsum(
        (part.n - 1) * (mean_sd(group).sd or 0.0) ** 2 for part, group in zip(found, centred, strict=True)
    )
    df_between, df_within = len(found) - 1, len(everything) - len(found)
    told = (start + total.mean, df_between, df_within, squares_between, squares_within)
    if not (df_between and df_within):
        missing = "one group alone" if not df_between else "no group holds two values"
        return OneWay(*told, *(None,) * 5, f"{missing}: the two scatters cannot be told apart")
    within = squares_within / df_within
    size = (len(everything) - math.fsum(part.n**2 for part in found) / len(everything)) / df_between
    between = max(0.0, (squares_between / df_between - within) / size)
    return OneWay(*told, between, within, *_by_likelihood(centred, start))


def _by_likelihood(centred: Sequence[Sequence[float]], start: float) -> tuple[float | None, float | None, float | None]:
    import numpy as np

    from kit.science.reml import random_factor_layout

    values = np.array([value for group in centred for value in group])
    place = np.repeat(np.arange(len(centred)), [len(group) for group in centred])
    layout = random_factor_layout(np.ones((values.size, 1)), np.eye(len(centred))[place])
    fit = None if layout is None else layout.fit(values)
    if fit is None:
        return None, None, None
    return fit.group_variance, fit.residual_variance, start + float(fit.coefficients[0])
