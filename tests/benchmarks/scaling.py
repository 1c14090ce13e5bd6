"""Whether a lab book that has grown for years is as fast as a new one: the same work in a large and in a small one.

Both sides are worked on in turn in one process, call by call: what is measured is a small difference between two calls
of a few milliseconds, and other programs on the machine would be larger. Imports are timed on neither side.
"""

from __future__ import annotations

import json
from pathlib import Path

from tests.benchmarks.labbooks import COMPARED, EACH, TRIALS
from tests.benchmarks.measure import FORMULA, OURS, Result, output, python
from tests.benchmarks.same import count_rows, must_be_same

COMPARISONS = 21
READINGS = 40  # of each batch


def compare_scaling(folder: Path) -> Result:
    """Comparison of 12 trials in a lab book of 20,000 trials and 400,000 readings, and in one of these 12 alone.

    Timed: opening the lab book, the comparison, closing it.
    """
    large, small = _large_and_small(folder)
    shown = [output(python(OURS, "show-comparison", labbook), folder) for labbook in (large, small)]
    must_be_same(*shown, "the two comparisons, or the heads of the streams they rest on")
    must_be_same(len(json.loads(shown[0])["arms"]), len(COMPARED), "arms of the comparison and trials asked for")
    medians = json.loads(output(python(OURS, "compare-in-turn", large, small, COMPARISONS), folder))
    return Result("compare-scaling", *medians, limit=1.5)


def reading_scaling(folder: Path) -> Result:
    """Adding a reading in the large lab book and in the small one: the same readings to the same twelve batches."""
    large, small = _large_and_small(folder)
    before = [count_rows(labbook, "reading") for labbook in (large, small)]
    medians = json.loads(output(python(OURS, "read-in-turn", large, small, READINGS), folder))
    added = [count_rows(labbook, "reading") - was for labbook, was in zip((large, small), before, strict=True)]
    must_be_same(added, [READINGS * len(COMPARED)] * 2, "the readings stored and asked for")
    heads = [output(python(OURS, "show-heads", labbook), folder) for labbook in (large, small)]
    must_be_same(*heads, "the heads of the batches")
    return Result("reading-scaling", *medians, limit=1.2)


def _large_and_small(folder: Path) -> tuple[Path, Path]:
    """Both lab books, built once a run beside the folder of this benchmark."""
    large, small = (folder.parent / f"{name}.labbook" for name in ("all", "compared"))
    for labbook in (large, small):
        if not labbook.exists():
            output(python(OURS, "build-labbook", labbook, FORMULA, labbook.stem), folder)
            trials = TRIALS if labbook is large else len(COMPARED)
            must_be_same(count_rows(labbook, "trial"), trials, "trials stored and meant")
            must_be_same(count_rows(labbook, "reading"), trials * EACH, "readings stored and meant")
    return large, small
