"""The uncertainty of one viscosity reading: spring, temperature and repeat."""

from __future__ import annotations

import math

from kit.science.measurement_uncertainty import Budget, budget
from kit.science.required import require_finite, require_not_negative, require_positive
from kit.science.uncertainty_inputs import UncertainInput, rectangular
from kit.science.viscometer import full_scale_accuracy_pct


def viscosity_budget(
    constant: float,
    torque_pct: float,
    rpm: float,
    *,
    accuracy_pct: float | None = None,
    repeat_sd_pct: float | None = None,
    repeat_df: float = math.inf,
    temp_error_c: float | None = None,
    log_slope_per_c: float | None = None,
) -> Budget:
    """Uncertainty of the value of one reading at its temperature.

    Parameters
    ----------
    constant : float          Of spring and spindle. [mPa·s rpm / %]
    torque_pct : float        [%]
    rpm : float               [1/min]
    accuracy_pct : float      Half width of the spring's error, of full scale; 1 when omitted. [%]
    repeat_sd_pct : float     Standard deviation of one reading of fresh jars of one batch. [%]
    repeat_df : float         Its degrees of freedom.
    temp_error_c : float      Half width of what the temperature may be off by. [degC]
    log_slope_per_c : float   Slope of ln viscosity of this product, measured; without it the temperature is left out.
                              [1/degC]

    Returns
    -------
    Budget   In mPa·s.

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`, `science.not_finite`, `uncertainty.df`.
    """
    require_positive("viscosity budget", constant=constant, torque_pct=torque_pct, rpm=rpm, accuracy_pct=accuracy_pct)
    require_not_negative("viscosity budget", repeat_sd_pct=repeat_sd_pct, temp_error_c=temp_error_c)
    require_finite("viscosity budget", log_slope_per_c=log_slope_per_c)
    accuracy = full_scale_accuracy_pct() if accuracy_pct is None else accuracy_pct
    inputs = [rectangular("torque", torque_pct, accuracy)]
    if repeat_sd_pct is not None:
        inputs.append(UncertainInput("repeat", 1.0, repeat_sd_pct / 100, repeat_df, "A", "jars of one batch"))
    slope = 0.0 if log_slope_per_c is None else log_slope_per_c
    if temp_error_c is not None and log_slope_per_c is not None:
        inputs.append(rectangular("temperature", 0.0, temp_error_c))

    def value(at) -> float:
        read = constant * at["torque"] / rpm
        return read * at.get("repeat", 1.0) * math.exp(slope * at.get("temperature", 0.0))

    return budget(value, inputs)
