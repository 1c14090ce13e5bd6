"""Droplet sizes of a batch: means from counts or an instrument, whether the droplets cream, what a spin stands for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from kit.bench.readings import Reading
from kit.bench.storage import REFERENCE, storage_key, storage_words
from kit.bench.structure import SEPARATION, SIZES, counted, radius_of_cm
from kit.errors import UnitError
from kit.formula.phase_densities import PhaseDensities, phase_densities
from kit.labbook.view import BatchView
from kit.science.centrifuge import Spin, spin
from kit.science.creaming import Creaming, creaming
from kit.science.droplets import DropletCount
from kit.science.thermophysical import water_viscosity
from kit.show import Fielded, Worded
from kit.trials.flow import FlowStudy
from kit.trials.flow_select import age_label
from kit.trials.judging import fold
from kit.units import plain, read

_ROOM_C = 25.0
_LARGEST_FIRST = ("D90", "D[4,3]", "D50", "D[3,2]", "D10")
AS_IN_WATER = "as in water of 25 °C, the most it could be"
"""What a speed without a measured yield value rests on."""


@dataclass(frozen=True, repr=False)
class DropletSizes(Fielded):
    """Droplet sizes of one batch at one age.

    Parameters
    ----------
    batch : BatchView
    age : str                           Label of the age window, else the age in words; with the place where its jar
                                        was kept otherwise than at 25 degC.
    sizes_um : dict                     Property ("D50") to the mean of its readings. [um]
    counts : tuple of DropletCount      Of the readings that keep counts.
    yield_pa : float, None              Of the network, from a flow curve of the same batch. [Pa]
    yield_from : str                    Which curve.
    left_out : tuple of str             Readings that do not count, each with the reason.
    """

    batch: BatchView
    age: str
    sizes_um: dict[str, float]
    counts: tuple[DropletCount, ...]
    yield_pa: float | None = None
    yield_from: str = ""
    left_out: tuple[str, ...] = ()

    @cached_property
    def densities(self) -> PhaseDensities:
        """Of the droplets and of the water around them."""
        return phase_densities(self.batch.formula.composition())

    @property
    def count(self) -> DropletCount | None:
        """All that was counted, field by field together; None where nothing was."""
        if not self.counts:
            return None
        rows = [(d, n) for found in self.counts for d, n in zip(found.diameter_um, found.count, strict=True)]
        return DropletCount([size for size, _ in rows], [number for _, number in rows])

    @property
    def largest(self) -> tuple[str, float] | None:
        """The size that speaks for the largest droplets, by name. [um]"""
        if self.count is not None:
            return "D90", self.count.volume_percentile_um(90)
        return next(((name, self.sizes_um[name]) for name in _LARGEST_FIRST if name in self.sizes_um), None)

    @property
    def span(self) -> float | None:
        """(D90 - D10) / D50 by volume; None where one of them is not known. [-]"""
        if self.count is not None:
            return self.count.span
        if not {"D10", "D50", "D90"} <= set(self.sizes_um):
            return None
        return (self.sizes_um["D90"] - self.sizes_um["D10"]) / self.sizes_um["D50"]

    @property
    def creaming(self) -> Creaming | None:
        """What becomes of the largest droplets; None where a size or a density is not known."""
        if self.largest is None or not self.densities.known:
            return None
        around_pa_s = water_viscosity(_ROOM_C) / 1000
        found = self.densities
        return creaming(self.largest[1], found.droplet_kg_m3, found.around_kg_m3, around_pa_s, self.yield_pa)

    @property
    def creaming_words(self) -> str:
        """The same in words with its limits, or what is missing."""
        found = self.creaming
        if found is None:
            return f"not told: {self.densities.words}" if self.largest else "not told: no droplet size"
        name, size = self.largest
        yields = f"; yield value of {self.yield_from}" if self.yield_from else f"; speed {AS_IN_WATER}"
        return f"{name} {size:.3g} um, {self.densities.words}{yields}. {found}"


@dataclass(frozen=True, slots=True, repr=False)
class BatchSpin(Worded):
    """What a spin in a centrifuge separated, and what the spin stands for.

    Parameters
    ----------
    batch, age : str
    reading : Reading
    spin : Spin, None    None where speed, time or radius was not recorded.
    words : str          What it stands for, or what is missing.
    """

    batch: str
    age: str
    reading: Reading
    spin: Spin | None
    words: str


def droplet_sizes(flow: FlowStudy) -> tuple[DropletSizes, ...]:
    """The droplet sizes of the trials of a flow study, batch by batch and age by age.

    Parameters
    ----------
    flow : FlowStudy   It gives the yield values.
    """
    return tuple(found for batch in flow.batches for found in _sizes_of(flow, batch))


def batch_spins(flow: FlowStudy, sizes: Sequence[DropletSizes] = ()) -> tuple[BatchSpin, ...]:
    """The spins of the trials of a flow study.

    Parameters
    ----------
    flow : FlowStudy     It gives the yield values.
    sizes : sequence     Droplet sizes of the same trials: with the yield value they tell what a spin overcomes.
    """
    return tuple(
        _spun(flow, batch, reading, sizes)
        for batch in flow.batches
        for reading in batch.readings
        if fold(reading.property) == SEPARATION and reading.value is not None and not reading.void
    )


def _sizes_of(flow: FlowStudy, batch: BatchView) -> Iterable[DropletSizes]:
    names = {fold(name): name for name in SIZES.values()}
    ages: dict[tuple[str, str], list[Reading]] = {}
    for reading in batch.readings:
        if fold(reading.property) in names and reading.value is not None and not reading.void:
            ages.setdefault((age_label(reading, flow.study), _jar(reading, flow)), []).append(reading)
    for (age, jar), readings in ages.items():
        sizes, counts, left = {}, [], []
        for reading in readings:
            size, flags = _micrometres(reading), flow.source.flags(reading, flow.study)
            if size is None or flags:
                why = " ".join(flag.words for flag in flags) if flags else "no length"
                left.append(f"{plain(reading.value)} {reading.unit}: {why}")
                continue
            sizes.setdefault(names[fold(reading.property)], []).append(size)
            if rows := counted(reading):
                counts.append(DropletCount([row[0] for row in rows], [row[1] for row in rows]))
        means = {name: sum(found) / len(found) for name, found in sizes.items()}
        if means or left:
            yield DropletSizes(batch, jar, means, tuple(counts), *yield_of(flow, batch, age), tuple(left))


def _jar(reading: Reading, flow: FlowStudy) -> str:
    """The age, and where the jar was kept where that is not 25 degC: a warm jar is never averaged with another."""
    age, place = age_label(reading, flow.study), storage_key(reading.storage)
    return age if place in ("", REFERENCE) else f"{age}, {storage_words(place)}"


def yield_of(flow: FlowStudy, batch: BatchView, age: str) -> tuple[float | None, str]:
    """Yield value of a batch, told from zero, by its flow curve of that age before others; and which curve. [Pa]

    Parameters
    ----------
    flow : FlowStudy
    batch : BatchView
    age : str          Label of the age.
    """
    found = [
        curve
        for curve in flow.curves
        if curve.filling.batch.name == batch.name
        and curve.main.yield_value is not None
        and curve.main.yield_value.told_from_zero
    ]
    best = next((curve for curve in found if curve.filling.age == age), next(iter(found), None))
    return (None, "") if best is None else (best.main.yield_value.value_pa, best.title)


def _micrometres(reading: Reading) -> float | None:
    try:
        size = float(read(f"{plain(reading.value)} {reading.unit}", "um", where=reading.title))
    except UnitError:
        return None
    return size if size > 0 else None


def _spun(flow: FlowStudy, batch: BatchView, reading: Reading, sizes: Sequence[DropletSizes]) -> BatchSpin:
    age, jar, radius = age_label(reading, flow.study), _jar(reading, flow), radius_of_cm(reading)
    told = {"speed": reading.rpm, "time": reading.reading_time_s, "radius": radius}
    missing = [name for name, value in told.items() if not value or value <= 0]
    if missing:
        words = f"{', '.join(missing)} NOT RECORDED: no force is told"
        return BatchSpin(batch.name, jar, reading, None, words)
    of_batch = [found for found in sizes if found.batch.name == batch.name]
    size = next((found for found in of_batch if found.age == jar), next(iter(of_batch), None))
    known = size is not None and size.largest is not None and size.densities.known
    yield_pa, _ = yield_of(flow, batch, age)
    found = spin(
        radius,
        float(reading.rpm),
        float(reading.reading_time_s) / 60,
        yield_pa=yield_pa,
        diameter_um=size.largest[1] if known else None,
        density_difference_kg_m3=size.densities.droplet_kg_m3 - size.densities.around_kg_m3 if known else None,
    )
    return BatchSpin(batch.name, jar, reading, found, found.words)
