"""Wet-combing force, each tress its own control: what is left of the untreated force, and treatments compared.

The force of a tress after the treatment over its force before, in per cent. The strokes of one tress are averaged
first; the tress is the unit. Ratios scatter in proportion: all is worked out on logarithms and given back as ratios.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.required import require_positive
from kit.science.simultaneous import check_confidence
from kit.science.statistics import MeanDifference, PooledSD, mean_sd, pooled_sd, pooled_two_sample, welch
from kit.science.student_t import t_quantile

_ROUNDING = 10 * 2.0**-52
USUAL_SD_PCT = 20.0  # between tresses, even with 15 to 25 strokes each: common practice, no source


@dataclass(frozen=True, slots=True)
class Tress:
    """One tress, combed before and after its treatment.

    Parameters
    ----------
    name : str                  Of the tress.
    treatment : str             What was put on it.
    residual_pct : float        Force after, % of the force before. [%]
    strokes : tuple of int      Strokes averaged before and after; (0, 0) where only the share was recorded.
    """

    name: str
    treatment: str
    residual_pct: float
    strokes: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True)
class Treatment:
    """What one treatment leaves of the combing force.

    Parameters
    ----------
    name : str
    tresses : tuple of Tress
    residual_pct : float           Geometric mean over tresses. [%]
    low, high : float, None        Its interval; None with a `reason`. [%]
    sd_pct : float, None           Between tresses, in proportion: 100 (exp(s) - 1) of the logarithms. [%]
    confidence : float             Such as 0.95.
    reason : str                   Why there is no interval; empty where there is one.
    notes : tuple of str           What is odd about the tresses.
    """

    name: str
    tresses: tuple[Tress, ...]
    residual_pct: float
    low: float | None
    high: float | None
    sd_pct: float | None
    confidence: float
    reason: str = ""
    notes: tuple[str, ...] = ()

    @property
    def scatter_known(self) -> bool:
        """Whether five degrees of freedom or more stand behind the scatter."""
        return len(self.tresses) > 5

    @property
    def lowers(self) -> bool | None:
        """Whether the force after is shown to lie below the force before; None without an interval."""
        return None if self.high is None else self.high < 100


@dataclass(frozen=True, slots=True)
class TreatmentRatio:
    """One treatment against another: what it leaves of the force, as a ratio.

    Parameters
    ----------
    first, second : str         Names; the ratio is first over second.
    ratio : float               Of the geometric means. [-]
    low, high : float, None     Its interval, widened for so many comparisons; None with a `reason`. [-]
    df : float, None            Degrees of freedom of the scatter between tresses.
    comparisons : int           Made at once.
    confidence : float          Of all intervals together, such as 0.95.
    reason : str                Why there is no interval.
    """

    first: str
    second: str
    ratio: float
    low: float | None
    high: float | None
    df: float | None
    comparisons: int
    confidence: float
    reason: str = ""

    @property
    def differs(self) -> bool | None:
        """Whether the interval leaves 1 out; None without an interval."""
        return None if self.low is None else not self.low <= 1 <= self.high


def combed(
    name: str, treatment: str, before: Sequence[float], after: Sequence[float], *, where: str = "combing force"
) -> Tress:
    """A tress from the forces of its strokes.

    Parameters
    ----------
    name, treatment : str
    before, after : sequence of float   Force of each stroke, or one mean; above 0, both in one unit.
    where : str                         For the message.

    Raises
    ------
    KitError   `combing.before_after` where one of them is missing; `science.not_positive`.
    """
    if not len(before) or not len(after):
        raise KitError(
            f"tress {name} was combed {'after' if len(after) else 'before'} its treatment only"
            if len(before) or len(after)
            else f"tress {name} was never combed",
            where=where,
            allowed="strokes before and after, so that each tress is its own control",
            mend="leave the tress out",
            code="combing.before_after",
        )
    for force in (*before, *after):
        require_positive(f"{where}, tress {name}", force=force)
    residual = 100 * mean_sd(after).mean / mean_sd(before).mean
    return Tress(name, treatment, residual, (len(before), len(after)))


def treatments(tresses: Sequence[Tress], confidence: float = 0.95) -> tuple[Treatment, ...]:
    """What each treatment leaves of the combing force, with an interval from the scatter between tresses.

    Parameters
    ----------
    tresses : sequence of Tress   Each tress once.
    confidence : float            Between 0 and 1.

    Raises
    ------
    KitError   `combing.strokes` where a tress stands there twice: strokes and repeats of one tress are averaged before,
               they are no tresses; `science.not_positive`, `statistics.confidence`.
    """
    _refuse_strokes(tresses)
    names = dict.fromkeys(tress.treatment for tress in tresses)
    return tuple(
        _treatment(name, [tress for tress in tresses if tress.treatment == name], confidence) for name in names
    )


def against(found: Sequence[Treatment], control: str, confidence: float = 0.95) -> tuple[TreatmentRatio, ...]:
    """Every treatment against one of them, the intervals widened so that they hold together (Bonferroni).

    Parameters
    ----------
    found : sequence of Treatment
    control : str          Name of the one the others are held against.
    confidence : float     Of all intervals together, between 0 and 1.

    Returns
    -------
    tuple of TreatmentRatio   Two treatments: Welch, scatters not taken as equal. More: the scatter between tresses
                              pooled over all treatments.

    Raises
    ------
    KitError   `combing.control` where there is no such treatment; `statistics.confidence`.
    """
    chosen = next((treatment for treatment in found if treatment.name == control), None)
    if chosen is None:
        raise KitError(
            f"no tress was treated with {control!r}",
            where="combing force",
            allowed=", ".join(treatment.name for treatment in found) or "none yet",
            mend="name one of these",
            code="combing.control",
        )
    others = [treatment for treatment in found if treatment is not chosen]
    level = 1 - (1 - check_confidence(confidence)) / max(1, len(others))
    pool = pooled_sd([_logs(treatment) for treatment in found])
    if pool.df and pool.sd <= _rounding([log for treatment in found for log in _logs(treatment)]):
        pool = PooledSD(0.0, pool.df)
    return tuple(
        _ratio(other, chosen, _difference(other, chosen, pool, len(others), level), len(others), confidence)
        for other in others
    )


def _difference(other: Treatment, control: Treatment, pool: PooledSD, comparisons: int, level: float) -> MeanDifference:
    one, two = _logs(other), _logs(control)
    if comparisons == 1:
        return welch(one, two, level)
    difference = mean_sd(one).mean - mean_sd(two).mean
    return pooled_two_sample(difference, len(one), len(two), pool.sd, pool.df, level)


def _ratio(
    other: Treatment, control: Treatment, found: MeanDifference, comparisons: int, confidence: float
) -> TreatmentRatio:
    low, high = (None, None) if found.low is None else (math.exp(found.low), math.exp(found.high))
    ratio = math.exp(found.difference)
    reason = found.reason.replace("sample", "treatment").replace("value", "tress")
    return TreatmentRatio(other.name, control.name, ratio, low, high, found.df, comparisons, confidence, reason)


def _treatment(name: str, tresses: Sequence[Tress], confidence: float) -> Treatment:
    logs = _checked_logs(tresses)
    mean, sd, n = mean_sd(logs)
    if n == 1 or sd <= _rounding(logs):
        reason = "the tresses are all alike: no scatter is known" if n > 1 else "one tress: its scatter is not known"
        return Treatment(name, tuple(tresses), math.exp(mean), None, None, None, confidence, reason)
    half = t_quantile(n - 1, confidence) * sd / math.sqrt(n)
    low, high, sd_pct = math.exp(mean - half), math.exp(mean + half), 100 * math.expm1(sd)
    notes = _notes(sd_pct, tresses)
    return Treatment(name, tuple(tresses), math.exp(mean), low, high, sd_pct, confidence, notes=notes)


def _notes(sd_pct: float, tresses: Sequence[Tress]) -> tuple[str, ...]:
    notes = []
    if sd_pct > USUAL_SD_PCT:
        notes.append(
            f"tresses scatter by {sd_pct:.0f} %, more than the usual {USUAL_SD_PCT:.0f} %: look at dose and rinse"
        )
    few = sorted({min(tress.strokes) for tress in tresses if 0 < min(tress.strokes) < 15})
    if few:
        notes.append(f"from {few[0]} strokes a tress, where 15 to 25 are usual")
    return tuple(notes)


def _rounding(logs: Sequence[float]) -> float:
    """A scatter of logarithms that is no more than the last digits of a quotient of two forces."""
    return _ROUNDING * max(1.0, *map(abs, logs))


def _logs(treatment: Treatment) -> list[float]:
    return [math.log(tress.residual_pct) for tress in treatment.tresses]


def _checked_logs(tresses: Sequence[Tress]) -> list[float]:
    for tress in tresses:
        require_positive(f"tress {tress.name}", residual=tress.residual_pct)
    return [math.log(tress.residual_pct) for tress in tresses]


def _refuse_strokes(tresses: Sequence[Tress]) -> None:
    twice = [name for name, count in Counter(tress.name for tress in tresses).items() if count > 1]
    if twice:
        raise KitError(
            f"tress {', '.join(twice)} stands there more than once: strokes and repeats of one tress are no further "
            "tresses",
            where="combing force",
            allowed="each tress once, treated once",
            mend="average the strokes of a tress first; a tress treated twice is no longer its own control",
            code="combing.strokes",
        )
