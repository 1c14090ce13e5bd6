"""What a pH buffer reads at a temperature: primary standards of the conventional scale, and a bottle's own table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from kit.errors import KitError
from kit.sources import read_data

NBS = "NBS conventional scale, 1962"
"""Name of the one primary table built in: R. G. Bates, J. Res. NBS 66A (1962) 179; Staples and Bates, 73A (1969) 37."""

_TOUCHING = 1e-9  # degC: a table's own ends belong to it whatever the rounding


@dataclass(frozen=True, slots=True)
class PrimaryBuffer:
    """A primary standard.

    Parameters
    ----------
    name : str                 "phthalate", "phosphate", "phosphate 1:3.5", "borax", "carbonate", "citrate",
                               "tetroxalate".
    composition : str          What is dissolved, per kg of water.
    temps_c : tuple of float   Temperatures of the table, rising. [degC]
    ph : tuple of float        pH(S) at each, three decimals as printed. [-]
    source : str               Key of the source.
    """

    name: str
    composition: str
    temps_c: tuple[float, ...]
    ph: tuple[float, ...]
    source: str

    def ph_at(self, temp_c: float) -> float:
        """The pH(S) at a temperature, straight between the printed ones. [-]

        Parameters
        ----------
        temp_c : float   Of the buffer. [degC]

        Raises
        ------
        KitError   `buffer.temperature` outside the table.

        Notes
        -----
        Between 18 and 30 degC the straight line is within 0.002 of the values printed for every degree.
        """
        return interpolated_ph(dict(zip(self.temps_c, self.ph, strict=True)), temp_c, name=self.name)


@lru_cache(maxsize=1)
def primary_buffers() -> dict[str, PrimaryBuffer]:
    """The primary standards by name, lowest pH first. Treat the result as read-only."""
    return {
        row["key"]: PrimaryBuffer(
            row["key"],
            row["composition"],
            tuple(float(temp) for temp in row["temps_c"]),
            tuple(float(value) for value in row["ph"]),
            row["source"],
        )
        for row in read_data("ph_buffers.toml")["buffer"]
    }


def primary_buffer(name: str) -> PrimaryBuffer:
    """A primary standard by name.

    Parameters
    ----------
    name : str   As in `primary_buffers`, in any case.

    Raises
    ------
    KitError   `buffer.unknown`, also for a number such as 4.01: that is a bottle, and a bottle has a table of its own.
    """
    wanted = " ".join(str(name).lower().split())
    if wanted not in primary_buffers():
        raise KitError(
            f"{name!r} is not a primary buffer",
            where=f"pH buffers, {NBS}",
            allowed=", ".join(primary_buffers()),
            mend='name one of these; for a bottle such as 4.01 or 7.00 use table="bottle" and the values on its label',
            code="buffer.unknown",
        )
    return primary_buffers()[wanted]


def interpolated_ph(table: Mapping[float, float], temp_c: float, *, name: str = "buffer") -> float:
    """The pH of a buffer at a temperature, from a table by temperature. [-]

    Parameters
    ----------
    table : mapping   Temperature [degC] to pH, as a bottle prints it. One entry holds at that temperature only.
    temp_c : float    Of the buffer. [degC]
    name : str        Which buffer, for messages.

    Raises
    ------
    KitError   `buffer.temperature` outside the table.
    """
    temps = sorted(table)
    if not temps or not temps[0] - _TOUCHING <= temp_c <= temps[-1] + _TOUCHING:
        raise KitError(
            f"the table of {name} does not reach {temp_c:g} degC",
            where="pH buffers",
            allowed=f"{temps[0]:g} to {temps[-1]:g} degC" if temps else "a table of temperatures",
            mend="bring the buffer to a temperature of its table, or type the value its label gives there",
            code="buffer.temperature",
        )
    import numpy as np

    return float(np.interp(temp_c, temps, [table[temp] for temp in temps]))
