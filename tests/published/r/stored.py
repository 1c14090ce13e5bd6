"""What R printed, as stored beside its scripts: a line of versions, then a name and its numbers a line."""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent


def read(script: str) -> dict[str, list[float]]:
    """The numbers that a script printed, by name."""
    return parse((HERE / f"{script}.txt").read_text(encoding="utf-8"))


def parse(text: str) -> dict[str, list[float]]:
    """Numbers by name; the line of versions is left out."""
    lines = [line.split() for line in text.splitlines()[1:]]
    return {name: [float(number) for number in numbers] for name, *numbers in lines}


def versions(text: str) -> str:
    """R and the packages it used."""
    return text.splitlines()[0]
