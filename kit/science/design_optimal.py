"""D-optimal designs: the runs among candidates that tell the coefficients of a model best, told as a whole.

The determinant of X'X is the inverse of the squared volume within which all coefficients are known together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.science.design_checks import require_count
from kit.science.design_exchange import best_possible, exchange
from kit.science.design_layout import Design
from kit.science.design_model import Model, matrix_of, names_of, tell_apart
from kit.science.number_text import short

if TYPE_CHECKING:
    import numpy as np

STARTS = 16
MOST_CANDIDATES = 4096


@dataclass(frozen=True, repr=False)
class OptimalDesign(Design):
    """A design chosen from candidates for a model; the runs that had to be in come first.

    Parameters
    ----------
    rows : tuple of int         Candidate of each run, counted from 0; -1 for a run that had to be in.
    included : int              How many runs had to be in.
    terms : tuple of str        Names of the model's terms, where they were told.
    log_determinant : float     Natural logarithm of |X'X|; None without runs.
    d_efficiency : float        Root of the determinant a run, over that of the best weights of the candidates, 0 to 1.
        No design of this or any size reaches 1 but with the best weights. [-]
    condition_number : float    Of the model matrix with every column scaled to length 1. [-]
    seed : int                  Of the starts.
    tried : int                 How many starts were climbed from.
    """

    rows: tuple[int, ...] = ()
    included: int = 0
    terms: tuple[str, ...] = ()
    log_determinant: float | None = None
    d_efficiency: float | None = None
    condition_number: float | None = None
    seed: int = 0
    tried: int = 0

    @property
    def words(self) -> str:
        """The design in sentences."""
        if self.reason:
            return super().words
        made = f" The first {self.included} were to be in." if self.included else ""
        return (
            f"{super().words}{made} Chosen for {len(self.terms)} terms: D-efficiency "
            f"{short(100 * self.d_efficiency)} % of the best weights of the candidates, condition number "
            f"{short(self.condition_number)}; the best of {self.tried} starts (seed {self.seed})."
        )


def d_optimal(
    candidates: Design,
    terms: Model,
    runs: int,
    *,
    seed: int,
    include: Sequence[Sequence[float]] = (),
    repeats: bool = True,
    starts: int = STARTS,
) -> OptimalDesign:
    """The runs among the candidates that make the determinant of X'X of a model largest.

    The same question with the same seed has the same answer.

    Parameters
    ----------
    candidates : Design          What could be made, at most 4096 runs: corners and centroids, a lattice, a crossed
        design.
    terms : sequence of Term     The model, as `kit.science.model_terms` makes it; or a function from points to the
        matrix.
    runs : int                   Of the whole design, those that have to be in included.
    seed : int                   Of the starts.
    include : sequence           Points that have to be in, such as batches that are made already: levels in the order
        of the candidates' factors. They need not be candidates.
    repeats : bool               Whether a candidate may be made twice.
    starts : int                 How many are drawn at random; three times as many more are good ones shaken.

    Returns
    -------
    OptimalDesign   Without runs, and with the `reason`, where the candidates cannot tell all terms or the runs are too
        few.

    Raises
    ------
    KitError   `design.count`, `design.levels`, `design.candidates`, `design.model`, `model.names`, `model.points`.
    """
    import numpy as np

    made = Design(candidates.names, tuple(include), candidates.kind, categories=candidates.categories).levels
    require_count("D-optimal design", least=1, runs=runs)
    require_count("D-optimal design", least=1, most=1000, starts=starts)
    require_count("D-optimal design", least=0, most=2**63, seed=seed)
    if not 1 <= len(candidates) <= MOST_CANDIDATES:
        raise _no_candidates(len(candidates))
    matrix = matrix_of(terms, candidates.names, candidates.levels)
    names = names_of(terms, matrix.shape[1])
    fixed = matrix_of(terms, candidates.names, made) if made else np.empty((0, matrix.shape[1]))
    barred = np.array([not repeats and level in made for level in candidates.levels])
    told = {"seed": seed, "terms": names, "included": len(made)}
    reason = _cannot(np.concatenate([matrix[~barred], fixed]), names, runs, len(made), int((~barred).sum()), repeats)
    if reason:
        return _empty(candidates, reason, told)
    chosen = exchange(matrix, runs - len(made), fixed, seed=seed, starts=starts, repeats=repeats, barred=barred)
    return _chosen_design(candidates, made, matrix, fixed, chosen, told)


def _cannot(rows: np.ndarray, names: Sequence[str], runs: int, made: int, free: int, repeats: bool) -> str:
    """Why no design is possible, or nothing."""
    if same := tell_apart(rows, names):
        return f"the candidates cannot tell these terms apart: {', '.join(same)}"
    if runs < len(names):
        return f"{len(names)} terms need {len(names)} runs or more, and {runs} are asked for"
    if runs <= made:
        return f"{made} runs had to be in, which leaves none to choose of {runs}"
    if not repeats and free < runs - made:
        return f"{runs - made} runs without repeats are more than the {free} candidates left"
    return ""


def _chosen_design(candidates, made, matrix, fixed, chosen, told) -> OptimalDesign:
    import numpy as np

    model = np.concatenate([fixed, matrix[list(chosen.rows)]])
    if same := tell_apart(model, told["terms"]):
        return _empty(
            candidates,
            f"with so many runs, those that had to be in included, these stay mixed: {', '.join(same)}",
            told,
        )
    runs, terms = model.shape
    best = best_possible(np.concatenate([matrix, fixed]))
    scaled = np.linalg.svd(model / np.linalg.norm(model, axis=0), compute_uv=False)
    return OptimalDesign(
        candidates.names,
        (*made, *(candidates.levels[row] for row in chosen.rows)),
        candidates.kind,
        "D-optimal design",
        candidates.categories,
        rows=(*(-1 for _ in made), *chosen.rows),
        log_determinant=chosen.log_determinant,
        d_efficiency=min(float(np.exp((chosen.log_determinant - best) / terms) / runs), 1.0),
        condition_number=float(scaled[0] / scaled[-1]),
        tried=chosen.tried,
        **told,
    )


def _empty(candidates: Design, reason: str, told: dict) -> OptimalDesign:
    return OptimalDesign(
        candidates.names, (), candidates.kind, "D-optimal design", candidates.categories, reason=reason, **told
    )


def _no_candidates(count: int) -> KitError:
    return KitError(
        f"there are {count} candidates",
        where="D-optimal design",
        allowed=f"1 to {MOST_CANDIDATES}",
        mend="give the corners and centroids of the region, or a coarser lattice",
        code="design.candidates",
    )
