"""Does the next trial find a good formula in half the batches of a full design, where no fitted model is true?

Three parts share 7.00 % and two settings of the homogeniser are varied. The full mixture-by-process design is six
vertices and two points inside, each at the four corners and the centre of the process: 40 batches. Each bench starts
from five batches spread over the region, the fewest the kit suggests anything from, three batches a day, and asks for
one trial after another until 20 are made. Every seed draws a new truth by the law of `next_trial_truth`.

Judged is the true desirability of the batch the kit calls the best, as a share of the best of the 1500 formulas that
can be made; beside it the same with batches drawn at random from the same formulas, judged in the same way. Two goals:

spec     a viscosity of 13,000 to 20,000 mPa.s and combing of at most 42 %, as the kit reads such a spec. Random batches
         come near in the end, so that what counts is after how many batches 95 % is reached and kept.
target   the same with a viscosity of 16,100, straight-line desirabilities. It is a narrow mark: 95 % asks for a
         viscosity within some 2 % of the middle, where single batches scatter by 4 to 8 %. Who knew the shape of the
         truth and had only to find its level from 20 batches (its error the root of the variance of a batch by 20 and
         of a day by 7) would come to a median of some 98.6, 97.2 and 96.1 %. 90 % is what is held to.

Seeds 1 to 50 and 101 to 160 are for development: the method was worked on with them. Seeds 11001 to 11050 are the
proof; they were run once, with this bench, and came to (cliff, noise, day; medians):

spec     100, 100 and 100 % after 20 batches, random 94.7, 93.4 and 100 % (on average 98.1, 97.3 and 99.1 against 83.4,
         84.0 and 87.7 %); 95 % kept from the 9th, 7th and 7th batch on, with random batches never, never and from the
         15.5th. No stop.
target   95.7, 94.5 and 93.7 %, random 79.4, 72.3 and 82.5 %. No stop.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from kit.science.desirability import combined
from kit.trials.next_trial_choice import choose, surfaces_of
from tests.simulations.next_trial_bench import (
    COMBING,
    GOALS,
    SPEC,
    TARGET,
    VISCOSITY,
    Record,
    SimulatedBench,
    make_bench,
    spread_levels,
)
from tests.simulations.next_trial_truth import BENCHES, Truth, draw_truth

FULL, HALF, FIRST = 40, 20, 5
SEED, SEEDS = 11001, 50
ENOUGH = 0.95
HELD = {SPEC: ENOUGH, TARGET: 0.90}  # what is held to by all seeds
HELD_BY_FEW = {SPEC: 0.90, TARGET: 0.80}  # and by a tenth, whose median has an error of some 0.04


@dataclass(frozen=True)
class Run:
    """One seed of one bench.

    `shares` is the share of the best attainable after each batch from the first set on; `stops` how many proposed
    formulas had a stop.
    """

    shares: tuple[float, ...]
    stops: int

    @property
    def last(self) -> float:
        """After half the batches of the full design."""
        return self.shares[-1]

    @property
    def kept(self) -> int:
        """The number of batches from which on the share never falls below 95 %; one more than half where never."""
        return FIRST + max((place + 1 for place, share in enumerate(self.shares) if share < ENOUGH), default=0)


@dataclass(frozen=True)
class Outcome:
    """What one bench came to over many seeds, with the next trial and with random batches."""

    bench: str
    goal: str
    runs: tuple[Run, ...]
    rivals: tuple[Run, ...]

    @property
    def reached(self) -> float:
        """Median share of the best attainable after half the batches of the full design."""
        return float(np.median([one.last for one in self.runs]))

    @property
    def random(self) -> float:
        """The same with random batches."""
        return float(np.median([one.last for one in self.rivals]))

    @property
    def kept(self) -> float:
        """Median number of batches from which on 95 % is kept."""
        return float(np.median([one.kept for one in self.runs]))

    @property
    def random_kept(self) -> float:
        """The same with random batches."""
        return float(np.median([one.kept for one in self.rivals]))

    @property
    def stops(self) -> int:
        return sum(one.stops for one in self.runs)

    @property
    def held(self) -> float:
        """The share that is held to, by so many seeds."""
        return (HELD if len(self.runs) >= SEEDS else HELD_BY_FEW)[self.goal]

    @property
    def beats_random(self) -> bool:
        """Sooner and better: a larger share on average and in the median no smaller, and 95 % kept after fewer."""
        mean, random = (np.mean([one.last for one in some]) for some in (self.runs, self.rivals))
        sooner = self.kept < self.random_kept or self.goal == TARGET
        return bool(mean > random and self.reached >= self.random and sooner)

    @property
    def ok(self) -> bool:
        """Whether what is held to holds."""
        return self.reached >= self.held and self.beats_random and self.stops == 0

    def line(self) -> str:
        """The line that is printed."""
        last, rival = (np.array([one.last for one in some]) for some in (self.runs, self.rivals))
        return (
            f"next-trial {self.bench}, {self.goal}: {_percent(self.reached)} of the best after {HALF} of {FULL} "
            f"batches (quartiles {_percent(np.quantile(last, 0.25))} and {_percent(np.quantile(last, 0.75))}, mean "
            f"{_percent(last.mean())}), random {_percent(self.random)} (mean {_percent(rival.mean())}); "
            f"{_percent(ENOUGH)} kept after {_batches(self.kept)}, random {_batches(self.random_kept)}; {self.stops} "
            f"stops; {len(last)} seeds, median: {_percent(self.held)} {'ok' if self.ok else 'NOT HELD'}"
        )


def true_desirability(truth: Truth, levels: np.ndarray, goal: str) -> np.ndarray:
    """Of formulas, by one of `GOALS`."""
    wanted = GOALS[goal]
    values = wanted[VISCOSITY].of(truth.viscosity(levels)), wanted[COMBING].of(truth.combing(levels))
    return combined(values, [1.0, 1.0])


def simulate(bench: SimulatedBench, name: str, seed: int, goal: str, *, random: bool = False) -> Run:
    """One seed of one bench; random: batches drawn from the pool instead of suggested ones."""
    pool = bench.levels
    truth = draw_truth(pool, name, seed)
    draw = np.random.default_rng((seed, list(BENCHES).index(name)))
    record, stops = Record(name, truth, draw, GOALS[goal]), 0
    best = true_desirability(truth, pool, goal).max()

    def share(levels: Sequence[float]) -> float:
        return min(float(true_desirability(truth, np.array([levels]), goal)[0] / best), 1.0)

    for levels in spread_levels(bench, draw, FIRST):
        record.make(levels)
    shares = []
    while True:
        tried = record.tried()
        surfaces = surfaces_of(bench, tried)
        shares.append(share(record.levels[surfaces.outlook(surfaces.tried[:1]).best_batch]))
        if len(record.levels) == HALF:
            return Run(tuple(shares), stops)
        if random:
            record.make(pool[draw.integers(len(pool))])
            continue
        (pick,) = choose(bench, tried, surfaces, 1, seed=seed)
        stops += not pick.candidate.formula.review().ok
        record.make(pick.candidate.levels)


def run(
    seed: int = SEED, count: int = SEEDS, bench: SimulatedBench | None = None, goals: Sequence[str] = tuple(GOALS)
) -> Iterator[Outcome]:
    """One outcome a goal and bench: medians over so many seeds."""
    bench = bench or make_bench()
    for goal in goals:
        for name in BENCHES:
            seeds = range(seed, seed + count)
            runs = tuple(simulate(bench, name, one, goal) for one in seeds)
            yield Outcome(name, goal, runs, tuple(simulate(bench, name, one, goal, random=True) for one in seeds))


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _batches(count: float) -> str:
    return "never" if count > HALF else f"{count:g}"
