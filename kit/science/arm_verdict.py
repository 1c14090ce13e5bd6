"""The verdict of a comparison: arms against a control, from a few batches, with what they can and cannot tell.

One call that a comparison rests on. It chooses the analysis by the layout, says which and why, and gives every arm a
verdict with its interval, the half-width, and the difference that would be found four times in five.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kit.errors import KitError
from kit.science.arm_analysis import NONE, POOLED, WELCH, Analysis, analyse
from kit.science.arm_batches import LN, ArmBatches, on_scale
from kit.science.arm_result import (
    CANNOT_TELL,
    EQUIVALENT,
    NO_SCATTER,
    NOT_COMPARABLE,
    NOT_SHOWN,
    REAL,
    VERDICTS,
    ArmVerdict,
    ArmVerdicts,
)
from kit.science.arm_words import sentence
from kit.science.detectable import detectable_errors
from kit.science.equivalence import Equivalence, equivalence
from kit.science.mean_comparison import SimultaneousDifference
from kit.science.number_text import degrees
from kit.science.scatter_known import ENOUGH_DF, POORLY_KNOWN, combined_sd, poorly_known, sd_interval
from kit.science.simultaneous import check_confidence, either_side_critical
from kit.science.statistics import PooledSD, pooled_sd
from kit.science.welch_exact import welch_detectable

__all__ = [
    "CANNOT_TELL",
    "EQUIVALENT",
    "NOT_COMPARABLE",
    "NOT_SHOWN",
    "NO_SCATTER",
    "NO_SHARED_DAY",
    "REAL",
    "TWO_AGAINST_TWO",
    "TWO_ON_A_SIDE",
    "VERDICTS",
    "ArmBatches",
    "ArmVerdict",
    "ArmVerdicts",
    "arm_verdicts",
]

TWO_AGAINST_TWO = "Welch at two against two holds 97.7 % where it says 95 %, more on shared days: rather too wide"
TWO_ON_A_SIDE = "Welch with two batches on one side holds from 87 to 98 % where it says 95 %, as these two scatter"
_LEAST_SHARE = 1e-6  # of the other SD: a sample of which all values are alike is planned for with so much
_SAME_WRONG = 0.05  # chance to call the same what differs by the whole margin
NO_SHARED_DAY = "made on no day of the control: the day is not separated from the change"


def arm_verdicts(
    control: ArmBatches,
    arms: Sequence[ArmBatches],
    *,
    scale: str = LN,
    margin: float | None = None,
    history: Sequence[ArmBatches] = (),
    history_sd: float | None = None,
    history_df: int = 0,
    alike: bool = True,
    confidence: float = 0.95,
    unit: str = "",
) -> ArmVerdicts:
    """Judge arms against a control.

    Parameters
    ----------
    control : ArmBatches               What the arms are set against.
    arms : sequence of ArmBatches      One or several.
    scale : str                        "ln" where scatter grows with the value (viscosity): differences are ratios;
                                       "linear" where it does not (pH).
    margin : float                     What is too small to matter, stated before the data were seen: a ratio above 1 on
                                       the ln scale, such as 1.2 for 1/1.2 to 1.2, else a difference. [unit]
    history : sequence of ArmBatches   Earlier versions that were made more than once, with their days where known.
    history_sd, history_df : float, int   Scatter pooled before, days included, on the scale of the calculation.
    alike : bool                       Whether all arms scatter alike; False takes each with its own.
    confidence : float                 That all intervals hold together.
    unit : str                         For the words.

    Returns
    -------
    ArmVerdicts   Welch for one arm below five pooled degrees of freedom; Dunnett on the pooled scatter for several;
                  days and batches at random where days hold both control and arms. A single batch without any known
                  scatter has no verdict.

    Raises
    ------
    KitError   `verdict.scale`, `verdict.not_positive`, `verdict.margin`, `verdict.history`, `statistics.not_finite`,
               `statistics.confidence`.

    Notes
    -----
    Whether the intervals hold what they say is shown by `python -m tests.simulations comparison`.
    """
    check_confidence(confidence)
    wide = _margin(margin, scale)
    pool = _pool(history_sd, history_df)
    base = on_scale(control, scale)
    scaled, past = [on_scale(arm, scale) for arm in arms], [on_scale(arm, scale) for arm in history if arm.n]
    there = [arm for arm in scaled if arm.n] if base.n else []
    if not there:
        return _nothing(base, scaled, scale)
    found = analyse(base, there, past, pool, alike=alike, confidence=confidence)
    judged = {
        id(arm): _judge(index, arm, found, wide, scale=scale, unit=unit, margin=margin)
        for index, arm in enumerate(there)
    }
    verdicts = tuple(judged.get(id(arm)) or _not_comparable(arm, base, scale) for arm in scaled)
    known = sd_interval(found.sd, found.df) if found.sd and found.df > 0 else None
    return ArmVerdicts(
        found.code,
        found.why,
        _multiplicity(found, len(there), confidence),
        found.sd,
        known and known.low,
        known and known.high,
        found.df,
        verdicts,
        (*found.notes, *_unlike([base, *there, *past], found)),
    )


def _judge(
    index: int,
    arm: ArmBatches,
    found: Analysis,
    wide: float | None,
    *,
    scale: str,
    unit: str,
    margin: float | None,
) -> ArmVerdict:
    from scipy.special import stdtrit

    gap = found.differences[index]
    n_arm, n_control = found.sizes[index]
    planned = found.by_known or gap  # what does not hang on how two pairs happened to lie
    detectable = _detectable(planned, found, index)
    same = _same(planned, wide, len(found.differences))
    verdict = _verdict(gap, planned.df, detectable, same, wide)
    cautions = _cautions(gap, found, index)
    alone = (None, None)
    if found.by_known:
        alone = (gap.low, gap.high)
    elif gap.low is not None:
        reach = float(stdtrit(gap.df, (1 + gap.confidence) / 2)) * gap.standard_error
        alone = (gap.difference - reach, gap.difference + reach)
    back = _ratio if scale == LN else float
    value, low, high, half, least, low_alone, high_alone = (
        None if number is None else back(number)
        for number in (gap.difference, gap.low, gap.high, gap.half_width, detectable, *alone)
    )
    made = ArmVerdict(
        arm.label,
        "ratio" if scale == LN else "difference",
        value,
        low,
        high,
        half,
        least,
        gap.df,
        gap.standard_error,
        gap.p,
        gap.p_adjusted,
        n_arm,
        n_control,
        verdict,
        "",
        cautions,
        gap.reason,
        same,
        low_alone,
        high_alone,
        by_pairs=planned is not gap,
    )
    words = sentence(made, confidence=gap.confidence, unit=unit, margin=margin, real=bool(gap.excludes_zero))
    object.__setattr__(made, "words", words)
    return made


def _ratio(number: float) -> float:
    """Back from the ln scale; what no number holds is infinite."""
    return math.exp(number) if number < 700 else math.inf


def _verdict(
    gap: SimultaneousDifference,
    df: float | None,
    detectable: float | None,
    same: Equivalence | None,
    wide: float | None,
) -> str:
    if gap.low is None:
        return NO_SCATTER
    if same is not None and same.shown:
        return EQUIVALENT
    if gap.excludes_zero:
        return REAL
    if poorly_known(df) or (wide is not None and detectable > wide):
        return CANNOT_TELL
    return NOT_SHOWN


def _same(gap: SimultaneousDifference, wide: float | None, several: int) -> Equivalence | None:
    """Held against the margin, by itself and with all versions in view; None without a margin or an interval."""
    from scipy.special import stdtrit

    if wide is None or gap.low is None:
        return None
    together = None
    if several > 1 and gap.loadings:
        together = either_side_critical(gap.loadings, round(float(gap.df), 6), 1 - _SAME_WRONG)
    elif several > 1:  # each with a scatter of its own: by Bonferroni
        together = float(stdtrit(gap.df, 1 - _SAME_WRONG / several))
    return equivalence(gap.difference, gap.standard_error, gap.df, wide, alpha=_SAME_WRONG, together=together)


def _detectable(gap: SimultaneousDifference, found: Analysis, index: int) -> float | None:
    if gap.low is None:
        return None
    if found.code != WELCH:
        return gap.standard_error * detectable_errors(gap.critical, gap.df)
    n_arm, n_control = found.sizes[index]
    arm_sd, control_sd = found.each_sd[index]
    second = max(control_sd, _LEAST_SHARE * arm_sd)
    ratio = max(arm_sd / second, _LEAST_SHARE)
    each = 1 - (1 - gap.confidence) / len(found.differences)
    return welch_detectable(second, n_arm, n_control, sd_ratio=ratio, confidence=each)


def _cautions(gap: SimultaneousDifference, found: Analysis, index: int) -> tuple[str, ...]:
    told = []
    if gap.low is not None and poorly_known(gap.df):
        told.append(POORLY_KNOWN)
    if gap.low is not None and found.code == WELCH and found.alike and found.sizes[index] == (2, 2):
        told.append(TWO_AGAINST_TWO)
    if gap.low is not None and found.code == WELCH and not found.alike and min(found.sizes[index]) == 2:
        told.append(TWO_ON_A_SIDE)
    if index in found.not_linked:
        told.append(NO_SHARED_DAY)
    return tuple(told)


def _multiplicity(found: Analysis, count: int, confidence: float) -> str:
    if count < 2 or found.code == NONE:
        return ""
    how = {
        POOLED: "by Dunnett's method",
        WELCH: "by Bonferroni's method, the probabilities by Holm's",
    }.get(found.code, "by Dunnett's method with the correlations of this layout")
    return f"{count} versions against one control: the {100 * confidence:.3g} % intervals hold for all together, {how}."


def _unlike(arms: Sequence[ArmBatches], found: Analysis) -> tuple[str, ...]:
    """A warning where the scatters of the arms can hardly be one: Bartlett's test at 1 %."""
    from scipy.special import chdtrc

    known = [pooled_sd([arm.values]) for arm in arms if arm.n > 1]
    known = [part for part in known if part.sd]
    if found.code != POOLED or len(known) < 2:
        return ()
    total = combined_sd(known)
    if total.df < ENOUGH_DF:
        return ()
    spread = total.df * math.log(total.sd**2) - math.fsum(part.df * math.log(part.sd**2) for part in known)
    scale = 1 + (math.fsum(1 / part.df for part in known) - 1 / total.df) / (3 * (len(known) - 1))
    if float(chdtrc(len(known) - 1, spread / scale)) > 0.01:
        return ()
    return (
        "The versions hardly scatter alike (Bartlett, 1 %): look at what makes one scatter more, or take each by "
        "itself.",
    )


def _margin(margin: float | None, scale: str) -> float | None:
    """The margin on the scale of the calculation."""
    if margin is None:
        return None
    least = 1.0 if scale == LN else 0.0
    if not (math.isfinite(margin) and margin > least):
        raise KitError(
            f"a margin of {margin}",
            where="comparison with a control",
            allowed="a ratio above 1, such as 1.2" if scale == LN else "a difference above 0",
            mend="state what is too small to matter",
            code="verdict.margin",
        )
    return math.log(margin) if scale == LN else float(margin)


def _pool(sd: float | None, df: int) -> PooledSD:
    if sd is None and not df:
        return PooledSD(None, 0)
    if sd is None or not (math.isfinite(sd) and sd > 0) or df < 1:
        raise KitError(
            f"an earlier scatter of {sd} with {degrees(df)}",
            where="comparison with a control",
            allowed="a standard deviation above 0 with 1 degree of freedom or more",
            mend="give both, or leave both out",
            code="verdict.history",
        )
    return PooledSD(float(sd), df)


def _nothing(control: ArmBatches, arms: Sequence[ArmBatches], scale: str) -> ArmVerdicts:
    verdicts = tuple(_not_comparable(arm, control, scale) for arm in arms)
    why = "no batch of the control can be compared" if not control.n else "no batch of a version can be compared"
    return ArmVerdicts(NONE, why, "", None, None, None, 0, verdicts)


def _not_comparable(arm: ArmBatches, control: ArmBatches, scale: str) -> ArmVerdict:
    reason = f"no batch of {arm.label if control.n else control.label} can be compared"
    kind = "ratio" if scale == LN else "difference"
    words = f"not comparable: {reason}"
    return ArmVerdict(arm.label, kind, *(None,) * 9, arm.n, control.n, NOT_COMPARABLE, words, (), reason)
