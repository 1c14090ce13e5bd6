"""What a vessel's description says of its heat and its surface: "600 mL glass beaker, 180 g, 85 mm wide"."""

from __future__ import annotations

import re
from dataclasses import dataclass

from kit.science.heat_balance import Stream
from kit.science.thermal_facts import heat_capacity_of
from kit.show import Fielded

_WALLS = (("steel", "stainless steel"), ("glass", "borosilicate glass"))
_MASS = re.compile(r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s*(kg|g)\b")
_WIDTH = re.compile(
    r"(?<![\w.,])(?P<first>\d+(?:[.,]\d+)?)\s*(?P<unit>mm|cm)\s*(?:wide|across|diameter|inside|\u00d8)"
    r"|(?:\u00d8|diameter|width)\s*:?\s*(?P<second>\d+(?:[.,]\d+)?)\s*(?P<unit2>mm|cm)",
    re.IGNORECASE,
)
_COVERED = re.compile(r"\b(covered|lid|foil|film)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True, repr=False)
class VesselWall(Fielded):
    """A vessel as far as its description tells.

    Parameters
    ----------
    text : str          As written.
    wall : str          "borosilicate glass", "stainless steel", or empty.
    mass_g : float      Empty; None where not told. [g]
    width_cm : float    Of the open surface; None where not told. [cm]
    covered : bool      Whether a lid, foil or film is named.
    """

    text: str
    wall: str = ""
    mass_g: float | None = None
    width_cm: float | None = None
    covered: bool = False

    def stream(self, temp_c: float) -> Stream | None:
        """The vessel in a heat balance; None where its mass or its wall is not known.

        Parameters
        ----------
        temp_c : float   Of the vessel before the pour. [degC]
        """
        if self.mass_g is None or not self.wall:
            return None
        return Stream(f"vessel ({self.wall})", self.mass_g, temp_c, heat_capacity_of(self.wall, 25.0))

    @property
    def missing(self) -> tuple[str, ...]:
        """What a heat balance would need and the description does not tell."""
        lacks = [] if self.wall else ["glass or steel"]
        return (*lacks, *([] if self.mass_g is not None else ["its empty mass"]))


def read_vessel(text: str, *, empty_g: float | None = None) -> VesselWall:
    """Wall, mass and width from a description; what it does not tell stays unknown.

    Parameters
    ----------
    text : str        "600 mL glass beaker, 180 g, 85 mm wide".
    empty_g : float   Mass of the empty vessel where it was weighed; goes before the text. [g]
    """
    wall = next((wall for word, wall in _WALLS if word in text.lower()), "")
    mass = _MASS.search(text)
    told_g = None if mass is None else _number(mass[1]) * (1000 if mass[2] == "kg" else 1)
    return VesselWall(text, wall, told_g if empty_g is None else empty_g, _width_cm(text), bool(_COVERED.search(text)))


def _width_cm(text: str) -> float | None:
    found = _WIDTH.search(text)
    if found is None:
        return None
    number, unit = (found["first"], found["unit"]) if found["first"] else (found["second"], found["unit2"])
    return _number(number) / (10 if unit.lower() == "mm" else 1)


def _number(text: str) -> float:
    return float(text.replace(",", "."))
