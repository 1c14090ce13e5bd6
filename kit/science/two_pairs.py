"""One version and its control on two shared days, beside a scatter known from elsewhere: the narrower of two intervals.

Two pairs leave one degree of freedom within days: an interval of thirteen standard errors. The scatter from elsewhere
holds what differs between days, which here cancels: an interval that is too wide where days differ much. Neither serves
alone. The narrower of both is taken, and the chance to miss is divided between them beforehand, so that taking it costs
nothing of what the interval says (Bonferroni): 3.7 % by the known scatter and 3.3 % by the pairs where 5 % is asked. It
so holds 93 % at the least, and 96.7 % at the most where days differ much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kit.science.arm_batches import ArmBatches
from kit.science.mean_comparison import SimultaneousDifference, dunnett
from kit.science.same_day import paired
from kit.science.simultaneous import check_confidence
from kit.science.statistics import PooledSD

# Of the chance to miss that is asked. Together 7 % of 5 %: what both cannot hold at once, 93 %, is the least that is
# held, and 96.7 % what the pairs hold by themselves. Alike shares that add up to 5 % would hold 95 to 97.5 %, but be
# wider by a tenth where days are alike (own choice).
SHARE_KNOWN, SHARE_PAIRS = 0.74, 0.66

NARROWER = (
    "Versions and control share two days, too few to compare within them alone: the narrower of two intervals is "
    "taken, by the scatter of all batches and by the pairs of each day, each a little wider for it."
)


def are_two_pairs(control: ArmBatches, arms: Sequence[ArmBatches]) -> bool:
    """Whether there is one version, made once on each of two days, and its control once on the same days.

    Parameters
    ----------
    control : ArmBatches
    arms : sequence of ArmBatches
    """
    if len(arms) != 1 or not (control.days_known and arms[0].days_known):
        return False
    return len(set(control.days)) == 2 and sorted(map(repr, control.days)) == sorted(map(repr, arms[0].days))


def narrower_of_two(
    control: ArmBatches, arm: ArmBatches, known: PooledSD, *, confidence: float = 0.95
) -> tuple[SimultaneousDifference, SimultaneousDifference]:
    """The narrower interval, and the one by the known scatter.

    Parameters
    ----------
    control, arm : ArmBatches   Of `are_two_pairs`. On the scale of the calculation.
    known : PooledSD            Scatter of batches, days included. [of that scale]
    confidence : float          That the interval which is taken holds, as told above.

    Returns
    -------
    tuple of SimultaneousDifference   Both about the same difference; the second is what an equivalence and what can be
                                      found are told from, as it does not hang on how two pairs happened to lie.

    Raises
    ------
    KitError   `statistics.confidence`, `statistics.scatter_halves`.
    """
    miss = 1 - check_confidence(confidence)
    (wide,) = dunnett([arm.values], control.values, confidence=1 - SHARE_KNOWN * miss, sd=known.sd, df=known.df)
    wide = _told(wide, SHARE_KNOWN, confidence)
    of_day = dict(zip(control.days, control.values, strict=True))
    pairs = paired(arm.values, [of_day[day] for day in arm.days], 1 - SHARE_PAIRS * miss)
    if pairs.half_width is None or wide.half_width is None or pairs.half_width >= wide.half_width:
        return wide, wide
    p = min(1.0, pairs.p / SHARE_PAIRS, wide.p)
    narrow = replace(
        wide,
        low=pairs.low,
        high=pairs.high,
        half_width=pairs.half_width,
        df=pairs.df,
        standard_error=pairs.standard_error,
        critical=pairs.half_width / pairs.standard_error,
        p=p,
        p_adjusted=p,
    )
    return narrow, wide


def _told(found: SimultaneousDifference, share: float, confidence: float) -> SimultaneousDifference:
    """With the probability that goes with its share, and the confidence that was asked."""
    if found.p is None:
        return replace(found, confidence=confidence)
    p = min(1.0, found.p / share)
    return replace(found, p=p, p_adjusted=p, confidence=confidence)
