"""Viscosity build: how the viscosity of one batch rises, or falls, with age and where it settles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError
from kit.science.flow_least_squares import least_squares, standard_errors
from kit.show import Worded

FEWEST_AGES = 4
"""Ages needed for a build: three unknowns and one to spare."""

SLOW, FAST = "slow", "fast"

# A build slower than the first share over the whole span looks straight; one past the second by the second age is over.
_STRAIGHT, _OVER = 0.05, 0.99
_GRID = 40


@dataclass(frozen=True, slots=True, repr=False)
class ViscosityBuild(Worded):
    """settled - (settled - start) x exp(-age / time constant), relative weighting. What is not told is None.

    Parameters
    ----------
    start_mpa_s, settled_mpa_s : float, None     At age zero, and in the end. [mPa·s]
    time_constant_h : float, None                [h]
    start_error_mpa_s, settled_error_mpa_s : float, None   Standard errors. [mPa·s]
    time_constant_error_h : float, None          Standard error. [h]
    residual_sd : float, None                    Scatter about the curve, as a share of the viscosity. [-]
    df : int                                     Readings less unknowns.
    at_bound : str                               SLOW or FAST when the time constant is not told by these ages.
    first_age_h, last_age_h : float, None        Between which it was read. [h]
    reason : str                                 Why a part is missing; empty when all is told.
    """

    start_mpa_s: float | None = None
    settled_mpa_s: float | None = None
    time_constant_h: float | None = None
    start_error_mpa_s: float | None = None
    settled_error_mpa_s: float | None = None
    time_constant_error_h: float | None = None
    residual_sd: float | None = None
    df: int = 0
    at_bound: str = ""
    first_age_h: float | None = None
    last_age_h: float | None = None
    reason: str = ""

    @property
    def ok(self) -> bool:
        """Whether start, end and time constant are told."""
        return not self.reason

    @property
    def grows(self) -> bool | None:
        """Whether the viscosity rises with age; None where that is not told."""
        return self.settled_mpa_s > self.start_mpa_s if self.ok else None

    def at(self, age_h: float) -> float | None:
        """The curve at an age; None outside the ages read and where nothing was fitted. [mPa·s]

        Parameters
        ----------
        age_h : float   [h]
        """
        if not self.ok or not self.first_age_h <= age_h <= self.last_age_h:
            return None
        return self.settled_mpa_s + (self.start_mpa_s - self.settled_mpa_s) * math.exp(-age_h / self.time_constant_h)

    def age_at_share(self, share: float) -> float | None:
        """The age at which a share of the change from start to end is done; None where it is not told. [h]

        Parameters
        ----------
        share : float   Between 0 and 1, such as 0.95.
        """
        return -self.time_constant_h * math.log1p(-share) if self.ok else None

    def __str__(self) -> str:
        if not self.ok:
            return f"viscosity build not told: {self.reason}"
        return (
            f"settles at {self.settled_mpa_s:.4g} ± {self.settled_error_mpa_s:.2g} mPa·s, "
            f"time constant {self.time_constant_h:.3g} ± {self.time_constant_error_h:.2g} h"
        )


def fit_build(ages_h: Sequence[float], viscosities_mpa_s: Sequence[float]) -> ViscosityBuild:
    """Fit a viscosity build to the readings of one batch, all taken the same way.

    Parameters
    ----------
    ages_h : sequence, (n,)              From the end of making. [h]
    viscosities_mpa_s : sequence, (n,)   [mPa·s]

    Returns
    -------
    ViscosityBuild   With its reason where the readings do not tell it: fewer than four ages, no change that stands
                     out from the scatter, still building at the last age, over before the second.

    Raises
    ------
    KitError   `build.readings` for lists of different length.

    Notes
    -----
    A viscosity scatters by a share of itself, so residuals are relative. The form is common practice, no source; time
    constants of 12 to 48 h are usual.
    """
    ages, read = np.array(ages_h, dtype=float), np.array(viscosities_mpa_s, dtype=float)
    if ages.ndim != 1 or ages.shape != read.shape:
        raise KitError(
            f"{ages.size} ages and {read.size} readings do not fit together",
            where="viscosity build",
            allowed="one reading for each age",
            mend="leave out what is missing on one side",
            code="build.readings",
        )
    reason = _fault(ages, read)
    if reason:
        return ViscosityBuild(reason=reason)
    return _fit(ages, read)


def _fault(ages: np.ndarray, read: np.ndarray) -> str:
    if not np.isfinite(ages).all() or (ages < 0).any():
        return "an age is not a number of hours"
    if not np.isfinite(read).all() or (read <= 0).any():
        return "a reading is not a viscosity above zero"
    count = np.unique(ages).size
    if count < FEWEST_AGES:
        return f"read at {count} ages; at least {FEWEST_AGES} are needed"
    return "every reading is the same: no change" if np.ptp(read) <= 1e-12 * read.max() else ""


def _fit(ages: np.ndarray, read: np.ndarray) -> ViscosityBuild:
    distinct = np.unique(ages)
    slow = (distinct[-1] - distinct[0]) / -math.log1p(-_STRAIGHT)
    fast = (distinct[1] - distinct[0]) / -math.log1p(-_OVER)
    low, high = np.array([-np.inf, -np.inf, math.log(fast)]), np.array([np.inf, np.inf, math.log(slow)])
    start = _first(ages, read, np.linspace(low[2], high[2], _GRID))
    found = least_squares(
        _evaluate, ages[None, :], read[None, :], 1 / read[None, :], start[None, :], low, high, damping=1e-3
    )
    df = ages.size - 3
    at_bound = SLOW if found.at_upper[0, 2] else FAST if found.at_lower[0, 2] else ""
    _, errors = standard_errors(found, np.array([ages.size]), np.ones((1, 3), dtype=bool))
    told = {"df": df, "at_bound": at_bound, "first_age_h": float(distinct[0]), "last_age_h": float(distinct[-1])}
    told["residual_sd"] = math.sqrt(float(found.squares[0]) / df)
    reason = _untold(found, errors[0], read, df, at_bound)
    if reason:
        return ViscosityBuild(**told, reason=reason)
    begin, settled, log_time = (float(value) for value in found.parameters[0])
    begin_error, settled_error, log_error = (float(value) for value in errors[0])
    time = math.exp(log_time)
    return ViscosityBuild(begin, settled, time, begin_error, settled_error, log_error * time, **told)


def _untold(found, errors: np.ndarray, read: np.ndarray, df: int, at_bound: str) -> str:
    """Why a fit is not to be told."""
    if not _changes(read, float(found.squares[0]), df):
        return "no build stands out from the scatter of the readings about the curve"
    if at_bound == SLOW:
        return "still building at the last age: where it settles is not told; read it again later"
    if at_bound == FAST:
        return "over by the second age: how fast it built is not told"
    if not np.isfinite(errors).all() or not found.converged[0]:
        return "the readings do not tell start, end and time constant apart"
    settled, time_error = float(found.parameters[0, 1]), float(errors[2])
    if errors[1] > abs(settled) or settled <= 0 or time_error > 1:
        return "the readings do not tell where it settles: the standard error is as large as the value"
    return ""


def _changes(read: np.ndarray, squares: float, df: int) -> bool:
    """Whether the curve is better than one viscosity for all ages, by an F test at 1 in 20."""
    weight = 1 / read
    mean = float((weight * weight * read).sum() / (weight * weight).sum())
    gained = float(((read - mean) ** 2 * weight**2).sum()) - squares
    if squares <= 1e-24 * read.size:
        return True
    # with two degrees of freedom above, the chance of an F as large is (1 + 2 F / df)^(-df / 2)
    return (1 + gained / squares) ** (-df / 2) < 0.05


def _first(ages: np.ndarray, read: np.ndarray, log_times: np.ndarray) -> np.ndarray:
    """The best of a grid of time constants; for each the start and the end follow without a search."""
    tried = []
    for log_time in log_times:
        left = np.exp(-ages / math.exp(log_time))
        design = np.column_stack([left, 1 - left]) / read[:, None]
        amounts = np.linalg.lstsq(design, np.ones_like(read), rcond=None)[0]
        missed = design @ amounts - 1
        tried.append((float(missed @ missed), [*amounts, log_time]))
    return np.array(min(tried)[1])


def _evaluate(ages: np.ndarray, parameters: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Viscosity and its derivatives by start, end and logarithm of the time constant."""
    start, settled, log_time = (parameters[:, index, None] for index in range(3))
    reduced = ages / np.exp(log_time)
    left = np.exp(-reduced)
    derivatives = np.stack([left, 1 - left, (start - settled) * left * reduced], axis=-1)
    return settled + (start - settled) * left, derivatives
