"""Amounts as they stand in a formula sheet: "3,00", "3.0 %", "1 200,5 g", "q.s. to 100". Exact decimals come out."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import FormulaError, UnitError
from kit.units import number, read, same_unit

_MINUS = "\u2212"
_NUMBER = re.compile(r"^([+-]?(?:\d[\d.,'’\s]*\d|\d|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)$", re.DOTALL)
_SPACED = re.compile(r"^[+-]?\d{1,3}(?:[ '’]\d{3})+(?:[.,]\d+)?$")
_GROUPED = {mark: re.compile(rf"^[+-]?[1-9]\d{{0,2}}(?:\{mark}\d{{3}})+$") for mark in ",."}
_BOTH = {
    mark: re.compile(rf"^[+-]?[1-9]\d{{0,2}}(?:\{other}\d{{3}})+\{mark}\d+$")
    for mark, other in ((".", ","), (",", "."))
}
_MARK_WORDS = {".": "a point", ",": "a comma"}
_QS = re.compile(
    r"^\(?(?P<word>q\.?\s?s\.?\s?p\.?|q\.?\s?s\.?|quantum satis|quantity sufficient|quantité suffisante"
    r"|bal\.?|balance|remainder|rest|reste|solde)\)?(?![^\W\d_])",
    re.IGNORECASE,
)
_TO = re.compile(r"^(?:to make|make up to|made up to|up to|to|ad|auf|bis|pour|à)(?![^\W\d_])\s*", re.IGNORECASE)
_BEHIND = re.compile(r"^(?P<number>.*\d\s*%?)\s*\(?(?:q\.?\s?s\.?\s?p?\.?)\)?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Marks:
    """The decimal mark of a sheet, and whether somebody declared it or it was found in the numbers."""

    mark: str
    declared: bool

    def words(self) -> str:
        """ "a comma (found in the numbers)" """
        return f"{_MARK_WORDS[self.mark]} ({'declared' if self.declared else 'found in the numbers'})"


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount of a line.

    `value` is None for a q.s. line that states no number of its own; `unit` is "%" or "g", "" where none was said;
    `to` is what a q.s. line makes up to, in `unit`.
    """

    value: Decimal | None
    unit: str
    qs: bool = False
    to: Decimal | None = None


def find_marks(texts: Iterable[str], declared: str | None, where: str) -> Marks:
    """The decimal mark of typed amounts; a point where nothing tells.

    Raises
    ------
    FormulaError   `intake.decimal_mark`: another mark was declared, or some numbers have a point and others a comma.
    """
    if declared not in (None, "", ".", ","):
        raise FormulaError(
            f"{declared!r} is not a decimal mark", where=where, allowed='"." or ","', mend="name one of these",
            code="intake.decimal_mark",
        )  # fmt: skip
    if declared:
        return Marks(declared, True)
    clear: dict[str, str] = {}
    for text in texts:
        for found in re.findall(r"\d[\d.,'’ ]*\d", text):
            mark = _clear_mark(re.sub(r"[\s'’]", "", found))
            if mark:
                clear.setdefault(mark, found)
    if len(clear) == 2:
        raise FormulaError(
            f"some numbers have a decimal point ({clear['.']}), others a decimal comma ({clear[',']})",
            where=where,
            allowed="one decimal mark throughout",
            mend='write them alike, or declare the mark: decimal_mark="," (--decimal-mark ,)',
            code="intake.decimal_mark",
        )
    return Marks(next(iter(clear), "."), False)


def exact(digits: str, marks: Marks, where: str) -> Decimal:
    """A number of a sheet, thousands separators taken out; a comma before exactly three digits must be declared.

    Raises
    ------
    UnitError   `units.not_a_number`, `units.ambiguous_comma`, `units.mixed_marks`.
    """
    if re.search(r"[\s'’]", digits) and not _SPACED.match(digits):
        return number(digits, where=where)  # refuses it
    packed = re.sub(r"[\s'’]", "", digits)
    other = "," if marks.mark == "." else "."
    if other in packed:
        packed = _without_thousands(packed, digits, other, marks, where)
    elif marks.mark == "," and not marks.declared and _GROUPED[","].match(packed):
        raise _two_ways(digits, packed.replace(",", ""), packed.replace(",", "."), where)
    return number(packed, where=where, decimal_mark=marks.mark)


def read_amount(text: str, unit: str, marks: Marks, where: str) -> Amount:
    """Read an amount.

    Parameters
    ----------
    text : str      The cell.
    unit : str      What the column says: "%", a unit of mass, or "" where only the cells say it.
    marks : Marks   The decimal mark; a cell that was a number in its sheet has a point.
    where : str     Row and column, for the error.

    Raises
    ------
    UnitError      `units.not_a_number`, `units.ambiguous_comma`, `units.mixed_marks`, `units.wrong_kind`,
                   `units.unknown`.
    FormulaError   `intake.qs_ph` for a line that is q.s. to a pH; `formula.value` for a negative amount.
    """
    text = " ".join(text.replace(_MINUS, "-").split())
    if behind := _BEHIND.match(text):
        text = f"q.s. {behind['number']}"
    word, to = _QS.match(text), _TO.match(text)
    if not word and not to:
        value, said = _quantity(text, unit, marks, where)
        return Amount(value, said)
    rest = text[word.end() :].lstrip(" :=-") if word else text
    target = _TO.match(rest)
    rest = rest[target.end() :] if target else rest
    if re.search(r"\bpH\b", rest, re.IGNORECASE):
        raise _qs_to_ph(text, where)
    rest = rest.strip(" ()=:")
    if not rest:
        return Amount(None, "", qs=True)
    if target and "(" in rest:  # "q.s. to 100 (82.95)"
        aim, _, own = rest.partition("(")
        made_up, made_unit = _quantity(aim.strip(), unit, marks, where)
        value, said = _quantity(own.strip(" )="), unit, marks, where)
        return Amount(value, said or made_unit, qs=True, to=made_up)
    value, said = _quantity(rest, unit, marks, where)
    is_target = target or (word and "p" in word["word"].lower()[:5]) or value == 100
    return Amount(None, said, qs=True, to=value) if is_target else Amount(value, said, qs=True)


def is_amount(text: str) -> bool:
    """Whether a text looks like an amount, whatever its decimal mark."""
    text = " ".join(text.replace(_MINUS, "-").split())
    found = _NUMBER.match(text)
    return bool(_QS.match(text)) or (bool(found) and len(found[2]) <= 6 and not re.search(r"\d", found[2]))


def read_total(text: object, marks: Marks, where: str) -> Decimal:
    """The mass of a batch, such as "400 g". [g]

    Raises
    ------
    UnitError   As `read_amount`; `units.missing` without a unit.
    """
    value, unit = _quantity(str(text), "", marks, where)
    if unit != "g":
        raise UnitError(
            f"the total {text!r} is not a mass", where=where, mend='write for example "400 g"',
            code="units.wrong_kind" if unit else "units.missing",
        )  # fmt: skip
    if value <= 0:
        raise FormulaError(f"the total is {text}", where=where, allowed="more than 0 g", code="formula.value")
    return value


def _quantity(text: str, column: str, marks: Marks, where: str) -> tuple[Decimal, str]:
    found = _NUMBER.match(text)
    if not found or re.search(r"\d", found[2]):
        raise UnitError(
            f"{text!r} is not one amount",
            where=where,
            allowed='a number, or "q.s."',
            mend="write the amount as one number; an estimate is better than a range",
            code="units.not_a_number",
        )
    value, said = exact(found[1], marks, where), found[2].strip()
    if value < 0:
        raise FormulaError(
            f"the amount is negative: {text}", where=where, allowed="0 or more", mend="correct it", code="formula.value"
        )
    value, unit = _in_kit_units(value, said or column, text, where)
    if said and column and _in_kit_units(value, column, text, where)[1] != unit:
        raise UnitError(
            f"{text!r} stands in a column of {'% w/w' if column == '%' else 'masses'}",
            where=where,
            mend="give all amounts of a column one unit",
            code="units.wrong_kind",
        )
    return value, unit


def _in_kit_units(value: Decimal, unit: str, text: str, where: str) -> tuple[Decimal, str]:
    if not unit:
        return value, ""
    if same_unit(unit, "%") or unit.casefold() in ("wt%", "wt %", "gew.-%", "gew.%", "% m/m", "%w/w", "% p/p"):
        return value, "%"
    if unit.casefold() == "ppm":
        return value / 10000, "%"  # by mass: 1 % = 10,000 mg/kg
    if same_unit(unit, "g"):
        return value, "g"
    if re.search(r"v\s*/\s*v|vol|ml$|^l$", unit.casefold()):
        raise UnitError(
            f"{text!r} is a volume",
            where=where,
            allowed="% w/w, or mass in g, kg or mg",
            mend="turn it into a mass with the density of the material",
            code="units.wrong_kind",
        )
    return read(f"{format(value, 'f')} {unit}", "g", where=where), "g"


def _clear_mark(packed: str) -> str:
    """The decimal mark that a number leaves no doubt about, or ""."""
    present = [mark for mark in ",." if mark in packed]
    if len(present) == 2:
        return next((mark for mark in ",." if _BOTH[mark].match(packed)), "")
    if not present or packed.count(present[0]) > 1 or _GROUPED[present[0]].match(packed):
        return ""
    return present[0]


def _without_thousands(packed: str, digits: str, other: str, marks: Marks, where: str) -> str:
    whole = _GROUPED[other].match(packed)
    if _BOTH[marks.mark].match(packed) or (whole and (marks.declared or packed.count(other) > 1)):
        return packed.replace(other, "")
    if whole:
        raise _two_ways(digits, packed.replace(other, ""), packed.replace(other, "."), where)
    raise UnitError(
        f"{digits!r} holds {_MARK_WORDS[other]}, but the decimal mark of the table is {marks.words()}",
        where=where,
        mend="write the number without thousands separators",
        code="units.mixed_marks",
    )


def _two_ways(digits: str, one: str, other: str, where: str) -> UnitError:
    return UnitError(
        f"{digits!r} can be read in two ways: {one} or {other}",
        where=where,
        allowed="a comma as decimal mark, but not before exactly three digits",
        mend='write it without a separator, or declare the decimal mark: decimal_mark="," (--decimal-mark ,)',
        code="units.ambiguous_comma",
    )


def _qs_to_ph(text: str, where: str) -> FormulaError:
    return FormulaError(
        f"{text!r}: how much of it is in the formula is not known",
        where=where,
        allowed="a number: the design's estimate, or what was added in the last batch",
        mend="write the estimate, such as 0.05; what is added at the bench is recorded with the batch",
        code="intake.qs_ph",
    )
