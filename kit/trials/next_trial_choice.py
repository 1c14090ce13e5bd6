"""The choice of the next trial: surfaces of every goal, candidates over the region and around the best, and the picks.

The same code serves the record and the simulated benches.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.science.goal_surfaces import Observed, Outlook, Surfaces, fit_surfaces
from kit.science.next_point import NO_GAIN, best_points, settling_points, unreached
from kit.trials.next_trial_candidates import Bench, Candidate

if TYPE_CHECKING:
    import numpy as np

IMPROVE, SETTLE = "improve", "settle"
_OVER_ALL, _AROUND, _CLOSE = 200, 90, 50  # candidates over the region, around the best so far, and close to it
_CLOSE_WIDTH = 0.07
_APART = 0.05  # picks of one call lie this share of a range apart


@dataclass(frozen=True)
class OutOfReach:
    """A goal that no candidate is likely to meet, and how near the nearest comes.

    Parameters
    ----------
    goal : str                  The response; empty where each goal can be met and all together cannot.
    chance : float              The largest chance of any candidate that its mean meets it.
    middle, low, high : float, None   Of the candidate whose predicted middle comes nearest, with the 95 % interval of
                                one new batch; None for all goals together. [unit]
    """

    goal: str
    chance: float
    middle: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Pick:
    """One candidate that was picked.

    Parameters
    ----------
    candidate : Candidate       What to make.
    middle, low, high : dict    Response to its prediction and the 95 % interval of one new batch. [unit]
    desirability : float        Of the predicted middles.
    expected : float            Desirability to be expected, what is not known of the middles counted.
    improvement : float         By how much what can be expected of the best batch grows on average.
    chance : float              That it is better than what can be expected of the best batch.
    best, best_expected : float Desirability of the best batch so far, of its predicted middles, and to be expected.
    best_batch : int            Which one it is.
    aim : str                   "improve" or "settle".
    question : str              Of a settling pick, the response it narrows.
    half_width : tuple          Of a settling pick: half-width of the mean's interval now and after, on the scale of the
                                fit.
    out_of_reach : tuple        Goals that no candidate is likely to meet.
    """

    candidate: Candidate
    middle: dict[str, float]
    low: dict[str, float]
    high: dict[str, float]
    desirability: float
    expected: float
    improvement: float
    chance: float
    best: float
    best_expected: float
    best_batch: int
    aim: str = IMPROVE
    question: str = ""
    half_width: tuple[float, float] = (0.0, 0.0)
    out_of_reach: tuple[OutOfReach, ...] = ()

    @property
    def gains(self) -> bool:
        """Whether any gain is in sight."""
        return self.improvement > NO_GAIN and not self.out_of_reach


@dataclass(frozen=True)
class Tried:
    """The batches so far, as the choice sees them.

    Parameters
    ----------
    levels : sequence    As made, a row a batch. [unit of each factor]
    meant : sequence     As meant.
    observed : dict      Response to its values and goal.
    days : sequence      The day of each batch.
    made_share : tuple   As made over as meant, of each factor: what a new batch will probably come out at.
    """

    levels: Sequence[Sequence[float]]
    meant: Sequence[Sequence[float]]
    observed: Mapping[str, Observed]
    days: Sequence[Hashable]
    made_share: tuple[float, ...]


def surfaces_of(bench: Bench, tried: Tried) -> Surfaces:
    """The surface of every goal.

    Parameters
    ----------
    bench : Bench
    tried : Tried

    Raises
    ------
    KitError   `next.few` where too little was read.
    """
    return fit_surfaces(
        bench.space.to_model(tried.levels),
        tried.observed,
        parts=bench.space.parts,
        days=list(tried.days),
        factors=bench.space.names,
    )


def choose(
    bench: Bench, tried: Tried, surfaces: Surfaces, count: int, *, aim: str = IMPROVE, seed: int = 1
) -> tuple[Pick, ...]:
    """The picks, best first; none where no candidate is left.

    Parameters
    ----------
    bench : Bench         What can be made.
    tried : Tried         The batches so far.
    surfaces : Surfaces   Of `surfaces_of`.
    count : int           How many.
    aim : str             "improve" or "settle".
    seed : int            Of the candidates and draws.
    """
    best = surfaces.outlook(surfaces.tried[:1], seed=seed).best_batch
    around = tried.meant[best]
    candidates = _unlike(
        [
            *bench.spread(_OVER_ALL, seed),
            *bench.near(around, _AROUND, seed + 1),
            *bench.near(around, _CLOSE, seed + 2, _CLOSE_WIDTH),
            *bench.allowed([one for one in (bench.of(around),) if one is not None and bench.holds(one.levels)]),
        ]
    )
    picks: list[Pick] = []
    while len(picks) < count and candidates:
        if aim == SETTLE:
            picked = _settled(surfaces, candidates, _points(bench, tried, candidates), seed)
        else:
            believed = [_points(bench, tried, [earlier.candidate])[0] for earlier in picks]
            picked = _improving(bench, tried, surfaces, candidates, believed, [one.candidate for one in picks], seed)
        if picks and aim == IMPROVE and not picked.gains and picked.expected < picked.best_expected:
            break  # a further trial that promises nothing and is no better than the best batch is no suggestion
        if picked.candidate.formula.review().ok:
            picks.append(picked)
        candidates = [one for one in candidates if not _close(one, picked.candidate, bench)]
    return tuple(picks)


def _improving(
    bench: Bench,
    tried: Tried,
    surfaces: Surfaces,
    candidates: Sequence[Candidate],
    believed: Sequence[np.ndarray],
    picked: Sequence[Candidate],
    seed: int,
) -> Pick:
    """The candidate of the largest expected improvement, looked for again around the first answer."""
    now = surfaces
    for point in believed:
        now = now.with_believed(point)
    ((index, outlook),) = best_points(now, _points(bench, tried, candidates), 1, seed=seed)
    beyond = _out_of_reach(now, outlook)
    closer = bench.near(candidates[index].levels, _CLOSE, seed + 3, _CLOSE_WIDTH)
    finer = _unlike(
        [candidates[index], *(one for one in closer if not any(_close(one, other, bench) for other in picked))]
    )
    points = _points(bench, tried, finer)
    ((index, _),) = best_points(now, points, 1, seed=seed)
    # told as the batches say it, without those that are only believed
    return _pick(finer[index], 0, surfaces.outlook(points[index][None], seed=seed), out_of_reach=beyond)


def _out_of_reach(surfaces: Surfaces, outlook: Outlook) -> tuple[OutOfReach, ...]:
    """The goals that no candidate is likely to meet, each with the prediction that comes nearest."""
    found = []
    for one in unreached(surfaces, outlook):
        parts = (outlook.middle, outlook.low, outlook.high) if one.goal else ()
        found.append(OutOfReach(one.goal, one.chance, *(float(part[one.goal][one.nearest]) for part in parts)))
    return tuple(found)


def _unlike(candidates: Sequence[Candidate]) -> list[Candidate]:
    """Each once."""
    return list({one.levels: one for one in candidates}.values())


def _points(bench: Bench, tried: Tried, candidates: Sequence[Candidate]) -> np.ndarray:
    """Coordinates at which candidates will probably come out."""
    import numpy as np

    levels = np.array([one.levels for one in candidates]) * np.array(tried.made_share)
    return bench.space.to_model(levels)


def _close(one: Candidate, other: Candidate, bench: Bench) -> bool:
    spans = [high - low for low, high in zip(bench.space.low, bench.space.high, strict=True)]
    away = [abs(a - b) / span for a, b, span in zip(one.levels, other.levels, spans, strict=True)]
    return max(away) <= _APART


def _pick(candidate: Candidate, index: int, outlook: Outlook, **more: object) -> Pick:
    return Pick(
        candidate,
        {name: float(values[index]) for name, values in outlook.middle.items()},
        {name: float(values[index]) for name, values in outlook.low.items()},
        {name: float(values[index]) for name, values in outlook.high.items()},
        float(outlook.desirability[index]),
        float(outlook.expected[index]),
        float(outlook.improvement[index]),
        float(outlook.chance[index]),
        outlook.best,
        outlook.best_expected,
        outlook.best_batch,
        **more,
    )


def _settled(surfaces: Surfaces, candidates: Sequence[Candidate], points: np.ndarray, seed: int) -> Pick:
    """The candidate that narrows most what decides: the response least sure to meet its goal at the best point."""
    outlook = surfaces.outlook(points, seed=seed)
    place = surfaces.tried[outlook.best_batch]
    at = surfaces.outlook(place[None], seed=seed)
    unsure = min(surfaces.observed, key=lambda name: _sureness(surfaces, name, at))
    index, now, after = settling_points(surfaces, unsure, place, points)
    return _pick(candidates[index], index, outlook, aim=SETTLE, question=unsure, half_width=(now, after))


def _sureness(surfaces: Surfaces, name: str, at: Outlook) -> float:
    """How far the middle lies inside the nearest end of its goal, in widths of the interval of one batch."""
    seen = surfaces.observed[name]
    middle, low, high = (float(part[name][0]) for part in (at.middle, at.low, at.high))
    ends = [end for end in (seen.goal.low, seen.goal.high) if end is not None]
    if seen.goal.kind == "smaller":
        ends = [seen.goal.high]
    elif seen.goal.kind == "larger":
        ends = [seen.goal.low]
    width = max(high - low, 1e-300)
    return min(abs(middle - end) for end in ends) / width
