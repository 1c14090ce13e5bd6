"""The law from which the truths of simulated benches are drawn, one a seed; none is of a family that the kit fits.

It was written down before the first run and not changed after. Every truth is a viscosity and a wet-combing force over
a pool of formulas: cetrimonium chloride 0 to 1.5 %, behentrimonium chloride 0.5 to 2.5 %, cetearyl alcohol 4 to 6 %,
7.00 % together, and the homogeniser at 4000 to 9000 rpm for 3 to 12 min. U(a, b) is drawn evenly between a and b.

Shear dose      s = ln(rpm / 6500) + g ln(minutes / 6),                         g U(0.3, 0.8)

Viscosity       ln v = ln 13229 + 0.973 tanh(z0 + k z): between 5,000 and 35,000 mPa.s,   k U(0.4, 0.9)
                z is, brought to median 0 and standard deviation 1 over the pool, the sum of
  step          U(0.7, 1.3) tanh(ln(r / r0) / w),     r = alcohol / (behentrimonium + a cetrimonium + 0.3),
                                                      a U(0.5, 1.1), r0 U(2, 4), w U(0.25, 0.6)
  decline       -U(0, 0.8) softplus of ln(r / 2 r0) with width 0.2
  hump          -H (1 - 1 / (1 + ((s - s0) / ws)^2)),  H U(0.4, 1.2), ws U(0.25, 0.6)
  interaction   s0 = U(-0.3, 0.3) + U(-0.3, 0.3) (cationic - 1.75): the best shear moves with the mixture;
                and U(-0.4, 0.4) tanh(ln(r / r0) / w) tanh(2 s)
Cliff           past sc = c0 + U(-0.2, 0.2) (share of behentrimonium in the cationic - 0.7) the network breaks:
                ln v falls by U(0.7, 1.1), to a half or a third, within a width of U(0.02, 0.05) in s;
                c0 leaves U(0.15, 0.4) of the pool beyond it.

Wet combing     lo + (hi - lo) x, x from 0 to 1 over the pool,                  lo U(34.5, 36.5), hi U(50, 56) %
                x is, before it is brought to 0 and 1, the sum of
  quaternaries  exp(-(behentrimonium + b cetrimonium) / e), b U(0.3, 1.1), e U(0.5, 1.2)
  alcohol       U(0, 0.3) softplus of (alcohol - U(4.8, 5.6)) with width 0.3
  droplets      U(0, 0.25) (1 - exp(-((s - sp) / wp)^2)), sp = U(-0.4, 0.4) + U(-0.3, 0.3) (share of cetrimonium - 0.3),
                wp U(0.3, 0.6)

Place of the optimum: one formula drawn from the tenth of the pool that combs best, |z| not above 1 and before the cliff
(the one nearest to that where there is none); z0 gives it a viscosity of U(15000, 17500) mPa.s. So every truth has
formulas that meet both limits, and no seed is left out.

Benches, with the scatter of ln viscosity: `cliff` has the cliff, batches scatter by 4 %; `noise`: by 8 %, no cliff;
`day`: batches by 4 % and days by 6 %, three batches a day, no cliff. Combing scatters by 0.8 % of untreated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

# bench: cliff, scatter of batches and of days on ln viscosity
BENCHES = {"cliff": (True, 0.04, 0.0), "noise": (False, 0.08, 0.0), "day": (False, 0.04, 0.06)}
COMBING_SD = 0.8
_THIN, _THICK = 5000.0, 35000.0

Field = Callable[
    [np.ndarray], np.ndarray
]  # of levels (m, 5): active cetrimonium, behentrimonium, alcohol, rpm, minutes


@dataclass(frozen=True)
class Truth:
    """What is true of every formula.

    Parameters
    ----------
    viscosity : Field     [mPa.s]
    combing : Field       [% of untreated]
    broken : Field        How far the network is broken at a cliff, 0 to 1.
    optimum : int         The formula of the pool that was drawn as the place of the optimum.
    """

    viscosity: Field
    combing: Field
    broken: Field
    optimum: int


def draw_truth(pool: np.ndarray, bench: str, seed: int) -> Truth:
    """One truth of the law above.

    Parameters
    ----------
    pool : array, (m, 5)   Levels of formulas over the whole region.
    bench : str            One of BENCHES.
    seed : int             Of the draw.
    """
    draw = np.random.default_rng((seed, list(BENCHES).index(bench), 77))
    growth = draw.uniform(0.3, 0.8)

    def shear(levels: np.ndarray) -> np.ndarray:
        return np.log(levels[:, 3] / 6500) + growth * np.log(levels[:, 4] / 6)

    combing = _combing(pool, shear, draw)
    network = _network(pool, shear, draw)
    broken, fall = _cliff(pool, shear, draw, there=BENCHES[bench][0])
    optimum = _place(network(pool), combing(pool), broken(pool), draw)
    middle, half = np.log(_THIN * _THICK) / 2, np.log(_THICK / _THIN) / 2
    there = np.arctanh((np.log(draw.uniform(15000, 17500)) - middle) / half)
    steep, own = draw.uniform(0.4, 0.9), network(pool)[optimum]

    def viscosity(levels: np.ndarray) -> np.ndarray:
        whole = middle + half * np.tanh(there + steep * (network(levels) - own))
        return np.exp(whole - fall * broken(levels))

    return Truth(viscosity, combing, broken, optimum)


def _network(pool: np.ndarray, shear: Field, draw: np.random.Generator) -> Field:
    weight, middle, width = draw.uniform(0.5, 1.1), draw.uniform(2, 4), draw.uniform(0.25, 0.6)
    step, decline = draw.uniform(0.7, 1.3), draw.uniform(0, 0.8)
    best, moves = draw.uniform(-0.3, 0.3), draw.uniform(-0.3, 0.3)
    height, hump, both = draw.uniform(0.4, 1.2), draw.uniform(0.25, 0.6), draw.uniform(-0.4, 0.4)

    def plain(levels: np.ndarray) -> np.ndarray:
        cationic, dose = levels[:, 1] + weight * levels[:, 0], shear(levels)
        ratio = np.log(levels[:, 2] / (cationic + 0.3) / middle)
        bent, away = np.tanh(ratio / width), (dose - best - moves * (cationic - 1.75)) / hump
        found = step * bent - decline * _softplus(ratio - np.log(2), 0.2)
        return found - height * (1 - 1 / (1 + away**2)) + both * bent * np.tanh(2 * dose)

    over = plain(pool)
    return lambda levels: (plain(levels) - np.median(over)) / over.std()


def _cliff(pool: np.ndarray, shear: Field, draw: np.random.Generator, *, there: bool) -> tuple[Field, float]:
    """How far broken, and the fall of ln viscosity where it is."""
    moves, beyond = draw.uniform(-0.2, 0.2), draw.uniform(0.15, 0.4)
    fall, width = draw.uniform(0.7, 1.1), draw.uniform(0.02, 0.05)

    def moved(levels: np.ndarray) -> np.ndarray:
        return shear(levels) - moves * (levels[:, 1] / (levels[:, 0] + levels[:, 1]) - 0.7)

    edge = np.quantile(moved(pool), 1 - beyond)
    if not there:
        return lambda levels: np.zeros(len(levels)), fall
    return lambda levels: 1 / (1 + np.exp(-np.clip((moved(levels) - edge) / width, -500, 500))), fall


def _combing(pool: np.ndarray, shear: Field, draw: np.random.Generator) -> Field:
    weight, scale = draw.uniform(0.3, 1.1), draw.uniform(0.5, 1.2)
    rise, onset = draw.uniform(0, 0.3), draw.uniform(4.8, 5.6)
    best, moves = draw.uniform(-0.4, 0.4), draw.uniform(-0.3, 0.3)
    droplets, width = draw.uniform(0, 0.25), draw.uniform(0.3, 0.6)
    low, high = draw.uniform(34.5, 36.5), draw.uniform(50, 56)

    def plain(levels: np.ndarray) -> np.ndarray:
        ctac, btac, alcohol = levels[:, :3].T
        away = (shear(levels) - best - moves * (ctac / (ctac + btac) - 0.3)) / width
        found = np.exp(-(btac + weight * ctac) / scale) + rise * _softplus(alcohol - onset, 0.3)
        return found + droplets * (1 - np.exp(-(away**2)))

    over = plain(pool)
    return lambda levels: low + (high - low) * (plain(levels) - over.min()) / (over.max() - over.min())


def _place(z: np.ndarray, combing: np.ndarray, broken: np.ndarray, draw: np.random.Generator) -> int:
    """The place of the optimum: combs well, of ordinary viscosity, before the cliff."""
    well = np.argsort(combing, kind="stable")[: len(combing) // 10]
    fitting = well[(np.abs(z[well]) <= 1) & (broken[well] < 0.05)]
    if len(fitting):
        return int(draw.choice(fitting))
    return int(well[np.argmin(np.abs(z[well]) + 10 * broken[well])])


def _softplus(values: np.ndarray, width: float) -> np.ndarray:
    return width * np.logaddexp(0, values / width)
