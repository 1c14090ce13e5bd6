"""The ordered entries of a list of ingredients: INCI parts summed over all lines, as a market wants them ordered."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import Composition, Share
from kit.formula.label_allergens import allergen_contents
from kit.formula.label_market import Market
from kit.show import Fielded

COLOURANT, ALLERGEN = "colourant", "allergen"

_COLOUR_INDEX = re.compile(r"CI \d{5}(:\d)?")
_FRAGRANCE_NAMES = ("Parfum", "Fragrance", "Aroma")


@dataclass(frozen=True, slots=True, repr=False)
class LabelEntry(Fielded):
    """One name of the list.

    Parameters
    ----------
    name : str           As printed.
    pct : Decimal        Content, all lines and supply forms summed. [% w/w]
    part : str           The market's words for the part in order and the part in any order, "colourant" or "allergen".
    inci : tuple         INCI names it stands for; several raw materials of a fragrance are one entry.
    brought_by : tuple   Keys of the supply forms.
    """

    name: str
    pct: Decimal
    part: str
    inci: tuple[str, ...]
    brought_by: tuple[str, ...]


def label_entries(composition: Composition, market: Market) -> tuple[LabelEntry, ...]:
    """The entries in the order in which they are printed.

    First what must be in descending order, then the rest, also descending, then allergens that must be named, then
    colourants. Equal contents are put in the order of their names. Carriers, waters and preservatives of supply forms
    count as ingredients, because they stay in the product; the water of a hydrate counts as water.
    """
    own = _ingredients(composition, market)
    colourants = [entry for entry in own if entry.part == COLOURANT]
    named = list(_named_allergens(composition, market, own)) if market.allergens else []
    rest = [entry for entry in own if entry.part != COLOURANT]
    ordered = [entry for entry in [*rest, *named] if entry.part == market.ordered_part]
    free = [entry for entry in rest if entry.part == market.free_part]
    last = [entry for entry in named if entry.part == ALLERGEN]
    return tuple(entry for group in (ordered, free, last, colourants) for entry in sorted(group, key=_descending))


def _ingredients(composition: Composition, market: Market) -> list[LabelEntry]:
    groups: dict[str, list[Share]] = {}
    for share in composition.shares().values():
        if share.pct > 0:
            groups.setdefault(_printed(share, market), []).append(share)
    return [_entry(name, shares, market) for name, shares in groups.items()]


def _printed(share: Share, market: Market) -> str:
    inci = share.substance.inci
    if share.substance.category == "fragrance" or inci in _FRAGRANCE_NAMES:
        return market.fragrance
    return market.names.get(inci, inci)


def _entry(name: str, shares: list[Share], market: Market) -> LabelEntry:
    pct = sum((share.pct for share in shares), Decimal(0))
    part = COLOURANT if _COLOUR_INDEX.fullmatch(name) else market.part(pct)
    brought = dict.fromkeys(key for share in shares for key in share.brought_by)
    return LabelEntry(name, pct, part, tuple(share.substance.inci for share in shares), tuple(brought))


def _named_allergens(composition: Composition, market: Market, own: list[LabelEntry]) -> Iterable[LabelEntry]:
    """Allergens to be named that are not ingredients under that very name already."""
    listed = {entry.name for entry in own}
    for item in allergen_contents(composition):
        if item.named and item.name not in listed:
            part = market.ordered_part if market.is_ordered(item.pct) else ALLERGEN
            yield LabelEntry(item.name, item.pct, part, (item.name,), item.brought_by)


def _descending(entry: LabelEntry) -> tuple:
    return -entry.pct, entry.name
