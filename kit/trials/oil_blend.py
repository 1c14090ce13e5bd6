"""The oils of a formula read one by one: what three rules make of their blend, beside a reading of the blend."""

from __future__ import annotations

from dataclasses import dataclass

from kit.bench.readings import Reading
from kit.bench.structure import OIL_PHASE, OIL_VISCOSITY
from kit.errors import KitError, UnitError
from kit.formula.phase_densities import phase_densities
from kit.formula.thermal import Portion, density_parts
from kit.labbook.view import BatchView
from kit.science.blend_viscosity import BlendViscosity, blend_viscosity
from kit.science.number_text import short
from kit.science.thermophysical import mixed_density
from kit.show import Worded
from kit.trials.judging import fold
from kit.units import plain, read

_ALIKE_C = 0.5  # temperatures of the readings of one blend lie no further apart


@dataclass(frozen=True, slots=True, repr=False)
class OilBlend(Worded):
    """The oil phase of one batch.

    Parameters
    ----------
    batch : str
    oils : tuple                     Supply form, share of the oils and kinematic viscosity of each. [g/g, mm2/s]
    blend : BlendViscosity, None     None where `words` says why.
    read_mm2_s : float, None         Of the blend itself, where it was read. [mm2/s]
    words : str                      What the rules make of it, and how the reading of the blend lies to them.
    """

    batch: str
    oils: tuple[tuple[str, float, float], ...]
    blend: BlendViscosity | None
    read_mm2_s: float | None
    words: str


def oil_blend(batch: BatchView) -> OilBlend | None:
    """The blend of the oils of a batch from readings of each; None where no oil was read.

    Parameters
    ----------
    batch : BatchView   With readings as `batch.read_oil_viscosity` leaves them.
    """
    readings = [
        reading
        for reading in batch.readings
        if fold(reading.property).startswith(OIL_VISCOSITY) and reading.value is not None and not reading.void
    ]
    if not readings:
        return None
    by_name = {fold(reading.property)[len(OIL_VISCOSITY) :]: reading for reading in readings}
    oils = phase_densities(batch.formula.composition()).oils
    missing = [material.key for material, _ in oils if fold(material.key) not in by_name]
    if missing or not oils:
        named = ", ".join(missing)
        why = f"read {named} too, one by one" if oils else "the formula has no liquid oil in an oil phase"
        return OilBlend(batch.name, (), None, None, f"no blend is told: {why}")
    temps = [reading.temp_c for reading in by_name.values() if reading.temp_c is not None]
    if len(temps) < len(by_name) or max(temps) - min(temps) > _ALIKE_C:
        return OilBlend(batch.name, (), None, None, "no blend is told: the oils were not all read at one temperature")
    try:
        return _blended(batch.name, oils, by_name)
    except KitError as problem:
        return OilBlend(batch.name, (), None, None, f"no blend is told: {problem.what}")


def _blended(name: str, oils: tuple[Portion, ...], by_name: dict[str, Reading]) -> OilBlend:
    total = sum(mass for _, mass in oils)
    rows = tuple(
        (material.name, mass / total, _kinematic(by_name[fold(material.key)], ((material, mass),)))
        for material, mass in oils
    )
    found = blend_viscosity([share for _, share, _ in rows], [value for *_, value in rows])
    whole = by_name.get(OIL_PHASE)
    itself = None if whole is None else _kinematic(whole, oils)
    told = str(found)
    if itself is not None:
        inside = found.low_mm2_s <= itself <= found.high_mm2_s
        told += f" The blend itself: {short(itself)} mm2/s, {'between' if inside else 'outside'} the rules."
    return OilBlend(name, rows, found, itself, told)


def _kinematic(reading: Reading, oils: tuple[Portion, ...]) -> float:
    """A viscosity over the density of what it was read of. [mm2/s]"""
    value = f"{plain(reading.value)} {reading.unit}"
    try:
        dynamic = float(read(value, "mPa*s", where=reading.title))
    except UnitError:
        return float(read(value, "mm^2/s", where=reading.title))
    temp_c = 25.0 if reading.temp_c is None else float(reading.temp_c)
    density = mixed_density([part for portion in oils for part in density_parts(portion, temp_c)]).value
    if density is None:
        raise KitError(
            f"the density of {', '.join(material.name for material, _ in oils)} is not known, so {value} is no mm2/s",
            where=reading.title,
            mend="read it in mm2/s",
            code="blend.density",
        )
    return dynamic / density
