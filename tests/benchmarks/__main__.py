"""`python -m tests.benchmarks [NAME ...]`: one line a benchmark, `name ratio limit ok|over`; 1 if one is over."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.benchmarks import BENCHMARKS


def main() -> int:
    """Run the benchmarks that are named, or all of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one or several of {', '.join(BENCHMARKS)}")
    parser.add_argument("-v", "--verbose", action="store_true", help="also tell both medians, on the error stream")
    asked = parser.parse_args()
    if unknown := [name for name in asked.names if name not in BENCHMARKS]:
        parser.error(f"there is no benchmark {', '.join(unknown)}; there are {', '.join(BENCHMARKS)}")
    all_ok = True
    with tempfile.TemporaryDirectory(prefix="kit-benchmark-") as run:
        for name in dict.fromkeys(asked.names or BENCHMARKS):
            folder = Path(run, name)
            folder.mkdir()
            result = BENCHMARKS[name](folder)
            print(result.line(), flush=True)
            if asked.verbose:
                told = f"  {result.ours_s * 1e3:.3f} ms against {result.peer_s * 1e3:.3f} ms"
                print(told, file=sys.stderr, flush=True)
            all_ok = all_ok and result.ok
    return 0 if all_ok else 1


if __name__ == "__main__":
    raise SystemExit(main())
