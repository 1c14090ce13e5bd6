"""pH of mixtures: ten thousand in one call, and one alone. Run as a program: `acidbase.py NAME ARGUMENTS`.

Both sides read the same file of mixtures and constants and print their seconds and what they found; a peer that solves
one by one works on a part of them and is counted as many times.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from functools import partial
from pathlib import Path

COUNT, PART = 10_000, 500
ROUNDS = 7
# Stepwise constants at zero ionic strength as in the tests of the solver; the last is a round value of its kind.
SYSTEMS = (
    ("Lac", 0, (3.86,)),
    ("Cit", 0, (3.128, 4.761, 6.396)),
    ("Bnz", 0, (4.202,)),
    ("Amd", 1, (9.0,)),
    ("Edt", 0, (2.0, 2.66, 6.16, 10.24)),
)
# Lowest and highest total, and the share of mixtures without any. [mol/kg water]
AMOUNTS = ((0.001, 0.1, 0.2), (0.0005, 0.03, 0.3), (0.005, 0.05, 0.3), (0.003, 0.08, 0.3), (0.0005, 0.005, 0.3))


def ph_many_phreeqc(folder: Path):
    """10,000 mixtures in one call against one by one through the `phreeqc` package, its database loaded before.

    PHREEQC has its own Debye-Hueckel slope, 0.5100 for 0.5098: the same pH is the same within 0.005.
    """
    return _compared(folder, "ph-many-phreeqc", "solve-many", "phreeqc-one-by-one", within=0.005, limit=0.1)


def ph_many_brentq(folder: Path):
    """10,000 mixtures in one call against a scalar charge balance by `scipy.optimize.brentq` one by one."""
    return _compared(folder, "ph-many-brentq", "solve-many", "brentq-one-by-one", within=1e-6, limit=0.01)


def ph_one(folder: Path):
    """One mixture alone, floats in and floats out with every form, against that charge balance, which gives a pH."""
    return _compared(folder, "ph-one", "solve-one-by-one", "brentq-one-by-one", within=1e-6, limit=1.0)


def _compared(folder: Path, name: str, ours: str, peer: str, within: float, limit: float):
    from tests.benchmarks.measure import PEERS, Result, in_turn, output, python

    file = folder / "mixtures.json"
    write_mixtures(file)

    def run(script: str | Path, command: str) -> dict:
        return json.loads(output(python(script, command, file, PART), folder))

    run_ours, run_peer = partial(run, __file__, ours), partial(run, PEERS, peer)
    _must_agree(run_ours()["ph"], run_peer()["ph"], within, name)
    spent = in_turn(lambda: run_ours()["seconds"], lambda: run_peer()["seconds"], ROUNDS)
    return Result(name, *spent, limit=limit)


def _must_agree(ours: list[float], peer: list[float], within: float, what: str) -> None:
    """End everything where both sides solved another number of mixtures, or one to another pH."""
    if len(peer) != PART or len(ours) not in (COUNT, PART):
        raise SystemExit(f"{what}: {len(ours)} mixtures against {len(peer)}")
    furthest = max(abs(one - two) for one, two in zip(ours, peer, strict=False))
    if not furthest <= within:
        raise SystemExit(f"{what}: the two differ by {furthest:g} in pH; timing them would compare different things")


def write_mixtures(file: Path) -> None:
    """Conditioner-like mixtures with the constants to solve them by, the same in every run."""
    import numpy as np

    from kit.science.activity import debye_hueckel_slope
    from kit.science.water_ionisation import pkw

    drawn = np.random.default_rng(20)
    totals = [
        np.exp(drawn.uniform(np.log(low), np.log(high), COUNT)) * (drawn.random(COUNT) >= without)
        for low, high, without in AMOUNTS
    ]
    # Sodium of the benzoate and of the chelator, and lye or hydrochloric acid on top.
    strong = totals[2] + 2 * totals[4] + drawn.uniform(-0.01, 0.02, COUNT)
    told = {
        "systems": SYSTEMS,
        "pkw": pkw(25.0),
        "slope": debye_hueckel_slope(25.0),
        "totals": np.array(totals).T.tolist(),
        "strong": strong.tolist(),
    }
    file.write_text(json.dumps(told), encoding="utf-8")


def solve_many(file: str, part: str) -> None:
    """All mixtures in one call."""
    import numpy as np

    from kit.science.acidbase import solve

    told = json.loads(Path(file).read_text(encoding="utf-8"))
    totals = dict(zip(_systems(told), np.array(told["totals"]).T.copy(), strict=True))
    strong = np.array(told["strong"])
    spent = []
    for _ in range(5):
        began = time.perf_counter()
        found = solve(totals, strong)
        spent.append(time.perf_counter() - began)
    print(json.dumps({"seconds": statistics.median(spent) * int(part) / COUNT, "ph": found.ph.tolist()}))


def solve_one_by_one(file: str, part: str) -> None:
    """The first mixtures, each in a call of its own."""
    from kit.science.acidbase import solve

    told = json.loads(Path(file).read_text(encoding="utf-8"))
    systems = _systems(told)
    mixtures = [
        (dict(zip(systems, totals, strict=True)), strong)
        for totals, strong in zip(told["totals"][: int(part)], told["strong"], strict=False)
    ]
    solve(*mixtures[0])
    began = time.perf_counter()
    found = [solve(totals, strong).ph for totals, strong in mixtures]
    print(json.dumps({"seconds": time.perf_counter() - began, "ph": found}))


def _systems(told: dict) -> list:
    from kit.science.acidbase import AcidSystem

    return [AcidSystem(name, tuple(pka), charge) for name, charge, pka in told["systems"]]


if __name__ == "__main__":
    {"solve-many": solve_many, "solve-one-by-one": solve_one_by_one}[sys.argv[1]](*sys.argv[2:])
