"""Totals and sub-totals of a formula sheet against the lines, and grams against percentages where it has both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from kit.formula.intake_amounts import Refusal, Shares, check_total
from kit.formula.intake_numbers import Amount
from kit.formula.intake_rows import HEADING, LINE, TOTAL, Entry
from kit.units import plain

Cells = Mapping[tuple[int, str], Amount | None]  # amounts as they stand, by row and field; None where it is no number


def check_totals(
    entries: Sequence[Entry], amounts: Mapping[int, Amount], shares: Shares, record: str, cells: Cells
) -> tuple[tuple[Refusal, ...], dict[int, str]]:
    """Every total of the sheet held against what it may be the sum of: all lines, those so far, those of its phase.

    Parameters
    ----------
    entries : sequence of Entry   All rows, in order.
    amounts : dict                Row to the amount it states, of the lines.
    shares : Shares               The lines as % w/w.
    record : str                  The field the percentages came from.
    cells : dict                  Amounts as they stand, by row and field.

    Returns
    -------
    tuple   The refusals, and row to what a total that fits is the total of.
    """
    refused: list[Refusal] = []
    remarks: dict[int, str] = {}
    for at, entry in enumerate(entries):
        if entry.kind not in (TOTAL, HEADING):
            continue
        for name in entry.amounts:
            values = _values(entries, shares, amounts, name, record, cells)
            stated = cells.get((entry.row, name))
            if values is None or stated is None or stated.value is None:
                remarks[entry.row] = "not checked: it is no number, or the lines have none in this column"
                continue
            sums = _sums(entries, at, values)
            scale = sum(values.values(), Decimal(0))
            fits = check_total(stated.value, sums, scale)
            if fits:
                remarks[entry.row] = f"checked: {fits}"
            else:
                refused.append(_wrong(entry, stated, sums))
    return tuple(refused), remarks


def compare_masses(
    entries: Sequence[Entry], shares: Shares, record: str, cells: Cells, total_g: Decimal | None
) -> dict[int, str]:
    """Rows whose grams do not fit their percentage, where a sheet has both; the percentage is what is kept."""
    if record != "pct":
        return {}
    grams = {entry.row: found for entry in entries if entry.kind == LINE and (found := cells.get((entry.row, "grams")))}
    masses = {row: amount.value for row, amount in grams.items() if amount.value is not None}
    total = total_g or (sum(masses.values(), Decimal(0)) if len(masses) == len(shares.pct) else None)
    if not total:
        return {}
    remarks = {}
    for row, mass in masses.items():
        meant = shares.pct[row] * total / 100
        # half a step of the last digit that the grams are written with, and of the second decimal of the %
        step = max(Decimal(1).scaleb(mass.as_tuple().exponent), Decimal("0.01")) / 2 + total / 20000
        if abs(mass - meant) > step:
            remarks[row] = f"{plain(mass)} g is not {plain(shares.pct[row])} % of {plain(total)} g; the % was taken"
    return remarks


def _values(
    entries: Sequence[Entry],
    shares: Shares,
    amounts: Mapping[int, Amount],
    name: str,
    record: str,
    cells: Cells,
) -> dict[int, Decimal] | None:
    """Row to its number in a column; None where a line has none there, so that nothing can be added up."""
    lines = [entry for entry in entries if entry.kind == LINE]
    percent = name == "pct" or (name == record and next(iter(amounts.values())).unit != "g")
    if percent and not any(amount.unit == "g" for amount in amounts.values()):
        return dict(shares.pct)
    found = {entry.row: amounts[entry.row] if name == record else cells.get((entry.row, name)) for entry in lines}
    values = {row: amount.value for row, amount in found.items() if amount is not None and amount.value is not None}
    missing = [row for row in found if row not in values]
    if missing == [shares.qs] and values:
        rest = 100 - shares.pct[shares.qs]
        values[shares.qs] = sum(values.values(), Decimal(0)) * shares.pct[shares.qs] / rest if rest else Decimal(0)
        return values
    return None if missing else values


def _sums(entries: Sequence[Entry], at: int, values: Mapping[int, Decimal]) -> list[tuple[str, Decimal]]:
    """What a total at a place may be the sum of, with the words for it."""
    entry = entries[at]
    since = next((place for place in range(at - 1, -1, -1) if entries[place].kind in (TOTAL, HEADING)), -1)
    of_phase = [other for other in entries if other.phase == entry.phase]
    choices = (
        ("the total of all lines", entries),
        (f"the total of phase {entry.phase}", of_phase if entry.phase else []),
        ("the total of the lines since the one above", entries[since + 1 : at]),
        ("the total of the lines so far", entries[:at]),
    )
    sums = [
        (words, sum((values[item.row] for item in items if item.kind == LINE), Decimal(0)))
        for words, items in choices
        if any(item.kind == LINE for item in items)
    ]
    return sums[1:] + sums[:1] if entry.kind == HEADING or entry.is_part else sums


def _wrong(entry: Entry, stated: Amount, sums: Sequence[tuple[str, Decimal]]) -> Refusal:
    if not entry.names and entry.kind == TOTAL and "phase" not in entry.cells:
        what, code = f"an amount without a material: {entry.text!r}, and it is no total", "intake.row_no_name"
    else:
        what, code = f"the total {plain(stated.value)} is not what the lines add up to", "intake.total"
    return Refusal(
        entry.row,
        "",
        what,
        "; ".join(f"{words} is {plain(total.normalize() if total % 1 else total)}" for words, total in sums),
        "correct a line or the total; a line may be missing",
        code,
    )
