"""`python -m tests.published.r [--write]`: run these scripts again and hold them against what is stored."""

from __future__ import annotations

import argparse
import math
import shutil
import subprocess
from pathlib import Path

from tests.published.r.stored import HERE, parse, versions

SAME = 2e-3  # relative: the multivariate t of R is found by random numbers
LOOSE = 5e-4  # absolute: its probabilities


def main() -> int:
    """Run every script; 1 if one differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.published.r", description=__doc__)
    parser.add_argument("--write", action="store_true", help="store what comes out instead")
    asked = parser.parse_args()
    program = shutil.which("Rscript")
    if program is None:
        print(
            "Rscript is not here; apt-get install r-base-core r-cran-multcomp r-cran-lme4 r-cran-pbkrtest r-cran-nlme"
        )
        return 2
    held = True
    for script in sorted(HERE.glob("*.R")):
        text = run(program, script)
        kept = script.with_suffix(".txt")
        if asked.write:
            kept.write_text(text, encoding="utf-8")
            continue
        wrong = differing(parse(text), parse(kept.read_text(encoding="utf-8")))
        print(f"{script.name}: {versions(text)}: {'; '.join(wrong) or 'as stored'}")
        held = held and not wrong
    return 0 if held else 1


def run(program: str, script: Path) -> str:
    """What a script prints."""
    done = subprocess.run([program, "--vanilla", script], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{script.name} ended with {done.returncode}:\n{done.stderr[-2000:]}")
    return done.stdout


def differing(now: dict[str, list[float]], then: dict[str, list[float]]) -> list[str]:
    """Names whose numbers are not those that are stored."""
    alike = {
        name
        for name in now.keys() & then.keys()
        if len(now[name]) == len(then[name])
        and all(math.isclose(*pair, rel_tol=SAME, abs_tol=LOOSE) for pair in zip(now[name], then[name], strict=True))
    }
    return sorted((now.keys() | then.keys()) - alike)


if __name__ == "__main__":
    raise SystemExit(main())
