"""Viscosities read off the temperature of the method: corrected within 3 degC by a measured slope, else refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kit.bench.readings import Reading, viscosity_mpa_s
from kit.errors import KitError
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.flow_activation import FlowActivation, flow_activation
from kit.science.temperature_correction import CorrectedViscosity, TemperatureSlope, correct_viscosity, measured_slope
from kit.show import Worded
from kit.trials.flow_select import age_label, is_viscosity

_FEWEST = 3
_TEMPERATURE = "reading.temperature"


@dataclass(frozen=True, slots=True, repr=False)
class ProductSlope(Worded):
    """How the viscosity of one formula version goes with temperature, read on one batch in one way.

    Parameters
    ----------
    fingerprint : str           Of the formula version.
    batch : str                 It was read on.
    readings : tuple of Reading
    slope : TemperatureSlope    Not told where the readings do not tell it.
    """

    fingerprint: str
    batch: str
    readings: tuple[Reading, ...]
    slope: TemperatureSlope

    @property
    def words(self) -> str:
        """The slope with the batch it comes from."""
        return f"{self.batch}, {self.readings[0].spindle} at {self.readings[0].rpm:f} rpm: {self.slope}"

    @property
    def activation(self) -> FlowActivation | None:
        """Apparent activation energy of flow; None where the readings do not tell a slope."""
        if self.slope.per_c is None:
            return None
        temps = [float(reading.temp_c) for reading in self.readings]
        return flow_activation(temps, [float(viscosity_mpa_s(reading)) for reading in self.readings])


@dataclass(frozen=True, slots=True, repr=False)
class OffTemperature(Worded):
    """A reading off the temperature of its method.

    Parameters
    ----------
    reading : Reading
    wanted_c : float                       Temperature of the method. [degC]
    corrected : CorrectedViscosity, None   None where the correction is refused.
    words : str                            The correction, or why there is none.
    """

    reading: Reading
    wanted_c: float
    corrected: CorrectedViscosity | None
    words: str


def product_slopes(source: Source, study: StudyView, batches: Sequence[BatchView]) -> tuple[ProductSlope, ...]:
    """The slopes that were measured: readings of one batch at three temperatures, alike in everything else.

    Parameters
    ----------
    source : Source
    study : StudyView
    batches : sequence of BatchView
    """
    found = []
    for batch in batches:
        ways: dict[tuple, list[Reading]] = {}
        for reading in _sound(source, study, batch):
            if reading.temp_c is not None and reading.rpm is not None:
                ways.setdefault(_way(reading, study), []).append(reading)
        for readings in ways.values():
            if len({reading.temp_c for reading in readings}) >= _FEWEST:
                temps = [float(reading.temp_c) for reading in readings]
                values = [float(viscosity_mpa_s(reading)) for reading in readings]
                slope = measured_slope(temps, values)
                found.append(ProductSlope(batch.formula.fingerprint, batch.name, tuple(readings), slope))
    return tuple(found)


def off_temperature(
    source: Source, study: StudyView, batches: Sequence[BatchView], slopes: Sequence[ProductSlope]
) -> tuple[OffTemperature, ...]:
    """Every viscosity off the temperature of its method, corrected where that holds; those of a slope are left alone.

    Parameters
    ----------
    source : Source
    study : StudyView
    batches : sequence of BatchView
    slopes : sequence of ProductSlope   Of these products.
    """
    own = {(item.batch, item.entry) for found in slopes for item in found.readings}
    return tuple(
        _brought(reading, source, study, batch.formula.fingerprint, slopes)
        for batch in batches
        for reading in _sound(source, study, batch)
        if (reading.batch, reading.entry) not in own and _is_off(reading, source, study)
    )


def _sound(source: Source, study: StudyView, batch: BatchView) -> Iterable[Reading]:
    """Viscosities that stand and are suspect in nothing but their temperature."""
    for reading in batch.readings:
        if is_viscosity(reading, study) and not reading.void and reading.value > 0:
            flags = source.flags(reading, study)
            if all(flag.code == _TEMPERATURE for flag in flags):
                yield reading


def _way(reading: Reading, study: StudyView) -> tuple:
    """What readings of one slope share: a gel still builds, so the age belongs to it."""
    return (
        age_label(reading, study),
        reading.method,
        reading.instrument,
        reading.spindle,
        reading.rpm,
        reading.container,
        reading.storage,
    )


def _is_off(reading: Reading, source: Source, study: StudyView) -> bool:
    return any(flag.code == _TEMPERATURE for flag in source.flags(reading, study))


def _brought(
    reading: Reading, source: Source, study: StudyView, fingerprint: str, slopes: Sequence[ProductSlope]
) -> OffTemperature:
    wanted = float(source.method_of(reading, study).temp_c)
    own = [found.slope for found in slopes if found.fingerprint == fingerprint]
    slope = next((found for found in own if found.per_c is not None), next(iter(own), None))
    value = float(viscosity_mpa_s(reading))
    try:
        corrected = correct_viscosity(value, float(reading.temp_c), slope, wanted)
    except KitError as problem:
        return OffTemperature(reading, wanted, None, f"refused: {problem.what}; {problem.mend}")
    return OffTemperature(reading, wanted, corrected, f"{corrected}; by the slope {slope}; shown, in no mean")
