"""Air in the jar a viscosity was read in, from the densities read beside it: flagged, never corrected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from kit.bench.comparability import same_age
from kit.bench.flag import Flag
from kit.bench.methods import AgeWindow
from kit.bench.readings import Reading
from kit.science.density_air import AirContent, air_content
from kit.show import Worded
from kit.units import plain, read, same_unit

VISCOSITY, DENSITY, AIR_FREE = "viscosity", "density", "air-free density"
_UNIT = "g/mL"


@dataclass(frozen=True, slots=True, repr=False)
class JarAir(Worded):
    """The air in a jar: its density and the density of the same batch without air, and what the two give."""

    density: Reading
    air_free: Reading
    content: AirContent

    @property
    def words(self) -> str:
        """What was set against what, and what follows."""
        return (
            f"Density {_shown(self.density)} (entry {self.density.entry}), without air {_shown(self.air_free)} "
            f"(entry {self.air_free.entry}). {self.content.words}"
        )


def tells_of_air(reading: Reading) -> bool:
    """Whether a reading is a density, as found or without air."""
    return _is(reading, DENSITY) or _is(reading, AIR_FREE)


def air_spoils(reading: Reading) -> bool:
    """Whether air in the jar makes a reading suspect: a viscosity."""
    return _is(reading, VISCOSITY)


def air_in(reading: Reading, beside: Sequence[Reading], windows: Sequence[AgeWindow] | None = None) -> JarAir | None:
    """The air in the jar of a reading; None where no density of that age or no air-free density was read.

    Parameters
    ----------
    reading : Reading      A viscosity, or a density itself.
    beside : sequence      Readings of the same batch that carry no flag; those that are voided are passed over.
    windows : sequence     Age windows; the kit's when omitted.

    Returns
    -------
    JarAir   From the density of the same age whose `sample` is that of the reading, else one where either names none;
             of several the nearest in time. The air-free density is the one entered last, at any age.

    Notes
    -----
    The air-free density is read on a centrifuged or deaerated sample of the batch. Another batch's is not used, not
    even one of the same formula.
    """
    standing = [item for item in beside if item.value is not None and item.value > 0 and not item.void]
    jar = reading if _is(reading, DENSITY) else _density_of(reading, standing, windows)
    without = max((item for item in standing if _is(item, AIR_FREE)), key=lambda item: item.entry, default=None)
    if jar is None or without is None or jar.value is None or jar.value <= 0:
        return None
    return JarAir(jar, without, air_content(float(_g_ml(jar)), float(_g_ml(without))))


def air_flags(
    reading: Reading, beside: Sequence[Reading], windows: Sequence[AgeWindow] | None = None
) -> tuple[Flag, ...]:
    """The flag of a viscosity whose jar held more air than can be put down to the two densities.

    Parameters
    ----------
    reading : Reading      Any reading; only a viscosity is judged.
    beside : sequence      As in `air_in`.
    windows : sequence     Age windows; the kit's when omitted.

    Returns
    -------
    tuple of Flag   Code: reading.air.
    """
    if not air_spoils(reading):
        return ()
    found = air_in(reading, beside, windows)
    return (Flag("reading.air", found.words),) if found and found.content.distinguishable else ()


def _density_of(reading: Reading, standing: Sequence[Reading], windows: Sequence[AgeWindow] | None) -> Reading | None:
    fitting = [
        item
        for item in standing
        if _is(item, DENSITY) and _same_age(reading, item, windows) and _same_jar(reading, item)
    ]
    return min(
        fitting,
        key=lambda item: (_fold(item.sample) != _fold(reading.sample), _apart_s(reading, item), item.entry),
        default=None,
    )


def _same_jar(one: Reading, other: Reading) -> bool:
    """Whether two readings may be of one jar: they name the same sample, or one of them names none."""
    return not one.sample or not other.sample or _fold(one.sample) == _fold(other.sample)


def _same_age(one: Reading, other: Reading, windows: Sequence[AgeWindow] | None) -> bool:
    first, second = _age_h(one), _age_h(other)
    return first is not None and second is not None and same_age(first, second, windows)


def _age_h(reading: Reading) -> Decimal | None:
    return reading.age_h if reading.age_h is not None else reading.age_typed_h


def _apart_s(one: Reading, other: Reading) -> float:
    """How far apart in time two readings were made; infinite where a clock time is missing. [s]"""
    if one.measured_at is None or other.measured_at is None:
        return float("inf")
    return abs((datetime.fromisoformat(one.measured_at) - datetime.fromisoformat(other.measured_at)).total_seconds())


def _is(reading: Reading, property: str) -> bool:
    return _fold(reading.property) == property


def _fold(text: str) -> str:
    return " ".join(text.lower().split())


def _g_ml(reading: Reading) -> Decimal:
    if not reading.unit or same_unit(reading.unit, _UNIT):
        return reading.value
    return read(f"{plain(reading.value)} {reading.unit}", _UNIT, where=reading.title)


def _shown(reading: Reading) -> str:
    return f"{plain(_g_ml(reading))} {_UNIT}"
