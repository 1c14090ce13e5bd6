"""A fixed sample of what is not known, and the band it gives: the same numbers on every machine and every day."""

from __future__ import annotations

from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

POINTS = 509  # a prime, as the lattice wants
_GENERATOR = 75  # of all generators the one whose columns are least alike over 40 dimensions (largest correlation 0.13)
LOW, HIGH = 0.05, 0.95  # the band holds nine readings in ten


@lru_cache(maxsize=64)
def standard_points(dimensions: int) -> np.ndarray:
    """Quasi-random points of independent standard normal numbers, array (509, dimensions); treat as read-only.

    A rank-1 lattice of Korobov's form: coordinate j of point i is i g^j modulo 509, so that every column holds each of
    509 quantiles of the normal distribution once; then turned a little so that mean and covariance of the sample are
    exactly 0 and 1.

    Parameters
    ----------
    dimensions : int   Number of unknowns.
    """
    import numpy as np

    if not dimensions:
        return np.zeros((POINTS, 0))
    quantiles = np.array([NormalDist().inv_cdf((rank + 0.5) / POINTS) for rank in range(POINTS)])
    powers = [pow(_GENERATOR, power, POINTS) for power in range(dimensions)]
    points = quantiles[np.outer(np.arange(POINTS), powers) % POINTS]
    lower = np.linalg.cholesky(points.T @ points / POINTS)
    return np.linalg.solve(lower, points.T).T


def sample(mean: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Points of a normal distribution, array (509, k).

    Parameters
    ----------
    mean : array (k,)          In the unit of each unknown.
    covariance : array (k, k)  May be singular.
    """
    import numpy as np

    if not len(mean):
        return standard_points(0)
    # The symmetric root: unlike the eigenvectors it has no sign or order left to the machine.
    values, vectors = np.linalg.eigh(covariance)
    spread = vectors * np.sqrt(values.clip(min=0)) @ vectors.T
    return mean + standard_points(len(mean)) @ spread


def band(values: np.ndarray, noise_sd: float) -> tuple[float, float]:
    """The 5 % and 95 % quantile of readings: predictions with the scatter of a reading added.

    Parameters
    ----------
    values : array (509,)   One prediction a point of the sample.
    noise_sd : float        Of a single reading, in the same unit.
    """
    import numpy as np

    # Each prediction becomes readings at nine equal steps of the noise: no further random number, no ragged edge.
    steps = np.array([NormalDist().inv_cdf((step + 0.5) / 9) for step in range(9)])
    low, high = np.quantile((values[:, None] + noise_sd * steps).ravel(), (LOW, HIGH))
    return float(low), float(high)
