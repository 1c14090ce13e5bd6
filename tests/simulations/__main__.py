"""`python -m tests.simulations comparison [--thorough] [--seed N]`: one line a layout; 1 if a limit is not held."""

from __future__ import annotations

import argparse
import time

from tests.simulations.comparison import COUNT, SEED, run

THOROUGH = 4


def main() -> int:
    """Run a simulation and print its shares."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulations", description=__doc__)
    parser.add_argument("name", choices=["comparison"], help="what is simulated")
    parser.add_argument("--thorough", action="store_true", help=f"{THOROUGH} times the {COUNT} draws a layout")
    parser.add_argument("--seed", type=int, default=SEED, help=f"{SEED} unless told otherwise")
    asked = parser.parse_args()
    began, all_held = time.perf_counter(), True
    for share in run(asked.seed, COUNT * (THOROUGH if asked.thorough else 1)):
        print(share.line(), flush=True)
        all_held = all_held and share.ok
    print(f"seed {asked.seed}, {time.perf_counter() - began:.0f} s: {'all held' if all_held else 'NOT ALL HELD'}")
    return 0 if all_held else 1


if __name__ == "__main__":
    raise SystemExit(main())
