"""How a jar is kept, as typed: "40 °C", "40C" and "40 degC" are one place, and a freeze-thaw tells its cycles."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal

from kit.errors import UnitError
from kit.units import plain, read

REFERENCE = "25 degC"
"""Where the jar is kept that the others are judged against."""

_TEMPERATURE = re.compile(r"^([+\-−]?\d+(?:[.,]\d+)?)\s*(°\s*[CF]|℃|℉|deg\s*[CF]|[CF])(?![a-z])\s*[,;]?\s*(.*)$", re.I)
_CYCLES = re.compile(r"^freeze[\s/-]*thaw\b\D*(\d+)\s*(?:cycles?|x)?\s*$", re.I)


def storage_key(text: str) -> str:
    """The place as it is compared: "40 degC", "freeze-thaw 3 cycles", "light"; empty where nothing was recorded.

    Parameters
    ----------
    text : str   As typed.

    Examples
    --------
    >>> storage_key("40 °C"), storage_key("Freeze thaw, 3"), storage_key("  Light ")
    ('40 degC', 'freeze-thaw 3 cycles', 'light')
    """
    told = " ".join(text.split())
    cycles = _CYCLES.match(told)
    if cycles:
        count = int(cycles[1])
        return f"freeze-thaw {count} {'cycle' if count == 1 else 'cycles'}"
    found = _TEMPERATURE.match(told)
    temp_c = storage_temp_c(told)
    if found is None or temp_c is None:
        return told.lower()
    rest = found[3].lower()
    return f"{plain(temp_c)} degC{f', {rest}' if rest else ''}"


def storage_temp_c(text: str) -> Decimal | None:
    """The temperature of a place that begins with one; None for any other. [degC]

    Parameters
    ----------
    text : str   As typed, or its key.
    """
    found = _TEMPERATURE.match(" ".join(text.split()))
    if found is None:
        return None
    unit = "degF" if found[2].strip()[-1].upper() == "F" or found[2] == "℉" else "degC"
    try:
        return read(f"{found[1].replace(',', '.').replace('−', '-')} {unit}", "degC", where="storage")
    except UnitError:
        return None


def freeze_thaw_cycles(text: str) -> int | None:
    """How many cycles of freezing and thawing; None where it is no such place.

    Parameters
    ----------
    text : str   As typed, or its key.
    """
    found = _CYCLES.match(" ".join(text.split()))
    return int(found[1]) if found else None


def places_words(keys: Iterable[str]) -> str:
    """Several places in one text, temperatures together: "5, 25, 40 °C, light".

    Parameters
    ----------
    keys : iterable of str   Of `storage_key`.
    """
    names = list(dict.fromkeys(keys))
    temps = [name.removesuffix(" degC") for name in names if name.endswith(" degC")]
    others = [storage_words(name) for name in names if not name.endswith(" degC")]
    return ", ".join([*([f"{', '.join(temps)} °C"] if temps else []), *others])


def storage_words(key: str) -> str:
    """The place as a sentence names it.

    Parameters
    ----------
    key : str   Of `storage_key`.
    """
    return key.replace(" degC", " °C") if key else "storage not recorded"
