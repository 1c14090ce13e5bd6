"""Difference and preference tests of a panel: exact binomial, what was shown, with the intervals of the shares.

A panel answers a forced choice. By chance alone a share p0 of the answers is right; if a share pd of the assessors
truly tells the products apart, the share of right answers is pc = p0 + pd (1 - p0), so pd = (pc - p0) / (1 - p0).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short

EXACT, NORMAL = "exact", "normal"


@dataclass(frozen=True, slots=True)
class Task:
    """A forced choice.

    Parameters
    ----------
    name : str           Such as "triangle".
    chance : float       Share of right answers by guessing. [-]
    two_sided : bool     Whether either product may win.
    standard : str       Where the test is described.
    """

    name: str
    chance: float
    two_sided: bool
    standard: str


TRIANGLE = Task("triangle", 1 / 3, False, "ISO 4120")
DUO_TRIO = Task("duo-trio", 1 / 2, False, "ISO 10399")
PAIRED = Task("paired", 1 / 2, False, "ISO 5495")
PAIRED_TWO_SIDED = Task("paired, two-sided", 1 / 2, True, "ISO 5495")
PREFERENCE = Task("preference", 1 / 2, True, "ISO 5495")
TASKS = {task.name: task for task in (TRIANGLE, DUO_TRIO, PAIRED, PAIRED_TWO_SIDED, PREFERENCE)}


@dataclass(frozen=True, slots=True)
class ShareInterval:
    """A share with its interval. All are shares. [-]

    Parameters
    ----------
    value, low, high : float   A one-sided interval has its open end at the end of the range.
    confidence : float         Such as 0.95.
    method : str               EXACT (Clopper and Pearson) or NORMAL (the formula of the standards).
    """

    value: float
    low: float
    high: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class PanelTest:
    """A forced-choice test evaluated.

    Parameters
    ----------
    task : Task
    right, assessors : int   Right answers of how many; for a two-sided task answers for the first product.
    alpha : float            Risk of seeing a difference that is not there, stated before. [-]
    minimum : int, None      Right (or agreeing) answers needed at this alpha; None where no number is enough.
    p : float                Probability of so many answers or more by guessing, both sides where the task has two. [-]
    reason : str             Why nothing can be told; empty where something can.
    """

    task: Task
    right: int
    assessors: int
    alpha: float
    minimum: int | None
    p: float | None
    reason: str = ""

    @property
    def agreeing(self) -> int:
        """The number held against `minimum`: right answers, or the larger camp of a two-sided task."""
        return max(self.right, self.assessors - self.right) if self.task.two_sided else self.right

    @property
    def shown(self) -> bool | None:
        """Whether a difference (a preference) is shown at `alpha`; None where nothing can be told."""
        if self.p is None or self.minimum is None:
            return None
        return self.agreeing >= self.minimum

    def share(self, confidence: float = 0.95, *, sides: int = 2, method: str = EXACT) -> ShareInterval | None:
        """The share of right answers, pc, with its interval; None without an answer.

        Parameters
        ----------
        confidence : float   Between 0 and 1.
        sides : int          2; 1 for an upper bound, -1 for a lower bound.
        method : str         EXACT or NORMAL.

        Raises
        ------
        KitError   `statistics.confidence`, `panel.interval`.
        """
        if not self.assessors:
            return None
        low, high = _share_bounds(self.right, self.assessors, confidence, sides, method)
        return ShareInterval(self.right / self.assessors, low, high, confidence, method)

    def discriminators(self, confidence: float = 0.95, *, sides: int = 2, method: str = EXACT) -> ShareInterval | None:
        """The share of assessors who tell the products apart, pd, with its interval; None without an answer.

        Below zero the share is not cut off, so that a panel that guesses worse than chance is seen.

        Parameters
        ----------
        confidence : float   Between 0 and 1.
        sides : int          2; 1 for an upper bound, -1 for a lower bound.
        method : str         EXACT, or NORMAL as the standard prints it.

        Raises
        ------
        KitError   `statistics.confidence`, `panel.interval`, `panel.no_discriminators` for a two-sided task.

        Notes
        -----
        pd = (pc - p0) / (1 - p0): 1.5 pc - 0.5 for the triangle test (ISO 4120:2021), 2 pc - 1 for a chance of 1/2.
        """
        _refuse_two_sided(self.task)
        share = self.share(confidence, sides=sides, method=method)
        if share is None:
            return None
        value, low, high = (_above_chance(part, self.task.chance) for part in (share.value, share.low, share.high))
        return ShareInterval(value, low, high, confidence, method)

    def similar(self, limit: float, *, alpha: float | None = None) -> bool | None:
        """Whether the share of discriminators is shown to lie below a limit stated before; None without an answer.

        Parameters
        ----------
        limit : float   Largest share of discriminators that is taken as alike, above 0 and below 1. [-]
        alpha : float   Risk of calling alike what is not; the test's own where omitted. [-]

        Raises
        ------
        KitError   `panel.limit`, `panel.no_discriminators` for a two-sided task.
        """
        if not 0 < limit < 1:
            raise KitError(
                f"a limit of {limit} for the share of discriminators",
                allowed="above 0 and below 1, such as 0.3",
                mend="state the share that would still be taken as alike",
                code="panel.limit",
            )
        bound = self.discriminators(1 - (self.alpha if alpha is None else alpha), sides=1)
        return None if bound is None else bound.high < limit


def panel_test(task: Task, right: int, assessors: int, alpha: float = 0.05) -> PanelTest:
    """A forced-choice test, one answer an assessor.

    Parameters
    ----------
    task : Task       TRIANGLE, DUO_TRIO, PAIRED, PAIRED_TWO_SIDED or PREFERENCE.
    right : int       Right answers; for a two-sided task answers for the first product.
    assessors : int   Answers in all.
    alpha : float     Stated before the test, between 0 and 1. [-]

    Returns
    -------
    PanelTest   With a `reason` where the panel is empty or so small that no answer could show anything at alpha.

    Raises
    ------
    KitError   `panel.counts`, `panel.alpha`.

    Notes
    -----
    Exact binomial: ISO 4120, ISO 10399, ISO 5495. Answers must be independent: one an assessor.
    """
    whole = all(math.isfinite(count) and int(count) == count for count in (right, assessors))
    if not whole or not 0 <= right <= assessors:
        raise KitError(
            f"{right} right of {assessors} answers",
            where=f"{task.name} test",
            allowed="whole numbers, right answers from 0 to all of them",
            mend="count again",
            code="panel.counts",
        )
    if not assessors:
        return PanelTest(task, 0, 0, checked_risk(alpha), None, None, "no assessor has answered")
    minimum = minimum_right(task, assessors, alpha)
    agreeing = max(right, assessors - right) if task.two_sided else right
    p = min(1.0, _sides(task) * upper_tail(agreeing, assessors, task.chance))
    reason = ""
    if minimum is None:
        reason = f"{assessors} assessors cannot show anything at {alpha:.3g}: not even if all of them agree"
    return PanelTest(task, int(right), int(assessors), alpha, minimum, p, reason)


def minimum_right(task: Task, assessors: int, alpha: float) -> int | None:
    """The fewest right (two-sided: agreeing) answers that show a difference at alpha; None where no number does.

    Parameters
    ----------
    task : Task
    assessors : int   1 or more.
    alpha : float     Between 0 and 1. [-]

    Raises
    ------
    KitError   `panel.alpha`.

    Notes
    -----
    ISO 4120:2021, table A.1; ISO 5495:2005: the smallest x with P(X >= x) not above alpha, alpha / 2 a side.
    """
    level = checked_risk(alpha) / _sides(task)
    at = int(task.chance * assessors) if level < 0.5 else 0
    while at <= assessors and upper_tail(at, assessors, task.chance) > level:
        at += 1
    return at if at <= assessors else None


def checked_risk(alpha: float) -> float:
    """The risk itself, where it is one. [-]

    Parameters
    ----------
    alpha : float   Between 0 and 1. [-]

    Raises
    ------
    KitError   `panel.alpha`.
    """
    if not 0 < alpha < 1:
        raise KitError(
            f"a risk of {alpha}",
            allowed="between 0 and 1, such as 0.05",
            mend="give alpha as a fraction",
            code="panel.alpha",
        )
    return alpha


def upper_tail(at: int, n: int, share: float) -> float:
    """P(X >= at) for a binomial X of n answers, each right with the same chance. [-]

    Parameters
    ----------
    at, n : int
    share : float   [-]
    """
    from scipy.special import bdtrc

    return 1.0 if at <= 0 else float(bdtrc(at - 1, n, share))


def share_words(found: ShareInterval) -> str:
    """A share with its two-sided interval in per cent: "29 % (95 % interval 5 to 52 %)".

    Parameters
    ----------
    found : ShareInterval
    """
    low, high = (f"{100 * part:.0f}".replace("-", "−") for part in (found.low, found.high))
    return f"{100 * found.value:.0f} % ({short(100 * found.confidence)} % interval {low} to {high} %)"


def _share_bounds(right: int, n: int, confidence: float, sides: int, method: str) -> tuple[float, float]:
    if not 0 < confidence < 1:
        raise KitError(
            f"a confidence of {confidence} is not possible",
            allowed="between 0 and 1, such as 0.95",
            mend="give the confidence as a fraction",
            code="statistics.confidence",
        )
    if sides not in (2, 1, -1) or method not in (EXACT, NORMAL):
        raise KitError(
            f"sides {sides}, method {method!r}",
            where="interval of a share",
            allowed=f"sides 2, 1 (upper) or -1 (lower); method {EXACT} or {NORMAL}",
            mend="name one of these",
            code="panel.interval",
        )
    outside = (1 - confidence) / 2 if sides == 2 else 1 - confidence
    low, high = (_clopper_pearson if method == EXACT else _wald)(right, n, outside)
    return (0.0 if sides == 1 else low), (1.0 if sides == -1 else high)


def _clopper_pearson(right: int, n: int, outside: float) -> tuple[float, float]:
    """Clopper and Pearson (1934), Biometrika 26:404."""
    from scipy.special import betaincinv

    low = 0.0 if right == 0 else float(betaincinv(right, n - right + 1, outside))
    high = 1.0 if right == n else float(betaincinv(right + 1, n - right, 1 - outside))
    return low, high


def _wald(right: int, n: int, outside: float) -> tuple[float, float]:
    from scipy.special import ndtri

    share = right / n
    half = float(-ndtri(outside)) * math.sqrt(share * (1 - share) / n)
    return max(0.0, share - half), min(1.0, share + half)


def _sides(task: Task) -> int:
    return 2 if task.two_sided else 1


def _above_chance(share: float, chance: float) -> float:
    return (share - chance) / (1 - chance)


def _refuse_two_sided(task: Task) -> None:
    if task.two_sided:
        raise KitError(
            f"a {task.name} test has no right answer, so no share of assessors who tell the products apart",
            mend="use the share that chose one product",
            code="panel.no_discriminators",
        )
