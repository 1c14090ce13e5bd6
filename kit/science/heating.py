"""Energy and time to heat phases and their vessel: sensible heat, the melt, and a heater that also warms the room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.heat_balance import Stream
from kit.science.thermophysical import HEAT_CAPACITY_LIMITS_J_GK, ThermalError
from kit.show import Worded

HOT_PLATE_SHARE = (0.3, 0.6)
"""Share of a hot plate's power that reaches a beaker on it, from memory; measure it once. [-]"""


@dataclass(frozen=True, slots=True, repr=False)
class HeatNeeded(Worded):
    """Energy to bring streams to a temperature.

    Parameters
    ----------
    energy_kj : float          Middle of the range. [kJ]
    low_kj, high_kj : float    Ends that unknown heat capacities leave open. [kJ]
    latent_kj : float          Of it, for melting. [kJ]
    known_share : float        Share of the mass whose heat capacity is known. [-]
    unknown : tuple of str     Streams whose heat capacity is not.
    """

    energy_kj: float
    low_kj: float
    high_kj: float
    latent_kj: float
    known_share: float
    unknown: tuple[str, ...]

    @property
    def words(self) -> str:
        """The energy, its ends where something is not known, and what of it goes into melting."""
        ends = f" ({self.low_kj:.1f} to {self.high_kj:.1f})" if self.unknown else ""
        melting = f", {self.latent_kj:.1f} of it for melting" if self.latent_kj else ""
        unknown = f"; heat capacity not known: {', '.join(self.unknown)}" if self.unknown else ""
        return f"{self.energy_kj:.1f} kJ{ends}{melting}{unknown}"


@dataclass(frozen=True, slots=True, repr=False)
class HeatingTime(Worded):
    """Time to heat.

    Parameters
    ----------
    minutes : float     Infinite where the heater never gets there. [min]
    limit_c : float     Where heater and losses balance; infinite without losses. [degC]
    """

    minutes: float
    limit_c: float

    @property
    def words(self) -> str:
        """The time, or why there is none."""
        if math.isinf(self.minutes):
            return f"never: at {self.limit_c:.0f} °C the losses take all the heat"
        return f"{self.minutes:.0f} min"


def heat_needed(streams: Sequence[Stream], target_c: float) -> HeatNeeded:
    """Energy to bring streams and vessel to a temperature, without losses.

    Parameters
    ----------
    streams : sequence of Stream   Each at its own temperature; none hotter than the target.
    target_c : float               [degC]

    Raises
    ------
    ThermalError   `heat.target`.
    """
    if not streams or any(stream.temp_c > target_c for stream in streams):
        raise ThermalError(
            f"not all of this is below {target_c:g} °C",
            where="heating",
            allowed="one stream or more, none hotter than the target",
            code="heat.target",
        )
    low, high = (sum(-stream.heat_j(target_c, end) for stream in streams) for end in HEAT_CAPACITY_LIMITS_J_GK)
    melts = [(stream.temp_c, melt) for stream in streams for melt in stream.melts]
    latent = sum(melt.heat_j(target_c) - melt.heat_j(temp) for temp, melt in melts)
    total = sum(stream.mass_g for stream in streams)
    known = sum(stream.mass_g for stream in streams if stream.heat_capacity_j_gk is not None)
    unknown = tuple(stream.name for stream in streams if stream.heat_capacity_j_gk is None)
    share = known / total if total > 0 else 0.0
    return HeatNeeded((low + high) / 2000, low / 1000, high / 1000, latent / 1000, share, unknown)


def heating_time(
    needed: HeatNeeded,
    start_c: float,
    target_c: float,
    power_w: float,
    efficiency: float = 1.0,
    loss_rate_per_min: float = 0.0,
    ambient_c: float = 22.0,
) -> HeatingTime:
    """Minutes to bring the batch to its temperature with a heater of steady power.

    Parameters
    ----------
    needed : HeatNeeded          From `heat_needed`.
    start_c, target_c : float    Of the batch. [degC]
    power_w : float              Of the heater. [W]
    efficiency : float           Share of it that reaches the batch; for a beaker on a hot plate `HOT_PLATE_SHARE`. [-]
    loss_rate_per_min : float    Rate constant of cooling of the same batch, from a cooling log; 0 leaves losses out.
                                 [1/min]
    ambient_c : float            Of the room. [degC]

    Raises
    ------
    ThermalError   `heat.power`.

    Notes
    -----
    C dT/dt = P - k C (T - Ta), so t = -ln(1 - k C (T1 - T0) / (P - k C (T0 - Ta))) / k, with C the mean heat capacity
    over the way, the melt spread over it.
    """
    useful_w = power_w * efficiency
    if not (0 < useful_w < math.inf and efficiency <= 1 and loss_rate_per_min >= 0):
        raise ThermalError(
            f"a heater of {power_w} W with a share of {efficiency} reaching the batch",
            where="heating",
            allowed="power above zero, a share between 0 and 1, a loss rate not negative",
            code="heat.power",
        )
    if target_c <= start_c:
        return HeatingTime(0.0, math.inf)
    capacity_kj_k = needed.energy_kj / (target_c - start_c)
    power_kj_min = useful_w * 60 / 1000
    if loss_rate_per_min == 0:
        return HeatingTime(needed.energy_kj / power_kj_min, math.inf)
    limit = ambient_c + power_kj_min / (loss_rate_per_min * capacity_kj_k)
    if limit <= target_c:
        return HeatingTime(math.inf, limit)
    return HeatingTime(math.log((limit - start_c) / (limit - target_c)) / loss_rate_per_min, limit)
