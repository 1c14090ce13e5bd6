"""Five flow models on a thousand curves, against bounded `curve_fit` of scipy. A program: `flow.py NAME FILE [FIRST]`.

Both sides read the same file of curves, fit the same models between the same bounds with the same weights, and print
their seconds and the sums of squares that they left. The peer, which fits one by one, takes a part of the curves, in
each round another, and is counted as many times; on every curve of its part the sums of squares are compared.
"""

from __future__ import annotations

import json
import math
import sys
import time
from pathlib import Path

COUNT, PART = 1_000, 60
ROUNDS = 3
WORSE = 1e-6  # relative: a sum of squares larger by this is the same
MODELS = ("power_law", "herschel_bulkley", "casson", "carreau", "cross")


def flow_many(folder: Path):
    """1,000 curves in five calls, one a model, against `curve_fit` one by one."""
    from tests.benchmarks.measure import Result, in_turn, output, python

    file = folder / "curves.json"
    write_curves(file)

    def run(command: str, *part: int) -> dict:
        return json.loads(output(python(__file__, command, file, *part), folder))

    ours = run("fit-many")["squares"]
    firsts = iter(range(0, COUNT, PART))

    def run_peer() -> float:
        first = next(firsts)
        found = run("curve-fit-one-by-one", first)
        _must_be_as_good({model: left[first : first + PART] for model, left in ours.items()}, found["squares"])
        return found["seconds"] * COUNT / PART

    return Result("flow-many", *in_turn(lambda: run("fit-many")["seconds"], run_peer, ROUNDS), limit=1.2)


def _must_be_as_good(ours: dict, peer: dict) -> None:
    """End everything where a curve was fitted worse than by the peer, or not at all."""
    for model in MODELS:
        pairs = list(zip(ours[model], peer[model], strict=True))
        if len(pairs) != PART:
            raise SystemExit(f"{model}: {len(pairs)} curves were compared, {PART} were due")
        worse = [index for index, (one, two) in enumerate(pairs) if not one <= two * (1 + WORSE) + 1e-20]
        if worse:
            raise SystemExit(f"{model}: {len(worse)} curves are left with more than by the peer, such as {worse[0]}")


def write_curves(file: Path) -> None:
    """Curves of 10 to 16 readings with 2 % of scatter, from the five models in turn, the same in every run."""
    import numpy as np

    drawn = np.random.default_rng(6)
    curves = []
    for index in range(COUNT):
        rates = np.geomspace(drawn.uniform(0.05, 0.5), drawn.uniform(100, 500), drawn.integers(10, 17))
        truth = _function(MODELS[index % len(MODELS)])(rates, *_drawn_parameters(MODELS[index % len(MODELS)], drawn))
        stresses = truth * np.exp(drawn.normal(0, 0.02, rates.size))
        curves.append([rates.tolist(), stresses.tolist()])
    file.write_text(json.dumps(curves), encoding="utf-8")


def _drawn_parameters(model: str, drawn) -> tuple:
    """Parameters of a conditioner between thin and mask. [Pa, Pa·s^n, Pa·s, s]"""
    yields, consistency, index = (
        math.exp(drawn.uniform(1, 4)),
        math.exp(drawn.uniform(0.5, 3.5)),
        drawn.uniform(0.2, 0.6),
    )
    if model == "power_law":
        return consistency, index
    if model == "herschel_bulkley":
        return yields, consistency, index
    if model == "casson":
        return yields, drawn.uniform(0.05, 1)
    rest = math.exp(drawn.uniform(2, 5))
    return (
        rest,
        drawn.uniform(0.0, 0.005) * rest,
        math.exp(drawn.uniform(-1, 2)),
        index if model == "carreau" else 1 - index,
    )


def fit_many(file: str) -> None:
    """All curves, one call a model."""
    from kit.science.flow_curve import FlowCurve
    from kit.science.flow_fit import fit_flow_many
    from kit.science.flow_models import BY_KEY
    from kit.science.flow_result import RELATIVE

    told = _read(file)
    fit_flow_many([FlowCurve(*told[0])], BY_KEY[MODELS[0]])
    began = time.perf_counter()
    curves = [FlowCurve(rates, stresses) for rates, stresses in told]
    fits = {model: fit_flow_many(curves, BY_KEY[model], weighting=RELATIVE) for model in MODELS}
    spent = time.perf_counter() - began
    squares = {model: [fit.residual_sd**2 * fit.df for fit in found] for model, found in fits.items()}
    print(json.dumps({"seconds": spent, "squares": squares}))


def curve_fit_one_by_one(file: str, first: str) -> None:
    """A part of the curves, each model by `scipy.optimize.curve_fit` between bounds, started from the curve's ends."""
    import numpy as np
    from scipy.optimize import curve_fit

    told = [(np.array(rates), np.array(stresses)) for rates, stresses in _read(file)]
    told = told[int(first) : int(first) + PART]
    squares: dict[str, list[float]] = {model: [] for model in MODELS}
    began = time.perf_counter()
    for rates, stresses in told:
        for model in MODELS:
            function, (start, low, high) = _function(model), _start_and_bounds(model, rates, stresses)
            try:
                found, _ = curve_fit(function, rates, stresses, start, sigma=stresses, bounds=(low, high))
                left = function(rates, *found) / stresses - 1
                squares[model].append(float(left @ left))
            except RuntimeError:  # no end within its count of evaluations
                squares[model].append(math.inf)
    print(json.dumps({"seconds": time.perf_counter() - began, "squares": squares}))


def _start_and_bounds(model: str, rates, stresses) -> tuple[list, list, list]:
    """A start as one would choose it by eye, and the bounds of the kit's models."""
    viscosities = stresses / rates
    middle = stresses[len(stresses) // 2] / rates[len(rates) // 2] ** 0.4
    time_low, time_high = 1e-3 / rates[-1], 1e3 / rates[0]
    return {
        "power_law": ([middle, 0.4], [0, 0.01], [math.inf, 2]),
        "herschel_bulkley": ([stresses[0] / 2, middle, 0.5], [0, 0, 0.01], [math.inf, math.inf, 2]),
        "casson": ([stresses[0] / 2, viscosities[-1]], [0, 0], [math.inf, math.inf]),
        "carreau": (
            [viscosities[0], viscosities[-1] / 10, 1.0, 0.4],
            [0, 0, time_low, 0],
            [math.inf, math.inf, time_high, 1],
        ),
        "cross": (
            [viscosities[0], viscosities[-1] / 10, 1.0, 0.6],
            [0, 0, time_low, 0.01],
            [math.inf, math.inf, time_high, 2],
        ),
    }[model]


def _function(model: str):
    """A model in plain numpy, as one would write it for `curve_fit`."""
    import numpy as np

    return {
        "power_law": lambda rate, k, n: k * rate**n,
        "herschel_bulkley": lambda rate, y, k, n: y + k * rate**n,
        "casson": lambda rate, y, v: (np.sqrt(y) + np.sqrt(v * rate)) ** 2,
        "carreau": lambda rate, a, b, t, n: rate * (b + (a - b) * (1 + (t * rate) ** 2) ** ((n - 1) / 2)),
        "cross": lambda rate, a, b, t, m: rate * (b + (a - b) / (1 + (t * rate) ** m)),
    }[model]


def _read(file: str) -> list:
    return json.loads(Path(file).read_text(encoding="utf-8"))


if __name__ == "__main__":
    {"fit-many": fit_many, "curve-fit-one-by-one": curve_fit_one_by_one}[sys.argv[1]](*sys.argv[2:])
