"""Least squares of a response by QR: coefficients, their covariance, leverage, and the terms that cannot be told apart.

Arrays in, a frozen result out. n batches, p columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# A combination of scaled columns smaller than this is rounding: its terms cannot be told apart.
_SINGULAR = 1e-9
# Below this the terms hardly move apart; above a tenth of the largest share of a combination a term belongs to it.
_HARDLY, _SHARE = 1e-2, 0.1
_REFINEMENTS = 2


@dataclass(frozen=True, slots=True)
class Solved:
    """The least-squares solution of one response.

    Parameters
    ----------
    estimates : array, (p,)      Coefficients.
    inverse : array, (p, p)      Inverse of X'WX: times the variance it is their covariance.
    leverage : array, (n,)       Diagonal of the hat matrix.
    residuals : array, (n,)      Observed less fitted, not weighted.
    squares : float              Weighted sum of their squares.
    """

    estimates: np.ndarray
    inverse: np.ndarray
    leverage: np.ndarray
    residuals: np.ndarray
    squares: float


def solve_response(matrix: np.ndarray, values: np.ndarray, weights: np.ndarray) -> Solved:
    """The coefficients that leave the least weighted sum of squares; the columns must be independent.

    Parameters
    ----------
    matrix : array, (n, p)    Terms at the points.
    values : array, (n,)      Observed.
    weights : array, (n,)     Of the squares; 1 for equal batches.

    Notes
    -----
    QR of the columns scaled to unit length, then refined with residuals in longer arithmetic, so that columns that are
    nearly dependent keep their digits.
    """
    root = np.sqrt(weights)
    rows, right = matrix * root[:, None], values * root
    scale = np.linalg.norm(rows, axis=0)
    q, triangle = np.linalg.qr(rows / scale)
    long_rows, long_right = rows.astype(np.longdouble), right.astype(np.longdouble)
    estimates = np.zeros(matrix.shape[1], dtype=np.longdouble)
    for _ in range(1 + _REFINEMENTS):
        left = (long_right - long_rows @ estimates).astype(float)
        estimates = estimates + np.linalg.solve(triangle, q.T @ left) / scale
    residuals = (values - matrix.astype(np.longdouble) @ estimates).astype(float)
    back = np.linalg.solve(triangle, np.eye(len(scale))) / scale[:, None]
    return Solved(
        estimates.astype(float),
        back @ back.T,
        np.clip((q * q).sum(axis=1), 0.0, 1.0),
        residuals,
        float((weights * residuals**2).sum()),
    )


def told_together(matrix: np.ndarray, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Groups of terms that these points cannot tell apart; empty where every coefficient can be had.

    Parameters
    ----------
    matrix : array, (n, p)   Terms at the points.
    names : sequence         Of the terms.
    """
    values, directions = _scaled_svd(matrix)
    weak = directions[values <= _SINGULAR * values.max(initial=1.0)]
    return _grouped(weak, names)


def hardly_apart(matrix: np.ndarray, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Groups of terms that these points can hardly tell apart: they moved nearly together.

    Parameters
    ----------
    matrix : array, (n, p)   Terms at the points.
    names : sequence         Of the terms.
    """
    values, directions = _scaled_svd(matrix)
    largest = values.max(initial=1.0)
    weak = directions[(values > _SINGULAR * largest) & (values <= _HARDLY * largest)]
    return _grouped(weak, names)


def _scaled_svd(matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Singular values of the scaled columns, as many as there are columns, and their directions."""
    count = matrix.shape[1]
    scale = np.linalg.norm(matrix, axis=0)
    scaled = matrix / np.where(scale > 0, scale, 1.0)
    padded = np.vstack([scaled, np.zeros((max(count - len(matrix), 0), count))])
    _, values, directions = np.linalg.svd(padded, full_matrices=False)
    return values, directions


def _grouped(weak: np.ndarray, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The terms in each weak direction, directions that share a term joined."""
    groups: list[set[int]] = []
    for direction in weak:
        size = np.abs(direction)
        members = set(np.flatnonzero(size > _SHARE * size.max()).tolist())
        joined = [group for group in groups if group & members]
        groups = [group for group in groups if not group & members]
        groups.append(members.union(*joined))
    return tuple(tuple(names[index] for index in sorted(group)) for group in groups)
