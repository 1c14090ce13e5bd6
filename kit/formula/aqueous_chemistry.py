"""What a substance does to the pH: read from its constants, its formula and its charge, never from its name.

A formula unit is neutral. So the protons it still carries need no table: an acid with every proton has the charge
stated, the strong counter-ions of the unit have theirs, and the rest is lost protons. Trisodium citrate and citric acid
are one acid with three sodium ions more or less.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from kit.formula.molar import molar_mass
from kit.formula.substance import COUNTER_ION, Fact, Substance
from kit.sources import read_data

# Classes that by what they are neither give nor take protons in water. Their small acid or base impurities are what the
# offset of the base stands for.
NEUTRAL_CLASSES = frozenset(
    {"water", "fatty alcohol", "emollient", "wax ester", "nonionic emulsifier", "fragrance", "antioxidant"}
)
# A permanent charge and its halide, methosulfate or sodium cancel; bound to the network they leave the water alone.
CANCELLING_CLASSES = frozenset({"cationic surfactant", "cationic polymer", "anionic surfactant"})
# What cannot be left out: without it the charge balance says nothing.
DECISIVE_CLASSES = frozenset({"acid", "base", "amine surfactant"})

_FULLY_PROTONATED_IS_NEUTRAL = frozenset({"acid", "preservative", "chelator", "salt"})
_ALKALI = frozenset({"Li", "Na", "K"})
_ELEMENT = re.compile(r"([A-Z][a-z]?)(\d*)")
_IONIC_STRENGTH = re.compile(r"\bI = (\d+(?:\.\d+)?)")
_TEMPERATURE = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?) degC")


@dataclass(frozen=True, slots=True)
class Chemistry:
    """The acid-base chemistry of one formula unit.

    Parameters
    ----------
    pka : tuple of float          Stepwise, lowest first; empty for a strong base or a neutral salt.
    protonated_charge : int       Charge of the form with every proton.
    strong_charge : int           Net charge of the strong counter-ions, cations positive.
    spectator_z2 : int            Sum of z squared of counter-ions beyond what `strong_charge` counts.
    ionic_strength : float        At which the constants hold. [mol/kg]
    temp_c : float                At which the constants hold. [degC]
    hydrogen : str                "activity" for mixed constants, "concentration" for those all in concentrations.
    kind : str                    The weakest kind among the constants: memory before estimated before the others.
    conditions_known : bool       Whether the ionic strength of the constants is printed; 0 is taken where it is not.
    """

    pka: tuple[float, ...]
    protonated_charge: int
    strong_charge: int
    spectator_z2: int
    ionic_strength: float
    temp_c: float
    hydrogen: str
    kind: str
    conditions_known: bool


@dataclass(frozen=True, slots=True)
class Part:
    """What becomes of a substance in the charge balance.

    `role` is modelled, neutral, cancels, unmodelled or decisive (unmodelled, and nothing can be said without it).
    """

    role: str
    why: str
    chemistry: Chemistry | None = None


@lru_cache(maxsize=1024)
def chemistry_of(substance: Substance) -> Part:
    """What a substance does in the charge balance, and why.

    Parameters
    ----------
    substance : Substance   With its own constants, formula and charge.
    """
    substance = _completed(substance)
    if substance.acid_base == "none":
        return Part("neutral", "neither gives nor takes a proton between pH 2 and 12")
    if substance.pka:
        return _acid(substance)
    counter = counter_charges(substance)
    if counter and (substance.counter_ions or _is_hydroxide(substance.formula)):
        return _strong(substance, counter)
    if substance.category in CANCELLING_CLASSES:
        return Part("cancels", "its permanent charge and its counter-ion cancel: both are left out")
    if substance.category in NEUTRAL_CLASSES:
        return Part("neutral", "neither an acid nor a base by its class")
    return _unmodelled(substance, "the library holds no acid constants of it")


def _completed(substance: Substance) -> Substance:
    """A substance recorded by a kit that knew no acid-base chemistry yet, with what the kit knows of it today."""
    told = substance.acid_base or substance.counter_ions or substance.protonated_charge is not None
    known = None if told or substance.origin != "kit" else _starter_substances().get(substance.inci)
    if known is None:
        return substance
    return replace(
        substance,
        pka=substance.pka or known.pka,
        acid_base=known.acid_base,
        protonated_charge=known.protonated_charge,
        crystal_water=known.crystal_water,
    )


@lru_cache(maxsize=1)
def _starter_substances() -> dict[str, Substance]:
    return {row["inci"]: Substance.read(row) for row in read_data("substances.toml")["substance"]}


def counter_charges(substance: Substance) -> tuple[int, ...]:
    """Charge of each strong counter-ion of a formula unit, as stated, else of the alkali metal in its formula."""
    charges: list[int] = []
    for text in substance.counter_ions:
        found = COUNTER_ION.fullmatch(text)
        sign = 1 if found["sign"] == "+" else -1
        charges += [sign * int(found["charge"] or 1)] * int(found["count"] or 1)
    if substance.counter_ions:
        return tuple(charges)
    return (1,) * sum(count for element, count in elements(substance.formula).items() if element in _ALKALI)


def elements(formula: str) -> dict[str, int]:
    """Atoms in a molecular formula without brackets.

    Examples
    --------
    >>> elements("C7H5NaO2")
    {'C': 7, 'H': 5, 'Na': 1, 'O': 2}
    """
    found: dict[str, int] = {}
    for element, count in _ELEMENT.findall(formula):
        found[element] = found.get(element, 0) + int(count or 1)
    return found


def protons_carried(chemistry: Chemistry) -> int:
    """Protons that a neutral formula unit still carries of those its constants speak of.

    Fully protonated it would have the charge stated; each counter-ion of the unit stands for a proton lost.
    """
    return len(chemistry.pka) - chemistry.protonated_charge - chemistry.strong_charge


def _acid(substance: Substance) -> Part:
    if any(fact.value is None for fact in substance.pka):
        return _unmodelled(substance, "a constant of it is stated as a range only")
    if molar_mass(substance) is None:
        return _unmodelled(substance, "its molar mass is not known")
    charge = _protonated_charge(substance)
    if charge is None:
        return _unmodelled(substance, "the charge of its fully protonated form is not stated (protonated_charge)")
    counter = counter_charges(substance)
    chemistry = _chemistry(substance.pka, charge, counter)
    if not 0 <= protons_carried(chemistry) <= len(substance.pka):
        return _unmodelled(substance, "its formula, counter-ions and constants do not fit together")
    return Part("modelled", "acid or base with known constants", chemistry)


def _protonated_charge(substance: Substance) -> int | None:
    if substance.protonated_charge is not None:
        return substance.protonated_charge
    if substance.category == "amine surfactant":
        return substance.charge or None
    return 0 if substance.category in _FULLY_PROTONATED_IS_NEUTRAL else None


def _strong(substance: Substance, counter: tuple[int, ...]) -> Part:
    if molar_mass(substance) is None:
        return _unmodelled(substance, "its molar mass is not known")
    words = "strong base" if sum(counter) > 0 else "strong acid" if sum(counter) < 0 else "neutral salt"
    return Part("modelled", words, _chemistry((), 0, counter))


def _chemistry(pka: tuple[Fact, ...], charge: int, counter: tuple[int, ...]) -> Chemistry:
    said = " ".join(fact.conditions for fact in pka)
    strength = _IONIC_STRENGTH.search(said)
    temperatures = _TEMPERATURE.findall(said)
    return Chemistry(
        pka=tuple(float(fact.value) for fact in pka),
        protonated_charge=charge,
        strong_charge=sum(counter),
        spectator_z2=sum(number * number for number in counter) - abs(sum(counter)),
        ionic_strength=float(strength[1]) if strength else 0.0,
        temp_c=25.0 if not temperatures or "25" in temperatures else float(temperatures[0]),
        hydrogen="activity" if not strength or "mixed" in said or not float(strength[1]) else "concentration",
        kind=weakest_kind(pka),
        conditions_known=not pka or (strength is not None and "not printed" not in said and "taken as" not in said),
    )


def weakest_kind(facts: tuple[Fact, ...]) -> str:
    """The kind that deserves least trust among these facts; empty without any."""
    order = ("memory", "estimated", "supplier-typical", "handbook", "measured")
    kinds = {fact.kind for fact in facts}
    return next((kind for kind in order if kind in kinds), "")


def _is_hydroxide(formula: str) -> bool:
    found = elements(formula)
    return len(found) == 3 and found.get("H") == 1 and found.get("O") == 1 and bool(_ALKALI & set(found))


def _unmodelled(substance: Substance, why: str) -> Part:
    return Part("decisive" if substance.category in DECISIVE_CLASSES else "unmodelled", why)


def crystal_water_pct(substance: Substance, pct: Decimal, water_g_per_mol: Decimal) -> Decimal:
    """Water of crystallisation that a hydrate brings, in the unit of `pct`; 0 where none is stated. [% w/w]"""
    mass = molar_mass(substance)
    if not substance.crystal_water or mass is None:
        return Decimal(0)
    return pct * substance.crystal_water * water_g_per_mol / mass
