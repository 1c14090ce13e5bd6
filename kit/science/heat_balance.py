"""What temperature do phases reach when they are brought together? Heat in equals heat out, vessel and melt included.

Losses to the room while pouring are not counted: the batch will be somewhat colder than the balance says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from kit.science.bracketed_root import bracketed_root
from kit.science.thermophysical import HEAT_CAPACITY_LIMITS_J_GK, ThermalError
from kit.show import Worded

LOSSES = "losses to the room are not counted: the batch comes out somewhat colder"
MARGIN_C = 5.0
"""The mixture should be this much above the highest setting temperature. Common practice, no source. [degC]"""
_LOWEST_C, _HIGHEST_C = -20.0, 110.0


@dataclass(frozen=True, slots=True)
class Melt:
    """A part of a stream that sets on cooling and melts on heating, between two temperatures.

    Parameters
    ----------
    name : str              As it is told to a reader.
    mass_g : float          Of that part. [g]
    heat_j_g : float        Heat of fusion. [J/g]
    low_c, high_c : float   All solid below, all molten above. [degC]
    """

    name: str
    mass_g: float
    heat_j_g: float
    low_c: float
    high_c: float

    def molten(self, temp_c: float) -> float:
        """Share that is molten, straight between the two temperatures. [-]

        Parameters
        ----------
        temp_c : float   [degC]
        """
        if temp_c >= self.high_c:
            return 1.0
        if temp_c <= self.low_c:
            return 0.0
        return (temp_c - self.low_c) / (self.high_c - self.low_c)

    def heat_j(self, temp_c: float) -> float:
        """Heat held as melt. [J]

        Parameters
        ----------
        temp_c : float   [degC]
        """
        return self.mass_g * self.heat_j_g * self.molten(temp_c)


@dataclass(frozen=True, slots=True)
class Stream:
    """A phase, hold-back water or a vessel at one temperature.

    Parameters
    ----------
    name : str                  As it is told to a reader.
    mass_g : float              [g]
    temp_c : float              [degC]
    heat_capacity_j_gk : float  None where it is not known; the result then is a range. [J/(g K)]
    melts : tuple of Melt       Parts of it that set.
    """

    name: str
    mass_g: float
    temp_c: float
    heat_capacity_j_gk: float | None
    melts: tuple[Melt, ...] = field(default=())

    def heat_j(self, temp_c: float, unknown_j_gk: float = math.nan) -> float:
        """Heat given off on going from its own temperature to this one; negative if it takes it up. [J]

        Parameters
        ----------
        temp_c : float         [degC]
        unknown_j_gk : float   Heat capacity where it is not known. [J/(g K)]
        """
        capacity = unknown_j_gk if self.heat_capacity_j_gk is None else self.heat_capacity_j_gk
        sensible = self.mass_g * capacity * (self.temp_c - temp_c)
        return sensible + sum(melt.heat_j(self.temp_c) - melt.heat_j(temp_c) for melt in self.melts)


@dataclass(frozen=True, slots=True, repr=False)
class MixedTemperature(Worded):
    """The temperature after phases are brought together.

    Parameters
    ----------
    temp_c : float            Middle of the range. [degC]
    low_c, high_c : float     Ends that unknown heat capacities leave open; equal where all are known. [degC]
    known_share : float       Share of the mass whose heat capacity is known. [-]
    unknown : tuple of str    Streams whose heat capacity is not.
    latent_j : float          Heat given off by setting; negative where melting takes it up. [J]
    setting : tuple of str    Parts that set, wholly or in part.
    """

    temp_c: float
    low_c: float
    high_c: float
    known_share: float
    unknown: tuple[str, ...]
    latent_j: float
    setting: tuple[str, ...]
    losses: str = LOSSES

    @property
    def words(self) -> str:
        """The temperature with its ends, and how much of the mass it rests on."""
        ends = f" ({self.low_c:.1f} to {self.high_c:.1f})" if self.high_c - self.low_c >= 0.1 else ""
        setting = f"; sets: {', '.join(self.setting)}" if self.setting else ""
        return f"{self.temp_c:.1f} °C{ends}, heat capacity known for {self.known_share:.1%}{setting}; {self.losses}"


def mixed_temperature(streams: Sequence[Stream]) -> MixedTemperature:
    """Temperature of streams brought together, the heat of setting counted only where the mixture lies below the melt.

    Parameters
    ----------
    streams : sequence of Stream   Phases and the vessel; those without mass are passed over.

    Raises
    ------
    ThermalError   `heat.streams`.

    Notes
    -----
    Sum of m c (T - T_mix) plus the heat of fusion of what sets is zero. No supercooling: what is below its melt has
    set. A part of a stream that is unknown is taken between `HEAT_CAPACITY_LIMITS_J_GK`, never as nothing.

    Examples
    --------
    >>> hot = [Stream("water phase", 700, 78, 4.19), Stream("oil phase", 200, 78, 2.1)]
    >>> round(mixed_temperature([*hot, Stream("hold-back water", 100, 22, 4.18)]).temp_c, 3)
    71.793
    """
    present = _checked(streams)
    unknown = tuple(stream.name for stream in present if stream.heat_capacity_j_gk is None)
    total = sum(stream.mass_g for stream in present)
    known = sum(stream.mass_g for stream in present if stream.heat_capacity_j_gk is not None)
    ends = sorted(_solved(present, case) for case in _cases(present)) if unknown else [_solved(present, math.nan)]
    middle = (ends[0] + ends[-1]) / 2
    melts = [(stream.temp_c, melt) for stream in present for melt in stream.melts]
    latent = sum(melt.heat_j(temp) - melt.heat_j(middle) for temp, melt in melts)
    setting = tuple(melt.name for temp, melt in melts if melt.molten(middle) < melt.molten(temp))
    return MixedTemperature(middle, ends[0], ends[-1], known / total, unknown, latent, setting)


def _cases(streams: list[Stream]) -> list[dict[str, float]]:
    """Every way of putting the unknown heat capacities at an end of what is possible."""
    from itertools import product

    names = sorted({stream.name for stream in streams if stream.heat_capacity_j_gk is None})
    return [dict(zip(names, ends, strict=True)) for ends in product(HEAT_CAPACITY_LIMITS_J_GK, repeat=len(names))]


def _solved(streams: list[Stream], case: dict[str, float] | float) -> float:
    """The one temperature at which the heats add up to nothing: their sum falls steadily with temperature."""
    filled = streams if not isinstance(case, dict) else [_filled(stream, case) for stream in streams]
    low = min(stream.temp_c for stream in filled)
    high = max(stream.temp_c for stream in filled)
    if low == high:
        return low
    without = sum(stream.mass_g * stream.heat_capacity_j_gk * stream.temp_c for stream in filled)
    without /= sum(stream.mass_g * stream.heat_capacity_j_gk for stream in filled)
    if all(melt.molten(stream.temp_c) == melt.molten(without) for stream in filled for melt in stream.melts):
        return without  # nothing sets or melts on the way: the balance is a straight line
    return bracketed_root(lambda temp: sum(stream.heat_j(temp) for stream in filled), low, high, xtol=1e-10)


def _filled(stream: Stream, case: dict[str, float]) -> Stream:
    if stream.heat_capacity_j_gk is not None:
        return stream
    return replace(stream, heat_capacity_j_gk=case[stream.name])


def _checked(streams: Sequence[Stream]) -> list[Stream]:
    present = [stream for stream in streams if stream.mass_g != 0]
    for stream in present:
        capacity = stream.heat_capacity_j_gk
        numbers = (stream.mass_g, stream.temp_c, 1.0 if capacity is None else capacity)
        bad = not all(map(math.isfinite, numbers)) or stream.mass_g < 0 or (capacity is not None and capacity <= 0)
        if bad or not _LOWEST_C <= stream.temp_c <= _HIGHEST_C:
            raise ThermalError(
                f"{stream.name}: {stream.mass_g} g at {stream.temp_c} °C with {capacity} J/(g K) is none",
                where="heat balance",
                allowed=f"mass above zero, {_LOWEST_C:g} to {_HIGHEST_C:g} °C, a heat capacity above zero or None",
                mend="mend the line; leave an unknown heat capacity out",
                code="heat.streams",
            )
        if any(melt.low_c > melt.high_c or not 0 <= melt.mass_g <= stream.mass_g * (1 + 1e-9) for melt in stream.melts):
            raise ThermalError(
                f"{stream.name}: a part that sets is heavier than its stream, or its melt ends below its start",
                where="heat balance",
                code="heat.streams",
            )
    if not present:
        raise ThermalError("nothing is brought together", where="heat balance", code="heat.streams")
    return present


@dataclass(frozen=True, slots=True, repr=False)
class Margin(Worded):
    """How far a mixture lies above the temperature at which it sets.

    Parameters
    ----------
    above_c : float     At worst, over the range of the mixture; negative if it lies below. [degC]
    setting_c : float   Highest setting or melting temperature. [degC]
    wanted_c : float    Margin asked for. [degC]
    """

    above_c: float
    setting_c: float
    wanted_c: float

    @property
    def caution(self) -> str:
        """What to say before the batch is made; empty where the margin is kept."""
        if self.above_c >= self.wanted_c:
            return ""
        if self.above_c < 0:
            return f"the mixture would lie {-self.above_c:.1f} °C below {self.setting_c:g} °C, where it sets: grains"
        return f"only {self.above_c:.1f} °C above {self.setting_c:g} °C, where it sets; {self.wanted_c:g} °C are wanted"

    @property
    def words(self) -> str:
        """The margin, or the caution where it is not kept."""
        return self.caution or f"{self.above_c:.1f} °C above {self.setting_c:g} °C, where it sets"


def setting_margin(mixed: MixedTemperature, setting_c: float, wanted_c: float = MARGIN_C) -> Margin:
    """Margin of a mixture above its setting temperature.

    Parameters
    ----------
    mixed : MixedTemperature   Before the batch is made.
    setting_c : float          Highest melt of alcohol, quat or their network; measured, where it was. [degC]
    wanted_c : float           [degC]

    Notes
    -----
    The network of quat and alcohol can set higher than either alone, a behenyl one above 60 degC: measure it.
    """
    return Margin(mixed.low_c - setting_c, setting_c, wanted_c)


def hold_back_mass(streams: Sequence[Stream], wanted_c: float, cold_c: float, cold_j_gk: float = 4.18) -> float:
    """Cold water to add to hot streams so that they come to a temperature. [g]

    Parameters
    ----------
    streams : sequence of Stream   All that is in the vessel, the vessel too, without the hold-back water. The heat
                                   capacities must be known.
    wanted_c : float               [degC]
    cold_c : float                 Of the water; below `wanted_c`. [degC]
    cold_j_gk : float              Its heat capacity. [J/(g K)]

    Returns
    -------
    float   Not negative.

    Raises
    ------
    ThermalError   `heat.hold_back`, `heat.streams`.
    """
    heat = _heat_at(streams, wanted_c)
    if not cold_c < wanted_c or heat < 0:
        raise ThermalError(
            f"water at {cold_c:g} °C cannot bring these streams to {wanted_c:g} °C",
            where="hold-back water",
            allowed="water colder than the temperature wanted, streams warmer",
            code="heat.hold_back",
        )
    return heat / (cold_j_gk * (wanted_c - cold_c))


def hold_back_temperature(streams: Sequence[Stream], wanted_c: float, mass_g: float, cold_j_gk: float = 4.18) -> float:
    """Temperature that a given mass of hold-back water must have to bring hot streams to a temperature. [degC]

    Parameters
    ----------
    streams : sequence of Stream   As `hold_back_mass`.
    wanted_c : float               [degC]
    mass_g : float                 Of the hold-back water, above zero. [g]
    cold_j_gk : float              Its heat capacity. [J/(g K)]

    Raises
    ------
    ThermalError   `heat.hold_back` also where the water would have to be ice or boil; `heat.streams`.
    """
    if not 0 < mass_g < math.inf:
        raise ThermalError(f"{mass_g} g of hold-back water is none", where="hold-back water", code="heat.hold_back")
    needed = wanted_c - _heat_at(streams, wanted_c) / (mass_g * cold_j_gk)
    if not 0 <= needed <= 100:
        raise ThermalError(
            f"{mass_g:g} g of hold-back water would have to be at {needed:.0f} °C",
            where="hold-back water",
            allowed="0 to 100 °C",
            mend="hold back another mass, or choose another temperature",
            code="heat.hold_back",
        )
    return needed


def _heat_at(streams: Sequence[Stream], temp_c: float) -> float:
    present = _checked(streams)
    unknown = [stream.name for stream in present if stream.heat_capacity_j_gk is None]
    if unknown:
        raise ThermalError(
            f"the heat capacity of {', '.join(unknown)} is not known",
            where="hold-back water",
            allowed="known heat capacities",
            mend="state one, with where it comes from",
            code="heat.hold_back",
        )
    return sum(stream.heat_j(temp_c) for stream in present)
