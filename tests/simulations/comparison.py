"""Do the intervals of a comparison hold what they say? Batches drawn by the ten thousand, judged all at once.

For speed the draws are judged here in arrays; that the kit judges them alike is asserted on some draws of every layout,
on the ln scale (log-normal batches) and on the linear one (normal batches) in turn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from kit.science.arm_analysis import MIXED, POOLED, WELCH
from kit.science.arm_batches import ArmBatches
from kit.science.arm_verdict import arm_verdicts
from kit.science.detectable import detectable_difference, detectable_errors
from kit.science.mixed_batches import fixed_contrast
from kit.science.reml import random_factor_layout
from kit.science.same_day import loadings_of
from kit.science.simultaneous import critical_value
from kit.science.two_pairs import SHARE_KNOWN, SHARE_PAIRS
from kit.science.welch_exact import welch_detectable
from tests.simulations.layouts import FAMILY, FINDS, LAYOUTS, TWO_SHARED, Layout

SEED = 20_260_302
COUNT = 10_000
BINOMIAL = 3.0  # standard errors that a share may miss its limit by when only a part of the draws is made
CHECKED = 4  # draws of every layout that the kit judges as well
SAME = 1e-2  # of the half-width: what interpolation costs
SMALL = 0.08  # scatter of batches in ln units


@dataclass(frozen=True)
class Share:
    """The share of draws that did what is asked, and whether it keeps its limits."""

    layout: Layout
    analysis: str
    share: float
    count: int
    slack: float

    @property
    def ok(self) -> bool:
        low, high = self.layout.limits
        error = self.slack * math.sqrt(max(self.share * (1 - self.share), 1e-6) / self.count)
        return low - error <= self.share <= high + error

    def line(self) -> str:
        """The line that is printed: what is asked, the layout, the share, limits, ok or not."""
        low, high = self.layout.limits
        told = f"{self.layout.asks}: {self.layout.name} [{self.analysis}]"
        return f"{told} {100 * self.share:.1f} % ({100 * low:g} to {100 * high:g}) {'ok' if self.ok else 'NOT HELD'}"


def run(
    seed: int = SEED, count: int = COUNT, *, slack: float = 0.0, layouts: Sequence[Layout] = LAYOUTS
) -> Iterator[Share]:
    """Every layout in turn; the same seed gives the same shares."""
    for number, layout in enumerate(layouts):
        yield simulate(layout, np.random.default_rng([seed, number]), count, slack)


def simulate(layout: Layout, drawn: np.random.Generator, count: int, slack: float) -> Share:
    """Draw, judge, count."""
    days, past = layout.days()
    sizes = [len(group) for group in (*days, *past)]
    arm_of = np.repeat(np.arange(len(sizes)), sizes)
    names = [day for group in (*days, *past) for day in group]
    values = _draw(layout, drawn, count, arm_of, names, len(days))
    code = _kit(layout, values[0], days, past).analysis
    judge = {WELCH: _welch, MIXED: _mixed}.get(code, _pooled)
    gaps, reach = judge(layout, values, arm_of, names, len(days))
    _same_as_kit(layout, values, days, past, gaps, reach)
    if layout.asks == FINDS:
        planned = _planned(layout, code)
        gaps = gaps + planned
        share = float((np.abs(gaps) > reach).mean(axis=0)[0])
    else:
        missed = (np.abs(gaps) > reach).any(axis=1)
        share = float(missed.mean() if layout.asks == FAMILY else 1 - missed.mean())
    return Share(layout, code, share, count, slack)


def _draw(layout, drawn, count, arm_of, names, present) -> np.ndarray:
    """Batches on the scale of the calculation, without any true difference: draws x batches, in units of their SD."""
    place = {day: index for index, day in enumerate(dict.fromkeys(names))}
    of_day = drawn.normal(size=(count, len(place)))[:, [place[day] for day in names]]
    scatter = np.where((arm_of > 0) & (arm_of < present), layout.sd_ratio, 1.0)
    values = scatter * drawn.normal(size=(count, len(names))) + math.sqrt(layout.day_ratio) * of_day
    if layout.shape == "skewed":
        half = count // 2
        values[:half] = (np.exp(SMALL * values[:half]) - 1) / SMALL
        values[half:] = np.log(1 + SMALL * values[half:]) / SMALL
    return values


def _kit(layout: Layout, row: np.ndarray, days, past, scale: str = "linear"):
    """The kit's own verdicts of one draw."""
    told = np.exp(SMALL * row) if scale == "ln" else row
    ends = np.cumsum([0, *(len(group) for group in (*days, *past))])
    groups = [
        ArmBatches(f"arm {k}", tuple(told[ends[k] : ends[k + 1]]), tuple(group))
        for k, group in enumerate((*days, *past))
    ]
    return arm_verdicts(groups[0], groups[1 : len(days)], scale=scale, history=groups[len(days) :], alike=layout.alike)


def _same_as_kit(layout: Layout, values, days, past, gaps, reach) -> None:
    """End everything where the kit gives another interval than the arrays."""
    for index in range(min(CHECKED, len(values))):
        scale = "ln" if index % 2 else "linear"
        for arm, found in enumerate(_kit(layout, values[index], days, past, scale).verdicts):
            ends = [math.log(end) / SMALL if scale == "ln" else end for end in (found.low, found.high)]
            theirs = [gaps[index, arm] - reach[index, arm], gaps[index, arm] + reach[index, arm]]
            if not np.allclose(ends, theirs, rtol=0, atol=SAME * reach[index, arm]):
                raise SystemExit(f"{layout.name}: the kit has {ends}, the simulation {theirs}")


def _means(values, arm_of, count) -> np.ndarray:
    return np.stack([values[:, arm_of == arm].mean(axis=1) for arm in range(count)], axis=1)


def _squares(values, arm_of, count) -> np.ndarray:
    return np.stack([values[:, arm_of == arm].var(axis=1) * (arm_of == arm).sum() for arm in range(count)], axis=1)


def _pooled(layout: Layout, values, arm_of, names, present) -> tuple[np.ndarray, np.ndarray]:
    """Means against the control's mean, one scatter for all; of two pairs the narrower of two intervals."""
    n = np.bincount(arm_of)
    means, squares = _means(values, arm_of, len(n)), _squares(values, arm_of, len(n))
    df = int((n - 1).sum())
    sd = np.sqrt(squares.sum(1) / df)
    arms = n[1:present]
    loads = tuple(sorted(round(float(load), 12) for load in np.sqrt(arms / (arms + n[0]))))
    gaps, spread = means[:, 1:present] - means[:, :1], sd[:, None] * np.sqrt(1 / arms + 1 / n[0])
    if layout.arms != TWO_SHARED:
        return gaps, critical_value(loads, float(df)) * spread
    apart = values[:, [arm_of.tolist().index(1), arm_of.tolist().index(1) + 1]] - values[:, :2]
    pairs = stdtrit(1, 1 - 0.05 * SHARE_PAIRS / 2) * apart.std(axis=1, ddof=1)[:, None] / math.sqrt(2)
    return gaps, np.minimum(stdtrit(df, 1 - 0.05 * SHARE_KNOWN / 2) * spread, pairs)


def _welch(layout: Layout, values, arm_of, names, present) -> tuple[np.ndarray, np.ndarray]:
    """Means against the control's mean, each with its own scatter."""
    n = np.bincount(arm_of)[:present]
    means = _means(values, arm_of, present)
    variance = _squares(values, arm_of, present) / (n - 1) / n
    error = variance[:, 1:] + variance[:, :1]
    df = error**2 / (variance[:, 1:] ** 2 / (n[1:] - 1) + variance[:, :1] ** 2 / (n[0] - 1))
    upper = 1 - 0.05 / 2 / (present - 1)
    return means[:, 1:] - means[:, :1], stdtrit(df, upper) * np.sqrt(error)


def _mixed(layout: Layout, values, arm_of, names, present) -> tuple[np.ndarray, np.ndarray]:
    """Days and batches at random: the ratio of the variances by bisection, what follows from it by interpolation."""
    dates, arms = list(dict.fromkeys(names)), list(range(arm_of.max() + 1))
    fit = random_factor_layout(np.equal.outer(arm_of, arms), [[day == date for date in dates] for day in names])
    squares = (values @ fit.basis) ** 2
    ratio = _ratios(fit.spread, squares)
    residual = (squares / (1 + np.multiply.outer(ratio, fit.spread))).mean(axis=1)
    contrasts = np.array([fixed_contrast(arms, arm, 0) for arm in range(1, present)])
    counts = 80, 80 if present == 2 else 60  # several arms: each width is a root of a double integral
    fine, coarse = (np.concatenate([[0.0], np.geomspace(1e-2, 1e4, count)]) for count in counts)
    weights = np.array([_weights(fit, knot, contrasts) for knot in fine])
    widths = np.array([_widths(fit, knot, contrasts) for knot in coarse])
    gaps = np.zeros((len(values), present - 1))
    for arm, column in np.ndindex(present - 1, len(names)):
        gaps[:, arm] += _between(ratio, fine, weights[:, arm, column]) * values[:, column]
    reach = [_between(ratio, coarse, widths[:, arm]) * np.sqrt(residual) for arm in range(present - 1)]
    return gaps, np.stack(reach, axis=1)


def _between(ratio, knots, told) -> np.ndarray:
    return np.interp(np.log1p(ratio / 0.1), np.log1p(knots / 0.1), told)


def _widths(fit, ratio: float, contrasts) -> list[float]:
    """Half-widths for a residual variance of one."""
    found = fit.at(np.zeros(len(fit.fixed)), ratio, 1.0)
    told = [found.contrast(row) for row in contrasts]
    loads = tuple(sorted(round(load, 12) for load in loadings_of(contrasts @ found.covariance @ contrasts.T)))
    return [critical_value(loads, df) * error for _, error, df in told]


def _weights(fit, ratio: float, contrasts) -> np.ndarray:
    """The weight of every value in each difference."""
    inverse = np.linalg.inv(np.eye(len(fit.fixed)) + ratio * fit.groups @ fit.groups.T)
    weighted = inverse @ fit.fixed
    return contrasts @ np.linalg.solve(fit.fixed.T @ weighted, weighted.T)


def _ratios(spread, squares) -> np.ndarray:
    """Where the restricted likelihood of each draw is largest: the best of a grid, then bisection of its slope."""
    grid = np.concatenate([[0.0], np.geomspace(1e-4, 1e5, 60)])
    free = spread.size
    scale = 1 + np.multiply.outer(grid, spread)
    cost = np.log(scale).sum(1)[:, None] + free * np.log((1 / scale) @ squares.T)
    best = np.clip(cost.argmin(0), 0, grid.size - 2)
    low, high = grid[np.maximum(best - 1, 0)], grid[best + 1]

    def slope(ratio):
        scale = 1 + np.multiply.outer(ratio, spread)
        return (spread / scale).sum(1) - free * (squares * spread / scale**2).sum(1) / (squares / scale).sum(1)

    at_zero = (best <= 1) & (slope(np.zeros(len(squares))) >= 0)
    for _ in range(45):
        middle = 0.5 * (low + high)
        falls = slope(middle) < 0
        low, high = np.where(falls, middle, low), np.where(falls, high, middle)
    return np.where(at_zero, 0.0, 0.5 * (low + high))


def _planned(layout: Layout, code: str) -> float:
    """The difference that should be found four times in five, told before a batch is made. [SD of batches]"""
    days, past = layout.days()
    n = [len(group) for group in days]
    if code == WELCH:
        return welch_detectable(1.0, n[1], n[0])
    arms = len(n) - 1
    if code == POOLED:
        total = math.sqrt(1 + layout.day_ratio)
        df = sum(size - 1 for size in n) + sum(len(group) - 1 for group in past)
        if layout.arms == TWO_SHARED:
            return total * detectable_errors(float(stdtrit(df, 1 - 0.05 * SHARE_KNOWN / 2)), df)
        return detectable_difference(total, df, n[1], n[0], comparisons=arms)
    # every arm once a day: days cancel
    blocks, df = len(set(days[0])), arms * (len(set(days[0])) - 1)
    critical = critical_value((round(math.sqrt(0.5), 12),) * arms, float(df))
    return math.sqrt(2 / blocks) * detectable_errors(critical, df)
