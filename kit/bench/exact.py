"""Exact fractions turned into decimals for reading, in one place and one way of rounding."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from kit.units import plain


def decimal(value: Fraction, places: int) -> Decimal:
    """A fraction rounded to `places` decimals, half to even."""
    return Decimal(round(value * 10**places)).scaleb(-places)


def grams(value: Fraction, places: int = 2) -> str:
    """A mass or another exact number as text, two decimals unless told."""
    return plain(decimal(value, places))


def rounded_to(value: Decimal, unit: Decimal) -> Decimal:
    """A decimal rounded to a multiple of `unit`, half to even."""
    return ((value / unit).quantize(Decimal(1), ROUND_HALF_EVEN) * unit).quantize(unit)


def upper_first(text: str) -> str:
    """A sentence with its first letter large and the others as they are ("phase C" stays "Phase C")."""
    return text[:1].upper() + text[1:]
