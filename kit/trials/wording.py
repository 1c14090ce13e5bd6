"""Numbers and counts as they are printed in a comparison: sensible digits, never a bare percentage of unknown n."""

from __future__ import annotations

from collections.abc import Iterable

from kit.bench.readings import Reading
from kit.science.number_text import plural
from kit.trials.results import LN, BatchValue

NOT_RECORDED = "NOT RECORDED"
ABSENT = "–"


def value_text(value: float, unit: str, scale: str, places: int = 2) -> str:
    """A mean with its unit: four significant digits on the ln scale, else `places` decimals."""
    number = significant(value, 4) if scale == LN else f"{value:.{places}f}"
    return number if unit in ("", "1") else f"{number} {unit}"


def significant(value: float, digits: int) -> str:
    """A number to some significant digits, written out without an exponent."""
    rounded = float(f"{value:.{digits}g}")
    exponent = int(f"{value:.{digits - 1}e}".split("e")[1]) if value else 0
    return f"{rounded:.{max(digits - 1 - exponent, 0)}f}"


def decimals(readings: Iterable[Reading]) -> int:
    """The most decimals that any of the readings was typed with."""
    return max(
        (max(0, -reading.value.as_tuple().exponent) for reading in readings if reading.value is not None), default=2
    )


def counts(values: Iterable[BatchValue]) -> str:
    """ "2 batches, 3 readings" """
    values = tuple(values)
    return f"{plural(len(values), 'batch', 'batches')}, {plural(sum(value.n_readings for value in values), 'reading')}"


def signed(text: str) -> str:
    """A number as text with its sign, a true minus included: "+0.02", "−0.01"."""
    return f"−{text[1:]}" if text.startswith("-") else f"+{text}"


def in_lines(words: str) -> str:
    """A long sentence on several lines, broken where a semicolon stands outside brackets, and after "): "."""
    depth, told = 0, ""
    for letter in words.replace("): ", "):\n"):
        depth += (letter == "(") - (letter == ")")
        told += ";\n" if letter == ";" and depth == 0 else letter
    return told.replace("\n ", "\n")


def joined(told: dict[str, str]) -> str:
    """One text where all batches say the same, else each with its batch: "78; LIN-06/1: 77"."""
    if len(set(told.values())) == 1:
        return next(iter(told.values()))
    return "\n".join(f"{batch}: {text}" for batch, text in told.items())
