"""Sharing runs out among days so that no factor goes with the day more than it must."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from kit.science.design_checks import term_name
from kit.science.design_factorial import MOST_FACTORS
from kit.science.design_layout import CATEGORY, PROCESS, Design

if TYPE_CHECKING:
    import numpy as np

_MOST_SETS = 20_000
_STARTS = 8
_SECOND_WEIGHT = 0.05  # a main effect is worth as much as twenty interactions or squares
_GAIN = 1e-9


def block_contrasts(design: Design, days: int) -> tuple[tuple[str, ...], tuple[int, ...]] | None:
    """Days of a regular two-level design by contrasts that are given up: those of the most factors.

    Among all sets of contrasts the one is taken that confuses the day with no main effect, with the fewest interactions
    of two factors, then of three, and so on, aliases included (Box, Hunter and Hunter (2005), Statistics for
    Experimenters, 2nd ed., chapters 5 and 6).

    Parameters
    ----------
    design : Design   Full factorial or regular fraction, every run once, without centre points.
    days : int        A power of two.

    Returns
    -------
    tuple, None   Every contrast that is given up, and the day of each run, counted from 0; None where the design is not
        regular, or the days are no power of two below the number of runs, or a main effect would be given up.
    """
    words = _regular_words(design)
    count = days.bit_length() - 1
    if words is None or days < 2 or 1 << count != days or days >= len(design):
        return None
    shortest: dict[int, int] = {}  # a set of aliases by its smallest member: bits of the shortest one
    for bits in range(1, 1 << len(design.names)):
        same = [bits ^ word for word in words]
        if 0 not in same and min(same) not in shortest:
            shortest[min(same)] = _shortest(bits, words)
    usable = sorted(
        (bits for bits in shortest.values() if bits.bit_count() > 1), key=lambda bits: (-bits.bit_count(), bits)
    )
    best = _least_confusing(usable, count, words, len(design.names))
    if best is None:
        return None
    given_up = sorted((_shortest(bits, words) for bits in _group(best)), key=lambda bits: (bits.bit_count(), bits))
    names = [_name(design.names, bits) for bits in given_up]
    signs = [[_product(run, bits) > 0 for bits in best] for run in design.levels]
    return tuple(names), tuple(sum(1 << place for place, high in enumerate(row) if high) for row in signs)


def _least_confusing(usable: Sequence[int], count: int, words: Sequence[int], factors: int) -> tuple[int, ...] | None:
    best_key, best = None, None
    for number, chosen in enumerate(combinations(usable, count)):
        if number >= _MOST_SETS:
            break
        lengths = [_shortest(bits, words).bit_count() for bits in _group(chosen)]
        if min(lengths) < 2:  # a main effect, or two contrasts that are the same
            continue
        key = tuple(lengths.count(size) for size in range(2, factors + 1))
        if best_key is None or key < best_key:
            best_key, best = key, chosen
    return best


def _group(chosen: Sequence[int]) -> list[int]:
    """All products of some contrasts, that of none left out."""
    group = [0]
    for bits in chosen:
        group += [bits ^ other for other in group]
    return group[1:]


def _shortest(bits: int, words: Sequence[int]) -> int:
    """The alias of the fewest factors."""
    return min((bits ^ word for word in words), key=lambda one: (one.bit_count(), one))


def _name(names: Sequence[str], bits: int) -> str:
    return term_name(name for index, name in enumerate(names) if bits >> index & 1)


def _regular_words(design: Design) -> list[int] | None:
    """Bits of every word of the defining relation, the empty one included; None for a design that is not regular."""
    size = len(design.names)
    plain = set(design.kind) == {PROCESS} and all(abs(level) == 1 for row in design.levels for level in row)
    if not plain or len(set(design.levels)) < len(design) or not 2 <= size <= MOST_FACTORS:
        return None
    words = [0]
    for text in design.defining_words:
        words.append(sum(1 << design.names.index(name) for name in text.removeprefix("-").split(":")))
    return words if len(design) * len(words) == 1 << size else None


def _product(run: Sequence[float], bits: int) -> float:
    value = 1.0
    for index, level in enumerate(run):
        if bits >> index & 1:
            value *= level
    return value


def balanced_days(design: Design, units: Sequence[Sequence[int]], sizes: Sequence[int], seed: int) -> tuple[int, ...]:
    """Days of units of runs, so that main effects, repeats, interactions and squares keep clear of the day.

    Units are swapped between days, the best swap first, from several seeded starts.

    Parameters
    ----------
    design : Design              Runs, in the rows that `units` count.
    units : sequence of rows     What is made together on one day: a run, or all runs of one base.
    sizes : sequence of int      Units on each day; they add up to the number of units.
    seed : int                   Of the starts.

    Returns
    -------
    tuple of int   Day of each unit, counted from 0.
    """
    import numpy as np

    columns = _columns(design)
    sums = np.array([columns[list(rows)].sum(axis=0) for rows in units])
    random = np.random.default_rng(seed)
    slots = np.repeat(np.arange(len(sizes)), sizes)
    best_value, best = None, None
    for _ in range(_STARTS):
        days = random.permutation(slots)
        value = _descend(sums, days, np.array(sizes, dtype=float))
        if best_value is None or value < best_value - _GAIN:
            best_value, best = value, days.copy()
    return tuple(int(day) for day in best)


def _columns(design: Design) -> np.ndarray:
    """Main effects, repeats of each run that stands more than once, interactions and squares, weighted and centred."""
    import numpy as np

    mains = []
    for index, kind in enumerate(design.kind):
        values = [row[index] for row in design.levels]
        if kind == CATEGORY:
            mains += [[float(value == level) for value in values] for level in sorted(set(values))]
        else:
            mains.append(values)
    mains = [_scaled(column) for column in mains]
    seconds = [_scaled(one * two) for one, two in combinations(mains, 2)]
    seconds += [_scaled(one * one) for one in mains]
    counts = {row: design.levels.count(row) for row in design.levels}
    repeats = [
        _scaled([float(row == repeated) for row in design.levels]) for repeated, count in counts.items() if count > 1
    ]
    weighted = [*mains, *repeats, *(_SECOND_WEIGHT**0.5 * column for column in seconds)]
    return np.stack(weighted, axis=1)


def _scaled(column: Sequence[float]) -> np.ndarray:
    import numpy as np

    centred = np.asarray(column, dtype=float)
    centred = centred - centred.mean()
    length = float(np.sqrt(centred @ centred))
    return centred / length if length > 1e-12 else np.zeros(len(centred))


def _descend(sums: np.ndarray, days: np.ndarray, sizes: np.ndarray) -> float:
    """Swap units in place until no swap lowers the sum of squares between days; gives what is left of it."""
    import numpy as np

    inner = sums @ sums.T
    own = np.diag(inner)
    apart = own[:, None] + own[None, :] - 2 * inner  # squared distance of two units
    while True:
        totals = np.array([sums[days == day].sum(axis=0) for day in range(len(sizes))])
        weight = 1 / sizes[days]
        along = sums @ totals.T  # unit by day
        here = along[np.arange(len(days)), days]
        # unit i goes to the day of j, unit j to the day of i
        to_i = 2 * (along[:, days].T - here[:, None]) + apart
        change = weight[:, None] * to_i + weight[None, :] * to_i.T
        change[days[:, None] == days[None, :]] = 0
        place = int(np.argmin(change))
        one, two = divmod(place, len(days))
        if change[one, two] >= -_GAIN:
            return float(((totals * totals).sum(axis=1) / sizes).sum())
        days[one], days[two] = days[two], days[one]
