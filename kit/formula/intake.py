"""Formulas from somebody's spreadsheet: an .xlsx workbook, a CSV file, or rows pasted from either.

House codes, trade names and INCI names are looked up in the library, amounts are read as % w/w or grams, totals are
checked. What comes out is a preview; nothing is written before its `save`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from kit.errors import FormulaError
from kit.formula.formula import Formula
from kit.formula.intake_amounts import Shares, shares_of
from kit.formula.intake_columns import all_words, name_columns
from kit.formula.intake_names import Resolution
from kit.formula.intake_numbers import read_total
from kit.formula.intake_phases import phases_of
from kit.formula.intake_preview import FormulaPreview, PreviewRow
from kit.formula.intake_rows import HEADING, LEFT_OUT, LINE, TOTAL, UNCLEAR, Entry, RowReader
from kit.formula.intake_sheet import Found, Sheet, read_cell, read_lines, refuse_unclear, understood
from kit.formula.intake_totals import check_totals, compare_masses
from kit.formula.library import Library
from kit.formula.model import PRODUCTS, Line, Phase
from kit.tabular import ColumnMap, RawTable, read_table

_TITLE = re.compile(
    r"^(?:formula|formulation|rezeptur|rezept|formule|name|product|produkt|produit)\s*(?:name)?\s*[:|][\s|]*",
    re.IGNORECASE,
)
_NAME_THEN_AMOUNT = re.compile(
    r"^\s*(?:[-*•]\s*|\d{1,2}[.)]\s+)?(?P<name>\S.*?)[\s:,]+(?P<amount>(?:q\.?\s?s\.?|ad|to|qsp)\b.*|[\d.,]+\s*(?:%|g)?)\s*$",
    re.IGNORECASE,
)


def import_formula(
    path: str | Path,
    library: Library,
    *,
    column_map: ColumnMap | str | Path | None = None,
    sheet: str | None = None,
    decimal_mark: str | None = None,
    total: str | None = None,
    materials: Mapping[str, str] | None = None,
    name: str = "",
    version: str = "1",
    product: str = PRODUCTS[0],
) -> FormulaPreview:
    """Read a formula from a CSV file or a sheet of an .xlsx workbook.

    Parameters
    ----------
    path : str or Path      The file.
    library : Library       What names are looked up in, a lab's own materials laid on top.
    column_map : ColumnMap  What the columns mean, or the TOML file of such a map; proposed when omitted.
    sheet : str             Name of the sheet, where the workbook has several with content.
    decimal_mark : str      "." or ","; found from the numbers when omitted.
    total : str             Mass of the batch, such as "400 g", where amounts in grams have a q.s. line.
    materials : dict        A name of the sheet to a key of the library, for names the library does not know.
    name, version : str     Of the formula; the name is the sheet's title, else the file's, when omitted.
    product : str           Product type: "rinse-off hair" or "leave-on hair".

    Raises
    ------
    TableError      When the file cannot be read as a table, or a map does not fit it (`table.map_fit`).
    FormulaError    `intake.columns`, `intake.volume`, `intake.map_field`, `intake.decimal_mark`, `intake.empty`,
                    `formula.product`, `formula.phase_kind`. What is wrong with single rows stands in the preview.
    MaterialError   `material.unknown` for a key in `materials` that the library does not have.
    """
    columns = _loaded(column_map)
    table = read_table(
        Path(path),
        delimiter=columns.delimiter or None,
        sheet=sheet or columns.sheet or None,
        header_row=columns.header_row or None,
        known=[*all_words(), *columns.columns],
    )
    given = None if column_map is None else columns
    return _preview(
        table, library, given, decimal_mark, total, materials, (name or "", version, product), Path(path).stem
    )


def paste_formula(
    text: str,
    library: Library,
    *,
    column_map: ColumnMap | str | Path | None = None,
    decimal_mark: str | None = None,
    total: str | None = None,
    materials: Mapping[str, str] | None = None,
    name: str = "",
    version: str = "1",
    product: str = PRODUCTS[0],
) -> FormulaPreview:
    """Read a formula from rows pasted from a spreadsheet or an e-mail; parameters and errors as `import_formula`.

    A header row may be missing where the cells tell what they are, as in "Glycerin  3.00".
    """
    columns = _loaded(column_map)
    columned = _columned(text)
    table = read_table(
        "pasted text",
        text=columned,
        delimiter=columns.delimiter or ("\t" if columned != text else None),
        header_row=columns.header_row or None,
        known=[*all_words(), *columns.columns],
    )
    given = None if column_map is None else columns
    return _preview(
        table, library, given, decimal_mark, total, materials, (name or "", version, product), "Pasted formula"
    )


def _preview(
    table: RawTable,
    library: Library,
    given: ColumnMap | None,
    decimal_mark: str | None,
    total: str | None,
    materials: Mapping[str, str] | None,
    title: tuple[str, str, str],
    fallback: str,
) -> FormulaPreview:
    if title[2] not in PRODUCTS:
        raise FormulaError(
            f"{title[2]!r} is not known here", where="product", allowed=", ".join(PRODUCTS), mend="use one of these",
            code="formula.product",
        )  # fmt: skip
    sheet = understood(name_columns(table), library, given, decimal_mark, materials)
    reader = RowReader(
        sheet.table,
        sheet.places,
        lambda text: bool(sheet.resolver.lookup(text)),
        sheet.columns.skipped,
        sheet.columns.declared.get("phase", ""),
    )
    entries = reader.entries()
    lines = [entry for entry in entries if entry.kind == LINE]
    if not lines:
        raise FormulaError(
            "no row of the table names a material with an amount",
            where=table.name,
            mend="check the sheet and the header row; a column map can name both",
            code="intake.empty",
        )
    found = read_lines(lines, sheet)
    refuse_unclear(entries, sheet, found)
    shares = _shares(entries, sheet, found, total)
    found.refused += shares.refused
    return _assembled(sheet, entries, found, shares, reader.kinds, (title[0] or _title(table) or fallback, *title[1:]))


def _loaded(column_map: ColumnMap | str | Path | None) -> ColumnMap:
    if column_map is None:
        return ColumnMap()
    return column_map if isinstance(column_map, ColumnMap) else ColumnMap.load(column_map)


def _shares(entries: list[Entry], sheet: Sheet, found: Found, total: str | None) -> Shares:
    """The percentages, where every amount could be read; else nothing can be added up."""
    lines = [entry for entry in entries if entry.kind == LINE]
    if any(entry.row not in found.amounts for entry in lines):
        return Shares()
    stated = total or sheet.columns.declared.get("total")
    total_g = read_total(stated, sheet.marks, "total") if stated else None
    if total_g is None and any(amount.qs for amount in found.amounts.values()):
        total_g = _total_row(entries, sheet)
    shares = shares_of(found.amounts, sheet.header(sheet.record), total_g)
    if not shares.pct or shares.refused:
        return shares
    cells = {(entry.row, name): read_cell(entry, name, sheet) for entry in entries for name in entry.amounts}
    refused, remarks = check_totals(entries, found.amounts, shares, sheet.record, cells)
    masses = compare_masses(entries, shares, sheet.record, cells, total_g)
    return replace(shares, refused=refused, remarks={**masses, **remarks})


def _total_row(entries: list[Entry], sheet: Sheet) -> Decimal | None:
    """The mass that the last total row states; None where there is none, or where it cannot be read."""
    for entry in reversed(entries):
        if entry.kind == TOTAL and not entry.is_part:
            amount = read_cell(entry, sheet.record, sheet)
            return amount.value if amount and amount.unit == "g" else None
    return None


def _assembled(
    sheet: Sheet,
    entries: list[Entry],
    found: Found,
    shares: Shares,
    kinds: Mapping[str, str],
    title: tuple[str, str, str],
) -> FormulaPreview:
    phases, phase_words = (), ()
    lines = [] if found.refused else _lines(entries, found, shares)
    if lines:
        try:
            phases, phase_words = phases_of(
                [(entry.phase, line) for entry, line in lines], kinds, sheet.columns.words.get("phase", {})
            )
        except FormulaError as problem:
            if problem.code != "formula.phase":
                raise
            found.refuse(problem, 0, sheet.header("phase"))
    name, version, product = title
    return FormulaPreview(
        name=sheet.table.name,
        rows=tuple(_row(entry, found, shares, _placed(entry, lines, phases)) for entry in entries),
        refused=tuple(sorted(found.refused, key=lambda reason: reason.row)),
        unknown=tuple(found.unknown),
        formula=Formula(name, version, product, phases, library=sheet.resolver.library) if phases else None,
        column_map=sheet.columns,
        assumed=(*sheet.assumed, *shares.words, *phase_words, *_above(sheet.table, name)),
        library=sheet.resolver.library,
        _cells=found.unknown,
    )


def _lines(entries: list[Entry], found: Found, shares: Shares) -> list[tuple[Entry, Line]]:
    lines = []
    for entry in entries:
        if entry.kind == LINE:
            qs = entry.row == shares.qs
            material = found.materials[entry.row].material
            lines.append(
                (entry, Line(material, None if qs else shares.pct[entry.row], qs, entry.cells.get("note", "")))
            )
    return lines


def _placed(entry: Entry, lines: list[tuple[Entry, Line]], phases: tuple[Phase, ...]) -> str:
    """Name of the phase that a row's line went to."""
    line = next((line for other, line in lines if other is entry), None)
    return next((phase.name for phase in phases if any(own is line for own in phase.lines)), entry.phase)


def _row(entry: Entry, found: Found, shares: Shares, phase: str) -> PreviewRow:
    told = found.materials.get(entry.row, Resolution())
    refused = entry.kind == UNCLEAR or any(reason.row == entry.row for reason in found.refused)
    why = (entry.why,) if entry.kind in (LEFT_OUT, UNCLEAR) else ()
    remark = (shares.remarks[entry.row],) if entry.row in shares.remarks else ()
    is_line = entry.kind == LINE
    return PreviewRow(
        row=entry.row,
        kind="refused" if refused else entry.kind,
        text=entry.text,
        phase=phase if is_line or entry.kind == HEADING else "",
        material=told.material,
        how=told.how,
        pct=shares.pct.get(entry.row),
        qs=entry.row == shares.qs,
        remarks=(*told.remarks, *remark, *why),
        lot=entry.cells.get("lot", "") if is_line else "",
        note=entry.cells.get("note", "") if is_line else "",
    )


def _title(table: RawTable) -> str:
    """What the first row above the header calls the formula; a row of several cells is a header in two rows."""
    for row in table.above:
        cells = [cell for cell in row.cells if cell]
        text = _TITLE.sub("", " | ".join(cells))
        if "|" in text or len(text) > 80 or not re.search(r"[^\W\d_]", text):
            return ""
        return text
    return ""


def _above(table: RawTable, name: str) -> tuple[str, ...]:
    texts = ["; ".join(cell for cell in row.cells if cell) for row in table.above]
    used = bool(texts) and name == _title(table)
    kept = (f"name of the formula, from above the header: {name}",) if used else ()
    rest = texts[1:] if used else texts
    return (*kept, f"rows above the header, not kept: {' / '.join(rest)}") if rest else kept


def _columned(text: str) -> str:
    """Pasted lines such as "Glycerin  3.00" with a tab before the amount; text in columns is left alone."""
    if re.search(r"[\t;|]", text):
        return text
    lines = [line for line in text.splitlines() if line.strip()]
    matches = [_NAME_THEN_AMOUNT.match(line) for line in lines]
    if len(lines) < 2 or sum(map(bool, matches)) < 0.6 * len(lines):
        return text
    return "\n".join(
        f"{found['name']}\t{found['amount']}" if found else line for line, found in zip(lines, matches, strict=True)
    )
