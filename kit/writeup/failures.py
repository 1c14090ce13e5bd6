"""Saying why a run stopped: which template, which cell, and the error's own words instead of a traceback."""

from __future__ import annotations

import json
from typing import Any

from kit.errors import RunError
from kit.writeup.cells import source_of

_MEMORY = "it was killed from outside, as happens when memory runs out"


def cell_error(template: str, number: int, cell: Any, report: dict[str, Any]) -> RunError:
    """The error for a cell that raised.

    Parameters
    ----------
    template : str   Name of the template.
    number : int     The cell, counted from 1 over all cells of the template.
    cell : mapping   The cell, for a line to find it by.
    report : dict    From `kit.writeup.kernel.report_error`; may be empty.
    """
    place = f'template "{template}", cell {number}'
    if own := report.get("kit"):
        where = f"{own['where']}; {place}" if own["where"] else place
        return RunError(own["what"], where=where, allowed=own["allowed"], mend=own["mend"], code=own["code"])
    kind, message = report.get("kind", "error"), report.get("message", "")
    line = report.get("line") or first_line(cell)
    what = f'Cell {number} of the template "{template}" stopped with {kind}' + (
        f": {one_line(message)}" if message else ""
    )
    return RunError(
        what,
        where=f"{place}, at the line: {line}",
        mend="open the template in JupyterLab with the same parameters and run it cell by cell",
        code="template.cell_failed",
    )


def read_report(text: str, kind: str, message: str) -> dict[str, Any]:
    """What the kernel said of its last error, else what the notebook shows of it."""
    try:
        report = json.loads(text)
    except ValueError:
        return {"kind": kind, "message": message}
    # A cell may have raised something else than what the kernel remembers, for one by leaving with SystemExit.
    return report if report.get("kind") == kind else {"kind": kind, "message": message}


def timeout_error(template: str, number: int, cell: Any, timeout_s: float) -> RunError:
    """The error for a run that took too long; its kernel is ended by the caller."""
    return RunError(
        f'The template "{template}" was not done after {timeout_s:g} s and was ended',
        where=f"cell {number}: {first_line(cell)}",
        mend="allow more time (timeout_s=...), or ask for fewer trials",
        code="template.timeout",
    )


def death_error(template: str, number: int, cell: Any, exit_code: int | None) -> RunError:
    """The error for a kernel that ended in the middle of a cell."""
    reason = _MEMORY if exit_code == -9 else f"its exit code was {exit_code}"
    return RunError(
        f'The kernel died while it ran the template "{template}"; {reason}',
        where=f"cell {number}: {first_line(cell)}",
        mend="run it again with fewer trials at once, and close other programs",
        code="template.kernel_died",
    )


def first_line(cell: Any) -> str:
    """First line of a cell that is code, to find it by."""
    lines = [line.strip() for line in source_of(cell).splitlines()]
    return next((line for line in lines if line and not line.startswith("#")), "(empty)")


def one_line(text: str, limit: int = 300) -> str:
    """Text on one line, cut to a readable length."""
    flat = " ".join(text.split())
    return flat if len(flat) <= limit else flat[: limit - 1] + "…"
