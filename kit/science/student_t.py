"""Student's t for a whole number of degrees of freedom, in closed form: no library has to load for an interval."""

from __future__ import annotations

import math

from kit.errors import KitError

_HALVINGS = 60  # of a right angle: to the last digit of a float


def t_within(t: float, df: int) -> float:
    """Probability that Student's t lies between -t and t. [-]

    Parameters
    ----------
    t : float   Not below zero.
    df : int    Degrees of freedom, 1 or more.

    Raises
    ------
    KitError   `statistics.df` for degrees of freedom that are no whole number of 1 or more.

    Notes
    -----
    The finite sums of Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, 26.7.3 and 26.7.4.
    """
    _checked(df)
    return _within(math.atan2(t, math.sqrt(df)), df)


def t_quantile(df: int, confidence: float) -> float:
    """The t that holds a share of Student's distribution between -t and t. [-]

    Parameters
    ----------
    df : int             Degrees of freedom, 1 or more.
    confidence : float   Such as 0.95, between 0 and 1.

    Raises
    ------
    KitError   `statistics.df`; `statistics.confidence` outside 0 to 1.
    """
    _checked(df)
    if not 0 < confidence < 1:
        raise KitError(f"a confidence of {confidence}", allowed="between 0 and 1", code="statistics.confidence")
    low, high = 0.0, math.pi / 2
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _within(middle, df) < confidence else (low, middle)
    return math.sqrt(df) * math.tan(0.5 * (low + high))


def _within(angle: float, df: int) -> float:
    """The probability at t = sqrt(df) tan(angle)."""
    sine, square = math.sin(angle), math.cos(angle) ** 2
    odd = df % 2
    term = math.cos(angle) if odd else 1.0
    total = term if df > 1 else 0.0
    for step in range(2 + odd, df - 1, 2):
        term *= square * (step - 1) / step
        total += term
    return 2 / math.pi * (angle + sine * total) if odd else sine * total


def _checked(df: int) -> None:
    if int(df) != df or df < 1:
        raise KitError(f"{df} degrees of freedom", allowed="a whole number, 1 or more", code="statistics.df")
