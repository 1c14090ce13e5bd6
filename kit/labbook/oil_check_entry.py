"""The entry of a check with a certified oil: what is kept, and what is read from it."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.oil_check import OilChecked
from kit.labbook.streams import Entry

OIL_CHECK = "oil-check"
"""Kind of the entry and of its stream."""

_NUMBERS = ("constant", "rpm", "certified_mpa_s", "found_mpa_s")


def oil_checked(entry: Entry) -> OilChecked:
    """The check that an entry holds.

    Parameters
    ----------
    entry : Entry   Of kind `OIL_CHECK`.
    """
    body = entry.body
    words = {name: body[name] for name in ("name", "instrument", "spindle", "oil")}
    numbers = {name: Decimal(body[name]) for name in _NUMBERS}
    others = {name: Decimal(body[name]) if body[name] else None for name in ("temp_c", "oil_pct")}
    return OilChecked(**words, **numbers, **others, at=entry.measured_at or entry.recorded_at)
