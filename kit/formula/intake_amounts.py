"""Amounts of a sheet as % w/w of the formula: grams as exact shares, the q.s. line, the totals checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from kit.formula.composition import apportion
from kit.formula.intake_numbers import Amount
from kit.show import Worded
from kit.units import plain

TOLERANCE = Decimal("0.01")  # of 100.00: common practice, no source
PLACES = 4  # decimals of a share that does not come out even
_EVEN_PLACES = (2, 3, 4, 5, 6)


@dataclass(frozen=True, slots=True, repr=False)
class Refusal(Worded):
    """Why a row cannot be taken; row 0 is the table as a whole."""

    row: int
    column: str
    what: str
    allowed: str
    mend: str
    code: str

    def __str__(self) -> str:
        place = f"row {self.row}: " if self.row else ""
        allowed = f" (allowed: {self.allowed})" if self.allowed else ""
        return f"{place}{self.what}{allowed}; to mend: {self.mend} [{self.code}]"


@dataclass(frozen=True)
class Shares:
    """The lines as % w/w.

    Attributes
    ----------
    pct : dict          Row to its percentage; the q.s. row has what is left over. [% w/w]
    qs : int            Row of the q.s. line; 0 for none.
    refused : tuple     What does not add up.
    remarks : dict      Row to what is worth knowing about it.
    words : tuple       How the percentages came about.
    """

    pct: Mapping[int, Decimal] = field(default_factory=dict)
    qs: int = 0
    refused: tuple[Refusal, ...] = ()
    remarks: Mapping[int, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()


def shares_of(amounts: Mapping[int, Amount], column: str, total_g: Decimal | None) -> Shares:
    """Percentages of all lines.

    Parameters
    ----------
    amounts : dict     Row to its amount.
    column : str       What the amounts' column is called, for the refusals.
    total_g : Decimal  Stated mass of the batch; None where it is not stated. [g]
    """
    qs = [row for row, amount in amounts.items() if amount.qs]
    if len(qs) > 1:
        return Shares(refused=tuple(_second_qs(row, qs[0], column) for row in qs[1:]))
    units = _units(amounts, column)
    if units.refused:
        return units
    unit = units.words[0]
    row = qs[0] if qs else 0
    return _of_percent(amounts, row, column) if unit == "%" else _of_grams(amounts, row, column, total_g)


def check_total(stated: Decimal, sums: Sequence[tuple[str, Decimal]], scale: Decimal) -> str:
    """Which of the sums a stated total is, "" where it is none of them.

    Parameters
    ----------
    stated : Decimal   The total as it stands.
    sums : sequence    What it may be the sum of, and that sum.
    scale : Decimal    What 100 % is in its unit: the tolerance is 0.01 % of it.
    """
    return next((words for words, total in sums if abs(stated - total) <= TOLERANCE * scale / 100), "")


def _units(amounts: Mapping[int, Amount], column: str) -> Shares:
    """The one unit of all amounts, as the only word of the result; a refusal for each row that says another or none."""
    stated = {row: amount.unit for row, amount in amounts.items() if amount.value is not None or amount.to is not None}
    said = {unit for unit in stated.values() if unit}
    if len(said) > 1:
        common = max(sorted(said), key=list(stated.values()).count)
        odd = [row for row, unit in stated.items() if unit and unit != common]
        return Shares(refused=tuple(_odd_unit(row, stated[row], common, column) for row in odd))
    if not stated:
        return Shares(words=("%",))  # a q.s. line alone
    bare = [row for row, unit in stated.items() if not unit]
    if said and not bare:
        return Shares(words=(next(iter(said)),))
    if said <= {"%"} and _is_percent_either_way(amounts):
        return Shares(words=("%",))
    return Shares(refused=tuple(_no_unit(row, column) for row in bare))


def _is_percent_either_way(amounts: Mapping[int, Amount]) -> bool:
    """Bare numbers that make up 100: % and g of a 100 g batch are then the same numbers."""
    if any(amount.qs for amount in amounts.values()):
        return any(amount.to == 100 for amount in amounts.values())
    return abs(sum((amount.value or 0 for amount in amounts.values()), Decimal(0)) - 100) <= TOLERANCE


def _of_percent(amounts: Mapping[int, Amount], qs: int, column: str) -> Shares:
    pct, words = _few_decimals({row: amount.value for row, amount in amounts.items() if row != qs})
    others = sum(pct.values(), Decimal(0))
    if not qs:
        off = others - 100
        refused = (_wrong_sum(others, column),) if abs(off) > TOLERANCE else ()
        said = (f"the percentages add up to {plain(others)} as they stand",) if off else ()
        return Shares(pct, 0, refused, words=(*words, *said))
    aim = amounts[qs].to
    if aim not in (None, Decimal(100)):
        return Shares(
            refused=(_refusal(qs, column, f"the line makes up to {plain(aim)} %, not to 100 %", "intake.qs"),)
        )
    found = _with_qs(pct, qs, amounts[qs].value, column, Decimal(100))
    return Shares(found.pct, qs, found.refused, found.remarks, words)


def _few_decimals(pct: dict[int, Decimal]) -> tuple[dict[int, Decimal], tuple[str, ...]]:
    """Percentages as typed; those a sheet computed to the last digit it keeps are rounded, their sum kept."""
    if all(-value.as_tuple().exponent <= _EVEN_PLACES[-1] for value in pct.values()):
        return pct, ()
    total = sum(pct.values(), Decimal(0)).quantize(Decimal(1).scaleb(-PLACES), ROUND_HALF_EVEN)
    rounded = apportion([Fraction(value) for value in pct.values()], total, PLACES)
    words = f"the sheet computed percentages with many decimals: rounded to {PLACES}, their sum {plain(total)} kept"
    return dict(zip(pct, rounded, strict=True)), (words,)


def _of_grams(amounts: Mapping[int, Amount], qs: int, column: str, total_g: Decimal | None) -> Shares:
    grams = {row: amount.value for row, amount in amounts.items() if row != qs}
    weighed = sum(grams.values(), Decimal(0))
    stated = total_g or (amounts[qs].to if qs else None)
    if qs and amounts[qs].value is not None and stated is None:
        stated = weighed + amounts[qs].value
    if qs and stated is None:
        return Shares(refused=(_no_total(qs, column),))
    if not qs:
        return _without_qs(grams, weighed, stated, column)
    aim = amounts[qs].to
    if aim is not None and abs(aim - stated) > TOLERANCE * stated / 100:
        what = f"the line makes up to {plain(aim)} g, but the batch is {plain(stated)} g"
        return Shares(refused=(_refusal(qs, column, what, "intake.total"),))
    exact = {row: Fraction(value) * 100 / Fraction(stated) for row, value in grams.items()}
    places = _places(exact.values())
    pct = {row: _rounded(share, places) for row, share in exact.items()}
    own = amounts[qs].value
    found = _with_qs(pct, qs, None if own is None else own * 100 / stated, column, Decimal(100))
    return Shares(found.pct, qs, found.refused, found.remarks, (*found.words, *_rounding(stated, exact, pct, places)))


def _without_qs(grams: Mapping[int, Decimal], weighed: Decimal, stated: Decimal | None, column: str) -> Shares:
    if not weighed:
        return Shares(refused=(_refusal(0, column, "all amounts are 0", "intake.sum"),))
    total = stated or weighed
    if abs(weighed - total) > TOLERANCE * total / 100:
        what = f"the amounts add up to {plain(weighed)} g, but the stated total is {plain(total)} g"
        return Shares(refused=(_refusal(0, column, what, "intake.total"),))
    exact = {row: Fraction(value) * 100 / Fraction(weighed) for row, value in grams.items()}
    places = _places(exact.values())
    pct = dict(zip(exact, apportion(list(exact.values()), Decimal(100), places), strict=True))
    said = (f"the stated total is {plain(total)} g, the sum {plain(weighed)} g was taken",) if total != weighed else ()
    return Shares(pct, 0, words=(*said, *_rounding(weighed, exact, pct, places)))


def _with_qs(pct: Mapping[int, Decimal], qs: int, own: Decimal | None, column: str, whole: Decimal) -> Shares:
    left = whole - sum(pct.values(), Decimal(0))
    if left <= 0:
        what = f"the other lines add up to {plain(whole - left)} %: nothing is left for the q.s. line"
        return Shares(refused=(_refusal(qs, column, what, "intake.sum"),))
    if own is not None and abs(own - left) > TOLERANCE:
        what = f"the q.s. line states {_short(own)} %, but {plain(left)} % is left for it"
        return Shares(refused=(_refusal(qs, column, what, "intake.qs"),))
    return Shares({**pct, qs: left}, qs)


def _places(shares) -> int:
    """The fewest decimals, from two on, at which every share comes out even; else `PLACES`."""
    return next((n for n in _EVEN_PLACES if all((share * 10**n).denominator == 1 for share in shares)), PLACES)


def _rounded(share: Fraction, places: int) -> Decimal:
    with_more = Decimal(share.numerator) / Decimal(share.denominator)
    return with_more.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def _rounding(
    total: Decimal, exact: Mapping[int, Fraction], pct: Mapping[int, Decimal], places: int
) -> tuple[str, ...]:
    off = max((abs(Fraction(pct[row]) - share) for row, share in exact.items()), default=Fraction(0))
    if not off:
        return (f"grams turned into % of {plain(total)} g; every share comes out even, nothing was rounded",)
    return (
        f"grams turned into % of {plain(total)} g and rounded to {places} decimals so that they add up to 100 exactly; "
        f"no line moved by more than {float(off):.2g} %",
    )


def _short(value: Decimal) -> str:
    return plain(value.quantize(Decimal("0.0001")).normalize())


_MEND = {
    "intake.sum": 'correct the amounts, or write "q.s." for the water',
    "intake.total": "correct an amount or the total; lines must not be missing",
    "intake.qs": "correct the line, or write q.s. without a number",
}


def _refusal(row: int, column: str, what: str, code: str) -> Refusal:
    return Refusal(row, column, what, "", _MEND[code], code)


def _wrong_sum(total: Decimal, column: str) -> Refusal:
    hint = "; are they shares of 1 instead of %?" if abs(total - 1) <= TOLERANCE / 100 else ""
    return Refusal(
        0,
        column,
        f"the percentages add up to {plain(total)}, not to 100.00{hint}",
        "100.00 within 0.01, or one line that is q.s.",
        _MEND["intake.sum"],
        "intake.sum",
    )


def _second_qs(row: int, first: int, column: str) -> Refusal:
    return Refusal(
        row,
        column,
        f"row {first} is q.s. already; with two such lines neither is determined",
        "at most one q.s. line",
        "give one of them its amount; for a pH adjuster the estimate",
        "formula.qs_two",
    )


def _odd_unit(row: int, unit: str, common: str, column: str) -> Refusal:
    what = f"the amount is in {unit}, the others are in {common}"
    return Refusal(row, column, what, common, "give all amounts in one unit", "intake.unit_mixed")


def _no_unit(row: int, column: str) -> Refusal:
    return Refusal(
        row,
        column,
        "the amount has no unit, and neither has its column",
        "% w/w, g, kg or mg",
        f'head the column "% w/w" or "g", or map it: columns = {{"{column}" = "pct"}} or "grams"',
        "intake.unit_missing",
    )


def _no_total(row: int, column: str) -> Refusal:
    return Refusal(
        row,
        column,
        "the line is q.s., but the mass of the batch is not stated",
        'a total row, "q.s. to 400 g", a header such as "g per 400 g", or total="400 g" (--total)',
        "state it",
        "intake.total_missing",
    )
