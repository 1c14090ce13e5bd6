"""A relative flow curve from a disc spindle, after Mitschka: for the shape of a curve, never as true rates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.viscometer_parts import DISC, Spindle, spindle, spring

_LEAST_SPEEDS = 3
_RATE_FACTOR, _RATE_EXPONENT = 0.263, 0.771  # Briggs and Steffe 1997, from memory

LIMITS = (
    "relative: discs 1 to 7 in a large beaker without guard leg, products that follow a power law, no yield value",
    "the shear rates are an approximation common to all discs, from memory",
    "another spindle on the same product may give a shifted curve",
)
"""What every relative flow curve is printed with."""


@dataclass(frozen=True, slots=True)
class RelativeFlowCurve:
    """Mean shear rates and stresses around a disc.

    Parameters
    ----------
    spindle : str                       Name.
    shear_rate_per_s : tuple of float   Approximate. [1/s]
    shear_stress_pa : tuple of float    Mean over the disc. [Pa]
    flow_index : float                  Slope of torque against speed, both as logarithms. [-]
    flow_index_se : float               Its standard error from the scatter about the line. [-]
    limits : tuple of str               What it does not hold for.
    """

    spindle: str
    shear_rate_per_s: tuple[float, ...]
    shear_stress_pa: tuple[float, ...]
    flow_index: float
    flow_index_se: float
    limits: tuple[str, ...] = LIMITS


def disc_stress_pa(spindle_name: str, torque_pct: float, spring_name: str = "RV") -> float:
    """Mean shear stress over a disc, k torque. [Pa]

    Parameters
    ----------
    spindle_name : str   A disc.
    torque_pct : float   [%]
    spring_name : str    Another spring scales by its torque.

    Raises
    ------
    KitError   `viscometer.relative_geometry` for what is no disc; `viscometer.spindle`, `viscometer.spring`.

    Notes
    -----
    P. Mitschka, Rheol. Acta 21 (1982) 207, from memory [mitschka-1982].
    """
    return _disc(spindle_name).stress_pa_per_pct * spring(spring_name).relative_torque * torque_pct


def disc_rate_per_s(rpm: float, flow_index: float) -> float:
    """Mean shear rate over a disc, 0.263 (1/n)^0.771 rpm. [1/s]

    Parameters
    ----------
    rpm : float          [1/min]
    flow_index : float   [-]

    Notes
    -----
    J. L. Briggs, J. F. Steffe, J. Texture Studies 28 (1997) 517, from memory. For a product that does not thin, the
    seven discs lie between 0.21 and 0.35 per rpm.
    """
    return _RATE_FACTOR * (1 / flow_index) ** _RATE_EXPONENT * rpm


def newtonian_rate_per_rpm(spindle_name: str) -> float:
    """Shear rate a rpm of a product that does not thin: stress constant over viscosity constant, on spring RV. [1/s]

    Parameters
    ----------
    spindle_name : str   A disc.

    Raises
    ------
    KitError   `viscometer.relative_geometry`, `viscometer.spindle`.
    """
    disc = _disc(spindle_name)
    return disc.stress_pa_per_pct / (100 * disc.multiplier / 1000)


def flow_index(speeds_rpm: Sequence[float], torques_pct: Sequence[float]) -> tuple[float, float]:
    """Flow index of a power law from torques at several speeds, with its standard error. No geometry is needed. [-]

    Parameters
    ----------
    speeds_rpm : sequence, (n,)    At least three different ones. [1/min]
    torques_pct : sequence, (n,)   [%]

    Returns
    -------
    tuple   Slope of log torque against log speed, and its standard error.

    Raises
    ------
    KitError   `viscometer.speeds` for fewer than three speeds, lists of unequal length, or values not above zero.
    """
    speeds, torques = list(speeds_rpm), list(torques_pct)
    usable = all(math.isfinite(value) and value > 0 for value in (*speeds, *torques))
    if len(speeds) != len(torques) or len(set(speeds)) < _LEAST_SPEEDS or not usable:
        raise KitError(
            f"{len(speeds)} speeds and {len(torques)} torques do not give a flow index",
            where="flow index from speeds",
            allowed="at least three different speeds, one torque above zero for each",
            mend="read at more speeds, and leave out what lies outside the torque window",
            code="viscometer.speeds",
        )
    xs = [math.log(speed) for speed in speeds]
    ys = [math.log(torque) for torque in torques]
    mean_x, mean_y = math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)
    spread = math.fsum((x - mean_x) ** 2 for x in xs)
    slope = math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    left = math.fsum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in zip(xs, ys, strict=True))
    return slope, math.sqrt(left / (len(xs) - 2) / spread)


def relative_flow_curve(
    spindle_name: str, speeds_rpm: Sequence[float], torques_pct: Sequence[float], spring_name: str = "RV"
) -> RelativeFlowCurve:
    """A relative flow curve from torques of one disc at several speeds.

    Parameters
    ----------
    spindle_name : str             A disc.
    speeds_rpm : sequence, (n,)    At least three different ones. [1/min]
    torques_pct : sequence, (n,)   [%]
    spring_name : str              Of the instrument.

    Returns
    -------
    RelativeFlowCurve   Marked as relative, with its limits.

    Raises
    ------
    KitError   `viscometer.relative_geometry`, `viscometer.spindle`, `viscometer.spring`, `viscometer.speeds`, and
               `viscometer.not_thinning` where torque does not rise with speed: slip, or the gel breaking down.
    """
    slope, error = flow_index(speeds_rpm, torques_pct)
    if slope <= 0:
        raise KitError(
            f"the torque does not rise with speed (flow index {short(slope, 2)})",
            where="relative flow curve",
            allowed="a torque that rises with speed",
            mend="the product slips or breaks down as it is read: read up and down, or use a T-bar on fresh product",
            code="viscometer.not_thinning",
        )
    return RelativeFlowCurve(
        _disc(spindle_name).name,
        tuple(disc_rate_per_s(rpm, slope) for rpm in speeds_rpm),
        tuple(disc_stress_pa(spindle_name, torque, spring_name) for torque in torques_pct),
        slope,
        error,
    )


def _disc(name: str) -> Spindle:
    chosen = spindle(name)
    if chosen.geometry != DISC or chosen.stress_pa_per_pct is None:
        raise KitError(
            f"no stress constant is known of {chosen.name}",
            where="relative flow curve",
            allowed="disc 1 to disc 7",
            mend="compare the readings themselves, at the same spindle and speed",
            code="viscometer.relative_geometry",
        )
    return chosen
