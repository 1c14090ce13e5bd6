"""Structure that breaks under shear and comes back: the area between the curves up and down, and recovery."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.errors import KitError
from kit.science.flow_curve import FlowCurve
from kit.show import Worded


@dataclass(frozen=True, slots=True, repr=False)
class Hysteresis(Worded):
    """The area between the flow curve up and the one down. Parts that cannot be told are None.

    Parameters
    ----------
    area_pa_per_s : float, None          Stress up less down, over rate: positive when shear broke structure. [Pa/s]
    share : float, None                  Of the area under the curve up. [-]
    standard_error_pa_per_s : float, None   From the scatter of single readings where that was given. [Pa/s]
    slowest_per_s, fastest_per_s : float, None   The rates that both curves cover. [1/s]
    crosses : bool                       Whether the curves cross: parts of the area then cancel.
    reason : str                         Why there is none.
    """

    area_pa_per_s: float | None
    share: float | None
    standard_error_pa_per_s: float | None
    slowest_per_s: float | None
    fastest_per_s: float | None
    crosses: bool = False
    reason: str = ""

    def __str__(self) -> str:
        if self.area_pa_per_s is None:
            return f"no area: {self.reason}"
        error = "" if self.standard_error_pa_per_s is None else f" ± {self.standard_error_pa_per_s:.2g}"
        window = f"between {self.slowest_per_s:.3g} and {self.fastest_per_s:.3g} 1/s"
        crossing = "; the curves cross" if self.crosses else ""
        return (
            f"{self.area_pa_per_s:.4g}{error} Pa/s {window}, {self.share:.1%} of the area under the curve up{crossing}"
        )


@dataclass(frozen=True, slots=True, repr=False)
class Recovery(Worded):
    """How much of the viscosity before shear is back, over time.

    Parameters
    ----------
    times_s : tuple of float        After shear ended. [s]
    shares : tuple of float         Viscosity over that before. [-]
    standard_errors : tuple of float, None   Of the shares, where the scatter of a reading was given. [-]
    reason : str                    Why there is none.
    """

    times_s: tuple[float, ...] = ()
    shares: tuple[float, ...] = ()
    standard_errors: tuple[float, ...] | None = None
    reason: str = ""

    def time_to(self, share: float) -> float | None:
        """When a share was first reached, between readings on a straight line; None where it was not. [s]

        Parameters
        ----------
        share : float   Such as 0.9.
        """
        for index, (time, found) in enumerate(zip(self.times_s, self.shares, strict=True)):
            if found < share:
                continue
            if index == 0:
                return time
            before, low = self.times_s[index - 1], self.shares[index - 1]
            return before + (time - before) * (share - low) / (found - low)
        return None

    @property
    def words(self) -> str:
        """The shares that are back, or why there are none."""
        if self.reason or not self.shares:
            return f"recovery not known: {self.reason or 'nothing was read after shear'}"
        told = (f"{100 * share:.0f} % after {time:g} s" for time, share in zip(self.times_s, self.shares, strict=True))
        return f"of the viscosity before shear {', '.join(told)}"


def hysteresis(up: FlowCurve, down: FlowCurve, reading_sd_share: float | None = None) -> Hysteresis:
    """The area between the curve up and the curve down, over the rates that both cover.

    Parameters
    ----------
    up, down : FlowCurve       Taken one after the other on the same filling.
    reading_sd_share : float   Standard deviation of a stress as a share of it, for the error of the area. [-]

    Returns
    -------
    Hysteresis   Without an area where a curve is no flow curve, or where the two share too little.

    Notes
    -----
    Stress is straight in rate between readings, so the area is exact by trapezoids over the rates of both. Green,
    Weltmann (1943), Ind. Eng. Chem. Anal. Ed. 15:201. It hangs on how fast the speeds were stepped: comparable only
    between runs of one programme.
    """
    for name, curve in (("up", up), ("down", down)):
        if curve.fault:
            return _no_area(f"curve {name}: {curve.fault}")
    low, high = max(up.slowest_per_s, down.slowest_per_s), min(up.fastest_per_s, down.fastest_per_s)
    (up_rates, up_stress), (down_rates, down_stress) = _merged(up), _merged(down)
    rates = np.union1d(up_rates, down_rates)
    rates = rates[(rates >= low) & (rates <= high)]
    if rates.size < 3:
        return _no_area("the two curves share fewer than three rates")
    gap = np.interp(rates, up_rates, up_stress) - np.interp(rates, down_rates, down_stress)
    area = _area(gap, rates)
    under = _area(np.interp(rates, up_rates, up_stress), rates)
    error = None
    if reading_sd_share is not None:
        parts = [_area_variance(curve, rates) for curve in (up, down)]
        error = reading_sd_share * math.sqrt(sum(parts))
    crosses = bool((gap > 0).any() and (gap < 0).any())
    return Hysteresis(area, area / under, error, float(low), float(high), crosses)


def recovery(
    before_pa_s: float,
    times_s: Sequence[float],
    after_pa_s: Sequence[float],
    reading_sd_share: float | None = None,
) -> Recovery:
    """The share of the viscosity before shear that is back at some times after it.

    Parameters
    ----------
    before_pa_s : float            At low shear, before. [Pa·s]
    times_s : sequence, (n,)       After shear ended, rising. [s]
    after_pa_s : sequence, (n,)    At the same low shear. [Pa·s]
    reading_sd_share : float       Standard deviation of a viscosity as a share of it. [-]

    Returns
    -------
    Recovery   Without shares where a reading is not a viscosity above zero or the times do not rise.

    Raises
    ------
    KitError   `flow.readings` for lists of different length.
    """
    times, after = [float(time) for time in times_s], [float(value) for value in after_pa_s]
    if len(times) != len(after):
        raise KitError(
            f"{len(times)} times and {len(after)} readings do not fit together",
            where="recovery after shear",
            allowed="one reading for each time",
            mend="leave out what is missing on one side",
            code="flow.readings",
        )
    if not times:
        return Recovery(reason="there is no reading after shear")
    if not all(math.isfinite(value) and value > 0 for value in (before_pa_s, *after)):
        return Recovery(reason="a reading is not a viscosity above zero")
    if not all(math.isfinite(time) and time >= 0 for time in times) or sorted(set(times)) != times:
        return Recovery(reason="the times after shear do not rise")
    shares = tuple(value / before_pa_s for value in after)
    errors = None if reading_sd_share is None else tuple(share * math.sqrt(2) * reading_sd_share for share in shares)
    return Recovery(tuple(times), shares, errors)


def _no_area(reason: str) -> Hysteresis:
    return Hysteresis(None, None, None, None, None, reason=reason)


def _area(heights: np.ndarray, places: np.ndarray) -> float:
    return float(((heights[1:] + heights[:-1]) / 2 * np.diff(places)).sum())


def _merged(curve: FlowCurve) -> tuple[np.ndarray, np.ndarray]:
    """Rates in order, and the mean stress at each."""
    rates, place, count = np.unique(curve.shear_rate_per_s, return_inverse=True, return_counts=True)
    return rates, np.bincount(place, weights=curve.stress_pa) / count


def _area_variance(curve: FlowCurve, rates: np.ndarray) -> float:
    """Variance of the area under a curve when every reading has a standard deviation of its whole value."""
    own, place, count = np.unique(curve.shear_rate_per_s, return_inverse=True, return_counts=True)
    # the area is linear in the stresses: each counts with the area of a curve that is one there and zero elsewhere
    pull = np.array([_area(np.interp(rates, own, unit), rates) for unit in np.eye(own.size)])
    return float((((pull / count)[place] * curve.stress_pa) ** 2).sum())
