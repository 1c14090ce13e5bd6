"""Timing of fresh processes, ours and the peer in turn, so that both meet the same moods of the machine."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
OURS, PEERS = HERE / "ours.py", HERE / "peers.py"
FORMULA = ROOT / "kit" / "demo" / "linden.toml"
Commands = Sequence[Sequence[str | Path]]


@dataclass(frozen=True)
class Result:
    """Medians of both sides in seconds, and the limit their ratio must keep.

    The ratio is that of the two medians, never the best of ours against the worst of theirs.
    """

    name: str
    ours_s: float
    peer_s: float
    limit: float

    @property
    def ratio(self) -> float:
        return self.ours_s / self.peer_s

    @property
    def ok(self) -> bool:
        return self.ratio <= self.limit

    def line(self) -> str:
        """The line that is printed: name, ratio, limit, ok or over."""
        return f"{self.name} {self.ratio:.3g} {self.limit:g} {'ok' if self.ok else 'over'}"


def in_turn(ours: Callable[[], float], peer: Callable[[], float], rounds: int) -> tuple[float, float]:
    """Medians of two measurements taken in turn; the first of each warms the disk cache and is not counted."""
    pairs = [(ours(), peer()) for _ in range(rounds + 1)][1:]
    return statistics.median(pair[0] for pair in pairs), statistics.median(pair[1] for pair in pairs)


def seconds(commands: Commands, folder: Path) -> float:
    """Wall-clock seconds of some commands one after another, each a fresh process. A failure stops everything."""
    began = time.perf_counter()
    for command in commands:
        output(command, folder)
    return time.perf_counter() - began


def output(command: Sequence[str | Path], folder: Path) -> str:
    """What a fresh process prints."""
    done = subprocess.run(
        [str(part) for part in command], cwd=folder, env=environment(), capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise SystemExit(f"{' '.join(map(str, command))} ended with {done.returncode}:\n{done.stderr[-2000:]}")
    return done.stdout


def environment() -> dict[str, str]:
    """The same for both sides: this checkout's kit, no colours, no progress bars."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", "PYTHONWARNINGS": "ignore"}


def python(*arguments: str | int | Path) -> list[str]:
    """A command of this Python."""
    return [sys.executable, *map(str, arguments)]
