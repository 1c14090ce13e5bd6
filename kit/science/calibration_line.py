"""A straight calibration line with the uncertainty of what is read from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import degrees
from kit.science.required import require_finite
from kit.show import Worded

_LEAST = 3


@dataclass(frozen=True, slots=True, repr=False)
class CalibrationLine(Worded):
    """y = intercept + slope (x - reference).

    Parameters
    ----------
    reference : float               Where the intercept holds. [unit of x]
    intercept, slope : float        [unit of y; unit of y / unit of x]
    u_intercept, u_slope : float    Standard uncertainties, from the scatter about the line.
    correlation : float             Between intercept and slope. [-]
    residual_sd : float             Standard deviation about the line. [unit of y]
    residual_squares : float        Sum of squared distances from the line. [squared unit of y]
    df : int                        Points less two.
    low, high : float               Of the points it rests on. [unit of x]
    """

    reference: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    residual_sd: float
    residual_squares: float
    df: int
    low: float
    high: float

    def predict(self, x: float) -> tuple[float, float]:
        """Value of the line with its standard uncertainty, the correlation of its two parameters included.

        Parameters
        ----------
        x : float   [unit of x]

        Returns
        -------
        tuple   Value and standard uncertainty of the line itself, not of a single new reading. [unit of y]

        Notes
        -----
        JCGM 100:2008, equation H.15.
        """
        away = x - self.reference
        variance = (
            self.u_intercept**2
            + (away * self.u_slope) ** 2
            + 2 * away * self.u_intercept * self.u_slope * self.correlation
        )
        return self.intercept + self.slope * away, math.sqrt(max(variance, 0.0))

    def covers(self, x: float) -> bool:
        """Whether a place lies among the points; outside them the line is only carried on.

        Parameters
        ----------
        x : float   [unit of x]
        """
        return self.low <= x <= self.high

    @property
    def words(self) -> str:
        """Intercept and slope with their standard uncertainties, and where the line holds."""
        return (
            f"{self.intercept:.6g} ± {self.u_intercept:.2g} at {self.reference:g}, slope {self.slope:.6g} ± "
            f"{self.u_slope:.2g}, {degrees(self.df)}, from {self.low:g} to {self.high:g}"
        )


def calibration_line(x: Sequence[float], y: Sequence[float], reference: float = 0.0) -> CalibrationLine:
    """A line through points by least squares, all of equal weight.

    Parameters
    ----------
    x : sequence, (n,)    Taken as exact. [unit of x]
    y : sequence, (n,)    [unit of y]
    reference : float     Where the intercept is given; in the middle of the points it is known best. [unit of x]

    Raises
    ------
    KitError   `calibration_line.points` for fewer than three points, unequal lists, or all x the same;
               `science.not_finite`.

    Notes
    -----
    JCGM 100:2008, H.3, equations H.13.
    """
    xs, ys = [float(value) for value in x], [float(value) for value in y]
    for value in (*xs, *ys, reference):
        require_finite("calibration line", point=value)
    if len(xs) != len(ys) or len(xs) < _LEAST or len(set(xs)) == 1:
        raise KitError(
            f"{len(xs)} places and {len(ys)} values do not make a line",
            where="calibration line",
            allowed="at least three points at two or more places",
            mend="measure at more places",
            code="calibration_line.points",
        )
    n = len(xs)
    mean_x, mean_y = math.fsum(xs) / n, math.fsum(ys) / n
    spread = math.fsum((value - mean_x) ** 2 for value in xs)
    slope = math.fsum((one - mean_x) * (other - mean_y) for one, other in zip(xs, ys, strict=True)) / spread
    squares = math.fsum((other - mean_y - slope * (one - mean_x)) ** 2 for one, other in zip(xs, ys, strict=True))
    deviation = math.sqrt(squares / (n - 2))
    away = mean_x - reference
    u_slope = deviation / math.sqrt(spread)
    u_intercept = deviation * math.sqrt(1 / n + away**2 / spread)
    correlation = -away / math.sqrt(spread / n + away**2)
    return CalibrationLine(
        reference,
        mean_y - slope * away,
        slope,
        u_intercept,
        u_slope,
        correlation,
        deviation,
        squares,
        n - 2,
        min(xs),
        max(xs),
    )
