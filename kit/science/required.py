"""What an equation asks of its input: finite numbers, above zero or not below it, refused in plain words."""

from __future__ import annotations

import math

from kit.errors import KitError


def require_positive(where: str, **values: float | None) -> None:
    """Refuse what is not a finite number above zero.

    Parameters
    ----------
    where : str     The equation, for the message.
    values : float  By name; None is left out.

    Raises
    ------
    KitError   `science.not_positive`.
    """
    for name, value in values.items():
        if value is not None and not (math.isfinite(value) and value > 0):
            raise KitError(
                f"{_words(name)} is {value}",
                where=where,
                allowed="a finite number above zero",
                mend="give the measured value, or leave the calculation out where it is not known",
                code="science.not_positive",
            )


def require_not_negative(where: str, **values: float | None) -> None:
    """Refuse what is not a finite number of zero or more.

    Parameters
    ----------
    where : str     The equation, for the message.
    values : float  By name; None is left out.

    Raises
    ------
    KitError   `science.negative`.
    """
    for name, value in values.items():
        if value is not None and not (math.isfinite(value) and value >= 0):
            raise KitError(
                f"{_words(name)} is {value}",
                where=where,
                allowed="a finite number, zero or more",
                mend="give the measured value, or leave the calculation out where it is not known",
                code="science.negative",
            )


def require_finite(where: str, **values: float | None) -> None:
    """Refuse what is not a finite number.

    Parameters
    ----------
    where : str     The equation, for the message.
    values : float  By name; None is left out.

    Raises
    ------
    KitError   `science.not_finite`.
    """
    for name, value in values.items():
        if value is not None and not math.isfinite(value):
            raise KitError(
                f"{_words(name)} is {value}",
                where=where,
                allowed="a finite number",
                mend="give the measured value, or leave the calculation out where it is not known",
                code="science.not_finite",
            )


def _words(name: str) -> str:
    return name.replace("_", " ")
