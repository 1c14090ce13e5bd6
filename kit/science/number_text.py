"""Numbers in a sentence: a few significant figures, written out without an exponent; degrees of freedom; counts."""

from __future__ import annotations

from decimal import Decimal

from kit.units import plain


def short(value: float, figures: int = 3) -> str:
    """A finite number with at most so many significant figures, trailing zeros left out.

    Parameters
    ----------
    value : float    Any finite number.
    figures : int    Significant figures.

    Examples
    --------
    >>> short(1234.5, 2), short(0.000374, 2), short(20.0)
    ('1200', '0.00037', '20')
    """
    return plain(Decimal(format(value, f".{figures}g")).normalize() + 0)


def degrees(df: float) -> str:
    """Degrees of freedom in words, one of them in the singular.

    Parameters
    ----------
    df : float   Whole or, where it was estimated, not.

    Examples
    --------
    >>> degrees(1), degrees(1.26), degrees(12)
    ('1 degree of freedom', '1.26 degrees of freedom', '12 degrees of freedom')
    """
    told = f"{df:.3g}"
    return f"{told} degree{'' if told == '1' else 's'} of freedom"


def plural(count: int, one: str, many: str = "") -> str:
    """A count with what is counted, one of them in the singular.

    Parameters
    ----------
    count : int
    one, many : str   What one is called, and several; with an s where `many` is omitted.

    Examples
    --------
    >>> plural(1, "batch", "batches"), plural(2, "batch", "batches"), plural(0, "reading")
    ('1 batch', '2 batches', '0 readings')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
