"""What pumping and filling do to a product: its viscosity before and after, and the shear it passes through."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.show import Worded

_TWICE = 2.0  # standard errors; an interval of about 95 %


@dataclass(frozen=True, slots=True, repr=False)
class TransferLoss(Worded):
    """Viscosity before and after a pump, a transfer or a filling head.

    Parameters
    ----------
    before_mpa_s, after_mpa_s : float   Read by the same method at the same age. [mPa·s]
    relative_sd_pct : float             Standard deviation of one reading; None where it is not known. [%]
    """

    before_mpa_s: float
    after_mpa_s: float
    relative_sd_pct: float | None = None

    def __post_init__(self) -> None:
        require_positive("viscosity at a transfer", before=self.before_mpa_s, after=self.after_mpa_s)
        require_not_negative("viscosity at a transfer", relative_sd_pct=self.relative_sd_pct)

    @property
    def ratio(self) -> float:
        """After over before; below 1 where viscosity was lost. [-]"""
        return self.after_mpa_s / self.before_mpa_s

    @property
    def change_pct(self) -> float:
        """After less before, of before; negative where viscosity was lost. [%]"""
        return 100 * (self.ratio - 1)

    @property
    def distinguishable(self) -> bool | None:
        """Whether the change is larger than two readings differ by anyway; None where the scatter is not known."""
        if self.relative_sd_pct is None:
            return None
        return abs(math.log(self.ratio)) > _TWICE * math.sqrt(2) * self.relative_sd_pct / 100

    @property
    def words(self) -> str:
        """The change in words."""
        told = f"{short(self.before_mpa_s, 4)} mPa.s before and {short(self.after_mpa_s, 4)} after"
        if self.distinguishable is False:
            return f"{told}: no change that two readings would not show anyway."
        moved = f"{short(abs(self.change_pct), 2)} % {'lost' if self.ratio < 1 else 'gained'}"
        if self.distinguishable is None:
            return f"{told}: {moved}, one reading each; the scatter of a reading was not given, so this is not tested."
        return f"{told}: {moved}. Read again after 24 and 72 h: a gel builds back in part."


def pipe_shear_rate_per_s(flow_l_per_min: float, bore_mm: float, flow_index: float = 1.0) -> float:
    """Shear rate at the wall of a round pipe or a filling nozzle. [1/s]

    Parameters
    ----------
    flow_l_per_min : float   [L/min]
    bore_mm : float          Inner diameter. [mm]
    flow_index : float       1 for a liquid that does not thin. [-]

    Raises
    ------
    KitError   `science.not_positive`.

    Notes
    -----
    4 Q / (pi R3) times (3 n + 1) / (4 n), of Rabinowitsch, for laminar flow of a power law; a gel that slips on the
    wall sees less.
    """
    require_positive("shear rate in a pipe", flow_l_per_min=flow_l_per_min, bore_mm=bore_mm, flow_index=flow_index)
    flow_m3_s = flow_l_per_min / 60e3
    radius_m = bore_mm / 2e3
    newtonian = 4 * flow_m3_s / (math.pi * radius_m**3)
    return newtonian * (3 * flow_index + 1) / (4 * flow_index)
