"""How much of a scatter is the reading, how much the reader: operators reading the same samples, by mean squares."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.statistics import mean_sd
from kit.show import Worded

_ROUNDING = (10 * 2.0**-52) ** 2  # of the squares of the readings: below it is rounding


@dataclass(frozen=True, slots=True)
class GaugeComponents:
    """Variances of a gauge study, zero where mean squares would make them negative. [unit squared]

    Parameters
    ----------
    repeat : float        One operator reading one sample again.
    operator : float      Between operators.
    interaction : float   Operators that differ from sample to sample.
    sample : float        Between samples: what is to be seen.
    """

    repeat: float
    operator: float
    interaction: float
    sample: float

    @property
    def reading_share(self) -> float:
        """Repeat, operator and interaction together as a share of all. [-]"""
        reading = self.repeat + self.operator + self.interaction
        total = reading + self.sample
        return reading / total if total else 0.0


@dataclass(frozen=True, slots=True, repr=False)
class GaugeStudy(Worded):
    """Operators reading samples several times each.

    Parameters
    ----------
    squares : tuple of float           Sums of squares of operator, sample, interaction, repeat. [unit squared]
    df : tuple of int                  Their degrees of freedom.
    interaction_f : float, None        Mean square of the interaction over that of the repeats; None where the repeats
                                       agree to the last digit.
    interaction_p : float, None        Probability of an F at least this large without interaction.
    with_interaction : GaugeComponents
    pooled : GaugeComponents           Interaction and repeats taken together, as is usual where p is above 0.25.
    """

    squares: tuple[float, float, float, float]
    df: tuple[int, int, int, int]
    interaction_f: float | None
    interaction_p: float | None
    with_interaction: GaugeComponents
    pooled: GaugeComponents

    @property
    def components(self) -> GaugeComponents:
        """Those to use: with the interaction only where it shows (p of 0.25 or less, common practice).

        Beside repeats that agree to the last digit every interaction shows.
        """
        if self.interaction_p is None:
            return self.with_interaction
        return self.with_interaction if self.interaction_p <= 0.25 else self.pooled

    @property
    def words(self) -> str:
        """Standard deviations, and the share that is reading."""
        used = self.components
        return (
            f"SD of a reading again {math.sqrt(used.repeat):.3g}, between operators {math.sqrt(used.operator):.3g}, "
            f"between samples {math.sqrt(used.sample):.3g}; {100 * used.reading_share:.3g} % of the variance is reading"
        )


def gauge_study(readings: Sequence[Sequence[Sequence[float]]]) -> GaugeStudy:
    """Analysis of variance of operators by samples with repeats.

    Parameters
    ----------
    readings : nested sequence   Operators x samples x repeats, at least two of each and all of equal size. [unit]

    Returns
    -------
    GaugeStudy

    Raises
    ------
    KitError   `gauge.layout` for fewer than two of anything or unequal numbers; `statistics.not_finite`.

    Notes
    -----
    Two factors at random, both crossed: D. C. Montgomery, Introduction to Statistical Quality Control, 6th ed. 2009,
    section 8.7.
    """
    import numpy as np

    sizes = {len(samples) for samples in readings}, {len(repeats) for samples in readings for repeats in samples}
    if len(readings) < 2 or any(len(size) != 1 or min(size) < 2 for size in sizes):
        raise KitError(
            "the readings are not so many operators by so many samples by so many repeats",
            where="gauge study",
            allowed="two or more of each, every operator reading every sample equally often",
            mend="leave out what is incomplete, or read what is missing",
            code="gauge.layout",
        )
    mean_sd(value for samples in readings for repeats in samples for value in repeats)
    given = np.asarray(readings, dtype=float)
    read = given - given.mean()
    operators, samples, repeats = read.shape
    by_operator, by_sample, by_cell = read.mean((1, 2)), read.mean((0, 2)), read.mean(2)
    apart = by_cell - by_operator[:, None] - by_sample[None, :]
    within = read - by_cell[:, :, None]
    squares = (
        samples * repeats * float(by_operator @ by_operator),
        operators * repeats * float(by_sample @ by_sample),
        repeats * float((apart**2).sum()),
        float((within**2).sum()),
    )
    size = float((given**2).sum())
    squares = tuple(0.0 if part <= _ROUNDING * size else part for part in squares)
    df = (operators - 1, samples - 1, (operators - 1) * (samples - 1), operators * samples * (repeats - 1))
    return _judged(squares, df, (operators, samples, repeats))


def _judged(squares, df, shape: tuple[int, int, int]) -> GaugeStudy:
    from scipy.special import fdtrc

    operators, samples, repeats = shape
    operator, sample, both, again = (total / free for total, free in zip(squares, df, strict=True))
    together = (squares[2] + squares[3]) / (df[2] + df[3])
    f = both / again if again else None
    p = None if f is None else float(fdtrc(df[2], df[3], f))
    per_operator, per_sample = samples * repeats, operators * repeats
    with_interaction = GaugeComponents(
        again,
        max(0.0, (operator - both) / per_operator),
        max(0.0, (both - again) / repeats),
        max(0.0, (sample - both) / per_sample),
    )
    pooled = GaugeComponents(
        together, max(0.0, (operator - together) / per_operator), 0.0, max(0.0, (sample - together) / per_sample)
    )
    return GaugeStudy(squares, df, f, p, with_interaction, pooled)
