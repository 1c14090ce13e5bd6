"""Yield value: from a fitted flow curve, between several, and the quick figure from two slow speeds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.flow_result import FlowFit
from kit.science.number_text import short
from kit.show import Worded

PA_PER_DYN_PER_CM2 = 0.1
"""1 dyn/cm² is 1e-5 N on 1e-4 m²."""


@dataclass(frozen=True, slots=True, repr=False)
class YieldStress(Worded):
    """A yield value from a model. Parts that cannot be told are None.

    Parameters
    ----------
    value_pa : float, None              [Pa]
    standard_error_pa : float, None     [Pa]
    low_pa, high_pa : float, None       Two-sided interval, not below 0. [Pa]
    confidence : float                  Such as 0.95.
    model : str                         Name of the model.
    lowest_rate_per_s : float, None     Below it nothing was measured. [1/s]
    reason : str                        Why there is none; empty when there is one.
    """

    value_pa: float | None
    standard_error_pa: float | None
    low_pa: float | None
    high_pa: float | None
    confidence: float
    model: str
    lowest_rate_per_s: float | None
    reason: str = ""

    @property
    def told_from_zero(self) -> bool:
        """Whether the interval leaves out "no yield value"."""
        return self.low_pa is not None and self.low_pa > 0

    def __str__(self) -> str:
        if self.value_pa is None:
            return f"no yield value: {self.reason}"
        rate = f"extrapolated by {self.model}, not measured below {self.lowest_rate_per_s:.3g} 1/s"
        told = "" if self.told_from_zero else "; not told from zero"
        return f"{self.value_pa:.3g} ± {self.standard_error_pa:.2g} Pa, {rate}{told}"


@dataclass(frozen=True, slots=True, repr=False)
class YieldRange(Worded):
    """Yield values of several models on the same readings.

    Parameters
    ----------
    values : tuple of YieldStress   Those that have a value.
    low_pa, high_pa : float, None   The lowest and the highest value. [Pa]
    reason : str                    Why there is none.
    """

    values: tuple[YieldStress, ...]
    low_pa: float | None
    high_pa: float | None
    reason: str = ""

    @property
    def words(self) -> str:
        """Lowest and highest, or why there is none."""
        if self.low_pa is None:
            return f"no yield value: {self.reason}"
        return f"yield value {short(self.low_pa)} to {short(self.high_pa)} Pa by {len(self.values)} models"


@dataclass(frozen=True, slots=True, repr=False)
class QuickYield(Worded):
    """The quick yield figure of the trade from two slow speeds.

    Parameters
    ----------
    dyn_per_cm2 : float, None   [dyn/cm²]
    pa : float, None            The same. [Pa]
    reason : str                Why there is none.
    """

    dyn_per_cm2: float | None
    pa: float | None
    reason: str = ""

    def __str__(self) -> str:
        if self.pa is None:
            return f"no quick yield figure: {self.reason}"
        return f"{self.dyn_per_cm2:.3g} dyn/cm² ({self.pa:.3g} Pa), for the same spindle only"


def yield_stress(fit: FlowFit, confidence: float = 0.95) -> YieldStress:
    """The yield value of a fitted model, with its standard error: the curve prolonged to no flow, never a measurement.

    Parameters
    ----------
    fit : FlowFit
    confidence : float   Of the two-sided t interval, between 0 and 1.

    Returns
    -------
    YieldStress   Without a value where the model has none, where it is not told, or where it rests on 0.
    """
    reason = _why_none(fit)
    if reason:
        return YieldStress(None, None, None, None, confidence, fit.model.name, fit.slowest_per_s, reason)
    found = fit["yield_stress_pa"]
    low, high = fit.interval("yield_stress_pa", confidence)
    return YieldStress(
        found.value, found.standard_error, max(0.0, low), high, confidence, fit.model.name, fit.slowest_per_s
    )


def yield_range(fits: Sequence[FlowFit], confidence: float = 0.95) -> YieldRange:
    """Yield values by several models: how far the figure hangs on the model.

    Parameters
    ----------
    fits : sequence of FlowFit   On the same readings.
    confidence : float           Of each interval.

    Returns
    -------
    YieldRange
    """
    values = tuple(found for found in (yield_stress(fit, confidence) for fit in fits) if found.value_pa is not None)
    if not values:
        return YieldRange((), None, None, "no model gives one")
    told = [found.value_pa for found in values]
    return YieldRange(values, min(told), max(told))


def quick_yield(viscosity_at_half_rpm_mpa_s: float, viscosity_at_one_rpm_mpa_s: float) -> QuickYield:
    """The quick figure: the difference of the readings at 0.5 and 1 rpm, in mPa·s, over 100, is in dyn/cm².

    Parameters
    ----------
    viscosity_at_half_rpm_mpa_s, viscosity_at_one_rpm_mpa_s : float   Same instrument and spindle. [mPa·s]

    Returns
    -------
    QuickYield   Without a figure where a reading is none or where the slower speed reads lower.

    Notes
    -----
    From memory; common in suppliers' methods for thickeners. It ranks samples read with the same spindle and is no
    yield value of a model.
    """
    slow, fast = float(viscosity_at_half_rpm_mpa_s), float(viscosity_at_one_rpm_mpa_s)
    if not (math.isfinite(slow) and math.isfinite(fast) and slow > 0 and fast > 0):
        return QuickYield(None, None, "a reading is not a viscosity above zero")
    if slow < fast:
        return QuickYield(
            None, None, "the reading at 0.5 rpm is below that at 1 rpm: structure broken, slip, or mixed up"
        )
    figure = (slow - fast) / 100
    return QuickYield(figure, figure * PA_PER_DYN_PER_CM2)


def _why_none(fit: FlowFit) -> str:
    if not fit.model.has_yield:
        return f"the model {fit.model.name} has none"
    if fit.reasons:
        return "; ".join(fit.reasons)
    found = fit["yield_stress_pa"]
    if found.at_bound:
        return "the readings ask for none: it rests on 0"
    return "it was held, not fitted" if found.held else ""
