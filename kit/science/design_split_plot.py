"""Split plots: one hot base for several cool-downs. Two scatters, and the best choice of bases and parts under both.

The parts of a base share what went wrong with the base. With the variance between bases over that within a base known
or assumed, each base is brought to independent runs of equal variance: a share of their mean is taken off its parts
(Goos and Vandebroek (2001), J. Quality Technology 33:436; Letsinger, Myers and Lentner (1996), J. Quality Technology
28:381).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from kit.science.design_checks import require_count
from kit.science.design_crossed import BETWEEN_BASES, WITHIN_A_BASE, whole_plot_notes
from kit.science.design_layout import Design
from kit.science.design_model import Model, matrix_of, names_of, tell_apart
from kit.science.required import require_not_negative

if TYPE_CHECKING:
    import numpy as np

STARTS = 12
_GAIN = 1e-9
_RIDGE = 1e-8
_MOST_PASSES = 100


def whitened(matrix: np.ndarray, plots: Sequence[int] | None, ratio: float) -> np.ndarray:
    """Rows of equal variance and without correlation, in units of the scatter within a base.

    Parameters
    ----------
    matrix : (runs, columns)   Of a model, or readings as one column.
    plots : sequence of int    Base of each run; None where each run is a base of its own, and nothing is changed.
    ratio : float              Variance between bases over that within a base. [-]
    """
    import numpy as np

    if plots is None:
        return matrix
    out = np.array(matrix, dtype=float)
    for plot in set(plots):
        rows = [row for row, own in enumerate(plots) if own == plot]
        share = 1 - (1 + len(rows) * ratio) ** -0.5
        out[rows] -= share * out[rows].mean(axis=0)
    return out


def strata(matrix: np.ndarray, plots: Sequence[int] | None) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """Which scatter each term is judged against, and the degrees of freedom that the design leaves it.

    A term that is the same in all parts of every base is judged between bases: bases less such terms. Any other is
    judged within a base: runs less bases less the terms that are not the same.

    Parameters
    ----------
    matrix : (runs, terms)    Model matrix.
    plots : sequence of int   Base of each run; None where each run is a base of its own.
    """
    import numpy as np

    runs, terms = matrix.shape
    if plots is None:
        return (BETWEEN_BASES,) * terms, (runs - terms,) * terms
    bases = np.array([[float(own == plot) for plot in sorted(set(plots))] for own in plots])
    within = matrix - bases @ np.linalg.lstsq(bases, matrix, rcond=None)[0]
    level = np.abs(within).max(axis=0) <= 1e-9 * np.maximum(np.abs(matrix).max(axis=0), 1e-300)
    between_df = max(bases.shape[1] - int(np.linalg.matrix_rank(matrix[:, level])) if level.any() else 0, 0)
    within_df = runs - int(np.linalg.matrix_rank(np.column_stack([bases, matrix])))
    return (
        tuple(BETWEEN_BASES if one else WITHIN_A_BASE for one in level),
        tuple(between_df if one else within_df for one in level),
    )


def d_optimal_split_plot(
    candidates: Design,
    terms: Model,
    bases: int,
    parts: int,
    whole_factors: Sequence[str],
    *,
    seed: int,
    ratio: float = 1.0,
    starts: int = STARTS,
) -> Design:
    """The bases and their parts among candidates that tell a model best, as a whole, under both scatters.

    A part is exchanged for another of the same base, or a base for another, until nothing makes the determinant of
    X'V^-1 X larger; from several seeded starts.

    Parameters
    ----------
    candidates : Design         What could be made: the runs of one setting of the whole factors are what such a base
        can be divided into.
    terms : sequence of Term    The model, or a function from points to its matrix.
    bases, parts : int          How many bases, and into how many parts each is divided.
    whole_factors : sequence    Factors that are set once a base.
    seed : int                  Of the starts.
    ratio : float               Variance between bases over that within a base, as assumed. [-]
    starts : int                How many.

    Returns
    -------
    Design   A split plot; without runs, and with the `reason`, where the candidates cannot tell all terms or the runs
        are too few.

    Raises
    ------
    KitError   `design.count`, `design.names`, `design.model`, `model.names`, `science.negative`.
    """
    import numpy as np

    require_count("split plot", least=1, bases=bases, parts=parts, starts=starts, candidates=len(candidates))
    require_count("split plot", least=0, most=2**63, seed=seed)
    require_not_negative("split plot", ratio=ratio)
    settings = list(zip(*(candidates.column(name) for name in whole_factors), strict=True))
    matrix = matrix_of(terms, candidates.names, candidates.levels)
    names = names_of(terms, matrix.shape[1])
    title = f"D-optimal split plot of {bases} bases, each in {parts} parts"
    if reason := _cannot(matrix, names, bases, parts, settings):
        return replace(candidates, levels=(), whole_plot=None, title=title, reason=reason)
    search = _Search(matrix, settings, parts, ratio)
    random = np.random.default_rng(seed)
    found = [search.climb(search.start(bases, random)) for _ in range(starts)]
    _, chosen = max(found, key=lambda one: (round(one[0], 7), [-row for base in one[1] for row in base]))
    rows = [row for base in chosen for row in base]
    if same := tell_apart(matrix[rows], names):
        reason = f"so few bases and parts leave these terms mixed: {', '.join(same)}"
        return replace(candidates, levels=(), whole_plot=None, title=title, reason=reason)
    within = tuple(name for name in candidates.names if name not in whole_factors)
    return Design(
        candidates.names,
        tuple(candidates.levels[row] for row in rows),
        candidates.kind,
        title,
        candidates.categories,
        whole_plot=tuple(base for base in range(bases) for _ in range(parts)),
        whole_factors=tuple(whole_factors),
        notes=whole_plot_notes(tuple(whole_factors), within, [settings[base[0]] for base in chosen]),
    )


def _cannot(matrix, names, bases, parts, settings) -> str:
    if same := tell_apart(matrix, names):
        return f"the candidates cannot tell these terms apart: {', '.join(same)}"
    if bases * parts < len(names):
        return f"{len(names)} terms need {len(names)} runs or more, and {bases * parts} are asked for"
    judged, _ = strata(matrix, [settings.index(one) for one in settings])
    if (between := judged.count(BETWEEN_BASES)) > bases:
        return f"{between} terms of what is set once a base need {between} bases or more, and {bases} are asked for"
    return ""


class _Search:
    """Exchanges of parts and of bases."""

    def __init__(self, matrix: np.ndarray, settings: list, parts: int, ratio: float) -> None:
        import numpy as np

        _, upper = np.linalg.qr(matrix)
        self.rows = np.linalg.solve(upper.T, matrix.T).T * np.sqrt(len(matrix))
        self.groups = [[row for row, own in enumerate(settings) if own == one] for one in dict.fromkeys(settings)]
        self.group_of = {row: group for group in self.groups for row in group}
        self.parts, self.share = parts, ratio / (1 + parts * ratio)

    def start(self, bases: int, random) -> list[list[int]]:
        """Bases and parts at random."""
        picked = [self.groups[random.integers(len(self.groups))] for _ in range(bases)]
        return [sorted(int(row) for row in random.choice(group, self.parts)) for group in picked]

    def climb(self, chosen: list[list[int]]) -> tuple[float, list[list[int]]]:
        """The log determinant and the bases after exchanges, base after base, until a pass changes none."""
        value = self._values([self._information(base) for base in chosen], [()])[0]
        for _ in range(_MOST_PASSES):
            changed = False
            for place in range(len(chosen)):
                others = [self._information(base) for index, base in enumerate(chosen) if index != place]
                trials = self._trials(chosen[place])
                values = self._values(others, trials)
                best = int(values.argmax())
                if values[best] > value + _GAIN:
                    value, chosen[place], changed = float(values[best]), sorted(trials[best]), True
            if not changed:
                break
        return float(value), sorted(chosen)

    def _trials(self, base: list[int]) -> list[tuple[int, ...]]:
        """The base with one part exchanged, and every other base with its parts in the same places."""
        own = self.group_of[base[0]]
        trials = [(*base[:index], row, *base[index + 1 :]) for index in range(len(base)) for row in own]
        places = [own.index(row) for row in base]
        trials += [tuple(group[place % len(group)] for place in places) for group in self.groups]
        return trials

    def _information(self, base: Sequence[int]) -> np.ndarray:
        rows = self.rows[list(base)]
        total = rows.sum(axis=0)
        return rows.T @ rows - self.share * total[:, None] * total[None, :]

    def _values(self, others: list, trials: list) -> np.ndarray:
        import numpy as np

        rest = sum(others, _RIDGE * np.eye(self.rows.shape[1]))
        return np.linalg.slogdet(np.array([rest + self._information(trial) for trial in trials]))[1]
