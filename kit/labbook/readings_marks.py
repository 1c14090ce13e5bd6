"""The decimal mark of a readings file: declared, or found where only one reading of the numbers is possible."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from kit.errors import ReadingsFileError, UnitError
from kit.labbook.readings_text import QUANTITIES, ReadingsText
from kit.units import number, plain

# A space or an apostrophe belongs to a number only before three digits: "10 1/min" is 10, not 101.
_NUMBER = re.compile(
    r"^([+\-\u2212]?(?:\d{1,3}(?:[\s'’]\d{3})+(?!\d)(?:[.,]\d+)?|\d[\d.,]*\d|\d|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)$",
    re.DOTALL,
)
_GROUPED = {mark: re.compile(rf"^[+-]?[1-9]\d{{0,2}}(\{mark}\d{{3}})+$") for mark in ",."}
_NAMES = {".": "a point", ",": "a comma"}


@dataclass(frozen=True, slots=True)
class Marks:
    """How numbers are read: the decimal mark, and whether somebody declared it or it was found in the file."""

    mark: str
    declared: bool

    def words(self) -> str:
        """ "a comma (found in the file)" """
        return f"{_NAMES[self.mark]} ({'declared' if self.declared else 'found in the file'})"


def find_marks(text: ReadingsText, declared: str | None) -> Marks:
    """The decimal mark of a file.

    Parameters
    ----------
    text : ReadingsText     The file.
    declared : "." or ","   What the caller says; found in the numbers when None.

    Raises
    ------
    ReadingsFileError   `import.decimal_mark` for another mark; `import.decimal_mark_unclear` when the numbers can be
                        read in two ways, or some are written one way and some the other.
    """
    if declared is not None:
        if declared not in (".", ","):
            raise ReadingsFileError(
                f"{declared!r} is not a decimal mark",
                where=text.name,
                allowed='"." or ","',
                mend="name one of these",
                code="import.decimal_mark",
            )
        return Marks(declared, True)
    clear: dict[str, str] = {}
    grouped: dict[str, str] = {}
    for place, digits in _numbers(text):
        _sort(digits, f"{digits!r} in {place}", clear, grouped)
    if len(clear) == 2:
        raise _unclear(text, f"some numbers have a decimal point ({clear['.']}), others a decimal comma ({clear[',']})")
    if clear:
        return Marks(next(iter(clear)), False)
    if "," in grouped or (
        grouped and text.delimiter != ","
    ):  # a file with commas between its columns has decimal points
        raise _unclear(
            text,
            f"{next(iter(grouped.values()))} can be read in two ways, with thousands or three decimals, and no other "
            "number tells which",
        )
    return Marks(".", False)


def split_number(cell: str) -> tuple[str, str]:
    """A cell's number and what follows it: "4,59 g" gives "4,59" and "g"; ("", cell) without a number in front."""
    found = _NUMBER.match(cell.strip())
    return (found.group(1), found.group(2).strip()) if found else ("", cell.strip())


def number_text(digits: str, marks: Marks) -> str:
    """A number as the kit writes it, with a point and no thousands; every digit kept.

    Raises
    ------
    UnitError   `units.ambiguous_comma`, `units.mixed_marks`, `units.not_a_number`.
    """
    packed = re.sub(r"\s", "", digits)
    other = "," if marks.mark == "." else "."
    if other in packed:
        raise UnitError(
            f"{digits!r} holds {_NAMES[other]}, but the decimal mark of the file is {marks.words()}",
            mend="write the number without thousands separators",
            code="units.mixed_marks",
        )
    if marks.mark == "," and not marks.declared and _GROUPED[","].match(packed):
        raise UnitError(
            f"{digits!r} can be read in two ways: {packed.replace(',', '')} or {packed.replace(',', '.')}",
            mend='write it without the comma, or declare decimal_mark=","',
            code="units.ambiguous_comma",
        )
    return plain(number(packed, decimal_mark=marks.mark))


def _numbers(text: ReadingsText) -> Iterable[tuple[str, str]]:
    """Where each number first stands, and its digits; numbers that a sheet kept as numbers have no mark to find."""
    seen = {""}
    for row in text.rows:
        for column in QUANTITIES:
            cell = row.cells.get(column, "")
            if cell not in seen and column not in row.typed:
                seen.add(cell)
                digits = re.sub(r"\s", "", split_number(cell)[0])
                if digits:
                    yield f"row {row.number}, {column}", digits


def _sort(digits: str, shown: str, clear: dict[str, str], grouped: dict[str, str]) -> None:
    present = [mark for mark in ",." if mark in digits]
    if len(present) != 1:
        return  # no mark, or both: the row itself is refused later
    mark = present[0]
    if _GROUPED[mark].match(digits):
        grouped.setdefault(mark, shown)
    elif digits.count(mark) == 1:
        clear.setdefault(mark, shown)


def _unclear(text: ReadingsText, what: str) -> ReadingsFileError:
    return ReadingsFileError(
        f"the decimal mark cannot be told: {what}",
        where=text.name,
        allowed="one decimal mark throughout, no thousands separators",
        mend='declare it: decimal_mark="," (kit import ... --decimal-mark ,) or decimal_mark="."',
        code="import.decimal_mark_unclear",
    )
