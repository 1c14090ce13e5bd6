"""The list of ingredients of a formula as a label would print it, with what is unknown about it said.

A draft for a qualified person: ordered by the meant formula, as the market's law words it.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import FormulaError
from kit.formula.composition import Composition, show_pct
from kit.formula.label_allergens import AllergenContent, allergen_contents
from kit.formula.label_changes import as_made_changes
from kit.formula.label_entries import LabelEntry, label_entries
from kit.formula.label_market import Market, market_rules
from kit.formula.label_notes import label_notes
from kit.formula.model import FormulaModel
from kit.formula.rules.findings import digits
from kit.show import Block, Cell, Table, listing
from kit.units import plain

__all__ = ["Label", "LabelEntry", "label"]


@dataclass(frozen=True)
class Label:
    """The list of ingredients of one formula for one market.

    Parameters
    ----------
    title : str             What it is the label of.
    market : Market         Whose rules it follows.
    entries : tuple         Of LabelEntry, in the order printed.
    allergens : tuple       Of AllergenContent: every listed allergen known to be there, named or not.
    notes : tuple of str    What is unknown, decided or still to be checked.
    as_made : tuple of str  What the composition as made would change; empty when none was given.
    """

    title: str
    market: Market
    entries: tuple[LabelEntry, ...]
    allergens: tuple[AllergenContent, ...] = ()
    notes: tuple[str, ...] = ()
    as_made: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The names in the order printed."""
        return tuple(entry.name for entry in self.entries)

    def text(self) -> str:
        """The list as printed: "Ingredients: Aqua, Cetearyl Alcohol, ..."."""
        return f"Ingredients: {', '.join(self.names)}"

    def table(self) -> Table:
        """Place, name, content, the part of the list it belongs to, and who brings it."""
        rows = [
            (str(place), entry.name, self._shown(entry), entry.part, ", ".join(entry.brought_by))
            for place, entry in enumerate(self.entries, start=1)
        ]
        return Table(
            ("place", "name on the label", "% w/w", "part of the list", "brought by"),
            rows,
            title=f"List of ingredients of {self.title}, {self.market.key}",
            numeric=frozenset({0, 2}),
        )

    def allergen_table(self) -> Table:
        """Each listed allergen known to be there, with its content over all sources and whether it is named."""
        rows = [
            (
                item.name,
                plain(item.pct.normalize()),
                plain(item.threshold),
                self._allergen_words(item),
                ", ".join(item.brought_by),
            )
            for item in self.allergens
        ]
        return Table(
            ("allergen", "% w/w", "named above %", "label", "brought by"),
            rows,
            title="Fragrance allergens known, all sources summed",
            numeric=frozenset({1, 2}),
        )

    def _allergen_words(self, item: AllergenContent) -> Cell:
        """Whether it is named; at or below its threshold it may stand on the list all the same, as an ingredient."""
        if item.named:
            return Cell("named", "strong")
        return Cell("listed as an ingredient" if item.name in self.names else "not named", "quiet")

    def _shown(self, entry: LabelEntry) -> str:
        """The content, with as many digits as it takes for 0.9996 not to read like the 1 % it is below."""
        text, limit = show_pct(entry.pct), self.market.free_limit
        return digits(entry.pct, limit, 3) if entry.pct != limit == Decimal(text) else text

    def _blocks(self) -> tuple[object, ...]:
        return (
            self.text(),
            self.table(),
            *((self.allergen_table(),) if self.allergens and self.market.allergens else ()),
            *((listing("What the composition as made would change", self.as_made),) if self.as_made else ()),
            listing("Notes", self.notes),
        )

    def _repr_html_(self) -> str:
        return Block(self._blocks())._repr_html_()

    def __str__(self) -> str:
        return "\n\n".join(_wrapped(block) if isinstance(block, str) else _lines(block) for block in self._blocks())

    __repr__ = __str__


def label(formula: FormulaModel, *, market: str = "EU", as_made: Composition | None = None) -> Label:
    """The list of ingredients of a formula, by the meant formula.

    Parameters
    ----------
    formula : FormulaModel             The formula as meant.
    market : str                       "EU" or "US".
    as_made : Composition, optional    What was made: the label then says what it would change.

    Raises
    ------
    FormulaError   `label.market` for a market that is not coded, `label.as_made` for anything but a composition,
                   `formula.qs_two` when the composition is not determined.
    """
    rules = market_rules(market)
    if as_made is not None and not isinstance(as_made, Composition):
        raise FormulaError(
            f"as_made is a {type(as_made).__name__}",
            where=formula.title,
            allowed="the composition of a batch",
            mend="give the batch's as-made composition",
            code="label.as_made",
        )
    meant = formula.composition()
    return Label(
        title=formula.title,
        market=rules,
        entries=label_entries(meant, rules),
        allergens=allergen_contents(meant),
        notes=label_notes(meant, rules),
        as_made=() if as_made is None else as_made_changes(meant, as_made, rules),
    )


def _wrapped(text: str) -> str:
    return textwrap.fill(text, 110, break_long_words=False, break_on_hyphens=False)


def _lines(block: object) -> str:
    if isinstance(block, Block):
        return "\n".join(_wrapped(str(part)) for part in block.parts)
    return str(block)
