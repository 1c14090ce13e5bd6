"""A D-optimal design of 3 mixture and 2 process factors, against pyDOE. A program: `designs.py NAME FILE`.

Both sides choose 24 runs of the same 117 candidates for the same quadratic model of 15 terms, and print their seconds
and the rows they chose. The model is written for two of the three mixture components, whose third is what is left: the
peer makes polynomials only, and the determinant of a Scheffe model is a constant times this one. It is worked out here
for both, by numpy. Ours has to be as good as the best exchange of the peer that ends within seconds (modified Fedorov)
and is timed against its fastest exchange (simple exchange of one row after another).
"""

from __future__ import annotations

import json
import sys
import time
from itertools import product
from pathlib import Path

RUNS, SEED = 24, 1
REPEATS = 3
WORSE = 1e-9


def d_optimal(folder: Path):
    """24 runs out of 117 by the kit and by `pydoe.optimal_design`."""
    from tests.benchmarks.measure import Result, in_turn, output, python

    file = folder / "candidates.json"
    file.write_text(json.dumps(candidates()), encoding="utf-8")

    def run(command: str, *more: str) -> dict:
        return json.loads(output(python(__file__, command, file, *more), folder))

    good, ours = run("peer", "modified_fedorov"), run("ours")
    _must_be_as_good(ours["runs"], good["runs"])
    _must_be_as_good(ours["runs"], run("peer", "simple_exchange")["runs"])
    seconds = in_turn(lambda: run("ours")["seconds"], lambda: run("peer", "simple_exchange")["seconds"], rounds=5)
    return Result("d-optimal", *seconds, limit=2.0)


def candidates() -> list[list[float]]:
    """Corners, middles of edges and centre of a mixture region, written by hand, each with nine process settings.

    Two components above their lower bounds; the third is 7 less both: CTAC 0 to 1.5, BTAC 0.5 to 2.5, alcohol 4 to 6.
    """
    corners = [(0.0, 0.5), (0.0, 2.0), (0.5, 2.0), (1.5, 1.0), (1.5, 0.0), (0.5, 0.0)]
    edges = [tuple((a + b) / 2 for a, b in zip(one, two, strict=True)) for one, two in _around(corners)]
    centre = tuple(sum(column) / 6 for column in zip(*corners, strict=True))
    steps = (-1.0, 0.0, 1.0)
    return [[*mixture, *process] for mixture in [*corners, *edges, centre] for process in product(steps, steps)]


def _around(corners: list) -> list:
    return list(zip(corners, [*corners[1:], corners[0]], strict=True))


def _must_be_as_good(ours: list, peer: list) -> None:
    """End everything where the kit's determinant is the smaller one, or a design is not of the size asked for."""
    if not len(ours) == len(peer) == RUNS or not all(run in candidates() for run in [*ours, *peer]):
        raise SystemExit(f"{len(ours)} and {len(peer)} runs were chosen, {RUNS} of the candidates were due")
    ours_is, peer_is = _log_determinant(ours), _log_determinant(peer)
    if not ours_is >= peer_is - WORSE:
        raise SystemExit(f"the logarithm of the kit's determinant is {ours_is}, that of the peer's {peer_is}")


def _log_determinant(runs: list) -> float:
    import numpy as np

    matrix = quadratic(runs)
    return float(np.linalg.slogdet(matrix.T @ matrix)[1])


def quadratic(points):
    """Intercept, four factors, their squares and products."""
    import numpy as np

    x = np.asarray(points, dtype=float)
    products = [x[:, one] * x[:, two] for one in range(x.shape[1]) for two in range(one, x.shape[1])]
    return np.column_stack([np.ones(len(x)), x, *products])


def ours(file: str) -> None:
    """The kit's design; one small design before warms up."""
    from kit.science.design_layout import Design
    from kit.science.design_optimal import d_optimal as choose

    told = json.loads(Path(file).read_text(encoding="utf-8"))
    named = Design(("CTAC", "BTAC", "rpm", "hold"), tuple(map(tuple, told)))
    choose(named, quadratic, 15, seed=SEED, starts=1)
    spent, found = _median(lambda: choose(named, quadratic, RUNS, seed=SEED))
    print(json.dumps({"seconds": spent, "runs": [list(run) for run in found.levels]}))


def peer(file: str, method: str) -> None:
    """The design of `pydoe` by one of its methods; one small design before warms up."""
    import numpy as np
    from pydoe import optimal_design

    told = np.array(json.loads(Path(file).read_text(encoding="utf-8")))
    optimal_design(told[:20], 4, 1, "D", method)
    spent, found = _median(lambda: optimal_design(told, RUNS, 2, "D", method))
    print(json.dumps({"seconds": spent, "runs": found[0].tolist()}))


def _median(make) -> tuple[float, object]:
    """The median of a few calls, and what the last one gave."""
    spent = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        found = make()
        spent.append(time.perf_counter() - began)
    return sorted(spent)[len(spent) // 2], found


if __name__ == "__main__":
    {"ours": ours, "peer": peer}[sys.argv[1]](*sys.argv[2:])
