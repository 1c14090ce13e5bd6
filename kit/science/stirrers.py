"""Stirrers and heads: their size and the numbers that power, flow and shear rate follow from, as ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.show import Worded
from kit.sources import read_data


@dataclass(frozen=True, slots=True, repr=False)
class Span(Worded):
    """A value known only between two ends.

    Parameters
    ----------
    low, high : float   Ends, in the unit of the value.

    Raises
    ------
    KitError   `mixing.span` where low lies above high; `science.negative`.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        require_not_negative("a range", low=self.low, high=self.high)
        if self.low > self.high:
            raise KitError(
                f"the range runs from {self.low:g} to {self.high:g}",
                where="a range",
                allowed="the lower end first",
                mend="exchange the two",
                code="mixing.span",
            )

    @property
    def middle(self) -> float:
        """Geometric mean of the ends, as the ends are factors apart."""
        return math.sqrt(self.low * self.high)

    def times(self, factor: float) -> Span:
        """Both ends multiplied.

        Parameters
        ----------
        factor : float   Zero or more.
        """
        return Span(self.low * factor, self.high * factor)

    def plus(self, amount: float) -> Span:
        """Both ends moved up.

        Parameters
        ----------
        amount : float   Zero or more.
        """
        return Span(self.low + amount, self.high + amount)

    def __str__(self) -> str:
        return short(self.low) if self.low == self.high else f"{short(self.low)} to {short(self.high)}"


@dataclass(frozen=True, slots=True)
class Stirrer:
    """A stirrer or head of a stated size. What is not known is None.

    Parameters
    ----------
    name : str                 As it is recorded.
    diameter_m : float         Of the moving part. [m]
    power_number : Span        In turbulent flow. [-]
    laminar_power : float      Power number times Reynolds number in laminar flow. [-]
    pumping_number : Span      In turbulent flow. [-]
    metzner_otto : float       Shear rate over speed in turns per second. [-]
    gap_m : float              Between rotor and stator, or blade and wall. [m]
    rotor_stator : bool        Whether its power is known to a factor of 2 only.

    Raises
    ------
    KitError   `science.not_positive`.
    """

    name: str
    diameter_m: float
    power_number: Span | None = None
    laminar_power: float | None = None
    pumping_number: Span | None = None
    metzner_otto: float | None = None
    gap_m: float | None = None
    rotor_stator: bool = False

    def __post_init__(self) -> None:
        require_positive(
            self.name or "stirrer",
            diameter_m=self.diameter_m,
            laminar_power=self.laminar_power,
            metzner_otto=self.metzner_otto,
            gap_m=self.gap_m,
        )


@lru_cache(maxsize=1)
def known_stirrers() -> dict[str, dict]:
    """Published numbers of kinds of stirrer by name. Treat the result as read-only."""
    return {row["key"]: row for row in read_data("mixing.toml")["stirrer"]}


def stirrer(kind: str, diameter_m: float, *, name: str = "", gap_m: float | None = None) -> Stirrer:
    """A stirrer of a known kind with its published numbers, as far as there are any.

    Parameters
    ----------
    kind : str           As in `known_stirrers`: "rotor-stator", "propeller", "pitched blade", "flat blade turbine".
    diameter_m : float   [m]
    name : str           As it is recorded; the kind when omitted.
    gap_m : float        [m]

    Raises
    ------
    KitError   `mixing.stirrer` for a kind without numbers.
    """
    row = known_stirrers().get(kind)
    if row is None:
        raise KitError(
            f"no numbers are known of a stirrer {kind!r}",
            where="stirrer",
            allowed=", ".join(known_stirrers()),
            mend="name one of these, or make a Stirrer with the numbers of its maker",
            code="mixing.stirrer",
        )
    return Stirrer(
        name or kind,
        diameter_m,
        power_number=_span(row.get("power_number")),
        laminar_power=_value(row.get("laminar_power")),
        pumping_number=_span(row.get("pumping_number")),
        metzner_otto=_value(row.get("metzner_otto")),
        gap_m=gap_m,
        rotor_stator=kind == "rotor-stator",
    )


def _span(fact: dict | None) -> Span | None:
    return None if fact is None else Span(float(fact["low"]), float(fact["high"]))


def _value(fact: dict | None) -> float | None:
    return None if fact is None else float(fact["value"])
