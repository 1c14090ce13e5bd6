"""Does the next trial find a good formula in half the batches of a full design, where no fitted model is true?

Three parts share 7.00 % and two settings of the homogeniser are varied. The full mixture-by-process design is six
vertices and two points inside, each at the four corners and the centre of the process: 40 batches. Each bench starts
from 8 batches spread over the region, three batches a day, and asks for one trial after another until 20 are made. The
truth lies outside every family that is fitted:

- cliff: past a certain shear the network breaks and viscosity falls to less than half;
- noise: no cliff, batches scatter by 8 %;
- day: no cliff, batches scatter by 4 % and days by 10 %.

Judged is the true desirability of the batch the kit calls the best, against the best of 1500 formulas that can be made;
beside it the same with batches drawn at random from the same formulas, judged in the same way.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from importlib.resources import files

import numpy as np

from kit.formula.files import load_formula
from kit.science.desirability import combined, smaller, target
from kit.science.next_point import Observed
from kit.trials.next_trial_candidates import Bench, Candidate
from kit.trials.next_trial_choice import Tried, choose, surfaces_of
from kit.trials.response_levels import Coordinates, read_level_factors

FULL, HALF, FIRST, A_DAY = 40, 20, 8, 3
SEED, SEEDS = 1, 50
ENOUGH = 0.95
POOL = 1500
# bench: cliff, scatter of batches and of days on ln viscosity
BENCHES = {"cliff": (True, 0.04, 0.0), "noise": (False, 0.08, 0.0), "day": (False, 0.04, 0.10)}
VISCOSITY, COMBING = "viscosity", "wet combing"
GOALS = {VISCOSITY: target(12000, 15900, 21000, 0.3), COMBING: smaller(36, 50)}
COMBING_SD = 0.8
FACTORS = (
    "cetrimonium-chloride-29: 0 to 1.5 %",
    "behentrimonium-chloride-80: 0.5 to 2.5 %",
    "cetearyl-alcohol: 4 to 6 %",
    "combine rpm: 4000 to 9000 rpm",
    "combine minutes: 3 to 12 min",
)


@dataclass(frozen=True)
class Outcome:
    """What one bench came to over many seeds.

    `reached` is the share of the best attainable desirability after half the batches of the full design, `random` the
    same with random batches, `batches` how many it took to reach 95 % for good (one more than half where it did not),
    `stops` how many proposed formulas had a stop.
    """

    bench: str
    seeds: int
    reached: float
    random: float
    batches: float
    stops: int

    @property
    def ok(self) -> bool:
        return self.reached >= ENOUGH and self.reached > self.random and self.stops == 0 and self.batches <= HALF

    def line(self) -> str:
        return (
            f"next-trial {self.bench}: {100 * self.reached:.1f} % of the best after {HALF} of {FULL} batches, random "
            f"{100 * self.random:.1f} %, {self.batches:.0f} batches to {100 * ENOUGH:.0f} %, {self.stops} stops, "
            f"{self.seeds} seeds, median {'ok' if self.ok else 'NOT HELD'}"
        )


@dataclass(frozen=True)
class PooledBench(Bench):
    """A bench whose candidates are a fixed pool of formulas, reviewed once: the same calls, many times faster."""

    pool: tuple[Candidate, ...] = ()
    places: np.ndarray = field(default_factory=lambda: np.empty((0, 0)))

    def spread(self, count: int, seed: int) -> list[Candidate]:
        rows = np.random.default_rng(seed).permutation(len(self.pool))[:count]
        return [self.pool[row] for row in rows]

    def near(self, levels, count: int, seed: int, width: float = 0.2) -> list[Candidate]:
        away = np.abs(self.places - scaled(self, [levels])[0]).max(axis=1)
        within = np.argsort(away, kind="stable")[: 4 * count if width > 0.1 else count]
        rows = np.random.default_rng(seed).permutation(within)[:count]
        return [self.pool[row] for row in rows]

    def of(self, levels) -> Candidate | None:
        away = np.abs(self.places - scaled(self, [levels])[0]).max(axis=1)
        return self.pool[int(np.argmin(away))]

    def allowed(self, found) -> list[Candidate]:
        return list(found)


def scaled(bench: Bench, levels) -> np.ndarray:
    low, high = np.array(bench.space.low), np.array(bench.space.high)
    return (np.asarray(levels, dtype=float) - low) / (high - low)


def make_bench() -> PooledBench:
    """The pool: formulas in bounds, balanced, without a stop in the review."""
    base = load_formula(files("kit.demo").joinpath("formulas/green-tea.toml"))
    factors = read_level_factors(base, (), FACTORS, mixture=False)
    factors = tuple(replace(one, kind="mixture") if place < 3 else one for place, one in enumerate(factors))
    space = Coordinates(factors, tuple(one.low for one in factors), tuple(one.high for one in factors), 7.0)
    plain = Bench(base, space)
    pool = tuple(plain.spread(POOL, 5))
    empty = PooledBench(base, space, pool=pool)
    return replace(empty, places=scaled(empty, [one.levels for one in pool]))


def true_viscosity(levels: np.ndarray, cliff: bool) -> np.ndarray:
    """No polynomial: a bent step in the ratio of alcohol to cationic, a hump in shear, and a cliff. [mPa.s]"""
    ctac, btac, alcohol, rpm, minutes = levels.T
    ratio = alcohol / (0.9 * ctac + 0.75 * btac + 0.3)
    shear = rpm / 1000 * np.sqrt(minutes)
    ln = np.log(16000) + 0.55 * np.tanh((ratio - 2.6) / 1.2) + 0.315 * (alcohol - 5) - 0.12 * ctac**2
    ln = ln - 0.0025 * (shear - 16) ** 2
    return np.exp(ln - 0.9 / (1 + np.exp(-(shear - 21) / 0.3)) if cliff else ln)


def true_combing(levels: np.ndarray) -> np.ndarray:
    """Falls off with the quaternaries and rises past a certain content of alcohol. [% of untreated]"""
    ctac, btac, alcohol, _, minutes = levels.T
    return 36 + 16 * np.exp(-(0.6 * ctac + btac)) + 1.5 * np.maximum(alcohol - 5.3, 0) ** 2 + 0.06 * (minutes - 8) ** 2


def true_desirability(levels: np.ndarray, cliff: bool) -> np.ndarray:
    single = [GOALS[VISCOSITY].of(true_viscosity(levels, cliff)), GOALS[COMBING].of(true_combing(levels))]
    return combined(single, [1.0, 1.0])


@dataclass
class _Record:
    """Batches made so far on one simulated bench."""

    bench: PooledBench
    name: str
    draw: np.random.Generator
    levels: list = field(default_factory=list)
    days: list = field(default_factory=list)
    viscosity: list = field(default_factory=list)
    combing: list = field(default_factory=list)
    day_effects: list = field(default_factory=list)

    def make(self, candidate: Candidate) -> None:
        cliff, batch_sd, day_sd = BENCHES[self.name]
        day = len(self.levels) // A_DAY
        if day == len(self.day_effects):
            self.day_effects.append(day_sd * self.draw.standard_normal())
        levels = np.array([candidate.levels])
        noise = self.day_effects[day] + batch_sd * self.draw.standard_normal()
        self.levels.append(candidate.levels)
        self.days.append(day)
        self.viscosity.append(float(true_viscosity(levels, cliff)[0] * np.exp(noise)))
        self.combing.append(float(true_combing(levels)[0] + COMBING_SD * self.draw.standard_normal()))

    def tried(self) -> Tried:
        observed = {
            VISCOSITY: Observed(self.viscosity, GOALS[VISCOSITY], log=True),
            COMBING: Observed(self.combing, GOALS[COMBING]),
        }
        return Tried(self.levels, self.levels, observed, self.days, (1.0,) * len(FACTORS))


def simulate(bench: PooledBench, name: str, seed: int, *, random: bool = False) -> tuple[list[float], int]:
    """Share of the best attainable after each batch from the first set on (random: the last only), and stops."""
    draw = np.random.default_rng((seed, sorted(BENCHES).index(name)))
    record, cliff, stops = _Record(bench, name, draw), BENCHES[name][0], 0
    best = true_desirability(np.array([one.levels for one in bench.pool]), cliff).max()
    for row in _spread_rows(bench, draw):
        record.make(bench.pool[row])
    shares = []
    while True:
        count = len(record.levels)
        if random and count < HALF:
            record.make(bench.pool[int(draw.integers(len(bench.pool)))])
            continue
        tried = record.tried()
        surfaces = surfaces_of(bench, tried)
        called = record.levels[surfaces.outlook(surfaces.tried[:1]).best_batch]
        shares.append(float(true_desirability(np.array([called]), cliff)[0] / best))
        if count == HALF:
            return shares, stops
        (pick,) = choose(bench, tried, surfaces, 1, seed=seed)
        stops += not pick.candidate.formula.review().ok
        record.make(pick.candidate)


def _spread_rows(bench: PooledBench, draw: np.random.Generator) -> list[int]:
    """A first set spread over the region: each the furthest from those before."""
    rows = [int(draw.integers(len(bench.pool)))]
    while len(rows) < FIRST:
        away = np.min([np.abs(bench.places - bench.places[row]).sum(axis=1) for row in rows], axis=0)
        rows.append(int(np.argmax(away)))
    return rows


def run(seed: int = SEED, count: int = SEEDS, bench: PooledBench | None = None) -> Iterator[Outcome]:
    """One outcome a bench: medians over so many seeds."""
    bench = bench or make_bench()
    for name in BENCHES:
        runs = [simulate(bench, name, seed + place) for place in range(count)]
        rivals = [simulate(bench, name, seed + place, random=True)[0][-1] for place in range(count)]
        took = [_batches(shares) for shares, _ in runs]
        yield Outcome(
            name,
            count,
            float(np.median([shares[-1] for shares, _ in runs])),
            float(np.median(rivals)),
            float(np.median(took)),
            sum(stops for _, stops in runs),
        )


def _batches(shares: list[float]) -> int:
    """The first number of batches at which the share was reached."""
    return next((FIRST + place for place, share in enumerate(shares) if share >= ENOUGH), HALF + 1)
