"""How well is the mean of a batch's readings known? What one instrument does to all of them does not average out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from kit.bench.calibration import Calibration
from kit.bench.readings import Reading
from kit.bench.value_uncertainty import ValueUncertainty, uncertainty_of
from kit.science.measurement_uncertainty import effective_df
from kit.science.number_text import short
from kit.science.student_t import t_quantile
from kit.show import Worded

_K = 2.0
_COVERS = 0.9545  # of a normal distribution within two standard deviations

Calibrations = Callable[[str], Calibration | None]


@dataclass(frozen=True, slots=True, repr=False)
class MeanUncertainty(Worded):
    """The uncertainty of the mean of some readings of one batch.

    Parameters
    ----------
    value : float               Their mean. [unit]
    standard : float            Standard uncertainty of it. [unit]
    k : float                   Coverage factor: 2, or Student's t where it rests on the scatter of few readings. [-]
    unit : str                  Of the readings, empty for none.
    rests_on : tuple of str     What it was worked out from; what is not named is not in it.
    """

    value: float
    standard: float
    k: float
    unit: str
    rests_on: tuple[str, ...]

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U, k standard uncertainties. [unit]"""
        return self.k * self.standard

    @property
    def told(self) -> str:
        """U with its factor and what it rests on: "U = 460 mPa.s, k = 2, from ..." """
        unit = f" {self.unit}" if self.unit else ""
        return f"U = {short(self.expanded, 2)}{unit}, k = {short(self.k, 2)}, from {', '.join(self.rests_on)}"

    @property
    def words(self) -> str:
        """The value with its uncertainty."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{short(self.value, 5)} ± {short(self.expanded, 2)}{unit} ({self.told})"


def mean_uncertainty(
    readings: Sequence[Reading], calibration: Calibrations, *, mean: float, relative: bool = False
) -> MeanUncertainty | None:
    """The uncertainty of a batch's mean; None where nothing tells that of one of its readings.

    Parameters
    ----------
    readings : sequence       Of one batch, property and unit, each with a value.
    calibration : callable    The calibration of a name; None where it is not known.
    mean : float              Of the readings, geometric where `relative`. [unit]
    relative : bool           Whether the mean is geometric: the parts are then combined as shares of the values.

    Notes
    -----
    What an instrument or its calibration does is common to all readings on it and is added up as it stands; instruments
    are independent of each other. The scatter of two readings or more is added as that of their mean, with Student's t
    for its few degrees of freedom. JCGM 100:2008, 5.2.2 note 1 and G.4.
    """
    known = [uncertainty_of(reading, calibration(reading.calibration)) for reading in readings]
    if not known or any(one is None for one in known) or (relative and any(one.reading.value <= 0 for one in known)):
        return None
    count = len(known)
    common: dict[str, float] = {}
    for one in known:
        share = one.standard / float(one.reading.value) if relative else one.standard
        common[one.reading.instrument] = common.get(one.reading.instrument, 0.0) + share / count
    scatter = _scatter_of_mean(known, relative)
    parts = [(part, math.inf) for part in common.values()] + ([(scatter, count - 1.0)] if scatter else [])
    standard = math.hypot(*(part for part, _ in parts)) * (mean if relative else 1.0)
    df = effective_df(parts)
    rests = tuple(dict.fromkeys(text for one in known for text in one.rests_on))
    told = (*rests, f"the scatter of its {count} readings") if scatter else rests
    unit = readings[0].unit
    factor = _K if math.isinf(df) else t_quantile(max(math.floor(df), 1), _COVERS)
    return MeanUncertainty(mean, standard, factor, "" if unit == "1" else unit, told)


def _scatter_of_mean(known: Sequence[ValueUncertainty], relative: bool) -> float:
    """Standard deviation of the mean of the readings; 0 with one. [unit, or a share where relative]"""
    values = [float(one.reading.value) for one in known]
    if len(values) < 2:
        return 0.0
    on_scale = [math.log(value) for value in values] if relative else values
    middle = math.fsum(on_scale) / len(on_scale)
    squares = math.fsum((value - middle) ** 2 for value in on_scale)
    return math.sqrt(squares / (len(on_scale) - 1) / len(on_scale))
