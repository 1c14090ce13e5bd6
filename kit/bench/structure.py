"""How droplet sizes, colours, spins and oils stand in readings: the names of their properties, and their notes."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal

from kit.bench.readings import Reading
from kit.units import plain, read

SIZES = {"d10": "D10", "d50": "D50", "d90": "D90", "d32": "D[3,2]", "d43": "D[4,3]"}
"""Short name of a size by volume to the property it is read as. [um]"""

COLOUR = ("L*", "a*", "b*")
"""Properties of a colour in CIELAB."""

SEPARATION = "separation in the centrifuge"
"""What a spin in a centrifuge separated. [%]"""

OIL_VISCOSITY = "viscosity of "
"""Before the supply form an oil's viscosity was read of."""

OIL_PHASE = "oil phase"
"""The blend itself."""

_COUNTED = re.compile(r"counted: ([^;]*)")
_CLASS = re.compile(r"(\d+(?:\.\d+)?) um: (\d+(?:\.\d+)?)")
_LIGHT = re.compile(r"light: ([^;]*)")
_RADIUS = re.compile(r"radius:? (\d+(?:\.\d+)?) ?(mm|cm|m)\b")


def counted_note(rows: Iterable[tuple[Decimal, Decimal]], note: str = "") -> str:
    """The note that keeps counts with their reading.

    Parameters
    ----------
    rows : iterable   Diameter [um] and droplets counted.
    note : str        Anything else.
    """
    told = ", ".join(f"{plain(size)} um: {plain(count)}" for size, count in rows)
    return _with(f"counted: {told}", note)


def counted(reading: Reading) -> tuple[tuple[float, float], ...]:
    """Diameters [um] and droplets counted that a reading keeps; empty where it keeps none.

    Parameters
    ----------
    reading : Reading   Of a droplet size.
    """
    found = _COUNTED.search(reading.note)
    return tuple((float(size), float(count)) for size, count in _CLASS.findall(found[1])) if found else ()


def light_note(light: str, note: str = "") -> str:
    """The note that keeps illuminant and observer with a colour.

    Parameters
    ----------
    light : str   "D65, 10 degrees"; empty where not told.
    note : str    Anything else.
    """
    return _with(f"light: {light.replace(';', ',')}" if light else "", note)


def light_of(reading: Reading) -> str:
    """Illuminant and observer of a colour; empty where they were not told.

    Parameters
    ----------
    reading : Reading   Of L*, a* or b*.
    """
    found = _LIGHT.search(reading.note)
    return found[1].strip() if found else ""


def radius_note(radius_cm: Decimal | None, note: str = "") -> str:
    """The note that keeps the radius of a spin.

    Parameters
    ----------
    radius_cm : Decimal   From the axis to the bottom of the sample; None where not told. [cm]
    note : str            Anything else.
    """
    return _with("" if radius_cm is None else f"radius: {plain(radius_cm)} cm", note)


def radius_of_cm(reading: Reading) -> float | None:
    """The radius of a spin; None where it was not told. [cm]

    Parameters
    ----------
    reading : Reading   Of a separation.
    """
    found = _RADIUS.search(reading.note)
    return None if found is None else float(read(f"{found[1]} {found[2]}", "cm", where=reading.title))


def _with(told: str, note: str) -> str:
    return "; ".join(part for part in (told, note.strip()) if part)
