"""Straight lines of several batches over time: which parts they may share, and the bound of each mean line."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.student_t import t_quantile
from kit.show import Fielded

COMMON, COMMON_SLOPE, SEPARATE, ONE_BATCH = (
    "common intercept, common slope",
    "separate intercepts, common slope",
    "separate intercepts, separate slopes",
    "one batch",
)
MODELS = (COMMON, COMMON_SLOPE, SEPARATE)

POOLING_ALPHA = 0.25
"""Batches share a slope, then an intercept, where the test gives a p above this (ICH Q1E, 2003, Appendix B)."""

_LEAST_F = 0.001  # printed as "below" from here: readings made up on a line give 1e-15

# Below this share of the values themselves a scatter is rounding.
_ROUNDING = 10 * 2.0**-52


@dataclass(frozen=True, slots=True)
class PoolTest:
    """An F test of a part that batches may share: F with its two degrees of freedom, and p. [-]"""

    f: float
    df_top: int
    df_bottom: int
    p: float

    @property
    def words(self) -> str:
        """ "F 0.23, p 0.80" """
        f = f"F {short(self.f, 3)}" if self.f >= _LEAST_F else f"F below {_LEAST_F}"
        return f"{f}, p {self.p:.2g}"


@dataclass(frozen=True, slots=True)
class BatchLine:
    """The mean line of one batch under the model chosen. Times in months, values on the scale of the fit.

    Parameters
    ----------
    batch : object            Which; every batch has the same line where intercept and slope are common.
    intercept : float         At month zero. [unit]
    slope : float             [unit per month]
    slope_error : float       Standard error. [unit per month]
    slope_low, slope_high : float   Two-sided interval of the slope. [unit per month]
    residual_sd : float       Scatter about the lines of the model. [unit]
    df : int                  Its degrees of freedom.
    covariance : tuple        Of intercept with itself, intercept with slope, slope with itself.
    """

    batch: Hashable
    intercept: float
    slope: float
    slope_error: float
    slope_low: float
    slope_high: float
    residual_sd: float
    df: int
    covariance: tuple[float, float, float]

    def mean(self, months: float) -> float:
        """The line at a time. [unit]

        Parameters
        ----------
        months : float
        """
        return self.intercept + self.slope * months

    def bound(self, months: float, side: int, confidence: float) -> float:
        """The one-sided confidence bound of the mean at a time. [unit]

        Parameters
        ----------
        months : float
        side : int           -1 for the lower bound, 1 for the upper one.
        confidence : float   One-sided, such as 0.95.
        """
        own, both, other = self.covariance
        error = math.sqrt(max(own + 2 * months * both + months * months * other, 0.0))
        return self.mean(months) + side * t_quantile(self.df, 2 * confidence - 1) * error


@dataclass(frozen=True, slots=True, repr=False)
class PooledLines(Fielded):
    """Lines of all batches, the model they were drawn by, and the tests that chose it.

    Parameters
    ----------
    model : str                   One of `MODELS`, or "one batch".
    lines : tuple of BatchLine    One a batch.
    slopes, intercepts : PoolTest, None   The tests made; the second only where slopes are shared.
    reason : str                  Why there is no line, empty where there is one.
    """

    model: str
    lines: tuple[BatchLine, ...] = ()
    slopes: PoolTest | None = None
    intercepts: PoolTest | None = None
    reason: str = ""


def pooled_lines(
    months: Sequence[float],
    values: Sequence[float],
    batches: Sequence[Hashable],
    *,
    alpha: float = POOLING_ALPHA,
    model: str = "",
    confidence: float = 0.95,
) -> PooledLines:
    """Lines of several batches with as much in common as the tests of poolability leave them.

    Parameters
    ----------
    months, values : sequence of float   Time [months] and value [unit], on the scale of the fit.
    batches : sequence                   The batch of each.
    alpha : float                        A test with p at or below this keeps its part separate.
    model : str                          One of `MODELS` to use untested; chosen by the tests when empty.
    confidence : float                   Of the two-sided interval of the slopes.

    Returns
    -------
    PooledLines   With a reason where a batch was not read at two times, or nothing is left to tell the scatter.

    Raises
    ------
    KitError   `shelf_life.model`.

    Notes
    -----
    Analysis of covariance, slopes before intercepts, both against the residual mean square of separate lines, and that
    pooled mean square for separate lines: ICH Q1E (2003), Appendix B; LeBlond, Griffith and Aubuchon (2011), Journal of
    Validation Technology 17(3):47.
    """
    if model not in ("", *MODELS):
        raise KitError(
            f"there is no model {model!r}", where="poolability", allowed=", ".join(MODELS), code="shelf_life.model"
        )
    data = _Data.of(months, values, batches)
    reason = data.untold()
    if reason:
        return PooledLines(model or (SEPARATE if len(data.names) > 1 else ONE_BATCH), reason=reason)
    separate = data.fit(SEPARATE)
    if separate.df < 1 or separate.is_exact:
        told = "one more reading is needed" if separate.df < 1 else "the readings lie on their lines to the last digit"
        return PooledLines(model or SEPARATE, reason=f"{told}: the scatter is not known")
    if len(data.names) == 1:
        return PooledLines(ONE_BATCH, separate.lines(confidence))
    parallel, one = data.fit(COMMON_SLOPE), data.fit(COMMON)
    slopes = _test(parallel, separate, separate)
    intercepts = _test(one, parallel, separate) if slopes.p > alpha else None
    chosen = model or (SEPARATE if intercepts is None else COMMON if intercepts.p > alpha else COMMON_SLOPE)
    fitted = {SEPARATE: separate, COMMON_SLOPE: parallel, COMMON: one}[chosen]
    return PooledLines(chosen, fitted.lines(confidence), slopes, intercepts)


class _Data:
    """Readings with the batch of each as a number."""

    def __init__(self, months: np.ndarray, values: np.ndarray, of: np.ndarray, names: tuple) -> None:
        self.months, self.values, self.of, self.names = months, values, of, names

    @classmethod
    def of(cls, months: Sequence[float], values: Sequence[float], batches: Sequence[Hashable]) -> _Data:
        names = tuple(dict.fromkeys(batches))
        place = {name: index for index, name in enumerate(names)}
        of = np.array([place[name] for name in batches], int)
        return cls(np.asarray(months, float), np.asarray(values, float), of, names)

    def untold(self) -> str:
        """Why no line can be drawn; empty where one can."""
        if not self.names:
            return "no reading counts"
        poor = [name for i, name in enumerate(self.names) if np.unique(self.months[self.of == i]).size < 2]
        return f"{', '.join(map(str, poor))} was not read at two stations" if poor else ""

    def fit(self, model: str) -> _Fit:
        count = len(self.names)
        own = np.eye(count)[self.of]
        one = np.ones((self.of.size, 1))
        first = one if model == COMMON else own
        second = own if model == SEPARATE else one
        return _Fit(self, np.hstack([first, second * self.months[:, None]]), first.shape[1])


class _Fit:
    """Least squares of one model."""

    def __init__(self, data: _Data, design: np.ndarray, intercepts: int) -> None:
        self.data, self.intercepts = data, intercepts
        self.slopes = design.shape[1] - intercepts
        orthogonal, triangle = np.linalg.qr(design)
        self.found = np.linalg.solve(triangle, orthogonal.T @ data.values)
        left = data.values - design @ self.found
        self.squares, self.df = float(left @ left), data.values.size - design.shape[1]
        inverse = np.linalg.inv(triangle)
        self.inverse = inverse @ inverse.T
        self.is_exact = math.sqrt(self.squares) <= _ROUNDING * float(np.linalg.norm(data.values))

    @property
    def mean_square(self) -> float:
        return self.squares / self.df

    def lines(self, confidence: float) -> tuple[BatchLine, ...]:
        return tuple(self._line(index, name, confidence) for index, name in enumerate(self.data.names))

    def _line(self, index: int, name: Hashable, confidence: float) -> BatchLine:
        first = 0 if self.intercepts == 1 else index
        second = self.intercepts + (0 if self.slopes == 1 else index)
        places = ((first, first), (first, second), (second, second))
        covariance = tuple(float(self.inverse[place] * self.mean_square) for place in places)
        slope, error = float(self.found[second]), math.sqrt(covariance[2])
        half = t_quantile(self.df, confidence) * error
        sd = math.sqrt(self.mean_square)
        return BatchLine(
            name, float(self.found[first]), slope, error, slope - half, slope + half, sd, self.df, covariance
        )


def _test(small: _Fit, large: _Fit, scatter: _Fit) -> PoolTest:
    """What the larger model explains more, against the scatter about separate lines."""
    from scipy.special import fdtrc

    top = small.df - large.df
    f = max(small.squares - large.squares, 0.0) / top / scatter.mean_square
    return PoolTest(f, top, scatter.df, float(fdtrc(top, scatter.df, f)))
