"""What a design can tell before a batch is made: how well each term, what is mixed with what, which run weighs most.

Everything here follows from the runs and the model alone; with a scatter of batches, known or assumed, it becomes
half-widths and differences that are found.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.science.design_checks import require_count
from kit.science.design_layout import Design
from kit.science.design_model import Model, main_effects, matrix_of, names_of, products_of_two, tell_apart
from kit.science.design_split_plot import strata, whitened
from kit.science.design_value_result import DesignValue, TermValue
from kit.science.detectable import detectable_errors
from kit.science.required import require_not_negative, require_positive
from kit.science.simultaneous import check_confidence

if TYPE_CHECKING:
    import numpy as np

_SHOWN_ALIAS = 0.05
_RIDGE = 1e-6


def what_it_tells(
    design: Design,
    terms: Model,
    *,
    sd: float | None = None,
    df: float = 0,
    relative: bool = True,
    confidence: float = 0.95,
    power: float = 0.8,
    base_ratio: float = 1.0,
    days: Sequence[object] | None = None,
) -> DesignValue:
    """How well a design tells each term of a model, before a batch is made.

    Parameters
    ----------
    design : Design          With runs; in a split plot the factors set once a base are judged against the bases.
    terms : sequence of Term  The model, or a function from points to its matrix. Amounts stand in their own units: a
        square or a product then moves with the terms it is made of, which coded levels (-1 to 1) would not.
    sd : float               Standard deviation of a batch, in ln units where `relative`: from history, or assumed.
    df : float               Its degrees of freedom, 0 where it is assumed; those left in the design are added.
    relative : bool          Whether changes are told as ratios.
    confidence : float       Of the two-sided intervals.
    power : float            Chance that the detectable change is found.
    base_ratio : float       Of a split plot: variance between bases over that within a base, as assumed.
    days : sequence          Day of each run: each day may then lie higher or lower as a whole.

    Returns
    -------
    DesignValue   With a `reason` where terms cannot be told apart, or where no scatter is known.

    Raises
    ------
    KitError   `design.model`, `design.days`, `model.names`, `science.not_positive`, `science.negative`,
        `statistics.confidence`, `detectable.power`.
    """
    import numpy as np

    require_positive("what a design can tell", standard_deviation=sd)
    require_not_negative("what a design can tell", degrees_of_freedom=df, base_ratio=base_ratio)
    check_confidence(confidence)
    told = {"sd": sd, "relative": relative, "power": power, "is_split_plot": design.whole_plot is not None}
    if not len(design):
        return _nothing(f"there are no runs, as {design.reason or 'none were planned'}", told)
    own = matrix_of(terms, design.names, design.levels)
    names = names_of(terms, own.shape[1])
    plain, day_names = _with_days(own, days)
    if same := tell_apart(plain, (*names, *day_names)):
        return _nothing(f"the runs cannot tell these terms apart: {', '.join(same)}", told)
    matrix = whitened(plain, design.whole_plot, base_ratio)
    inverse = _inverse(matrix)
    errors = np.sqrt(np.diag(inverse))
    inflation = _inflation(plain)
    judged, own_df = strata(plain, design.whole_plot)
    values, reasons = [], []
    for index, name in enumerate(names):
        every, span = df + own_df[index], float(np.ptp(plain[:, index]))
        reason = _no_interval(sd, every)
        factors = (None, None) if reason else _factors(sd, every, confidence, power)
        changes = (_change(factor, errors[index], span) for factor in factors)
        values.append(TermValue(name, float(errors[index]), inflation[index], span, every, judged[index], *changes))
        reasons.append(reason and f"{reason} ({name})" if design.whole_plot is not None and sd else reason)
    left = len(plain) - plain.shape[1]
    return DesignValue(
        tuple(values),
        tuple(map(float, np.einsum("ij,jk,ik->i", matrix, inverse, matrix))),
        _aliases(design, matrix, names, base_ratio),
        left,
        _repeats(design, plain[:, len(names) :]),
        min(value.df for value in values),
        reason="; ".join(dict.fromkeys(filter(None, reasons))),
        **told,
    )


def _repeats(design: Design, day_columns: np.ndarray) -> int:
    """Degrees of freedom of runs made more than once, what the days take left out."""
    import numpy as np

    made = list(dict.fromkeys(design.levels))
    cells = [[float(row == one) for one in made] for row in design.levels]
    return len(design) - int(np.linalg.matrix_rank(np.column_stack([cells, day_columns])))


def _with_days(matrix: np.ndarray, days: Sequence[object] | None) -> tuple[np.ndarray, tuple[str, ...]]:
    """The matrix with a column for each day but the first, and their names."""
    import numpy as np

    if days is None:
        return matrix, ()
    if len(days) != len(matrix):
        raise KitError(
            f"there are {len(days)} days for {len(matrix)} runs",
            where="what a design can tell",
            allowed="one day for each run",
            mend="give the day of each run, in the order of the design",
            code="design.days",
        )
    others = list(dict.fromkeys(days))[1:]
    columns = [[float(day == other) for day in days] for other in others]
    return np.column_stack([matrix, *columns]), tuple(f"day {other}" for other in others)


def alias_matrix(matrix: np.ndarray, left_out: np.ndarray) -> np.ndarray:
    """How much of each column that is left out the coefficients of a model take up, (terms, left out).

    (X'X)^-1 X'Z; Box and Wilson (1951), J. Royal Stat. Soc. B 13:1.

    Parameters
    ----------
    matrix : (runs, terms)        Full column rank.
    left_out : (runs, left out)   Columns that may matter and are not in the model.
    """
    import numpy as np

    return np.linalg.lstsq(matrix, left_out, rcond=None)[0]


def where_repeats_help(design: Design, count: int, terms: Model | None = None) -> tuple[int, ...]:
    """Runs whose repeat lowers the mean variance of what a model predicts at all runs most, one after another.

    Parameters
    ----------
    design : Design          With runs.
    count : int              How many repeats.
    terms : sequence of Term  The model; main effects where it is left out.

    Returns
    -------
    tuple of int   Rows, counted from 0; none stands twice before each has been taken once.

    Raises
    ------
    KitError   `design.count`, `design.model`, `model.names`.
    """
    import numpy as np

    require_count("repeats", least=0, repeats=count)
    if not len(design):
        return ()
    matrix = main_effects(design) if terms is None else matrix_of(terms, design.names, design.levels)
    length = np.linalg.norm(matrix, axis=0)  # a term in tiny units counts as much as any other
    basis, values, _ = np.linalg.svd(matrix / np.where(length > 0, length, 1.0), full_matrices=False)
    rows = basis[:, values > _RIDGE * values[0]] if values[0] > 0 else np.ones((len(matrix), 1))
    information = rows.T @ rows
    taken: list[int] = []
    for _ in range(count):
        inverse = np.linalg.inv(information)
        half = rows @ inverse
        own = np.einsum("ij,ij->i", half, rows)
        lowered = ((half @ rows.T) ** 2).sum(axis=0) / (1 + own)  # of the summed variance, by one more run
        fewest = min(taken.count(row) for row in range(len(rows)))
        lowered[[row for row in range(len(rows)) if taken.count(row) > fewest]] = -1
        best = int(np.flatnonzero(lowered >= lowered.max() - 1e-9)[0])
        taken.append(best)
        information = information + np.outer(rows[best], rows[best])
    return tuple(taken)


def _no_interval(sd: float | None, df: float) -> str:
    if sd is None:
        return "no scatter of batches is told"
    if df < 1:
        return "no degree of freedom is left, and the scatter has none of its own; add repeats or history"
    return ""


def _factors(sd: float, df: float, confidence: float, power: float) -> tuple[float, float]:
    """Half-width and detectable change of a coefficient with a standard error of 1 SD."""
    from scipy.special import stdtrit

    critical = float(stdtrit(df, 0.5 + confidence / 2))
    return sd * critical, sd * detectable_errors(critical, df, power=power)


def _change(factor: float | None, error: float, span: float) -> float | None:
    return None if factor is None or span <= 0 else float(factor * error * span)


def _inverse(matrix: np.ndarray) -> np.ndarray:
    """(X'X)^-1, by way of columns of length 1: levels in their own units keep their digits."""
    import numpy as np

    length = np.linalg.norm(matrix, axis=0)
    triangle = np.linalg.qr(matrix / length, mode="r")
    half = np.linalg.inv(triangle) / length[:, None]
    return half @ half.T


def _inflation(matrix: np.ndarray) -> list[float | None]:
    import numpy as np

    own = np.diag(_inverse(matrix))
    constant = np.ptp(matrix, axis=0) <= 1e-12
    centred = matrix - matrix.mean(axis=0) if constant.any() else matrix
    squares = (centred * centred).sum(axis=0)
    return [None if fixed else float(e * s) for fixed, e, s in zip(constant, own, squares, strict=True)]


def _aliases(
    design: Design, matrix: np.ndarray, names: Sequence[str], base_ratio: float
) -> tuple[tuple[str, str, float], ...]:
    """Interactions of two factors and squares that are not in the model, and the terms that take them up."""
    others, columns = products_of_two(design)
    left_out = [index for index, name in enumerate(others) if name not in names]
    if not left_out:
        return ()
    shares = alias_matrix(matrix, whitened(columns[:, left_out], design.whole_plot, base_ratio))
    return tuple(
        (term, others[index], float(shares[row, place]))
        for row, term in enumerate(names)
        for place, index in enumerate(left_out)
        if abs(shares[row, place]) > _SHOWN_ALIAS
    )


def _nothing(reason: str, told: dict) -> DesignValue:
    return DesignValue((), (), (), 0, 0, 0, reason=reason, **told)
