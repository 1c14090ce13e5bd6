"""Water that leaves an open hot vessel: an estimate within half and half again, held against what the balance says."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.thermophysical import ThermalError, saturation_pressure
from kit.science.water_ionisation import ZERO_CELSIUS_K
from kit.show import Worded

ATMOSPHERE_PA = 101_325.0
_DRY_AIR_J_KG_K = 287.05  # specific gas constant of dry air
_VAPOUR_SHARE = 0.62198  # molar mass of water over that of dry air
_COEFFICIENT = 35.0  # kg/(m2 h) for densities in kg/m3
SOURCE = "shah-evaporation"
"""Key of the source of the correlation."""
UNCERTAINTY = 0.5
"""Share by which the estimate may be off, either way: the correlation itself 18 % on pools, the rest is the bench."""
COVERED = (3.0, 10.0)
"""How many times less a covered vessel loses, from and to. Common practice, no source. [-]"""


@dataclass(frozen=True, slots=True, repr=False)
class LossEstimate(Worded):
    """Water lost from an open surface, with the range it is good for.

    Parameters
    ----------
    mass_g : float           Likeliest. [g]
    low_g, high_g : float    Half and half again; wider for a covered vessel. [g]
    covered : bool           Whether the vessel was covered.
    """

    mass_g: float
    low_g: float
    high_g: float
    covered: bool = False

    @property
    def words(self) -> str:
        """The estimate with what it is good for."""
        how = "a covered" if self.covered else "an open"
        amount = f"about {self.mass_g:.3g} g of water ({self.low_g:.2g} to {self.high_g:.2g} g)"
        return f"{amount} from {how} vessel, an estimate only"


@dataclass(frozen=True, slots=True, repr=False)
class Reconciled(Worded):
    """A loss seen on the balance, held against the estimate.

    Parameters
    ----------
    loss_g : float           By the balance; negative is a gain. [g]
    weighed_sd_g : float     Standard deviation of that loss. [g]
    estimate : LossEstimate  What evaporation may account for.
    verdict : str            "explained", "more than evaporation explains", "less than evaporation explains", "a gain"
                             or "too small to tell".
    unexplained_g : float    What lies outside the estimate, signed; zero where it is explained. [g]
    """

    loss_g: float
    weighed_sd_g: float
    estimate: LossEstimate
    verdict: str
    unexplained_g: float

    @property
    def explained(self) -> bool:
        """Whether evaporation can account for it."""
        return self.verdict in ("explained", "too small to tell")

    @property
    def words(self) -> str:
        """The loss on the balance, the estimate and the verdict."""
        left = f" ({abs(self.unexplained_g):.1f} g outside it)" if self.unexplained_g else ""
        return f"{self.loss_g:.1f} ± {self.weighed_sd_g:.1f} g by the balance, {self.estimate}: {self.verdict}{left}"


def evaporation_flux(water_c: float, air_c: float, humidity: float = 0.5, pressure_pa: float = ATMOSPHERE_PA) -> float:
    """Water that leaves an undisturbed open surface into still air. [kg/(m2 h)]

    Parameters
    ----------
    water_c, air_c : float   Of the surface and of the room. [degC]
    humidity : float         Relative humidity of the room, 0 to 1. [-]
    pressure_pa : float      Of the air. [Pa]

    Returns
    -------
    float   Never negative: dew is not reckoned.

    Raises
    ------
    ThermalError   `water_loss.range`.

    Notes
    -----
    35 rho_w (rho_r - rho_w)^(1/3) (W_w - W_r), densities in kg of dry air per m3, W in kg of vapour per kg of dry air,
    saturated at the water's temperature (w) and in the room (r): M. M. Shah 2014, ASHRAE Trans. 120(2), SE-14-001.
    [shah-evaporation]. Checked by its author on pools of 0.07 m2 and more, water at 7 to 94 degC; a beaker is smaller,
    its wall shelters the surface and stirring renews it.

    Examples
    --------
    >>> round(evaporation_flux(28.0, 28.0), 3)
    0.136
    """
    if not (0 <= water_c < 95 and -20 <= air_c < 60 and 0 <= humidity <= 1 and pressure_pa > 50_000):
        raise ThermalError(
            f"water at {water_c:g} °C in air at {air_c:g} °C and a humidity of {humidity:g} is outside the correlation",
            where="water loss",
            allowed="water 0 to 95 °C, air -20 to 60 °C, relative humidity 0 to 1",
            code="water_loss.range",
        )
    surface = _moist(water_c, saturation_pressure(float(water_c)), pressure_pa)
    room = _moist(air_c, humidity * saturation_pressure(max(float(air_c), 0.0)), pressure_pa)
    lift = room[0] - surface[0]
    return max(_COEFFICIENT * surface[0] * max(lift, 0.0) ** (1 / 3) * (surface[1] - room[1]), 0.0)


def _moist(temp_c: float, vapour_pa: float, pressure_pa: float) -> tuple[float, float]:
    """Dry air in a cubic metre [kg/m3], and vapour to dry air [kg/kg]."""
    dry = pressure_pa - vapour_pa
    return dry / (_DRY_AIR_J_KG_K * (temp_c + ZERO_CELSIUS_K)), _VAPOUR_SHARE * vapour_pa / dry


def estimated_loss(
    times_min: Sequence[float],
    temps_c: Sequence[float],
    diameter_cm: float,
    air_c: float = 22.0,
    humidity: float = 0.5,
    water_activity: float = 1.0,
    covered: bool = False,
) -> LossEstimate:
    """Water lost while the surface went through a temperature log.

    Parameters
    ----------
    times_min, temps_c : sequence of float   The log, times rising; straight between its readings. [min, degC]
    diameter_cm : float                      Of the open surface. [cm]
    air_c : float                            Of the room. [degC]
    humidity : float                         Of the room, 0 to 1. [-]
    water_activity : float                   Vapour pressure over that of water: 0.97 to 1 for a conditioner. [-]
    covered : bool                           A lid, foil or a film was on.

    Raises
    ------
    ThermalError   `water_loss.log`, `water_loss.range`.

    Notes
    -----
    A log taken in the bulk is warmer than the surface: the estimate is rather too high than too low. A skin of set gel
    stops most of it.
    """
    times, temps = list(map(float, times_min)), list(map(float, temps_c))
    rising = all(before < after for before, after in itertools.pairwise(times))
    if len(times) != len(temps) or len(times) < 2 or not rising or not 0 < diameter_cm < math.inf:
        raise ThermalError(
            "this log or vessel gives no water loss",
            where="water loss",
            allowed="two readings or more, a temperature to each time, the times rising, a diameter above zero",
            code="water_loss.log",
        )
    area_m2 = math.pi * (diameter_cm / 200) ** 2
    grams = 0.0
    for index in range(len(times) - 1):
        gap, before, after = times[index + 1] - times[index], temps[index], temps[index + 1]
        fluxes = [evaporation_flux(temp, air_c, humidity) for temp in (before, (before + after) / 2, after)]
        grams += gap / 60 * area_m2 * 1000 * (fluxes[0] + 4 * fluxes[1] + fluxes[2]) / 6
    grams *= water_activity
    if covered:
        low, high = grams * (1 - UNCERTAINTY) / COVERED[1], grams * (1 + UNCERTAINTY) / COVERED[0]
        return LossEstimate(grams / math.sqrt(COVERED[0] * COVERED[1]), low, high, True)
    return LossEstimate(grams, grams * (1 - UNCERTAINTY), grams * (1 + UNCERTAINTY))


def reconcile(loss_g: float, weighed_sd_g: float, estimate: LossEstimate) -> Reconciled:
    """Hold the loss that the balance saw against the estimate.

    Parameters
    ----------
    loss_g : float           Mass put in, less what was weighed back, taken out or still there. Negative is a gain. [g]
    weighed_sd_g : float     Standard deviation of that difference. [g]
    estimate : LossEstimate  From `estimated_loss`.

    Raises
    ------
    ThermalError   `water_loss.weighed`.

    Notes
    -----
    Twice the standard deviation is allowed on top of the estimate's range. Only the part that is explained should be
    made up as water: the rest may be batch left on a spatula.
    """
    if not (math.isfinite(loss_g) and math.isfinite(weighed_sd_g) and weighed_sd_g >= 0):
        raise ThermalError(
            f"a loss of {loss_g} g with a standard deviation of {weighed_sd_g} g cannot be held against anything",
            where="water loss",
            allowed="numbers, the standard deviation not negative",
            code="water_loss.weighed",
        )
    slack = 2 * weighed_sd_g
    if abs(loss_g) <= slack and estimate.low_g <= slack:
        return Reconciled(loss_g, weighed_sd_g, estimate, "too small to tell", 0.0)
    if loss_g < -slack:
        return Reconciled(loss_g, weighed_sd_g, estimate, "a gain", loss_g)
    if loss_g > estimate.high_g + slack:
        verdict, rest = "more than evaporation explains", loss_g - estimate.high_g
    elif loss_g < estimate.low_g - slack:
        verdict, rest = "less than evaporation explains", loss_g - estimate.low_g
    else:
        verdict, rest = "explained", 0.0
    return Reconciled(loss_g, weighed_sd_g, estimate, verdict, rest)
