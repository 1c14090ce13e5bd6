"""What both sides of a benchmark brought out, compared before anything is timed; lab books copied and read bare."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path


def must_be_same(ours: object, other: object, what: str) -> None:
    """End everything where two results differ."""
    if ours != other:
        raise SystemExit(
            f"{what} differ; timing them would compare two different things:\n{ours!r:.600}\n{other!r:.600}"
        )


def copy_labbook(source: Path, target: Path) -> None:
    """A fresh copy of a closed lab book in place of an earlier one."""
    for suffix in ("-wal", "-shm"):
        target.with_name(target.name + suffix).unlink(missing_ok=True)
    shutil.copyfile(source, target)


def stored_rows(labbook: Path) -> dict[str, list[dict]]:
    """Rows of the two tables a reading goes into."""
    connection = sqlite3.connect(labbook)
    connection.row_factory = sqlite3.Row
    try:
        return {
            table: [dict(row) for row in connection.execute(f"SELECT * FROM {table}")] for table in ("entry", "reading")
        }
    finally:
        connection.close()


def count_rows(labbook: Path, table: str) -> int:
    """How many rows a table of a lab book has."""
    connection = sqlite3.connect(labbook)
    try:
        return connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
    finally:
        connection.close()
