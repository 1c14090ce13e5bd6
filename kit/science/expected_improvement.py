"""Expected improvement: how much a further batch can be hoped to better the best one, its scatter counted.

Mockus, Tiesis and Zilinskas (1978); Jones, Schonlau and Welch (1998), Journal of Global Optimization 13:455, with
Student's t in place of the normal, as few batches leave the scatter itself uncertain.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.errors import KitError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike


def expected_improvement(
    mean: ArrayLike, spread: ArrayLike, df: float, best: float, *, larger: bool = True
) -> np.ndarray:
    """The mean gain over the best, where there is a gain.

    Parameters
    ----------
    mean, spread : array   Of Student's t at each point: its middle and its scale, not below 0. [unit]
    df : float             Above 1; infinity gives the normal.
    best : float           What is to be bettered. [unit]
    larger : bool          Whether larger is better.

    Returns
    -------
    array   Not below 0. [unit]

    Raises
    ------
    KitError   `improvement.df`: with 1 degree of freedom or less no mean gain exists.

    Notes
    -----
    s [z F(z) + (df + z^2) / (df - 1) f(z)], z = (mean - best) / s, with F and f of Student's t.
    """
    import numpy as np
    from scipy.special import gammaln, stdtr

    if not df > 1:
        raise KitError(
            f"with {df:g} degrees of freedom the gain has no mean",
            where="expected_improvement()",
            allowed="more than 1",
            mend="make batches again, or name the scatter that is known",
            code="improvement.df",
        )
    middle, scale = np.asarray(mean, dtype=float), np.asarray(spread, dtype=float)
    gain = (middle - best) if larger else (best - middle)
    safe = np.where(scale > 0, scale, 1.0)
    z = gain / safe
    if np.isinf(df):
        from scipy.special import ndtr

        found = z * ndtr(z) + np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    else:
        log_density = gammaln((df + 1) / 2) - gammaln(df / 2) - 0.5 * np.log(df * np.pi)
        log_density = log_density - (df + 1) / 2 * np.log1p(z * z / df)
        found = z * stdtr(df, z) + (df + z * z) / (df - 1) * np.exp(log_density)
    return np.maximum(np.where(scale > 0, safe * found, np.maximum(gain, 0.0)), 0.0)


def student_draws(count: int, columns: int, df: ArrayLike, *, seed: int = 0) -> np.ndarray:
    """Spread-out draws of independent Student's t, the same for every point, so that points differ by their own merit.

    Parameters
    ----------
    count : int      Draws.
    columns : int    Responses.
    df : array       Degrees of freedom of each response.
    seed : int       Of the scrambling.

    Returns
    -------
    array, (count, columns)
    """
    import numpy as np
    from scipy.special import stdtrit
    from scipy.stats import qmc

    uniform = qmc.Sobol(columns, scramble=True, rng=np.random.default_rng(seed)).random(count)
    return stdtrit(np.broadcast_to(np.asarray(df, dtype=float), uniform.shape), np.clip(uniform, 1e-4, 1 - 1e-4))
