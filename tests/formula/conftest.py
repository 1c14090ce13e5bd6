"""Example formulas for the tests of the formula package, and a way to spoil them in one place at a time."""

from __future__ import annotations

from pathlib import Path

import pytest

from kit.formula.files import read_formula
from kit.formula.library import load_library

EXAMPLES = Path(__file__).parent / "examples"


@pytest.fixture(scope="session")
def library():
    """The starter materials with a few of the tests' own laid on top."""
    return load_library(EXAMPLES / "own" / "materials.toml")


@pytest.fixture(scope="session")
def example_text():
    """Text of an example formula by its short name."""
    return lambda name: (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def example(library, example_text):
    """An example formula, read with some places of its text replaced; every place must be there."""

    def read(name: str, *replacements: tuple[str, str]):
        text = example_text(name)
        for old, new in replacements:
            assert old in text, f"{old!r} is not in {name}.toml"
            text = text.replace(old, new, 1)
        return read_formula(text, library, where=name)

    return read
