"""A plan that breaks a limit: the finding is shown, and the bound that brings it about is tightened."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.formula.rules.findings import Finding
from kit.show import Worded
from kit.trials.plan_catalogue import lay_out
from kit.trials.plan_factors import LINE, STEPS, Factor
from kit.trials.plan_layouts import Asked, Laid
from kit.trials.plan_points import Point, formula_at
from kit.units import plain

_ROUNDS = 6  # bounds that are tightened one after another
_HALVINGS = 10  # of the way from a bound to the other end: to a thousandth of it
_NO_FORMULA = ("plan.balance", "formula.absorb", "formula.value")


@dataclass(frozen=True, slots=True, repr=False)
class Tightened(Worded):
    """A bound that was moved, and why.

    Parameters
    ----------
    factor : str         Whose bound.
    side : str           "upper" or "lower".
    was, now : str       With the unit.
    points : tuple       Labels of the points of the plan as asked that were stopped.
    code, words : str    The finding.
    """

    factor: str
    side: str
    was: str
    now: str
    points: tuple[str, ...]
    code: str
    words: str

    def __str__(self) -> str:
        where = f" ({', '.join(self.points)} of the plan as it was)" if self.points else ""
        return (
            f"{self.factor}: {self.side} bound tightened from {self.was} to {self.now}. "
            f"It was stopped{where}: {self.words} [{self.code}]"
        )


@dataclass(frozen=True)
class LaidOut:
    """A layout with the formula of each point.

    Parameters
    ----------
    laid : Laid                    The points.
    formulas : tuple               One a point; None where the lines cannot balance.
    stops : dict                   Index of a point to the findings that stop it and not the base.
    tightened : tuple              What was moved to come here.
    """

    laid: Laid
    formulas: tuple[Formula | None, ...]
    stops: dict[int, tuple[Finding, ...]]
    tightened: tuple[Tightened, ...] = ()


class Reviewer:
    """Formulas of points with their stops, each formula reviewed once.

    Parameters
    ----------
    base : Formula   What is varied; what stops it too is not the plan's doing.
    absorb : str     Who makes room.
    """

    def __init__(self, base: Formula, absorb: str) -> None:
        self.base, self.absorb = base, absorb
        self._known = {finding.code for finding in base.review().stops}
        self._stops: dict[str, tuple[Finding, ...]] = {}

    def laid_out(self, layout: str, asked: Asked) -> LaidOut:
        """A layout with its formulas and stops."""
        laid = lay_out(layout, asked)
        formulas: list[Formula | None] = []
        stops: dict[int, tuple[Finding, ...]] = {}
        for place, point in enumerate(laid.points):
            made, found = self._at(laid.factors, point)
            formulas.append(made)
            if found:
                stops[place] = found
        return LaidOut(laid, tuple(formulas), stops)

    def _at(self, factors: Sequence[Factor], point: Point) -> tuple[Formula | None, tuple[Finding, ...]]:
        try:
            made = formula_at(self.base, factors, point, self.absorb)
        except KitError as problem:
            if problem.code not in _NO_FORMULA:
                raise
            return None, (Finding("stop", problem.code, problem.what),)
        if made.fingerprint not in self._stops:
            self._stops[made.fingerprint] = tuple(
                finding for finding in made.review().stops if finding.code not in self._known
            )
        return made, self._stops[made.fingerprint]


def repaired(layout: str, asked: Asked, absorb: str, *, repair: bool = True) -> LaidOut:
    """The layout, its bounds tightened until no point is stopped that the base is not.

    Parameters
    ----------
    layout : str     As `lay_out`.
    asked : Asked    What was asked.
    absorb : str     Who makes room.
    repair : bool    False leaves the plan as asked, with its stops.

    Raises
    ------
    KitError   Those of `lay_out`; `plan.balance` where no bound can mend a formula that does not balance.
    """
    reviewer = Reviewer(asked.formula, absorb)
    found = reviewer.laid_out(layout, asked)
    moved: list[Tightened] = []
    while repair and found.stops and asked.factors and len(moved) < _ROUNDS:
        step = _tightened(reviewer, layout, asked, found)
        if step is None:
            break
        asked, tightened = step
        moved.append(tightened)
        found = reviewer.laid_out(layout, asked)
    lost = [found.stops[place][0] for place, made in enumerate(found.formulas) if made is None]
    if lost:
        raise KitError(
            lost[0].words,
            where=f"points of {found.laid.title}",
            mend="narrow the levels, or let another line make room (absorb=)",
            code=lost[0].code,
        )
    return replace(found, tightened=tuple(moved))


def _tightened(reviewer: Reviewer, layout: str, asked: Asked, found: LaidOut) -> tuple[Asked, Tightened] | None:
    """The smallest move of one bound that ends the first finding; None where none does."""
    stop = next(stops[0] for stops in found.stops.values())
    best: tuple[float, Asked, Factor, str, Decimal] | None = None
    for factor, side in _movable(asked.factors, stop):
        share = _least_share(reviewer, layout, asked, factor, side, stop.code)
        if share is not None and (best is None or share < best[0]):
            bound = _bound(factor, side, share)
            best = (share, _with(asked, factor, side, bound), factor, side, bound)
    if best is None:
        return None
    _, moved, factor, side, bound = best
    was = factor.high if side == "upper" else factor.low
    points = tuple(
        dict.fromkeys(
            found.laid.points[at].label for at, stops in found.stops.items() if any(s.code == stop.code for s in stops)
        )
    )
    return moved, Tightened(factor.name, side, factor.text(was), factor.text(bound), points, stop.code, stop.words)


def _movable(factors: Sequence[Factor], stop: Finding) -> Iterator[tuple[Factor, str]]:
    """Bounds that may bring a finding about: those of the lines it names, else all."""
    named = [factor for factor in factors if factor.material is not None and factor.material.key in stop.materials]
    for factor in named or factors:
        over = stop.value is not None and stop.limit is not None and stop.value > stop.limit
        for side in ("upper",) if over and named and factor.kind == LINE else ("upper", "lower"):
            yield factor, side


def _least_share(reviewer: Reviewer, layout: str, asked: Asked, factor: Factor, side: str, code: str) -> float | None:
    """The least share of the way from a bound to where it is moved that ends a finding; None where nothing does."""

    def still(share: float) -> bool:
        try:
            moved = _with(asked, factor, side, _bound(factor, side, share))
            found = reviewer.laid_out(layout, moved)
        except KitError:
            return True  # the bounds leave no plan
        return any(finding.code == code for stops in found.stops.values() for finding in stops)

    low, high = 0.0, 0.96  # a range keeps some width
    if still(high):
        return None
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if still(middle) else (low, middle)
    return high


def _bound(factor: Factor, side: str, share: float) -> Decimal:
    """A bound moved by a share of the way to the other end, rounded towards it. [unit of the factor]"""
    start, end = (factor.high, factor.low) if side == "upper" else (factor.low, factor.high)
    exact = start + (end - start) * Decimal(repr(share))
    step = STEPS[factor.unit]
    rounding = ROUND_FLOOR if side == "upper" else ROUND_CEILING
    return (exact / step).quantize(Decimal(1), rounding) * step


def _with(asked: Asked, factor: Factor, side: str, bound: Decimal) -> Asked:
    """The same with one bound moved; levels beyond it are left out, and it becomes one."""
    if side == "upper":
        levels = [level for level in factor.levels if level < bound] + [bound]
    else:
        levels = [bound] + [level for level in factor.levels if level > bound]
    if len(levels) < 2:
        raise KitError(
            f"{factor.name} would keep one level, {plain(bound)}",
            where="bounds of the plan",
            mend="leave the factor out",
            code="plan.levels",
        )
    moved = factor.with_levels(levels)
    return replace(asked, factors=tuple(moved if one.name == factor.name else one for one in asked.factors))
