"""Densities of the oil droplets and of the water around them, from published values; what is not known is said."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kit.formula.composition import Composition
from kit.formula.material import Material
from kit.formula.thermal import Portion, density_parts
from kit.science.thermophysical import Mixed, Part, mixed_density
from kit.show import Worded

_OILS = ("emollient", "silicone")
_ROOM_C = 25.0
_PER_ML = 1000.0  # kg/m3 in g/mL


@dataclass(frozen=True, slots=True, repr=False)
class PhaseDensities(Worded):
    """Droplets and what is around them.

    Parameters
    ----------
    oils : tuple of Portion   The liquids of the oil phases: fatty alcohols and waxes are in the network. [g in 100 g]
    droplet : Mixed           Density of the droplets; None without oils. [g/mL]
    around : Mixed            Density of the water phases; None without one. [g/mL]
    """

    oils: tuple[Portion, ...]
    droplet: Mixed | None
    around: Mixed | None

    @property
    def known(self) -> bool:
        """Whether both densities have a value."""
        return all(mixed is not None and mixed.value is not None for mixed in (self.droplet, self.around))

    @property
    def droplet_kg_m3(self) -> float | None:
        """Of the droplets; None where not known. [kg/m3]"""
        return self.droplet.value * _PER_ML if self.known else None

    @property
    def around_kg_m3(self) -> float | None:
        """Of the water around them; None where not known. [kg/m3]"""
        return self.around.value * _PER_ML if self.known else None

    @property
    def words(self) -> str:
        """Both densities, or what is missing for them."""
        if not self.oils:
            return "no liquid oil in the oil phases: there are no droplets to tell of"
        lacking = [name for mixed in (self.droplet, self.around) if mixed is not None for name in mixed.unknown]
        if not self.known:
            return f"density of the droplets or of the water not known: {', '.join(lacking) or 'no water phase'}"
        names = ", ".join(material.name for material, _ in self.oils)
        return f"droplets of {names}, {self.droplet.value:.3f} g/mL, in water of {self.around.value:.3f} g/mL"


def phase_densities(composition: Composition, temp_c: float = _ROOM_C) -> PhaseDensities:
    """The density of the liquids in the oil phases, and of the water phases.

    Parameters
    ----------
    composition : Composition   Meant or made.
    temp_c : float              [degC]
    """
    oils = [portion for portion in _of(composition, "oil") if _is_oil(portion[0])]
    water = _of(composition, "water")
    return PhaseDensities(tuple(oils), _mixed(oils, temp_c), _mixed(water, temp_c))


def _of(composition: Composition, kind: str) -> list[Portion]:
    return [(line.material, float(line.pct)) for line in composition.lines if line.kind == kind and line.pct > 0]


def _is_oil(material: Material) -> bool:
    """Whether a supply form is mostly a liquid oil: its largest part is one, and it has no melting range."""
    largest = max(material.parts, key=lambda part: part.pct)
    return largest.substance.category in _OILS and material.melt_min is None


def _mixed(portions: Iterable[Portion], temp_c: float) -> Mixed | None:
    parts: list[Part] = [part for portion in portions for part in density_parts(portion, temp_c)]
    return mixed_density(parts) if parts else None
