"""What a formula sheet would bring, row by row, before anything is written."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from kit.errors import FormulaError
from kit.formula.composition import show_pct
from kit.formula.formula import Formula
from kit.formula.intake_amounts import Refusal
from kit.formula.intake_materials import MaterialForm, add_form
from kit.formula.intake_names import strength_of
from kit.formula.library import Library
from kit.formula.material import Material
from kit.show import Block, Cell, Table, listing
from kit.tabular import ColumnMap
from kit.units import plain

_TOLD = 6  # reasons told in the error; the preview has them all
NOT_IN_SHEETS = (
    "Steps and spec are not in a formula sheet: the formula has none. Add [[step]] and [[spec]] to its file, "
    "or nothing about heating, order and limits of release can be reviewed."
)


@dataclass(frozen=True)
class PreviewRow:
    """A row of the sheet and what becomes of it.

    Attributes
    ----------
    row : int            As the user counts.
    kind : str           "line", "heading", "total", "left out" or "refused".
    text : str           What stands in the sheet.
    phase : str          Phase the line goes to.
    material : Material  None for rows that are no line or could not be told.
    how : str            How the material was told.
    pct : Decimal        Content; for the q.s. line what is left over. [% w/w]
    qs : bool            Whether it makes up to 100.
    remarks : tuple      What is worth a look.
    lot, note : str      As they stand; a note is kept as the line's reason, a lot belongs to a batch.
    """

    row: int
    kind: str
    text: str
    phase: str = ""
    material: Material | None = None
    how: str = ""
    pct: Decimal | None = None
    qs: bool = False
    remarks: tuple[str, ...] = ()
    lot: str = ""
    note: str = ""

    def cells(self) -> tuple:
        """The row for the preview's table."""
        tone = {"refused": Cell("REFUSED", "fail"), "line": Cell("taken", "strong")}
        pct = "" if self.pct is None else f"{'q.s. ' if self.qs else ''}{_digits(self.pct)}"
        form = ", ".join(filter(None, (self.material.key, strength_of(self.material)))) if self.material else ""
        remarks = [self.how, *self.remarks, f"lot {self.lot}: not kept, lots belong to the batch" if self.lot else ""]
        remarks.append(f"note: {self.note}" if self.note else "")
        words = "\n".join(filter(None, remarks))
        return str(self.row), self.text, tone.get(self.kind, Cell(self.kind, "quiet")), self.phase, form, pct, words


@dataclass(frozen=True)
class FormulaPreview:
    """A formula sheet as it was understood. Nothing is written before `save`.

    Attributes
    ----------
    name : str             The file, or what the pasted text was called.
    rows : tuple           A PreviewRow for every row.
    refused : tuple        A Refusal for everything that keeps the sheet out; one is enough.
    unknown : tuple        Names the library does not know; `add_form` writes the form for each.
    formula : Formula      None while anything is refused.
    column_map : ColumnMap What the columns were taken to mean; save it and give it for the next sheet.
    assumed : tuple        How the sheet was read, in words.
    library : Library      What the names were looked up in.
    """

    name: str
    rows: tuple[PreviewRow, ...]
    refused: tuple[Refusal, ...]
    unknown: tuple[str, ...]
    formula: Formula | None
    column_map: ColumnMap
    assumed: tuple[str, ...]
    library: Library = field(repr=False)
    _cells: dict[str, dict[str, str]] = field(repr=False, default_factory=dict)

    @property
    def ok(self) -> bool:
        """Whether the formula can be saved: nothing is refused."""
        return not self.refused

    def save(self, path: str | Path, *, overwrite: bool = False) -> Path:
        """Write the formula file.

        Raises
        ------
        FormulaError   `intake.refused` when anything is refused: nothing is written; `formula.file_exists`,
                       `formula.file_write`.
        """
        if self.formula is None:
            raise self._refusal()
        return self.formula.save(path, overwrite=overwrite)

    def add_form(self, name: str) -> MaterialForm:
        """The form for a material of this sheet that the library does not know, with what the row says of it."""
        cells = self._cells.get(name, {})
        others = [text for field_name, text in cells.items() if field_name in ("code", "trade_name") and text != name]
        return add_form(name, self.library, inci=cells.get("inci", ""), aliases=others)

    def count(self) -> str:
        """ "15 lines taken, 2 totals checked, nothing refused" """
        kinds = [row.kind for row in self.rows]
        refused = f"{_count(len(self.refused), 'reason')} to refuse it" if self.refused else "nothing refused"
        return (
            f"{_count(kinds.count('line'), 'line')} taken, {_count(kinds.count('total'), 'total')} checked, {refused}"
        )

    def table(self) -> Table:
        """Every row with its material, how it was told, and its percentage."""
        columns = ("row", "in the sheet", "becomes", "phase", "material", "% w/w", "remarks")
        return Table(
            columns,
            [row.cells() for row in self.rows],
            title=f"{self.name}: {self.count()}",
            note=self._verdict(),
            numeric=frozenset({0, 5}),
        )

    def _block(self) -> Block:
        parts: list[object] = [self.table()]
        if self.refused:
            parts.append(listing("Refused", self.refused))
        if self.unknown:
            parts.append(
                f"Unknown materials: {', '.join(self.unknown)}. preview.add_form(name) writes the form for each."
            )
        parts.append(listing("Read so", self.assumed))
        return Block(tuple(parts))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        parts = self._block().parts
        return "\n\n".join("\n".join(map(str, part.parts)) if isinstance(part, Block) else str(part) for part in parts)

    __repr__ = __str__

    def _verdict(self) -> str:
        if self.refused:
            return "Nothing can be saved: mend what is refused and read the sheet again."
        return f"Nothing is written yet: save(path) writes the formula. {NOT_IN_SHEETS}"

    def _refusal(self) -> FormulaError:
        told = "; ".join(map(str, self.refused[:_TOLD]))
        more = f"; and {len(self.refused) - _TOLD} more" if len(self.refused) > _TOLD else ""
        return FormulaError(
            f"{self.name} cannot be taken in, so nothing was written: {told}{more}",
            where=self.name,
            mend="mend these and read the sheet again",
            code="intake.refused",
        )


def _digits(pct: Decimal) -> str:
    """As the trade writes it, but never fewer digits than there are: this number is going to be kept."""
    return show_pct(pct) if pct == Decimal(show_pct(pct)) else plain(pct)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
