"""A heater, and what a phase takes to be brought to its temperature with it: energy and time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import FormulaError
from kit.science.heating import HeatingTime, HeatNeeded
from kit.science.number_text import short
from kit.show import Fielded, Table, Worded
from kit.units import read

_KJ_PER_KWH = 3600.0


@dataclass(frozen=True, slots=True, repr=False)
class Heater(Fielded):
    """What heats a phase.

    Parameters
    ----------
    power_w : float             [W]
    share : float               Of the power that reaches the batch; None where it was not stated. [-]
    loss_rate_per_min : float   Rate constant of cooling of the same batch, from a cooling log; 0 leaves losses out.
                                [1/min]
    """

    power_w: float
    share: float | None = None
    loss_rate_per_min: float = 0.0

    @property
    def says_least(self) -> bool:
        """Whether a time is only the least, as the share that reaches the batch or the losses are not known."""
        return self.share is None or not self.loss_rate_per_min


@dataclass(frozen=True, slots=True, repr=False)
class PhaseHeating(Worded):
    """A phase brought from the room to its temperature.

    Parameters
    ----------
    name : str              "phase A", with its vessel where that is heated too.
    start_c, target_c : float   [degC]
    needed : HeatNeeded     Energy, without losses.
    heater : Heater         None where no power was given.
    time : HeatingTime      None without a heater.
    """

    name: str
    start_c: float
    target_c: float
    needed: HeatNeeded
    heater: Heater | None = None
    time: HeatingTime | None = None

    @property
    def time_words(self) -> str:
        """The time; "at least" where share or losses are not known; empty without a heater."""
        if self.time is None:
            return ""
        least = self.heater is not None and self.heater.says_least and self.time.minutes < float("inf")
        return f"at least {self.time}" if least else str(self.time)

    @property
    def words(self) -> str:
        """Energy and time."""
        time = f": {self.time_words}" if self.time_words else ""
        return f"{self.name} from {self.start_c:g} to {self.target_c:g} °C takes {self.needed}{time}"


def read_heater(text: str, loss_rate: str = "", where: str = "heat()") -> Heater | None:
    """A heater from typed text; None where nothing was typed.

    Parameters
    ----------
    text : str        "1 kW", or "1 kW, 50 %" with the share of it that reaches the batch, measured once.
    loss_rate : str   Rate constant of cooling of the same batch in its vessel, "0.02 /min".
    where : str       For an error.

    Raises
    ------
    FormulaError   `pour.heater` for a power or a share that is none, or a rate without a heater.
    UnitError      For text that cannot be read.
    """
    if not text:
        if loss_rate:
            raise _no_heater("a rate of losses without a heater", where)
        return None
    power, _, share = text.partition(",")
    power_w = float(read(power, "W", where=f"{where}, heater"))
    part = float(read(share, "%", where=f"{where}, heater")) / 100 if share.strip() else None
    rate = float(read(loss_rate, "rpm", where=f"{where}, loss_rate")) if loss_rate else 0.0
    if power_w <= 0 or (part is not None and not 0 < part <= 1) or rate < 0:
        raise _no_heater(f"a heater of {text}{f' and losses of {loss_rate}' if loss_rate else ''}", where)
    return Heater(power_w, part, rate)


def heating_table(heated: Sequence[PhaseHeating], title: str) -> Table:
    """Energy and time, a row a phase.

    Parameters
    ----------
    heated : sequence of PhaseHeating   From `heat_phases`.
    title : str                         Formula or batch.
    """
    rows = [
        (
            one.name,
            f"{one.start_c:g} to {one.target_c:g}",
            f"{one.needed.energy_kj:.1f}",
            f"{one.needed.low_kj:.1f} to {one.needed.high_kj:.1f}",
            f"{one.needed.latent_kj:.1f}",
            short(one.needed.energy_kj / _KJ_PER_KWH, 2),
            one.time_words or "no heater stated",
        )
        for one in heated
    ]
    heads = ("", "temperature, °C", "energy, kJ", "range, kJ", "of it melting, kJ", "kWh", "time")
    return Table(
        heads, rows, title=f"Energy and time to heat: {title}", note=_note(heated), numeric=frozenset(range(1, 6))
    )


def _note(heated: Sequence[PhaseHeating]) -> str:
    heater = next((one.heater for one in heated if one.heater is not None), None)
    melts = "Heat of melting only where it is published."
    if heater is None:
        return f"{melts} Without losses."
    share = "all" if heater.share is None else f"{100 * heater.share:.0f} %"
    losses = (
        f"losses as the batch cools, {short(heater.loss_rate_per_min)} 1/min"
        if heater.loss_rate_per_min
        else "no losses"
    )
    stated = "" if heater.share is not None else " The share that reaches the batch was not stated: measure it once."
    return f"{melts} Heater of {short(heater.power_w, 4)} W, {share} of it into the batch, {losses}.{stated}"


def _no_heater(what: str, where: str) -> FormulaError:
    return FormulaError(
        what,
        where=f"{where}, heater",
        allowed="a power above zero, a share above 0 and up to 100 %, a rate of losses not below zero",
        mend='heater="1 kW, 50 %", loss_rate="0.02 /min"',
        code="pour.heater",
    )
