"""Putting checked values into a template: one cell of its own, with a fixed id and a text that depends on nothing else.

papermill would write that cell too, but its text depends on which formatter happens to be installed, and a value it
does not know becomes a text without a word.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kit.writeup.canonical import INJECTED_ID, INJECTED_TAG
from kit.writeup.cells import source_of, tags_of
from kit.writeup.declaration import Declaration


def with_parameters(
    notebook: Mapping[str, Any], declaration: Declaration, parameters: Mapping[str, Any]
) -> dict[str, Any]:
    """A copy of a template, ready to run: values injected, outputs gone, every cell with a fixed id of its own.

    Examples
    --------
    >>> cell = {"cell_type": "code", "source": "trial = None", "metadata": {"tags": ["parameters"]}}
    >>> declared = Declaration("t", "T", "?", (), 0)
    >>> ready = with_parameters({"cells": [cell], "metadata": {}}, declared, {"trial": "LIN-03"})
    >>> print(ready["cells"][1]["source"])
    # Parameters
    trial = 'LIN-03'
    """
    cells = [_ready(cell) for cell in notebook["cells"]]
    position = declaration.cell + 1
    cells.insert(position, _injected(parameters))
    # A template saved from an earlier run still has that run's values; papermill would drop them as well.
    cells = [cell for index, cell in enumerate(cells) if index == position or INJECTED_TAG not in tags_of(cell)]
    _fix_ids(cells)
    return {"cells": cells, "metadata": dict(notebook["metadata"]), "nbformat": 4, "nbformat_minor": 5}


def _ready(cell: Mapping[str, Any]) -> dict[str, Any]:
    ready = {**cell, "source": source_of(cell), "metadata": dict(cell.get("metadata", {}))}
    if ready["cell_type"] == "code":
        ready.update(outputs=[], execution_count=None)
    return ready


def _injected(parameters: Mapping[str, Any]) -> dict[str, Any]:
    lines = ["# Parameters", *(f"{name} = {value!r}" for name, value in parameters.items())]
    metadata = {"tags": [INJECTED_TAG]}
    return {"cell_type": "code", "id": INJECTED_ID, "source": "\n".join(lines), "metadata": metadata, "outputs": [],
            "execution_count": None}  # fmt: skip


def _fix_ids(cells: list[dict[str, Any]]) -> None:
    seen = {INJECTED_ID}
    for number, cell in enumerate(cells, start=1):
        if INJECTED_TAG in tags_of(cell):
            continue
        if not cell.get("id") or cell["id"] in seen:
            cell["id"] = f"cell-{number}"
        seen.add(cell["id"])
