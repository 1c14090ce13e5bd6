"""What a label has to say beside the list: what is unknown, what was decided, what a qualified person must check."""

from __future__ import annotations

from collections.abc import Iterable

from kit.formula.composition import Composition, show_pct
from kit.formula.label_allergens import (
    ADDED,
    allergen_contents,
    find_allergen,
    threshold,
    transition,
    undeclared,
    unlisted,
)
from kit.formula.label_entries import label_entries
from kit.formula.label_market import Market
from kit.formula.rules.conditions import conditions_met
from kit.units import plain

_BOTANICAL = ("Extract", "Oil", "Butter", "Juice", "Water", "Powder", "Wax")


def label_notes(composition: Composition, market: Market) -> tuple[str, ...]:
    """Each note as a sentence, what is unknown first."""
    return tuple(
        [
            *_total(composition),
            *(_allergen_notes(composition) if market.allergens else ()),
            *_kept(composition),
            *_botanical(composition, market),
            *_warnings(composition, market),
            *market.notes,
            f"Ordered by {market.law}, read {market.checked_on}, by the meant formula. Only what the kit codes was "
            "applied: "
            "a draft for a qualified person to check, not a release.",
        ]
    )


def _total(composition: Composition) -> Iterable[str]:
    if composition.total != 100:
        yield (
            f"The formula adds up to {show_pct(composition.total)} %, not to 100 %: the order may change when it does."
        )


def _allergen_notes(composition: Composition) -> Iterable[str]:
    for material in undeclared(composition, "fragrance"):
        yield (
            f"Composition of {material.name} not known: ask for the allergen declaration. Allergens in it are "
            "missing from "
            "this list."
        )
    extracts = undeclared(composition, "extract")
    if extracts:
        yield (
            f"Allergens not stated for {', '.join(material.name for material in extracts)}: ask the suppliers; they "
            "count "
            "towards the sums."
        )
    for name in unlisted(composition):
        yield (
            f"{name} is stated as an allergen and is not on the coded list: check the spelling, or whether it is "
            "prohibited."
        )
    if not composition.product.startswith("rinse-off") and composition.product != "leave-on hair":
        yield (
            f"For {composition.product!r} the stricter threshold of {plain(threshold(composition.product))} % was used."
        )
    yield from _named(composition)


def _named(composition: Composition) -> Iterable[str]:
    named = [item for item in allergen_contents(composition) if item.named]
    added = [item.name for item in named if item.since == ADDED]
    if added:
        dates = transition()
        yield (
            f"Named since (EU) {ADDED}: {', '.join(added)}. Products without these names could be placed on the "
            "market until "
            f"{dates['placing_until']} and may be made available until {dates['available_until']}."
        )
    shares = composition.shares()
    double = [item.name for item in named if item.name not in shares and _is_own(item.name, shares)]
    if double:
        yield (
            f"{', '.join(double)}: the name under which the law groups an ingredient that may also be listed by its "
            "own name; "
            "ask a qualified person whether both are wanted."
        )


def _is_own(name: str, shares: dict) -> bool:
    return any(
        (listed := find_allergen(inci)) is not None and listed.name == name and share.substance.category != "fragrance"
        for inci, share in shares.items()
    )


def _kept(composition: Composition) -> Iterable[str]:
    """Preservatives that supply forms bring along, and water of hydrates."""
    brought = dict.fromkeys(
        part.inci for line in composition.lines for part in line.material.parts if part.role == "preservative"
    )
    if brought:
        yield (
            f"Listed although a supply form brings it: {', '.join(brought)}. Only impurities and technical aids "
            "that are not "
            "in the finished product stay off the list (US: incidental ingredients without a function in the product)."
        )
    hydrates = [
        material.name
        for material in composition.materials()
        if "hydrate" in material.name.lower() and any(part.role == "water" for part in material.parts)
    ]
    if hydrates:
        yield f"The water of {', '.join(hydrates)} counts as water, the rest by the name of the ingredient without it."


def _botanical(composition: Composition, market: Market) -> Iterable[str]:
    if market.key != "US":
        return
    found = [
        entry.name
        for entry in label_entries(composition, market)
        if entry.name.split()[-1] in _BOTANICAL and len(entry.name.split()) > 2
    ]
    if found:
        yield f"Botanical names, printed as in the INCI, may need their English common name: {', '.join(found)}."
    colours = [entry.name for entry in label_entries(composition, market) if entry.part == "colourant"]
    if colours:
        yield f"Colour additives need the name of their US listing in place of {', '.join(colours)}."


def _warnings(composition: Composition, market: Market) -> Iterable[str]:
    for condition in conditions_met(composition):
        if condition.on_label and condition.authority == market.key:
            yield f"{condition.title}: {condition.words} ({condition.entry})."
