"""What is too small to matter: a margin given with the comparison, or the one that the study has on its record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from kit.bench.margins import Margin, closest, refused
from kit.bench.margins import read_margins as read_typed
from kit.labbook.margin_entry import StatedMargin
from kit.trials.results import LN


@dataclass(frozen=True)
class Margins:
    """Margins by property and age; one given with the comparison goes before that of the study.

    Parameters
    ----------
    given : tuple of Margin          With the comparison.
    stated : tuple of StatedMargin   On the record of the study.
    first_made : str                 When the first of the compared batches was made, ISO 8601; empty where none was.
    """

    given: tuple[Margin, ...] = ()
    stated: tuple[StatedMargin, ...] = ()
    first_made: str = ""

    def of(self, property: str, scale: str, age_h: Decimal | None = None) -> float | None:
        """The margin of a property: a ratio above 1 on the ln scale, else a difference in its unit; None without one.

        A margin for all properties serves those it can be said of: percent where ratios are compared, a plain number
        where differences are.

        Parameters
        ----------
        property : str    Its name.
        scale : str       "ln" or "linear".
        age_h : Decimal   Of the readings. [h]

        Raises
        ------
        KitError   `compare.margin` for a margin given for this very property in percent that is compared by
                   differences, or the other way about.
        """
        given, stated = self._chosen(property, scale, age_h)
        chosen = given or (stated and stated.margin)
        return chosen.on_scale() if chosen else None

    def words(self, property: str, scale: str, age_h: Decimal | None = None) -> str:
        """Where the margin of a property comes from, and whether it was stated beforehand; empty without one.

        Parameters
        ----------
        property : str    Its name.
        scale : str       "ln" or "linear".
        age_h : Decimal   Of the readings. [h]
        """
        given, stated = self._chosen(property, scale, age_h)
        if given:
            told = f"margin {given.text}, given with this comparison: when it was stated is not on the record"
            return f"{told}; it stands in place of the study's, {self._told(stated)}" if stated else told
        return f"margin of the study, {self._told(stated)}" if stated else ""

    def _told(self, stated: StatedMargin) -> str:
        day = f"{stated.margin.text}, stated {stated.day}"
        if not self.first_made:
            return day
        beforehand = datetime.fromisoformat(stated.stated_at) <= datetime.fromisoformat(self.first_made)
        when = "before" if beforehand else "not beforehand but after"
        return f"{day}, {when} the first of these batches was made ({self.first_made[:10]})"

    def _chosen(self, property: str, scale: str, age_h: Decimal | None) -> tuple[Margin | None, StatedMargin | None]:
        """The one given and the one on the record, each None where there is none that can be said of the property."""
        given = closest(self.given, property, age_h)
        if given is not None and not given.fits(scale):
            if given.property:
                told = "by ratios, so its margin is a percentage"
                if scale != LN:
                    told = "by differences, so its margin is in its unit"
                raise refused(f"{given.text} of {property}", f"{property} is compared {told}")
            given = None
        usable = {stated.margin: stated for stated in self.stated if stated.margin.fits(scale)}
        found = closest(usable, property, age_h)
        return given, usable[found] if found else None


NO_MARGINS = Margins()


def read_margins(
    margin: str | Mapping[str, str] | Sequence[str] | None,
    stated: Iterable[StatedMargin] = (),
    *,
    first_made: str = "",
) -> Margins:
    """Margins as typed with a comparison, beside those of its study.

    Parameters
    ----------
    margin : str, dict or list   "20 %" for all that is compared by ratios, {"viscosity": "20 %", "pH at 24 h": "0.1"},
                                 or ["viscosity: 20 %", "pH: 0.1"]. None: none was given.
    stated : StatedMargin        On the record of the study.
    first_made : str             When the first of the compared batches was made, ISO 8601.

    Raises
    ------
    KitError   `compare.margin` for text that is no number above zero, or an age that is no time.
    """
    return Margins(read_typed(margin), tuple(stated), first_made)
