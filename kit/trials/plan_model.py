"""The model that a plan is judged by, as columns: what each batch says about each effect, and what the days take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from kit.trials.plan_factors import LINE, Factor
from kit.trials.plan_layouts import ARMS, EFFECTS, MIXTURE
from kit.units import plain

if TYPE_CHECKING:
    import numpy as np

DAY, BASE = "day", "base"
CURVED = "centre against the corners"
_SMALL = 1e-8


@dataclass(frozen=True, slots=True)
class Batch:
    """One planned batch as the model sees it.

    Parameters
    ----------
    key : str          What makes batches one version: the fingerprint of the formula.
    label : str        Its point.
    day : int          Counted from 1.
    coded : tuple      Coded level of each process factor, or amount of each component; empty for a control outside.
    centre : bool      A centre point.
    levels : tuple     The same levels in the units of the factors.
    base : int         Hot base it is taken from; 0 where it is made whole.
    """

    key: str
    label: str
    day: int
    coded: tuple[float, ...] = ()
    centre: bool = False
    levels: tuple[float, ...] = ()
    base: int = 0


@dataclass(frozen=True)
class Question:
    """A difference that the plan is to tell.

    Parameters
    ----------
    name : str             "cetearyl-alcohol 3.00 % against the control".
    weights : np.ndarray   Of the columns.
    first, second : int    Batches on either side; 0 where it is no comparison of two groups.
    """

    name: str
    weights: np.ndarray
    first: int = 0
    second: int = 0


@dataclass(frozen=True)
class Model:
    """Columns by batches and the questions put to them.

    Parameters
    ----------
    x : np.ndarray        Batches x columns, the days last.
    questions : tuple     What is asked.
    treatment_columns : int   Columns before the days.
    left_out : tuple of str   Effects that no column is left for.
    """

    x: np.ndarray
    questions: tuple[Question, ...]
    treatment_columns: int
    left_out: tuple[str, ...] = ()

    @property
    def df(self) -> int:
        """Batches less what is estimated: degrees of freedom of the plan's own scatter."""
        from numpy.linalg import matrix_rank

        return len(self.x) - int(matrix_rank(self.x))

    def variance(self, question: Question) -> float | None:
        """Variance of an answer over that of one batch; None where the days, or other effects, take it. [-]

        Parameters
        ----------
        question : Question   One of its own.
        """
        import numpy as np

        inverse = np.linalg.pinv(self.x.T @ self.x, hermitian=True)
        reached = question.weights @ inverse @ (self.x.T @ self.x)
        if np.abs(reached - question.weights).max() > 1e-6:
            return None
        return float(question.weights @ inverse @ question.weights)


def model_of(
    batches: Sequence[Batch], factors: Sequence[Factor], judged: str, control: str, *, order: int = 2, blocks: str = DAY
) -> Model:
    """The columns and questions of a plan.

    Parameters
    ----------
    batches : sequence of Batch   All that are made.
    factors : sequence            What is varied; none for swaps.
    judged : str                  "arms", "effects", "mixture" or "mixture and process".
    control : str                 Key of the control; empty without one.
    order : int                   1 for straight effects only, 2 with interactions and curvature where they can be told.
    blocks : str                  What has columns of its own: DAY, BASE (a hot base) or "" for nothing.
    """
    import numpy as np

    if judged == ARMS:
        named, asked = _arms(batches, factors, control)
        left: list[str] = []
    else:
        named, asked, left = _effects(batches, factors, judged, order)
    treatment = np.column_stack([column for _, column in named])
    apart = _block_columns([getattr(batch, blocks) for batch in batches]) if blocks else []
    x = np.column_stack([treatment, *apart])
    names = [name for name, _ in named]
    questions = []
    for name, weights, first, second in asked:
        full = np.zeros(x.shape[1])
        for column, weight in weights.items():
            full[names.index(column)] = weight
        questions.append(Question(name, full, first, second))
    return Model(x, tuple(questions), len(names), tuple(left))


def term_matrix(
    points: Sequence[Sequence[float]],
    factors: Sequence[Factor],
    judged: str,
    order: int,
    region: Sequence[Sequence[float]],
) -> np.ndarray:
    """Every term of a model at every point, (points, terms); amounts as shares of their total.

    Parameters
    ----------
    points : sequence   Coded levels or amounts, factor by factor.
    factors : sequence  What they are levels of.
    judged : str        "effects", "mixture" or "mixture and process".
    order : int         1 or 2.
    region : sequence   All points that there are: they decide which curvatures are terms.
    """
    import numpy as np

    every, found = np.array(region, dtype=float), np.array(points, dtype=float)
    names = [factor.name for factor in factors]
    terms = _terms(names, judged, order, every, np.ones(len(every), dtype=bool), factors)
    parts = [one for one in range(len(names)) if judged != EFFECTS and _is_part(one, judged, factors)]
    if parts:
        found[:, parts] /= every[:, parts].sum(axis=1).mean()
    columns = [np.prod(found[:, list(members)], axis=1) if members else np.ones(len(found)) for _, members in terms]
    return np.column_stack(columns)


def _block_columns(blocks: Sequence[int]) -> list:
    """What each day, or base, adds to its batches, over the first."""
    import numpy as np

    every = sorted(set(blocks))
    return [np.array([float(one == block) - float(one == every[0]) for one in blocks]) for block in every[1:]]


def _arms(batches: Sequence[Batch], factors: Sequence[Factor], control: str):
    import numpy as np

    labels = {batch.key: batch.label for batch in reversed(batches)}
    levels = {batch.key: batch.levels[0] for batch in batches if len(factors) == 1 and batch.levels}
    keys = sorted(dict.fromkeys(batch.key for batch in batches), key=lambda key: levels.get(key, -math.inf))
    named = [(key, np.array([float(batch.key == key) for batch in batches])) for key in keys]
    against = control or (keys[0] if keys else "")
    counts = {key: sum(batch.key == key for batch in batches) for key in keys}
    asked = [
        (f"{labels[key]} against {'the control' if control else labels[against]}", {key: 1.0, against: -1.0},
         counts[key], counts[against])
        for key in keys
        if key != against
    ]  # fmt: skip
    return named, [*asked, *_straight(factors, levels, counts)]


def _straight(factors: Sequence[Factor], levels: dict[str, float], counts: dict[str, int]):
    """The question of a level series: from lowest to highest level, by the straight line through all batches."""
    if len(set(levels.values())) < 3:
        return []
    (factor,) = factors
    low, high = float(factor.low), float(factor.high)  # as asked: a control beyond them lies on the line all the same
    middle = sum(counts[key] * level for key, level in levels.items()) / sum(counts[key] for key in levels)
    spread = sum(counts[key] * (level - middle) ** 2 for key, level in levels.items())
    weights = {key: (high - low) * counts[key] * (level - middle) / spread for key, level in levels.items()}
    return [(f"{factor.name}, {plain(factor.low)} to {factor.text(factor.high)} by a straight line", weights, 0, 0)]


def _effects(batches: Sequence[Batch], factors: Sequence[Factor], judged: str, order: int):
    import numpy as np

    inside = np.array([bool(batch.coded) for batch in batches])
    width = len(factors)
    coded = np.array([batch.coded or (0.0,) * width for batch in batches], dtype=float)
    centre = np.array([float(batch.centre) for batch in batches])
    names = [factor.name for factor in factors]
    terms = _terms(names, judged, order, coded, inside, factors)
    named, left = [], []
    if not inside.all():
        named.append(("control", np.array([float(not one) for one in inside])))
    for name, members in terms:
        column = np.where(inside, np.prod(coded[:, list(members)], axis=1) if members else 1.0, 0.0)
        grown = np.column_stack([*(one for _, one in named), column])
        if np.linalg.matrix_rank(grown, tol=_SMALL) > len(named):
            named.append((name, column))
        elif members:
            left.append(name)
    if judged == EFFECTS and centre.any() and not any("²" in name for name, _ in terms):
        grown = np.column_stack([*(one for _, one in named), centre])
        if np.linalg.matrix_rank(grown, tol=_SMALL) > len(named):
            named.append((CURVED, centre))
    asked = _asked(named, terms, names, judged, coded[inside], factors)
    return named, asked, left


def _terms(names, judged, order, coded, inside, factors):
    """Name and factor indices of each term, the plainest first."""
    every = range(len(names))
    if judged == EFFECTS:
        terms = [("mean", ()), *((names[one], (one,)) for one in every)]
        if order > 1:
            terms += [(f"{names[one]} × {names[other]}", (one, other)) for one, other in combinations(every, 2)]
            curved = [one for one in every if len(set(coded[inside][:, one].round(6))) > 2]
            if _between(coded[inside]):
                terms += [(f"{names[one]}²", (one, one)) for one in curved]
        return terms
    parts = [one for one in every if _is_part(one, judged, factors)]
    process = [one for one in every if one not in parts]
    terms = [(names[one], (one,)) for one in parts]
    terms += [(f"{names[one]} × {names[other]}", (one, other)) for one in parts for other in process]
    if order > 1:
        terms += [(f"{names[one]} × {names[other]}", (one, other)) for one, other in combinations(parts, 2)]
        terms += [(f"{names[one]} × {names[other]}", (one, other)) for one, other in combinations(process, 2)]
    return terms


def _between(coded) -> bool:
    """Whether some point lies off the corners and off the centre: only then can single curvatures be told."""
    return any(row.any() and not (abs(abs(row) - 1) < _SMALL).all() for row in coded)


def _asked(named, terms, names, judged, coded, factors):
    present = [name for name, _ in named]
    if judged == EFFECTS:
        asked = []
        for name in present:
            if name in ("mean", "control"):
                continue
            is_curved = name.endswith("²") or name == CURVED
            words = f"curvature in {name[:-1]}" if name.endswith("²") else name
            asked.append((words if is_curved else f"{name}, low to high", {name: 1.0 if is_curved else 2.0}, 0, 0))
        return asked
    kept = [(name, members) for name, members in terms if name in present]
    parts = [one for one in range(len(names)) if _is_part(one, judged, factors)]
    asked = [(f"{names[part]}, lowest to highest", _difference(kept, *_ends(coded, parts, part)), 0, 0)
             for part in parts if coded[:, part].max() > coded[:, part].min()]  # fmt: skip
    for one in range(len(names)):
        if one not in parts:
            low = coded.mean(axis=0)
            high = low.copy()
            low[one], high[one] = -1.0, 1.0
            asked.append((f"{names[one]}, low to high", _difference(kept, low, high), 0, 0))
    return asked


def _ends(coded, parts: Sequence[int], part: int):
    """The lowest and the highest content of a component, the others in the proportions of the centre."""
    middle = coded.mean(axis=0)
    total = middle[list(parts)].sum()
    ends = []
    for content in (coded[:, part].min(), coded[:, part].max()):
        end = middle.copy()
        for other in parts:
            end[other] = content if other == part else middle[other] * (total - content) / (total - middle[part])
        ends.append(end)
    return ends


def _difference(terms, low, high) -> dict[str, float]:
    """Weights of each term in the difference between two places."""
    import numpy as np

    return {name: float(np.prod(high[list(members)]) - np.prod(low[list(members)])) for name, members in terms}


def _is_part(one: int, judged: str, factors: Sequence[Factor]) -> bool:
    return judged == MIXTURE or factors[one].kind == LINE
