"""Whether intervals hold together, from the multivariate t of scipy: an outside check of adjusted intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy
from scipy import stats


def chance_together(reach: float, df: float, control: int, arms: Sequence[int]) -> float:
    """The chance that all arms against one control stay within a reach, none of them differing.

    By the definition of C. W. Dunnett (1955), J. Am. Stat. Assoc. 50:1096: the correlation of two differences is
    sqrt(n_i / (n_i + n_0) x n_j / (n_j + n_0)).

    Parameters
    ----------
    reach : float             Half an interval over its standard error. [-]
    df : float                Degrees of freedom of the scatter.
    control, arms : int       Batches of the control and of each arm.
    """
    share = numpy.array([math.sqrt(n / (n + control)) for n in arms])
    shape = numpy.outer(share, share)
    numpy.fill_diagonal(shape, 1)
    ends = numpy.full(len(share), reach)
    law = stats.multivariate_t(shape=shape, df=df, seed=1)
    return float(law.cdf(ends, lower_limit=-ends, maxpts=200_000))
