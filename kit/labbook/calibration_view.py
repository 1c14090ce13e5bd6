"""A calibration as its stream tells it: what was entered, and the closing checks since."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.bench.calibration import Calibration, ClosingCheck
from kit.labbook.batch_entries import decimal_or_none
from kit.labbook.ledger import Effective, effective
from kit.labbook.streams import Entry

CLOSING = "closing"
"""Kind of the entry of a closing check."""


def calibration_stream(name: str) -> str:
    """The stream that holds a calibration."""
    return f"calibration/{name}"


def calibration_of(entries: Sequence[Entry]) -> Calibration | None:
    """The calibration that a stream holds; None for an empty one.

    Parameters
    ----------
    entries : sequence of Entry   The entries of its stream, the calibration first.
    """
    if not entries:
        return None
    first = entries[0]
    body = first.body
    return Calibration(
        name=body["name"],
        instrument=body["instrument"],
        slope_pct=decimal_or_none(body.get("slope_pct")),
        offset_mv=decimal_or_none(body.get("offset_mv")),
        buffers=_decimals(body.get("buffers", ())),
        temp_c=decimal_or_none(body.get("temp_c")),
        at=first.measured_at or first.recorded_at,
        note=body.get("note", ""),
        millivolts=_decimals(body.get("millivolts", ())),
        table=body.get("table", ""),
        buffer_names=tuple(body.get("buffer_names", ())),
        closings=tuple(_closing(item) for item in effective(entries) if item.kind == CLOSING),
    )


def _closing(item: Effective) -> ClosingCheck:
    return ClosingCheck(
        buffer=Decimal(item.body["buffer"]),
        read=Decimal(item.body["read"]),
        at=item.measured_at,
        temp_c=decimal_or_none(item.body.get("temp_c")),
        entry=item.seq,
        note=item.body.get("note", ""),
        void=item.void,
    )


def _decimals(texts: Sequence[str]) -> tuple[Decimal, ...]:
    return tuple(Decimal(text) for text in texts)
