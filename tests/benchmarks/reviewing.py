"""Reviews: ten thousand compositions in one call, and the first one of a program."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

from tests.benchmarks.measure import FORMULA, OURS, Result, in_turn, output, python, seconds

COUNT, PARTS = 10_000, 20


def review_many(folder: Path) -> Result:
    """10,000 compositions in one call against the same one by one, the codes of every one read on both sides.

    One by one each costs what it costs, so a round times a twentieth of them, others in each round, beside one call for
    all; that all 10,000 have the same codes in the same order is shown first.
    """
    spent = json.loads(output(python(OURS, "review-many", FORMULA, COUNT, PARTS), folder))
    return Result("review-many", spent["together"], spent["alone"], limit=0.2)


def review_one(folder: Path) -> Result:
    """The first review of a program, formula and rules loaded, against the start of a bare Python.

    A bare Python starts in less than 20 ms on a machine of our days; a review that takes no longer is not felt.
    """

    def ours() -> float:
        return float(output(python(OURS, "review-first", FORMULA), folder))

    peer = partial(seconds, [python("-c", "pass")], folder)
    return Result("review-one", *in_turn(ours, peer, rounds=11), limit=1)
