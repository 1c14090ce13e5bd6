"""What a series of pH over age says, in words: drift or not, where it settles, how fast, or what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from kit.science.drift import Trend
from kit.science.first_order import SLOW, FirstOrder
from kit.science.student_t import t_quantile
from kit.show import Worded
from kit.sources import read_data
from kit.trials.ages import age_words
from kit.trials.wording import plural, signed

DRIFT, STEADY, MOVED, UNTOLD = "drift", "steady", "moved, not shown to drift", "cannot be told"
DRIFT_VERDICTS = (DRIFT, STEADY, MOVED, UNTOLD)

_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, repr=False)
class Judged(Worded):
    """A series judged.

    Parameters
    ----------
    verdict : str               "drift", "steady", "moved, not shown to drift" or "cannot be told".
    change : float, None        From the first age to the last. [pH]
    settles_near : float, None  Where the first-order curve ends, if these readings bound it. [pH]
    half_d : float, None        When half of the change is done, likewise. [d]
    words : str                 All of it in a sentence.
    """

    verdict: str
    change: float | None
    settles_near: float | None
    half_d: float | None
    words: str


@lru_cache(maxsize=1)
def least_change() -> float:
    """What an electrode repeats in a cream; a smaller change is not called drift (common practice, no source). [pH]"""
    return float(read_data("ph_buffers.toml")["drift"]["least_change"])


def judge(
    trend: Trend, curve: FirstOrder, ages_d: Sequence[float], values: Sequence[float], batches: Sequence[str]
) -> Judged:
    """The verdict on a series and its words.

    Parameters
    ----------
    trend : Trend                  The straight line through it.
    curve : FirstOrder             The first-order change through it.
    ages_d, values : sequence      The readings. [d], [pH]
    batches : sequence of str      The batch of each.

    Returns
    -------
    Judged   "drift" if the interval of the line's slope, or that of the curve's change, leaves out zero and the change
             is more than the electrode repeats; "steady" if it is not more than that.
    """
    change = _change(trend, curve, ages_d)
    if change is None:
        return Judged(UNTOLD, None, None, None, f"cannot be told: {_missing(ages_d, trend)}")
    verdict = _verdict(change, trend, curve)
    count = f"{plural(len(values), 'reading')} of {plural(len(set(batches)), 'batch', 'batches')}"
    told = f"{verdict}: {_moves(change)} over {age_words(24 * trend.span_d)} ({count})"
    if verdict == STEADY:
        return Judged(verdict, change, None, None, told)
    ends = _Ends.of(curve)
    rest = f"; {_settling(curve, ends, ages_d)}" if verdict == DRIFT else _too_few(curve, ends)
    return Judged(
        verdict,
        change,
        curve.settled if ends.settled else None,
        curve.half_life_d if ends.timed else None,
        told + rest,
    )


class _Ends(NamedTuple):
    """Whether the readings bound where the curve ends, and how fast it gets there."""

    settled: bool
    timed: bool

    @classmethod
    def of(cls, curve: FirstOrder) -> _Ends:
        """Of a fitted curve; without a spare reading both hold as far as the change is first order."""
        if curve.change is None or curve.at_bound == SLOW:
            return cls(False, False)
        if curve.df < 1:
            return cls(True, not curve.at_bound)
        settled = curve.rate_low is not None
        return cls(settled, settled and curve.rate_high is not None and not curve.at_bound)


def _change(trend: Trend, curve: FirstOrder, ages_d: Sequence[float]) -> float | None:
    if trend.slope_per_d is None:
        return None
    return trend.change if curve.change is None else float(curve.at(max(ages_d)) - curve.at(min(ages_d)))


def _verdict(change: float, trend: Trend, curve: FirstOrder) -> str:
    if abs(change) <= least_change():
        return STEADY
    return DRIFT if trend.excludes_zero or _curve_excludes_zero(curve) else MOVED


def _curve_excludes_zero(curve: FirstOrder) -> bool:
    if curve.change_error is None or curve.rate_low is None:
        return False
    return abs(curve.change) > t_quantile(curve.df, _CONFIDENCE) * curve.change_error


def _moves(change: float) -> str:
    if abs(change) <= least_change():
        return f"moves by {signed(f'{change:.2f}')}, no more than the {least_change():g} an electrode repeats,"
    return f"{'falls' if change < 0 else 'rises'} by {abs(change):.2f}"


def _settling(curve: FirstOrder, ends: _Ends, ages_d: Sequence[float]) -> str:
    if curve.change is None:
        return f"where it settles cannot be told: {curve.reason}"
    if not ends.settled:
        return "where it settles cannot be told: it still moves at the last age"
    if not ends.timed:
        second = age_words(24 * sorted(set(ages_d))[1])
        return f"settles near {curve.settled:.2f}; nearly all of it before {second}: read earlier to tell how fast"
    told = f"settles near {curve.settled:.2f}; half of it in {age_words(24 * curve.half_life_d)}"
    return told if curve.df >= 1 else f"{told}, if the change is first order, which a fourth age would check"


def _too_few(curve: FirstOrder, ends: _Ends) -> str:
    """What is said where the readings do not show that they drift; where they would end is a guess."""
    end = f"; a first-order change through them would end near {curve.settled:.2f}" if ends.settled else ""
    half = f", half of it in {age_words(24 * curve.half_life_d)}" if ends.timed else ""
    return f", which so few do not tell from scatter{end}{half}: read it again at further ages"


def _missing(ages_d: Sequence[float], trend: Trend) -> str:
    if not len(ages_d):
        return "no reading counts"
    return f"{trend.reason}; read it again at another age"
