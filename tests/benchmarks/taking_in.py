"""A file of 20,000 readings taken into a lab book, against pandas and sqlite3 alone."""

from __future__ import annotations

import csv
import json
from datetime import datetime, timedelta
from pathlib import Path

from tests.benchmarks.labbooks import trial_name
from tests.benchmarks.measure import FORMULA, OURS, PEERS, Result, in_turn, output, python
from tests.benchmarks.same import copy_labbook, must_be_same, stored_rows

ROWS, BATCHES = 20_000, 40
COLUMNS = (
    "batch", "property", "value", "unit", "measured_at", "temp", "method", "instrument", "calibration", "spindle",
    "rpm", "torque_pct", "reading_time", "container",
)  # fmt: skip


def import_readings(folder: Path) -> Result:
    """`import_readings(FILE)`, its preview checked row by row, and `commit()`, against pandas and bare `sqlite3`.

    The peer reads the same file by pandas and writes the same rows of the same two tables, hashes and texts given to
    it for nothing, in one transaction under the same PRAGMAs. Both open and close the lab book, a copy of the same
    file, in a process of their own; imports are timed on neither side, they weigh alike.
    """
    empty, ours, peer = (folder / f"{name}.labbook" for name in ("empty", "ours", "peer"))
    file, few, rows = folder / "readings.csv", folder / "few.csv", folder / "rows.json"
    output(python(OURS, "build-labbook", empty, FORMULA, BATCHES, "without-readings"), folder)
    _write(file, ROWS)
    _write(few, 2)

    def run_ours() -> float:
        copy_labbook(empty, ours)
        return float(output(python(OURS, "take-in", ours, file, few), folder))

    def run_peer() -> float:
        copy_labbook(empty, peer)
        return float(output(python(PEERS, "take-in-rows", peer, file, rows), folder))

    run_ours()
    added = _added(stored_rows(empty), stored_rows(ours))
    must_be_same(len(added["reading"]), ROWS, "the number of readings stored and in the file")
    rows.write_text(json.dumps(added), encoding="utf-8")
    run_peer()
    must_be_same(stored_rows(ours), stored_rows(peer), "the rows of both lab books")
    return Result("import-readings", *in_turn(run_ours, run_peer, rounds=7), limit=6)


def _write(path: Path, count: int) -> None:
    """As a meter and a viscometer would write it: conditions in every row, times to the minute."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        writer.writerows(_row(number) for number in range(count))


def _row(number: int) -> tuple[str, ...]:
    batch, at = f"{trial_name(number % BATCHES + 1)}/1", datetime(2026, 3, 3, 9) + timedelta(minutes=number // BATCHES)
    when = at.strftime("%Y-%m-%d %H:%M")
    if number % 2:
        value, temp = f"{4.4 + number % 40 / 100:.2f}", f"{24.5 + number % 10 / 10:.1f} degC"
        return batch, "pH", value, "", when, temp, "pH neat", "PH-1", "CAL-1", "", "", "", "", ""
    step = number % 50
    return (
        batch, "viscosity", f"{18000 + step * 40}", "mPa.s", when, "25.0 degC", "viscosity", "VIS-1", "", "disc 5",
        "10", f"{45 + step / 10:.1f}", "60 s", "100 mL jar",
    )  # fmt: skip


def _added(before: dict[str, list[dict]], after: dict[str, list[dict]]) -> dict[str, list[dict]]:
    return {table: after[table][len(before[table]) :] for table in after}
