"""The weigh sheet at the scale: grams of every line in every vessel, on which balance, and what cannot be weighed."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.bench.balances import Balance
from kit.bench.sheet import Sheet, plan_batch
from kit.formula.composition import show_pct
from kit.formula.formula import Formula
from kit.labbook.view import BatchView
from kit.science.number_text import short
from kit.show import Block, Cell, Table, listing
from kit.units import plain
from kit.writeup.scale_report_vessel import Vessel
from kit.writeup.sheet_tables import mass_words, tolerance_words

_USUAL_BALANCES = ("0.01 g",)
_MOST_DIVISIONS = 1_000_000
_HUNDREDTH = Decimal("0.01")


def plan_sheets(
    formula: Formula, vessels: Sequence[Vessel], balances: Sequence[str], batch: BatchView | None
) -> tuple[Sheet, ...]:
    """A weigh sheet for every vessel.

    Parameters
    ----------
    formula : Formula              As meant.
    vessels : sequence of Vessel   Each with its mass.
    balances : sequence of str     Divisions, "1 g", or a name with one, "platform scale 100 g"; those of the batch when
                                   empty.
    batch : BatchView              None where nothing was made.

    Raises
    ------
    BatchError   As `plan_batch`.
    """
    used = [_balance(text) for text in balances] or _of_batch(batch) or list(_USUAL_BALANCES)
    return tuple(plan_batch(formula, f"{plain(Decimal(repr(vessel.mass_g)))} g", balances=used) for vessel in vessels)


def _balance(text: str) -> object:
    """ "0.01 g" as it is; "platform scale 100 g" as name and division."""
    parts = text.split()
    return (" ".join(parts[:-2]), " ".join(parts[-2:])) if len(parts) > 2 else text


def _of_batch(batch: BatchView | None) -> list[Balance]:
    return list({str(line.balance): line.balance for line in batch.sheet.lines}.values()) if batch else []


def masses_block(sheets: Sequence[Sheet], vessels: Sequence[Vessel], hold_back: float) -> Block:
    """What to weigh in every vessel; findings of the balances under it.

    Parameters
    ----------
    sheets : sequence of Sheet     One a vessel.
    vessels : sequence of Vessel   In the same order.
    hold_back : float              Water added cold, share of the batch; 0 for none. [-]
    """
    heads = ["phase", "material", "% w/w"]
    for vessel in vessels:
        heads += [f"{vessel.name}, g", "tolerance, g"]
    rows = [_row(sheets, place) for place in range(len(sheets[0].lines))]
    total = ["", Cell("total", "strong"), show_pct(sum((line.pct for line in sheets[0].lines), Decimal(0)))]
    for sheet in sheets:
        total += [Cell(mass_words(sum((line.target_g for line in sheet.lines), Decimal(0))), "strong"), ""]
    rows.append(tuple(total))
    if hold_back:
        rows.append(_held_row(vessels, hold_back))
    numeric = frozenset({2, *range(3, len(heads), 2)})
    table = Table(heads, rows, title="Weigh sheet at the scale", note=_note(sheets), numeric=numeric)
    found = [
        f"{vessel.name}: {words}"
        for vessel, sheet in zip(vessels, sheets, strict=True)
        for words in (*(finding.words for finding in sheet.findings), *_overloaded(sheet))
    ]
    return Block((*((listing("What the balances cannot do", found),) if found else ()), table))


def _row(sheets: Sequence[Sheet], place: int) -> tuple[object, ...]:
    line = sheets[0].lines[place]
    cells: list[object] = [line.phase, line.material.name, show_pct(line.pct)]
    for sheet in sheets:
        own = sheet.lines[place]
        name = own.balance.name or f"{plain(own.balance.division_g)} g"
        cells += [plain(own.target_g), f"{tolerance_words(own)} ({name})"]
    return tuple(cells)


def _overloaded(sheet: Sheet) -> list[str]:
    """Lines of more divisions than a balance has."""
    heavy = [line for line in sheet.lines if line.target_g > _MOST_DIVISIONS * line.balance.division_g]
    if not heavy:
        return []
    named = ", ".join(f"{line.material.name} {plain(line.target_g)} g" for line in heavy)
    balance = heavy[0].balance
    return [
        f"more than a million divisions of {balance}: {named}. A balance of that division carries less (common "
        'practice, no source): name a larger one, such as balances = ["0.01 g", "platform scale 10 g"].'
    ]


def _held_row(vessels: Sequence[Vessel], hold_back: float) -> tuple[object, ...]:
    cells: list[object] = ["", "of the water, held back", show_pct(Decimal(repr(100 * hold_back)).quantize(_HUNDREDTH))]
    for vessel in vessels:
        cells += [short(hold_back * vessel.mass_g, 5), ""]
    return tuple(cells)


def _note(sheets: Sequence[Sheet]) -> str:
    balances = dict.fromkeys(str(line.balance) for sheet in sheets for line in sheet.lines)
    small = any(line.tolerance_g is None and line.target_g for sheet in sheets for line in sheet.lines)
    star = " * cannot be weighed to 1 %: a finer balance or a stock solution." if small else ""
    return (
        f"Balances: {', '.join(balances)}. Their capacity is NOT RECORDED: weigh no line on a balance that it, or its "
        f"container, overloads. The loss in vessel, pump and hoses comes on top.{star}"
    )
