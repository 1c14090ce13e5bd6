"""A process carried to another vessel on one stated rule, and what everything else then becomes.

Tip speed, power per volume, Reynolds number, turnovers and gap shear cannot all be kept: the table says what the rule
keeps and by how much each of the others moves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.mixing import (
    Liquid,
    PowerDraw,
    gap_shear_rate_per_s,
    power,
    reynolds,
    tip_speed_m_s,
    turnovers,
)
from kit.science.number_text import short
from kit.science.required import require_positive
from kit.science.stirrers import Stirrer
from kit.show import Worded

TIP_SPEED = "tip speed"
POWER_PER_VOLUME = "power per volume"
ENERGY_PER_MASS = "energy per kg"
REYNOLDS = "Reynolds number"
TURNOVERS = "turnovers"
GAP_SHEAR = "shear rate in the gap"

RULES = (TIP_SPEED, POWER_PER_VOLUME, ENERGY_PER_MASS, REYNOLDS, TURNOVERS, GAP_SHEAR)
"""What can be kept."""

_UNITS = {
    TIP_SPEED: "m/s",
    POWER_PER_VOLUME: "W/m3",
    ENERGY_PER_MASS: "J/kg",
    REYNOLDS: "1",
    TURNOVERS: "1",
    GAP_SHEAR: "1/s",
}
_UNCHANGED = 0.005  # a ratio nearer to 1 than this is called kept
_SPEED_SPAN = 1e6  # a speed is looked for between a millionth and a million times the present one


@dataclass(frozen=True, slots=True)
class Stirring:
    """A batch being stirred.

    Parameters
    ----------
    stirrer : Stirrer    With what is known of it.
    rpm : float          [1/min]
    minutes : float      [min]
    volume_m3 : float    Of the batch. [m3]
    liquid : Liquid      Density and viscosity.

    Raises
    ------
    KitError   `science.not_positive`.
    """

    stirrer: Stirrer
    rpm: float
    minutes: float
    volume_m3: float
    liquid: Liquid

    def __post_init__(self) -> None:
        require_positive(self.stirrer.name, rpm=self.rpm, minutes=self.minutes, volume_m3=self.volume_m3)

    def power(self) -> PowerDraw:
        """Power drawn, as a range.

        Raises
        ------
        KitError   As `kit.science.mixing.power`.
        """
        return power(self.stirrer, self.rpm, self.liquid.density_kg_m3, self.liquid)

    def value(self, quantity: str) -> float | None:
        """One of the quantities of `RULES`, the middle of its range; None where the stirrer does not tell.

        Parameters
        ----------
        quantity : str   One of `RULES`.
        """
        try:
            return _QUANTITIES[quantity](self)
        except KitError as error:
            if error.code in _UNTOLD:
                return None
            raise


@dataclass(frozen=True, slots=True, repr=False)
class ScaleRow(Worded):
    """One quantity in both vessels.

    Parameters
    ----------
    quantity : str    As it is read, such as "tip speed".
    unit : str        "1" for a number without unit.
    small : float     In the vessel it was worked out in; None where not known.
    large : float     In the other; None where not known.
    kept : bool       Whether it is the one the rule keeps.
    """

    quantity: str
    unit: str
    small: float | None
    large: float | None
    kept: bool = False

    @property
    def ratio(self) -> float | None:
        """Large over small. [-]"""
        return None if self.small is None or self.large is None else self.large / self.small

    @property
    def words(self) -> str:
        """How it moves, in words."""
        ratio = self.ratio
        if ratio is None:
            return "not known"
        if abs(ratio - 1) <= _UNCHANGED:
            return "kept" if self.kept else "unchanged"
        return f"{short(ratio)} times as much" if ratio > 1 else f"down to {short(100 * ratio)} %"

    def __str__(self) -> str:
        return f"{self.name}: {self.words}"


@dataclass(frozen=True, slots=True, repr=False)
class ScaleTable(Worded):
    """What a process becomes in another vessel.

    Parameters
    ----------
    rule : str                   What was kept.
    small, large : Stirring      The two.
    rows : tuple of ScaleRow     Speed, time and volume first.
    limits : tuple of str        What it does not tell.
    """

    rule: str
    small: Stirring
    large: Stirring
    rows: tuple[ScaleRow, ...]
    limits: tuple[str, ...]

    def row(self, quantity: str) -> ScaleRow:
        """The row of a quantity.

        Parameters
        ----------
        quantity : str   As it stands in the table.

        Raises
        ------
        KitError   `scale.quantity`.
        """
        for row in self.rows:
            if row.quantity == quantity:
                return row
        raise KitError(
            f"the table has no row {quantity!r}",
            where="scale-up table",
            allowed=", ".join(row.quantity for row in self.rows),
            mend="name one of these",
            code="scale.quantity",
        )

    def __str__(self) -> str:
        moved = [f"{row.quantity} {row.words}" for row in self.rows[3:] if not row.kept]
        return f"{self.rule} kept: {short(self.large.rpm, 4)} rpm. Then " + ", ".join(moved) + "."


def scale_up(
    small: Stirring,
    stirrer: Stirrer,
    volume_m3: float,
    rule: str,
    *,
    minutes: float | None = None,
    liquid: Liquid | None = None,
) -> ScaleTable:
    """The speed of another vessel that keeps one quantity, and what the others become.

    Parameters
    ----------
    small : Stirring     The process as it was worked out.
    stirrer : Stirrer    Of the other vessel.
    volume_m3 : float    Of the other batch. [m3]
    rule : str           One of `RULES`.
    minutes : float      Of stirring in the other vessel; as in the small one when omitted. [min]
    liquid : Liquid      Where the product differs there, as when hotter; the same when omitted.

    Returns
    -------
    ScaleTable   Middles of ranges; what a stirrer does not tell is None.

    Raises
    ------
    KitError   `scale.rule` for an unknown rule, `scale.rule_unknown` where the quantity to keep is not known in one of
               the vessels, `science.not_positive`.
    """
    if rule not in RULES:
        raise KitError(
            f"{rule!r} is not a rule of scale-up",
            where="scale_up()",
            allowed=", ".join(RULES),
            mend="name the one quantity to keep",
            code="scale.rule",
        )
    start = Stirring(
        stirrer, small.rpm, small.minutes if minutes is None else minutes, volume_m3, liquid or small.liquid
    )
    wanted = small.value(rule)
    if wanted is None or start.value(rule) is None:
        lacking = small.stirrer if wanted is None else stirrer
        raise KitError(
            f"{rule} of {lacking.name} is not known",
            where="scale_up()",
            allowed="a stirrer with the number that the rule needs",
            mend="state power number, pumping number, gap or ks, or choose another rule",
            code="scale.rule_unknown",
        )
    large = _at_speed(start, _speed_keeping(start, rule, wanted))
    return ScaleTable(rule, small, large, tuple(_rows(small, large, rule)), tuple(_limits(small, large)))


def _speed_keeping(start: Stirring, rule: str, wanted: float) -> float:
    """The speed at which the quantity has the wanted value; every quantity of a rule rises with speed."""
    low, high = (math.log(start.rpm / _SPEED_SPAN), math.log(start.rpm * _SPEED_SPAN))
    for _ in range(200):
        middle = (low + high) / 2
        if _at_speed(start, math.exp(middle)).value(rule) < wanted:
            low = middle
        else:
            high = middle
    return math.exp((low + high) / 2)


def _at_speed(stirring: Stirring, rpm: float) -> Stirring:
    return Stirring(stirring.stirrer, rpm, stirring.minutes, stirring.volume_m3, stirring.liquid)


def _rows(small: Stirring, large: Stirring, rule: str):
    yield ScaleRow("speed", "rpm", small.rpm, large.rpm)
    yield ScaleRow("time", "min", small.minutes, large.minutes)
    yield ScaleRow("volume", "m3", small.volume_m3, large.volume_m3)
    for quantity in RULES:
        yield ScaleRow(quantity, _UNITS[quantity], small.value(quantity), large.value(quantity), quantity == rule)


def _limits(small: Stirring, large: Stirring):
    yield "one rule keeps one quantity: the others move as printed"
    yield "power and turnovers are middles of ranges; ratios hold for heads of the same shape"
    if small.stirrer.rotor_stator or large.stirrer.rotor_stator:
        yield "the power of a rotor-stator head is known within a factor of 2"
    yield "cooling, sweep, vacuum and the pump afterwards change with the vessel too and are not in this table"


def _power_per_volume(stirring: Stirring) -> float:
    return stirring.power().power_w.middle / stirring.volume_m3


def _energy_per_mass(stirring: Stirring) -> float:
    mass_kg = stirring.volume_m3 * stirring.liquid.density_kg_m3
    return stirring.power().energy_j_per_kg(stirring.minutes, mass_kg).middle


def _gap_shear(stirring: Stirring) -> float:
    if stirring.stirrer.gap_m is None:
        raise KitError(f"the gap of {stirring.stirrer.name} is not known", code="mixing.gap")
    return gap_shear_rate_per_s(stirring.stirrer.diameter_m, stirring.rpm, stirring.stirrer.gap_m)


_QUANTITIES: dict[str, Callable[[Stirring], float]] = {
    TIP_SPEED: lambda stirring: tip_speed_m_s(stirring.stirrer.diameter_m, stirring.rpm),
    POWER_PER_VOLUME: _power_per_volume,
    ENERGY_PER_MASS: _energy_per_mass,
    REYNOLDS: lambda stirring: reynolds(stirring.stirrer, stirring.rpm, stirring.liquid),
    TURNOVERS: lambda stirring: turnovers(stirring.stirrer, stirring.rpm, stirring.minutes, stirring.volume_m3).middle,
    GAP_SHEAR: _gap_shear,
}

# A quantity is not known, rather than wrong, when the stirrer lacks the number it needs.
_UNTOLD = {"mixing.power_number", "mixing.pumping_number", "mixing.metzner_otto", "mixing.gap"}
