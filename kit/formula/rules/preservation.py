"""Is anything there to preserve the product. Whether it does is for a challenge test, never for arithmetic."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from kit.formula.composition import Composition
from kit.formula.network import content_pct
from kit.formula.rules.findings import PRACTICE, Finding, digits, keys, names

_WATERY_PCT = Decimal(20)
_TEST = (
    "No computed number replaces a laboratory challenge test; until one is passed the product is for the bench only."
)


def preserved(composition: Composition) -> Iterable[Finding]:
    """A product with water needs a preservative of its own; what an extract brings for itself does not count."""
    water = content_pct(composition, "water")
    if water < _WATERY_PCT or _with_active(composition, "preservative"):
        return
    boosters = _with_active(composition, "preservative booster")
    if boosters:
        words = (
            f"No preservative, only boosters ({names(material.name for material in boosters)}), with "
            f"{digits(water)} % water. Add a preservative that works at the pH of the product. {_TEST}"
        )
        yield Finding("caution", "preservation.booster_only", words, keys(boosters), source=PRACTICE)
    else:
        words = (
            f"No preservative, with {digits(water)} % water: microbes grow in it. Add a system that works at the pH "
            f"of the product. {_TEST}"
        )
        yield Finding("stop", "preservation.none", words, value=Decimal(0), source=PRACTICE)


def _with_active(composition: Composition, category: str) -> list:
    return [
        material
        for material in composition.materials()
        if composition.pct(material.key) > 0
        and any(part.role == "active" and part.substance.category == category for part in material.parts)
    ]
