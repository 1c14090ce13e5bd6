"""What is too small to matter, as typed: "20 %" of a ratio, or a difference in a unit; of a property, or at one age."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from kit.bench.property_scale import fold
from kit.errors import KitError, UnitError
from kit.science.arm_batches import LN
from kit.show import Worded
from kit.units import plain, read

_AT = " at "  # "viscosity at 72 h"


@dataclass(frozen=True, slots=True, repr=False)
class Margin(Worded):
    """One margin.

    Parameters
    ----------
    property : str         As typed; empty for all properties it can be said of.
    age : str              Age it holds at, "72 h"; empty for every age.
    age_h : Decimal, None  The same. [h]
    unit : str             "%" of a ratio, empty for a difference in the unit of the property.
    number : Decimal       Above zero.
    """

    property: str
    age: str
    age_h: Decimal | None
    unit: str
    number: Decimal

    @property
    def name(self) -> str:
        """What it is of: "viscosity", "viscosity at 72 h"."""
        return f"{self.property}{_AT}{self.age}" if self.age else self.property

    @property
    def text(self) -> str:
        """The margin alone: "20 %", "0.1"."""
        number = plain(self.number.normalize() + 0)  # 0.10 says no more than 0.1
        return f"{number} %" if self.unit else number

    @property
    def words(self) -> str:
        """The whole: "viscosity at 72 h: 20 %"."""
        return f"{self.name}: {self.text}" if self.name else self.text

    def fits(self, scale: str) -> bool:
        """Whether it can be said of what is compared on a scale: percent of ratios, a plain number of differences.

        Parameters
        ----------
        scale : str   "ln" or "linear".
        """
        return (self.unit == "%") == (scale == LN)

    def on_scale(self) -> float:
        """A ratio above 1, or a difference. [unit of the property]"""
        return float(1 + self.number / 100) if self.unit else float(self.number)


def read_margins(
    margin: str | Mapping[str, str] | Sequence[str] | None,
    *,
    where: str = "compare(), margin",
    code: str = "compare.margin",
) -> tuple[Margin, ...]:
    """Margins as typed: "20 %" for all that is compared by ratios, or {"viscosity": "20 %", "pH at 24 h": "0.1"}.

    Parameters
    ----------
    margin : str, dict or list   A list holds the same as text: ["viscosity: 20 %", "pH: 0.1"]. Nothing where none was
                                 stated.
    where, code : str            For errors.

    Raises
    ------
    KitError   `compare.margin`, or the code given, for text that is no number above zero, an age that is no time, and
               two margins of one thing.
    """
    if not margin:
        return ()
    if isinstance(margin, Mapping):
        named = [(str(name), str(text)) for name, text in margin.items()]
    else:
        typed = [margin] if isinstance(margin, str) else [str(text) for text in margin]
        named = [(name, text) for name, _, text in (one.rpartition(":") for one in typed)]
    found = tuple(_margin(name, text, where, code) for name, text in named)
    for place, one in enumerate(found):
        if any((fold(one.property), one.age_h) == (fold(other.property), other.age_h) for other in found[:place]):
            both = " and ".join(text for _, text in named)
            raise refused(both, 'one for all, or one a property: "viscosity: 20 %", "pH: 0.1"', where=where, code=code)
    return found


def closest(margins: Iterable[Margin], property: str, age_h: Decimal | None) -> Margin | None:
    """The margin that is said most closely of a property at an age: at that age, of the property, of all; None without.

    Parameters
    ----------
    margins : iterable of Margin
    property : str                 Its name.
    age_h : Decimal                None where only what holds at every age is asked for. [h]
    """
    held = [one for one in margins if fold(one.property) in ("", fold(property)) and one.age_h in (None, age_h)]
    return max(held, key=lambda one: (bool(one.property), one.age_h is not None), default=None)


def refused(what: str, allowed: str, *, where: str = "compare(), margin", code: str = "compare.margin") -> KitError:
    """The error of a margin that cannot be used.

    Parameters
    ----------
    what : str          The margin, with what is wrong about it.
    allowed : str       What would be one.
    where, code : str   For the error.
    """
    return KitError(
        f"a margin of {what} cannot be used",
        where=where,
        allowed=allowed,
        mend="state what would be too small to matter, or leave the margin out",
        code=code,
    )


def _margin(name: str, text: str, where: str, code: str) -> Margin:
    property, at, age = " ".join(name.split()).partition(_AT)
    bare = text.strip().removesuffix("%").strip()
    try:
        number = Decimal(bare)
    except InvalidOperation:
        number = Decimal(0)
    if not number.is_finite() or number <= 0:
        allowed = 'a number above zero: "20 %" for ratios, "0.1" for differences'
        raise refused(repr(text), allowed, where=where, code=code)
    unit = "%" if text.strip().endswith("%") else ""
    if not at:
        return Margin(property, "", None, unit, number)
    try:
        return Margin(property, age, read(age, "h", where=where), unit, number)
    except UnitError:
        raise refused(f"{property} at {age!r}", 'an age such as "viscosity at 72 h"', where=where, code=code) from None
