"""Time to limit: when the confidence bound of the mean leaves its limits, and how far beyond the data that is said."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.shelf_life_lines import COMMON, ONE_BATCH, POOLING_ALPHA, BatchLine, PooledLines, pooled_lines
from kit.show import Worded

FEWEST_STATIONS = 4
MOST_TIMES, MOST_BEYOND_MONTHS = 2.0, 12.0
"""Nothing is said beyond twice the last station, nor beyond it plus 12 months (ICH Q1E, 2003, 2.4; from memory)."""

TOLD, BEYOND, UNTOLD = "told", "beyond what may be said", "cannot be told"
_HALVINGS = 80
_LOWER, _UPPER = "lower", "upper"


@dataclass(frozen=True, slots=True)
class Crossing:
    """When one batch leaves its limits.

    Parameters
    ----------
    line : BatchLine          Its mean line.
    months : float, None      Where the bound first crosses a limit; None where not before the last time spoken of.
    limit : str               "lower" or "upper": the limit crossed; empty without a crossing.
    line_months : float, None   Where the line itself crosses, which is later and no claim; None where it does not.
    reason : str              Why nothing can be told; empty otherwise.
    """

    line: BatchLine
    months: float | None = None
    limit: str = ""
    line_months: float | None = None
    reason: str = ""

    @property
    def batch(self) -> Hashable:
        """Which batch."""
        return self.line.batch


@dataclass(frozen=True, slots=True, repr=False)
class ShelfLife(Worded):
    """Time to limit of some batches.

    Parameters
    ----------
    state : str               "told", "beyond what may be said" or "cannot be told".
    months : float, None      The shortest of the batches'; None unless told. [months]
    worst : Crossing, None    The batch it belongs to.
    crossings : tuple of Crossing   Batch by batch.
    pooled : PooledLines      The model and the tests that chose it.
    last_month : float        The last station. [months]
    most_months : float       The last time spoken of. [months]
    stations : int            Different times read.
    confidence : float        Of each one-sided bound: 0.95 against one limit, 0.975 where there are two.
    reason : str              Why it cannot be told.
    cautions : tuple of str   What weakens it: one batch, a batch left out, no trend shown.
    """

    state: str
    months: float | None
    worst: Crossing | None
    crossings: tuple[Crossing, ...]
    pooled: PooledLines
    last_month: float
    most_months: float
    stations: int
    confidence: float
    reason: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What it says, in a sentence."""
        if self.state == UNTOLD:
            return f"Time to limit cannot be told: {self.reason}."
        bound = f"one-sided {100 * self.confidence:g} % bound of the mean"
        more = f"; {'; '.join(self.cautions)}" if self.cautions else ""
        if self.state == BEYOND:
            most = _months(self.most_months)
            return f"The {bound} stays within the limits up to {most}, and nothing is said beyond that{more}."
        who = "" if self.pooled.model in (COMMON, ONE_BATCH) else f" (worst batch {self.worst.batch})"
        if self.months == 0:
            return f"The mean lies outside the {self.worst.limit} limit from the start{who}{more}."
        return f"The {bound} crosses the {self.worst.limit} limit at {_months(self.months)}{who}{more}."


def shelf_life(
    months: Sequence[float],
    values: Sequence[float],
    batches: Sequence[Hashable] | None = None,
    *,
    lower: float | None = None,
    upper: float | None = None,
    scale: str = "linear",
    confidence: float = 0.95,
    pooling_alpha: float = POOLING_ALPHA,
    model: str = "",
) -> ShelfLife:
    """When the confidence bound of the mean crosses a limit, by the worst batch or by what batches share.

    Parameters
    ----------
    months : sequence of float   Time in storage. [months]
    values : sequence of float   Read then, one a jar. [unit]
    batches : sequence           The batch of each; all one batch when None.
    lower, upper : float         The limits; one alone where it is known which way the value goes. [unit]
    scale : str                  "linear", or "ln" where scatter is a share of the value: the line is one of logarithms.
    confidence : float           Of the bound, such as 0.95: one-sided against one limit; two-sided against both, so
                                 that each has a one-sided bound of 0.975.
    pooling_alpha : float        Of the tests of poolability, from 0 to 1.
    model : str                  To use untested; see `pooled_lines`.

    Returns
    -------
    ShelfLife   "cannot be told" with a reason for fewer than 4 stations, no scatter, no limit, a bound that lies
                outside from the start.

    Raises
    ------
    KitError   `shelf_life.readings` for lists of different length, values that are not finite, a time before zero;
               `shelf_life.limits`, `shelf_life.scale`, `shelf_life.confidence`, `shelf_life.model`.

    Notes
    -----
    ICH Q1E (2003): confidence limit of the mean, not a prediction limit; batches pooled where p is above 0.25. An
    attribute known to fall, or to rise, has a one-sided 95 % limit; one that may go either way, two-sided 95 % limits
    against both criteria (as quoted word for word in secondary sources; the guideline itself was not at hand).
    """
    times, read, names = _readings(months, values, batches)
    turn = _turn(scale)
    _check_limits(lower, upper, confidence)
    if not 0 <= pooling_alpha <= 1:
        raise KitError(f"a level of {pooling_alpha}", allowed="from 0 to 1, such as 0.25", code="shelf_life.confidence")
    if lower is not None and upper is not None:
        confidence = 0.5 * (1 + confidence)  # it may go either way: what is left is shared by the two sides
    kept, left_out = _enough(times, names)
    times, read, names = ([part[i] for i in kept] for part in (times, read, names))
    last = max(times, default=0.0)
    most = min(MOST_TIMES * last, last + MOST_BEYOND_MONTHS)
    stations = _most_stations(times, names)
    empty = ShelfLife(UNTOLD, None, None, (), PooledLines("", reason="no line"), last, most, stations, confidence)
    reason = _untold(read, stations, lower, upper, scale)
    if reason:
        return replace(empty, reason=reason)
    pooled = pooled_lines(times, [turn(value) for value in read], names, alpha=pooling_alpha, model=model)
    if pooled.reason:
        return replace(empty, pooled=pooled, reason=pooled.reason)
    limits = [(side, turn(limit)) for side, limit in ((-1, lower), (1, upper)) if limit is not None]
    crossings = tuple(_crossing(line, limits, most, confidence) for line in pooled.lines)
    return _told(replace(empty, pooled=pooled, crossings=crossings), left_out)


def _readings(
    months: Sequence[float], values: Sequence[float], batches: Sequence[Hashable] | None
) -> tuple[list[float], list[float], list[Hashable]]:
    times, read = [float(month) for month in months], [float(value) for value in values]
    names = ["this batch"] * len(times) if batches is None else list(batches)
    whole = len(times) == len(read) == len(names) and all(map(math.isfinite, (*times, *read)))
    if not whole or min(times, default=0.0) < 0:
        raise KitError(
            "times, values and batches do not make readings",
            where="shelf_life()",
            allowed="lists of one length, finite numbers, times from zero on",
            mend="leave out what was not read",
            code="shelf_life.readings",
        )
    return times, read, names


def _turn(scale: str) -> Callable[[float], float]:
    if scale not in ("linear", "ln"):
        raise KitError(f"there is no scale {scale!r}", allowed="linear, ln", code="shelf_life.scale")
    return math.log if scale == "ln" else float


def _check_limits(lower: float | None, upper: float | None, confidence: float) -> None:
    given = [limit for limit in (lower, upper) if limit is not None]
    if not all(map(math.isfinite, given)) or (len(given) == 2 and lower >= upper):
        raise KitError(
            f"limits of {lower} and {upper} leave nothing between them",
            where="shelf_life()",
            allowed="a lower limit below the upper one",
            code="shelf_life.limits",
        )
    if not 0.5 < confidence < 1:
        raise KitError(f"a confidence of {confidence}", allowed="between 0.5 and 1", code="shelf_life.confidence")


def _stations(times: Sequence[float], names: Sequence[Hashable]) -> dict[Hashable, int]:
    """How many different times each batch was read at."""
    found: dict[Hashable, set[float]] = {}
    for time, name in zip(times, names, strict=True):
        found.setdefault(name, set()).add(time)
    return {name: len(read) for name, read in found.items()}


def _most_stations(times: Sequence[float], names: Sequence[Hashable]) -> int:
    return max(_stations(times, names).values(), default=0)


def _enough(times: Sequence[float], names: Sequence[Hashable]) -> tuple[list[int], list[Hashable]]:
    """Places of the readings of batches with enough stations, and the batches without; all where none has enough."""
    poor = [name for name, count in _stations(times, names).items() if count < FEWEST_STATIONS]
    kept = [place for place, name in enumerate(names) if name not in poor]
    return (kept, poor) if kept else (list(range(len(times))), [])


def _untold(read: Sequence[float], stations: int, lower: float | None, upper: float | None, scale: str) -> str:
    if not read:
        return "no reading counts"
    if stations < FEWEST_STATIONS:
        return f"{stations} of the {FEWEST_STATIONS} stations it takes {'was' if stations == 1 else 'were'} read"
    if lower is None and upper is None:
        return "no limit was set"
    if scale == "ln" and min([*read, *(limit for limit in (lower, upper) if limit is not None)]) <= 0:
        return "a ratio needs values and limits above zero"
    return "every value is the same, so the scatter is not known" if len(set(read)) == 1 else ""


def _crossing(line: BatchLine, limits: Sequence[tuple[int, float]], most: float, confidence: float) -> Crossing:
    found: list[tuple[float, str]] = []
    lines: list[float] = []
    for side, limit in limits:
        name = _LOWER if side < 0 else _UPPER
        if side * (line.mean(0.0) - limit) > 0:
            return Crossing(line, 0.0, name, 0.0)
        if side * (line.bound(0.0, side, confidence) - limit) > 0:
            return Crossing(
                line, reason=f"the bound lies beyond the {name} limit from the start: too much scatter about a line"
            )
        if side * (line.bound(most, side, confidence) - limit) > 0:
            found.append((_bisected(line, side, limit, most, confidence), name))
        if side * line.slope > 0:
            lines.append((limit - line.intercept) / line.slope)
    months, name = min(found, default=(None, ""))
    return Crossing(line, months, name, min(lines, default=None))


def _bisected(line: BatchLine, side: int, limit: float, most: float, confidence: float) -> float:
    """Where the bound crosses: inside at zero, outside at `most`, and bent one way only, so that it crosses once."""
    inside, outside = 0.0, most
    for _ in range(_HALVINGS):
        middle = 0.5 * (inside + outside)
        beyond = side * (line.bound(middle, side, confidence) - limit) > 0
        inside, outside = (inside, middle) if beyond else (middle, outside)
    return outside


def _told(found: ShelfLife, left_out: Sequence[Hashable]) -> ShelfLife:
    cautions = tuple(_cautions(found, left_out))
    blocked = [crossing for crossing in found.crossings if crossing.reason]
    if blocked:
        who = "" if found.pooled.model in (COMMON, ONE_BATCH) else f"{blocked[0].batch}: "
        return replace(found, reason=f"{who}{blocked[0].reason}", cautions=cautions)
    crossed = [crossing for crossing in found.crossings if crossing.months is not None]
    if not crossed:
        return replace(found, state=BEYOND, cautions=cautions)
    worst = min(crossed, key=lambda crossing: crossing.months)
    return replace(found, state=TOLD, months=worst.months, worst=worst, cautions=cautions)


def _cautions(found: ShelfLife, left_out: Sequence[Hashable]) -> list[str]:
    told = ["this batch only"] if found.pooled.model == ONE_BATCH else []
    if left_out:
        names = ", ".join(map(str, left_out))
        told.append(f"{names} left out: fewer than {FEWEST_STATIONS} stations")
    lines = found.pooled.lines
    if all(line.slope_low <= 0 <= line.slope_high for line in lines):
        told.append("no trend is shown")
    elif all(crossing.months is None and crossing.line_months is None for crossing in found.crossings):
        told.append("what moves moves away from the limit")
    return told


def _months(months: float) -> str:
    return f"{short(months, 3)} months"
