"""The rules of a market for the list of ingredients, read from kit/data/label.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import FormulaError
from kit.show import Fielded
from kit.sources import read_data


@dataclass(frozen=True, repr=False)
class Market(Fielded):
    """How a market orders and words the list of ingredients.

    Contents under `free_limit` may stand in any order after the others; `free_at` says whether a content of exactly
    that may too. [% w/w] `names` gives the words that differ from the INCI; `allergens` whether they are named.
    """

    key: str
    law: str
    free_limit: Decimal
    free_at: bool
    ordered_part: str
    free_part: str
    fragrance: str
    names: Mapping[str, str]
    allergens: bool
    notes: tuple[str, ...]
    source: str
    checked_on: str

    @classmethod
    def read(cls, key: str, row: Mapping) -> Market:
        """A market from its row in the file."""
        same = (
            "law",
            "free_at",
            "ordered_part",
            "free_part",
            "fragrance",
            "names",
            "allergens",
            "source",
            "checked_on",
        )
        return cls(
            key=key,
            free_limit=Decimal(row["free_limit"]),
            notes=tuple(row["notes"]),
            **{name: row[name] for name in same},
        )

    def is_ordered(self, pct: Decimal) -> bool:
        """Whether an ingredient of this content must stand in descending order. [% w/w]"""
        return pct > self.free_limit or (pct == self.free_limit and not self.free_at)

    def part(self, pct: Decimal) -> str:
        """The part of the list that a content belongs to."""
        return self.ordered_part if self.is_ordered(pct) else self.free_part


def market_rules(market: str) -> Market:
    """The rules of a market.

    Raises
    ------
    FormulaError   `label.market` with the markets there are.
    """
    rows = read_data("label.toml")["market"]
    if market not in rows:
        raise FormulaError(
            f"there is no market {market!r}",
            where="label()",
            allowed=", ".join(rows),
            mend='write market="EU"',
            code="label.market",
        )
    return Market.read(market, rows[market])
