"""A simulated bench: formulas that can be made on it, and the batches that were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

from kit.formula.files import load_formula
from kit.science.desirability import target
from kit.science.goal_surfaces import Observed
from kit.trials.next_trial_candidates import Bench
from kit.trials.next_trial_choice import Tried
from kit.trials.next_trial_goals import goal_of_limits
from kit.trials.response_coordinates import Coordinates
from kit.trials.response_levels import read_level_factors
from tests.simulations.next_trial_truth import BENCHES, COMBING_SD, Truth

if TYPE_CHECKING:
    from kit.formula.formula import Formula
    from kit.science.desirability import Goal

POOL = 1500
A_DAY = 3
SLIP = 0.006  # a level weighed to the hundredth may lie this far beyond its bound, as in the kit [%]
VISCOSITY, COMBING = "viscosity", "wet combing"
# the spec of the green tea conditioner as the kit reads it, and with the middle of its viscosities as the target
SPEC, TARGET = "spec", "target"
GOALS = {
    SPEC: {VISCOSITY: goal_of_limits(13000, 20000), COMBING: goal_of_limits(None, 42)},
    TARGET: {VISCOSITY: target(13000, 16100, 20000), COMBING: goal_of_limits(None, 42)},
}
FACTORS = (
    "cetrimonium-chloride-29: 0 to 1.5 %",
    "behentrimonium-chloride-80: 0.5 to 2.5 %",
    "cetearyl-alcohol: 4 to 6 %",
    "combine rpm: 4000 to 9000 rpm",
    "combine minutes: 3 to 12 min",
)


class Drawn:
    """A candidate whose formula is made when it is asked for: most are only looked at."""

    def __init__(self, bench: SimulatedBench, levels: tuple[float, ...]) -> None:
        self.bench, self.levels = bench, levels

    @property
    def formula(self) -> Formula:
        return Bench.of(self.bench, self.levels).formula


@dataclass(frozen=True)
class SimulatedBench(Bench):
    """A bench whose candidates are drawn and rounded as the kit does it, many at once, and reviewed when picked."""

    @cached_property
    def pool(self) -> tuple[Drawn, ...]:
        """Formulas over the whole region: what can be attained, and what random trials are drawn from."""
        return tuple(self.spread(POOL, 5))

    @cached_property
    def levels(self) -> np.ndarray:
        """Of the pool, (m, 5)."""
        return np.array([one.levels for one in self.pool])

    def of(self, levels) -> Drawn:
        return self.made(np.array([levels], dtype=float), 1)[0]

    def allowed(self, found) -> list[Drawn]:
        return list(found)

    def made(self, levels: np.ndarray, count: int) -> list[Drawn]:
        strength = np.array([float(one.material.active_pct) for one in self.space.factors[:3]]) / 100
        out = np.array(levels, dtype=float)
        out[:, :3] = np.round(out[:, :3] / strength, 2) * strength
        out[:, 3:] = np.round(out[:, 3:] / [100.0, 0.5]) * [100.0, 0.5]
        low, high = np.array(self.space.low), np.array(self.space.high)
        inside = ((out >= low - SLIP) & (out <= high + SLIP)).all(axis=1)
        inside &= np.abs(out[:, :3].sum(axis=1) - self.space.total) <= 3 * SLIP
        kept = dict.fromkeys(tuple(float(level) for level in row) for row in out[inside])
        return [Drawn(self, row) for row in list(kept)[:count]]


def make_bench() -> SimulatedBench:
    """The green tea conditioner with its three parts and two settings."""
    base = load_formula(files("kit.demo").joinpath("formulas/green-tea.toml"))
    factors = read_level_factors(base, (), FACTORS, mixture=False)
    factors = tuple(replace(one, kind="mixture") if place < 3 else one for place, one in enumerate(factors))
    space = Coordinates(factors, tuple(one.low for one in factors), tuple(one.high for one in factors), 7.0)
    return SimulatedBench(base, space)


def spread_levels(bench: SimulatedBench, draw: np.random.Generator, count: int) -> np.ndarray:
    """A first set spread over the region: each formula of the pool the furthest from those before."""
    low, high = np.array(bench.space.low), np.array(bench.space.high)
    places = (bench.levels - low) / (high - low)
    rows = [int(draw.integers(len(places)))]
    while len(rows) < count:
        away = np.min([np.abs(places - places[row]).sum(axis=1) for row in rows], axis=0)
        rows.append(int(np.argmax(away)))
    return bench.levels[rows]


@dataclass
class Record:
    """Batches made so far on one simulated bench.

    Parameters
    ----------
    name : str            Of BENCHES, for its scatter.
    truth : Truth
    draw : Generator      Of the scatter.
    goals : dict          Response to what is wanted of it.
    levels : list         Of each batch.
    """

    name: str
    truth: Truth
    draw: np.random.Generator
    goals: Mapping[str, Goal]
    levels: list[tuple[float, ...]] = field(default_factory=list)
    days: list[int] = field(default_factory=list)
    viscosity: list[float] = field(default_factory=list)
    combing: list[float] = field(default_factory=list)
    _day_effects: list[float] = field(default_factory=list)

    def make(self, levels: Sequence[float]) -> None:
        """Make and read a batch."""
        _, batch_sd, day_sd = BENCHES[self.name]
        day = len(self.levels) // A_DAY
        if day == len(self._day_effects):
            self._day_effects.append(day_sd * self.draw.standard_normal())
        noise = self._day_effects[day] + batch_sd * self.draw.standard_normal()
        at = np.array([levels])
        self.levels.append(tuple(levels))
        self.days.append(day)
        self.viscosity.append(float(self.truth.viscosity(at)[0] * np.exp(noise)))
        self.combing.append(float(self.truth.combing(at)[0] + COMBING_SD * self.draw.standard_normal()))

    def tried(self) -> Tried:
        """The batches as the kit sees them."""
        observed = {
            VISCOSITY: Observed(self.viscosity, self.goals[VISCOSITY], log=True),
            COMBING: Observed(self.combing, self.goals[COMBING]),
        }
        return Tried(self.levels, self.levels, observed, self.days, (1.0,) * len(FACTORS))
