"""Molar masses of substances, chain mixtures such as cetearyl alcohol included."""

from __future__ import annotations

from decimal import Decimal
from functools import cache, lru_cache

from kit.formula.material import Substance
from kit.sources import read_data


def molar_mass(substance: Substance) -> Decimal | None:
    """Molar mass of a substance, or the number mean of a chain mixture given by mass. [g/mol]

    A mean over mass shares w is 100 / sum(w / M): moles add, masses per mole do not. None when it is not known.
    """
    if substance.molar_mass is not None:
        return substance.molar_mass.value
    masses = [(pct, known_molar_mass(inci)) for inci, pct in substance.mixture_of]
    if not masses or any(mass is None for _, mass in masses):
        return None
    return sum(pct for pct, _ in masses) / sum(pct / mass for pct, mass in masses)


@cache
def known_molar_mass(inci: str) -> Decimal | None:
    """Molar mass of a starter substance by its INCI name; None when it is not known. [g/mol]"""
    row = _starter_rows().get(inci)
    return None if row is None else molar_mass(Substance.read(row))


def mmol_per_100g(substance: Substance, pct: Decimal) -> Decimal | None:
    """Amount of a substance present at `pct` % w/w; None when its molar mass is not known. [mmol/100 g]"""
    mass = molar_mass(substance)
    return None if mass is None else 1000 * pct / mass


@lru_cache(maxsize=1)
def _starter_rows() -> dict[str, dict]:
    return {row["inci"]: row for row in read_data("substances.toml")["substance"]}
