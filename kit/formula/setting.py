"""The setting temperature of a formula: measured on a batch of it, or not known. There is no default."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True, slots=True)
class SettingSeenOn:
    """What the cooling log of one batch says of its setting. [degC]

    `temp_c` and `sd_c` are None where the log does not show it; `why` says what it rests on, or why not.
    """

    batch: str
    temp_c: float | None
    sd_c: float | None
    why: str


@dataclass(frozen=True, slots=True)
class SettingTemperature:
    """What the batches of one formula version say of its setting temperature.

    Parameters
    ----------
    seen : tuple of SettingSeenOn   Batch by batch.
    """

    seen: tuple[SettingSeenOn, ...]

    @property
    def found(self) -> tuple[SettingSeenOn, ...]:
        """The batches whose log shows it."""
        return tuple(seen for seen in self.seen if seen.temp_c is not None)

    @property
    def temp_c(self) -> float | None:
        """Mean over the batches, each by how well it is known; None where no log shows it. [degC]"""
        if not self.found:
            return None
        weights = [1 / seen.sd_c**2 for seen in self.found]
        return sum(w * seen.temp_c for w, seen in zip(weights, self.found, strict=True)) / sum(weights)

    @property
    def sd_c(self) -> float | None:
        """Standard deviation of that mean; None likewise. [degC]"""
        return 1 / sqrt(sum(1 / seen.sd_c**2 for seen in self.found)) if self.found else None

    @property
    def batches(self) -> str:
        """Names of the batches it rests on."""
        return ", ".join(seen.batch for seen in self.found)

    def __str__(self) -> str:
        if not self.seen:
            return "Setting temperature not known: no batch of this formula version has a cooling log. Measure it."
        told = "; ".join(f"{seen.batch}: {seen.why}" for seen in self.seen if seen.temp_c is None)
        if not self.found:
            return f"Setting temperature not known ({told}). Log a cooling every two minutes to below 40 °C."
        return f"Setting temperature {self.temp_c:.0f} ± {2 * self.sd_c:.0f} °C, measured on {self.batches}."

    __repr__ = __str__
