"""How fast the rim of a mixing head runs: what a speed in rpm means on another head."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from kit.labbook.view import BatchView
from kit.units import plain, read

_HEADS = ("high-shear head", "head", "rotor-stator")
_DIAMETER = re.compile(r"(?<![\w.,])(\d+(?:\.\d+)?)\s*mm\b")


def tip_speed_m_s(rpm: float, diameter_mm: float) -> float:
    """Speed of the rim of a rotor. [m/s]

    Parameters
    ----------
    rpm : float           Speed. [1/min]
    diameter_mm : float   Diameter of the rotor. [mm]

    Examples
    --------
    >>> round(tip_speed_m_s(4000, 25), 1)
    5.2
    """
    return math.pi * diameter_mm / 1000 * rpm / 60


def speed_words(rpm: Decimal, diameter_mm: Decimal | None) -> str:
    """ "6500 rpm", with the tip speed where the diameter is known: "6500 rpm (8.5 m/s at the tip)"."""
    if diameter_mm is None:
        return f"{plain(rpm)} rpm"
    return f"{plain(rpm)} rpm ({tip_speed_m_s(float(rpm), float(diameter_mm)):.1f} m/s at the tip)"


def read_diameter(text: str) -> Decimal | None:
    """A diameter typed as "25 mm"; None for empty text. [mm]

    Raises
    ------
    UnitError   For text that is no length.
    """
    return read(text, "mm", where="head_diameter") if text else None


def recorded_diameter(batch: BatchView) -> Decimal | None:
    """The diameter that the equipment of a batch states for its high-shear head, the first in mm; None without. [mm]"""
    for item in batch.standing("equipment"):
        for name in _HEADS:
            found = _DIAMETER.search(item.body["items"].get(name, ""))
            if found:
                return Decimal(found[1])
    return None
