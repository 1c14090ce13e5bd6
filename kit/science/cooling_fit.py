"""Newton's law fitted to a whole cooling log: rate constant and start, with the surroundings known or fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.science.cooling_forecast import read_log
from kit.science.flow_least_squares import Function, least_squares, standard_errors
from kit.show import Worded

FEWEST_READINGS = 4


@dataclass(frozen=True, slots=True, repr=False)
class NewtonFit(Worded):
    """Newton's law through a log, or why there is none.

    Parameters
    ----------
    ok : bool                                     Whether the numbers may be used.
    why : str                                     Why not, or what to bear in mind; empty where there is nothing.
    rate_per_min, rate_se_per_min : float         Rate constant and its standard error. [1/min]
    start_c, start_se_c : float                   At the first reading. [degC]
    ambient_c, ambient_se_c : float               Of the surroundings; standard error 0 where they were given. [degC]
    residual_sd_c : float                         Of the readings about the law. [degC]
    readings : int                                How many were used.
    """

    ok: bool
    why: str
    rate_per_min: float | None = None
    rate_se_per_min: float | None = None
    start_c: float | None = None
    start_se_c: float | None = None
    ambient_c: float | None = None
    ambient_se_c: float | None = None
    residual_sd_c: float | None = None
    readings: int = 0

    @property
    def words(self) -> str:
        """Rate and surroundings with their standard errors, or why there are none."""
        if not self.ok:
            return f"no law of cooling: {self.why}"
        told = (
            f"{self.rate_per_min:.4f} ± {self.rate_se_per_min:.4f} 1/min towards {self.ambient_c:.1f} ± "
            f"{self.ambient_se_c:.1f} °C, readings within {self.residual_sd_c:.2f} °C"
        )
        return f"{told}; {self.why}" if self.why else told


def fit_newton(times_min, temps_c, ambient_c: float | None = None) -> NewtonFit:
    """Fit Newton's law by least squares.

    Parameters
    ----------
    times_min, temps_c : sequence of float   The log, times rising. [min, degC]
    ambient_c : float                        Of the surroundings; fitted where it is not given. [degC]

    Returns
    -------
    NewtonFit   Not ok on fewer than four readings (five with the surroundings fitted), a log that does not cool, or one
                too short to tell the surroundings.

    Raises
    ------
    KitError   `cooling.readings`.

    Notes
    -----
    Readings of equal weight. Where the log runs through the setting, its shoulder bends the law: residuals above
    0.5 degC are said. `kit.science.cooling_forecast` reckons with the shoulder.
    """
    log = read_log(times_min, temps_c, ambient_c, 1.0, None, 1.0)
    fitted = ambient_c is None
    fewest = FEWEST_READINGS + fitted
    if len(log.times_min) < fewest:
        return NewtonFit(False, f"{len(log.times_min)} readings: the fit needs {fewest}", readings=len(log.times_min))
    if log.temps_c[0] - log.temps_c[-1] < 2.0:
        return NewtonFit(False, "the log does not cool by 2 °C", readings=len(log.times_min))
    return _fitted(log.times_min, log.temps_c, ambient_c)


def _fitted(times: np.ndarray, temps: np.ndarray, ambient_c: float | None) -> NewtonFit:
    room = min(ambient_c if ambient_c is not None else 20.0, float(temps.min()) - 1.0)
    slope = np.polyfit(times, np.log(np.maximum(temps - room, 0.5)), 1)[0]
    start = [float(temps[0]), max(-slope, 1e-3) * times[-1]] + ([room] if ambient_c is None else [])
    spans = (times / times[-1])[None]
    found = least_squares(_law(ambient_c), spans, temps[None], np.ones_like(spans), np.array([start]))
    covariance, errors = standard_errors(found, np.array([len(times)]), np.ones((1, len(start)), dtype=bool))
    if not found.converged[0] or not np.isfinite(covariance).all():
        return NewtonFit(False, "the readings do not tell rate and surroundings apart", readings=len(times))
    variance = float(found.squares[0]) / (len(times) - len(start))
    return _told(found.parameters[0], errors[0], times, variance, ambient_c)


def _law(ambient_c: float | None) -> Function:
    """Newton's law over the length of the log, with its derivatives by start, rate and, where fitted, surroundings."""

    def law(spans: np.ndarray, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        around = p[:, 2:3] if ambient_c is None else ambient_c
        share = np.exp(-p[:, 1:2] * spans)
        columns = [share, -(p[:, 0:1] - around) * spans * share, *([1 - share] if ambient_c is None else [])]
        return around + (p[:, 0:1] - around) * share, np.stack(columns, axis=-1)

    return law


def _told(x, errors, times, variance, ambient_c) -> NewtonFit:
    rate, rate_se = x[1] / times[-1], errors[1] / times[-1]
    around, around_se = (x[2], errors[2]) if ambient_c is None else (ambient_c, 0.0)
    why, ok = "", True
    if not rate > 0:
        why, ok = "the readings do not fall towards the surroundings", False
    elif rate_se > 0.5 * rate or around_se > 10:
        why, ok = (
            "the log is too short to tell the rate constant and the surroundings apart: give the room temperature",
            False,
        )
    elif np.sqrt(variance) > 0.5:
        why = "the readings lie off the law by more than 0.5 °C: a shoulder, or conditions that changed"
    numbers = (rate, rate_se, x[0], errors[0], around, around_se, np.sqrt(variance))
    return NewtonFit(ok, why, *map(float, numbers), readings=len(times))
