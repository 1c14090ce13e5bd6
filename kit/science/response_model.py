"""Fitting a response model to batches by least squares.

Plain numbers in, a frozen result out. Where the batches allow no answer the result's `reason` says what is missing.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.science.lack_of_fit import lack_of_fit
from kit.science.model_terms import INTERCEPT, Term, model_matrix
from kit.science.number_text import plural
from kit.science.response_input import observed, require_usable
from kit.science.response_result import Coefficient, LackOfFit, Prediction, ResponseModel

if TYPE_CHECKING:
    import numpy as np

    from kit.science.response_solve import Solved

__all__ = ["Coefficient", "LackOfFit", "Prediction", "ResponseModel", "fit_response"]

_ALONE = 1 - 1e-9  # a batch with this leverage carries a coefficient alone
_LEVEL = 0.05  # at which the residuals are called larger than the known scatter
_NAMED = 4  # terms of one group that are named; more of them say nothing to a reader
_EXACT = 1e-24  # of the squares of the values: residuals below are rounding
_SCATTER_KNOWN = 5  # degrees of freedom from which on a scatter is not called poorly known (common practice, no source)


def fit_response(
    points: Sequence[Sequence[float]],
    y: Sequence[float],
    terms: Sequence[Term],
    names: Sequence[str],
    *,
    log: bool = False,
    weights: Sequence[float] | None = None,
    repeats: Sequence[Hashable] | None = None,
    blocks: Sequence[Hashable] | None = None,
    known_sd: float | None = None,
    known_df: float | None = None,
) -> ResponseModel:
    """Fit a response to batches.

    Parameters
    ----------
    points : (batches, factors)    Levels as made.
    y : sequence of float          Observed, one a batch. [unit]
    terms : sequence of Term       Of `kit.science.model_terms`.
    names : sequence of str        Factors, in the order of the levels.
    log : bool                     Fit ln y, where scatter is a share of the value; y must be above zero.
    weights : sequence of float    Of the squares, above zero, one a batch; equal when omitted.
    repeats : sequence             A label a batch: equal labels are makings of the same thing. Equal levels when
                                   omitted.
    blocks : sequence              A label a batch, such as its day: each block gets an effect of its own, and the model
                                   speaks of their mean. None: no blocks.
    known_sd, known_df : float     Scatter of batches known from elsewhere, on the scale of the fit, and its df; none
                                   where either is omitted or zero. It is used unless the residuals are larger than it
                                   (F test, 5 %).

    Returns
    -------
    ResponseModel   Without coefficients, and with a `reason`, where the terms cannot be told apart or batches are too
                    few; with coefficients and a reason where nothing tells the scatter.

    Raises
    ------
    KitError   `model.values` for values, weights or a known scatter that cannot be fitted with, `model.labels` where
               not every batch has its repeat or block, `model.points`, `model.names`.
    """
    import numpy as np

    require_usable(len(y), weights=weights, labels={"repeats": repeats, "blocks": blocks}, known=(known_sd, known_df))
    read = np.array(observed(y, points, log))
    matrix = model_matrix(terms, names, points)
    made = tuple(tuple(float(level) for level in point) for point in points)
    base = ResponseModel(tuple(names), tuple(terms), made, tuple(float(value) for value in y), log)
    block_columns, block_names = _block_columns(blocks, len(made))
    columns = np.hstack([matrix, block_columns])
    if not np.isfinite(matrix).all():
        raise KitError(
            "a level is no finite number",
            where="fit_response()",
            allowed="finite levels",
            mend="leave the batch out and say why",
            code="model.points",
        )
    if not terms:
        return replace(base, reason="the model has no term")
    missing = _untold(columns, [*(term.name for term in terms), *(f"block {name}" for name in block_names[:-1])])
    if missing:
        return replace(base, reason=missing)
    share = np.ones(len(made)) if weights is None else np.asarray(weights, dtype=float)
    known = (float(known_sd), float(known_df)) if known_sd and known_df else None
    return _judged(base, columns, read, share, repeats or made, block_columns, block_names, known)


@dataclass(frozen=True, slots=True)
class _Scatter:
    """The scatter that errors rest on: None where nothing tells it, and the reason."""

    sd: float | None
    df: float | None
    told: str
    notes: tuple[str, ...] = ()
    reason: str = ""


def _block_columns(blocks: Sequence[Hashable] | None, count: int) -> tuple[np.ndarray, list[Hashable]]:
    """Columns that add up to zero over the blocks, one less than there are blocks; and the blocks."""
    import numpy as np

    names = list(dict.fromkeys(blocks or ()))
    columns = np.zeros((count, max(len(names) - 1, 0)))
    if len(names) < 2:
        return columns, []
    for row, block in enumerate(blocks):
        place = names.index(block)
        columns[row] = -1.0 if place == len(names) - 1 else np.arange(len(names) - 1) == place
    return columns, names


def _untold(columns: np.ndarray, names: Sequence[str]) -> str:
    """Why the coefficients cannot be had, in words; empty where they can."""
    from kit.science.response_solve import told_together

    groups = told_together(columns, names)
    if not groups:
        return ""
    count, needed = columns.shape
    short = [group for group in groups if len(group) <= _NAMED]
    told = "; ".join(_one_group(group) for group in short)
    if count < needed:
        batches = plural(count, "batch", "batches")
        few = f"{batches} for {needed} coefficients: at least {needed} different settings are needed"
        return f"{few}; in these batches {told}" if told else few
    return f"in these batches {told or 'the terms cannot be told apart'}"


def _one_group(group: Sequence[str]) -> str:
    own = [name for name in group if name != INTERCEPT.name]
    if len(own) == 1:
        return f"{own[0]} is the same in every batch"
    return f"{' and '.join(map(_called, group))} cannot be told apart"


def _called(name: str) -> str:
    """A term as a reader calls it."""
    return "the constant" if name == INTERCEPT.name else name


def _judged(
    base: ResponseModel,
    columns: np.ndarray,
    observed: np.ndarray,
    weights: np.ndarray,
    labels: Sequence[Hashable],
    block_columns: np.ndarray,
    block_names: Sequence[Hashable],
    known: tuple[float, float] | None,
) -> ResponseModel:
    from kit.science.response_solve import hardly_apart, solve_response

    solved = solve_response(columns, observed, weights)
    exact = _EXACT * float((weights * observed**2).sum())
    squares = 0.0 if solved.squares <= exact else solved.squares
    df = len(observed) - columns.shape[1]
    scatter = _scatter(squares, df, known)
    terms = len(base.terms)
    effects = _block_effects(solved.estimates[terms:], block_names)
    inverse = solved.inverse[:terms, :terms]
    near = hardly_apart(columns[:, :terms], [_called(term.name) for term in base.terms])
    hard = tuple(f"{' and '.join(group)} moved nearly together: they are hardly told apart" for group in near)
    return replace(
        base,
        reason=scatter.reason,
        coefficients=_coefficients(base.terms, solved, scatter),
        block_effects=effects,
        residual_sd=math.sqrt(squares / df) if df > 0 else None,
        df=df,
        sd=scatter.sd,
        sd_df=scatter.df,
        sd_from=scatter.told,
        block_sd=_block_sd(list(effects.values()), solved, terms, scatter),
        **_shares(observed, weights, solved, squares, df, exact),
        leverage=tuple(solved.leverage.tolist()),
        residuals=tuple(solved.residuals.tolist()),
        studentized=_studentized(solved, weights, scatter),
        lack_of_fit=lack_of_fit(observed, weights, labels, block_columns, squares, df, known),
        notes=(*scatter.notes, *hard, *_alone(solved)),
        inverse=tuple(tuple(row) for row in inverse.tolist()),
    )


def _scatter(squares: float, df: int, known: tuple[float, float] | None) -> _Scatter:
    """The scatter of a batch: the known one, unless the residuals are larger; else that of the residuals."""
    from scipy.special import fdtrc

    own = math.sqrt(squares / df) if df > 0 and squares > 0 else None
    if known is not None:
        sd, known_df = known
        larger = own is not None and float(fdtrc(df, known_df, (own / sd) ** 2)) < _LEVEL
        if not larger:
            return _Scatter(sd, known_df, f"the known scatter of batches, {known_df:g} df")
        note = "the residuals are larger than the known scatter of batches: theirs is used"
        return _Scatter(own, df, f"the residuals, {df} df", (note, *_poor(df)))
    if own is not None:
        return _Scatter(own, df, f"the residuals, {df} df", _poor(df))
    if df > 0:
        return _Scatter(None, None, "", reason="the model goes through every value exactly: no scatter is told")
    return _Scatter(
        None,
        None,
        "",
        reason="as many coefficients as batches: the model goes through every value, and nothing is left to tell the "
        "scatter; make batches again, or name earlier studies whose repeats tell it",
    )


def _poor(df: float) -> tuple[str, ...]:
    return (f"scatter itself poorly known ({df:g} df)",) if df < _SCATTER_KNOWN else ()


def _alone(solved: Solved) -> tuple[str, ...]:
    count = sum(share >= _ALONE for share in solved.leverage)
    batch = "one batch carries" if count == 1 else f"{count} batches carry"
    return (f"{batch} a coefficient alone: nothing checks it",) if count else ()


def _coefficients(terms: Sequence[Term], solved: Solved, scatter: _Scatter) -> tuple[Coefficient, ...]:
    from scipy.special import stdtr

    found = []
    for index, term in enumerate(terms):
        estimate = float(solved.estimates[index])
        if scatter.sd is None:
            found.append(Coefficient(term, estimate, None, None, None))
            continue
        error = scatter.sd * math.sqrt(float(solved.inverse[index, index]))
        t = estimate / error
        found.append(Coefficient(term, estimate, error, t, float(2 * stdtr(scatter.df, -abs(t)))))
    return tuple(found)


def _block_effects(estimates: np.ndarray, names: Sequence[Hashable]) -> dict[Hashable, float]:
    if not names:
        return {}
    own = [float(value) for value in estimates]
    return dict(zip(names, [*own, -sum(own)], strict=True))


def _block_sd(effects: Sequence[float], solved: Solved, terms: int, scatter: _Scatter) -> float:
    """Scatter between blocks beyond what batches alone would show: squares of the effects less those expected."""
    if not effects or scatter.sd is None:
        return 0.0
    covariance = scatter.sd**2 * solved.inverse[terms:, terms:]
    expected = float(covariance.trace() + covariance.sum())  # of the last effect: minus the sum of the others
    spread = sum(effect * effect for effect in effects) - expected
    return math.sqrt(max(spread, 0.0) / (len(effects) - 1))


def _shares(
    observed: np.ndarray, weights: np.ndarray, solved: Solved, squares: float, df: int, exact: float
) -> dict[str, float | None]:
    """R squared about the mean, adjusted and predicted; the left-out squares; Akaike's criterion for few batches.

    No share is told of values that are all alike: `exact` is what squares are no more than rounding.
    """
    count, fitted = len(observed), len(observed) - df
    mean = float((weights * observed).sum() / weights.sum())
    spread = float((weights * (observed - mean) ** 2).sum())
    total = spread if spread > exact else 0.0
    alone = bool((solved.leverage >= _ALONE).any())
    left = None if alone else solved.residuals / (1 - solved.leverage)
    press = None if left is None else float((weights * left * left).sum())
    room = count - fitted - 2  # the variance is a further parameter
    parameters = fitted + 1
    aicc = None
    if room > 0 and squares > 0:
        aicc = count * math.log(squares / count) + 2 * parameters + 2 * parameters * (parameters + 1) / room
    return {
        "r2": 1 - squares / total if total > 0 else None,
        "r2_adjusted": 1 - squares / df * (count - 1) / total if total > 0 and df > 0 else None,
        "r2_predicted": 1 - press / total if press is not None and total > 0 else None,
        "press": press,
        "aicc": aicc,
    }


def _studentized(solved: Solved, weights: np.ndarray, scatter: _Scatter) -> tuple[float | None, ...]:
    """Each residual over its own standard error."""
    if scatter.sd is None:
        return tuple(None for _ in solved.leverage)
    return tuple(
        None if share >= _ALONE else float(left * math.sqrt(weight) / (scatter.sd * math.sqrt(1 - share)))
        for left, share, weight in zip(solved.residuals, solved.leverage, weights, strict=True)
    )
