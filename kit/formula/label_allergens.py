"""Fragrance allergens that the law wants named: their names, their sums over all sources, the thresholds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from kit.formula.composition import Composition
from kit.formula.material import Material
from kit.formula.rules.conditions import weighed
from kit.show import Fielded
from kit.sources import read_data

ADDED = "2023/1545"


@dataclass(frozen=True, slots=True)
class ListedAllergen:
    """A name of the law's list; `covers` are further names of the same entry, which are summed under it."""

    name: str
    entry: str
    since: str
    covers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class AllergenContent(Fielded):
    """One listed allergen in a composition: its content over all sources and who brings it. [% w/w]"""

    name: str
    entry: str
    since: str
    pct: Decimal
    brought_by: tuple[str, ...]
    threshold: Decimal

    @property
    def named(self) -> bool:
        """Whether it must be named: only above the threshold, not at it."""
        return self.pct > self.threshold


@lru_cache(maxsize=1)
def listed_allergens() -> tuple[ListedAllergen, ...]:
    """The list of the law."""
    return tuple(
        ListedAllergen(row["name"], row["entry"], row["since"], tuple(row.get("covers", ())))
        for row in read_data("allergens.toml")["allergen"]
    )


def find_allergen(name: str) -> ListedAllergen | None:
    """The entry of the list that an INCI name belongs to; None when it is not on the list."""
    return _by_name().get(_fold(name))


def threshold(product: str) -> Decimal:
    """The content above which an allergen is named; the stricter one for all that is not rinsed off. [% w/w]"""
    rule = read_data("allergens.toml")["rule"]
    return Decimal(rule["rinse_off" if product.startswith("rinse-off") else "leave_on"])


def allergen_contents(composition: Composition) -> tuple[AllergenContent, ...]:
    """Every listed allergen with its content over all sources, largest first.

    Counted are what fragrances, oils and extracts state to contain, and ingredients that are on the list themselves.
    """
    sums: dict[str, tuple[ListedAllergen, Decimal, dict[str, None]]] = {}
    for name, pct, key in _sources(composition):
        listed = find_allergen(name)
        if listed is not None and pct > 0:
            _, before, keys = sums.get(listed.name, (listed, Decimal(0), {}))
            sums[listed.name] = (listed, before + pct, {**keys, key: None})
    limit = threshold(composition.product)
    found = [
        AllergenContent(listed.name, listed.entry, listed.since, pct, tuple(keys), limit)
        for listed, pct, keys in sums.values()
    ]
    return tuple(sorted(found, key=lambda item: (-item.pct, item.name)))


def unlisted(composition: Composition) -> tuple[str, ...]:
    """Names that materials state as allergens and that are not on the list: misspelled, or prohibited."""
    stated = (allergen.inci for material, _ in weighed(composition).values() for allergen in material.allergens)
    return tuple(dict.fromkeys(name for name in stated if find_allergen(name) is None))


def undeclared(composition: Composition, category: str) -> tuple[Material, ...]:
    """Materials with an active part of that category that state no allergens: nothing is known, which is not none."""
    return tuple(
        material
        for material, pct in weighed(composition).values()
        if pct > 0
        and not material.allergens
        and any(part.role == "active" and part.substance.category == category for part in material.parts)
    )


def transition() -> Mapping[str, str]:
    """The last days for products without the names added in 2023: `placing_until` and `available_until`."""
    return read_data("allergens.toml")["rule"]


def _sources(composition: Composition) -> list[tuple[str, Decimal, str]]:
    """Name, % w/w of the product and material, of everything that may be an allergen."""
    stated = [
        (allergen.inci, pct * allergen.pct / 100, material.key)
        for material, pct in weighed(composition).values()
        for allergen in material.allergens
    ]
    own = [
        (part.inci, pct * part.pct / 100, material.key)
        for material, pct in weighed(composition).values()
        for part in material.parts
    ]
    return stated + own


@lru_cache(maxsize=1)
def _by_name() -> dict[str, ListedAllergen]:
    return {_fold(name): listed for listed in listed_allergens() for name in (listed.name, *listed.covers)}


def _fold(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").split())
