"""Lack of fit: whether a model misses by more than batches made again miss each other."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

_ROUNDING = 1e-20  # of the squares of the values: repeats that agree to rounding tell no scatter


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """The part of the residuals that repeats do not explain; a test only where something was repeated or is known.

    Parameters
    ----------
    squares, df : float            Of the lack of fit, and its degrees of freedom.
    pure_squares, pure_df : float  Of batches made again.
    f, p : float, None             Ratio of the mean squares and its probability if the model held. [-]
    against : str                  "repeats" or "known scatter".
    reason : str                   Why there is no test.
    """

    squares: float
    df: float
    pure_squares: float
    pure_df: float
    f: float | None
    p: float | None
    against: str = ""
    reason: str = ""

    @property
    def is_shown(self) -> bool | None:
        """Whether the model is shown to miss, at 5 %; None without a test."""
        return None if self.p is None else self.p < 0.05


def lack_of_fit(
    values: np.ndarray,
    weights: np.ndarray,
    labels: Sequence[Hashable],
    blocks: np.ndarray,
    squares: float,
    df: int,
    known: tuple[float, float] | None,
) -> LackOfFit:
    """Split the residual squares of a model into scatter of repeats and lack of fit.

    Parameters
    ----------
    values : array, (n,)        Observed, on the scale of the fit.
    weights : array, (n,)       Of the squares.
    labels : sequence           Equal for makings of the same thing.
    blocks : array, (n, b)      Columns of the blocks, none where there are none.
    squares, df : float, int    Residual squares of the model and their degrees of freedom.
    known : pair, None          Known SD of a batch and its df; used where nothing was repeated.
    """
    pure, pure_df = _pure(values, weights, labels, blocks)
    rest_df = df - pure_df
    if df <= 0:
        return LackOfFit(0.0, 0, pure, pure_df, None, None, reason="as many coefficients as batches: nothing is left")
    if pure_df > 0 and rest_df > 0 and pure > _ROUNDING * float((values**2).sum()):
        rest = max(squares - pure, 0.0)
        return _tested(rest, rest_df, pure, pure_df, pure / pure_df, pure_df, "repeats")
    if known is not None:
        sd, known_df = known
        return _tested(squares, df, pure, pure_df, sd * sd, known_df, "known scatter")
    if pure_df > 0 and rest_df <= 0:
        return LackOfFit(0.0, 0, pure, pure_df, None, None, reason="every setting has a coefficient of its own")
    if pure_df > 0:
        return LackOfFit(squares, rest_df, pure, pure_df, None, None, reason="the repeats agree to the last digit")
    return LackOfFit(
        squares, df, 0.0, 0, None, None, reason="nothing was made again, and no scatter of batches is known"
    )


def _tested(
    rest: float, rest_df: float, pure: float, pure_df: float, mean_square: float, df: float, against: str
) -> LackOfFit:
    from scipy.special import fdtrc

    ratio = rest / rest_df / mean_square
    return LackOfFit(rest, rest_df, pure, pure_df, ratio, float(fdtrc(rest_df, df, ratio)), against)


def _pure(values: np.ndarray, weights: np.ndarray, labels: Sequence[Hashable], blocks: np.ndarray) -> tuple[float, int]:
    """Squares within repeats, blocks taken out, and their degrees of freedom."""
    import numpy as np

    groups = list(dict.fromkeys(labels))
    columns = np.array([[float(label == group) for group in groups] for label in labels])
    rows = np.hstack([columns, blocks]) * np.sqrt(weights)[:, None]
    right = values * np.sqrt(weights)
    solved, _, rank, _ = np.linalg.lstsq(rows, right, rcond=1e-10)
    left = right - rows @ solved
    return float(left @ left), len(values) - int(rank)
