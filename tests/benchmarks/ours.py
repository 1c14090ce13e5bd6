"""The kit's side of a benchmark, where it is more than one command. Run as a program: `ours.py NAME ARGUMENTS`."""

from __future__ import annotations

import statistics
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

BATCH = "BEN-01/1"


def build_demo(folder: str) -> None:
    """Build the demo study."""
    from kit.demo.build import build_demo as build

    build(folder)


def start_batch(labbook: str, formula_file: str) -> None:
    """A new lab book with one batch, weighed and finished, ready for readings."""
    import kit

    formula = kit.load_formula(formula_file)
    sheet = kit.plan_batch(formula, "400 g")
    with kit.new_labbook(labbook) as book:
        book.new_study("BEN", question="How long does a reading take?", spec=formula.spec, control="BEN-01")
        book.add_instrument("PH-1", kind="pH meter")
        book.calibrate("PH-1", "CAL-1", slope_pct="98", offset_mv="3", buffers=["4.01", "7.00"], temp="25 degC")
        batch = book.start_batch(sheet, trial="BEN-01", operator="bench 1")
        for line in sheet.lines:
            batch.weigh(line.material.key, f"{line.target_g} g", lot="L-1")
        batch.finish()


def read_ph(labbook: str, count: str) -> None:
    """Record readings one after another; prints the median seconds of one call.

    Each reading differs from the others by its time, so that none is taken for a repetition.
    """
    import kit

    with kit.open_labbook(labbook) as book:
        batch = book.batch(BATCH)
        began_at = datetime.now().astimezone().replace(microsecond=0)
        spent = []
        for number in range(int(count)):
            at = (began_at + timedelta(seconds=number)).isoformat()
            began = time.perf_counter()
            batch.read_ph("4.59", temp="25 degC", instrument="PH-1", calibration="CAL-1", at=at)
            spent.append(time.perf_counter() - began)
    print(statistics.median(spent))


def write_up(labbook: str, trial: str, folder: str) -> None:
    """Write a trial up."""
    import kit

    kit.write_up(Path(labbook), trial, to=folder)


if __name__ == "__main__":
    {"build-demo": build_demo, "start-batch": start_batch, "read-ph": read_ph, "write-up": write_up}[sys.argv[1]](
        *sys.argv[2:]
    )
