"""What a stirrer does to a batch: tip speed, Reynolds number, power, energy, turnovers and shear in the gap.

Speeds in rpm as they are typed, lengths in m, viscosity in Pa·s. Power and flow are ranges, because the numbers behind
them are: for a rotor-stator head the power is known to a factor of 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.science.stirrers import Span, Stirrer
from kit.show import Worded

TURBULENT_ABOVE = 1e4
"""Reynolds number above which power and pumping numbers are constant [hakansson-2018]."""

LAMINAR_BELOW = 10.0
"""Reynolds number below which power number times Reynolds number is constant; from memory."""

ROTOR_STATOR_FACTOR = 2.0
"""How far the power of a rotor-stator head may lie from what its power number gives."""


@dataclass(frozen=True, slots=True)
class Liquid:
    """A liquid by its density and its viscosity, which may fall with shear as a power law.

    Parameters
    ----------
    density_kg_m3 : float       [kg/m3]
    consistency_pa_s_n : float  Viscosity at a shear rate of 1/s, which is the viscosity if it does not thin. [Pa·s^n]
    flow_index : float          1 for a liquid that does not thin, below it for one that does. [-]

    Raises
    ------
    KitError   `science.not_positive`.
    """

    density_kg_m3: float
    consistency_pa_s_n: float
    flow_index: float = 1.0

    def __post_init__(self) -> None:
        require_positive(
            "liquid",
            density=self.density_kg_m3,
            consistency=self.consistency_pa_s_n,
            flow_index=self.flow_index,
        )

    @property
    def thins(self) -> bool:
        """Whether the viscosity depends on the shear rate."""
        return self.flow_index != 1.0

    def viscosity_pa_s(self, shear_rate_per_s: float) -> float:
        """Viscosity at a shear rate. [Pa·s]

        Parameters
        ----------
        shear_rate_per_s : float   [1/s]
        """
        return self.consistency_pa_s_n * shear_rate_per_s ** (self.flow_index - 1)


@dataclass(frozen=True, slots=True, repr=False)
class PowerDraw(Worded):
    """Power that a stirrer puts into a batch.

    Parameters
    ----------
    power_w : Span         [W]
    reynolds : float       [-], None where the viscosity was not given
    regime : str           "turbulent", "transitional", "laminar", or "not known".
    limits : tuple of str  What the figure does not hold for.
    """

    power_w: Span
    reynolds: float | None
    regime: str
    limits: tuple[str, ...]

    def energy_j_per_kg(self, minutes: float, mass_kg: float) -> Span:
        """Energy put in over a time. [J/kg]

        Parameters
        ----------
        minutes : float   Of stirring at this speed. [min]
        mass_kg : float   Of the batch. [kg]

        Raises
        ------
        KitError   `science.not_positive`, `science.negative`.
        """
        require_positive("energy per kg", mass_kg=mass_kg)
        require_not_negative("energy per kg", minutes=minutes)
        return self.power_w.times(minutes * 60 / mass_kg)

    @property
    def words(self) -> str:
        """The power as a range, the regime, and what it does not hold for."""
        flow = self.regime if self.reynolds is None else f"{self.regime}, Reynolds number {short(self.reynolds)}"
        return f"{self.power_w} W ({flow}). Limits: {'; '.join(self.limits) or 'none stated'}."


def turns_per_s(rpm: float) -> float:
    """Speed in turns per second. [1/s]

    Parameters
    ----------
    rpm : float   [1/min]
    """
    return rpm / 60


def tip_speed_m_s(diameter_m: float, rpm: float) -> float:
    """Speed of the tip of a blade, pi D N. [m/s]

    Parameters
    ----------
    diameter_m : float   [m]
    rpm : float          [1/min]

    Raises
    ------
    KitError   `science.not_positive`.
    """
    require_positive("tip speed", diameter_m=diameter_m, rpm=rpm)
    return math.pi * diameter_m * turns_per_s(rpm)


def gap_shear_rate_per_s(diameter_m: float, rpm: float, gap_m: float) -> float:
    """Shear rate in a narrow gap at the tip: tip speed over gap. [1/s]

    Parameters
    ----------
    diameter_m : float   [m]
    rpm : float          [1/min]
    gap_m : float        [m]

    Raises
    ------
    KitError   `science.not_positive`.

    Notes
    -----
    Holds for a gap that is small beside the radius; what passes the holes of a stator sees other rates.
    """
    require_positive("shear rate in the gap", gap_m=gap_m)
    return tip_speed_m_s(diameter_m, rpm) / gap_m


def stirrer_shear_rate_per_s(metzner_otto: float, rpm: float) -> float:
    """Mean shear rate around a stirrer, ks N. [1/s]

    Parameters
    ----------
    metzner_otto : float   The constant ks of the stirrer, stated. [-]
    rpm : float            [1/min]

    Raises
    ------
    KitError   `science.not_positive`.

    Notes
    -----
    Found in laminar flow; A. B. Metzner, R. E. Otto, AIChE J. 3 (1957) 3 [metzner-otto-1957].
    """
    require_positive("shear rate around a stirrer", metzner_otto=metzner_otto, rpm=rpm)
    return metzner_otto * turns_per_s(rpm)


def stirred_viscosity_pa_s(stirrer: Stirrer, rpm: float, liquid: Liquid) -> float:
    """Viscosity that a stirrer meets: that of the liquid, at the mean shear rate around it where it thins. [Pa·s]

    Parameters
    ----------
    stirrer : Stirrer   Its ks must be stated for a liquid that thins.
    rpm : float         [1/min]
    liquid : Liquid     Density and viscosity.

    Raises
    ------
    KitError   `mixing.metzner_otto`, `science.not_positive`.
    """
    if not liquid.thins:
        return liquid.consistency_pa_s_n
    if stirrer.metzner_otto is None:
        raise KitError(
            f"the shear rate around {stirrer.name} is not known, and the liquid thins",
            where="viscosity at the stirrer",
            allowed="a constant ks, shear rate over turns per second, such as 11.5 for a flat blade turbine",
            mend="state ks of this stirrer, or leave Reynolds number and power out",
            code="mixing.metzner_otto",
        )
    return liquid.viscosity_pa_s(stirrer_shear_rate_per_s(stirrer.metzner_otto, rpm))


def reynolds(stirrer: Stirrer, rpm: float, liquid: Liquid) -> float:
    """Reynolds number of a stirrer, rho N D2 over the viscosity it meets. [-]

    Parameters
    ----------
    stirrer : Stirrer   With its ks where the liquid thins.
    rpm : float         [1/min]
    liquid : Liquid     Density and viscosity.

    Raises
    ------
    KitError   `mixing.metzner_otto`, `science.not_positive`.
    """
    require_positive("Reynolds number", rpm=rpm)
    viscosity = stirred_viscosity_pa_s(stirrer, rpm, liquid)
    return liquid.density_kg_m3 * turns_per_s(rpm) * stirrer.diameter_m**2 / viscosity


def regime(reynolds_number: float | None) -> str:
    """The kind of flow around a stirrer, in a word.

    Parameters
    ----------
    reynolds_number : float   [-]
    """
    if reynolds_number is None:
        return "not known"
    if reynolds_number >= TURBULENT_ABOVE:
        return "turbulent"
    return "laminar" if reynolds_number <= LAMINAR_BELOW else "transitional"


def power(stirrer: Stirrer, rpm: float, density_kg_m3: float, liquid: Liquid | None = None) -> PowerDraw:
    """Power that a stirrer draws, Np rho N3 D5, as a range.

    Parameters
    ----------
    stirrer : Stirrer        With its power number.
    rpm : float              [1/min]
    density_kg_m3 : float    [kg/m3]
    liquid : Liquid          For the Reynolds number; without it the flow is taken to be turbulent, and that is said.

    Returns
    -------
    PowerDraw   With its limits in words.

    Raises
    ------
    KitError   `mixing.power_number`, `mixing.metzner_otto`, `science.not_positive`.

    Notes
    -----
    The power number is its turbulent value plus, where the laminar constant is known, that constant over the Reynolds
    number: exact at both ends, a guess in between.
    """
    require_positive("power", rpm=rpm, density=density_kg_m3)
    if stirrer.power_number is None:
        raise KitError(
            f"the power number of {stirrer.name} is not known",
            where="power of a stirrer",
            allowed="a range, such as 1 to 3 for a rotor-stator head",
            mend="state it, or measure torque or current at the machine",
            code="mixing.power_number",
        )
    number = None if liquid is None else reynolds(stirrer, rpm, liquid)
    power_number = stirrer.power_number
    if number is not None and stirrer.laminar_power is not None:
        power_number = power_number.plus(stirrer.laminar_power / number)
    span = power_number.times(density_kg_m3 * turns_per_s(rpm) ** 3 * stirrer.diameter_m**5)
    if stirrer.rotor_stator:
        middle = span.middle
        span = Span(
            min(span.low, middle / ROTOR_STATOR_FACTOR),
            max(span.high, middle * ROTOR_STATOR_FACTOR),
        )
    return PowerDraw(span, number, regime(number), tuple(_power_limits(stirrer, number)))


def turnovers(stirrer: Stirrer, rpm: float, minutes: float, volume_m3: float) -> Span:
    """How often the batch passes the stirrer in a time, Nq N D3 t / V. [-]

    Parameters
    ----------
    stirrer : Stirrer    With its pumping number.
    rpm : float          [1/min]
    minutes : float      [min]
    volume_m3 : float    Of the batch. [m3]

    Raises
    ------
    KitError   `mixing.pumping_number`, `science.not_positive`, `science.negative`.

    Notes
    -----
    A pumping number holds in turbulent flow; in a thick batch less is turned over, and the wall may stand still.
    """
    require_positive("turnovers", rpm=rpm, volume_m3=volume_m3)
    require_not_negative("turnovers", minutes=minutes)
    if stirrer.pumping_number is None:
        raise KitError(
            f"the pumping number of {stirrer.name} is not known",
            where="turnovers of a batch",
            allowed="a range, such as 0.4 to 0.6 for a propeller",
            mend="state it, or leave turnovers out",
            code="mixing.pumping_number",
        )
    return stirrer.pumping_number.times(turns_per_s(rpm) * stirrer.diameter_m**3 * minutes * 60 / volume_m3)


def turnovers_of_flow(flow_l_per_min: float, minutes: float, volume_l: float) -> float:
    """How often the batch passes a head whose flow was measured, or a pump in a loop, Q t / V. [-]

    Parameters
    ----------
    flow_l_per_min : float   [L/min]
    minutes : float          [min]
    volume_l : float         Of the batch. [L]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative`.

    Notes
    -----
    A mean: after one turnover of a well-stirred vessel 37 % of the batch has not passed yet, after three 5 %.
    """
    require_positive("turnovers", flow=flow_l_per_min, volume=volume_l)
    require_not_negative("turnovers", minutes=minutes)
    return flow_l_per_min * minutes / volume_l


def _power_limits(stirrer: Stirrer, reynolds_number: float | None):
    if stirrer.rotor_stator:
        yield "the power of a rotor-stator head is known within a factor of 2"
    if reynolds_number is None:
        yield "viscosity not given: turbulent flow was taken for granted, a thick batch draws more"
    elif reynolds_number < TURBULENT_ABOVE and stirrer.laminar_power is None:
        yield (
            f"Reynolds number {short(reynolds_number)}, below 10,000: the power number rises there and the figure is a "
            "lower end"
        )
    elif reynolds_number < TURBULENT_ABOVE:
        yield f"Reynolds number {short(reynolds_number)}: between laminar and turbulent the power is a guess"
