"""Newton's law fitted to a whole cooling log: rate constant and start, with the surroundings known or fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.science.cooling_forecast import read_log

FEWEST_READINGS = 4


@dataclass(frozen=True, slots=True)
class NewtonFit:
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
    from scipy.optimize import least_squares

    room = min(ambient_c if ambient_c is not None else 20.0, float(temps.min()) - 1.0)
    slope = np.polyfit(times, np.log(np.maximum(temps - room, 0.5)), 1)[0]
    start = [float(temps[0]), max(-slope, 1e-3) * times[-1]] + ([room] if ambient_c is None else [])

    def law(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        around = p[2] if ambient_c is None else ambient_c
        share = np.exp(-p[1] * times / times[-1])
        rows = [share, -(p[0] - around) * times / times[-1] * share]
        return around + (p[0] - around) * share, np.stack(rows + ([1 - share] if ambient_c is None else []), axis=1)

    found = least_squares(
        lambda p: law(p)[0] - temps, start, jac=lambda p: law(p)[1], x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-12
    )
    freedom = len(times) - len(found.x)
    variance = float(found.fun @ found.fun) / freedom
    curvature = found.jac.T @ found.jac
    if not found.success or np.linalg.cond(curvature) > 1e12:
        return NewtonFit(False, "the readings do not tell rate and surroundings apart", readings=len(times))
    errors = np.sqrt(variance * np.diag(np.linalg.inv(curvature)))
    return _told(found.x, errors, times, variance, ambient_c)


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
