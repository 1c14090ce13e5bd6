"""The cautions a page prints for whoever repeats a batch."""

from __future__ import annotations

from collections.abc import Iterable

from kit.labbook.view import BatchView
from kit.show import Cell, Table
from kit.sources import read_data


def cautions_table(batches: Iterable[BatchView]) -> Table:
    """Cautions of the batches' sheets and those that always hold."""
    known = read_data("cautions.toml")["cautions"]
    keys = dict.fromkeys(key for batch in batches for key in batch.sheet.cautions)
    keys |= dict.fromkeys(key for key, row in known.items() if row.get("always"))
    return Table(
        ("caution", "what to do"),
        [(Cell(known[key]["title"], "strong"), known[key]["text"]) for key in keys if key in known],
        title="Cautions for whoever repeats this batch",
        note="They do not replace the suppliers' safety data sheets, local codes and qualified people.",
    )
