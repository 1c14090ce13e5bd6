"""What jars kept warm may indicate of 25 degC: by Q10, never a claim, and nothing once the network melts there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.bench.storage import REFERENCE
from kit.formula.setting import SettingTemperature
from kit.science.accelerated import INDICATIVE, activation_energy_kj_mol, implied_q10, months_by_q10
from kit.science.number_text import short
from kit.show import Worded
from kit.trials.stability_series import StorageSeries
from kit.trials.stability_sorting import warm_c
from kit.trials.stability_verdicts import WITHIN, StabilityVerdict

MELTED, UNKNOWN, HOLDS = "melts there", "not known", "holds there"
WARM_FROM_C = 37.0
"""A network that is whole at 25 degC is asked about from here. [degC]"""

_Q10 = (2.0, 3.0)
_WIDTHS = 2.0  # standard deviations of a measured setting temperature
_WEEK_H = 168.0


@dataclass(frozen=True, slots=True, repr=False)
class Network(Worded):
    """Whether the gel network of a version holds at a temperature: its setting temperature, or that it is not known.

    Parameters
    ----------
    temp_c, sd_c : float, None   Setting temperature, and its standard deviation. [degC]
    why : str                    What it rests on.
    """

    temp_c: float | None = None
    sd_c: float | None = None
    why: str = "no batch of this version has a cooling log that shows it"

    @classmethod
    def measured(cls, found: SettingTemperature) -> Network:
        """From the cooling logs of earlier batches.

        Parameters
        ----------
        found : SettingTemperature
        """
        if found.temp_c is None:
            return cls()
        return cls(found.temp_c, found.sd_c, f"measured on {found.batches}")

    def at(self, temp_c: float) -> str:
        """ "melts there", "holds there" or "not known".

        Parameters
        ----------
        temp_c : float   Of storage. [degC]
        """
        if self.temp_c is None:
            return UNKNOWN
        return MELTED if temp_c >= self.temp_c - _WIDTHS * (self.sd_c or 0.0) else HOLDS

    @property
    def words(self) -> str:
        """The setting temperature in words."""
        if self.temp_c is None:
            return f"Setting temperature not known: {self.why}. Measure it before warm storage is taken for more."
        spread = f" ± {_WIDTHS * self.sd_c:.0f}" if self.sd_c else ""
        return f"Setting temperature {self.temp_c:.0f}{spread} °C, {self.why}."


@dataclass(frozen=True, slots=True, repr=False)
class WarmIndication(Worded):
    """What one warm series may indicate.

    Parameters
    ----------
    series : StorageSeries
    network : str            Whether the network holds there.
    words : str              The indication, or why there is none.
    q10 : float, None        That the slopes at both temperatures imply. [-]
    """

    series: StorageSeries
    network: str
    words: str
    q10: float | None = None


def indication(verdict: StabilityVerdict, beside: Sequence[StorageSeries], network: Network) -> WarmIndication | None:
    """The indication of one warm series of numbers; None where it is none.

    Parameters
    ----------
    verdict : StabilityVerdict
    beside : sequence of StorageSeries   All series, for the one at 25 degC.
    network : Network
    """
    series = verdict.series
    temp = warm_c(series.place)
    if temp is None or not series.stored:
        return None
    state = network.at(temp)
    if state == MELTED:
        told = f"none: the network sets at {network.temp_c:.0f} °C and is not whole at {short(temp)} °C, so what "
        return WarmIndication(series, state, f"{told}happens there never happens at 25 °C")
    if state == UNKNOWN:
        return WarmIndication(series, state, f"none: whether the network is whole at {short(temp)} °C is not known")
    q10, slopes = _by_slopes(series, beside, temp)
    if verdict.state != WITHIN:
        return WarmIndication(series, state, f"none: {verdict.headline}; {slopes}", q10)
    weeks = max(point.hours for point in series.stored) / _WEEK_H
    months = [months_by_q10(weeks, assumed, temp).months for assumed in _Q10]
    told = (
        f"{short(weeks, 2)} weeks at {short(temp)} °C would be {short(months[0], 2)} months at 25 °C with a Q10 of 2, "
    )
    told += f"{short(months[1], 2)} with a Q10 of 3"
    return WarmIndication(series, state, f"{told}; {slopes}: {INDICATIVE}", q10)


def _by_slopes(series: StorageSeries, beside: Sequence[StorageSeries], temp: float) -> tuple[float | None, str]:
    jar = next(
        (
            one
            for one in beside
            if (one.arm, one.property, one.pack, one.place) == (series.arm, series.property, series.pack, REFERENCE)
        ),
        None,
    )
    warm, cool = _slope(series), None if jar is None else _slope(jar)
    if warm is None or cool is None:
        return None, "the Q10 of its own slopes cannot be told: no trend is shown at both temperatures"
    if warm * cool < 0:
        return None, "it moves the other way at 25 °C: no Q10 joins the two"
    factor = warm / cool
    q10 = implied_q10(factor, temp - 25)
    energy = activation_energy_kj_mol(factor, temp)
    return q10, f"its own slopes imply a Q10 of {short(q10, 2)} ({short(energy, 2)} kJ/mol) from two temperatures"


def _slope(series: StorageSeries) -> float | None:
    """The mean slope where it is shown to differ from zero; None where it is not."""
    lines = series.trend.lines if series.trend else ()
    shown = [line for line in lines if line.slope_low > 0 or line.slope_high < 0]
    if not lines or len(shown) < len(lines):
        return None
    return math.fsum(line.slope for line in lines) / len(lines)
