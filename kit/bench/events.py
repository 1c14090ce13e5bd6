"""What happens to a batch, as far as its mass balance is concerned. Corrections and voids are already applied."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kit.formula.material import Material
from kit.show import Fielded


@dataclass(frozen=True, slots=True, repr=False)
class Weighed(Fielded):
    """A material weighed out for a phase; several portions of a line add up. [g]

    `material` is the supply form of the formula's line. `as_lot` is the same form as the certificate of the lot it was
    weighed from describes it; None where that is not known, and the form's typical values hold.
    """

    material: Material
    phase: str
    phase_kind: str
    mass_g: Decimal
    as_lot: Material | None = None


@dataclass(frozen=True, slots=True, repr=False)
class WeighedBack(Fielded):
    """What was found in an emptied container. [g]

    With a phase it never entered the vessel: it is part of that phase as weighed, or of one `material` of it where that
    material had its own boat. Without a phase it is batch, left on a tool such as the mixing head; typed straight after
    a gross weighing, it had left the vessel before it.
    """

    mass_g: Decimal
    phase: str = ""
    container: str = ""
    material: Material | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Combined(Fielded):
    """Phases brought together in the vessel; all water and oil phases when none is named."""

    phases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class Added(Fielded):
    """A phase added to the vessel, such as the cool-down phase."""

    phase: str


@dataclass(frozen=True, slots=True, repr=False)
class Gross(Fielded):
    """The vessel weighed whole: gross less tare. [g]

    `phases_in` says which phases were in, where the events do not; `division_g` is that of the balance.
    """

    net_g: Decimal
    phases_in: tuple[str, ...] | None = None
    division_g: Decimal = Decimal("0.01")


@dataclass(frozen=True, slots=True, repr=False)
class ToppedUp(Fielded):
    """Water made up; booked to the formula's water line unless another material is named; `as_lot` as above. [g]"""

    mass_g: Decimal
    material: Material | None = None
    as_lot: Material | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Adjusted(Fielded):
    """An adjuster poured in at the end, such as an acid to reach the pH; `as_lot` as for a weighing. [g]"""

    material: Material
    mass_g: Decimal
    as_lot: Material | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Taken(Fielded):
    """Batch taken out of the vessel, such as a sample: a homogeneous share. [g]

    A sample of one phase before the combination is a `WeighedBack` of that phase: it never entered the vessel.
    """

    mass_g: Decimal
    why: str = ""


Event = Weighed | WeighedBack | Combined | Added | Gross | ToppedUp | Adjusted | Taken
