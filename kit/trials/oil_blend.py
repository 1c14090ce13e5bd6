"""The oils of a formula read one by one: what three rules make of their blend, beside a reading of the blend."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from kit.bench.flag import Flag
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
from kit.trials.results import LN
from kit.trials.values import mean_and_sd
from kit.units import plain, read

_ALIKE_C = 0.5  # temperatures of the readings of one blend lie no further apart
_ROOM_C = 25.0

Flags = Callable[[Reading], Iterable[Flag]]


@dataclass(frozen=True, slots=True, repr=False)
class OilBlend(Worded):
    """The oil phase of one batch.

    Parameters
    ----------
    batch : str
    oils : tuple                     Supply form, share of the oils and kinematic viscosity of each. [g/g, mm2/s]
    blend : BlendViscosity, None     None where `words` says why.
    read_mm2_s : float, None         Of the blend itself, where it was read. [mm2/s]
    words : str                      What the rules make of it, how the reading of the blend lies to them, and which
                                     readings do not count.
    """

    batch: str
    oils: tuple[tuple[str, float, float], ...]
    blend: BlendViscosity | None
    read_mm2_s: float | None
    words: str


def oil_blend(batch: BatchView, flags: Flags = lambda reading: ()) -> OilBlend | None:
    """The blend of the oils of a batch from readings of each; None where no oil was read.

    Parameters
    ----------
    batch : BatchView   With readings as `batch.read_oil_viscosity` leaves them; readings of one oil at one temperature
                        are averaged, and where the oils were read at several, that nearest to 25 degC is taken.
    flags : callable    What is suspect in a reading: one that carries a flag does not count.
    """
    readings = [
        reading
        for reading in batch.readings
        if fold(reading.property).startswith(OIL_VISCOSITY) and reading.value is not None and not reading.void
    ]
    if not readings:
        return None
    suspect = {reading.entry: " ".join(flag.words for flag in flags(reading)) for reading in readings}
    found = _told(batch, [reading for reading in readings if not suspect[reading.entry]])
    left = [f"{reading.title}: {suspect[reading.entry]}" for reading in readings if suspect[reading.entry]]
    return replace(found, words=f"{found.words} FLAGGED, not counted: {'; '.join(left)}") if left else found


def _told(batch: BatchView, readings: Sequence[Reading]) -> OilBlend:
    oils = phase_densities(batch.formula.composition()).oils
    names = {_oil(reading) for reading in readings}
    missing = [material.key for material, _ in oils if fold(material.key) not in names]
    if missing or not oils:
        named = ", ".join(missing)
        why = f"read {named} too, one by one" if oils else "the formula has no liquid oil in an oil phase"
        return _none(batch, why)
    by_name = _at_one_temperature(readings, [fold(material.key) for material, _ in oils])
    if by_name is None:
        return _none(batch, "the oils were not all read at one temperature")
    try:
        return _blended(batch.name, oils, by_name)
    except KitError as problem:
        return _none(batch, problem.what)


def _none(batch: BatchView, why: str) -> OilBlend:
    return OilBlend(batch.name, (), None, None, f"no blend is told: {why}.")


def _oil(reading: Reading) -> str:
    return fold(reading.property)[len(OIL_VISCOSITY) :]


def _at_one_temperature(readings: Sequence[Reading], oils: Sequence[str]) -> dict[str, list[Reading]] | None:
    """The readings of the oils, and of the blend, at the temperature nearest to 25 degC at which all oils were read."""
    timed = sorted((reading for reading in readings if reading.temp_c is not None), key=lambda one: one.temp_c)
    sets = [[one for one in timed if 0 <= one.temp_c - first.temp_c <= _ALIKE_C] for first in timed]
    whole = [found for found in sets if set(oils) <= {_oil(one) for one in found}]
    if not whole:
        return None
    best = min(whole, key=lambda found: abs(float(found[0].temp_c) - _ROOM_C))
    return {name: [one for one in best if _oil(one) == name] for name in {_oil(one) for one in best}}


def _blended(name: str, oils: tuple[Portion, ...], by_name: dict[str, list[Reading]]) -> OilBlend:
    total = sum(mass for _, mass in oils)
    rows = tuple(
        (material.name, mass / total, _mean(by_name[fold(material.key)], ((material, mass),)))
        for material, mass in oils
    )
    found = blend_viscosity([share for _, share, _ in rows], [value for *_, value in rows])
    whole = by_name.get(OIL_PHASE)
    itself = None if whole is None else _mean(whole, oils)
    told = str(found)
    if itself is not None:
        inside = found.low_mm2_s <= itself <= found.high_mm2_s
        told += f" The blend itself: {short(itself)} mm2/s, {'between' if inside else 'outside'} the rules."
    return OilBlend(name, rows, found, itself, told)


def _mean(readings: Sequence[Reading], oils: tuple[Portion, ...]) -> float:
    """Geometric mean of the readings of one oil: the scatter of a viscosity is a share of it. [mm2/s]"""
    for one in readings:
        if one.value <= 0:
            raise KitError(
                f"a viscosity of {plain(one.value)} {one.unit}",
                where=one.title,
                allowed="above zero",
                mend="void the reading or correct it",
                code="blend.viscosity",
            )
    mean, _ = mean_and_sd([_kinematic(one, oils) for one in readings], LN)
    return mean


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
