"""Published heat capacities, melts and densities of ingredients and vessel walls, each with what it rests on."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from kit.science.heat_balance import Melt
from kit.science.thermophysical import Part, water_density, water_heat_capacity
from kit.sources import read_data

_WATER = "Aqua"


@dataclass(frozen=True, slots=True)
class ThermalFact:
    """A published value.

    Parameters
    ----------
    low, high : float    Equal for a single value.
    unit : str           As printed.
    kind : str           measured, handbook, supplier-typical, estimated or memory.
    source : str         Key of the source.
    conditions : str     What it holds for.
    """

    low: float
    high: float
    unit: str
    kind: str
    source: str
    conditions: str = ""

    @property
    def value(self) -> float:
        """The value, or the middle of its range."""
        return (self.low + self.high) / 2


@lru_cache(maxsize=1)
def _rows() -> dict[str, dict[str, ThermalFact]]:
    """Facts by ingredient or wall, then by name."""
    table = read_data("thermal.toml")
    found: dict[str, dict[str, ThermalFact]] = {}
    for row in (*table["thermal"], *table["wall"]):
        facts = {name: _fact(value) for name, value in row.items() if isinstance(value, dict)}
        for member in row.get("members", [row["key"]]):
            found[member] = facts
    return found


def _fact(row: dict) -> ThermalFact:
    low, high = row.get("value", row.get("low")), row.get("value", row.get("high"))
    return ThermalFact(float(low), float(high), row["unit"], row["kind"], row["source"], row.get("conditions", ""))


def thermal_facts(name: str) -> dict[str, ThermalFact]:
    """All published values of an ingredient (by INCI name) or a wall; empty where there are none.

    Parameters
    ----------
    name : str   "Cetyl Alcohol", "borosilicate glass".
    """
    return dict(_rows().get(name, {}))


def heat_capacity_of(name: str, temp_c: float = 75.0) -> float | None:
    """Heat capacity of an ingredient or a wall. [J/(g K)]

    Parameters
    ----------
    name : str       INCI name or wall.
    temp_c : float   [degC]

    Returns
    -------
    float or None   Straight between the printed temperatures, held beyond them; None where nothing is published.
    """
    return water_heat_capacity(temp_c) if name == _WATER else _between(name, "heat_capacity", temp_c)


def density_of(name: str, temp_c: float = 25.0) -> float | None:
    """Density of an ingredient. [kg/m3]

    Parameters
    ----------
    name : str       INCI name.
    temp_c : float   [degC]

    Returns
    -------
    float or None   As `heat_capacity_of`.
    """
    return water_density(temp_c) if name == _WATER else _between(name, "density", temp_c)


def _between(name: str, what: str, temp_c: float) -> float | None:
    points = sorted(
        (float(match[1]), fact.value)
        for key, fact in _rows().get(name, {}).items()
        if (match := re.fullmatch(rf"{what}_(\d+)", key))
    )
    if not points:
        return None
    if temp_c <= points[0][0]:
        return points[0][1]
    for (cool, low), (warm, high) in itertools.pairwise(points):
        if temp_c <= warm:
            return low + (high - low) * (temp_c - cool) / (warm - cool)
    return points[-1][1]


def heat_capacity_parts(masses_g: Iterable[tuple[str, float]], temp_c: float = 75.0) -> list[Part]:
    """Parts for `mixed_heat_capacity`, those without a published value left unknown.

    Parameters
    ----------
    masses_g : iterable of pairs   INCI name and mass. [g]
    temp_c : float                 [degC]
    """
    return [Part(name, mass, heat_capacity_of(name, temp_c)) for name, mass in masses_g]


def density_parts(masses_g: Iterable[tuple[str, float]], temp_c: float = 25.0) -> list[Part]:
    """Parts for `mixed_density`, those without a published value left unknown.

    Parameters
    ----------
    masses_g : iterable of pairs   INCI name and mass. [g]
    temp_c : float                 [degC]
    """
    return [Part(name, mass, density_of(name, temp_c)) for name, mass in masses_g]


def melt_of(name: str, mass_g: float) -> Melt | None:
    """The melt of an ingredient; None where its melting temperature or its heat is not published.

    Parameters
    ----------
    name : str      INCI name.
    mass_g : float  [g]

    Notes
    -----
    The heat given off on setting to the stable form where it is printed, else the heat of fusion, which for a fatty
    alcohol is that of its last transition alone. A single melting temperature is taken as the upper end of two degrees.
    """
    facts = _rows().get(name, {})
    heat = facts.get("heat_of_setting") or facts.get("heat_of_fusion")
    melting = facts.get("melting")
    if heat is None or melting is None:
        return None
    low = melting.low if melting.low < melting.high else melting.low - 2.0
    return Melt(name, mass_g, heat.value, low, melting.high)


def melting_of(name: str) -> ThermalFact | None:
    """Melting temperature or range of an ingredient. [degC]

    Parameters
    ----------
    name : str   INCI name.
    """
    return _rows().get(name, {}).get("melting")
