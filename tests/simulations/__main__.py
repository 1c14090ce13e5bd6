"""`python -m tests.simulations comparison|next-trial [--thorough] [--seed N]`: a line each; 1 if one is not held."""

from __future__ import annotations

import argparse
import time

from tests.simulations import comparison, next_trial

THOROUGH = 4  # times the draws of a layout; a simulated bench has its whole number of seeds


def main() -> int:
    """Run a simulation and print its shares."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulations", description=__doc__)
    parser.add_argument("name", choices=["comparison", "next-trial"], help="what is simulated")
    whole = f"{THOROUGH} times the {comparison.COUNT} draws a layout, or {next_trial.SEEDS} seeds a bench"
    parser.add_argument("--thorough", action="store_true", help=whole)
    own = {"comparison": comparison.SEED, "next-trial": next_trial.SEED}
    parser.add_argument("--seed", type=int, help="unless told otherwise " + ", ".join(f"{own[n]} for {n}" for n in own))
    asked = parser.parse_args()
    asked.seed = own[asked.name] if asked.seed is None else asked.seed
    began, all_held = time.perf_counter(), True
    if asked.name == "comparison":
        told = comparison.run(asked.seed, comparison.COUNT * (THOROUGH if asked.thorough else 1))
    else:
        told = next_trial.run(asked.seed, next_trial.SEEDS if asked.thorough else next_trial.SEEDS // 10)
    for share in told:
        print(share.line(), flush=True)
        all_held = all_held and share.ok
    print(f"seed {asked.seed}, {time.perf_counter() - began:.0f} s: {'all held' if all_held else 'NOT ALL HELD'}")
    return 0 if all_held else 1


if __name__ == "__main__":
    raise SystemExit(main())
