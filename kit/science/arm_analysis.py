"""Which analysis some arms and their control allow, and its intervals: chosen by how batches lie on days.

On the scale of the calculation throughout. Chosen by layout alone, never by results: a choice by what the data show
would make every interval hold less than it says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kit.science.arm_batches import ArmBatches, day_means, invented_repeats, rows, shares_a_day
from kit.science.mean_comparison import SimultaneousDifference, dunnett, welch_each
from kit.science.mixed_batches import mixed_model
from kit.science.number_text import degrees
from kit.science.same_day import same_day
from kit.science.scatter_known import ENOUGH_DF, combined_sd
from kit.science.statistics import PooledSD, mean_sd, pooled_sd
from kit.science.two_pairs import NARROWER, are_two_pairs, narrower_of_two

POOLED, WELCH, SAME_DAY, MIXED, NONE = "pooled", "welch", "same-day", "mixed", "none"
ANALYSES = (POOLED, WELCH, SAME_DAY, MIXED, NONE)

NOTHING_REPEATED = "nothing was repeated, so the scatter of batches is not known"
DAYS_COUNT_ONCE = "batches of one day count once, so how much batches of other days scatter is not known"

_FEWEST_WITHIN = 2  # degrees of freedom within days: one gives an interval of thirteen standard errors


@dataclass(frozen=True, slots=True)
class Analysis:
    """What was done and what came out, on the scale of the calculation.

    Parameters
    ----------
    code : str               One of `ANALYSES`.
    why : str                Which analysis, and why this one.
    differences : tuple      `SimultaneousDifference` of each arm, in order.
    sizes : tuple            (units of the arm, units of the control) in each difference; units are batches, or days
                             where batches of one day count once.
    sd : float, None         Scatter of batches that it rests on.
    df : float               Its degrees of freedom; with days at random the fewest of any difference.
    notes : tuple of str     What all arms have to be read with.
    not_linked : tuple       Places of arms of which no batch was made on a day of the control.
    each_sd : tuple          (SD of the arm, SD of the control) of each difference under Welch: the one pooled of both
                             twice where they scatter alike. Empty under any other analysis.
    alike : bool             Whether all are taken to scatter alike.
    by_known : SimultaneousDifference, None   Of two pairs, the difference by the known scatter alone: an equivalence
                             and what can be found are told from it.
    """

    code: str
    why: str
    differences: tuple[SimultaneousDifference, ...]
    sizes: tuple[tuple[int, int], ...]
    sd: float | None
    df: float
    notes: tuple[str, ...] = ()
    not_linked: tuple[int, ...] = ()
    each_sd: tuple[tuple[float | None, float | None], ...] = ()
    alike: bool = True
    by_known: SimultaneousDifference | None = None


def analyse(
    control: ArmBatches,
    arms: Sequence[ArmBatches],
    history: Sequence[ArmBatches],
    pool: PooledSD,
    *,
    alike: bool,
    confidence: float,
) -> Analysis:
    """Choose the analysis and carry it out.

    Parameters
    ----------
    control : ArmBatches               At least one batch. On the scale of the calculation.
    arms : sequence of ArmBatches      At least one batch each.
    history : sequence of ArmBatches   Earlier versions made more than once.
    pool : PooledSD                    Scatter that was pooled before, days included.
    alike : bool                       Whether all arms scatter alike.
    confidence : float                 That all intervals hold together.

    Returns
    -------
    Analysis

    Raises
    ------
    KitError   `statistics.confidence`.
    """
    by_day = all(arm.days_known for arm in (control, *arms))
    if by_day and alike:
        found = _within_days(control, arms, history, pool, confidence)
        if found is not None:
            return found
    return _across(control, arms, history, pool, alike=alike, confidence=confidence, by_day=by_day)


def _within_days(
    control: ArmBatches, arms: Sequence[ArmBatches], history: Sequence[ArmBatches], pool: PooledSD, confidence: float
) -> Analysis | None:
    """Arms beside the control of the same day, where enough of them are; None otherwise."""
    past = [arm for arm in history if arm.days_known]
    if len({day for arm in (control, *arms, *past) for day in arm.days}) < 2:
        return None
    values, places, days = rows([control, *arms, *past])
    fixed = same_day(values, places, days, 0, confidence=confidence)
    mine = range(1, len(arms) + 1)
    linked = [place for place in mine if place not in fixed.not_linked]
    if not linked or fixed.df < _FEWEST_WITHIN:
        return None
    sizes = tuple((arm.n, control.n) for arm in arms)
    alone = _alone(control, arms)
    pool = combined_sd([pool, pooled_sd([arm.values for arm in history if not arm.days_known])])
    if pool.sd:
        values, places, days = rows([control, *arms, *past, invented_repeats(pool.sd, int(pool.df))])
    mixed = mixed_model(values, places, days, control=0, compared=mine, confidence=confidence)
    if not mixed.reason:
        made = [day for arm in (control, *arms, *past) for day in arm.days]
        lent = f" and a scatter pooled before ({degrees(int(pool.df))})" if pool.sd else ""
        why = (
            f"control and versions share days: days and batches at random over {len(made)} batches of "
            f"{len(set(made))} days{lent}, so that what differs between days cancels where a day holds both"
        )
        df = min((found.df for found in mixed.differences if found.df is not None), default=0)
        return Analysis(MIXED, why, mixed.differences, sizes, mixed.batch_sd, df, not_linked=alone)
    if fixed.reason or fixed.arms != tuple(mine):
        return None
    why = f"control and versions share days: a level for every day, because {mixed.reason}"
    return Analysis(SAME_DAY, why, fixed.differences, sizes, fixed.sd, fixed.df, not_linked=alone)


def _across(
    control: ArmBatches,
    arms: Sequence[ArmBatches],
    history: Sequence[ArmBatches],
    pool: PooledSD,
    *,
    alike: bool,
    confidence: float,
    by_day: bool,
) -> Analysis:
    """Means against means, the scatter pooled or each arm's own."""
    notes: list[str] = []
    unknown = NOTHING_REPEATED
    if by_day and not _one_day([control, *arms]):
        repeated = [arm.label for arm in (control, *arms) if arm.repeats_a_day]
        if repeated:
            unknown = DAYS_COUNT_ONCE
            notes.append(
                f"{', '.join(repeated)}: batches of one day count once, by their mean, as they share that day."
            )
        control, arms = day_means(control), [day_means(arm) for arm in arms]
    past = [day_means(arm) for arm in history]
    scatter = combined_sd([pooled_sd([arm.values for arm in (control, *arms, *past) if arm.n]), pool])
    lent = combined_sd([pooled_sd([arm.values for arm in past if arm.n]), pool])
    groups, sizes = [arm.values for arm in arms], tuple((arm.n, control.n) for arm in arms)
    code, why = _choice(sizes, scatter, lent, alike, unknown)
    pairs = code == POOLED and bool(lent.df) and are_two_pairs(control, arms)
    if pairs:
        notes.append(NARROWER)
    elif lent.df and _share_days(control, arms):
        notes.append(
            "Versions and control share days, but too few to compare within them: differences between days stay in the "
            "earlier scatter, so the interval is rather too wide."
        )
    if code == WELCH:
        found = welch_each(groups, control.values, confidence=confidence)
        own = pooled_sd([*groups, control.values])
        each = tuple(_each_sd(group, control.values, alike) for group in groups)
        return Analysis(WELCH, why, found, sizes, own.sd, own.df, tuple(notes), _alone(control, arms), each, alike)
    sd = None if code == NONE else scatter.sd
    by_known = None
    if pairs:
        narrow, by_known = narrower_of_two(control, arms[0], scatter, confidence=confidence)
        found = (narrow,)
    elif sd is None:
        bare = dunnett(groups, control.values, confidence=confidence, sd=0.0, df=0)
        found = tuple(replace(one, reason=why) for one in bare)
    else:
        found = dunnett(groups, control.values, confidence=confidence, sd=sd, df=scatter.df)
    alone, df = _alone(control, arms), scatter.df if sd else 0
    return Analysis(code, why, found, sizes, sd, df, tuple(notes), alone, alike=alike, by_known=by_known)


def _each_sd(arm: Sequence[float], control: Sequence[float], alike: bool) -> tuple[float | None, float | None]:
    """What both means of a Welch interval scatter by."""
    return (pooled_sd([arm, control]).sd,) * 2 if alike else (mean_sd(arm).sd, mean_sd(control).sd)


def _choice(
    sizes: Sequence[tuple[int, int]], scatter: PooledSD, lent: PooledSD, alike: bool, unknown: str
) -> tuple[str, str]:
    """Code and reason, from the counts alone."""
    from_where = f", {lent.df} of them from earlier batches" if lent.df else ""
    pooled = f"the scatter of batches pooled over all versions{from_where}: {degrees(scatter.df)}"
    both_repeated = any(min(size) > 1 for size in sizes)
    if not alike:
        if both_repeated:
            return WELCH, "the versions do not scatter alike: Welch, each with the scatter of its own and the control's"
        return NONE, "the versions do not scatter alike, and none of them was repeated beside a repeated control"
    if scatter.sd is None:
        return NONE, unknown
    if len(sizes) == 1 and scatter.df < ENOUGH_DF and both_repeated:
        return WELCH, f"only {degrees(scatter.df)} to pool: Welch, each side with its own scatter"
    return POOLED, pooled


def _alone(control: ArmBatches, arms: Sequence[ArmBatches]) -> tuple[int, ...]:
    """Arms of which no batch was made on a day of the control."""
    if not control.days_known:
        return ()
    return tuple(index for index, arm in enumerate(arms) if arm.days_known and not shares_a_day(arm, [control]))


def _one_day(arms: Sequence[ArmBatches]) -> bool:
    return len({day for arm in arms for day in arm.days}) == 1


def _share_days(control: ArmBatches, arms: Sequence[ArmBatches]) -> bool:
    return control.days_known and any(arm.days_known and shares_a_day(arm, [control]) for arm in arms)
