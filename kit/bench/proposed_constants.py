"""Constants of a viscometer by spring and spindle, proposed from what makers print: to be checked before use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.science.viscometer import full_scale_mpa_s
from kit.science.viscometer_parts import Spindle, spindle, spindle_constant
from kit.show import Block, Table
from kit.units import plain

_SPEEDS = (1.0, 10.0, 100.0)
CHECK = (
    "Mostly from memory: check every constant against the manual of your instrument, or with a certified oil, before "
    "it is entered. The same spindle has another constant on another spring."
)


@dataclass(frozen=True)
class ProposedConstants:
    """Constants for `add_instrument(constants=...)`.

    Parameters
    ----------
    spring : str                  "RV".
    constants : dict              Spindle to K, where viscosity [mPa.s] = K x torque [%] / speed [rpm].
    spindles : tuple of Spindle   With their class of geometry.
    """

    spring: str
    constants: dict[str, Decimal]
    spindles: tuple[Spindle, ...]

    def table(self) -> Table:
        """The constants, and the largest viscosity each reads at three speeds."""
        rows = [
            (one.name, one.geometry, plain(self.constants[one.name]), *(self._full_scale(one, rpm) for rpm in _SPEEDS))
            for one in self.spindles
        ]
        heads = ("spindle", "class", "K, mPa.s rpm/%", *(f"full scale at {rpm:g} rpm, mPa.s" for rpm in _SPEEDS))
        return Table(heads, rows, title=f"Spring {self.spring}: proposed constants", note=CHECK, numeric=_NUMERIC)

    def _full_scale(self, one: Spindle, rpm: float) -> str:
        return plain(Decimal(round(full_scale_mpa_s(float(self.constants[one.name]), rpm))))

    def _repr_html_(self) -> str:
        return Block((self.table(),))._repr_html_()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


_NUMERIC = frozenset({2, 3, 4, 5})


def proposed_constants(spring: str, spindles: Sequence[str]) -> ProposedConstants:
    """Constants of some spindles on a spring, as makers print them.

    Parameters
    ----------
    spring : str              "LV", "RV", "HA", "HB".
    spindles : sequence       "disc 5", "T-bar B".

    Raises
    ------
    KitError   `viscometer.spring`, `viscometer.spindle`.

    Examples
    --------
    >>> proposed_constants("RV", ["disc 5"]).constants
    {'disc 5': Decimal('4000')}
    """
    found = tuple(spindle(name) for name in spindles)
    constants = {one.name: Decimal(f"{spindle_constant(spring, one.name):.10g}") for one in found}
    return ProposedConstants(spring, constants, found)
