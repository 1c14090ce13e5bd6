"""Difference of two colours in CIELAB: CIE 1976 and CIEDE2000."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from kit.errors import KitError
from kit.science.required import require_finite
from kit.show import Worded

_25_7 = 25.0**7
_WORTH_A_WORD = 0.5  # a part of the difference below this is not named


class Lab(NamedTuple):
    """A colour in CIELAB, of a stated illuminant and observer."""

    lightness: float
    a: float
    b: float


@dataclass(frozen=True, slots=True, repr=False)
class ColourDifference(Worded):
    """How a colour differs from another.

    Parameters
    ----------
    cie76 : float                 Distance in CIELAB. [-]
    ciede2000 : float             Weighted as it is seen. [-]
    lightness, a, b : float       Parts, second less first: below zero darker, greener, bluer. [-]
    """

    cie76: float
    ciede2000: float
    lightness: float
    a: float
    b: float

    @property
    def words(self) -> str:
        """The direction in words, the largest part first."""
        parts = [
            (self.lightness, "lighter", "darker"),
            (self.a, "redder", "greener"),
            (self.b, "yellower", "bluer"),
        ]
        named = sorted((part for part in parts if abs(part[0]) >= _WORTH_A_WORD), key=lambda part: -abs(part[0]))
        return ", ".join(up if size > 0 else down for size, up, down in named) or "no direction"

    def __str__(self) -> str:
        return f"CIEDE2000 {self.ciede2000:.2f}, CIE 1976 {self.cie76:.2f}: {self.words}"


def colour_difference(first: tuple[float, float, float], second: tuple[float, float, float]) -> ColourDifference:
    """Difference of two colours measured under the same illuminant and observer.

    Parameters
    ----------
    first, second : Lab   L*, a*, b*; the first is the standard.

    Raises
    ------
    KitError   `science.not_finite`, `colour.lightness` for a lightness outside 0 to 100.
    """
    one, other = _lab(first), _lab(second)
    return ColourDifference(
        cie76(one, other),
        ciede2000(one, other),
        other.lightness - one.lightness,
        other.a - one.a,
        other.b - one.b,
    )


def cie76(first: tuple[float, float, float], second: tuple[float, float, float]) -> float:
    """Distance of two colours in CIELAB. [-]

    Parameters
    ----------
    first, second : Lab   L*, a*, b*.

    Raises
    ------
    KitError   `science.not_finite`, `colour.lightness`.
    """
    return math.dist(_lab(first), _lab(second))


def ciede2000(first: tuple[float, float, float], second: tuple[float, float, float]) -> float:
    """Colour difference CIEDE2000 with all weights 1. [-]

    Parameters
    ----------
    first, second : Lab   L*, a*, b*.

    Raises
    ------
    KitError   `science.not_finite`, `colour.lightness`.

    Notes
    -----
    G. Sharma, W. Wu, E. N. Dalal, Color Res. Appl. 30 (2005) 21, equations 2 to 22. Made for small differences, up to
    about 5; it jumps where two hues lie opposite each other.
    """
    one, other = _lab(first), _lab(second)
    chroma_mean = (math.hypot(one.a, one.b) + math.hypot(other.a, other.b)) / 2
    stretch = 1.5 - 0.5 * math.sqrt(chroma_mean**7 / (chroma_mean**7 + _25_7))
    chroma_1, hue_1 = _chroma_and_hue(one, stretch)
    chroma_2, hue_2 = _chroma_and_hue(other, stretch)
    turn = _turn(hue_1, hue_2) if chroma_1 * chroma_2 else 0.0
    lightness = (one.lightness + other.lightness) / 2
    chroma = (chroma_1 + chroma_2) / 2
    hue = _mean_hue(hue_1, hue_2) if chroma_1 * chroma_2 else hue_1 + hue_2

    lightness_part = (other.lightness - one.lightness) / _lightness_weight(lightness)
    chroma_part = (chroma_2 - chroma_1) / (1 + 0.045 * chroma)
    hue_part = 2 * math.sqrt(chroma_1 * chroma_2) * _sin(turn / 2) / (1 + 0.015 * chroma * _hue_weight(hue))
    squares = lightness_part**2 + chroma_part**2 + hue_part**2
    return math.sqrt(max(squares + _rotation(chroma, hue) * chroma_part * hue_part, 0.0))


def _chroma_and_hue(colour: Lab, stretch: float) -> tuple[float, float]:
    stretched = stretch * colour.a
    if not (stretched or colour.b):
        return 0.0, 0.0
    return math.hypot(stretched, colour.b), math.degrees(math.atan2(colour.b, stretched)) % 360


def _turn(hue_1: float, hue_2: float) -> float:
    """From the first hue to the second, the short way. [degree]"""
    turn = hue_2 - hue_1
    if turn > 180:
        return turn - 360
    return turn + 360 if turn < -180 else turn


def _mean_hue(hue_1: float, hue_2: float) -> float:
    """Half way between two hues, the short way. [degree]"""
    total = hue_1 + hue_2
    if abs(hue_1 - hue_2) <= 180:
        return total / 2
    return (total + 360) / 2 if total < 360 else (total - 360) / 2


def _lightness_weight(lightness: float) -> float:
    square = (lightness - 50) ** 2
    return 1 + 0.015 * square / math.sqrt(20 + square)


def _hue_weight(hue: float) -> float:
    return 1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)


def _rotation(chroma: float, hue: float) -> float:
    """The term that turns the ellipses of blue."""
    angle = 60 * math.exp(-(((hue - 275) / 25) ** 2))
    return -2 * math.sqrt(chroma**7 / (chroma**7 + _25_7)) * _sin(angle)


def _sin(degrees: float) -> float:
    return math.sin(math.radians(degrees))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


def _lab(colour: tuple[float, float, float]) -> Lab:
    lab = Lab(*colour)
    require_finite("colour in CIELAB", lightness=lab.lightness, a=lab.a, b=lab.b)
    if not 0 <= lab.lightness <= 100:
        raise KitError(
            f"a lightness of {lab.lightness:g} is not possible",
            where="colour in CIELAB",
            allowed="L* of 0 to 100, then a* and b*",
            mend="check the order of the three numbers",
            code="colour.lightness",
        )
    return lab
