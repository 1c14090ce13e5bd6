"""What an entry table is made of: cells, rows, parts, and what a commit comes to. Plain data, no screen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

from kit.show import Block, Table

HEAD, TEXT, INPUT = "head", "text", "input"
RECORDED, UNCHANGED, NOTED, ASKS, REFUSED = "recorded", "unchanged", "noted", "asks", "refused"
CANCEL = "cancel"
_UNBROKEN = 16  # letters


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to answer a question, on a button; `why` says whether it needs a reason."""

    key: str
    words: str
    why: bool = False


@dataclass(frozen=True, slots=True)
class Ask:
    """A question that a typed text raises: the ways to go on, and reasons that are often right."""

    question: str
    choices: tuple[Choice, ...]
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a commit came to.

    `state` is "recorded" (in the lab book), "unchanged" (it was there already, or nothing was typed), "noted" (kept,
    goes into the record with another cell), "asks" (a question is open) or "refused" (kept as typed, with the reason).
    `entry` is the number of the entry that was made, 0 where none was.
    """

    state: str
    words: str
    code: str = ""
    entry: int = 0
    ask: Ask | None = None

    @property
    def recorded(self) -> bool:
        """Whether an entry was made for it; the entry is on disk."""
        return self.state == RECORDED


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: a row's head, plain text, or an input with its accessible `label`.

    `small` stands under it; `state` is that of the typed text; `tone` underlines a word that says the same. `options`
    are words that are offered; others can be typed.
    """

    kind: str
    text: str = ""
    small: str = ""
    label: str = ""
    state: str = ""
    tone: str = ""
    decimal: bool = False
    options: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Remark:
    """A sentence under a row, with the tone of its words."""

    words: str
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """A button under a row; pressing it commits an empty text to `column`."""

    column: str
    words: str


@dataclass(frozen=True)
class Row:
    """A row of cells in the order of the columns; under it remarks, buttons, and the question that is open."""

    key: str
    cells: tuple[Cell, ...]
    group: str = ""
    remarks: tuple[Remark, ...] = ()
    actions: tuple[Action, ...] = ()
    ask: Ask | None = None
    asked: tuple[str, str] = ("", "")  # column and typed text that the question is about


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its key, its head, whether its cells are flush right."""

    key: str
    head: str
    numeric: bool = False


@dataclass(frozen=True)
class Part:
    """One table of a form, with a caption and a note."""

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    note: str = ""

    def table(self) -> Table:
        """The part as a table for paper and terminal; the remarks follow as its note."""
        rows = [tuple(_printed(cell) for cell in row.cells) for row in self.rows]
        remarks = [f"{row.cells[0].text}: {remark.words}" for row in self.rows for remark in row.remarks]
        return Table(
            [column.head for column in self.columns],
            rows,
            title=self.caption,
            note="\n".join([*remarks, *([self.note] if self.note else [])]),
            numeric=frozenset(
                index
                for index, column in enumerate(self.columns)
                if column.numeric and all(_is_short(row[index]) for row in rows)
            ),
        )


@dataclass(frozen=True)
class FormView:
    """All that a form shows at one moment."""

    title: str
    parts: tuple[Part, ...]
    cautions: tuple[tuple[str, str], ...] = field(default=())

    def as_json(self) -> Mapping:
        """The view as plain JSON for the screen."""
        return asdict(self)

    def block(self) -> Block:
        """The view as tables for paper and terminal."""
        cautions = [f"{title}: {text}" for title, text in self.cautions]
        return Block((self.title, *(part.table() for part in self.parts), *cautions))


def _is_short(text: str) -> bool:
    """Whether a cell can stay unbroken: on paper a long sentence in a column of numbers pushes the last columns off."""
    return all(len(line) <= _UNBROKEN for line in text.splitlines())


def _printed(cell: Cell) -> str:
    return f"{cell.text}\n{cell.small}" if cell.text and cell.small else cell.text or cell.small
