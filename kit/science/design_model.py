"""The model matrix of a design, and which of its terms the runs cannot tell apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.science.design_layout import CATEGORY, MIXTURE, Design
from kit.science.model_terms import Term, model_matrix

if TYPE_CHECKING:
    import numpy as np

Model = Sequence[Term] | Callable[[Sequence[Sequence[float]]], "np.ndarray"]
"""Terms, or a function from points to the model matrix."""

RANK = 1e-9
"""Share of the largest singular value below which columns are taken as dependent."""


def matrix_of(model: Model, names: Sequence[str], points: Sequence[Sequence[float]]) -> np.ndarray:
    """The model matrix, (points, terms).

    Parameters
    ----------
    model : sequence of Term, function   Terms, or a function from points to the matrix.
    names : sequence of str              Factors, the columns of the points.
    points : (points, factors)           Levels.

    Raises
    ------
    KitError   `design.model`, `model.names`, `model.points`.
    """
    import numpy as np

    if not callable(model):
        return model_matrix(tuple(model), names, points)
    matrix = np.asarray(model(points), dtype=float)
    if matrix.ndim != 2 or len(matrix) != len(points) or not np.isfinite(matrix).all():
        raise KitError(
            f"the model gives no finite matrix with a row for each of {len(points)} points",
            where="model of a design",
            allowed="terms, or a function from points to an array (points, terms)",
            mend="give the terms",
            code="design.model",
        )
    return matrix


def names_of(model: Model, columns: int) -> tuple[str, ...]:
    """Names of the terms; "term 1" and so on for a function.

    Parameters
    ----------
    model : sequence of Term, function   As told.
    columns : int                        Of its matrix.
    """
    if callable(model):
        return tuple(f"term {number}" for number in range(1, columns + 1))
    return tuple(str(term) for term in model)


def main_effects(design: Design) -> np.ndarray:
    """The matrix of a model of main effects: a mixture by its components, else an intercept; categories by indicators.

    Parameters
    ----------
    design : Design   With runs.
    """
    import numpy as np

    columns = [] if MIXTURE in design.kind else [[1.0] * len(design)]
    for index, kind in enumerate(design.kind):
        values = [row[index] for row in design.levels]
        if kind == CATEGORY:
            columns += [[float(value == level) for value in values] for level in sorted(set(values))[1:]]
        else:
            columns.append(values)
    return np.array(columns, dtype=float).T


def products_of_two(design: Design) -> tuple[tuple[str, ...], np.ndarray]:
    """Names and columns of the interactions of two process factors, and their squares.

    Parameters
    ----------
    design : Design   With runs.
    """
    import numpy as np

    levels = np.array(design.levels)
    factors = [index for index, kind in enumerate(design.kind) if kind not in (CATEGORY, MIXTURE)]
    pairs = list(combinations(factors, 2))
    squares = [index for index in factors if len(set(np.abs(levels[:, index]))) > 1]
    names = [f"{design.names[one]} * {design.names[two]}" for one, two in pairs]
    names += [f"{design.names[index]}^2" for index in squares]
    columns = [levels[:, one] * levels[:, two] for one, two in pairs] + [levels[:, index] ** 2 for index in squares]
    return tuple(names), np.array(columns).T.reshape(len(levels), len(names))


def tell_apart(matrix: np.ndarray, names: Sequence[str]) -> tuple[str, ...]:
    """Terms that a set of runs cannot tell apart from each other; none where all can be told.

    Parameters
    ----------
    matrix : (runs, terms)     Model matrix.
    names : sequence of str    Its columns.

    Returns
    -------
    tuple of str   The terms that have a part in any sum of columns that is zero in all runs.
    """
    import numpy as np

    scale = np.linalg.norm(matrix, axis=0)
    _, values, across = np.linalg.svd(matrix / np.where(scale > 0, scale, 1.0), full_matrices=True)
    rank = int((values > RANK * max(values[0], 1e-300)).sum()) if len(values) else 0
    share = np.abs(across[rank:]).max(axis=0) if rank < len(names) else np.zeros(len(names))
    return tuple(name for name, part in zip(names, share, strict=True) if part > 1e-6)
