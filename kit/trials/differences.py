"""An arm against the control: a ratio or a difference, with an interval where the data allow one, all in words."""

from __future__ import annotations

from collections.abc import Sequence

from kit.science.statistics import MeanDifference, pooled_two_sample, welch
from kit.trials.results import DIFFERS, LN, NOT_SHOWN, UNTESTED, BatchValue, Difference, Scatter
from kit.trials.values import off_scale, scaled_means
from kit.trials.wording import counts, signed, significant

CONFIDENCE = 0.95
ENOUGH_DF = 5  # below, a standard deviation is itself known too poorly to lean on alone

POOLED, WELCH, SINGLE = "pooled batch scatter", "Welch", "single batch"


def difference(
    arm: Sequence[BatchValue],
    control: Sequence[BatchValue],
    scatter: Scatter,
    *,
    scale: str,
    unit: str,
    places: int,
    cautions: Sequence[str] = (),
) -> Difference:
    """The difference of an arm to the control.

    Parameters
    ----------
    arm, control : sequence of BatchValue   At least one each.
    scatter : Scatter                       Batch scatter that is known, on the scale of the calculation.
    scale, unit, places : str, str, int     "ln" gives a ratio; unit and decimals of the values.
    cautions : sequence of str              What weakens it from outside.

    Returns
    -------
    Difference   By the pooled batch scatter from 5 degrees of freedom; else by Welch where both sides have two batches;
                 else by the pooled scatter that there is; else without an interval.
    """
    found, by, more = _interval(scaled_means(arm, scale), scaled_means(control, scale), scatter)
    verdict = UNTESTED if found.excludes_zero is None else DIFFERS if found.excludes_zero else NOT_SHOWN
    cautions = (*more, *cautions)
    ends = [None if end is None else off_scale(end, scale) for end in (found.low, found.high, found.half_width)]
    words = _words(found, by, verdict, arm, control, scale=scale, unit=unit, places=places)
    return Difference(
        "ratio" if scale == LN else "difference",
        off_scale(found.difference, scale),
        ends[0],
        ends[1],
        ends[2],
        CONFIDENCE,
        found.df,
        found.standard_error,
        by,
        len(arm),
        len(control),
        verdict,
        "; ".join([words, *cautions]),
        cautions,
        _short(found, by, verdict, scale=scale, unit=unit, places=places),
    )


def size_text(value: float, *, scale: str, unit: str, places: int) -> str:
    """A ratio to three significant digits, or a difference with its sign and unit."""
    if scale == LN:
        return significant(value, 3)
    number = signed(f"{value:.{places + 1}f}")
    return number if unit in ("", "1") else f"{number} {unit}"


def _interval(arm: list[float], control: list[float], scatter: Scatter) -> tuple[MeanDifference, str, tuple[str, ...]]:
    n1, n2 = len(arm), len(control)
    gap = sum(arm) / n1 - sum(control) / n2
    if scatter.df >= ENOUGH_DF:
        return pooled_two_sample(gap, n1, n2, scatter.sd, scatter.df, CONFIDENCE), POOLED, ()
    poorly = "scatter itself poorly known"
    if n1 > 1 and n2 > 1:
        found = welch(arm, control, CONFIDENCE)
        told = ("Welch at two against two is conservative",) if n1 == n2 == 2 else ()
        return found, WELCH, (*told, poorly) if found.df is not None and found.df < ENOUGH_DF else told
    found = pooled_two_sample(gap, n1, n2, scatter.sd, scatter.df, CONFIDENCE)
    if scatter.df:
        return found, POOLED, (f"{poorly} ({scatter.df} df)",)
    return found, SINGLE, ()


def _short(found: MeanDifference, by: str, verdict: str, *, scale: str, unit: str, places: int) -> str:
    def size(value: float) -> str:
        return size_text(off_scale(value, scale), scale=scale, unit=unit, places=places)

    gap = f"{'ratio' if scale == LN else 'difference'} {size(found.difference)}"
    if found.low is None:
        return f"{gap}\n{SINGLE if by == SINGLE else 'no interval'}\n{verdict}"
    return f"{gap} ({size(found.low)} to {size(found.high)})\n{verdict}"


def _words(
    found: MeanDifference,
    by: str,
    verdict: str,
    arm: Sequence[BatchValue],
    control: Sequence[BatchValue],
    *,
    scale: str,
    unit: str,
    places: int,
) -> str:
    def size(value: float) -> str:
        return size_text(off_scale(value, scale), scale=scale, unit=unit, places=places)

    gap = f"{'ratio' if scale == LN else 'difference'} {size(found.difference)}"
    sides = f"{counts(arm)} against {counts(control)}"
    if found.low is None:
        why = (
            "single batch, nothing was repeated, so the scatter of batches is not known"
            if by == SINGLE
            else found.reason
        )
        return f"{verdict} ({why}): {gap}; {sides}"
    half = f"a factor of {size(found.half_width)}" if scale == LN else f"± {size(found.half_width).lstrip('+')}"
    df = significant(found.df, 3) if found.df % 1 else f"{found.df:.0f}"
    return (
        f"{verdict} (half-width {half}): {gap} (95 %: {size(found.low)} to {size(found.high)}); {sides}; {by}, {df} df"
    )
