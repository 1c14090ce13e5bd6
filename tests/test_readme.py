"""The README is run: its formula, its Python, its commands."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder outside the checkout with the README's formula in it."""
    (tmp_path / "sage.toml").write_text(blocks("toml")[0], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_python_of_the_readme_runs_from_the_formula_to_the_page(folder, capsys):
    names: dict = {}
    for text in blocks("python"):
        exec(compile(text, "README.md", "exec"), names)
    printed = capsys.readouterr().out
    assert names["following"].formula.composition().total == 100
    assert (folder / "sage-2.toml").is_file()
    assert names["written"].page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert "meant, made, proposed" in printed
    assert "single batch" in printed.lower()
    names["book"].close()


def test_the_review_command_of_the_readme(folder):
    done = subprocess.run(
        [sys.executable, "-m", "kit", "review", "sage.toml"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=_environment(),
    )
    assert done.returncode == 0, done.stderr
    assert "No coded limit exceeded" in done.stdout


def test_the_import_columns_of_the_readme_are_the_ones_the_kit_reads():
    from kit.labbook.readings_file import COLUMNS

    header = next(text for text in blocks("text") if text.startswith("batch,"))
    assert header.strip().split(",") == list(COLUMNS)


def test_every_command_named_in_the_readme_exists():
    done = subprocess.run(
        [sys.executable, "-m", "kit", "--help"],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
        env=_environment(),
    )
    named = set(re.findall(r"`?\bkit (review|import|demo|write-up|run)\b", README))
    assert named
    assert all(name in done.stdout for name in named)


def _environment() -> dict[str, str]:
    import os

    return {**os.environ, "PYTHONPATH": str(ROOT)}


def test_the_notebook_is_the_readme_s_code():
    """A notebook shows a table where a script prints it, and opens the lab book that its first cell names.

    `tests/notebooks/test_notebooks.py` runs it, twice in one folder.
    """
    import json

    notebook = ROOT / "notebooks" / "start_here.ipynb"
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    code = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    own = [line for text in blocks("python") for line in text.splitlines() if "new_labbook" not in line]
    own = [re.sub(r"^print\((?!written)", "display(", line) for line in own]
    assert len(own) > 30
    assert [line for line in own if line and line not in code.splitlines()] == []
    assert blocks("toml")[0] in code
