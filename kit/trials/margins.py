"""What is too small to matter, stated before the comparison: "20 %" of a ratio, or a difference in a unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

from kit.errors import KitError
from kit.trials.judging import fold
from kit.trials.results import LN


@dataclass(frozen=True)
class Margins:
    """Margins by property.

    Parameters
    ----------
    by_property : dict   Folded name to ("%" or "", number).
    everywhere : tuple   The same for all properties that have none of their own; None without one.
    """

    by_property: Mapping[str, tuple[str, Decimal]] = field(default_factory=dict)
    everywhere: tuple[str, Decimal] | None = None

    def of(self, property: str, scale: str) -> float | None:
        """The margin of a property: a ratio above 1 on the ln scale, else a difference in its unit; None without one.

        A margin for all properties serves those it can be said of: percent where ratios are compared, a plain number
        where differences are.

        Parameters
        ----------
        property : str   Its name.
        scale : str      "ln" or "linear".

        Raises
        ------
        KitError   `compare.margin` for a margin of this very property in percent that is compared by differences, or
                   the other way about.
        """
        own = self.by_property.get(fold(property))
        found = own or self.everywhere
        if found is None:
            return None
        unit, number = found
        if (unit == "%") == (scale == LN):
            return float(1 + number / 100) if scale == LN else float(number)
        if own is None:
            return None
        told = "ratios, so its margin is a percentage" if scale == LN else "differences, so its margin is in its unit"
        raise _refused(f"{number}{' %' if unit else ''} of {property}", f"{property} is compared by {told}")


NO_MARGINS = Margins()


def read_margins(margin: str | Mapping[str, str] | Sequence[str] | None) -> Margins:
    """Margins as typed: "20 %" for all that is compared by ratios, or {"viscosity": "20 %", "pH": "0.1"}.

    Parameters
    ----------
    margin : str, dict or list   A list holds the same as text: ["viscosity: 20 %", "pH: 0.1"]. None: none was stated,
                                 and nothing is called the same.

    Raises
    ------
    KitError   `compare.margin` for text that is no number above zero.
    """
    if not margin:
        return NO_MARGINS
    if isinstance(margin, Mapping):
        return Margins({fold(name): _read(str(text)) for name, text in margin.items()})
    typed = [margin] if isinstance(margin, str) else [str(text) for text in margin]
    named = [text.rpartition(":") for text in typed]
    everywhere = [_read(text) for name, _, text in named if not name]
    if len(everywhere) > 1:
        raise _refused(" and ".join(typed), 'one for all, or one a property: "viscosity: 20 %", "pH: 0.1"')
    return Margins({fold(name): _read(text) for name, _, text in named if name}, next(iter(everywhere), None))


def _read(text: str) -> tuple[str, Decimal]:
    bare = text.strip().removesuffix("%").strip()
    try:
        number = Decimal(bare)
    except InvalidOperation:
        number = Decimal(0)
    if not number.is_finite() or number <= 0:
        raise _refused(repr(text), 'a number above zero: "20 %" for ratios, "0.1" for differences')
    return ("%" if text.strip().endswith("%") else ""), number


def _refused(what: str, allowed: str) -> KitError:
    return KitError(
        f"a margin of {what} cannot be used",
        where="compare(), margin",
        allowed=allowed,
        mend="state what would be too small to matter, or leave the margin out",
        code="compare.margin",
    )
