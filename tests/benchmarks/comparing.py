"""Statistics of 12 trials of 6 batches, against the bare calls that give the same. A program: `comparing.py NAME FILE`.

Both sides read the same file: twelve trials, one of them the control, each made once a day on six days, and an earlier
study of it. Asked are the intervals of all trials against the control, holding together, with days at random, and the
same without days. The peer fits by `statsmodels` (mixed model, its own t table) and takes Dunnett's intervals from
`scipy.stats.dunnett`; what each has in common is compared before anything is timed.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

TRIALS, BATCHES = 12, 6
PROPERTIES = 4
ROUNDS = 5


def compare_twelve(folder: Path):
    """Four properties of 12 trials of 6 batches judged, against bare statsmodels and SciPy."""
    from tests.benchmarks.measure import Result, in_turn, output, python

    file = folder / "batches.json"
    write_batches(file)

    def run(command: str) -> dict:
        return json.loads(output(python(__file__, command, file), folder))

    _must_agree(run("judge"), run("bare"))
    return Result(
        "compare-twelve", *in_turn(lambda: run("judge")["seconds"], lambda: run("bare")["seconds"], ROUNDS), limit=1.5
    )


def _must_agree(ours: dict, peer: dict) -> None:
    """End everything where differences, standard errors, variances or intervals are not the same."""
    for name, tolerance in (("differences", 1e-6), ("errors", 1e-3), ("plain", 1e-9), ("half", 5e-3)):
        for mine, theirs in zip(ours[name], peer[name], strict=True):
            for one, other in zip(mine, theirs, strict=True):
                if abs(one - other) > tolerance * max(1e-3, abs(other)):
                    raise SystemExit(f"{name}: {one} by the kit, {other} by the libraries")


def write_batches(file: Path) -> None:
    """Values with a day effect and 8 % of scatter, the same in every run: properties x trials x days."""
    import numpy as np

    drawn = np.random.default_rng(12)
    level = 9.8 + 0.1 * drawn.normal(size=(PROPERTIES, TRIALS, 1))
    days = 0.08 * drawn.normal(size=(PROPERTIES, 1, BATCHES))
    values = level + days + 0.08 * drawn.normal(size=(PROPERTIES, TRIALS, BATCHES))
    file.write_text(json.dumps(np.exp(values).tolist()), encoding="utf-8")


def judge(file: str) -> None:
    """The kit's verdicts, with days and without."""
    from kit.science.arm_verdict import ArmBatches, arm_verdicts

    told = json.loads(Path(file).read_text(encoding="utf-8"))
    dates = tuple(f"2026-03-{day:02d}" for day in range(1, BATCHES + 1))
    began = time.perf_counter()
    found = []
    for trials in told:
        for days in (dates, ()):
            control, *arms = (ArmBatches(f"trial {k}", tuple(row), days) for k, row in enumerate(trials))
            found.append(arm_verdicts(control, arms))
    spent = time.perf_counter() - began
    print(json.dumps({"seconds": spent, **_shown(found)}))


def _shown(found) -> dict:
    import math

    mixed, plain = found[::2], found[1::2]
    if {one.analysis for one in mixed} != {"mixed"} or {one.analysis for one in plain} != {"pooled"}:
        raise SystemExit("another analysis was chosen than is compared")
    return {
        "differences": [[math.log(one.value) for one in verdicts.verdicts] for verdicts in mixed],
        "errors": [[one.standard_error for one in verdicts.verdicts] for verdicts in mixed],
        "plain": [[math.log(one.value) for one in verdicts.verdicts] for verdicts in plain],
        "half": [[math.log(one.half_width) for one in verdicts.verdicts] for verdicts in plain],
    }


def bare(file: str) -> None:
    """The mixed model of statsmodels and the intervals of scipy, as one would call them."""
    import warnings

    import numpy as np
    from scipy.stats import dunnett
    from statsmodels.regression.mixed_linear_model import MixedLM

    warnings.simplefilter("ignore")
    told = np.log(json.loads(Path(file).read_text(encoding="utf-8")))
    design = np.zeros((TRIALS * BATCHES, TRIALS))
    design[:, 0] = 1
    for trial in range(1, TRIALS):
        design[trial * BATCHES : (trial + 1) * BATCHES, trial] = 1
    day = np.tile(np.arange(BATCHES), TRIALS)
    began = time.perf_counter()
    found: dict[str, list] = {"differences": [], "errors": [], "plain": [], "half": []}
    for trials in told:
        fit = MixedLM(trials.ravel(), design, groups=day).fit(reml=True)
        fit.conf_int()
        found["differences"].append(fit.fe_params[1:].tolist())
        found["errors"].append(fit.bse_fe[1:].tolist())
        result = dunnett(*trials[1:], control=trials[0], rng=np.random.default_rng(1))
        interval = result.confidence_interval(0.95)
        found["plain"].append((trials[1:].mean(1) - trials[0].mean()).tolist())
        found["half"].append(((interval.high - interval.low) / 2).tolist())
    spent = time.perf_counter() - began
    print(json.dumps({"seconds": spent, **found}))


if __name__ == "__main__":
    {"judge": judge, "bare": bare}[sys.argv[1]](sys.argv[2])
