"""Arms against the control of the same day: what differs between days cancels, however unequal the counts.

The batch is the unit. A difference counts only what was made on a day that links it to the control, directly or through
another arm; an arm that nothing links is told without a difference.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.mean_comparison import SimultaneousDifference, against_control
from kit.science.scatter_known import combined_sd
from kit.science.statistics import MeanDifference, PooledSD, mean_sd, pooled_two_sample
from kit.show import Worded

_NOTHING = 1e-9  # of a projection: rounding
_ROUNDING = 10 * 2.0**-52
_CLOSEST, _ROUNDS = 0.999, 300  # of a loading; rounds to find it


@dataclass(frozen=True, slots=True, repr=False)
class SameDay(Worded):
    """Arms against the control within days.

    Parameters
    ----------
    arms : tuple                                    The arms that could be set against the control, in order.
    differences : tuple of SimultaneousDifference   One each. [unit]
    not_linked : tuple                              Arms that no day links to the control.
    sd : float, None                                Scatter of batches within a day. [unit]
    df : float                                      Its degrees of freedom.
    reason : str                                    Why there is no difference at all, empty where there is one.
    """

    arms: tuple[Hashable, ...]
    differences: tuple[SimultaneousDifference, ...]
    not_linked: tuple[Hashable, ...]
    sd: float | None
    df: float
    reason: str = ""

    @property
    def words(self) -> str:
        """Every arm with its difference, or why there is none."""
        if self.reason:
            return self.reason
        told = [f"{arm}: {found.words}" for arm, found in zip(self.arms, self.differences, strict=True)]
        told += [f"{arm}: made on no day that links it to the control" for arm in self.not_linked]
        return "; ".join(told)


def paired(first: Sequence[float], second: Sequence[float], confidence: float = 0.95) -> MeanDifference:
    """Mean difference of pairs, such as an arm and the control of each day.

    Parameters
    ----------
    first, second : sequence of float   Of the same length, pair by pair. [unit]
    confidence : float                  Of the two-sided interval.

    Returns
    -------
    MeanDifference   First less second; without an interval for a single pair or pairs that differ all alike.

    Raises
    ------
    KitError   `statistics.pairs`, `statistics.empty`, `statistics.not_finite`, `statistics.confidence`.
    """
    if len(first) != len(second):
        raise KitError(
            f"{len(first)} values and {len(second)} are no pairs",
            where="paired difference",
            allowed="one value of each for every pair",
            mend="leave out what has no partner, or compare within days",
            code="statistics.pairs",
        )
    found = mean_sd(one - other for one, other in zip(first, second, strict=True))
    size = max(abs(value) for value in (*first, *second))
    sd = 0.0 if found.sd is not None and found.sd <= _ROUNDING * size else found.sd
    # the mean of n differences scatters by sd / sqrt(n); the pooled formula with both counts n has sqrt(2 / n)
    return pooled_two_sample(found.mean, found.n, found.n, None if sd is None else sd / 2**0.5, found.n - 1, confidence)


def same_day(
    values: Sequence[float],
    arms: Sequence[Hashable],
    days: Sequence[Hashable],
    control: Hashable,
    *,
    confidence: float = 0.95,
    within_day: PooledSD | None = None,
) -> SameDay:
    """Arms against a control by least squares with a level for every day.

    Parameters
    ----------
    values : sequence of float   One a batch. [unit]
    arms, days : sequence        Of each batch.
    control : hashable           The arm the others are set against.
    confidence : float           That all intervals hold together.
    within_day : PooledSD        Scatter of batches within a day from elsewhere, pooled with what is found here. [unit]

    Returns
    -------
    SameDay

    Raises
    ------
    KitError   `statistics.empty`, `statistics.not_finite`, `statistics.confidence`; `statistics.layout` where not every
               value has its arm and its day.
    """
    import numpy as np

    mean_sd(values)  # refuses what is no number
    require_layout("comparison within days", values, arms, days)
    read = np.asarray(values, dtype=float)
    others = [arm for arm in dict.fromkeys(arms) if arm != control]
    model = np.column_stack(
        [[arm == other for arm in arms] for other in others]
        + [[day == other for day in days] for other in dict.fromkeys(days)]
    ).astype(float)
    left, size, right = np.linalg.svd(model, full_matrices=False)
    keep = size > _NOTHING * size[0]
    left, size, right = left[:, keep], size[keep], right[keep]
    rest = read - left @ (left.T @ read)
    df = read.size - int(keep.sum())
    own = PooledSD(float(np.sqrt(rest @ rest / df)), df) if df else PooledSD(None, 0)
    if own.sd is not None and own.sd <= _ROUNDING * np.abs(read).max():
        own = PooledSD(0.0, df)
    pool = combined_sd([own, *([] if within_day is None else [within_day])])
    solved = right.T / size
    wanted = np.eye(len(others), model.shape[1])
    linked = [
        index
        for index in range(len(others))
        if control in arms and np.linalg.norm(wanted[index] - right.T @ (right @ wanted[index])) < 1e-7
    ]
    missing = tuple(arm for index, arm in enumerate(others) if index not in linked)
    reason = _why_not(linked, pool)
    if reason:
        return SameDay((), (), missing, pool.sd, pool.df, reason)
    contrast = wanted[linked] @ solved  # rows: the contrast in the orthonormal coordinates
    covariance = pool.sd**2 * contrast @ contrast.T
    gaps = contrast @ (left.T @ read)
    found = against_control(
        gaps.tolist(),
        np.sqrt(np.diag(covariance)).tolist(),
        loadings_of(covariance),
        pool.df,
        confidence=confidence,
    )
    return SameDay(tuple(others[index] for index in linked), found, missing, pool.sd, pool.df)


def require_layout(where: str, values: Sequence[float], *labels: Sequence[Hashable]) -> None:
    """Refuse values of which not every one has its labels.

    Parameters
    ----------
    where : str                  For the message.
    values : sequence of float   One a batch, or one a reading.
    labels : sequences           Such as the arm and the day of each.

    Raises
    ------
    KitError   `statistics.layout`.
    """
    if any(len(told) != len(values) for told in labels):
        raise KitError(
            f"there are {len(values)} values with {' and '.join(str(len(told)) for told in labels)} labels",
            where=where,
            allowed="every value with its version and its day",
            mend="leave a value out together with what is told of it",
            code="statistics.layout",
        )


def loadings_of(covariance) -> tuple[float, ...]:
    """Loadings whose products come nearest to the correlations of some differences against one control.

    Parameters
    ----------
    covariance : array (k, k)   Of the differences. [unit squared]

    Returns
    -------
    tuple of float   k, between -1 and 1. Exact for one or two differences and where every arm was made equally often on
                     the control's days; else near.
    """
    import numpy as np

    spread = np.sqrt(np.diag(covariance))
    related = covariance / np.outer(spread, spread)
    count = related.shape[0]
    if count == 1:
        return (0.0,)
    if count == 2:
        load = min(float(np.sqrt(abs(related[0, 1]))), _CLOSEST)
        return (load, float(np.copysign(load, related[0, 1])))
    off = related - np.eye(count)
    loading = np.full(count, np.sqrt(max(off.sum() / (count * (count - 1)), 1e-6)))
    for _ in range(_ROUNDS):
        before = loading.copy()
        for index in range(count):
            rest = loading @ loading - loading[index] ** 2
            loading[index] = np.clip(off[index] @ loading / (rest + 1e-12), -_CLOSEST, _CLOSEST)
        if np.abs(loading - before).max() < 1e-9:
            break
    return tuple(loading.tolist())


def _why_not(linked: Sequence[int], pool: PooledSD) -> str:
    if not linked:
        return "no day links an arm to the control: the day is not separated from the change"
    if pool.sd is None:
        return "no scatter within a day is known: nothing was repeated beside the control"
    if pool.sd <= 0:
        return "the values are constant within days: their scatter is not known"
    return ""
