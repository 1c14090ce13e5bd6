"""The composition that an electrode stood in: a batch as made, now or at an earlier moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from kit.errors import BatchError
from kit.formula.composition import Composition
from kit.labbook.ledger import Effective
from kit.labbook.view import BatchView

_NOTHING_WEIGHED = "batch.nothing_weighed"
_GOES_IN = frozenset({"weigh", "combine", "add"})


def composition_read(batch: BatchView) -> tuple[Composition | None, str, str]:
    """The composition of a finished batch, how to call a reading of it, and why there is none."""
    try:
        return batch.composition("made"), "reading", ""
    except BatchError as problem:
        if problem.code == _NOTHING_WEIGHED:
            return batch.composition("meant"), "reading; composition as meant, nothing was weighed", ""
        return None, "", f"its composition as made is not known: {problem.what}"


def batch_at(batch: BatchView, entry: int) -> BatchView | None:
    """A batch as it stood when an entry was made; None where more of the formula went in afterwards.

    Only adjusters, water and samples may follow: what was weighed but not yet poured in is otherwise not told apart.
    """
    moment = next(_when(item) for item in batch.effective if item.seq == entry)
    later = [item for item in batch.effective if _when(item) > moment]
    if any(item.stands and item.kind in _GOES_IN for item in later):
        return None
    found_back = [item for item in later if item.kind == "weigh-back" and item.body.get("phase")]
    kept = {item.seq for item in batch.effective} - {item.seq for item in later} | {item.seq for item in found_back}
    return replace(batch, effective=tuple(item for item in batch.effective if item.seq in kept))


def _when(item: Effective) -> tuple[datetime, int]:
    return datetime.fromisoformat(item.measured_at), item.seq
