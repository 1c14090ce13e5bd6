"""Prices of supply forms: a lab's own, per kilogram of what is weighed, with currency and date."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kit.errors import MaterialError
from kit.formula.factcheck import known_keys
from kit.show import Fielded
from kit.units import number, plain

_KEYS = ("material", "per_kg", "currency", "date", "supplier", "note")
_CURRENCY = re.compile(r"[A-Z]{3}")


@dataclass(frozen=True, slots=True, repr=False)
class Price(Fielded):
    """What a supply form costs per kilogram as supplied.

    Parameters
    ----------
    material : str     Key of the supply form.
    per_kg : Decimal   Price. [currency/kg]
    currency : str     Three letters, as in ISO 4217: EUR, USD.
    date : str         Day the price was given, YYYY-MM-DD.
    origin : str       The file it stands in.
    """

    material: str
    per_kg: Decimal
    currency: str
    date: str
    supplier: str = ""
    note: str = ""
    origin: str = ""

    def words(self) -> str:
        """ "4.20 EUR/kg of 2026-11-01" """
        return f"{plain(self.per_kg)} {self.currency}/kg of {self.date}"


def read_price(row: Mapping, where: str = "price", *, origin: str = "") -> Price:
    """A price from its row: material, per_kg, currency, date, and supplier and note where given.

    Raises
    ------
    MaterialError   `material.price` for a missing or unreadable value.
    UnitError       For a number that cannot be read.
    """
    known_keys(row, _KEYS, where)
    for name in _KEYS[:4]:
        if not str(row.get(name, "")).strip():
            raise _error(f"{name!r} is missing", where, ", ".join(_KEYS[:4]), "a price needs its currency and its day")
    per_kg = number(row["per_kg"], where=f"{where}, per_kg")
    if per_kg < 0:
        raise _error(f"the price {per_kg} is negative", where, "0 or more", "correct it")
    currency = str(row["currency"]).strip()
    if not _CURRENCY.fullmatch(currency):
        raise _error(f"the currency is {currency!r}", where, "three capital letters", 'write for example "EUR"')
    return Price(
        material=str(row["material"]).strip(),
        per_kg=per_kg,
        currency=currency,
        date=_day(row["date"], where),
        supplier=str(row.get("supplier", "")),
        note=str(row.get("note", "")),
        origin=origin,
    )


def latest_prices(prices: Iterable[Price]) -> dict[str, Price]:
    """The youngest price of each supply form.

    Raises
    ------
    MaterialError   `material.price` when two prices of one form bear the same day and differ.
    """
    latest: dict[str, Price] = {}
    for price in prices:
        known = latest.get(price.material)
        if known is None or price.date > known.date:
            latest[price.material] = price
        elif price.date == known.date and (price.per_kg, price.currency) != (known.per_kg, known.currency):
            raise _error(
                f"{price.material} has two prices of one day: {known.words()} and {price.words()}",
                " and ".join(sorted({known.origin, price.origin} - {""})),
                "one price a day",
                "keep one of the two",
            )
    return latest


def _day(value: object, where: str) -> str:
    try:
        return date.fromisoformat(str(value).strip()).isoformat()
    except ValueError:
        raise _error(
            f"the date {str(value)!r} is not a day", where, "YYYY-MM-DD", 'write for example "2026-11-01"'
        ) from None


def _error(what: str, where: str, allowed: str, mend: str) -> MaterialError:
    return MaterialError(what, where=where, allowed=allowed, mend=mend, code="material.price")
