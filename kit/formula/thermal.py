"""Heat capacity, density and melts of what a formula is made of, from its ingredients' published values.

What is not known is said and bounded, never taken as nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.composition import Composition
from kit.formula.material import Fact, Material
from kit.science.heat_balance import Melt, Stream
from kit.science.thermal_facts import density_of, heat_capacity_of, melt_of, melting_of
from kit.science.thermophysical import Mixed, Part, mixed_density, mixed_heat_capacity

Portion = tuple[Material, float]
"""A supply form and its mass. [g]"""

_FORM_DENSITY_C = (15.0, 30.0)  # a supplier prints a density near room temperature
_FATTY_ALCOHOL = "fatty alcohol"


def portions_of(composition: Composition, batch_g: float, phases: Iterable[str] | None = None) -> list[Portion]:
    """The supply forms of some phases with their masses in a batch. [g]

    Parameters
    ----------
    composition : Composition   Meant or made.
    batch_g : float             Mass of the whole batch. [g]
    phases : iterable of str    Names of phases; all where None.
    """
    wanted = None if phases is None else set(phases)
    return [
        (line.material, batch_g * float(line.pct) / 100)
        for line in composition.lines
        if line.pct > 0 and (wanted is None or line.phase in wanted)
    ]


def ingredient_masses(portions: Sequence[Portion]) -> dict[str, float]:
    """INCI parts with their mass, carriers and waters of supply forms included. [g]

    Parameters
    ----------
    portions : sequence of Portion   Supply forms and masses. [g]
    """
    masses: dict[str, float] = {}
    for material, mass_g in portions:
        for part in material.parts:
            masses[part.inci] = masses.get(part.inci, 0.0) + mass_g * float(part.pct) / 100
    return masses


def heat_capacity(composition: Composition, temp_c: float = 75.0, phases: Iterable[str] | None = None) -> Mixed:
    """Heat capacity of a composition or of some of its phases, with the share of the mass it is known for. [J/(g K)]

    Parameters
    ----------
    composition : Composition   Meant or made.
    temp_c : float              [degC]
    phases : iterable of str    Names of phases; all where None.

    Raises
    ------
    ThermalError   `thermal.mass` where nothing is in these phases.
    """
    masses = ingredient_masses(portions_of(composition, 100.0, phases))
    return mixed_heat_capacity([Part(inci, mass, heat_capacity_of(inci, temp_c)) for inci, mass in masses.items()])


def density(composition: Composition, temp_c: float = 25.0) -> Mixed:
    """Density of a composition without air, volumes added up; no value where over 5 % of the mass is unknown. [g/mL]

    Parameters
    ----------
    composition : Composition   Meant or made.
    temp_c : float              [degC]

    Raises
    ------
    ThermalError   `thermal.mass` of an empty composition.

    Notes
    -----
    A supply form's own density, where its supplier states one, goes before those of its parts, near room temperature
    only. For the air in a jar read the density of a centrifuged sample: this value is not good to 1 %.
    """
    return mixed_density([part for form in portions_of(composition, 100.0) for part in density_parts(form, temp_c)])


def density_parts(portion: Portion, temp_c: float) -> list[Part]:
    """A supply form as parts of `mixed_density`: whole where its own density is stated, else by what it is made of.

    Parameters
    ----------
    portion : Portion   The form and its mass. [g]
    temp_c : float      [degC]
    """
    material, mass_g = portion
    stated = _number(material.density)
    if stated is not None and not material.is_water and _FORM_DENSITY_C[0] <= temp_c <= _FORM_DENSITY_C[1]:
        return [Part(material.name, mass_g, stated)]
    parts = [(part.inci, mass_g * float(part.pct) / 100) for part in material.parts]
    return [Part(inci, mass, _per_1000(density_of(inci, temp_c))) for inci, mass in parts]


def _number(fact: Fact | None) -> float | None:
    """The value of a fact, of a range its middle."""
    if fact is None:
        return None
    ends = [end for end in (fact.value, fact.low, fact.high) if end is not None]
    return float(sum(ends, Decimal(0)) / len(ends)) if ends else None


def _per_1000(kg_m3: float | None) -> float | None:
    return None if kg_m3 is None else kg_m3 / 1000


def streams_of(name: str, portions: Sequence[Portion], temp_c: float) -> list[Stream]:
    """A phase as streams of a heat balance: what is known of it, and what is not, both at its temperature.

    Parameters
    ----------
    name : str                       "phase A", as told to a reader.
    portions : sequence of Portion   What it holds. [g]
    temp_c : float                   [degC]
    """
    masses = ingredient_masses(portions)
    capacities = {inci: heat_capacity_of(inci, temp_c) for inci in masses}
    known = {inci: mass for inci, mass in masses.items() if capacities[inci] is not None and mass > 0}
    unknown = {inci: mass for inci, mass in masses.items() if capacities[inci] is None and mass > 0}
    found = []
    if known:
        total = sum(known.values())
        mean = sum(mass * capacities[inci] for inci, mass in known.items()) / total
        melts: tuple[Melt, ...] = tuple(
            melt for inci, mass in known.items() if _sets(inci, portions) and (melt := melt_of(inci, mass))
        )
        found.append(Stream(name, total, temp_c, mean, melts))
    if unknown:
        found.append(Stream(f"{name}: {', '.join(unknown)}", sum(unknown.values()), temp_c, None))
    return found


def highest_melt(portions: Sequence[Portion]) -> tuple[str, float] | None:
    """The fatty alcohol with the highest published melting temperature, and that temperature. [degC]

    Parameters
    ----------
    portions : sequence of Portion   What is combined. [g]

    Returns
    -------
    tuple or None   INCI name and upper end of its melt. The network it forms with a quat may set hotter.
    """
    found = [
        (inci, fact.high)
        for inci, mass in ingredient_masses(portions).items()
        if mass > 0 and _sets(inci, portions) and (fact := melting_of(inci)) is not None
    ]
    return max(found, key=lambda pair: pair[1], default=None)


def _sets(inci: str, portions: Sequence[Portion]) -> bool:
    """Whether an ingredient is a fatty alcohol: benzoic acid melts at 122 degC and is dissolved."""
    return any(
        part.inci == inci and part.substance.category == _FATTY_ALCOHOL
        for material, _ in portions
        for part in material.parts
    )
