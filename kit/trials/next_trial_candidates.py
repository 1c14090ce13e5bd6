"""Formulas that could be made next: in bounds, balanced, as a bench sets them, without a stop, within the cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from kit.errors import FormulaError, KitError
from kit.formula.formula import Formula
from kit.formula.rules.many import review_many
from kit.trials.plan_factors import ACTIVE
from kit.trials.response_coordinates import Coordinates
from kit.trials.response_levels import MIXTURE, PROCESS, LevelFactor

if TYPE_CHECKING:
    import numpy as np

    from kit.formula.prices import Price
    from kit.science.design_region import MixtureRegion

_HUNDREDTH = Decimal("0.01")
_SLIP = 0.006  # a level weighed to the hundredth may lie this far beyond its bound [%]
_STEPS = {"rpm": 100.0, "min": 0.5, "degC": 0.5}  # what is set at a bench (own choice)
_AT_ENDS = 0.3  # share of candidates with an independent factor at an end of its range
_TRIES = 20  # times as many points are drawn, at most, as are asked for


@dataclass(frozen=True)
class Candidate:
    """A formula that could be made, and its levels as meant.

    Parameters
    ----------
    formula : Formula          Balanced to 100.00, steps set.
    levels : tuple of float    One a factor. [unit of each]
    """

    formula: Formula
    levels: tuple[float, ...]


@dataclass(frozen=True)
class Bench:
    """What bounds a candidate.

    Parameters
    ----------
    base : Formula               What is changed.
    space : Coordinates          Factors with their bounds, the parts of a mixture first.
    constraints : tuple of str   On the parts of the mixture, "a + b <= 2.5".
    absorb : str                 What takes up the change.
    prices : dict, None          For `most_per_kg`.
    most_per_kg : Decimal, None  Materials for a kilogram, at most.
    """

    base: Formula
    space: Coordinates
    constraints: tuple[str, ...] = ()
    absorb: str = "water"
    prices: Mapping[str, Price] | None = None
    most_per_kg: Decimal | None = None

    def spread(self, count: int, seed: int) -> list[Candidate]:
        """Candidates over the whole region, corners and edges too.

        Parameters
        ----------
        count : int   As many, where the region has them.
        seed : int    Of the draws.
        """
        import numpy as np

        draw = np.random.default_rng(seed)
        return self.made(self._drawn(draw, 2 * count), count)

    def near(self, levels: Sequence[float], count: int, seed: int, width: float = 0.2) -> list[Candidate]:
        """Candidates around a point.

        Parameters
        ----------
        levels : sequence of float   As meant.
        count : int                  As many at most.
        seed : int                   Of the draws.
        width : float                How far at most, as a share of the way to another point of the region.
        """
        import numpy as np

        draw = np.random.default_rng(seed)
        others = self._drawn(draw, 2 * count)
        away = width * draw.uniform(size=(len(others), 1))
        return self.made(np.asarray(levels, dtype=float) * (1 - away) + others * away, count)

    def of(self, levels: Sequence[float]) -> Candidate | None:
        """The candidate at some levels, to bench resolution; None where it cannot be balanced or breaks a bound.

        Parameters
        ----------
        levels : sequence of float   One a factor. [unit of each]
        """
        changes, settings, meant = {}, [], []
        for factor, level in zip(self.space.factors, levels, strict=True):
            if factor.kind == PROCESS:
                step = _STEPS.get(factor.unit, 0.0)
                value = round(level / step) * step if step else float(level)
                settings.append((factor, value))
                meant.append(value)
                continue
            supplied = Decimal(str(float(level))) * 100 / _active(factor)
            pct = supplied.quantize(_HUNDREDTH)
            changes[factor.material.key] = f"{pct} %"
            meant.append(float(pct * _active(factor) / 100))
        try:
            formula = self.base.change(changes, absorb=self.absorb) if changes else self.base
        except FormulaError:
            return None
        steps = formula.steps
        for factor, value in settings:
            if factor.setting is not None:
                steps = factor.setting.put(steps, Decimal(str(value)))
        if steps != formula.steps:
            formula = formula.with_steps(steps, version=formula.version if changes else "")
        if formula.composition().total != 100 or any(line.pct < 0 for line in formula.composition().lines):
            return None
        return Candidate(formula, tuple(meant))

    def allowed(self, found: Sequence[Candidate]) -> list[Candidate]:
        """Those without a stop in the review, within the cost.

        Parameters
        ----------
        found : sequence of Candidate
        """
        if not found:
            return []
        stops = review_many([one.formula.composition() for one in found], self.base.spec).count("stop")
        return [one for one, count in zip(found, stops, strict=True) if not count and self._affordable(one.formula)]

    def why_none(self, seed: int) -> str:
        """Why no candidate is left, by the first that could be balanced.

        Parameters
        ----------
        seed : int   Of the draws.
        """
        import numpy as np

        drawn = (self.of(row) for row in self._drawn(np.random.default_rng(seed), 20))
        made = [one for one in drawn if one is not None]
        if not made:
            return f"no formula inside the bounds balances with {self.absorb} taking up the change"
        stops = made[0].formula.review().stops
        if stops:
            return f"every formula inside the bounds has a stop in its review, such as: {stops[0].words}"
        if self.most_per_kg is not None:
            return f"no formula inside the bounds costs {self.most_per_kg} a kilogram or less"
        return "no formula inside the bounds keeps every constraint"

    def unpriced(self) -> tuple[str, ...]:
        """Materials of the base without a price, where a cost is asked for."""
        return () if self.most_per_kg is None else self.base.cost(prices=self.prices).unknown

    def _affordable(self, formula: Formula) -> bool:
        if self.most_per_kg is None:
            return True
        cost = formula.cost(prices=self.prices)
        return cost.is_known and cost.materials_per_kg <= self.most_per_kg

    def _drawn(self, draw: np.random.Generator, count: int) -> np.ndarray:
        """Levels drawn from the region, (count, factors)."""
        import numpy as np

        space, parts = self.space, self.space.parts
        out = np.empty((count, len(space.factors)))
        if parts:
            corners = np.array(self._corners())
            shares = draw.dirichlet(np.full(len(corners), 0.5), size=count)
            out[:, :parts] = shares @ corners
        for index in range(parts, len(space.factors)):
            level = draw.uniform(space.low[index], space.high[index], size=count)
            end = draw.choice([space.low[index], space.high[index]], size=count)
            out[:, index] = np.where(draw.uniform(size=count) < _AT_ENDS, end, level)
        return out

    def holds(self, levels: Sequence[float]) -> bool:
        """Whether levels keep every bound and constraint, to the hundredth that is weighed.

        Parameters
        ----------
        levels : sequence of float   One a factor. [unit of each]
        """
        space, parts = self.space, self.space.parts
        for level, low, high in zip(levels, space.low, space.high, strict=True):
            if not low - _SLIP <= level <= high + _SLIP:
                return False
        return not parts or self._region.contains(levels[:parts], parts * _SLIP)

    @cached_property
    def _region(self) -> MixtureRegion:
        from kit.science.design_region import mixture_region

        space, parts = self.space, self.space.parts
        return mixture_region(
            space.names[:parts],
            [str(round(low, 6)) for low in space.low[:parts]],
            [str(round(high, 6)) for high in space.high[:parts]],
            str(round(space.total, 6)),
            self.constraints,
        )

    def _corners(self) -> list[tuple[float, ...]]:
        return [tuple(float(level) for level in vertex) for vertex in self._region.vertices]

    def made(self, levels: np.ndarray, count: int) -> list[Candidate]:
        """The candidates at some levels, each once, without those that cannot be made.

        Parameters
        ----------
        levels : array, (m, factors)   As meant.
        count : int                    As many at most.
        """
        found: dict[tuple[float, ...], Candidate] = {}
        for row in levels:
            if len(found) >= count:
                break
            one = self.of(row)
            if one is not None and self.holds(one.levels):
                found.setdefault(one.levels, one)
        return self.allowed(list(found.values()))


def check_bounds(space: Coordinates) -> None:
    """Refuse a factor without a range: nothing could be suggested of it.

    Parameters
    ----------
    space : Coordinates

    Raises
    ------
    KitError   `next.bounds`; `next.setting` for a number of the making that no step of a formula holds.
    """
    for factor, low, high in zip(space.factors, space.low, space.high, strict=True):
        if not high > low:
            raise KitError(
                f"{factor.name} has no range: {low:g} only",
                where="next_trial()",
                allowed=f'bounds, such as "{factor.name}: 4 to 6 {factor.unit}"',
                mend="give its bounds",
                code="next.bounds",
            )
        if factor.kind == PROCESS and factor.setting is None:
            raise KitError(
                f"{factor.name} is read off a log and set by no step: it cannot be planned",
                where="next_trial()",
                mend="name a setting of a step, such as 'combine rpm' or 'cool minutes'",
                code="next.setting",
            )


def _active(factor: LevelFactor) -> Decimal:
    return factor.material.active_pct if factor.basis == ACTIVE else Decimal(100)


def mixture_words(space: Coordinates) -> tuple[str, ...]:
    """The total of the mixture part in a sentence; none without a mixture.

    Parameters
    ----------
    space : Coordinates
    """
    parts = [factor for factor in space.factors if factor.kind == MIXTURE]
    if not parts:
        return ()
    active = " (active matter where the supply form carries some)" if any(one.basis == ACTIVE for one in parts) else ""
    return (f"{', '.join(one.name for one in parts)} share {space.total:.2f} %{active}.",)
