"""The words beside the batches of a response: batches of one setting share theirs, so that they can be read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.trials.response_tables import number

if TYPE_CHECKING:
    from kit.trials.response_data import ResponseBatch


def marks(batches: Sequence[ResponseBatch], log: bool | None = None) -> list[str]:
    """A text a batch: "TEA-07, TEA-08" at the first of those meant alike, nothing at the others.

    Parameters
    ----------
    batches : sequence of ResponseBatch
    log : bool, None   Whether values are ratios, which sets their digits; None leaves the values out.
    """
    alike: dict[tuple[float, ...], list[ResponseBatch]] = {}
    for batch in batches:
        alike.setdefault(batch.meant, []).append(batch)
    said = {}
    for found in alike.values():
        names = ", ".join(dict.fromkeys(batch.trial for batch in found))
        values = "" if log is None else ": " + ", ".join(number(batch.value, log) for batch in found)
        said[found[0].batch] = names + values
    return [said.get(batch.batch, "") for batch in batches]
