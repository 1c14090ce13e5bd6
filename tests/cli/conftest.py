"""An empty folder to work in, a demo's files to copy from, and the command line run as people run it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from kit import cli


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """An empty folder to work in, with a blank and an umlaut in its name."""
    made = tmp_path / "Grüner Ordner"
    made.mkdir()
    monkeypatch.chdir(made)
    return made


@pytest.fixture(scope="session")
def demo(demos) -> Path:
    """The demo's files, built once; tests that write take a copy."""
    return demos("linden").folder


@pytest.fixture
def book(folder, demo) -> Path:
    """A copy of the demo's lab book and formula in the working folder; gives the lab book."""
    for name in ("linden.labbook", "linden.toml"):
        shutil.copy(demo / name, folder)
    return folder / "linden.labbook"


@pytest.fixture
def run(capsys) -> Callable[..., tuple[int, str, str]]:
    """Run the command line in this process: exit code, what it printed, what it said on the error stream."""

    def call(*arguments: object) -> tuple[int, str, str]:
        code = cli.main([str(argument) for argument in arguments])
        return code, *capsys.readouterr()

    return call


@pytest.fixture
def mistake(run, folder) -> Callable[..., str]:
    """Run a command that must fail: one paragraph, exit code 2, no file changed; gives the paragraph."""

    def call(code: str, *arguments: object) -> str:
        before = contents(folder)
        exit_code, _, err = run(*arguments)
        lines = [line for line in err.splitlines() if line.strip() and not line.startswith("Caution: ")]
        assert exit_code == 2, err
        assert len(lines) == 1, err
        assert lines[0].startswith("kit: ")
        assert "Traceback" not in err
        found = re.search(r"\[([a-z_.]+)\]$", lines[0])[1]
        assert found == code or (code.endswith(".") and found.startswith(code)), err
        assert contents(folder) == before
        return lines[0]

    return call


def contents(folder: Path) -> dict[str, bytes]:
    """Every file with its bytes, apart from what SQLite lays beside a lab book even to read it."""
    files = [path for path in folder.rglob("*") if path.is_file() and not path.name.endswith(("-wal", "-shm"))]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}
