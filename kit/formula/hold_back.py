"""Water held back from the water phase, as it is said at the bench: "80 g", "20 %", "20 % of the batch"."""

from __future__ import annotations

import re
from decimal import Decimal

from kit.units import percent, read, split

_OF_THE_BATCH = re.compile(r"(?<=%)\s*of\s+(the\s+)?batch\s*$", re.IGNORECASE)


def hold_back_pct(text: str, where: str) -> Decimal:
    """A share of the batch: "20 %" or "20 % of the batch". [%]

    Parameters
    ----------
    text : str    As typed.
    where : str   For an error.

    Raises
    ------
    UnitError   For text that is no percentage.
    """
    return percent(_OF_THE_BATCH.sub("", str(text)), where=where)


def hold_back_g(text: str, batch_g: float, where: str) -> float:
    """A mass, or a share of the batch. [g]

    Parameters
    ----------
    text : str        "80 g", "20 %" or "20 % of the batch".
    batch_g : float   Mass of the batch. [g]
    where : str       For an error.

    Raises
    ------
    UnitError   For text that is neither; a bare number is neither.
    """
    typed = _OF_THE_BATCH.sub("", str(text))
    if split(typed, where=where)[1].startswith("%"):
        return float(hold_back_pct(typed, where)) / 100 * batch_g
    return float(read(typed, "g", where=where))
